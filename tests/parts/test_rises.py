"""Rises of bursts whose powers are known by how they are made."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.parts.rises import Onsets, Rises
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]

AT_S = np.arange(1.0, 9.0, 1.0)


def bursts(at_s: FloatArray, low_hz: float, high_hz: float) -> FloatArray:
    """Noise of a range that begins at once and dies away within a second."""
    rng = np.random.default_rng(3)
    sos = signal.butter(8, (low_hz, high_hz), "bandpass", fs=RATE_HZ, output="sos")
    out = np.zeros(10 * RATE_HZ)
    for start_s in at_s:
        time = np.arange(RATE_HZ) / RATE_HZ
        noise = signal.sosfilt(sos, rng.standard_normal(RATE_HZ)) * np.exp(-6 * time)
        first = round(start_s * RATE_HZ)
        out[first : first + len(noise)] += noise[: len(out) - first]
    return out


def features(low: float, high: float, late_s: float = 0.0) -> Features:
    """Bursts in two ranges, by their amplitudes."""
    at_s = AT_S + late_s
    wave = low * bursts(at_s, 300, 700) + high * bursts(at_s, 7000, 11000)
    wave = wave + 1e-5 * np.random.default_rng(0).standard_normal(len(wave))
    return Features.of(Recording.from_array(0.1 * np.column_stack([wave, wave]), RATE_HZ))


def pair(candidate: Features, same_take: bool, late_s: float = 0.0) -> Pair:
    time_map = TimeMap.linear(late_s, 1.0, 0.0, 9.9 - late_s)
    return Pair(features(1.0, 1.0), candidate, Match(time_map, same_take))


def risen_db(rises: tuple[Rises, Rises]) -> FloatArray:
    return np.asarray(10 * np.log10(rises[1].rise / rises[0].rise))


@pytest.mark.parametrize("same_take", [True, False])
def test_every_band_rises_by_what_was_added(same_take: bool) -> None:
    found = pair(features(0.5, 2.0), same_take)
    onsets = Onsets(found, AT_S + 0.03)  # laid 30 ms late
    rises = onsets.of_all()
    low, high = (np.abs(np.log2(onsets.centre_hz / hz)).argmin() for hz in (500, 8000))
    assert rises[0].clear[:, [low, high]].all()
    # Amplitudes halved and doubled: 20 log10 2.
    np.testing.assert_allclose(np.median(risen_db(rises)[:, low]), -6.02, atol=0.3)
    np.testing.assert_allclose(np.median(risen_db(rises)[:, high]), 6.02, atol=0.3)


def test_two_performances_are_read_each_at_its_own_onset() -> None:
    found = pair(features(1.0, 2.0, late_s=0.05), same_take=False)
    onsets = Onsets(found, AT_S)
    high = np.abs(np.log2(onsets.centre_hz / 8000)).argmin()
    weights = np.zeros(len(onsets.centre_hz))
    weights[high] = 1.0
    np.testing.assert_allclose(risen_db(onsets.read(weights))[:, high], 6.02, atol=0.8)
    some = onsets.read(weights, np.array([1, 3]))
    assert some[0].rise.shape == (2, len(weights))


def test_what_does_not_rise_is_not_seen() -> None:
    rises = Rises(np.ones((1, 4)), np.array([[0.5, 1.3, 1.7, 2.5]]))
    np.testing.assert_allclose(rises.rise, [[0.0, 0.3, 0.7, 1.5]])
    assert rises.seen.tolist() == [[False, False, True, True]]
    assert rises.clear.tolist() == [[False, False, False, True]]


def test_the_pairs_gain_is_taken_off() -> None:
    plain = pair(features(1.0, 1.0), same_take=True)
    louder = plain.with_gain(3.0)
    (_, before), (_, after) = (Onsets(one, AT_S).of_all() for one in (plain, louder))
    np.testing.assert_allclose(after.rise, before.rise * 10**-0.3, rtol=1e-6)
