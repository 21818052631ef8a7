"""Channel powers of a pair: by the definition of mid and side, and of known sounds."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.features import Features
from mixcompare.pair.channels import channel_powers, cross_power, side_to_mid
from tests import recorded

RATE_HZ = 16_000


def features_of(samples: np.ndarray) -> Features:
    return recorded.features_of(samples, RATE_HZ)


def noise() -> np.ndarray:
    return 0.1 * np.random.default_rng(3).standard_normal((4 * RATE_HZ, 2))


# With mid (l + r)/2 and side (l - r)/2 their powers go as L + R +- 2C: plain algebra.
@pytest.mark.parametrize(("mid", "side"), [(1.0, 1.0), (2.0, 0.5), (0.3, 0.6)])
def test_side_to_mid_is_the_ratio_of_their_powers(mid: float, side: float) -> None:
    total, cross = np.array((mid + side) / 2), np.array((mid - side) / 4)
    assert side_to_mid(total, cross) == pytest.approx(side / mid)


@pytest.mark.parametrize(("cross", "limit"), [(1.0, 1e-6), (-1.0, 1e6)])
def test_side_to_mid_is_held_within_60_db(cross: float, limit: float) -> None:
    assert side_to_mid(np.array(2.0), np.array(cross)) == pytest.approx(limit)


def test_equal_channels_share_all_their_power() -> None:
    alike = features_of(np.repeat(noise()[:, :1], 2, axis=1))
    times_s = np.arange(0.5, 3.5, 0.1)
    power = channel_powers(alike, times_s, 9)
    assert power.shape == (30, 31, 2)
    assert cross_power(alike, times_s, 9).real == pytest.approx(power[..., 0], rel=1e-3)
    assert power[..., 1] == pytest.approx(power[..., 0], rel=1e-3)


def test_power_is_never_negative_in_silence_after_sound() -> None:
    samples = noise()
    samples[2 * RATE_HZ :] = 0.0
    times_s = np.arange(0.0, 4.0, 0.02)
    assert (channel_powers(features_of(samples), times_s, 9) >= 0).all()
