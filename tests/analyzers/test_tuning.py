"""Tuning: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
import soxr

from mixcompare.analyzers.tuning import analyzer
from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.timemap import TimeMap
from tests.analyzers import stereo_music
from tests.analyzers.stereo_music import RATE_HZ, features_of, filtered, music, same_clock

FloatArray = npt.NDArray[np.float64]


@pytest.fixture(scope="module")
def reference() -> Features:
    return stereo_music.features()


@pytest.fixture(scope="module")
def at_443() -> Features:
    return features_of(music(a4_hz=443.0))


def chords(a4_hz: float, harmonics: int, fall: float, seed: int = 0) -> FloatArray:
    """Sustained triads, eight seconds at 16 kHz; harmonics fall by ``fall`` dB an octave."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(16_000) / 16_000
    envelope = np.minimum(1, np.minimum(time_s / 0.03, (1 - time_s) / 0.05))
    out = []
    for _ in range(8):
        root = int(rng.integers(48, 72))
        wave = np.zeros(len(time_s))
        for pitch in (root, root + int(rng.choice([3, 4])), root + 7, root + 12):
            for number in range(1, harmonics + 1):
                frequency = number * a4_hz * 2 ** ((pitch - 69) / 12)
                if frequency < 7500:
                    level = 10 ** (-fall * np.log2(number) / 20)
                    wave += level * np.sin(2 * np.pi * (frequency * time_s + rng.random()))
        out.append(0.05 * wave * envelope)
    return np.concatenate(out)


@pytest.mark.parametrize(
    ("a4_hz", "cents"), [(440.0, 0.0), (442.0, 7.85), (443.0, 11.76), (431.0, -35.78)]
)
def test_known_tuning(a4_hz: float, cents: float) -> None:
    # 1200 lb(f / 440 Hz); 440 Hz is ISO 16:1975 (from memory).
    errors = []
    for seed, (harmonics, fall) in enumerate([(1, 0.0), (4, 6.0), (10, 6.0), (20, 5.0), (15, 9.0)]):
        measured = analyzer.measure(features_of(chords(a4_hz, harmonics, fall, seed), 16_000))
        assert measured.cents_against_440 is not None
        errors.append(measured.cents_against_440 - cents)
        assert measured.a4_hz == pytest.approx(a4_hz, abs=0.4)
    assert np.median(np.abs(errors)) < 1.0
    assert np.max(np.abs(errors)) < 1.5


def test_a_quarter_tone_is_as_far_as_it_goes() -> None:
    # 415 Hz is a semitone and 1.27 cents below: alone it can't be told from 439.7 Hz.
    measured = analyzer.measure(features_of(chords(415.0, 6, 6.0), 16_000))
    assert measured.cents_against_440 == pytest.approx(-1.27, abs=1.0)


def test_noise_has_no_tuning(reference: Features) -> None:
    noise = features_of(0.1 * np.random.default_rng(1).standard_normal((8 * 16_000, 2)), 16_000)
    measured = analyzer.measure(noise)
    assert measured.a4_hz is None
    assert "no steady pitches" in measured.reasons[0]
    difference = analyzer.compare(reference, noise, same_clock(noise, same_take=False))
    assert difference.tuning_cents is None
    assert analyzer.findings(difference) == []


def test_other_performance_in_another_tuning(reference: Features, at_443: Features) -> None:
    expected = 1200 * float(np.log2(443 / 440))
    time_map = TimeMap.linear(0.0, 1.0, 0.0, reference.duration_s)
    match = Match(time_map, tuning_cents=expected + 2)
    difference = analyzer.compare(reference, at_443, match)
    assert difference.tuning_cents == pytest.approx(expected, abs=1.0)
    low, high = difference.tuning_cents_interval or (0.0, 0.0)
    assert low < expected < high
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "tuned_higher"
    assert finding.jnd == pytest.approx(expected / 5, abs=0.3)
    assert finding.cause.likeliest == "players"
    back = analyzer.compare(at_443, reference, match.mirrored())
    assert back.tuning_cents == pytest.approx(-difference.tuning_cents, abs=0.2)
    assert [entry.kind for entry in analyzer.findings(back)] == ["tuned_lower"]


def test_contradiction_is_not_hidden(reference: Features, at_443: Features) -> None:
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, reference.duration_s), tuning_cents=-30.0)
    difference = analyzer.compare(reference, at_443, match)
    assert difference.tuning_cents is None
    assert "can't be told" in difference.reasons[0]
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("gain", [1.0, 0.5, 1.7])
@pytest.mark.parametrize("same_take", [True, False])
def test_identical_and_gain_only(reference: Features, gain: float, same_take: bool) -> None:
    candidate = stereo_music.scaled(gain)
    difference = analyzer.compare(reference, candidate, same_clock(reference, same_take=same_take))
    assert difference.total_cents == pytest.approx(0, abs=0.05)
    assert analyzer.findings(difference) == []


def test_tone_is_not_tuning(reference: Features) -> None:
    candidate = features_of(filtered(music(), ("high_shelf", 2000.0, 8.0, 0.7)))
    difference = analyzer.compare(reference, candidate, same_clock(reference, same_take=False))
    assert difference.tuning_cents == pytest.approx(0, abs=1.0)
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("same_take", [True, False])
def test_wrong_sample_rate(reference: Features, same_take: bool) -> None:
    # 44.1 kHz played at 48 kHz: 1200 lb(48 / 44.1) = 146.71 cents, 8.84 % faster.
    faster = soxr.resample(music(), 48_000, 44_100)
    candidate = features_of(faster, RATE_HZ)
    match = Match(
        TimeMap.linear(0.0, 44.1 / 48, 0.0, reference.duration_s),
        same_take=same_take,
        transposition_semitones=1,
        tuning_cents=46.0,
        uncertainty_ms=0.01,
    )
    difference = analyzer.compare(reference, candidate, match)
    assert difference.total_cents == pytest.approx(146.71, abs=0.1 if same_take else 1.5)
    assert difference.speed_percent == pytest.approx(8.84, abs=0.1)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "tuned_higher"
    assert finding.cause.likeliest == "mix"
    assert "sample rate" in finding.advice[0]
    assert "faster" in finding.consequences[0]


def test_another_key(reference: Features) -> None:
    lower = features_of(music(a4_hz=440 * 2 ** (-2 / 12)))
    time_map = TimeMap.linear(0.0, 1.0, 0.0, reference.duration_s)
    difference = analyzer.compare(reference, lower, Match(time_map, transposition_semitones=-2))
    assert difference.total_cents == pytest.approx(-200, abs=1.0)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "tuned_lower"
    assert "2 semitones" in finding.text
