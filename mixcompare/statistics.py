"""Robust estimates and their intervals."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]


def weighted_quantile(values: npt.ArrayLike, weights: npt.ArrayLike, quantile: float) -> float:
    """Quantile of weighted values (0.5 = weighted median); NaN for no weight at all."""
    return float(weighted_quantiles(values, weights, (quantile,))[0])


def weighted_quantiles(
    values: npt.ArrayLike, weights: npt.ArrayLike, quantiles: Sequence[float]
) -> FloatArray:
    """Several quantiles of weighted values, sorted once; NaN for no weight at all."""
    x = np.asarray(values, np.float64).ravel()
    w = np.asarray(weights, np.float64).ravel()
    keep = (w > 0) & np.isfinite(x)
    if not keep.any():
        return np.full(len(quantiles), np.nan)
    x, w = x[keep], w[keep]
    order = np.argsort(x, kind="stable")
    cumulated = np.cumsum(w[order]) - 0.5 * w[order]
    return np.asarray(np.interp(np.asarray(quantiles) * w.sum(), cumulated, x[order]))


def weighted_medians(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted median of every column, shape (columns,); zero where a column has no weight."""
    return quantile_by_column(values, weights, 0.5)


def quantile_by_column(values: FloatArray, weights: FloatArray, quantile: float) -> FloatArray:
    """Weighted quantile of every column, as :func:`weighted_medians`."""
    return np.array(
        [
            weighted_quantile(column, heavy, quantile) if heavy.any() else 0.0
            for column, heavy in zip(values.T, weights.T, strict=True)
        ]
    )


def effective_number(amounts: FloatArray) -> float:
    """How many share an amount: all of them where they are alike, one where one has it all."""
    return float(amounts.sum() ** 2 / max(np.square(amounts).sum(), 1e-30))


def densest(values: npt.ArrayLike, weights: npt.ArrayLike, share: float) -> tuple[float, float]:
    """Width and middle of the shortest interval that holds a share of the weight.

    Parameters
    ----------
    values, weights : array_like, of one shape
        Only weights above zero count.
    share : float in (0, 1)
        Of the whole weight.

    Returns
    -------
    width, middle : float
        Infinite and zero for no weight at all.
    """
    x = np.asarray(values, np.float64)
    w = np.asarray(weights, np.float64)
    keep = w > 0
    if not keep.any():
        return np.inf, 0.0
    x, w = x[keep], w[keep]
    order = np.argsort(x, kind="stable")
    x, total = x[order], np.concatenate([[0.0], np.cumsum(w[order])])
    last = np.searchsorted(total, total[:-1] + share * total[-1]) - 1
    inside = last < len(x)
    widths = np.where(inside, x[np.minimum(last, len(x) - 1)] - x, np.inf)
    first = int(np.argmin(widths))
    return float(widths[first]), float((x[first] + x[last[first]]) / 2)


def robust_mode(values: npt.ArrayLike, weights: npt.ArrayLike, width: float) -> float:
    """Value on which the most weight agrees within a kernel of the given width.

    A Gaussian kernel density on a fine grid, its peak refined by mean shift.
    """
    x = np.asarray(values, np.float64).ravel()
    w = np.asarray(weights, np.float64).ravel()
    keep = (w > 0) & np.isfinite(x)
    if not keep.any():
        return float("nan")
    x, w = x[keep], w[keep]
    low, high = np.quantile(x, [0.001, 0.999])
    step = width / 4
    edges = np.arange(low - 4 * width, high + 4 * width + step, step)
    histogram, _ = np.histogram(x, edges, weights=w)
    kernel = np.exp(-0.5 * (np.arange(-16, 17) / 4) ** 2)
    density = np.convolve(histogram, kernel, mode="same")
    peak = float(edges[int(np.argmax(density))] + step / 2)
    for _ in range(30):
        near = w * np.exp(-0.5 * ((x - peak) / width) ** 2)
        moved = float((near * x).sum() / near.sum())
        if abs(moved - peak) < 1e-6:
            break
        peak = moved
    return peak


def block_bootstrap(
    blocks: int,
    statistic: Callable[[npt.NDArray[np.int64]], npt.ArrayLike],
    draws: int = 200,
    block_length: int = 1,
    seed: int = 0,
) -> FloatArray:
    """Draws of a statistic under resampling of blocks of time.

    Parameters
    ----------
    blocks : int
        Number of units of time (for instance seconds).
    statistic : callable
        Takes indices of units, shape (blocks,), returns a number or an array.
    draws : int
        Of a bootstrap.
    block_length : int
        Consecutive units that stay together (circular block bootstrap, Politis and Romano 1992).
    seed : int
        Of the random numbers.

    Returns
    -------
    ndarray, shape (draws, ...)
    """
    rng = np.random.default_rng(seed)
    count = -(-blocks // block_length)
    out = []
    for _ in range(draws):
        starts = rng.integers(0, blocks, count)
        index = (starts[:, None] + np.arange(block_length)[None]).ravel()[:blocks] % blocks
        out.append(np.asarray(statistic(index.astype(np.int64)), np.float64))
    return np.asarray(out, np.float64)


def interval(draws: FloatArray, coverage: float = 0.95) -> tuple[float, float]:
    """Central interval of bootstrap draws."""
    tail = 100 * (1 - coverage) / 2
    low, high = np.nanpercentile(draws, [tail, 100 - tail])
    return float(low), float(high)


def few_blocks(blocks: float) -> float:
    """How much wider than its draws an interval from so few independent blocks must be.

    Student's t in place of the normal quantile, and the share of the variance, 1 / blocks, that
    resampling around the sample's own mean leaves out (Efron and Tibshirani 1993, from memory).
    """
    free = max(blocks - 1, 1.0)
    return float(special.stdtrit(free, 0.975) / special.ndtri(0.975) * (1 + 1 / free) ** 0.5)
