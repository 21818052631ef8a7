"""Parts that stand elsewhere in some bars only.

What the fit of the whole passage leaves of the cells is asked once more, bar by bar: had one part
(a family, or parts that attack together) been louder in these bars and in no others, how much
likelier would that make it? Every part is let wander from bar to bar a little by itself, and so is
the whole; only who goes beyond that, for two bars or more, is told.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.knowledge.notes import PartNotes
from mixcompare.parts.changed import SINGLE_PRICE, Set, named_sets
from mixcompare.parts.course import cells_by_window
from mixcompare.parts.fit import LEAST_SCATTER_DB, Cells, Fitted

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_WANDERS_DB, _WANDERS_PER_SCATTER = 0.2, 0.15
"""Standard deviation of a part's level from bar to bar where nothing was changed."""
_WHOLE_WANDERS_DB = 3.0  # the same of all together; our choice
_CELLS_PER_NOTE = 8.0
"""Fewer than in the fit of the whole: what a template gets wrong of a note comes back with it."""
_SURE_OF_A_PITCH = 15.0  # cells of one part in one band from which its own mean is taken off
_LEAST_DEVIATIONS, _LEAST_DB = 3.2, 1.5
"""Of 10 pairs of two movements in which nothing was changed the most is 2.4; of 20 changes by 4 to
6 dB in some bars, played again by the same players, seven reach 3.4 to 4.9 with the right part."""
_FEWEST_WINDOWS = 2
_LARGEST_SHARE = 0.7  # of what a part plays: more is no place; our choice
_MOST = 3


@dataclass(frozen=True)
class Passage:
    """Parts that stand elsewhere in some windows.

    Attributes
    ----------
    parts : tuple of int
    name : str or None
        Of the family, where they are one.
    first, last : int
        Windows.
    level_db, deviation_db : float
        Against their own level in the other windows.
    """

    parts: tuple[int, ...]
    name: str | None
    first: int
    last: int
    level_db: float
    deviation_db: float


def passages_in(
    cells: Cells, fitted: Fitted, edges: IntArray, parts: Sequence[PartNotes]
) -> tuple[Passage, ...]:
    """Who stands elsewhere in which windows, the surest first.

    Parameters
    ----------
    cells : Cells
        The pair.
    fitted : Fitted
        What explains it as a whole.
    edges : ndarray of int, shape (windows + 1,)
        Frames at which the windows begin and end.
    parts : sequence of PartNotes
        The score.
    """
    sure, along = _normal(cells, _evened(cells, fitted), edges)
    sets = named_sets(parts)
    found: list[Passage] = []
    while len(found) < _MOST:
        taken = {part for one in found for part in one.parts}
        tried = [
            one for members in sets if not taken & set(members[0])
            for one in [_best(members, sure, along)] if one is not None
        ]  # fmt: skip
        if not tried:
            break
        best = max(tried, key=_gain)
        if abs(best.level_db) < max(_LEAST_DEVIATIONS * best.deviation_db, _LEAST_DB):
            break
        found.append(best)
        # What it explains is no one else's.
        moved = np.zeros(sure.shape[1])
        moved[list(best.parts)] = best.level_db
        inside = slice(best.first, best.last + 1)
        along[inside] -= sure[inside] @ moved
    return tuple(found)


def _gain(one: Passage) -> float:
    return 0.5 * (one.level_db / one.deviation_db) ** 2 - SINGLE_PRICE * (len(one.parts) > 1)


def _evened(cells: Cells, fitted: Fitted) -> Fitted:
    """What is left, without what one part's notes of one pitch have in common in all windows."""
    left = fitted.left_db.copy()
    most = fitted.candidate_shares.argmax(axis=0)
    for band, heard in enumerate(cells.heard):
        for part in np.unique(most[band, heard]):
            own = heard & (most[band] == part)
            sure = own.sum() / (own.sum() + _SURE_OF_A_PITCH)
            left[band, own] -= sure * np.median(left[band, own])
    away = np.abs(left[cells.heard])
    return replace(
        fitted, left_db=left, scatter_db=max(1.4826 * float(np.median(away)), LEAST_SCATTER_DB)
    )


def _normal(cells: Cells, fitted: Fitted, edges: IntArray) -> tuple[FloatArray, FloatArray]:
    """How sure every window is of every part's departure, and what it says of it.

    Shape (windows, parts + 1, parts + 1) and (windows, parts + 1): the last is the whole.
    """
    count = len(fitted.shares)
    wanders = _WANDERS_DB + _WANDERS_PER_SCATTER * fitted.scatter_db
    variance = np.append(np.full(count, wanders**2), _WHOLE_WANDERS_DB**2)
    sure = np.zeros((len(edges) - 1, count + 1, count + 1))
    along = np.zeros(sure.shape[:2])
    for window, share, away in cells_by_window(cells, fitted, edges):
        share = np.concatenate([share, np.ones((1, len(away)))])
        weight = 1 / np.sqrt(1 + (away / fitted.scatter_db) ** 2)
        weight /= fitted.scatter_db**2 * _CELLS_PER_NOTE
        square = (share * weight) @ share.T
        # The inverse covariance of what every part does in the window, wandering included.
        free = np.eye(count + 1) + square * variance
        sure[window] = np.linalg.solve(free, square)
        along[window] = np.linalg.solve(free, share @ (weight * away))
    return sure, along


def _best(members: Set, sure: FloatArray, along: FloatArray) -> Passage | None:
    """The run of windows in which these parts stand out most from their other windows."""
    places = list(members[0])
    weight = sure[:, places][:, :, places].sum(axis=(1, 2))
    told = along[:, places].sum(axis=1)
    weights, tolds = (np.concatenate([[0.0], np.cumsum(one)]) for one in (weight, told))
    first, last = np.triu_indices(len(weight) + 1, _FEWEST_WINDOWS)
    inside, said = weights[last] - weights[first], tolds[last] - tolds[first]
    outside, said_there = weights[-1] - inside, tolds[-1] - said
    plays = weight > 1e-6 * weights[-1]
    ends = plays[first] & plays[last - 1]
    usable = ends & (inside <= _LARGEST_SHARE * weights[-1]) & (inside > 0) & (outside > 0)
    if not usable.any():
        return None
    with np.errstate(divide="ignore", invalid="ignore"):
        level = said / inside - said_there / outside
        deviation = np.sqrt(1 / inside + 1 / outside)
        sureness = np.where(usable, np.abs(level) / deviation, -1.0)
    best = int(sureness.argmax())
    return Passage(
        members[0], members[1], int(first[best]), int(last[best]) - 1,
        float(level[best]), float(deviation[best]),
    )  # fmt: skip
