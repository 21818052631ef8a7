"""How the level of every part goes over time: what it departs, bar by bar, from its own mean.

Within a few bars the shares of the parts in every cell are taken from the fit of the whole passage;
what that leaves of the cells' differences is laid to the parts once more (a ridge regression), so
that a part which moves in some bars only is seen there.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.knowledge.notes import Bars
from mixcompare.parts.fit import CELLS_PER_NOTE, Cells, Fitted

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_DEPARTS_DB = 3.0
"""How far a part departs from its mean level from bar to bar, a standard deviation; our choice."""
_TOLD_DB = 1.8  # standard deviation up to which a departure is told; our choice
_ROUNDS = 4  # of weights; what lies far off counts less
_SHORTEST_S = 1.0  # of what is asked for passages; our choice
_LENGTHS_S = (2.0, 4.0, 8.0)
_MOST_SCALED = 3.0  # by so much at most are readings small; our choice
_TOLD_SHARE = 0.6  # of what plays, or longer windows are taken; our choice


@dataclass(frozen=True)
class Window:
    """A piece of the passage on the reference's clock.

    Attributes
    ----------
    start_s, end_s : float
    bars : tuple of int or None
        First and last, as printed.
    """

    start_s: float
    end_s: float
    bars: tuple[int, int] | None = None


def windows_of(
    cells: Cells, fitted: Fitted, times_s: FloatArray, bars: Bars | None
) -> tuple[Window, ...]:
    """Windows as short as tells most of what plays; they begin with bars where there are any.

    Parameters
    ----------
    cells : Cells
        The pair.
    fitted : Fitted
        What explains it as a whole.
    times_s : ndarray, shape (n,)
        Of the cells' frames, on the reference's clock.
    bars : Bars or None
        On that clock.
    """
    end_s = float(times_s[-1] + np.median(np.diff(times_s)))
    for least_s in _LENGTHS_S:
        windows = _windows(float(times_s[0]), end_s, bars, least_s)
        _, deviation, plays = departures(cells, fitted, edges_of(windows, times_s))
        if (plays & (deviation < _TOLD_DB)).sum() >= _TOLD_SHARE * plays.sum():
            break
    return tuple(windows)


def course_of(
    cells: Cells,
    fitted: Fitted,
    times_s: FloatArray,
    windows: Sequence[Window],
    moved: Sequence[int] = (),
) -> FloatArray:
    """Levels of all parts over time, against those that did not move as a whole.

    Parameters
    ----------
    cells : Cells
        The pair.
    fitted : Fitted
        What explains it as a whole.
    times_s : ndarray, shape (n,)
        Of the cells' frames, on the reference's clock.
    windows : sequence of Window
        See :func:`windows_of`.
    moved : sequence of int
        Parts that moved as a whole: they are nothing to set the others against.

    Returns
    -------
    ndarray, shape (parts, windows)
        Candidate minus reference in dB; NaN where that can't be told.
    """
    departure, deviation, plays = departures(cells, fitted, edges_of(windows, times_s))
    told = plays & (deviation < _TOLD_DB)
    still = np.ones(len(told), bool)
    still[list(moved)] = len(moved) == len(told)
    heavy = np.where(told & still[:, None], deviation**-2.0, 0.0)
    common = (heavy * departure).sum(axis=0) / np.maximum(heavy.sum(axis=0), 1e-12)
    weight = still / np.diag(fitted.covariance)
    level = fitted.difference_db - np.average(fitted.difference_db, weights=weight)
    return np.where(told, level[:, None] + departure - common, np.nan)


def scaled(read_db: FloatArray, heavy: FloatArray, level_db: float) -> FloatArray:
    """Readings over time that are as large as a known level where an element has its energy."""
    told = np.isfinite(read_db) & (heavy > 0)
    mean_db = float(np.average(read_db[told], weights=heavy[told])) if told.any() else 0.0
    if mean_db * level_db <= 0:
        return np.full_like(read_db, np.nan)
    return read_db * min(level_db / mean_db, _MOST_SCALED)


def bars_of(
    times_s: FloatArray, bars: Bars | None, least_s: float = _SHORTEST_S
) -> tuple[Window, ...]:
    """Every bar that lasts so long, or as many together as do; even spans without bars."""
    end_s = float(times_s[-1] + np.median(np.diff(times_s)))
    return tuple(_windows(float(times_s[0]), end_s, bars, least_s))


def edges_of(windows: Sequence[Window], times_s: FloatArray) -> IntArray:
    """Frames at which windows begin, and the last ends."""
    return np.searchsorted(times_s, [*(one.start_s for one in windows), windows[-1].end_s])


def cells_by_window(
    cells: Cells, fitted: Fitted, edges: IntArray
) -> Iterator[tuple[int, FloatArray, FloatArray]]:
    """Number of every window that is heard, its cells' shares of the parts, and what is left."""
    for window, (first, last) in enumerate(zip(edges[:-1], edges[1:], strict=True)):
        heard = cells.heard[:, first:last]
        if heard.any():
            share = fitted.candidate_shares[:, :, first:last][:, heard]
            yield window, share, fitted.left_db[:, first:last][heard]


def departures(
    cells: Cells, fitted: Fitted, edges: IntArray
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]]:
    """Level of every part in every window against its own level as a whole.

    Parameters
    ----------
    cells : Cells
        The pair.
    fitted : Fitted
        What explains it as a whole.
    edges : ndarray of int, shape (windows + 1,)
        Frames at which the windows begin and end.

    Returns
    -------
    departure_db, deviation_db : ndarray, shape (parts, windows)
        Candidate minus reference, and its standard deviation: that of the prior where the part
        says nothing there.
    plays : ndarray of bool, shape (parts, windows)
        Where a part has a note's worth of cells.
    """
    parts = len(fitted.shares)
    level = np.zeros((parts, len(edges) - 1))
    deviation, plays = np.full_like(level, _DEPARTS_DB), np.zeros(level.shape, bool)
    for window, share, away in cells_by_window(cells, fitted, edges):
        for _ in range(_ROUNDS):
            left = away - level[:, window] @ share
            weight = 1 / np.sqrt(1 + (left / fitted.scatter_db) ** 2)
            weight /= fitted.scatter_db**2 * CELLS_PER_NOTE
            square = (share * weight) @ share.T + np.eye(parts) / _DEPARTS_DB**2
            level[:, window] = np.linalg.solve(square, share @ (weight * away))
        deviation[:, window] = np.sqrt(np.diag(np.linalg.inv(square)))
        plays[:, window] = share.sum(axis=1) > CELLS_PER_NOTE
    return level, deviation, plays


def _windows(start_s: float, end_s: float, bars: Bars | None, least_s: float) -> list[Window]:
    """From bar to bar, so many together that each lasts so long; without bars, of that length."""
    if bars is None or not len(bars.start_s):
        count = max(int((end_s - start_s) / least_s), 1)
        edges = np.linspace(start_s, end_s, count + 1).tolist()
        return [Window(*one) for one in zip(edges[:-1], edges[1:], strict=True)]
    out: list[Window] = []
    first = 0
    for last in range(len(bars.start_s)):
        opened, closed = float(bars.start_s[first]), float(bars.end_s[last])
        # Where a repeat goes back a window ends, so that its numbers name it.
        goes_on = last + 1 < len(bars.number) and bars.number[last + 1] >= bars.number[last]
        if closed - opened >= least_s or not goes_on:
            out.append(Window(opened, closed, (int(bars.number[first]), int(bars.number[last]))))
            first = last + 1
    return out
