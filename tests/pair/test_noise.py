"""Noise of known level, made by numpy, laid under made-up music: found, sized, and shared."""

from __future__ import annotations

import functools
from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.alignment import align
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.match import Match
from mixcompare.pair.noise import Hiss, Hum, Noise, noise_between, steady_noise
from mixcompare.pair.noise_shared import shared
from mixcompare.pair.pair import Pair, aligned
from tests import operations, synthetic
from tests.synthetic import RATE_HZ
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]
Change = Callable[[FloatArray], FloatArray]


@functools.cache
def played(**gains_db: float) -> FloatArray:
    return synthetic.in_room(synthetic.play(5, bars=8, gains_db=gains_db), 1.0, -9.0)


def white(samples: FloatArray, level_db: float, together: float = 0.0) -> FloatArray:
    """Noise with this root mean square (re 1), a share of it the same left and right."""
    rng = np.random.default_rng(3)
    apart, alike = rng.standard_normal(samples.shape), rng.standard_normal((len(samples), 1))
    noise = np.sqrt(1 - together) * apart + np.sqrt(together) * alike
    return np.asarray(10 ** (level_db / 20) * noise)


def hum(samples: FloatArray, mains_hz: float, levels_db: dict[int, float]) -> FloatArray:
    """Sines at multiples of the mains' frequency; a full-scale sine has 0 dB."""
    time_s = np.arange(len(samples))[:, None] / RATE_HZ
    lines = [
        10 ** (level_db / 20) * np.sin(2 * np.pi * number * mains_hz * time_s + number)
        for number, level_db in levels_db.items()
    ]
    return np.asarray(sum(lines) * np.ones(2))


def features_of(samples: FloatArray, rate_hz: int = RATE_HZ) -> Features:
    return Features.of(Recording.from_array(samples, rate_hz))


@functools.cache
def reference() -> Features:
    return features_of(played())


def pair_of(one: Features, other: Features) -> Pair:
    return aligned(one, other, align(one, other))


def between(one: Features, other: Features) -> Noise:
    """Of two recordings on one clock."""
    seconds = min(one.duration_s, other.duration_s)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=True)
    return noise_between(one, other, match)


@functools.cache
def take() -> FloatArray:
    return operations.strings(16.0)


@functools.cache
def take_features() -> Features:
    return features_of(take(), operations.RATE_HZ)


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


@pytest.mark.parametrize("mains_hz", [50.0, 60.03])
@pytest.mark.parametrize("levels_db", [{1: -44.0, 3: -48.0}, {1: -50.0}])
def test_hum_is_told_with_its_lines(mains_hz: float, levels_db: dict[int, float]) -> None:
    other = features_of(played() + hum(played(), mains_hz, levels_db))
    (found,) = between(reference(), other)
    assert isinstance(found, Hum)
    assert found.in_candidate
    assert found.lines == tuple(levels_db)
    assert found.mains_hz == pytest.approx(mains_hz, rel=1e-3)
    whole = sum(10 ** (level / 10) for level in levels_db.values())
    # Within a quarter of the just-noticeable 3 dB.
    assert found.level_dbfs == pytest.approx(10 * np.log10(whole), abs=0.75)
    (back,) = between(other, reference())
    assert not back.in_candidate


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


SILENT: dict[str, Change] = {
    "identical": lambda x: x,
    "louder": lambda x: 2 * x,
    "shelf": lambda x: x + 0.6 * signal.lfilter(*signal.butter(1, 3000, "high", fs=RATE_HZ), x, 0),
    "narrower": lambda x: x.mean(axis=1, keepdims=True) + 0.25 * (x - x[:, ::-1]),
    "hall": lambda x: synthetic.in_room(x, 2.2, -3.0),
    "ride": lambda x: x * np.where(np.arange(len(x)) > len(x) // 2, 1.6, 1.0)[:, None],
}


@pytest.mark.parametrize("name", SILENT)
def test_what_is_no_noise(name: str) -> None:
    assert between(reference(), features_of(SILENT[name](played()))) == ()


@pytest.mark.parametrize("figure_db", [6.0, -6.0])
def test_a_figure_is_no_noise(figure_db: float) -> None:
    assert between(reference(), features_of(played(figure=figure_db))) == ()


@pytest.mark.parametrize("element", [lambda x: roll(x, 4.0, 16.0), pedal])
def test_what_sounds_long_is_no_noise(element: Change) -> None:
    part = element(played())
    soft, loud = features_of(played() + part), features_of(played() + 2 * part)
    assert between(soft, loud) == ()


def test_another_performance_has_no_noise_to_tell() -> None:
    other = synthetic.play(5, bars=8, scatter_s=0.02, scatter_db=1.5, performance=2)
    pair = pair_of(reference(), features_of(other + white(other, -50.0)))
    assert not pair.same_take
    assert pair.with_noise_shared() is pair


def test_steady_noise_of_plain_numbers() -> None:
    # noisy = 4 clean + noise, by construction.
    rng = np.random.default_rng(0)
    clean = 10 ** rng.uniform(-6, -2, (800, 3))
    noise = np.array([0.0, 1e-5, 1e-5])
    noisy = 4 * clean + noise
    noisy[:100, 2] = 4 * clean[:100, 2]  # it rests now and then
    found = steady_noise(clean, noisy)
    assert found.gain == pytest.approx([4.0, 4.0, 4.0], rel=0.02)
    assert found.noise[1] == pytest.approx(1e-5, rel=0.05)
    assert found.told.tolist() == [False, True, False]


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


FIGURE = ("clarinets", "harp", "xylophone")
BESIDE: dict[str, Change] = {
    "hiss_added": lambda x: x + white(x, -50.0),
    "hum_added": lambda x: x + 0.01 * np.sin(0.1 * np.pi / 44.1 * np.arange(len(x)))[:, None],
}


@pytest.mark.parametrize("kind", BESIDE)
def test_noise_is_told_beside_a_figure(kind: str) -> None:
    (before, rate_hz), (after, _) = operations.with_parts(take(), FIGURE, 11.0, 5.0)
    one, other = features_of(before, rate_hz), features_of(BESIDE[kind](after), rate_hz)
    results = told_of(one, other)
    told = {finding.kind: finding for finding in results.findings}
    noise = told.pop(kind)
    assert noise.aspect == "tone"
    assert noise.difference > 3
    assert "dBFS" in noise.text
    (element,) = told.values()
    assert element.aspect == "balance"
    # Half of 1 dB, ISO 3382-1:2009, Table A.1.
    assert element.difference == pytest.approx(5.0, abs=0.5)


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


def test_a_hum_is_not_told_as_rumble_too() -> None:
    humming = played() + hum(played(), 50.0, {1: -30.0, 3: -34.0})
    noise = between(reference(), features_of(humming))
    assert [type(one) for one in noise] == [Hum]
