"""Noise that one recording has, given to the other."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.pair.hiss import Hiss
from mixcompare.pair.hum import Hum
from mixcompare.pair.noise import noise_between
from mixcompare.pair.noise_shared import hidden_by, shared
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ
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


@pytest.mark.parametrize("in_candidate", [True, False])
def test_thirds_near_hiss_tell_nothing_nor_those_as_near_further_down(in_candidate: bool) -> None:
    """White noise is as dense in every third octave (IEC 61260-1 for their widths).

    The quieter recording decides, at the level of the one that hisses; hiss is read from 7 kHz up.
    """
    widths_hz = np.diff(THIRD_OCTAVE_EDGES_HZ)
    shown = THIRD_OCTAVE_CENTRES_HZ > 7000
    noise = 1e-9 * widths_hz
    found = Hiss(in_candidate, shown, 12.0, -60.0, 30.0, np.where(shown, noise, 0.0))
    rows = 10 ** (np.array([-30.0, 8.0, 12.0]) / 10)[:, None] * noise
    louder = np.broadcast_to(1e3 * noise, rows.shape)
    gain_db = 6.0 if in_candidate else -6.0
    back = 10 ** (-abs(gain_db) / 10)
    for hissing, other in ((rows, louder), (louder, rows)):
        pair = (other * back, hissing) if in_candidate else (hissing, other * back)
        hidden = hidden_by((found,), *pair, gain_db)
        assert hidden[0].all()
        assert hidden[1].all()
        assert not hidden[2].any()


def test_rumble_hides_nothing_further_up_and_hum_no_band() -> None:
    widths_hz = np.diff(THIRD_OCTAVE_EDGES_HZ)
    low = THIRD_OCTAVE_CENTRES_HZ < 90
    rumble = Hiss(True, low, 12.0, -60.0, 30.0, np.where(low, 1e-9 * widths_hz, 0.0))
    power = np.broadcast_to(1e-9 * widths_hz, (4, len(widths_hz)))
    assert np.array_equal(hidden_by((rumble,), power, power, 0.0)[0], low)
    assert not hidden_by((), power, power, 0.0).any()
