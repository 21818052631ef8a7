"""Tuning: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
import soxr

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import tuning
from mixcompare.features import Features
from mixcompare.pair.match import Match
from tests.aspects import stereo_music
from tests.aspects.stereo_music import RATE_HZ, features_of, filtered, music, same_clock
from tests.pairs import Remembering

analyzer = Remembering(tuning.analyzer)

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
    for seed, (harmonics, fall) in enumerate([(1, 0.0), (4, 6.0), (20, 5.0)]):
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
    assert finding.interval[0] <= -200 <= finding.interval[1]
    assert finding.difference == difference.total_cents
    assert "2 semitones" in finding.text


def phasors(
    rng: np.random.Generator, cents: float, seconds: int = 30
) -> npt.NDArray[np.complex128]:
    """Deviations of forty peaks a second: they scatter, and each second by its own notes.

    All of a recording reads off by its kind of tone (-0.4 cents, deviation 0.5).
    """
    kind = -0.4 + 0.5 * rng.standard_normal()
    notes = 4.0 * rng.standard_normal((seconds, 1))
    away = cents + kind + notes + 20.0 * rng.standard_normal((seconds, 40))
    weight = np.abs(rng.standard_normal((seconds, 40)))
    return np.asarray((weight * np.exp(2j * np.pi * away / 100)).sum(axis=1))


def test_the_intervals_hold_the_truth(reference: Features) -> None:
    cases = 100
    # Pairs of 30 s, the candidate higher or lower by turns. Both intervals say 95 %.
    span = TimeMap.linear(0.0, 1.0, 0.0, 30.0)
    held, held_alone, errors = 0, 0, []
    for seed in range(cases):
        rng = np.random.default_rng(seed)
        cents = 9.0 * (-1) ** seed
        pair = [
            replace(reference, tuning_phasor=phasors(rng, tuning)) for tuning in (4.0, 4.0 + cents)
        ]
        difference = analyzer.compare(*pair, Match(span, tuning_cents=cents + 1))
        low, high = difference.tuning_cents_interval or (0.0, 0.0)
        assert low < difference.tuning_cents < high
        held += low <= cents <= high
        errors.append(difference.tuning_cents - cents)
        low, high = analyzer.measure(pair[0]).cents_against_440_interval or (0.0, 0.0)
        held_alone += low <= 4.0 <= high
    assert 0.92 * cases <= held <= 0.99 * cases
    assert 0.92 * cases <= held_alone <= 0.99 * cases
    assert np.mean(errors) == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize("cents", [14.0, -14.0])
def test_what_is_said_of_two_performances(cents: float, reference: Features) -> None:
    rng = np.random.default_rng(0)
    pair = [replace(reference, tuning_phasor=phasors(rng, tuning, 200)) for tuning in (0.0, cents)]
    match = Match(TimeMap.linear(2.0, 1.0, 0.0, 30.0), tuning_cents=cents)
    difference = analyzer.compare(*pair, match)
    assert difference.a4_hz[0] == pytest.approx(440.0, abs=0.5)
    assert difference.a4_hz[1] == pytest.approx(440 * 2 ** (cents / 1200), abs=0.5)
    assert difference.speed_percent is None
    (finding,) = analyzer.findings(difference)
    higher = cents > 0
    assert finding.difference == pytest.approx(cents, abs=3.0)
    assert finding.kind == ("tuned_higher" if higher else "tuned_lower")
    assert (" higher than" if higher else " lower than") in finding.text
    before, after = difference.a4_hz
    assert finding.text.endswith(f"A4 near {after:.1f} Hz against {before:.1f} Hz.")
    assert finding.advice == ("Agree on the tuning note before the next take.",)
    assert finding.spans_s == ((0.0, 30.0),)
    assert finding.interval == pytest.approx(difference.tuning_cents_interval)
    assert 0.9 < finding.cause.players < 1.0


def test_only_the_music_in_common_is_heard(reference: Features) -> None:
    # The candidate is in tune for 20 s, then 20 cents higher; half a minute of each is matched.
    rng = np.random.default_rng(3)
    mixed = np.concatenate([phasors(rng, 0.0, 20), phasors(rng, 20.0, 30)])
    even = replace(reference, tuning_phasor=phasors(rng, 0.0, 30))
    other = replace(reference, tuning_phasor=mixed)
    match = Match(TimeMap.linear(20.0, 1.0, 0.0, 30.0), tuning_cents=20.0)
    assert analyzer.compare(even, other, match).tuning_cents == pytest.approx(20.0, abs=2.5)
    back = analyzer.compare(other, even, match.mirrored())
    assert back.tuning_cents == pytest.approx(-20.0, abs=2.5)


@pytest.mark.parametrize("ratio", [0.98, 1.03])
def test_one_take_at_another_speed_tells_it_exactly(ratio: float, reference: Features) -> None:
    cents = -1200 * float(np.log2(ratio))
    match = Match(
        TimeMap.linear(0.0, ratio, 0.0, 60.0), same_take=True, tuning_cents=cents + 3,
        uncertainty_ms=3.0,
    )  # fmt: skip
    difference = analyzer.compare(reference, reference, match)
    assert difference.tuning_cents == pytest.approx(cents, abs=1e-6)
    # Two ends of 3 ms in 60 s: 1e-4 of the speed, 0.17 cents.
    low, high = difference.tuning_cents_interval or (0.0, 0.0)
    assert (high - cents, cents - low) == pytest.approx((0.173, 0.173), abs=0.002)
    assert difference.speed_percent == pytest.approx(100 * (1 / ratio - 1), abs=1e-6)
    (finding,) = analyzer.findings(difference)
    word = "faster" if ratio < 1 else "slower"
    amount = abs(100 * (1 / ratio - 1))
    assert finding.consequences == (f"it also runs {amount:.1f} % {word}",)
    assert 0.9 < finding.cause.mix < 1.0
    # Pitched without its speed: stretched, and less surely told.
    shifted = Match(TimeMap.linear(0.0, 1.0, 0.0, 60.0), same_take=True, tuning_cents=-12.0)
    (finding,) = analyzer.findings(analyzer.compare(reference, reference, shifted))
    assert finding.interval == (-14.0, -10.0)
    assert "pitch-shifted" in finding.advice[0]


def test_four_cents_are_not_said(reference: Features) -> None:
    for cents, kinds in ((4.0, []), (-4.0, []), (7.0, ["tuned_higher"]), (-7.0, ["tuned_lower"])):
        shifted = Match(TimeMap.linear(0.0, 1.0, 0.0, 60.0), same_take=True, tuning_cents=cents)
        found = analyzer.findings(analyzer.compare(reference, reference, shifted))
        assert [finding.kind for finding in found] == kinds
