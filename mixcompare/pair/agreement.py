"""What stays the same over time: the value on which most moments agree, and how sure it is.

Conventions
-----------
Values have a row per frame and a column per band (or per anything else); weights are alike, zero
where a cell says nothing. What only some moments show is left out by looking for agreement, not
for a mean.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.statistics import block_counts, densest, robust_mode

FloatArray = npt.NDArray[np.float64]

SHORTEST_S = 3.0
"""A column that says something for less than this is unknown."""

_EXPONENT = 0.15  # of power: loud moments must not outvote the others
_SILENCE = 1e-13  # mean square re full scale
_BLOCK_S = 3.0  # as a short-term window; stretches taken as independent, our choice
_MOST_BLOCKS = 150  # cost: of the bootstrap
_AGREEING_SHARE = 1 / 3  # of the weight: what lies closest together sets the kernel's width


def agreed(
    values: FloatArray, weights: FloatArray, rate_hz: float, finest: float
) -> tuple[FloatArray, FloatArray]:
    """Value on which most of the weight agrees, per column, and its draws under resampling.

    Parameters
    ----------
    values, weights : ndarray, shape (frames, columns)
        What is seen moment by moment, and how much each says.
    rate_hz : float
        Frames a second.
    finest : float
        Smallest kernel width, in the values' unit.

    Returns
    -------
    value : ndarray, shape (columns,)
        NaN where a column says too little.
    draws : ndarray, shape (200, columns)
        Block bootstrap (Politis and Romano 1992) over blocks of about 3 s.
    """
    frames, columns = values.shape
    blocks = int(np.clip(frames / (_BLOCK_S * rate_hz), 2, _MOST_BLOCKS))
    block = np.arange(frames) * blocks // frames
    picks = block_counts(blocks)
    value = np.full(columns, np.nan)
    draws = np.full((len(picks), columns), np.nan)
    for column in range(columns):
        used = (weights[:, column] > 0) & np.isfinite(values[:, column])
        if used.sum() < SHORTEST_S * rate_hz:
            continue
        x, w = values[used, column], weights[used, column]
        width = max(densest(x, w, _AGREEING_SHARE)[0], finest)
        value[column] = _even_mode(x, w, width)
        step = width / 4
        reach = float(np.quantile(np.abs(x - value[column]), 0.99)) + 4 * width
        half = int(min(reach / step, 400)) + 1
        place = np.round((x - value[column]) / step).astype(np.int64) + half
        inside = (place >= 0) & (place <= 2 * half)
        cells = block[used][inside] * (2 * half + 1) + place[inside]
        table = np.bincount(cells, w[inside], blocks * (2 * half + 1)).reshape(blocks, -1)
        smooth = ndimage.gaussian_filter1d(table, 4.0, axis=1, mode="constant")
        draws[:, column] = value[column] + step * (_peaks(picks @ smooth) - half)
    return value, draws


def cell_weights(power: FloatArray, band_range_db: float, frame_range_db: float) -> FloatArray:
    """How much each cell says: a little more the louder it is in its column, or nothing.

    Parameters
    ----------
    power : ndarray, shape (frames, columns)
        Of every cell.
    band_range_db : float
        A cell further below the loud moments of its column says nothing,
    frame_range_db : float
        nor does one further below the sum of its frame.
    """
    loud = np.maximum(np.percentile(power, 95, axis=0), 1e-30)
    share = np.clip(power / loud, 0.0, 1.0)
    counts = (share > 10 ** (-0.1 * band_range_db)) & (power > _SILENCE)
    counts &= power > power.sum(axis=1, keepdims=True) * 10 ** (-0.1 * frame_range_db)
    return np.where(counts, share**_EXPONENT, 0.0)


def local_scatter(curve: FloatArray) -> FloatArray:
    """Standard deviation of each band around what its neighbours lead to expect.

    From fourth differences, which broad shapes (a shelf, a bell) hardly touch, averaged over
    about four bands on either side.

    Parameters
    ----------
    curve : ndarray, shape (bands,)
        NaN where unknown.

    Returns
    -------
    ndarray, shape (bands,)
        Zero where there are too few bands to tell.
    """
    if len(curve) < 5:
        return np.zeros(len(curve))
    bend = np.full(len(curve), np.nan)
    fourth = curve[:-4] - 4 * curve[1:-3] + 6 * curve[2:-2] - 4 * curve[3:-1] + curve[4:]
    bend[2:-2] = fourth / math.sqrt(70)
    told = np.isfinite(bend)
    share = ndimage.gaussian_filter1d(told.astype(np.float64), 2.0, mode="constant")
    square = ndimage.gaussian_filter1d(np.where(told, bend, 0.0) ** 2, 2.0, mode="constant")
    return np.sqrt(np.where(share > 1e-6, square / np.maximum(share, 1e-6), 0.0))


def intervals(
    value: FloatArray, draws: FloatArray, scatter: float | FloatArray = 0.0
) -> tuple[FloatArray, FloatArray]:
    """95 % interval per column, around the value; infinite where it is unknown.

    Parameters
    ----------
    value : ndarray, shape (columns,)
        The estimates.
    draws : ndarray, shape (draws, columns)
        Of a bootstrap.
    scatter : float or ndarray, shape (columns,)
        Standard deviation to be added to what the draws show.
    """
    known = np.isfinite(value)
    low, high = np.percentile(np.where(known, draws, 0.0), [2.5, 97.5], axis=0)
    below = np.hypot(np.maximum(value - low, 0), 1.96 * scatter)
    above = np.hypot(np.maximum(high - value, 0), 1.96 * scatter)
    return np.where(known, value - below, -np.inf), np.where(known, value + above, np.inf)


def _even_mode(values: FloatArray, weights: FloatArray, width: float) -> float:
    """Mode that changes nothing but its sign when all values do."""
    found = robust_mode(values, weights, width), -robust_mode(-values, weights, width)
    density = [float(np.sum(weights * np.exp(-0.5 * ((values - at) / width) ** 2))) for at in found]
    if abs(density[0] - density[1]) <= 1e-9 * max(density):
        return min(found, key=abs)
    return found[int(np.argmax(density))]


def _peaks(density: FloatArray) -> FloatArray:
    """Place of each row's maximum, refined by a parabola through the logarithm."""
    rows = np.arange(len(density))
    top = np.clip(np.argmax(density, axis=1), 1, density.shape[1] - 2)
    left, middle, right = (
        np.log(np.maximum(density[rows, top + shift], 1e-30)) for shift in (-1, 0, 1)
    )
    bend = np.minimum(left - 2 * middle + right, -1e-9)
    return np.asarray(top + np.clip(0.5 * (left - right) / bend, -0.5, 0.5))
