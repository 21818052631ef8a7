"""Command line: arguments in, exit code out; nothing is computed here."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from typing import NoReturn

from mixcompare import __version__
from mixcompare.cli import align, compare, measure, takes
from mixcompare.cli.guard import guarded
from mixcompare.cli.shared import BAD_INPUT, OK
from mixcompare.cli.terminal import one_line, plain_streams, printed

_DESCRIPTION = """\
Compare two recordings of the same orchestral passage, a reference and a
candidate, and list what sticks out in the candidate: where, by how much,
whether players, room or mix are the likely cause, and what to try.

The two are laid over each other and brought to one gain for what did not
change first, so they may come from another hall, other players, another tempo
or tuning, or be another mix of the same take.
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
    2  bad input or usage, or a place that can't be written; one sentence says what
    3  not the same passage (a report is still written)
    4  takes: some candidates could not be compared; which and why is printed
   70  a defect in mixcompare: please report it
  130  interrupted; one line says whether anything was written

Turn the playback down before listening to excerpts: they are at the same gain
for what did not change, which means neither soft nor equally loud.
Figures help ears; they do not replace them.
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
    with plain_streams():
        parser = _parser()
        try:
            arguments = parser.parse_args(argv)
        except SystemExit as left:
            # Help or usage was printed, or could not be.
            raise SystemExit(guarded(_flushed, []) or left.code) from None
        if not hasattr(arguments, "run"):
            parser.print_help()
            return BAD_INPUT
        return guarded(
            lambda: int(arguments.run(arguments)), arguments.outputs(arguments), arguments.to_go_on
        )


def _flushed() -> int:
    with printed():
        return OK


class _Parser(argparse.ArgumentParser):
    """Says in one sentence what is wrong with the arguments, and where they are explained."""

    def error(self, message: str) -> NoReturn:
        """End with the sentence."""
        name, _, command = self.prog.partition(" ")
        where = f"{command}: " if command else ""
        self.exit(BAD_INPUT, f"{name}: {where}{one_line(message)}; see {self.prog} --help.\n")


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="mixcompare",
        description=_DESCRIPTION,
        epilog=_EPILOG,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"mixcompare {__version__}")
    parser.set_defaults(to_go_on="")
    commands = parser.add_subparsers(title="commands", metavar="COMMAND")

    for command in (compare, takes, align, measure):
        command.add_to(commands)
    return parser
