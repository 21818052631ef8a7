"""How far one recording's level swings where another's swings by a decibel.

Conventions
-----------
``mean_db`` is the mean of both levels at a moment, ``change_db`` candidate minus reference. In
these coordinates exchanging the recordings only turns the sign of the change, so every result
mirrors: a slope becomes its reciprocal. A slope is the candidate's decibels per decibel of the
reference: 1 = the same dynamics, 0.5 = half the swing, as compression of 2:1 over the whole
range leaves it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import special

from mixcompare.statistics import block_bootstrap, huber_fit, huber_weights

FloatArray = npt.NDArray[np.float64]
IndexArray = npt.NDArray[np.int64]

SHORTEST_BLOCK_S = 3.0
"""A short-term window; shorter stretches of music are never taken as independent."""

FEWEST_BLOCKS = 5  # for an interval from independent stretches; our judgement, not measured

SHORTEST_MUSIC_S = FEWEST_BLOCKS * SHORTEST_BLOCK_S
"""Less shows no dynamics."""

SMALLEST_RANGE_DB = 6.0
"""A level that moves less than about a step between two dynamic marks shows none (our choice)."""

STEEPEST = 10.0
"""Steeper slopes, and flatter ones than its reciprocal, are not told apart."""

LOOSEST = 9.0
"""An interval about 1 that is wider than this ratio says nothing."""

_DRAWS = 200  # cost: of the bootstrap
_KNEES = 20  # resolution: levels tried for the bend
_CLEARLY = 0.8
"""Share of any straight line's cost that a hinge may keep (our choice)."""
_NEARLY = 1.1
"""Hinges of up to this share of the least cost fit nearly as well (our choice)."""
_ROUND_DB = 1.0
"""How round a hinge is: 40 clips of two real orchestras, compressed 1.5:1 to 4:1 above a threshold
in their upper two thirds, are read to 0.17 dB/dB (root mean square), with 0.7 dB to 0.19."""
_SMALL = 1e-6  # guard against division by zero
_NOTHING_DB = 0.05
"""A mean change under this is no change."""


@dataclass(frozen=True)
class Slope:
    """A slope in dB per dB with its 95 % interval."""

    value: float
    interval: tuple[float, float]

    @property
    def says_nothing(self) -> bool:
        """Whether the interval holds everything from much smaller to much larger swings."""
        low, high = self.interval
        return low < 1 < high and high > LOOSEST * low


@dataclass(frozen=True)
class Knee:
    """Two straight pieces: slope 1 up to a level of the reference, another one above it."""

    level_db: float
    above: Slope


@dataclass(frozen=True)
class Swings:
    """How two levels move together, as far as that can be told.

    Attributes
    ----------
    range_db : float or None
        Between the softest and the loudest twentieth, mean of both recordings.
    slope : Slope or None
    knee : Knee or None
    reasons : tuple of str
        Why something is None.
    """

    range_db: float | None = None
    slope: Slope | None = None
    knee: Knee | None = None
    reasons: tuple[str, ...] = ()


def swings(mean_db: FloatArray, change_db: FloatArray, rate_hz: float) -> Swings:
    """Slope and knee, or the reason why there are none.

    Parameters
    ----------
    mean_db, change_db : ndarray, shape (n,)
        Consecutive moments of music, rests left out.
    rate_hz : float
        Frames a second.
    """
    music_s = len(mean_db) / rate_hz
    refusal = "Swings in level cannot be compared"
    if music_s < SHORTEST_MUSIC_S:
        return Swings(
            reasons=(
                f"{refusal}: {music_s:.0f} s of music in common,"
                f" at least {SHORTEST_MUSIC_S:.0f} s are needed.",
            )
        )
    ranges = [_range_db(mean_db - change_db / 2), _range_db(mean_db + change_db / 2)]
    if max(ranges) < SMALLEST_RANGE_DB:
        return Swings(
            sum(ranges) / 2,
            reasons=(
                f"{refusal}: the level moves by {max(ranges):.1f} dB only,"
                f" at least {SMALLEST_RANGE_DB:.0f} dB are needed.",
            ),
        )
    slope = swing_slope(mean_db, change_db, rate_hz)
    knee = fitted_knee(mean_db, change_db, rate_hz)
    loose = f"{refusal}: the two levels do not move closely enough together."
    return Swings(sum(ranges) / 2, slope, knee, () if slope or knee else (loose,))


def swing_slope(mean_db: FloatArray, change_db: FloatArray, rate_hz: float) -> Slope | None:
    """Robust slope of the candidate's level against the reference's.

    The value is the orthogonal regression with Huber weights (Huber 1964). It is right where both
    levels scatter alike; if all the scatter were in one of them, the slope would lie at one of
    the two ordinary regressions (Frisch 1934). The interval spans both, each resampled in blocks
    as long as the residuals hang together.

    Parameters
    ----------
    mean_db, change_db : ndarray, shape (n,)
        Consecutive moments of music, rests left out.
    rate_hz : float
        Frames a second.

    Returns
    -------
    Slope or None
        None where the levels do not follow each other closely enough to tell.
    """
    reference, candidate = mean_db - change_db / 2, mean_db + change_db / 2
    angle, residual, weight = _orthogonal(reference, candidate)
    if not 1 / STEEPEST < np.tan(angle) < STEEPEST:
        return None
    block = _block_length(residual, rate_hz)

    def bounds(index: IndexArray) -> FloatArray:
        _, _, across, up, both = _moments(reference[index], candidate[index], weight[index])
        ratios = both / (across + _SMALL), up / max(both, _SMALL)
        return np.asarray(np.log(np.maximum(ratios, _SMALL)), np.float64)

    draws = block_bootstrap(len(reference), bounds, _DRAWS, block)
    low, high = bounds(np.arange(len(reference)))
    spread = _student(len(reference) / block) * draws.std(axis=0)
    middle = float(np.log(np.tan(angle)))
    lowest, highest = min(low, middle) - spread[0], max(high, middle) + spread[1]
    slope = Slope(float(np.exp(middle)), (float(np.exp(lowest)), float(np.exp(highest))))
    return None if slope.says_nothing else slope


def fitted_knee(mean_db: FloatArray, change_db: FloatArray, rate_hz: float) -> Knee | None:
    """Level above which the candidate's dynamics differ while those below agree.

    A hinge is fitted to the change by least squares with Huber weights, at levels across the
    range. Those that fit nearly as well as the best decide together, by how well they do; the
    interval spans all of them, each with its own scatter under resampling in blocks.

    Returns
    -------
    Knee or None
        None where no hinge describes the moments clearly better than one straight line, or
        than a hinge with the other end bent.
    """
    flat = np.ones_like(mean_db)
    lowest, highest = np.quantile(mean_db, [0.1, 0.85])
    knees = np.linspace(lowest, highest, _KNEES)
    above = [huber_fit(np.stack([flat, _hinge(mean_db - knee)]), change_db) for knee in knees]
    below = [huber_fit(np.stack([flat, _hinge(knee - mean_db)]), change_db) for knee in knees]
    cost = np.array([fit.cost for fit in above])
    line_cost = huber_fit(np.stack([flat, mean_db]), change_db).cost
    other_cost = min(line_cost, *(fit.cost for fit in below))
    best = int(np.argmin(cost))
    if line_cost < _NOTHING_DB or cost[best] > _CLEARLY * other_cost:
        return None
    block = _block_length(above[best].residual, rate_hz)
    near = np.flatnonzero(cost <= _NEARLY * cost[best])
    hinges = _hinge(mean_db[np.newaxis] - knees[near, np.newaxis])
    weight = above[best].weight

    def bends(index: IndexArray) -> FloatArray:
        return _hinge_bends(hinges[:, index], change_db[index], weight[index])

    draws = block_bootstrap(len(mean_db), bends, _DRAWS, block)
    spread = _student(len(mean_db) / block) * draws.std(axis=0)
    levels, fitted = np.array([above[index].coefficients for index in near]).T
    share = _NEARLY * cost[best] - cost[near]
    share /= share.sum()
    knee, bend = share @ (knees[near] - levels / 2), share @ fitted
    limits = _as_slope(float((fitted - spread).min())), _as_slope(float((fitted + spread).max()))
    slope = Slope(_as_slope(float(bend)), limits)
    return None if slope.says_nothing else Knee(float(knee), slope)


def _as_slope(bend: float) -> float:
    """Slope of candidate against reference from that of the change against the mean."""
    largest = 2 * (STEEPEST - 1) / (STEEPEST + 1)
    inside = float(np.clip(bend, -largest, largest))
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
        weight = huber_weights(distance)
    return float(angle), distance, weight


def _hinge(above_db: FloatArray) -> FloatArray:
    """Rise from 0 with slope 1 from a knee on, rounded: levels of a second blur any threshold."""
    return np.asarray(_ROUND_DB * np.logaddexp(0, above_db / _ROUND_DB), np.float64)


def _hinge_bends(hinges: FloatArray, values: FloatArray, weight: FloatArray) -> FloatArray:
    """Least-squares bend of the change at each hinge."""
    total = weight.sum()
    from_hinge = hinges - (hinges @ weight / total)[:, np.newaxis]
    from_values = values - float(weight @ values) / total
    across = np.square(from_hinge) @ weight + 1e-12
    return np.asarray(from_hinge @ (weight * from_values) / across, np.float64)


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
    return min(max(round(2 * samples), shortest), max(size // FEWEST_BLOCKS, 1))


def _student(blocks: float) -> float:
    """Factor from a standard deviation to a 95 % half width with so few independent blocks."""
    return float(special.stdtrit(max(blocks - 2, 1.0), 0.975))


def _range_db(values: FloatArray) -> float:
    low, high = np.percentile(values, [5, 95])
    return float(high - low)
