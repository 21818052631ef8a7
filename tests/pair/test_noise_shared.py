"""Noise that one recording has, given to the other."""

from __future__ import annotations

import numpy as np

from mixcompare.pair.hiss import Hiss
from mixcompare.pair.hum import Hum
from mixcompare.pair.noise import noise_between
from mixcompare.pair.noise_shared import shared
from tests import operations
from tests.pair.noisy_music import (
    features_of,
    pair_of,
    take,
    take_features,
    white,
)


def test_shared_noise_leaves_both_equally_noisy() -> None:
    rate_hz = operations.RATE_HZ
    time_s = np.arange(len(take()))[:, None] / rate_hz
    lines = 10 ** (-44 / 20) * np.sin(2 * np.pi * 50 * time_s)
    other = features_of(2 * (take() + white(take(), -50.0) + lines), rate_hz)
    pair = pair_of(take_features(), other)
    found = noise_between(take_features(), other, pair.match)
    assert {type(one) for one in found} == {Hiss, Hum}
    given, untouched = shared(take_features(), other, pair.match, found)
    assert untouched is other
    for name in ("band_power", "semitone_power", "onset_power", "k_power"):
        noisy, clean, now = (
            np.percentile(getattr(features, name), 20, axis=0) / power
            for features, power in ((other, 4), (take_features(), 1), (given, 1))
        )
        shows = noisy > 4 * clean
        away_db = 10 * np.log10(now[shows] / noisy[shows])
        assert shows.any() or name in ("onset_power", "k_power")
        assert np.abs(away_db).max(initial=0.0) < 2.0
        assert np.abs(away_db).mean() < 0.7 if shows.any() else True
