"""Swings of one level against another: recovered slopes, mirrored pairs, honest intervals."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from mixcompare.aspects.dynamics import slope as slopes

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 5.0


def wandering(rng: np.random.Generator, count: int, spread_db: float, hold_s: float) -> FloatArray:
    """A smooth random level with the given standard deviation."""
    noise = ndimage.gaussian_filter1d(rng.standard_normal(count + 400), hold_s * RATE_HZ)
    level = noise[200 : 200 + count]
    return np.asarray(spread_db * (level - level.mean()) / level.std())


def pair(
    seed: int, slope: float, scatter_db: float, seconds: int = 60
) -> tuple[FloatArray, FloatArray]:
    """Mean and change of two levels that scatter alike about a straight line."""
    rng = np.random.default_rng(seed)
    count = round(seconds * RATE_HZ)
    level = wandering(rng, count, 4.0, 3.0)
    reference = level + wandering(rng, count, scatter_db, 0.5)
    candidate = slope * level + wandering(rng, count, scatter_db, 0.5)
    return (reference + candidate) / 2, candidate - reference


@pytest.mark.parametrize("slope", [0.25, 0.5, 1.0, 1.6])
def test_exact_slopes(slope: float) -> None:
    told = slopes.swing_slope(*pair(0, slope, 1e-6), RATE_HZ)
    assert told is not None
    assert told.value == pytest.approx(slope, rel=1e-4)
    assert told.interval == pytest.approx((slope, slope), rel=1e-3)


def test_agrees_with_total_least_squares() -> None:
    # Golub and Van Loan 1980: the first right singular vector of the centred points.
    mean, change = pair(3, 0.7, 0.4)
    points = np.column_stack([mean - change / 2, mean + change / 2])
    _, _, axes = np.linalg.svd(points - points.mean(axis=0))
    told = slopes.swing_slope(mean, change, RATE_HZ)
    assert told is not None
    assert told.value == pytest.approx(axes[0, 1] / axes[0, 0], abs=0.02)


@pytest.mark.parametrize("slope", [1.0, 0.5])
def test_the_interval_holds_the_truth(slope: float) -> None:
    # 100 pairs of a minute. The interval says 95 %.
    held = 0
    for seed in range(100):
        told = slopes.swing_slope(*pair(seed, slope, 0.7), RATE_HZ)
        assert told is not None
        held += told.interval[0] <= slope <= told.interval[1]
    assert 92 <= held <= 99


def test_mirror() -> None:
    mean, change = pair(1, 0.6, 0.5)
    there = slopes.swing_slope(mean, change, RATE_HZ)
    back = slopes.swing_slope(mean, -change, RATE_HZ)
    assert there is not None
    assert back is not None
    assert there.value == pytest.approx(1 / back.value, rel=1e-9)
    assert there.interval[0] == pytest.approx(1 / back.interval[1], rel=1e-6)


def test_scatter_in_one_level_alone_widens_the_interval() -> None:
    # Fader rides lie in one recording only: the slope then lies between the two ordinary
    # regressions (Frisch 1934), and the interval must not shut out 1.
    rng = np.random.default_rng(4)
    reference = wandering(rng, 300, 4.0, 3.0)
    candidate = reference + wandering(rng, 300, 2.0, 4.0)
    told = slopes.swing_slope((reference + candidate) / 2, candidate - reference, RATE_HZ)
    assert told is not None
    assert told.interval[0] < 1.0 < told.interval[1]


def test_levels_that_do_not_follow_each_other() -> None:
    rng = np.random.default_rng(2)
    reference, candidate = wandering(rng, 300, 4.0, 2.0), wandering(rng, 300, 4.0, 2.0)
    told = slopes.swings((reference + candidate) / 2, candidate - reference, RATE_HZ)
    assert told.slope is None
    assert told.knee is None
    assert "not move closely enough together" in told.reasons[0]


def bent(
    rng: np.random.Generator, level_db: FloatArray, above: float, knee_db: float
) -> FloatArray:
    """Compressed, or expanded, by what follows faster levels that scatter about those compared."""
    faster = level_db + rng.normal(0.0, 2.0, (20, len(level_db)))
    return level_db + (above - 1) * np.maximum(faster - knee_db, 0).mean(axis=0)


@pytest.mark.parametrize(("above", "level_db"), [(0.25, 2.0), (0.5, -1.0), (2.0, 0.0)])
def test_a_knee_is_found(above: float, level_db: float) -> None:
    rng = np.random.default_rng(6)
    reference = wandering(rng, 400, 4.0, 1.0)
    candidate = bent(rng, reference, above, level_db) + wandering(rng, 400, 0.2, 0.5)
    knee = slopes.fitted_knee((reference + candidate) / 2, candidate - reference, RATE_HZ)
    assert knee is not None
    assert knee.level_db == pytest.approx(level_db, abs=1.5)
    assert knee.above.value == pytest.approx(above, rel=0.3)
    assert knee.above.interval[0] - 0.05 <= above <= knee.above.interval[1] + 0.05


@pytest.mark.parametrize("slope", [0.5, 1.0])
def test_no_knee_on_a_straight_line(slope: float) -> None:
    for seed in range(10):
        assert slopes.fitted_knee(*pair(seed, slope, 0.5), RATE_HZ) is None


def test_the_range_is_the_mean_of_both() -> None:
    # Even spreads over 20 and 10 dB: nine tenths of them lie between the 5th and 95th percentile.
    level = np.linspace(-20.0, 0.0, 601)
    told = slopes.swings(0.75 * level, -0.5 * level, RATE_HZ)
    assert told.range_db == pytest.approx(0.9 * 15.0)
    assert told.slope is not None
    assert told.slope.value == pytest.approx(0.5, rel=1e-3)


@pytest.mark.parametrize(("seconds", "told"), [(14.8, False), (15.2, True)])
def test_fifteen_seconds_are_needed(seconds: float, told: bool) -> None:
    level = 5 * np.sin(np.arange(round(seconds * RATE_HZ)) / 4)
    assert (slopes.swings(level, 0.1 * level, RATE_HZ).slope is not None) is told


@pytest.mark.parametrize(("range_db", "told"), [(5.8, False), (6.2, True)])
def test_six_decibels_are_needed_in_one_of_them(range_db: float, told: bool) -> None:
    level = np.linspace(0.0, range_db / 0.9, 301)
    for change in (-0.5, 0.0):
        # The reference moves that far; the candidate as far or half as far.
        swings = slopes.swings(level * (1 + change / 2), change * level, RATE_HZ)
        assert (swings.slope is not None) is told
        assert swings.range_db == pytest.approx(range_db * (1 + change / 2))


@pytest.mark.parametrize("interval", [(0.3, 2.6), (0.3, 2.8), (1.1, 20.0)])
def test_an_interval_that_says_nothing(interval: tuple[float, float]) -> None:
    # Everything from a third of the swing to three times as much.
    assert slopes.Slope(1.0, interval).says_nothing is (interval == (0.3, 2.8))


def test_moments_far_off_count_little() -> None:
    mean, change = pair(0, 0.5, 0.2)
    knocked = change.copy()
    knocked[::20] += 15.0
    told = slopes.swing_slope(mean, knocked, RATE_HZ)
    assert told is not None
    assert told.value == pytest.approx(0.5, abs=0.05)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_knee_mirrors(sign: int) -> None:
    rng = np.random.default_rng(6)
    reference = wandering(rng, 400, 4.0, 1.0)
    candidate = bent(rng, reference, 0.25, 1.0) + wandering(rng, 400, 0.2, 0.5)
    knee = slopes.fitted_knee((reference + candidate) / 2, sign * (candidate - reference), RATE_HZ)
    assert knee is not None
    assert knee.above.value == pytest.approx(0.25**sign, rel=0.2)
    low, high = knee.above.interval
    assert low < 0.25**sign < high
    assert high < 3.0 * low
