"""What most moments agree on: values, intervals, weights and scatter by hand or by theory."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.pair import agreement

RATE_HZ = 25.0


def test_most_moments_rule_and_not_their_mean() -> None:
    # 70 % of the frames lie around +3, the rest at +11: the mean would be 5.4.
    rng = np.random.default_rng(1)
    values = 3 + 0.3 * rng.standard_normal((1000, 2))
    values[rng.permutation(1000)[:300]] = 11
    values[:, 1] *= -1
    value, draws = agreement.agreed(values, np.ones((1000, 2)), RATE_HZ, 0.1)
    assert value == pytest.approx([3, -3], abs=0.1)
    assert draws.shape == (200, 2)
    assert draws.mean(axis=0) == pytest.approx([3, -3], abs=0.15)


def test_weights_choose_between_two_values() -> None:
    values = np.where(np.arange(1000) % 2, 2.0, -4.0)[:, None]
    for heavier, expected in ((0, -4.0), (1, 2.0)):
        weights = np.where(np.arange(1000) % 2 == heavier, 2.0, 1.0)[:, None]
        value, draws = agreement.agreed(values, weights, RATE_HZ, 0.1)
        assert value == pytest.approx(expected)
        assert draws == pytest.approx(expected, abs=0.05)


@pytest.mark.parametrize("sign", [1, -1])
def test_draws_lean_to_where_the_other_moments_lie(sign: int) -> None:
    # Of 20 stretches of 3 s, 12 say 0 and 8 say 4: some draws, and only on that side, say 4.
    stretch = np.repeat(np.arange(20), 75)
    values = np.where(stretch % 5 < 2, 4.0 * sign, 0.0)[:, None]
    value, draws = agreement.agreed(values, np.ones((1500, 1)), RATE_HZ, 0.1)
    assert value == pytest.approx(0, abs=0.01)
    assert (draws * sign).max() == pytest.approx(4.0, abs=0.05)
    assert (draws * sign).min() == pytest.approx(0.0, abs=0.05)
    # Binomial, 20 draws with a chance of 0.4: 12.8 % have more than ten, 24.5 % ten or more.
    assert 0.1 < np.mean(draws * sign > 2) < 0.3


def test_the_sign_turns_with_the_values() -> None:
    rng = np.random.default_rng(2)
    values, weights = rng.gamma(2.0, 1.0, (500, 5)), rng.uniform(0.5, 1, (500, 5))
    up, _ = agreement.agreed(values, weights, RATE_HZ, 0.1)
    down, _ = agreement.agreed(-values, weights, RATE_HZ, 0.1)
    assert up == pytest.approx(-down, abs=1e-6)
    # Between two equal heaps neither sign may win: +1 and -1 alike give the same size back.
    even = np.where(np.arange(400) % 2, 1.0, -3.0)[:, None]
    one, _ = agreement.agreed(even, np.ones((400, 1)), RATE_HZ, 0.1)
    other, _ = agreement.agreed(-even, np.ones((400, 1)), RATE_HZ, 0.1)
    assert one == pytest.approx(-other)


@pytest.mark.parametrize(("seconds", "told"), [(2.9, False), (3.1, True)])
def test_a_column_needs_three_seconds(seconds: float, told: bool) -> None:
    weights = np.zeros((500, 2))
    weights[: round(seconds * RATE_HZ), 0] = 1
    weights[:, 1] = 1
    value, draws = agreement.agreed(np.ones((500, 2)), weights, RATE_HZ, 0.1)
    assert np.isfinite(value).tolist() == [told, True]
    assert np.isfinite(draws).all(axis=0).tolist() == [told, True]


def test_what_is_no_number_says_nothing() -> None:
    values = np.full((500, 1), 2.5)
    values[::3] = np.nan
    assert agreement.agreed(values, np.ones((500, 1)), RATE_HZ, 0.1)[0] == pytest.approx(2.5)


def test_intervals_hold_the_truth_as_often_as_they_say_and_are_no_wider_than_they_must_be() -> None:
    """750 columns of 100 independent stretches each."""
    held, half, error = [], [], []
    for seed in range(25):
        values = 3 + np.random.default_rng(seed).standard_normal((300, 30))
        value, draws = agreement.agreed(values, np.ones_like(values), 1.0, 0.1)
        low, high = agreement.intervals(value, draws)
        held.append((low <= 3) & (high >= 3))
        half.append((high - low) / 2)
        error.append(value - 3)
    assert 0.92 <= np.mean(held) <= 0.99
    assert np.median(half) == pytest.approx(1.96 * np.std(error), rel=0.15)


def test_intervals_by_hand() -> None:
    value = np.array([1.0, 1.0, -2.0, np.nan])
    even = np.linspace(-1, 1, 2001)  # 2.5 % and 97.5 %: -0.95 and 0.95
    draws = np.column_stack([1 + even, 1.5 + even, -2 + 0 * even, np.nan * even])
    low, high = agreement.intervals(value, draws, np.array([0.0, 0.0, 0.5, 0.0]))
    assert low == pytest.approx([0.05, 0.55, -2.98, -np.inf])
    assert high == pytest.approx([1.95, 2.45, -1.02, np.inf])
    # Draws and scatter are independent: their squares add. A draw never takes the value out.
    low, high = agreement.intervals(value[:1], draws[:, :1], 1.0)
    assert high[0] - 1 == pytest.approx(np.hypot(0.95, 1.96))
    assert 1 - low[0] == pytest.approx(np.hypot(0.95, 1.96))
    low, high = agreement.intervals(np.array([5.0]), 1 + even[:, None])
    assert (low[0], high[0]) == pytest.approx((0.05, 5.0))


def test_a_cell_counts_by_its_distance_from_its_band_and_from_its_frame() -> None:
    power = np.full((100, 3), 1e-3)
    power[:, 1] = 1e-5
    power[:, 2] = 1e-9  # 60 dB under its frame
    power[0, 0] = 1e-3 * 10**-2.9
    power[1, 0] = 1e-3 * 10**-3.1
    weights = agreement.cell_weights(power, 30.0, 50.0)
    assert weights[5].tolist() == [1.0, 1.0, 0.0]
    # Louder moments count more, by the power 0.15 of their power.
    assert weights[0, 0] == pytest.approx(10 ** (-2.9 * 0.15))
    assert weights[1, 0] == 0
    assert agreement.cell_weights(power, 30.0, 70.0)[5, 2] == 1
    silent = np.full((100, 1), 0.9e-13)
    assert agreement.cell_weights(silent, 30.0, 50.0).max() == 0
    assert agreement.cell_weights(1.3 * silent, 30.0, 50.0).min() == 1


def test_the_loud_moments_are_the_95th_percentile() -> None:
    # 4 % of the frames are 20 dB louder: too few to raise the bar; 6 % are not.
    for share, expected in ((4, 1.0), (6, 0.01**0.15)):
        power = np.full((100, 1), 1e-4)
        power[:share] = 1e-2
        assert agreement.cell_weights(power, 30.0, 50.0)[50, 0] == pytest.approx(expected)


def test_scatter_of_independent_bands_comes_back() -> None:
    rng = np.random.default_rng(3)
    found = [agreement.local_scatter(0.7 * rng.standard_normal(31)) for _ in range(200)]
    # Mean square over many curves: 0.7 dB each; the ends lean on the bands next to them.
    assert np.sqrt(np.mean(np.square(found), axis=0)) == pytest.approx(0.7, rel=0.12)


def test_broad_shapes_are_no_scatter_and_scatter_stays_where_it_is() -> None:
    band = np.arange(31.0)
    cubic = 0.01 * (band - 15) ** 2 - 0.5 * band + 3 - 0.001 * band**3
    assert np.abs(agreement.local_scatter(cubic)).max() < 1e-9
    bell = 6 * np.exp(-0.5 * ((band - 15) / 3) ** 2)
    assert agreement.local_scatter(bell).max() < 0.15
    low_only = np.where(band < 10, np.where(band % 2, 1.0, -1.0), 0.0)
    found = agreement.local_scatter(low_only)
    assert found[4] > 1
    assert found[20:].max() < 0.01
    assert agreement.local_scatter(np.arange(4.0) ** 2).tolist() == [0, 0, 0, 0]
    assert agreement.local_scatter(np.full(31, np.nan)).tolist() == [0] * 31
