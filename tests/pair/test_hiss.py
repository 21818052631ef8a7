"""White noise of known level is hiss; what swells or is held is none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.pair.hiss import Hiss
from tests import operations
from tests.pair.noisy_music import (
    between,
    features_of,
    played,
    take,
    take_features,
    white,
)
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]
Change = Callable[[FloatArray], FloatArray]


@pytest.mark.parametrize(("level_db", "together"), [(-58.0, 0.0), (-48.0, 0.8)])
def test_white_noise_is_hiss_of_its_own_level(level_db: float, together: float) -> None:
    rate_hz = operations.RATE_HZ
    noise = white(take(), level_db, together)
    other = features_of(take() + noise, rate_hz)
    (found,) = between(take_features(), other)
    assert isinstance(found, Hiss)
    assert found.in_candidate
    low, high = found.band_hz
    assert low < 10_000
    assert high > 16_000
    # Level by Welch's method (scipy), of the mean of the channels; a full-scale sine, whose power
    # is a half, has 0 dBFS (AES17).
    frequency_hz, density = signal.welch(noise, rate_hz, nperseg=4096, axis=0)
    inside = (frequency_hz > low) & (frequency_hz < high)
    power = density[inside].sum() * frequency_hz[1] / 2
    assert found.level_dbfs == pytest.approx(10 * np.log10(2 * power), abs=0.5)
    music = (take() ** 2).sum(axis=1).mean()
    assert found.below_music_db == pytest.approx(10 * np.log10(music / 2 / power), abs=0.7)
    (back,) = between(other, take_features())
    assert not back.in_candidate
    assert back.level_dbfs == pytest.approx(found.level_dbfs, abs=0.1)


def ended(samples: FloatArray, end_hz: float = 8_800.0) -> FloatArray:
    """Nothing above, as a lossy codec of few bits leaves it."""
    spectrum = np.fft.rfft(samples, axis=0)
    spectrum[round(end_hz * len(samples) / operations.RATE_HZ) :] = 0
    return np.asarray(np.fft.irfft(spectrum, len(samples), axis=0))


def test_hiss_where_the_other_has_nothing_is_told_unless_it_is_dither() -> None:
    # Loud music hides hiss but above the end of a codec, where there are few bands.
    rate_hz = operations.RATE_HZ
    loud = 3 * take()
    before = features_of(ended(loud), rate_hz)
    (found,) = between(before, features_of(ended(loud) + white(loud, -57.0), rate_hz))
    assert isinstance(found, Hiss)
    assert found.in_candidate
    assert found.band_hz[0] == pytest.approx(8_913, rel=0.01)
    # Six tenths of it lie there, and full scale is a half; over a step of 16 bits, 20 lg 2^-16.
    assert found.level_dbfs == pytest.approx(-57.0 - 2.2 + 3.0, abs=0.5)
    assert found.over_db == pytest.approx(found.level_dbfs + 96.3, abs=1.0)
    # Rounding to 14 bits with triangular dither: 2 / 12 and 1 / 12 of a step's square.
    rng = np.random.default_rng(4)
    dither = rng.uniform(-0.5, 0.5, (2, *loud.shape)).sum(axis=0)
    rounded = np.round(ended(loud) * 2**13 + dither) / 2**13
    assert between(before, features_of(rounded, rate_hz)) == ()
    assert between(before, features_of(loud, rate_hz)) == ()


def roll(samples: FloatArray, start_s: float, end_s: float) -> FloatArray:
    """A cymbal rolled: noise that swells and falls."""
    time_s = np.arange(len(samples)) / RATE_HZ
    band = signal.butter(2, [3000, 10_000], "band", fs=RATE_HZ, output="sos")
    noise = signal.sosfilt(band, white(samples, -30.0), axis=0)
    swell = np.clip(np.minimum((time_s - start_s) / 1.5, (end_s - time_s) / 3), 0, 1)
    return np.asarray(noise * swell[:, None])


def pedal(samples: FloatArray) -> FloatArray:
    """G1 held from beginning to end."""
    time_s = np.arange(len(samples))[:, None] / RATE_HZ
    tones = sum(np.sin(2 * np.pi * 49.0 * number * time_s) / number for number in range(1, 8))
    return np.asarray(0.02 * tones * np.ones(2))


@pytest.mark.parametrize("element", [lambda x: roll(x, 4.0, 16.0), pedal])
def test_what_sounds_long_is_no_noise(element: Change) -> None:
    part = element(played())
    soft, loud = features_of(played() + part), features_of(played() + 2 * part)
    assert between(soft, loud) == ()


@pytest.mark.parametrize("by_db", [-6.0, 6.0])
def test_noise_is_told_beside_a_fade(by_db: float) -> None:
    rate_hz = operations.RATE_HZ
    faded = take() * 10 ** (np.linspace(0, by_db, len(take()))[:, None] / 20)
    noise = white(take(), -50.0)
    (found,) = between(take_features(), features_of(faded + noise, rate_hz))
    assert isinstance(found, Hiss)
    low, high = found.band_hz
    frequency_hz, density = signal.welch(noise, rate_hz, nperseg=4096, axis=0)
    power = density[(frequency_hz > low) & (frequency_hz < high)].sum() * frequency_hz[1]
    assert found.level_dbfs == pytest.approx(10 * np.log10(power), abs=0.7)


def test_one_broad_noise_is_told_where_it_is_strongest() -> None:
    # The mains' bass and the middle are hidden by music; white noise shows below and above it.
    rate_hz = operations.RATE_HZ
    time_s = np.arange(12 * rate_hz)[:, None] / rate_hz
    swell = 0.55 + 0.45 * np.sin(2 * np.pi * 0.2 * time_s)
    middle = signal.butter(8, [150, 3000], "band", fs=rate_hz, output="sos")
    music = swell * signal.sosfilt(middle, white(np.zeros((len(time_s), 2)), -20.0), axis=0)
    noise = np.random.default_rng(8).standard_normal(music.shape) * 10 ** (-60 / 20)
    (found,) = between(features_of(music, rate_hz), features_of(music + noise, rate_hz))
    assert isinstance(found, Hiss)
    assert found.band_hz[0] > 2000
    # Ten bands and more on either side: what is given to the other recording holds both.
    assert (found.power[:5] > 0).all()
