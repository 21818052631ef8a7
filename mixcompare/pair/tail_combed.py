"""A filter of no usual shape in what attacks show under another tail.

Reflections close at hand comb the spectrum, and so does a channel that came late, where both are
heard as one: peaks and dips as far apart as the delay is short. No shelf, bell or cut goes through
them, and register by register they look as if instruments had changed.

Conventions
-----------
As in :mod:`mixcompare.pair.tail_filters`; bins are those of frames of one take.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.features import ANALYSIS_RATE_HZ
from mixcompare.pair.tail_filters import likelihoods
from mixcompare.pair.tail_frames import HIGHEST_BIN, WINDOW
from mixcompare.statistics import robust_mode

FloatArray = npt.NDArray[np.float64]

_FROM_HZ, _FEWEST = 70.0, 40  # cells about a bin; our judgement, not measured
_REACH_BINS, _REACH = 1.5, 0.03  # to either side of a bin; of its frequency, further up
_LEAST_SPREAD_DB = 2.5  # from the 5th to the 95th percentile of bins, to look at all
_MOST_CELLS = 20_000  # cost
_REGISTERS = 6  # in an octave: fine enough for shares of cells to differ
_LIKELIER = 0.01
"""Than two elements, one up and one down, in a cell's mean: 0.03 to 1.0 where a measured room of
short decay was added, or a channel came 1.4 ms late into a hall; -0.005 and less in pairs with one
section or all of them changed, each by its own, and another tail."""


@dataclass(frozen=True, eq=False)
class Combed:
    """What a filter of any shape does.

    Attributes
    ----------
    level_db, turn : ndarray, shape (bins,)
        Candidate minus reference; and of phase, in radians.
    """

    level_db: FloatArray
    turn: FloatArray


def combed_in(
    column: npt.NDArray[np.int64], moved_db: FloatArray, weight: FloatArray, turned: FloatArray
) -> Combed | None:
    """The filter, if it is far likelier than that elements came up, went down, or both.

    It moves all cells of a bin by one amount, whoever plays, and every bin by another; elements
    move their own cells by one amount, and others not at all.

    Parameters
    ----------
    column, moved_db, weight, turned : ndarray, shape (n,)
        What begins: its bin, how far filters of usual shapes leave it from most registers, its
        weight, and by how many radians its phase is turned.
    """
    order = np.argsort(column, kind="stable")[:: max(len(column) // _MOST_CELLS, 1)]
    column = column[order]
    moved_db, weight, turned = (x[order] for x in (moved_db, weight, turned))
    bins = np.arange(WINDOW // 2 + 1)
    hz = bins * ANALYSIS_RATE_HZ / WINDOW
    level_db = np.full(len(bins), np.nan)
    turn = np.zeros(len(bins))
    for index in np.flatnonzero((hz > _FROM_HZ) & (bins < HIGHEST_BIN)):
        reach = max(_REACH_BINS, _REACH * index)
        near = slice(*np.searchsorted(column, (index - reach, index + reach)))
        if near.stop - near.start >= _FEWEST:
            level_db[index] = robust_mode(moved_db[near], weight[near], 1.0)
            turn[index] = np.angle(weight[near] @ np.exp(1j * turned[near]))
    known = np.isfinite(level_db)
    if not known.any() or np.ptp(np.percentile(level_db[known], [5, 95])) < _LEAST_SPREAD_DB:
        return None
    level_db = np.interp(bins, bins[known], level_db[known])
    cells = column * ANALYSIS_RATE_HZ / WINDOW, moved_db, weight
    registers = np.arange(np.log2(_FROM_HZ), np.log2(hz[HIGHEST_BIN]), 1 / _REGISTERS)
    asked, filtered, moved = likelihoods(cells, moved_db - level_db[column], registers, (1.0, -1.0))
    if not asked:
        return None
    # Of every register the likelier of one element that came up and another that went down.
    up, down = moved[:, 0, :, None], moved[:, 1, None, :]
    elements = np.maximum(up, down).sum(axis=0).max()
    return Combed(level_db, turn) if (filtered.sum() - elements) / asked > _LIKELIER else None
