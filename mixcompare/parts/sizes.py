"""How much a part changed, where the shares that the model gives it are not to be trusted.

A joint fit reads changes small: a cell that the model takes for half a part's and that is wholly
another's does not change, and draws the estimate to zero. So the share of a cell is taken for
what it is, a guess with an error of its own: the change is the one that makes the distribution of
all the cells' differences likeliest, each cell's true share drawn around its guess.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage, stats

from mixcompare.parts.fit import CELLS_PER_NOTE

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_SURE = 3.0
"""How sure a share is: the true one is drawn from a beta distribution with this sum of parameters.
Of 30 changes on three movements 2 and 4 do as well, 1 and 8 worse."""
_DRAWS = 9  # of a share; resolution
_SHARES = np.linspace(0.01, 0.99, 50)  # resolution
_CHANGES_DB = np.arange(-15, 15.01, 0.25)  # resolution, and the largest change that is told
_NOT_ITS_OWN, _ITS_OWN = 0.15, 0.2  # shares; our judgement
_LEAST_CELLS = 100  # four notes
_LEAST_SPREAD_DB = 0.3  # of one cell
_SMOOTH_BANDS = 4.0
_BESIDE_DB, _SHORT_PER_DB, _FAR_PER_DB, _MOST_FAR = 0.3, 0.08, 0.25, 0.5
"""Sizes are read small, the more so the more the cells scatter (dB): how far the truth may lie on
either side, in shares of the size, at most by half of it (24 changes on three movements)."""


@dataclass(frozen=True)
class Size:
    """How much a group of parts changed against the rest.

    Attributes
    ----------
    level_db : float
    interval : tuple of float
        By the likelihood alone.
    """

    level_db: float
    interval: tuple[float, float]


def size_of(
    difference_db: FloatArray, share: FloatArray, others: FloatArray, heard: BoolArray
) -> Size | None:
    """How much those changed who have a share of the cells.

    Parameters
    ----------
    difference_db, share : ndarray, shape (bands, n)
        Of every cell: candidate minus reference, and the group's share of the reference.
    others : ndarray, shape (bands, n)
        Share of those who changed besides.
    heard : ndarray of bool, shape (bands, n)
        Cells that say something.

    Returns
    -------
    Size or None
        None where too few cells are theirs or the rest's, and where the likeliest is the largest
        that is tried: that is a bound, no size.
    """
    rest = heard & (share < _NOT_ITS_OWN) & (others < _NOT_ITS_OWN)
    own = heard & (share > _ITS_OWN) & (others < _ITS_OWN)
    if min(rest.sum(), own.sum()) < _LEAST_CELLS:
        return None
    left = difference_db - _tone_db(difference_db, rest)[:, None]
    spread = max(1.4826 * float(np.median(np.abs(left[rest]))), _LEAST_SPREAD_DB)
    drawn = drawn_shares(share[own], _DRAWS)
    away = left[own][:, None]
    likelihood = np.empty(len(_CHANGES_DB))
    for index, change_db in enumerate(_CHANGES_DB):
        moved = 10 * np.log10(1 + drawn * (10 ** (change_db / 10) - 1))
        # Student's t with two degrees of freedom: notes are played louder and softer besides.
        likely = (1 + ((away - moved) / spread) ** 2) ** -1.5
        likelihood[index] = np.log(likely.mean(axis=1) + 1e-6).sum() / CELLS_PER_NOTE
    best = int(likelihood.argmax())
    if best in (0, len(_CHANGES_DB) - 1):
        return None
    inside = _CHANGES_DB[likelihood > likelihood[best] - 1.92]  # half of chi-squared's 95 %
    return Size(float(_CHANGES_DB[best]), (float(inside[0]) - 0.125, float(inside[-1]) + 0.125))


def drawn_shares(share: FloatArray, draws: int) -> FloatArray:
    """What the true shares may be of which these are guesses: quantiles, shape (..., draws)."""
    places = np.clip(np.searchsorted(_SHARES, share), 0, len(_SHARES) - 1)
    quantiles = (np.arange(draws) + 0.5) / draws
    guess = _SHARES[:, None] * _SURE
    return np.asarray(stats.beta.ppf(quantiles, guess, _SURE - guess)[places])


def _tone_db(difference_db: FloatArray, rest: BoolArray) -> FloatArray:
    """Level difference of every band where those that did not change play alone."""
    told = np.array(
        [
            np.median(row[cells]) if cells.sum() >= 20 else np.nan
            for row, cells in zip(difference_db, rest, strict=True)
        ]
    )
    told = np.where(np.isfinite(told), told, np.median(difference_db[rest]))
    return np.asarray(ndimage.gaussian_filter1d(told, _SMOOTH_BANDS))


def widened(
    level_db: float, interval: tuple[float, float], scatter_db: float
) -> tuple[float, float]:
    """With what the fit reads small, and the more it scatters the more."""
    near, far = sorted(interval, key=abs)
    sign = np.sign(level_db)
    near = sign * (abs(near) * (1 - min(_SHORT_PER_DB * scatter_db, 0.6)) - _BESIDE_DB)
    far = sign * (abs(far) * (1 + min(_FAR_PER_DB * scatter_db, _MOST_FAR)) + _BESIDE_DB)
    low, high = sorted((float(near), float(far)))
    return low, high
