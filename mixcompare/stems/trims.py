"""Trims that give the candidate the reference's balance, between two performances.

Conventions
-----------
Unknown are the trims in dB; known, in every cell, how much louder or softer the reference is, and
how the candidate is made of its stems there. The candidate with the trims against the candidate
without, in dB, has to equal that difference: what the stems do not explain, a hall's late part for
one, is in both and cancels. A cell that lies far off counts less (soft L1), most stems are taken to
need one trim, and the price of another grows with its size, not with the square.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.statistics import block_counts

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_DB = 10 / np.log(10)
_STEPS, _MOST_STEP_DB = 25, 4.0
_PRICE_DB = 6.0  # of a trim beside the common one
_CELLS_PER_NOTE = 25.0  # neighbouring cells say together what one would
_LEAST_SCATTER_DB = 0.05
_BLOCKS, _DRAWS = 16, 60


@dataclass(frozen=True)
class Fit:
    """What was fitted.

    Attributes
    ----------
    trim_db : ndarray, shape (stems,)
        Up to one common shift.
    covariance : ndarray, shape (stems, stems)
    shares : ndarray, shape (stems, n, bands)
        Of every cell: by how many dB it rises for one of the stem's.
    left_db : ndarray, shape (n, bands)
        What the trims do not explain.
    scatter_db : float
    """

    trim_db: FloatArray
    covariance: FloatArray
    shares: FloatArray
    left_db: FloatArray
    scatter_db: float


def fit(
    wanted_db: FloatArray, heard: BoolArray, pairs: npt.NDArray[np.int64], cross: FloatArray
) -> Fit:
    """Fit all trims by Gauss-Newton steps.

    Parameters
    ----------
    wanted_db : ndarray, shape (n, bands)
        By how much the reference is louder.
    heard : ndarray of bool, shape (n, bands)
        Cells that count.
    pairs, cross : ndarray
        Of :class:`~mixcompare.stems.cells.StemCells`, on the same cells.
    """
    number = int(pairs.max()) + 1
    trim, scatter = np.zeros(number), 3.0
    before = np.maximum(cross.sum(axis=0), 1e-30)
    for step in range(_STEPS):
        model, shares = _model(trim, pairs, cross, before)
        left = wanted_db - model
        common = np.median(left[heard])
        scatter = max(1.4826 * float(np.median(np.abs(left[heard] - common))), _LEAST_SCATTER_DB)
        price = _price(trim)
        square, along = _normal(shares, left, heard, scatter)
        move = np.linalg.solve(square + price, along - price @ trim)
        most = float(np.abs(move).max())
        trim = trim + move * min(1.0, _MOST_STEP_DB / max(most, 1e-9))
        if step > 3 and most < 0.005:
            break
    model, shares = _model(trim, pairs, cross, before)
    left = wanted_db - model
    return Fit(trim, _covariance(shares, left, heard, scatter, trim), shares, left, scatter)


def _model(
    trim: FloatArray, pairs: npt.NDArray[np.int64], cross: FloatArray, before: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Rise of every cell with the trims, and the stems' shares in it."""
    gain = 10 ** (trim / 20)
    weighted = cross * (gain[pairs[:, 0]] * gain[pairs[:, 1]])[:, None, None]
    whole = np.maximum(weighted.sum(axis=0), 1e-30)
    shares = np.zeros((len(trim), *whole.shape))
    for (first, second), power in zip(pairs, weighted, strict=True):
        shares[first] += power / 2
        shares[second] += power / 2
    return _DB * np.log(whole / before), shares / whole


def _price(trim: FloatArray) -> FloatArray:
    """Inverse variances of the trims about their common one."""
    away = np.abs(trim - np.median(trim))
    weight = 1 / (_PRICE_DB * np.maximum(away, 1.0))
    return np.asarray(np.diag(weight) - np.outer(weight, weight) / weight.sum())


def _normal(
    shares: FloatArray, left: FloatArray, heard: BoolArray, scatter: float
) -> tuple[FloatArray, FloatArray]:
    own, away = shares[:, heard], left[heard]
    weight = 1 / np.sqrt(1 + (away / scatter) ** 2) / (scatter**2 * _CELLS_PER_NOTE)
    return (own * weight) @ own.T, own @ (weight * away)


def _covariance(
    shares: FloatArray, left: FloatArray, heard: BoolArray, scatter: float, trim: FloatArray
) -> FloatArray:
    """Of the fit and of resampled blocks of time."""
    price = _price(trim)
    edges = np.linspace(0, len(left), _BLOCKS + 1).astype(int)
    parts = [
        _normal(shares[:, a:b], left[a:b], heard[a:b], scatter)
        for a, b in zip(edges[:-1], edges[1:], strict=True)
    ]
    squares, alongs = (np.array(each) for each in zip(*parts, strict=True))
    inverse = np.linalg.inv(squares.sum(axis=0) + price)
    draws = []
    for count in block_counts(_BLOCKS, _DRAWS):
        square, along = np.tensordot(count, squares, 1), count @ alongs
        draws.append(np.linalg.solve(square + price, along - price @ trim))
    return inverse + np.cov(np.array(draws).T)
