"""The command that holds many candidates against one reference."""

from __future__ import annotations

import argparse
import shutil
import sys
import textwrap
from pathlib import Path
from typing import TYPE_CHECKING

from mixcompare.cli.shared import (
    OK,
    OVER_LIMIT,
    UNRELATED_EXIT,
    Commands,
    add_limit,
    add_reference,
    over_limit,
)
from mixcompare.cli.terminal import Ink, Status, one_line, printed

if TYPE_CHECKING:
    from mixcompare.takes.run import Takes

PARTLY = 4
"""Exit code where some candidates could not be compared."""

_SHOWN_ITEMS = 12

_EPILOG = """\
Run it again to go on where it was stopped: only what changed is compared anew.

exit codes: 0 all compared, 1 a finding exceeds --limit, 2 bad usage or reference,
3 some are not the same passage, 4 some could not be compared, 130 interrupted
"""


def add_to(commands: Commands) -> None:
    """Describe the command and its options."""
    parser = commands.add_parser(
        "takes",
        help="hold many takes, or versions of one mix, against one reference",
        description="Compare every candidate with one reference; write takes.html, takes.csv and a"
        " report for each pair, the nearest first.",
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    add_reference(parser)
    parser.add_argument("candidates", metavar="CANDIDATE", nargs="+", help="audio files to judge")
    parser.add_argument(
        "--out", metavar="DIR", default="takes", help="folder for all of it (default: %(default)s)"
    )
    parser.add_argument(
        "--versions",
        action="store_true",
        help="the candidates are versions of one mix in order: tells what was mended since the"
        " last, what became worse and what remains",
    )
    parser.add_argument("--score", metavar="FILE", help="as for the command compare")
    parser.add_argument("--no-audio", action="store_true", help="leave the sound out")
    parser.add_argument(
        "--jobs", metavar="N", type=int, help="processes (default: as cores and memory allow)"
    )
    parser.add_argument(
        "--cluster",
        metavar="ADDRESS",
        help="share the work on a Dask scheduler, such as tcp://host:8786",
    )
    parser.add_argument(
        "--cache", metavar="DIR", help="keep the reference's features here, not in --out"
    )
    add_limit(parser)
    parser.add_argument("--quiet", action="store_true", help="print nothing but errors")
    parser.set_defaults(
        run=run,
        outputs=lambda arguments: [Path(arguments.out)],
        to_go_on="run it again to go on from here",
    )


def run(arguments: argparse.Namespace) -> int:
    """Do what the command says; returns the exit code."""
    status = Status(quiet=arguments.quiet)
    with status:
        status.say("preparing (the very first run takes longer)")
        from mixcompare.audio.span import parse_span
        from mixcompare.takes.run import compare_all

        span = arguments.reference_span
        result = compare_all(
            arguments.reference,
            arguments.candidates,
            arguments.out,
            versions=arguments.versions,
            reference_span_s=parse_span(span) if span else None,
            score=arguments.score,
            audio=not arguments.no_audio,
            jobs=arguments.jobs,
            cluster=arguments.cluster,
            cache_dir=arguments.cache,
            progress=status.say,
            beforehand=None if arguments.quiet else _announce,
        )
    for take in result.failed:
        print(f"mixcompare: {one_line(take.problem)}", file=sys.stderr)
    if not arguments.quiet:
        with printed():
            _print(result, arguments.versions)
    return _exit_code(result, arguments.limit)


def _announce(words: str) -> None:
    print(words, file=sys.stderr)


def _exit_code(result: Takes, limit: float | None) -> int:
    from mixcompare.alignment.result import UNRELATED

    if result.failed:
        return PARTLY
    if any(take.relation == UNRELATED for take in result.takes):
        return UNRELATED_EXIT
    over = [over_limit(take.findings, limit, f"{take.name}: ") for take in result.takes]
    return OVER_LIMIT if any(over) else OK


def _print(result: Takes, versions: bool) -> None:
    ink = Ink(sys.stdout)
    width = min(shutil.get_terminal_size((80, 24)).columns, 80)
    for take in result.takes if versions else result.nearest:
        if take.problem:
            continue
        print(ink.bold(take.name))
        print(textwrap.fill(take.verdict, width, initial_indent="    ", subsequent_indent="    "))
    if versions:
        print()
        for item in result.items[:_SHOWN_ITEMS]:
            box = "[ ]" if item.is_open else "[x]"
            line = f"{box} {item.state:<9} {item.last.amount:<10} {item.last.subject}"
            print(textwrap.fill(line, width, subsequent_indent=" " * 25))
        if len(result.items) > _SHOWN_ITEMS:
            print(f"and {len(result.items) - _SHOWN_ITEMS} more on the page")
    print()
    print(f"page       {result.folder / 'takes.html'}")
