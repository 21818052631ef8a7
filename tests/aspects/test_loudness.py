"""Loudness: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import loudness
from mixcompare.features import Features
from mixcompare.pair.match import Match
from tests import recorded
from tests.pairs import Remembering

analyzer = Remembering(loudness.analyzer)

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 16_000


def features_of(samples: npt.ArrayLike, rate_hz: int = RATE_HZ) -> Features:
    return recorded.features_of(samples, rate_hz)


@pytest.fixture(scope="module")
def reference(phrases: FloatArray) -> Features:
    return features_of(phrases)


def same_clock(seconds: float) -> Match:
    return Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=True)


def test_sine(sine: FloatArray) -> None:
    # BS.1770-5 Annex 1: 997 Hz at 0 dBFS in both channels reads 0 LKFS; here at -20 dBFS.
    measured = analyzer.measure(features_of(sine, 48_000))
    assert measured.integrated_lufs == pytest.approx(-20.0, abs=0.02)
    assert measured.max_momentary_lufs == pytest.approx(-20.0, abs=0.02)
    assert measured.true_peak_dbtp == pytest.approx(-20.0, abs=0.1)
    assert measured.peak_to_loudness_db == pytest.approx(0.0, abs=0.1)
    assert measured.max_short_term_lufs is None
    assert measured.loudness_range_lu is None
    assert "at least 3 s" in measured.reasons[0]


def test_mono_counts_as_one_channel(sine: FloatArray) -> None:
    measured = analyzer.measure(features_of(sine[:, 0], 48_000))
    assert measured.integrated_lufs == pytest.approx(-23.01, abs=0.02)


def test_music_under_the_gate_cannot_be_told() -> None:
    wave = 10 ** (-80 / 20) * np.sin(2 * np.pi * 997 * np.arange(4 * RATE_HZ) / RATE_HZ)
    measured = analyzer.measure(features_of(wave))
    assert measured.integrated_lufs is None
    assert measured.peak_to_loudness_db is None
    assert measured.max_short_term_lufs == pytest.approx(-83.0, abs=0.2)
    assert "-70 LUFS" in measured.reasons[-1]


def test_series(reference: Features) -> None:
    measured = analyzer.measure(reference)
    assert len(measured.series_s) == len(measured.momentary_lufs) == 260
    told = [value for value in measured.short_term_lufs if value is not None]
    assert max(told) <= measured.max_short_term_lufs
    assert max(told) == pytest.approx(measured.max_short_term_lufs, abs=0.1)
    assert measured.short_term_lufs[0] is None
    assert measured.short_term_lufs[20] is not None


@pytest.mark.parametrize("gain_db", [-12.0, -0.5, 3.0])
def test_gain_is_recovered(gain_db: float, reference: Features, phrases: FloatArray) -> None:
    candidate = features_of(phrases * 10 ** (gain_db / 20))
    difference = analyzer.compare(reference, candidate, same_clock(26.0))
    assert difference.integrated_lufs == pytest.approx(gain_db, abs=0.01)
    assert difference.max_momentary_lufs == pytest.approx(gain_db, abs=0.01)
    assert difference.max_short_term_lufs == pytest.approx(gain_db, abs=0.01)
    assert difference.true_peak_dbtp == pytest.approx(gain_db, abs=0.01)
    assert difference.loudness_range_lu == pytest.approx(0.0, abs=0.02)
    assert difference.peak_to_loudness_db == pytest.approx(0.0, abs=0.02)
    assert analyzer.findings(difference) == []


def test_halved_swings_halve_the_range(reference: Features, phrases: FloatArray) -> None:
    power = np.repeat(np.square(phrases).reshape(26, RATE_HZ, 2).mean(axis=(1, 2)), RATE_HZ)
    candidate = features_of(phrases * (power**-0.25)[:, np.newaxis] * 0.1)
    difference = analyzer.compare(reference, candidate, same_clock(26.0))
    assert difference.loudness_range_lu is not None
    measured = analyzer.measure(reference).loudness_range_lu
    assert measured is not None
    assert difference.loudness_range_lu == pytest.approx(-measured / 2, abs=0.15 * measured)
    low, high = difference.loudness_range_lu_interval or (0.0, 0.0)
    assert low <= difference.loudness_range_lu <= high < 0


def test_nothing_between_identical_recordings(reference: Features) -> None:
    difference = analyzer.compare(reference, reference, same_clock(26.0))
    assert difference.integrated_lufs == 0
    assert difference.loudness_range_lu == 0
    assert difference.loudness_range_lu_interval == (0.0, 0.0)
    assert difference.true_peak_dbtp == 0


def test_mirror(reference: Features, phrases: FloatArray) -> None:
    candidate = features_of(np.tanh(3 * phrases[::-1]))
    match = same_clock(26.0)
    there = analyzer.compare(reference, candidate, match)
    back = analyzer.compare(candidate, reference, match.mirrored())
    for name in ("integrated_lufs", "loudness_range_lu", "max_momentary_lufs", "true_peak_dbtp"):
        assert getattr(there, name) == pytest.approx(-getattr(back, name), abs=1e-9)


def test_only_the_music_in_common_is_compared(reference: Features, phrases: FloatArray) -> None:
    # The candidate holds the same music between a loud stretch and silence.
    loud = np.random.default_rng(1).standard_normal((10 * RATE_HZ, 2)) * 0.3
    candidate = features_of(np.concatenate([loud, phrases, np.zeros_like(loud)]))
    match = Match(TimeMap.linear(10.0, 1.0, 0.0, 26.0), same_take=True)
    difference = analyzer.compare(reference, candidate, match)
    assert difference.integrated_lufs == pytest.approx(0.0, abs=0.05)
    assert difference.max_short_term_lufs == pytest.approx(0.0, abs=0.05)
    assert difference.loudness_range_lu == pytest.approx(0.0, abs=0.1)


def test_polarity_and_exchanged_channels_do_not_count(
    reference: Features, phrases: FloatArray
) -> None:
    candidate = features_of(-phrases[:, ::-1])
    difference = analyzer.compare(reference, candidate, same_clock(26.0))
    assert difference.integrated_lufs == pytest.approx(0.0, abs=1e-6)
    assert difference.true_peak_dbtp == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("sign", [1, -1])
def test_every_difference_has_its_own_sign_and_size(sign: int) -> None:
    # One at -30 dBFS, then -20; the other at -26, then -20, at last 0.4 s at -12.
    low = sines((-30, 10), (-20, 10))
    high = sines((-26, 10), (-20, 9.6), (-12, 0.4))
    pair = (low, high)[::sign]
    difference = analyzer.compare(features_of(pair[0]), features_of(pair[1]), same_clock(20.0))

    def level_db(*parts: tuple[float, float]) -> float:
        return 10 * float(np.log10(sum(share * 10 ** (level / 10) for share, level in parts)))

    # Blocks that overlap by three quarters hold the last 0.4 s at 2.5 times in 4.
    integrated = level_db((0.5, -26), (0.4875, -20), (0.0125, -12))
    integrated -= level_db((0.5, -30), (0.5, -20))
    short_term = level_db((2.6 / 3, -20), (0.4 / 3, -12)) + 20
    assert difference.integrated_lufs == pytest.approx(sign * integrated, abs=0.15)
    assert difference.max_momentary_lufs == pytest.approx(sign * 8.0, abs=0.05)
    assert difference.max_short_term_lufs == pytest.approx(sign * short_term, abs=0.05)
    assert difference.true_peak_dbtp == pytest.approx(sign * 8.0, abs=0.1)
    assert difference.peak_to_loudness_db == pytest.approx(sign * (8.0 - integrated), abs=0.2)
    # From -30 to -20; and from -26 to -20, for 3 s at -17.7 count for less than 5 % of the time.
    assert difference.loudness_range_lu == pytest.approx(sign * (6.0 - 10.0), abs=0.4)
    low_lu, high_lu = difference.loudness_range_lu_interval or (0.0, 0.0)
    assert low_lu <= difference.loudness_range_lu <= high_lu
    assert difference.reasons == ()


def sines(*parts: tuple[float, float]) -> FloatArray:
    """A 1 kHz sine in both channels: (level in dBFS, seconds)."""
    gain = np.concatenate(
        [np.full(round(seconds * RATE_HZ), 10 ** (level / 20)) for level, seconds in parts]
    )
    wave = gain * np.sin(2 * np.pi * 1000 * np.arange(len(gain)) / RATE_HZ)
    return np.column_stack([wave, wave])


def test_maxima_of_one_recording() -> None:
    measured = analyzer.measure(features_of(sines((-26, 10), (-20, 9.6), (-12, 0.4))))
    assert measured.max_momentary_lufs == pytest.approx(-12.0, abs=0.05)
    assert measured.max_short_term_lufs == pytest.approx(-17.68, abs=0.05)
    assert measured.true_peak_dbtp == pytest.approx(-12.0, abs=0.1)
    assert measured.integrated_lufs == pytest.approx(-21.6, abs=0.1)
    assert measured.peak_to_loudness_db == pytest.approx(-12 + 21.6, abs=0.15)
    told = dict(zip(measured.series_s, measured.momentary_lufs, strict=True))
    assert told[5.0] == pytest.approx(-26.0, abs=0.05)
    assert told[15.0] == pytest.approx(-20.0, abs=0.05)


def test_what_cannot_be_told_is_said_of_either(reference: Features) -> None:
    short = same_clock(2.5)
    difference = analyzer.compare(reference, reference, short)
    assert difference.max_short_term_lufs is None
    assert difference.loudness_range_lu is None
    assert difference.integrated_lufs == 0.0
    assert "at least 3 s" in difference.reasons[0]
    quiet = features_of(sines((-80, 26)))
    for pair in ((reference, quiet), (quiet, reference)):
        difference = analyzer.compare(*pair, same_clock(26.0))
        assert difference.integrated_lufs is None
        assert difference.peak_to_loudness_db is None
        assert difference.max_momentary_lufs is not None
        assert ["-70 LUFS" in reason for reason in difference.reasons] == [True, True]
