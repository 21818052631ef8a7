"""Robust estimates and their intervals."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

FloatArray = npt.NDArray[np.float64]

_HUBER = 1.5  # times the residuals' scale, from where on they count linearly; our choice

_HILL = 0.8  # of the weight, from where on a density bends too little for Newton's step
_KERNEL_ENDS = 12.0  # widths: a Gaussian is 1e-31 there
_MANY, _EVERY, _AROUND = 8000, 61, 0.05
"""Of more values than this a sample, every so manieth, shows those this share around a quantile."""


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
    if len(x) < _MANY:
        return _of_all(x, w, np.asarray(quantiles), w.sum(), 0.0)
    return np.array([_among_many(x, w, quantile) for quantile in quantiles])


def _of_all(
    x: FloatArray, w: FloatArray, quantiles: FloatArray, total: float, below: float
) -> FloatArray:
    """Quantiles of some of the values, where weight below them lies outside."""
    x, w = _in_order(x, w)
    return np.asarray(np.interp(quantiles * total - below, np.cumsum(w) - 0.5 * w, x))


def _among_many(x: FloatArray, w: FloatArray, quantile: float) -> float:
    """One quantile; only the values near it are sorted, which a sample of all shows."""
    total = float(w.sum())
    few, their = _in_order(x[::_EVERY], w[::_EVERY])
    share = np.cumsum(their) / max(their.sum(), 1e-300)
    ends = np.searchsorted(share, (quantile - _AROUND, quantile + _AROUND))
    low = few[ends[0] - 1] if ends[0] > 0 else -np.inf
    high = few[ends[1]] if ends[1] < len(few) else np.inf
    below, inside = x < low, (x >= low) & (x <= high)
    left_out, held = float(w[below].sum()), float(w[inside].sum())
    heaviest = float(w[inside].max(initial=0.0))
    sure = left_out + heaviest <= quantile * total <= left_out + held - heaviest
    if not sure and np.isfinite([low, high]).any():
        return float(_of_all(x, w, np.array([quantile]), total, 0.0)[0])
    return float(_of_all(x[inside], w[inside], np.array([quantile]), total, left_out)[0])


def _in_order(values: FloatArray, weights: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Both in the values' stable order along the last axis."""
    # A plain sort takes a third of the time, and leaves open the order of ties alone.
    order = np.argsort(values, axis=-1)
    x = np.take_along_axis(values, order, axis=-1)
    tied = ((x[..., 1:] == x[..., :-1]) & np.isfinite(x[..., 1:])).any(axis=-1)
    if tied.any():
        order[tied] = np.argsort(values[tied], axis=-1, kind="stable")
    return x, np.take_along_axis(weights, order, axis=-1)


def chosen_quantiles(
    values: FloatArray, chosen: npt.NDArray[np.bool_], quantiles: Sequence[float]
) -> FloatArray:
    """Quantiles of the chosen values of every column, read between them as numpy does.

    Parameters
    ----------
    values, chosen : ndarray, shape (values, columns)
        At least one of every column is chosen.
    quantiles : sequence of float
        From 0 to 1.

    Returns
    -------
    ndarray, shape (quantiles, columns)
    """
    ordered = np.sort(np.where(chosen, values, np.inf), axis=0)
    place = np.outer(quantiles, chosen.sum(axis=0) - 1)
    below = np.floor(place).astype(np.intp)
    low, high = (
        np.take_along_axis(ordered, at, axis=0) for at in (below, np.ceil(place).astype(np.intp))
    )
    return np.asarray(low + (place - below) * (high - low))


def quantiles_by_column(
    values: FloatArray, weights: FloatArray, quantiles: Sequence[float]
) -> FloatArray:
    """Weighted quantiles of every column, as :func:`weighted_quantiles` takes them of one.

    Returns
    -------
    ndarray, shape (quantiles, columns)
        Zero where a column has no weight.
    """
    x, w = (np.ascontiguousarray(each.T, np.float64) for each in (values, weights))
    keep = (w > 0) & np.isfinite(x)
    # What does not count goes to the end of its row.
    x, w = _in_order(np.where(keep, x, np.inf), np.where(keep, w, 0.0))
    x[np.isinf(x)] = 0.0
    cumulated = np.cumsum(w, axis=1) - 0.5 * w
    rows, last = np.arange(len(x)), np.maximum(keep.sum(axis=1) - 1, 0)
    out = np.zeros((len(quantiles), len(x)))
    for row, wanted in zip(out, np.multiply.outer(quantiles, w.sum(axis=1)), strict=True):
        below = np.sum(cumulated <= wanted[:, None], axis=1) - 1
        low, high = (np.clip(at, 0, last) for at in (below, below + 1))
        (start, end), (of_start, of_end) = (
            (each[rows, low], each[rows, high]) for each in (cumulated, x)
        )
        share = (wanted - start) / np.where(end > start, end - start, 1.0)
        row[:] = of_start + np.where(high > low, share, 0.0) * (of_end - of_start)
    return out


def weighted_medians(values: FloatArray, weights: FloatArray) -> FloatArray:
    """Weighted median of every column, shape (columns,); zero where a column has no weight."""
    (middle,) = quantiles_by_column(values, weights, (0.5,))
    return np.asarray(middle)


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
    order = np.argsort(x)  # that of equal values changes nothing
    x, total = x[order], np.concatenate([[0.0], np.cumsum(w[order])])
    last = np.searchsorted(total, total[:-1] + share * total[-1]) - 1
    inside = last < len(x)
    widths = np.where(inside, x[np.minimum(last, len(x) - 1)] - x, np.inf)
    first = int(np.argmin(widths))
    return float(widths[first]), float((x[first] + x[last[first]]) / 2)


def densest_by_row(
    values: FloatArray, weights: FloatArray, share: float
) -> tuple[FloatArray, FloatArray]:
    """Width and middle of every row's shortest interval, as :func:`densest` finds that of one."""
    # What does not count goes to the end of its row.
    x = np.where(weights > 0, values, np.inf)
    order = np.argsort(x, axis=1)
    x, w = (np.take_along_axis(each, order, axis=1) for each in (x, np.maximum(weights, 0.0)))
    x[np.isinf(x)] = 0.0
    total = np.pad(np.cumsum(w, axis=1), ((0, 0), (1, 0)))
    total /= np.maximum(total[:, -1:], 1e-300)
    # All rows are searched as one, each beyond what the one before reaches to.
    rows, count = x.shape
    row = np.arange(rows)
    apart = 2.0 * row[:, None]
    wanted = (apart + (total[:, :-1] + share)).ravel()
    last = np.searchsorted((apart + total).ravel(), wanted).reshape(x.shape)
    last -= (row * (count + 1))[:, None] + 1
    ends = np.take_along_axis(x, np.minimum(last, count - 1), axis=1)
    widths = np.where(last < count, ends - x, np.inf)
    first = np.argmin(widths, axis=1)
    return widths[row, first], (x[row, first] + ends[row, first]) / 2


def robust_mode(values: npt.ArrayLike, weights: npt.ArrayLike, width: float) -> float:
    """Value on which the most weight agrees within a kernel of the given width.

    A Gaussian kernel density on a fine grid, its peak refined by Newton's method, or by mean shift
    where the density is no hill yet.
    """
    x = np.asarray(values, np.float64).ravel()
    w = np.asarray(weights, np.float64).ravel()
    keep = (w > 0) & np.isfinite(x)
    if not keep.any():
        return float("nan")
    x, w = x[keep], w[keep]
    ends = sorted({int(0.001 * (len(x) - 1)), math.ceil(0.999 * (len(x) - 1))})
    ordered = np.partition(x, ends)
    low, high = ordered[ends[0]] - 4 * width, ordered[ends[-1]] + 4 * width
    step = width / 4
    cells = int((high - low) / step) + 1
    place = (x - low) / step
    inside = (place >= 0) & (place < cells)
    histogram = np.bincount(place[inside].astype(np.intp), w[inside], cells)
    kernel = np.exp(-0.5 * (np.arange(-16, 17) / 4) ** 2)
    density = np.convolve(histogram, kernel, mode="same")
    peak = float(low + (np.argmax(density) + 0.5) * step)
    close = np.abs(x - peak) < _KERNEL_ENDS * width
    x, w = x[close], w[close]
    for _ in range(30):
        away = (x - peak) / width
        near = w * np.exp(-0.5 * away * away)
        pull = near * away
        total, bend = float(near.sum()), float(pull @ away)
        moved = width * float(pull.sum()) / (total - bend if bend < _HILL * total else total)
        peak += moved
        if abs(moved) < 1e-6:
            break
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
    picks = block_picks(blocks, draws, block_length, seed)
    return np.array([statistic(index) for index in picks], np.float64)


def block_picks(
    blocks: int, draws: int = 200, block_length: int = 1, seed: int = 0
) -> npt.NDArray[np.int64]:
    """Indices that :func:`block_bootstrap` hands to its statistic, shape (draws, blocks)."""
    rng = np.random.default_rng(seed)
    starts = rng.integers(0, blocks, (draws, -(-blocks // block_length), 1))
    runs = (starts + np.arange(block_length)) % blocks
    return np.asarray(runs.reshape(draws, -1)[:, :blocks], np.int64)


def block_counts(blocks: int, draws: int = 200, block_length: int = 1) -> FloatArray:
    """How often each draw picks each block, shape (draws, blocks): sums are products with it."""
    picks = block_picks(blocks, draws, block_length)
    places = picks + blocks * np.arange(draws)[:, None]
    counts = np.bincount(places.ravel(), minlength=draws * blocks)
    return counts.reshape(draws, blocks).astype(np.float64)


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


def huber_weights(residual: FloatArray) -> FloatArray:
    """What every residual weighs: far ones as if they were near (Huber 1964)."""
    scale = 1.4826 * float(np.median(np.abs(residual))) + 1e-3
    return np.asarray(np.minimum(1.0, _HUBER * scale / np.maximum(np.abs(residual), 1e-12)))


@dataclass(frozen=True)
class Fit:
    """A robust linear fit: its coefficients, what it leaves, and what every value weighed."""

    coefficients: FloatArray
    residual: FloatArray
    weight: FloatArray

    @property
    def cost(self) -> float:
        """Mean size of what it leaves."""
        return float(np.mean(np.abs(self.residual)))


def huber_fit(design: FloatArray, values: FloatArray) -> Fit:
    """Least squares with Huber weights (Huber 1964).

    Parameters
    ----------
    design : ndarray, shape (coefficients, n)
        What the values are made of.
    values : ndarray, shape (n,)
        What is to be fitted.
    """
    weight = np.ones_like(values)
    for _ in range(8):
        scaled = design * weight
        coefficients = np.linalg.lstsq(scaled @ design.T, scaled @ values, rcond=None)[0]
        residual = values - coefficients @ design
        weight = huber_weights(residual)
    return Fit(np.asarray(coefficients), np.asarray(residual), weight)
