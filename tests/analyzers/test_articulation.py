"""Articulation: known sounding ratios, in rooms too, and what must not look like articulation."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.analyzers.articulation import ArticulationDifference, analyzer
from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.recording import Recording
from mixcompare.timemap import TimeMap
from tests.synthetic import RATE_HZ, in_room, play

FloatArray = npt.NDArray[np.float64]

NOTES = 26


def features_of(samples: npt.ArrayLike) -> Features:
    array = np.asarray(samples, np.float64)
    return Features.of(Recording.from_array(0.4 * array / np.abs(array).max(), RATE_HZ))


def melody(seed: int, repeats: float) -> list[tuple[float, float, int]]:
    """Onset, time to the next onset, pitch; some pitches are struck again."""
    rng = np.random.default_rng(seed)
    onset_s, pitch = 0.5, 72
    notes = []
    for _ in range(NOTES):
        interval_s = float(rng.choice([0.4, 0.6]))
        notes.append((onset_s, interval_s, pitch))
        onset_s += interval_s
        if rng.random() >= repeats:
            pitch = int(np.clip(pitch + rng.choice([-4, -3, -2, -1, 1, 2, 3, 4]), 64, 84))
    return notes


def tone(pitch: int, held_s: float, attack_s: float) -> FloatArray:
    """Ten partials, a linear attack, a release of 50 ms."""
    time = np.arange(int((held_s + 0.3) * RATE_HZ)) / RATE_HZ
    frequency = 440 * 2 ** ((pitch - 69) / 12)
    wave = np.zeros(len(time))
    for partial in range(1, 11):
        if partial * frequency < 0.45 * RATE_HZ:
            wave += np.sin(2 * np.pi * partial * frequency * time + partial) / partial
    release = np.exp(-np.maximum(time - held_s, 0) / 0.017)
    return np.asarray(wave * np.minimum(time / attack_s, 1) * release)


def line(
    ratio: float, *, seed: int = 3, repeats: float = 0.0, attack_s: float = 0.03
) -> FloatArray:
    """A melody with every note held for a share of the time to the next one."""
    notes = melody(seed, repeats)
    out = np.zeros(int((notes[-1][0] + 2.0) * RATE_HZ))
    for onset_s, interval_s, pitch in notes:
        wave = tone(pitch, ratio * interval_s, attack_s)
        first = int(onset_s * RATE_HZ)
        out[first : first + len(wave)] += wave[: len(out) - first]
    return np.column_stack([out, out])


def compared(
    reference: Features, candidate: Features, same_take: bool = False
) -> tuple[ArticulationDifference, list[str]]:
    seconds = min(reference.duration_s, candidate.duration_s)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=same_take)
    difference = analyzer.compare(reference, candidate, match)
    return difference, [finding.kind for finding in analyzer.findings(difference)]


# The ratio is a definition (note-off over time to the next onset), the notes are made with it.
# 0.08 is its just-noticeable difference: 10 % of a tone's length (Friberg and Sundberg 1994,
# from memory).
@pytest.mark.parametrize(("ratio", "repeats"), [(0.85, 0.0), (0.6, 0.4), (0.4, 0.0)])
def test_ratio_of_a_dry_line(ratio: float, repeats: float) -> None:
    measured = analyzer.measure(features_of(in_room(line(ratio, repeats=repeats), 0.3, -30.0)))
    assert measured.notes > 15
    assert measured.sounding_ratio == pytest.approx(ratio, abs=0.08)
    assert measured.sounding_ratio_interval is not None
    low, high = measured.sounding_ratio_interval
    assert low < ratio < high


@pytest.mark.parametrize("ratio", [0.85, 0.4])
def test_ratio_in_a_hall(ratio: float) -> None:
    # 2 s: recommended for symphonic music (Barron 2009, from memory).
    measured = analyzer.measure(features_of(in_room(line(ratio), 2.0, -3.0)))
    assert measured.sounding_ratio == pytest.approx(ratio, abs=0.08)


def test_overlapping_notes_are_held_throughout() -> None:
    measured = analyzer.measure(features_of(in_room(line(1.03), 1.2, -6.0)))
    assert measured.sounding_ratio is not None
    assert measured.sounding_ratio > 0.95


@pytest.mark.parametrize("ramp_s", [0.04, 0.1])
def test_attack(ramp_s: float) -> None:
    # A linear ramp takes 80 % of its length from 10 to 90 %. Log attack time within 0.15
    # (Peeters et al. 2011 for the quantity).
    measured = analyzer.measure(features_of(in_room(line(0.6, attack_s=ramp_s), 0.3, -30.0)))
    assert measured.attack_ms is not None
    assert np.log10(measured.attack_ms / (800 * ramp_s)) == pytest.approx(0.0, abs=0.15)


def test_too_few_notes() -> None:
    time = np.arange(3 * RATE_HZ) / RATE_HZ
    measured = analyzer.measure(features_of(np.sin(2 * np.pi * 440 * time)))
    assert measured.sounding_ratio is None
    assert measured.reasons


def shortened(share: float, gain_db: float = 3.0) -> FloatArray:
    """The four-voice piece, its melody gated to a share of every note."""
    full = play(1, gains_db={"melody": gain_db})
    without = play(1, gains_db={"melody": -120.0})
    voice = full - without
    loud = np.sqrt(signal.lfilter([0.005], [1, -0.995], (voice**2).mean(axis=1)))
    onsets = signal.find_peaks(np.diff(loud, prepend=0), distance=int(0.25 * RATE_HZ))[0]
    gate = np.ones(len(voice))
    for first, behind in zip(onsets[:-1], onsets[1:], strict=True):
        gate[first + int(share * (behind - first)) : behind - int(0.01 * RATE_HZ)] = 0.0
    return np.asarray(without + voice * signal.lfilter([0.004], [1, -0.996], gate)[:, None])


@functools.cache
def four_voices() -> Features:
    return features_of(in_room(play(1, gains_db={"melody": 3.0}), 1.2, -8.0))


def test_detached_theme_among_other_voices() -> None:
    detached = features_of(in_room(shortened(0.5), 1.2, -8.0, seed=3))
    difference, kinds = compared(four_voices(), detached)
    assert kinds == ["notes_more_detached"]
    finding = analyzer.findings(difference)[0]
    assert finding.difference == pytest.approx(-0.45, abs=0.15)
    assert finding.cause.likeliest == "players"
    assert finding.band_hz is not None
    assert "% of their length" in finding.text
    back, kinds = compared(detached, four_voices())
    assert kinds == ["notes_more_connected"]
    assert back.sounding_ratio == pytest.approx(-(difference.sounding_ratio or 0.0), abs=0.02)


def test_a_wetter_room_is_not_legato() -> None:
    detached = in_room(line(0.5), 0.8, -12.0)
    wetter = in_room(line(0.5), 2.0, -2.0)
    assert compared(features_of(detached), features_of(wetter))[1] == []


@pytest.mark.parametrize("same_take", [True, False])
def test_nothing_changed(same_take: bool) -> None:
    difference, kinds = compared(four_voices(), four_voices(), same_take)
    assert kinds == []
    assert difference.sounding_ratio == 0.0


def test_not_articulation() -> None:
    plain = play(1, gains_db={"melody": 3.0})
    players = play(1, gains_db={"melody": 3.0}, scatter_s=0.012, scatter_db=1.0, performance=2)
    for samples in (
        in_room(play(1, gains_db={"melody": 3.0, "figure": 6.0}), 1.2, -8.0),
        in_room(plain, 1.2, -2.0),
        in_room(players, 1.2, -8.0, seed=2),
    ):
        assert compared(four_voices(), features_of(samples))[1] == []


def test_other_tuning_grid() -> None:
    # 60 cents higher: the same note lies on another band of the candidate's grid.
    low = features_of(in_room(play(1, gains_db={"melody": 3.0}, bars=4), 1.2, -8.0))
    high = features_of(in_room(play(1, gains_db={"melody": 3.0}, bars=4, a4_hz=455.5), 1.2, -8.0))
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, low.duration_s), tuning_cents=59.9)
    difference = analyzer.compare(low, high, match)
    assert difference.notes >= 8
    assert difference.sounding_ratio == pytest.approx(0.0, abs=0.08)
    assert analyzer.findings(difference) == []
