"""How far one recording's level swings where another's swings by a decibel.

Conventions
-----------
``mean_db`` is the mean of both levels at a moment, ``change_db`` candidate minus reference. In these
coordinates exchanging the recordings only turns the sign of the change, so every result mirrors:
a slope becomes its reciprocal. A slope is the candidate's decibels per decibel of the reference:
1 = the same dynamics, 0.5 = half the swing, as compression of 2:1 over the whole range leaves it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from mixcompare.statistics import block_bootstrap

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.int64]

SHORTEST_BLOCK_S = 3.0
"""A short-term window; shorter stretches of music are never taken as independent."""

FEWEST_BLOCKS = 5

_DRAWS = 200
_HUBER = 1.5
_KNEES = 15
_STEEPEST = 20.0


@dataclass(frozen=True)
class Slope:
    """A slope in dB per dB with its 95 % interval."""

    value: float
    interval: tuple[float, float]


@dataclass(frozen=True)
class Knee:
    """Two straight pieces: slope 1 up to a level of the reference, another one above it."""

    level_db: float
    above: Slope


def swing_slope(mean_db: FloatArray, change_db: FloatArray, rate_hz: float) -> Slope | None:
    """Robust slope of the candidate's level against the reference's.

    The value is the orthogonal regression with Huber weights (Huber 1964). It is right where both
    levels scatter alike; if all the scatter were in one of them, the slope would lie at one of
    the two ordinary regressions (Frisch 1934). The interval spans both, each resampled in blocks
    as long as the residuals hang together.

    Parameters
    ----------
    mean_db, change_db : ndarray, shape (n,)
        Consecutive moments; moments left out in between are allowed.
    rate_hz : float

    Returns
    -------
    Slope or None
        None where the levels do not rise together at all.
    """
    reference, candidate = mean_db - change_db / 2, mean_db + change_db / 2
    angle, residual, weight = _orthogonal(reference, candidate)
    if not 1 / _STEEPEST < np.tan(angle) < _STEEPEST:
        return None
    block = _block_length(residual, rate_hz)
    if len(reference) < FEWEST_BLOCKS * block:
        block = len(reference) // FEWEST_BLOCKS

    def bounds(index: IndexArray) -> FloatArray:
        _, _, across, up, both = _moments(reference[index], candidate[index], weight[index])
        slack = 1e-12
        return np.log(np.maximum([both / (across + slack), up / max(both, slack)], 1e-3))

    draws = block_bootstrap(len(reference), bounds, _DRAWS, block)
    low, high = bounds(np.arange(len(reference)))
    spread = _student(len(reference) / block) * draws.std(axis=0)
    middle = float(np.log(np.tan(angle)))
    interval = (min(low, middle) - spread[0], max(high, middle) + spread[1])
    return Slope(float(np.tan(angle)), (float(np.exp(interval[0])), float(np.exp(interval[1]))))


def fitted_knee(mean_db: FloatArray, change_db: FloatArray, rate_hz: float) -> Knee | None:
    """Level above which the candidate's dynamics differ while those below agree.

    Least squares with Huber weights of the change on a hinge, tried at levels across the range.

    Returns
    -------
    Knee or None
        None where no hinge describes the moments clearly better than one straight line.
    """
    centres = np.quantile(mean_db, np.linspace(0.1, 0.85, _KNEES))
    flat = np.ones_like(mean_db)
    line_cost = _fit(np.stack([flat, mean_db]), change_db)[1]
    below = [
        _fit(np.stack([flat, np.minimum(mean_db - knee, 0)]), change_db)[1] for knee in centres
    ]
    above = [_fit(np.stack([flat, np.maximum(mean_db - knee, 0)]), change_db) for knee in centres]
    best = int(np.argmin([cost for _, cost, _ in above]))
    coefficients, cost, weight = above[best]
    if cost > _CLEARLY * min(line_cost, min(below)):
        return None
    residual = change_db - coefficients @ np.stack([flat, np.maximum(mean_db - centres[best], 0)])
    block = min(_block_length(residual, rate_hz), len(mean_db) // FEWEST_BLOCKS)
    hinges = np.maximum(mean_db[np.newaxis] - centres[:, np.newaxis], 0)

    def slope_above(index: IndexArray) -> float:
        return _best_hinge(hinges[:, index], change_db[index], weight[index])

    draws = block_bootstrap(len(mean_db), slope_above, _DRAWS, block)
    bend = float(coefficients[1])
    spread = _student(len(mean_db) / block) * float(draws.std())
    low, value, high = (_as_slope(bend + step) for step in (-spread, 0.0, spread))
    return Knee(float(centres[best] - coefficients[0] / 2), Slope(value, (low, high)))


_CLEARLY = 0.8
"""Share of the straight line's cost that a hinge may keep (our choice)."""


def _as_slope(bend: float) -> float:
    """Slope of candidate against reference from that of the change against the mean."""
    inside = float(np.clip(bend, -1.99, 1.99))
    return (2 + inside) / (2 - inside)


def _moments(
    x: FloatArray, y: FloatArray, weight: FloatArray
) -> tuple[float, float, float, float, float]:
    total = weight.sum()
    mean_x, mean_y = (weight * x).sum() / total, (weight * y).sum() / total
    from_x, from_y = x - mean_x, y - mean_y
    return (
        float(mean_x),
        float(mean_y),
        float((weight * from_x**2).sum()),
        float((weight * from_y**2).sum()),
        float((weight * from_x * from_y).sum()),
    )


def _orthogonal(x: FloatArray, y: FloatArray) -> tuple[float, FloatArray, FloatArray]:
    """Angle of the best line by orthogonal distance, the distances, and the weights."""
    weight = np.ones_like(x)
    for _ in range(12):
        mean_x, mean_y, across, up, both = _moments(x, y, weight)
        angle = 0.5 * np.arctan2(2 * both, across - up)
        distance = (y - mean_y) * np.cos(angle) - (x - mean_x) * np.sin(angle)
        weight = _huber(distance)
    return float(angle), distance, weight


def _huber(residual: FloatArray) -> FloatArray:
    scale = 1.4826 * float(np.median(np.abs(residual))) + 1e-3
    return np.asarray(np.minimum(1.0, _HUBER * scale / np.maximum(np.abs(residual), 1e-12)))


def _fit(design: FloatArray, values: FloatArray) -> tuple[FloatArray, float, FloatArray]:
    """Coefficients of a Huber fit, the mean absolute residual, and the weights."""
    weight = np.ones_like(values)
    for _ in range(8):
        scaled = design * weight
        coefficients = np.linalg.lstsq(scaled @ design.T, scaled @ values, rcond=None)[0]
        residual = values - coefficients @ design
        weight = _huber(residual)
    return coefficients, float(np.mean(np.abs(residual))), weight


def _best_hinge(hinges: FloatArray, values: FloatArray, weight: FloatArray) -> float:
    """Bend of the hinge, among those given, that leaves the least squares."""
    total = weight.sum()
    from_hinge = hinges - (hinges @ weight / total)[:, np.newaxis]
    from_values = values - float(weight @ values) / total
    across = np.square(from_hinge) @ weight + 1e-12
    both = from_hinge @ (weight * from_values)
    best = int(np.argmax(both**2 / across))
    return float(both[best] / across[best])


def _block_length(residual: FloatArray, rate_hz: float) -> int:
    """Twice the time over which residuals hang together, at least a short-term window."""
    centred = residual - residual.mean()
    size = len(centred)
    spectrum = np.abs(np.fft.rfft(centred, 2 * size)) ** 2
    correlation = np.fft.irfft(spectrum)[:size]
    shortest = round(SHORTEST_BLOCK_S * rate_hz)
    if correlation[0] <= 0:
        return shortest
    correlation = correlation / correlation[0]
    crossing = np.flatnonzero(correlation < 0.05)
    until = int(crossing[0]) if len(crossing) else size
    samples = 1 + 2 * float(correlation[1:until].sum())
    return max(round(2 * samples), shortest)


def _student(blocks: float) -> float:
    """Factor from a standard deviation to a 95 % half width with so few independent blocks."""
    return float(special.stdtrit(max(blocks - 2, 1.0), 0.975))
