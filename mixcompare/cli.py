"""Command line: arguments in, exit code out; nothing is computed here."""

from __future__ import annotations

import argparse
import json
import os
import shutil
import signal
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any, TextIO

from mixcompare import __version__
from mixcompare.errors import MixcompareError

if TYPE_CHECKING:
    from mixcompare.comparison import Comparison
    from mixcompare.findings import Finding
    from mixcompare.match import Alignment

OK, OVER_LIMIT, BAD_INPUT, UNRELATED_EXIT, INTERRUPTED = 0, 1, 2, 3, 130

_DESCRIPTION = """\
Compare two recordings of the same orchestral passage, a reference and a
candidate, and list what sticks out in the candidate: where, by how much,
whether players, room or mix are the likely cause, and what to try.

The two are laid over each other and matched in level first, so they may come
from another hall, other players, another tempo or tuning, or be another mix
of the same take.
"""

_EPILOG = """\
examples:
  mixcompare compare reference.flac candidate.flac --out comparison
  mixcompare compare take1.wav take2.wav --reference-span 0:12-0:45.5
  mixcompare measure take1.wav
  mixcompare align take1.wav take2.wav --map map.csv

exit codes:
  0  compared, whatever was found
  1  a finding exceeds --limit
  2  bad input or usage
  3  not the same passage (a report is still written)
  130  interrupted

Turn the playback down before listening to excerpts: matched in level does not
mean soft. Figures help ears; they do not replace them.
"""


def main(argv: Sequence[str] | None = None) -> int:
    """Run the command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program's name; default those of the process.

    Returns
    -------
    int
        Exit code.
    """
    # Matrices here are small: more threads of the linear algebra only wait for one another.
    # It reads this when it is first imported, which happens below.
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")
    parser = _parser()
    arguments = parser.parse_args(argv)
    if not hasattr(arguments, "run"):
        parser.print_help()
        return BAD_INPUT
    try:
        code: int = arguments.run(arguments)
        return code
    except MixcompareError as error:
        print(f"mixcompare: {error}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("mixcompare: interrupted; nothing was written.", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # The reader of our output went away (a pager, say): not an error of ours.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return OK


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(
        prog="mixcompare",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"mixcompare {__version__}")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    compare = commands.add_parser(
        "compare",
        help="compare two recordings and write a report",
        description="Compare two recordings of one passage; print what sticks out, ranked,"
        " and write report.html, report.json, figures and excerpts.",
    )
    _add_pair(compare)
    compare.add_argument(
        "--out",
        metavar="DIR",
        default="comparison",
        help="folder for the report (default: %(default)s); a former report there is replaced",
    )
    compare.add_argument(
        "--map-from", metavar="FILE", help="use this time map (CSV: reference_s, candidate_s)"
    )
    compare.add_argument(
        "--score",
        metavar="FILE",
        help="MIDI file or table of notes (CSV: part, onset_s, end_s, pitch) of the passage:"
        " compares every part's articulation",
    )
    compare.add_argument(
        "--no-audio", action="store_true", help="leave the sound out of the report, for mailing"
    )
    compare.add_argument(
        "--limit",
        metavar="JND",
        type=float,
        help="exit with 1 when a finding exceeds this many just-noticeable differences",
    )
    compare.add_argument("--open", action="store_true", help="open the page when done")
    compare.add_argument("--quiet", action="store_true", help="print nothing but errors")
    compare.add_argument(
        "--json", action="store_true", help="print report.json instead of the list"
    )
    compare.set_defaults(run=_compare)

    align = commands.add_parser(
        "align",
        help="lay two recordings over each other",
        description="Say whether two recordings are one take, one passage, or neither, and"
        " where the candidate lies against the reference.",
    )
    _add_pair(align)
    align.add_argument("--map", metavar="FILE", help="write the time map as CSV")
    align.add_argument("--figure", metavar="FILE", help="draw the map (SVG, PDF or PNG)")
    align.add_argument("--map-from", metavar="FILE", help="check a time map of your own")
    align.add_argument("--json", action="store_true", help="print the result as JSON")
    align.set_defaults(run=_align)

    measure = commands.add_parser(
        "measure",
        help="measure one recording alone",
        description="Print one recording's own values: loudness, tone, width, room and so on.",
    )
    measure.add_argument("file", metavar="FILE", help="audio file")
    measure.add_argument("--span", metavar="A-B", help="part to measure, such as 0:12-0:45.5")
    measure.add_argument("--json", action="store_true", help="print the values as JSON")
    measure.set_defaults(run=_measure)
    return parser


def _add_pair(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("reference", metavar="REFERENCE", help="audio file to compare against")
    parser.add_argument("candidate", metavar="CANDIDATE", help="audio file to judge")
    parser.add_argument(
        "--reference-span", metavar="A-B", help="part of the reference, such as 0:12-0:45.5"
    )
    parser.add_argument("--candidate-span", metavar="A-B", help="part of the candidate")


# --- compare -------------------------------------------------------------------------------


def _compare(arguments: argparse.Namespace) -> int:
    spans = _spans(arguments)
    status = _Status(quiet=arguments.quiet or arguments.json)
    with status:
        status.say("preparing (the very first run takes longer)")
        from mixcompare.comparison import compare
        from mixcompare.match import UNRELATED
        from mixcompare.report.writer import check_writable

        check_writable(arguments.out)
        comparison = compare(
            arguments.reference,
            arguments.candidate,
            reference_span_s=spans[0],
            candidate_span_s=spans[1],
            time_map=_read_map(arguments.map_from),
            score=arguments.score,
            progress=status.say,
        )
        folder = comparison.save(arguments.out, audio=not arguments.no_audio, progress=status.say)
    if arguments.json:
        print((folder / "report.json").read_text(encoding="utf-8"))
    elif not arguments.quiet:
        _print_comparison(comparison, folder)
    if arguments.open:
        import webbrowser

        webbrowser.open((folder / "report.html").resolve().as_uri())
    if comparison.alignment.relation == UNRELATED:
        return UNRELATED_EXIT
    if arguments.limit is not None and any(
        finding.jnd > arguments.limit for finding in comparison.findings
    ):
        return OVER_LIMIT
    return OK


def _print_comparison(comparison: Comparison, folder: Path) -> None:
    ink = _Ink(sys.stdout)
    width = min(shutil.get_terminal_size((80, 24)).columns, 80)
    results = comparison.results.on_file_clocks()
    print(f"reference  {results.reference.path}")
    print(f"candidate  {results.candidate.path}")
    for line in _alignment_lines(results.alignment):
        print(line)
    if results.level is not None:
        print(f"level      {results.level.gain_db:+.1f} dB taken out")
    print()
    print(ink.bold(textwrap.fill(results.verdict, width)))
    for finding in results.findings:
        print()
        _print_finding(finding, width, ink)
    if results.warnings:
        print()
        for warning in results.warnings:
            print(textwrap.fill(f"note: {warning}", width, subsequent_indent="      "))
    print()
    print(f"report     {folder / 'report.html'}")


def _print_finding(finding: Finding, width: int, ink: _Ink) -> None:
    from mixcompare.findings import places, signed

    decimals = 2 if finding.unit in ("", "dB/octave", "dB/dB") else 1
    size = signed(finding.difference, finding.unit, decimals)
    if finding.aspect == "articulation":  # a share of the notes' length
        size = f"{100 * finding.difference:+.0f} %"
    head = f"{finding.rank:2}  {size:<12} {finding.subject}"
    print(ink.bold(textwrap.fill(head, width, subsequent_indent=" " * 17)))
    where = places(finding.spans_s)
    facts = f"{where}; {finding.jnd:.1f} x just noticeable; likely {finding.cause.likeliest}"
    print(textwrap.fill(facts, width, initial_indent="    ", subsequent_indent="    "))
    print(textwrap.fill(finding.text, width, initial_indent="    ", subsequent_indent="    "))
    for advice in finding.advice:
        print(
            textwrap.fill(f"> {advice}", width, initial_indent="    ", subsequent_indent="      ")
        )
    if finding.consequences:
        also = "It also explains " + "; ".join(finding.consequences) + "."
        print(textwrap.fill(also, width, initial_indent="    ", subsequent_indent="    "))


# --- align ---------------------------------------------------------------------------------


def _align(arguments: argparse.Namespace) -> int:
    spans = _spans(arguments)
    status = _Status(quiet=arguments.json)
    with status:
        status.say("preparing (the very first run takes longer)")
        from mixcompare.alignment import align
        from mixcompare.comparison import load
        from mixcompare.match import UNRELATED

        status.say("reading both recordings and laying one over the other")
        alignment = align(
            load(arguments.reference, spans[0]),
            load(arguments.candidate, spans[1]),
            _read_map(arguments.map_from),
        )
    if arguments.map:
        _write_map(alignment, Path(arguments.map))
    if arguments.figure:
        _draw_map(alignment, Path(arguments.figure))
    if arguments.json:
        from mixcompare.report.document import alignment_document

        print(json.dumps(alignment_document(alignment), indent=2, allow_nan=False))
    else:
        for line in _alignment_lines(alignment):
            print(line)
        for line in _worst_places(alignment):
            print(line)
        for text in (*(event.text for event in alignment.events), *alignment.warnings):
            print(f"note: {text}")
    return UNRELATED_EXIT if alignment.relation == UNRELATED else OK


def _alignment_lines(alignment: Alignment) -> list[str]:
    names = {
        "same_take": "the same take",
        "same_passage": "the same passage, another performance",
        "unrelated": "not the same passage",
    }
    sure = min(alignment.confidence, 0.99)
    lines = [f"relation   {names[alignment.relation]} (sure to {sure:.0%})"]
    if alignment.relation == "unrelated":
        return lines
    if alignment.relation == "same_take":
        offset, drift = alignment.offset_s, alignment.drift_ppm or 0.0
        extra = [f"offset {offset:+.6f} s" if abs(offset) >= 5e-7 else "no offset"]
        extra.append(f"drift {drift:+.2f} ppm" if abs(drift) >= 0.005 else "no drift")
        if alignment.polarity == -1:
            extra.append("polarity inverted")
    else:
        ratio = alignment.tempo_ratio
        extra = [
            f"offset {alignment.offset_s:+.2f} s",
            f"lasts {ratio:.3f} times as long",
            f"tuning {round(alignment.tuning_cents) or 0:+d} cents",
        ]
        if alignment.transposition_semitones:
            extra.append(f"transposed {alignment.transposition_semitones:+d} semitones")
    if alignment.channels_swapped:
        extra.append("left and right exchanged")
    lines.append("alignment  " + ", ".join(extra))
    if alignment.relation == "same_passage":
        lines.append(f"accuracy   about {alignment.uncertainty_ms:.0f} ms")
    return lines


def _worst_places(alignment: Alignment) -> list[str]:
    import numpy as np

    from mixcompare.findings import clock

    if alignment.relation != "same_passage":
        return []
    width = np.where(
        np.isfinite(alignment.time_map.half_width_ms), alignment.time_map.half_width_ms, -1.0
    )
    lines = []
    for _ in range(3):
        worst = int(np.argmax(width))
        if width[worst] < max(2 * np.median(width[width >= 0]), 1.0):
            break
        at = float(alignment.time_map.reference_s[worst])
        lines.append(f"least sure at {clock(at)} (within {width[worst]:.0f} ms)")
        width[np.abs(alignment.time_map.reference_s - at) < 2] = -1
    return lines


def _write_map(alignment: Alignment, path: Path) -> None:
    from mixcompare.errors import OutputError

    rows = ["reference_s,candidate_s,half_width_ms"]
    time_map = alignment.time_map.thinned()
    for reference, candidate, width in zip(
        time_map.reference_s, time_map.candidate_s, time_map.half_width_ms, strict=True
    ):
        rows.append(f"{reference:.6f},{candidate:.6f},{width:.3f}")
    try:
        path.write_text("\n".join(rows) + "\n", encoding="utf-8")
    except OSError as error:
        raise OutputError(f"{path}: cannot be written ({error.strerror}).") from error


def _draw_map(alignment: Alignment, path: Path) -> None:
    from mixcompare.errors import OutputError
    from mixcompare.plots import style
    from mixcompare.plots.alignment import draw_alignment

    with style.settings():
        figure = style.new_figure()
        draw_alignment(alignment, figure)
    try:
        figure.savefig(path)
    except (OSError, ValueError) as error:
        raise OutputError(f"{path}: cannot be written ({error}).") from error


def _read_map(name: str | None) -> Any:
    if name is None:
        return None
    import csv

    import numpy as np

    from mixcompare.errors import AlignmentError
    from mixcompare.timemap import TimeMap

    try:
        with open(name, newline="", encoding="utf-8") as handle:
            rows = list(csv.DictReader(handle))
        reference = np.array([float(row["reference_s"]) for row in rows])
        candidate = np.array([float(row["candidate_s"]) for row in rows])
    except OSError as error:
        raise AlignmentError(f"{name}: cannot be read ({error.strerror}).") from error
    except (KeyError, TypeError, ValueError) as error:
        raise AlignmentError(
            f"{name}: needs two columns of seconds headed reference_s and candidate_s."
        ) from error
    try:
        return TimeMap(reference, candidate)
    except AlignmentError as error:
        raise AlignmentError(f"{name}: {error}") from error


# --- measure -------------------------------------------------------------------------------


def _measure(arguments: argparse.Namespace) -> int:
    from mixcompare.recording import parse_span

    span = parse_span(arguments.span) if arguments.span else None
    status = _Status(quiet=arguments.json)
    with status:
        status.say("preparing (the very first run takes longer)")
        from mixcompare.analyzers import ANALYZERS
        from mixcompare.comparison import load
        from mixcompare.features import Features

        features = Features.of(load(arguments.file, span))
        measured = {analyzer.aspect: analyzer.measure(features) for analyzer in ANALYZERS}
    if arguments.json:
        from mixcompare.report.document import plain

        document = {aspect: plain(value) for aspect, value in measured.items()}
        print(json.dumps(document, indent=2, allow_nan=False))
        return OK
    print(f"{features.name}: {features.duration_s:.1f} s, {features.sample_rate_hz} Hz")
    for aspect, measurement in measured.items():
        print()
        print(aspect)
        for name, text in _printable(measurement):
            print(f"  {name:<28} {text}")
    for warning in features.warnings:
        print(f"note: {warning}")
    return OK


def _printable(measurement: Any) -> list[tuple[str, str]]:
    """Name and value of everything that fits on a line."""
    from mixcompare.report.wording import words_and_unit

    rows, reasons = [], []
    for entry in fields(measurement):
        value = getattr(measurement, entry.name)
        if not entry.metadata.get("report", True) or entry.name.endswith("_interval"):
            continue
        name, unit = words_and_unit(entry.name)
        if entry.name == "reasons":
            reasons = [("", reason) for reason in value]
        elif value is None:
            rows.append((name, "can't tell"))
        elif isinstance(value, bool | str | int):
            rows.append((name, f"{value} {unit}".rstrip()))
        elif isinstance(value, float):
            digits = ".3g" if abs(value) < 1 else ".1f"
            rows.append((name, f"{value + 0.0:{digits}} {unit}".rstrip()))  # no -0
    return rows + reasons


# --- shared --------------------------------------------------------------------------------


def _spans(
    arguments: argparse.Namespace,
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    if not (arguments.reference_span or arguments.candidate_span):
        return None, None
    from mixcompare.recording import parse_span

    reference, candidate = (
        parse_span(text) if text else None
        for text in (arguments.reference_span, arguments.candidate_span)
    )
    return reference, candidate


class _Status:
    """One line on the terminal that says what is going on; nothing when output is no terminal."""

    def __init__(self, quiet: bool) -> None:
        self._stream = sys.stderr
        self._on = not quiet and self._stream.isatty()
        self._length = 0

    def __enter__(self) -> _Status:
        if hasattr(signal, "SIGTERM"):
            signal.signal(signal.SIGTERM, _interrupt)
        return self

    def __exit__(self, *exception: object) -> None:
        if self._on:
            self._stream.write("\r" + " " * self._length + "\r")
            self._stream.flush()

    def say(self, words: str) -> None:
        if self._on:
            line = f"{words} ..."
            self._stream.write("\r" + line.ljust(self._length))
            self._stream.flush()
            self._length = max(self._length, len(line))


def _interrupt(number: int, frame: object) -> None:
    raise KeyboardInterrupt


class _Ink:
    """Bold on a terminal that has not asked for plain text (NO_COLOR)."""

    def __init__(self, stream: TextIO) -> None:
        self._on = stream.isatty() and "NO_COLOR" not in os.environ

    def bold(self, text: str) -> str:
        return f"\033[1m{text}\033[0m" if self._on else text


if __name__ == "__main__":
    sys.exit(main())
