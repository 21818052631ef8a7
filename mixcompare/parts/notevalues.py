"""The written value of most notes that some parts play: "semiquavers", "quaver triplets"."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.knowledge.notes import Bars, PartNotes

FloatArray = npt.NDArray[np.float64]

_PLAIN = {
    4.0: "semibreves", 2.0: "minims", 1.0: "crotchets", 0.5: "quavers", 0.25: "semiquavers",
    0.125: "demisemiquavers",
}  # fmt: skip
_QUARTERS, _GRIDS, _NAMES = map(
    tuple,
    zip(
        *((long, long, name) for long, name in _PLAIN.items()),
        *((1.5 * long, long / 2, f"dotted {name}") for long, name in _PLAIN.items() if long > 0.2),
        *(
            (long * 2 / 3, long * 2 / 3, f"{name[:-1]} triplets")
            for long, name in _PLAIN.items()
            if 0.2 < long < 2
        ),
        strict=True,
    ),
)
"""Lengths in quarters, on which grid such notes begin, and what they are called."""
_HELD = 0.6  # of the way to the next note: the rest of it is articulation; our choice
_LEGATO = 1.1  # longer: another voice of the part plays on; our choice
_OFF_GRID = 0.2  # of the grid, that alignment may move a note's start by; our choice
_OFF_VALUE = 0.15  # of its length; a triplet is a third shorter than the value it stands for
_FEWEST, _MOST_OF = 4, 0.5  # notes; of all of them; our choice


def note_value(
    parts: Sequence[PartNotes], spans_s: Sequence[tuple[float, float]], bars: Bars | None
) -> str | None:
    """The value of more than half of the notes; None where there is no such, or no metre.

    Parameters
    ----------
    parts : sequence of PartNotes
        Who plays.
    spans_s : sequence of (start, end)
        Where they are asked.
    bars : Bars or None
        On the same clock.
    """
    if bars is None or bars.quarters is None or not len(bars.quarters):
        return None
    found = [_lengths(part, spans_s, bars, bars.quarters) for part in parts]
    at, length = np.concatenate([np.zeros((2, 0)), *found], axis=1)
    if len(at) < _FEWEST:
        return None
    grid = np.array(_GRIDS)
    near = np.abs(np.log(length[:, None] / np.array(_QUARTERS)))
    nearest = near.argmin(axis=1)
    off = np.abs(at / grid[nearest] - np.round(at / grid[nearest]))
    fits = (near.min(axis=1) < _OFF_VALUE) & (off < _OFF_GRID)
    counts = np.bincount(nearest[fits], minlength=len(_NAMES))
    return _NAMES[int(counts.argmax())] if counts.max() > _MOST_OF * len(at) else None


def _lengths(
    part: PartNotes, spans_s: Sequence[tuple[float, float]], bars: Bars, quarters: FloatArray
) -> FloatArray:
    """Where in its bar every note or chord begins and how long it lasts, in quarters."""
    onset_s, first = np.unique(part.notes[:, 0], return_index=True)
    end_s = np.maximum.reduceat(part.notes[:, 1], first) if len(first) else onset_s
    bar = np.searchsorted(bars.start_s, onset_s + 1e-3, side="right") - 1
    asked = (bar >= 0) & np.any([(onset_s >= a) & (onset_s < b) for a, b in spans_s], axis=0)
    place = bar.clip(0)
    asked &= onset_s < bars.end_s[place]
    per_s = quarters[place] / np.maximum(bars.end_s - bars.start_s, 1e-6)[place]
    ahead_s = np.append(np.diff(onset_s), np.inf)
    own_s = end_s - onset_s
    held = (own_s > _HELD * ahead_s) & (own_s < _LEGATO * ahead_s)
    length = np.where(held, ahead_s, own_s) * per_s
    return np.stack([(onset_s - bars.start_s[place]) * per_s, length])[:, asked & (length > 0)]
