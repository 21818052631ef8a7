"""The command that compares two recordings and writes a report."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from mixcompare.comparison import Comparison
    from mixcompare.findings import Finding
    from mixcompare.stems.values import Stems

import argparse
import shutil
import sys
import textwrap
from collections.abc import Sequence
from pathlib import Path

from mixcompare.cli.align import alignment_lines
from mixcompare.cli.shared import (
    OK,
    OVER_LIMIT,
    UNRELATED_EXIT,
    Commands,
    add_limit,
    add_pair,
    map_of,
    over_limit,
    pair_of,
    spans_of,
)
from mixcompare.cli.terminal import Ink, Status, printed
from mixcompare.errors import ParameterError


def add_to(commands: Commands) -> None:
    """Describe the command and its options."""
    parser = commands.add_parser(
        "compare",
        help="compare two recordings and write a report",
        description="Compare two recordings of one passage; print what sticks out, ranked,"
        " and write report.html, report.json, figures and excerpts.",
    )
    add_pair(parser)
    parser.add_argument(
        "--out",
        metavar="DIR",
        default="comparison",
        help="folder for the report (default: %(default)s); a former report there is replaced",
    )
    parser.add_argument(
        "--map-from", metavar="FILE", help="use this time map (CSV: reference_s, candidate_s)"
    )
    parser.add_argument(
        "--score",
        metavar="FILE",
        help="MusicXML (.musicxml, .mxl), MIDI file or table of notes (CSV: part, onset_s, end_s,"
        " pitch) of the passage or its movement: names who plays what sticks out, and its bars;"
        " compares every part's level and articulation",
    )
    parser.add_argument(
        "--stems",
        metavar="DIR",
        help="folder with the candidate's stems (mono or stereo files that begin where it begins):"
        " tells what each carries and which trims bring it nearest, and compares again with them",
    )
    parser.add_argument(
        "--reference-stems",
        metavar="DIR",
        help="with --stems: folder with the reference's stems; where both have one of a name,"
        " levels are compared stem by stem",
    )
    parser.add_argument(
        "--no-audio", action="store_true", help="leave the sound out of the report, for mailing"
    )
    parser.add_argument(
        "--handout",
        metavar="FILE",
        help="write one sheet (PDF, A4) for a rehearsal or a class beside the report",
    )
    parser.add_argument(
        "--markers",
        action="store_true",
        help="put a WAV copy of the candidate into the report, with the findings as markers, and"
        " the excerpts as WAV files with theirs",
    )
    add_limit(parser)
    parser.add_argument("--open", action="store_true", help="open the page when done")
    parser.add_argument("--quiet", action="store_true", help="print nothing but errors")
    parser.add_argument("--json", action="store_true", help="print report.json instead of the list")
    parser.set_defaults(run=run, outputs=_outputs)


def _outputs(arguments: argparse.Namespace) -> list[Path]:
    return [Path(name) for name in (arguments.out, arguments.handout) if name]


def run(arguments: argparse.Namespace) -> int:
    """Do what the command says; returns the exit code."""
    spans = spans_of(arguments)
    status = Status(quiet=arguments.quiet or arguments.json)
    with status:
        status.say("preparing (the very first run takes longer)")
        from mixcompare.alignment.result import UNRELATED
        from mixcompare.comparison import compare
        from mixcompare.report.writer import check_writable

        read = [*pair_of(arguments), *filter(None, [arguments.score])]
        check_writable(arguments.out, read)
        _check_handout(arguments.handout, read)
        comparison = compare(
            arguments.reference,
            arguments.candidate,
            reference_span_s=spans[0],
            candidate_span_s=spans[1],
            time_map=map_of(arguments),
            score=arguments.score,
            stems=arguments.stems,
            reference_stems=arguments.reference_stems,
            progress=status.say,
        )
        folder = comparison.save(
            arguments.out,
            audio=not arguments.no_audio,
            progress=status.say,
            markers=arguments.markers,
        )
        if arguments.handout:
            comparison.handout(arguments.handout)
    with printed():
        if arguments.json:
            print((folder / "report.json").read_text(encoding="utf-8"))
        elif not arguments.quiet:
            _print_comparison(comparison, folder)
    if arguments.open:
        import webbrowser

        webbrowser.open((folder / "report.html").resolve().as_uri())
    if comparison.alignment.relation == UNRELATED:
        return UNRELATED_EXIT
    return OVER_LIMIT if over_limit(comparison.findings, arguments.limit) else OK


def _check_handout(path: str | None, read: Sequence[str]) -> None:
    """Refuse, before the work, a handout that may not be written."""
    from mixcompare.outputs import check_file
    from mixcompare.report.handout import MARK

    if not path:
        return
    if Path(path).suffix.lower() != ".pdf":
        raise ParameterError(f"{path}: is no name for a handout; end it in .pdf.")
    check_file(path, MARK, read)


def _print_comparison(comparison: Comparison, folder: Path) -> None:
    ink = Ink(sys.stdout)
    width = min(shutil.get_terminal_size((80, 24)).columns, 80)
    results = comparison.results.on_file_clocks()
    print(f"reference  {results.reference.path}")
    print(f"candidate  {results.candidate.path}")
    for line in alignment_lines(results.alignment, results.tuning_cents):
        print(line)
    if results.level is not None:
        print(f"level      {results.level.gain_db:+.1f} dB taken out")
    print()
    print(ink.bold(textwrap.fill(results.verdict, width)))
    for finding in results.findings:
        print()
        _print_finding(finding, width, ink)
    if results.stems is not None:
        _print_stems(results.stems, width, ink)
    if results.unseen and results.findings:
        print()
        print(textwrap.fill(results.unseen, width))
    if results.warnings:
        print()
        for warning in results.warnings:
            print(textwrap.fill(f"note: {warning}", width, subsequent_indent="      "))
    print()
    print(f"report     {folder / 'report.html'}")


def _print_stems(stems: Stems, width: int, ink: Ink) -> None:
    """Trims that are due, and what they come to."""
    from mixcompare.findings import places

    print()
    head = (
        f"Trims for {len(stems.due)} of {len(stems.stems)} stems (all of them explain"
        f" {100 * stems.explained_share:.0f} % of the mix's energy):"
        if stems.due
        else f"No trim is due: {stems.told} of {len(stems.stems)} stems could be judged."
    )
    print(ink.bold(textwrap.fill(head, width)))
    for stem in stems.due:
        assert stem.interval is not None
        if stem.is_due:
            low, high = stem.interval
            print(f"    {stem.due_db:+5.1f} dB  {stem.name}  ({low:+.1f} to {high:+.1f})")
        for place in stem.places:
            low, high = place.interval
            where = places((place.span_s,))
            print(
                f"    {place.trim_db:+5.1f} dB  {stem.name}, {where}  ({low:+.1f} to {high:+.1f})"
            )
    if stems.preview is not None:
        text = f"With these trims: {stems.preview.after}"
        print(textwrap.fill(text, width, initial_indent="    ", subsequent_indent="    "))


def _print_finding(finding: Finding, width: int, ink: Ink) -> None:
    from mixcompare.findings import places

    head = f"{finding.rank:2}  {finding.amount:<12} {finding.subject}"
    print(ink.bold(textwrap.fill(head, width, subsequent_indent=" " * 17)))
    where = places(finding.spans_s, bars=finding.bars)
    facts = f"{where}; {finding.jnd:.1f} x just noticeable; {finding.cause.spoken}"
    print(textwrap.fill(facts, width, initial_indent="    ", subsequent_indent="    "))
    print(textwrap.fill(finding.text, width, initial_indent="    ", subsequent_indent="    "))
    for advice in finding.advice:
        print(
            textwrap.fill(f"> {advice}", width, initial_indent="    ", subsequent_indent="      ")
        )
    if finding.consequences:
        also = "It also explains " + "; ".join(finding.consequences) + "."
        print(textwrap.fill(also, width, initial_indent="    ", subsequent_indent="    "))
