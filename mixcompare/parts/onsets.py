"""Whose a rise is: every written onset's, laid to the parts that begin there.

How much a part's onset adds to a band is the same throughout, but for how loud it is played; rises
at all onsets, those of strokes among them, tell it for all parts together. So it is known of a
stroke under a tutti how much of its rise is its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.knowledge.notes import UNMARKED, PartNotes, PartStrokes

FloatArray = npt.NDArray[np.float64]

_TOGETHER_S = 0.04  # onsets so near are one; our choice
_NEAR_S = 0.12  # so soon after one onset another's rise may be its own
_STILL = 0.5  # of what begins so near before a stroke, as beginning with it; our choice
_ROUNDS = 60
_BETA = 0.5  # divergence, as for the parts' cells (mixcompare.parts.fit)
_MOST_ONSETS = 400  # cost
_LEAST, _NOBODYS = 1e-20, 1e-3  # of a band's mean rise; our choice
_STROKE, _ROLLED = 2.0, 3.0


@dataclass(frozen=True, eq=False)
class Written:
    """Written onsets and who begins there.

    Attributes
    ----------
    times_s : ndarray, shape (onsets,)
        On the reference's clock.
    begins : ndarray, shape (parts, onsets)
        How much begins; those with a pitch first.
    rolled : ndarray of bool, shape (onsets,)
        Whether a roll begins there.
    """

    times_s: FloatArray
    begins: FloatArray
    rolled: npt.NDArray[np.bool_]

    def struck(self, pitched: int) -> npt.NDArray[np.bool_]:
        """Where what has no pitch begins, after so many parts that have one."""
        begins: npt.NDArray[np.bool_] = self.begins[pitched:].sum(axis=0) > 0
        return begins


def onsets_of(
    parts: Sequence[PartNotes],
    struck: Sequence[PartStrokes],
    span_s: tuple[float, float],
    reach_s: float,
) -> Written:
    """All written onsets in a span, those that fall together as one.

    Of very many, strokes and what is nearest to them.

    Parameters
    ----------
    parts, struck : sequence of PartNotes and PartStrokes
        The score.
    span_s : tuple of float
        On the reference's clock.
    reach_s : float
        How long after an onset its rise is still read: no stroke may fall into that.
    """
    rows = np.concatenate(
        [
            *(_rows(place, one.notes[:, 0], one.notes[:, 3]) for place, one in enumerate(parts)),
            *(
                _rows(place, one.strokes[:, 0], one.strokes[:, 2], one.strokes[:, 3] + _STROKE)
                for place, one in enumerate(struck, len(parts))
            ),
        ]
    )
    rows = rows[(rows[:, 0] > span_s[0]) & (rows[:, 0] < span_s[1])]
    rows = rows[np.argsort(rows[:, 0], kind="stable")]
    begins_s: list[float] = []
    which = np.empty(len(rows), int)
    for row, at_s in enumerate(rows[:, 0].tolist()):
        if not begins_s or at_s > begins_s[-1] + _TOGETHER_S:
            begins_s.append(at_s)
        which[row] = len(begins_s) - 1
    begins = np.zeros((len(parts) + len(struck), len(begins_s)))
    np.add.at(begins, (rows[:, 1].astype(int), which), rows[:, 2])
    rolled = np.zeros(len(begins_s), bool)
    rolled[which[rows[:, 3] == _ROLLED]] = True
    written = _apart(Written(np.array(begins_s), begins, rolled), len(parts), reach_s)
    return written if len(written.times_s) <= _MOST_ONSETS else _nearest(written, len(parts))


def _rows(
    place: int, at_s: FloatArray, velocity: FloatArray, kind: npt.ArrayLike = 0.0
) -> FloatArray:
    """Onset, part, how much begins, and whether it is a stroke or a roll."""
    amount = np.square(velocity / UNMARKED)
    return np.column_stack(np.broadcast_arrays(at_s, place, amount, kind))


def _apart(written: Written, pitched: int, reach_s: float) -> Written:
    """Without onsets so near to a stroke that its rise would be read for theirs.

    What begins just before a stroke may still rise then: some of it counts as beginning there.
    """
    struck = written.struck(pitched)
    ahead_s = written.times_s - written.times_s[:, None]
    to_strokes_s = ahead_s[:, np.flatnonzero(struck)]
    apart = np.logical_or(to_strokes_s <= -_NEAR_S, to_strokes_s >= reach_s)
    kept = struck | np.all(apart, axis=1)
    before = (ahead_s > 0) & (ahead_s < _NEAR_S) & struck & ~struck[:, None]
    begins = written.begins + _STILL * written.begins @ before
    return Written(written.times_s[kept], begins[:, kept], written.rolled[kept])


def _nearest(written: Written, pitched: int) -> Written:
    """Some strokes, evenly chosen, and the onsets around them."""
    strokes = np.flatnonzero(written.struck(pitched))
    strokes = strokes[:: -(-len(strokes) // (_MOST_ONSETS // 2))]
    apart = np.abs(written.times_s[:, None] - written.times_s[strokes]).min(axis=1)
    apart[written.struck(pitched)] = np.inf
    apart[strokes] = -1.0
    kept = np.sort(np.argsort(apart, kind="stable")[:_MOST_ONSETS])
    return Written(written.times_s[kept], written.begins[:, kept], written.rolled[kept])


def shares_of(rise: FloatArray, begins: FloatArray) -> FloatArray:
    """Whose the rises are.

    Parameters
    ----------
    rise : ndarray, shape (onsets, bands)
        What is added at every onset.
    begins : ndarray, shape (parts, onsets)
        How much of every part begins there.

    Returns
    -------
    ndarray, shape (parts, onsets, bands)
        Their sum is less than one: some of a rise may be nobody's.
    """
    power = rise.T / np.maximum(rise.mean(axis=0)[:, None], _LEAST) + _NOBODYS
    begins = np.concatenate([begins, np.ones((1, begins.shape[1]))])
    adds = np.full((len(power), len(begins)), 1.0 / len(begins))
    for _ in range(_ROUNDS):
        whole = adds @ begins + _NOBODYS / 10
        more = (power * whole ** (_BETA - 2)) @ begins.T
        adds *= (more / np.maximum(whole ** (_BETA - 1) @ begins.T, _LEAST)) ** (1 / (2 - _BETA))
    own = adds.T[:, None, :] * begins[:, :, None]
    return np.asarray((own / np.maximum(own.sum(axis=0), _LEAST))[:-1])
