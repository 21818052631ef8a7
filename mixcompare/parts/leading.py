"""Which written part leads in a passage: the one that an analyst would say has the theme.

By what stands in the score alone: who plays throughout, on top, many different notes, from the
passage's start, and stands high on the page. How much each counts was chosen on 312 theme segments
of three movements (``tests.benchmarks.leading``).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.knowledge.notes import PartNotes

FloatArray = npt.NDArray[np.float64]

_THROUGHOUT, _ON_TOP, _NOTES, _FROM_THE_START, _HIGH_ON_THE_PAGE = 3.0, 1.0, 3.0, 4.0, 1.0
_STEP_S = 0.05  # resolution
_EDGE_S, _START_S = 0.02, 0.15  # of notes that reach in or begin a little early or late
_MOST_NOTES = 8  # different ones; more make no theme more of one


def leading_part(parts: Sequence[PartNotes], span_s: tuple[float, float]) -> int | None:
    """Place of the part that leads; None where nothing plays.

    Parameters
    ----------
    parts : sequence of PartNotes
        In the order of the score.
    span_s : tuple of float
        On their clock.
    """
    start, end = span_s
    times_s = np.arange(start + _STEP_S / 2, end, _STEP_S)
    lines = {}
    for place, part in enumerate(parts):
        line = _highest(part.notes, times_s)
        if (line > 0).any():
            lines[place] = line
    if not lines:
        return None
    top = np.max(list(lines.values()), axis=0)
    sounding = max(int((top > 0).sum()), 1)
    score = {}
    for rank, (place, line) in enumerate(lines.items()):
        notes = parts[place].notes
        new = notes[(notes[:, 0] >= start - _EDGE_S) & (notes[:, 0] < end - _EDGE_S)]
        plays = line > 0
        score[place] = (
            _THROUGHOUT * plays.mean()
            + _ON_TOP * (plays & (line >= top)).sum() / sounding
            + _NOTES * min(len(np.unique(_top_of_chords(new))), _MOST_NOTES) / _MOST_NOTES
            + _FROM_THE_START * (len(new) > 0 and new[:, 0].min() - start < _START_S)
            - _HIGH_ON_THE_PAGE * rank / len(lines)
        )
    return max(score, key=lambda place: float(score[place]))


def _top_of_chords(notes: FloatArray) -> FloatArray:
    """Highest pitch of whatever begins together: a chord of three is no line of three notes."""
    together = np.round(notes[:, 0] / _EDGE_S).astype(int)
    order = np.lexsort((notes[:, 2], together))
    last = np.append(np.diff(together[order]) > 0, True) if len(order) else np.zeros(0, bool)
    return np.asarray(notes[order, 2][last])


def _highest(notes: FloatArray, times_s: FloatArray) -> FloatArray:
    """Highest pitch at every moment, 0 in rests."""
    line = np.zeros(len(times_s))
    if not len(times_s):
        return line
    there = (notes[:, 0] <= times_s[-1]) & (notes[:, 1] >= times_s[0])
    for onset_s, end_s, pitch in notes[there, :3]:
        first, last = np.searchsorted(times_s, [onset_s, end_s])
        np.maximum(line[first:last], pitch, out=line[first:last])
    return line
