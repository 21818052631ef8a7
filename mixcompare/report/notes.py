"""Single notes of the page, to be heard in both recordings one after the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

from mixcompare.findings import Span, moment
from mixcompare.listening.page_sound import CodedSound
from mixcompare.plots.articulation import note_name
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.articulation.values import ArticulationDifference

_LONGEST_S = 2.0  # a note whose successor comes later is heard for so long; our choice
_MOST = 400  # in one list; our choice


@dataclass(frozen=True)
class Note:
    """One note that was followed in both recordings.

    Attributes
    ----------
    span_s : tuple of float
        From its onset to the next one of its voice, on the reference's clock.
    words : str
        When, which, and for how much of its time it sounds in each.
    """

    span_s: Span
    words: str


@dataclass(frozen=True)
class Notes:
    """What the page's list of notes needs.

    Attributes
    ----------
    voice : str
        Whose notes they are.
    heard : tuple of Note
        Those whose sound the page holds, in the order of time.
    drawn : tuple of int
        Places in it of the notes that the figure draws, in its order; -1 for one that is left out.
    """

    voice: str
    heard: tuple[Note, ...]
    drawn: tuple[int, ...]


def notes_of(results: Results, passages: Sequence[CodedSound]) -> Notes | None:
    """Notes that can be heard alone; None where there are none."""
    found = results.measurements.get("articulation")
    if found is None or not passages:
        return None
    difference: ArticulationDifference = found.difference
    order = sorted(range(len(difference.note_s)), key=difference.note_s.__getitem__)
    starts = [difference.note_s[index] for index in order]
    ends = [min(then, now + _LONGEST_S) for now, then in pairwise(starts)]
    ends += [start + _LONGEST_S / 2 for start in starts[-1:]]
    heard: list[Note] = []
    place = {}
    for index, start, end in zip(order, starts, ends, strict=True):
        span_s = _held((start, end), passages)
        if span_s is not None and len(heard) < _MOST:
            place[start] = len(heard)
            bar = results.bar_at(difference.note_s[index])
            heard.append(Note(span_s, _words(difference, index, bar)))
    if not heard:
        return None
    drawn = tuple(place.get(example.onset_s, -1) for example in difference.examples)
    return Notes(difference.shown, tuple(heard), drawn)


def _held(span_s: Span, passages: Sequence[CodedSound]) -> Span | None:
    """What the page holds of a note; None for less than half of it."""
    onset, until = span_s
    for passage in passages:
        start, end = passage["reference"].span_s
        if start <= onset and end - onset >= (until - onset) / 2:
            return onset, min(until, end)
    return None


def _words(difference: ArticulationDifference, index: int, bar: int | None) -> str:
    reference, candidate = (
        round(100 * ratios[index])
        for ratios in (difference.note_reference_ratio, difference.note_candidate_ratio)
    )
    name = note_name(difference.note_pitch[index], bar)
    return f"{moment(difference.note_s[index])} {name}: {reference} % against {candidate} %"
