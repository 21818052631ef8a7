"""The response from one mix of a take to the other: known filters are read back."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import soxr
from scipy import signal

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import Features
from mixcompare.pair.match import Match
from mixcompare.pair.response import STEP_S, CrossSpectra, Response, cross_spectra
from tests import recorded
from tests.synthetic import RATE_HZ, play

FloatArray = npt.NDArray[np.float64]
ECHO_S, ECHO_DB = 0.3, -20.0


def features_of(samples: FloatArray) -> Features:
    return recorded.features_of(0.3 * samples, RATE_HZ)


def spectra_of(
    reference: Features, candidate: Features, time_map: TimeMap | None = None
) -> CrossSpectra:
    seconds = min(reference.duration_s, candidate.duration_s)
    match = Match(time_map or TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=True)
    spectra = cross_spectra(reference, candidate, match)
    assert spectra is not None
    return spectra


def echoed(samples: FloatArray, gain_db: float = 0.0) -> FloatArray:
    """The same with one echo, all of it louder by a gain."""
    out = samples.copy()
    late = round(ECHO_S * RATE_HZ)
    out[late:] += 10 ** (ECHO_DB / 20) * samples[:-late]
    return out * 10 ** (gain_db / 20)


@pytest.fixture(scope="module")
def noise() -> FloatArray:
    """Known at all frequencies, left and right half alike."""
    rng = np.random.default_rng(5)
    return 0.2 * (rng.standard_normal((20 * RATE_HZ, 2)) + rng.standard_normal((20 * RATE_HZ, 1)))


@pytest.fixture(scope="module")
def reference(noise: FloatArray) -> Features:
    return features_of(noise)


def echo_level_db(response: Response) -> FloatArray:
    """Energy within 10 ms of the echo, by register."""
    around = slice(round((ECHO_S - 0.01) / STEP_S), round((ECHO_S + 0.01) / STEP_S))
    return np.asarray(10 * np.log10(response.energy[:, around].sum(axis=1)))


# An echo is a filter of two taps: its level and delay are the expectation. 0.5 dB: noise of 20 s.
def test_an_echo_is_read_at_its_delay_and_level(reference: Features, noise: FloatArray) -> None:
    response = spectra_of(reference, features_of(echoed(noise, -6.0))).response
    assert echo_level_db(response) == pytest.approx([ECHO_DB] * 4, abs=0.5)
    assert response.energy.sum(axis=0)[4:800].argmax() + 4 == pytest.approx(ECHO_S / STEP_S, abs=1)
    # The direct part is the gain, of mid and side alike.
    assert 10 * np.log10(response.direct) == pytest.approx(np.full((31, 2), -6.0), abs=0.3)
    # Nothing answers before the sound; the echo stands 20 dB over it.
    assert response.floor[:, 4:800].sum(axis=1).max() < 1e-4


def test_the_exchanged_spectra_are_those_of_the_exchanged_pair(
    reference: Features, noise: FloatArray
) -> None:
    candidate = features_of(echoed(noise))
    mirrored = spectra_of(reference, candidate).mirrored().response
    swapped = spectra_of(candidate, reference).response
    assert mirrored.energy == pytest.approx(swapped.energy, rel=1e-3, abs=1e-9)
    # Undone, an echo is an echo of the other sign, and one more behind it: a geometric series.
    assert echo_level_db(mirrored) == pytest.approx([ECHO_DB] * 4, abs=0.5)


# A clock 200 ppm fast moves 1.2 ms within a segment, which would drown everything above 400 Hz; 3 %
# is another tape speed. The other clock is made by soxr, and the map is its ratio.
@pytest.mark.parametrize("speed", [1.0002, 1.03])
def test_another_clock_is_followed(speed: float, reference: Features, noise: FloatArray) -> None:
    offset_s = 0.25
    slow = soxr.resample(echoed(noise), 1.0, speed, quality="VHQ")
    candidate = features_of(np.concatenate([np.zeros((round(offset_s * RATE_HZ), 2)), slow]))
    time_map = TimeMap.linear(offset_s, speed, 0.0, 19.9)
    response = spectra_of(reference, candidate, time_map).response
    assert echo_level_db(response) == pytest.approx([ECHO_DB] * 4, abs=0.7)


def test_mid_and_side_are_told_apart(reference: Features, noise: FloatArray) -> None:
    mid, side = noise.mean(axis=1), (noise[:, 0] - noise[:, 1]) / 4
    narrow = features_of(np.column_stack([mid + side, mid - side]))
    direct = spectra_of(reference, narrow).response.direct
    assert 10 * np.log10(direct[:, 0]) == pytest.approx(np.zeros(31), abs=0.1)
    # Half the side signal: 6.02 dB less.
    assert 10 * np.log10(direct[:, 1]) == pytest.approx(np.full(31, -6.02), abs=0.2)
    # A channel that comes later is no tail: all of it is direct.
    late = noise.copy()
    late[14:, 1] = noise[:-14, 1]
    response = spectra_of(reference, features_of(late)).response
    assert response.energy[:, 4:800].sum() < 1e-3


def test_a_filter_stays_in_the_direct_part(noise: FloatArray) -> None:
    music = play(2, bars=8)
    shelf = music + signal.lfilter(*signal.butter(1, 2000, "high", fs=RATE_HZ), music, axis=0)
    response = spectra_of(features_of(music), features_of(shelf)).response
    assert response.energy[:, 4:800].sum() < 0.01


def test_too_little_in_common_says_nothing(noise: FloatArray) -> None:
    short = features_of(noise[: 6 * RATE_HZ])
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 6.0), same_take=True)
    assert cross_spectra(short, short, match) is None
