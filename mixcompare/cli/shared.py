"""Exit codes and options that several commands share."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, TypeAlias

if TYPE_CHECKING:
    from mixcompare.alignment.timemap import TimeMap


Commands: TypeAlias = "argparse._SubParsersAction[argparse.ArgumentParser]"

# Ours; 130 for an interrupt is what shells use (from memory).
OK, OVER_LIMIT, BAD_INPUT, UNRELATED_EXIT, INTERRUPTED = 0, 1, 2, 3, 130


def add_pair(parser: argparse.ArgumentParser) -> None:
    """The two recordings and their spans."""
    parser.add_argument("reference", metavar="REFERENCE", help="audio file to compare against")
    parser.add_argument("candidate", metavar="CANDIDATE", help="audio file to judge")
    parser.add_argument(
        "--reference-span", metavar="A-B", help="part of the reference, such as 0:12-0:45.5"
    )
    parser.add_argument("--candidate-span", metavar="A-B", help="part of the candidate")


def read_map(name: str | None) -> TimeMap | None:
    """The user's own time map.

    Raises
    ------
    AlignmentError
        If it cannot be read or does not rise.
    """
    if name is None:
        return None
    import csv

    import numpy as np

    from mixcompare.alignment.timemap import TimeMap
    from mixcompare.errors import AlignmentError

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
