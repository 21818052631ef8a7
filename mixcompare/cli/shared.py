"""Exit codes and options that several commands share."""

from __future__ import annotations

import argparse
import contextlib
import math
import sys
from collections.abc import Iterable
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from mixcompare.alignment.timemap import TimeMap
    from mixcompare.findings import Finding
    from mixcompare.takes.values import Told


Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"

# Ours; 130 for an interrupt is what shells use, 70 for a defect stands in sysexits.h (from memory).
OK, OVER_LIMIT, BAD_INPUT, UNRELATED_EXIT, DEFECT, INTERRUPTED = 0, 1, 2, 3, 70, 130


def add_pair(parser: argparse.ArgumentParser) -> None:
    """The two recordings and their spans."""
    add_reference(parser)
    parser.add_argument("candidate", metavar="CANDIDATE", help="audio file to judge")
    parser.add_argument("--candidate-span", metavar="A-B", help="part of the candidate")


def add_reference(parser: argparse.ArgumentParser) -> None:
    """What is compared against, and the part of it."""
    parser.add_argument("reference", metavar="REFERENCE", help="audio file to compare against")
    parser.add_argument(
        "--reference-span", metavar="A-B", help="part of the reference, such as 0:12-0:45.5"
    )


def add_limit(parser: argparse.ArgumentParser) -> None:
    """The size from which a finding is one too many."""
    parser.add_argument(
        "--limit",
        metavar="JND",
        type=_limit,
        help="exit with 1 when a finding exceeds this many just-noticeable differences",
    )


def over_limit(findings: Iterable[Finding | Told], limit: float | None, of: str = "") -> bool:
    """Whether a finding exceeds the limit; which ones do is said beside the list.

    Parameters
    ----------
    findings : iterable
        Of a report's findings, or of those that a table of takes keeps.
    limit : float or None
        In just-noticeable differences; None: nothing does.
    of : str
        The candidate, where there are several.
    """
    over = [one for one in findings if limit is not None and not one.jnd <= limit]
    for one in over:
        words = f"{one.rank} {one.subject} ({one.amount}): {one.jnd:.1f} x just noticeable"
        print(f"mixcompare: {of}over the limit of {limit:g}: {words}", file=sys.stderr)
    return bool(over)


def map_of(arguments: argparse.Namespace) -> TimeMap | None:
    """The user's own time map, where one was given."""
    if arguments.map_from is None:
        return None
    from mixcompare.alignment.mapfile import read_map

    return read_map(arguments.map_from)


def pair_of(arguments: argparse.Namespace) -> list[str]:
    """The files of the two recordings and of the time map: they are read and stay."""
    return [arguments.reference, arguments.candidate, *filter(None, [arguments.map_from])]


def spans_of(
    arguments: argparse.Namespace,
) -> tuple[tuple[float, float] | None, tuple[float, float] | None]:
    """Spans of reference and candidate, where they were given."""
    if not (arguments.reference_span or arguments.candidate_span):
        return None, None
    from mixcompare.audio.span import parse_span

    reference, candidate = (
        parse_span(text) if text else None
        for text in (arguments.reference_span, arguments.candidate_span)
    )
    return reference, candidate


def _limit(text: str) -> float:
    """A limit that some finding could exceed and some could not."""
    with contextlib.suppress(ValueError):
        value = float(text)
        if 0 <= value < math.inf:
            return value
    raise argparse.ArgumentTypeError(f"{text!r} is no number of just-noticeable differences")
