"""Robust estimates and their intervals: exact values, and intervals that hold what they say."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from mixcompare.statistics import (
    block_bootstrap,
    block_counts,
    chosen_quantiles,
    densest,
    densest_by_row,
    few_blocks,
    interval,
    quantiles_by_column,
    robust_mode,
    weighted_quantile,
    weighted_quantiles,
)

NAN = float("nan")


@pytest.mark.parametrize(
    ("values", "weights", "quantile", "expected"),
    [
        # Each value stands in the middle of its own weight; straight lines between.
        ([4.0, 1.0, 3.0, 2.0], [1, 1, 1, 1], 0.5, 2.5),
        ([4.0, 1.0, 3.0, 2.0], [1, 1, 1, 1], 0.25, 1.5),
        ([4.0, 1.0, 3.0, 2.0], [1, 1, 1, 1], 0.9, 4.0),
        ([10.0, 20.0, 30.0], [1, 1, 2], 0.5, 20 + 10 * 0.5 / 1.5),
        ([30.0, 10.0, 20.0], [2, 1, 1], 0.5, 20 + 10 * 0.5 / 1.5),
        ([10.0, 20.0, 99.0, NAN], [1, 1, 0, 5], 0.5, 15.0),
    ],
)
def test_weighted_quantile(
    values: list[float], weights: list[float], quantile: float, expected: float
) -> None:
    assert weighted_quantile(values, weights, quantile) == pytest.approx(expected)


def test_several_quantiles_of_alike_weights_are_hazens() -> None:
    """Hyndman and Fan 1996, definition 5, which numpy knows by Hazen's name."""
    values = np.random.default_rng(3).normal(size=17)
    found = weighted_quantiles(values, np.full(17, 2.0), (0.1, 0.25, 0.5, 0.98))
    assert found == pytest.approx(np.quantile(values, [0.1, 0.25, 0.5, 0.98], method="hazen"))


def test_no_weight_no_value() -> None:
    for values, weights in (([1.0, 2.0], [0.0, 0.0]), ([NAN], [1.0]), ([], [])):
        assert np.isnan(weighted_quantile(values, weights, 0.5))
        assert np.isnan(robust_mode(values, weights, 1.0))


def table(rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """Values with ties, and weights of which many are zero: a row of one weight, one of none."""
    values = np.round(rng.normal(size=(30, 12)), 1)
    weights = np.maximum(rng.normal(size=values.shape), 0.0)
    weights[3:5] = 0.0
    weights[4, 7] = 1.0
    return values, weights


def test_quantiles_by_column_are_those_of_every_column(rng: np.random.Generator) -> None:
    values, weights = (part.T for part in table(rng))
    values = values.copy()
    values[0, :2] = NAN
    quantiles = (0.0, 0.1, 0.5, 0.97, 1.0)
    expected = [
        weighted_quantiles(*column, quantiles) for column in zip(values.T, weights.T, strict=True)
    ]
    assert np.isnan(expected[3]).all()
    expected[3] = np.zeros(len(quantiles))
    found = quantiles_by_column(values, weights, quantiles)
    assert pytest.approx(np.array(expected), abs=1e-12) == found.T


@pytest.mark.parametrize("share", [0.3, 0.65])
def test_the_densest_by_row_is_that_of_every_row(rng: np.random.Generator, share: float) -> None:
    values, weights = table(rng)
    width, middle = densest_by_row(values, weights, share)
    for row, (one, heavy) in enumerate(zip(values, weights, strict=True)):
        assert (width[row], middle[row]) == pytest.approx(densest(one, heavy, share), abs=1e-12)


def test_the_densest_is_the_shortest_of_all_that_hold_the_share(rng: np.random.Generator) -> None:
    for values, weights in zip(*table(rng), strict=True):
        inside = [
            (high - low, (high + low) / 2)
            for low in values[weights > 0]
            for high in values[weights > 0]
            if weights[(values >= low) & (values <= high)].sum() >= 0.5 * weights.sum()
        ]
        width, middle = densest(values, weights, 0.5)
        assert width == pytest.approx(min((one for one, _ in inside), default=np.inf))
        shortest = [at for size, at in inside if size <= width + 1e-9]
        assert any(middle == pytest.approx(at) for at in shortest or [0.0])


def test_counts_say_how_often_a_draw_picks_a_block(rng: np.random.Generator) -> None:
    values = rng.normal(size=(11, 3))
    drawn = block_bootstrap(11, lambda index: values[index].sum(axis=0), block_length=4)
    assert block_counts(11, block_length=4) @ values == pytest.approx(drawn)


def test_quantiles_of_what_is_chosen_are_numpys_of_it_alone(rng: np.random.Generator) -> None:
    values = rng.normal(0, 1, (40, 6))
    chosen = rng.uniform(0, 1, values.shape) < np.linspace(0.1, 1.0, 6)
    chosen[0] = True
    found = chosen_quantiles(values, chosen, (0.1, 0.5, 0.9))
    for column in range(6):
        alone = np.quantile(values[chosen[:, column], column], (0.1, 0.5, 0.9))
        assert found[:, column] == pytest.approx(alone, abs=1e-12)


@pytest.mark.parametrize("width", [0.5, 0.8])
@pytest.mark.parametrize(("weights", "side"), [((2.0, 1.0), 0.0), ((1.0, 2.0), 1.0)])
def test_the_mode_of_two_values(width: float, weights: tuple[float, float], side: float) -> None:
    # The derivative of the sum of two Gaussian kernels of this width is zero there.
    def slope(x: float) -> float:
        return sum(
            weight * (at - x) * float(np.exp(-0.5 * ((x - at) / width) ** 2))
            for at, weight in zip((0.0, 1.0), weights, strict=True)
        )

    around = (-0.01, 0.45) if side == 0 else (0.55, 1.01)
    expected = optimize.brentq(slope, *around)
    assert robust_mode([0.0, 1.0], weights, width) == pytest.approx(expected, abs=1e-4)
    assert robust_mode([0.0, -1.0], weights, width) == pytest.approx(-expected, abs=1e-4)


def test_the_mode_is_where_most_agree_not_the_mean(rng: np.random.Generator) -> None:
    values = np.concatenate([rng.normal(-3, 0.3, 500), np.linspace(0, 40, 400), [NAN]])
    assert robust_mode(values, np.ones(901), 0.5) == pytest.approx(-3.0, abs=0.1)
    # The few count for more once they weigh more.
    weights = np.where(np.abs(values - 20) < 0.5, 100.0, 1.0)
    assert robust_mode(values, weights, 0.5) == pytest.approx(20.0, abs=0.1)


@pytest.mark.parametrize(("blocks", "length"), [(10, 1), (10, 3), (7, 4), (5, 9)])
def test_draws_are_runs_of_neighbours_around_a_circle(blocks: int, length: int) -> None:
    draws = block_bootstrap(blocks, lambda index: index, block_length=length).astype(int)
    assert draws.shape == (200, blocks)
    steps = np.diff(draws, axis=1) % blocks
    inside = np.arange(1, blocks) % length != 0
    assert (steps[:, inside] == 1).all()
    # Every place begins a run equally often.
    starts = np.bincount(draws[:, ::length].ravel(), minlength=blocks)
    assert starts.min() > 0.6 * starts.mean()
    assert starts.max() < 1.4 * starts.mean()


def test_draws_follow_the_seed() -> None:
    def of(seed: int) -> list[float]:
        return block_bootstrap(50, lambda index: index.mean(), draws=5, seed=seed).tolist()

    assert of(1) == of(1)
    assert of(1) != of(2)
    assert len(of(1)) == 5


def test_interval_lies_between_these_percentiles() -> None:
    draws = np.append(np.arange(1001.0), NAN)
    assert interval(draws) == pytest.approx((25.0, 975.0))
    assert interval(-draws) == pytest.approx((-975.0, -25.0))
    assert interval(draws, coverage=0.9) == pytest.approx((50.0, 950.0))


def test_few_blocks() -> None:
    # Student's t at 97.5 % (any table): 12.706 for 1 degree of freedom, 3.182 for 3, 2.262 for 9.
    for blocks, quantile in ((2, 12.706), (4, 3.182), (10, 2.262)):
        expected = quantile / 1.96 * np.sqrt(blocks / (blocks - 1))
        assert few_blocks(blocks) == pytest.approx(expected, rel=1e-3)
    assert few_blocks(1.0) == few_blocks(2.0)
    assert few_blocks(1e6) == pytest.approx(1.0, abs=1e-5)


def picked(blocks: int, length: int) -> np.ndarray:
    """What the bootstrap resamples: all draws at once, for many cases."""
    draws = block_bootstrap(blocks, lambda index: index, block_length=length)
    return draws.astype(np.int64)


def test_the_interval_of_a_mean_is_that_of_theory() -> None:
    # Mean of 200 independent normal values: 95 % within 1.96 / sqrt(200). 1000 cases.
    picks = picked(200, 1)
    cases = np.random.default_rng(0).standard_normal((1000, 200))
    limits = np.array([interval(values[picks].mean(axis=1)) for values in cases])
    held = np.mean((limits[:, 0] <= 0) & (limits[:, 1] >= 0))
    assert 0.92 <= held <= 0.99
    assert np.ptp(limits, axis=1).mean() == pytest.approx(2 * 1.96 / np.sqrt(200), rel=0.04)


def test_the_interval_of_a_few_long_blocks_holds_the_truth() -> None:
    # Forty runs of five equal values, resampled in ten blocks. 500 cases.
    cases = np.repeat(np.random.default_rng(1).standard_normal((500, 40)), 5, axis=1)
    middles = cases.mean(axis=1)[:, np.newaxis]

    def held(length: int, factor: float) -> float:
        picks = picked(200, length)
        limits = np.array([interval(values[picks].mean(axis=1)) for values in cases])
        limits = middles + factor * (limits - middles)
        return float(np.mean((limits[:, 0] <= 0) & (limits[:, 1] >= 0)))

    assert 0.92 <= held(20, few_blocks(10)) <= 0.99
    assert held(20, 1.0) < 0.92
    assert held(1, 1.0) < 0.75


@pytest.mark.parametrize("many", [200, 20_000])
def test_quantiles_of_many_values_are_those_of_all_of_them(many: int) -> None:
    """Against the definition written out: the middle of each weight lies at its value."""
    rng = np.random.default_rng(many)
    for power, places in ((1, 6), (40, 1)):
        values = np.round(rng.standard_normal(many), places)
        weights = rng.random(many) ** power * (rng.random(many) > 0.2)
        order = np.argsort(values, kind="stable")
        held = weights[order]
        wanted = np.interp(
            np.array([0.0, 0.02, 0.5, 0.8, 1.0]) * held.sum(),
            (np.cumsum(held) - 0.5 * held)[held > 0],
            values[order][held > 0],
        )
        found = weighted_quantiles(values, weights, (0.0, 0.02, 0.5, 0.8, 1.0))
        np.testing.assert_allclose(found, wanted, atol=1e-4)
    # What comes in some order (a sample every so manieth would mislead) is told as well.
    striped = np.tile(np.concatenate([[100.0], np.zeros(60)]), many // 60)
    assert weighted_quantiles(striped, np.ones(len(striped)), (0.5,))[0] == 0.0
