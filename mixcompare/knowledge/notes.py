"""The written notes of a part and the bars they stand in, laid over the reference."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from mixcompare.knowledge.struck import Stroke

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

MOST_NOTES = 200_000  # cost: more is taken as no single passage
MOST_BARS = 20_000  # cost: the same
UNMARKED = 80.0
"""Velocity of notes without a dynamic mark: mezzo forte."""

_REST_S = 1.6  # shorter rests stay within one stretch, as those of elements do
_OF_BAR, _OF_SPAN = 0.2, 0.25  # in common, for a span to name a bar; our choice


@dataclass(frozen=True)
class PartNotes:
    """The written notes of one part, where they fall in the reference.

    Attributes
    ----------
    name : str
    notes : ndarray, shape (n, 4)
        Onset and end in seconds on the reference's clock, MIDI pitch, MIDI velocity; sorted by
        onset.
    others : ndarray, shape (m, 4)
        The same of all other parts.
    is_marked : bool
        Whether velocities are written dynamics.
    """

    name: str
    notes: FloatArray
    others: FloatArray
    is_marked: bool = False


@dataclass(frozen=True)
class PartStrokes:
    """The written strokes of an unpitched instrument, where they fall in the reference.

    Attributes
    ----------
    name : str
    strokes : ndarray, shape (n, 4)
        Onset and end in seconds on the reference's clock, MIDI velocity, and whether it is a roll
        (1 or 0); sorted by onset.
    is_marked : bool
        Whether velocities are written dynamics.
    """

    name: str
    strokes: FloatArray
    is_marked: bool = False


def where_played(
    parts: Sequence[PartNotes], spans_s: Sequence[tuple[float, float]]
) -> tuple[tuple[float, float], ...]:
    """What of some spans lies where any of these parts plays, short rests included.

    Parameters
    ----------
    parts : sequence of PartNotes
        At least one note.
    spans_s : sequence of (start, end)
        In order.
    """
    held_s = np.concatenate([part.notes[:, :2] for part in parts])
    held_s = held_s[np.argsort(held_s[:, 0])]
    last_s = np.maximum.accumulate(held_s[:, 1])
    first = np.flatnonzero(np.append(True, held_s[1:, 0] > last_s[:-1] + _REST_S))
    ends_s = last_s[np.append(first[1:], len(held_s)) - 1]
    both = (
        (max(start, onset_s), min(end, end_s))
        for start, end in spans_s
        for onset_s, end_s in zip(held_s[first, 0].tolist(), ends_s.tolist(), strict=True)
    )
    return tuple((start, end) for start, end in both if start < end)


@dataclass(frozen=True)
class Bars:
    """Bars in the order in which they are played.

    Attributes
    ----------
    start_s, end_s : ndarray, shape (n,)
    number : ndarray of int, shape (n,)
        As printed: repeated bars have theirs again.
    beats : ndarray of int, shape (n,)
        Beats a bar, the upper figure of the time signature.
    quarters : ndarray or None, shape (n,)
        How many quarters long each is written.
    """

    start_s: FloatArray
    end_s: FloatArray
    number: IntArray
    beats: IntArray
    quarters: FloatArray | None = None

    def on(self, clock: Callable[[FloatArray], FloatArray]) -> Bars:
        """The same on another clock."""
        return replace(self, start_s=clock(self.start_s), end_s=clock(self.end_s))

    def kept(self, there: npt.NDArray[np.bool_]) -> Bars:
        """Those of them that are marked."""
        quarters = None if self.quarters is None else self.quarters[there]
        return Bars(
            self.start_s[there], self.end_s[there], self.number[there], self.beats[there], quarters
        )

    def of(self, spans_s: Sequence[tuple[float, float]]) -> tuple[tuple[int, int], ...]:
        """First and last printed numbers of the bars that the spans lie in, in order, joined.

        A span that reaches a little into a bar does not name it.
        """
        touched = np.zeros(len(self.number), bool)
        for start, end in spans_s:
            common_s = np.minimum(self.end_s, end) - np.maximum(self.start_s, start)
            least_s = np.minimum(_OF_BAR * (self.end_s - self.start_s), _OF_SPAN * (end - start))
            touched |= common_s > least_s
        numbers = np.unique(self.number[touched])
        runs = np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1)
        return tuple((int(run[0]), int(run[-1])) for run in runs if len(run))


@dataclass(frozen=True)
class Reading:
    """What a file holds, on the score's own clock.

    Attributes
    ----------
    rows : list of tuple
        Part, onset and end in s, MIDI pitch, MIDI velocity.
    bars : Bars or None
    strokes : list of Stroke
        Notes without a pitch.
    marked : frozenset of str
        Parts whose velocities are written dynamics.
    senseless : mapping of str to int
        Marks that make no sense and were passed over, how many of each kind.
    """

    rows: list[tuple[str, float, float, float, float]]
    bars: Bars | None = None
    strokes: list[Stroke] = field(default_factory=list)
    marked: frozenset[str] = frozenset()
    senseless: Mapping[str, int] = field(default_factory=dict)
