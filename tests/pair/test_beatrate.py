"""Onsets, tempo curves and clocks: known times, known signs, known limits."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import ONSET_RATE_HZ
from mixcompare.pair import beatrate
from mixcompare.pair.match import Match

FloatArray = npt.NDArray[np.float64]


def struck(at_s: FloatArray, seconds: float, decay: float = 12.0) -> FloatArray:
    """Onset energies of decaying strokes at these times, shape (frames, 60)."""
    rng = np.random.default_rng(0)
    times = np.arange(round(seconds * ONSET_RATE_HZ)) / ONSET_RATE_HZ
    out = 1e-6 * rng.uniform(0.9, 1.1, (len(times), 60))
    for stroke, start in enumerate(at_s):
        after = times - start
        envelope = np.where(after >= 0, np.exp(-decay * np.maximum(after, 0)), 0.0)
        bands = (np.arange(60) + 7 * stroke) % 5 < 2
        out += (1.0 if stroke % 2 == 0 else 0.5) * envelope[:, np.newaxis] * bands
    return out


def test_onset_strength_rises_where_something_begins() -> None:
    strength = beatrate.onset_strength(struck(np.array([1.0, 2.5]), 4.0))
    assert len(strength) == 400
    assert set(np.flatnonzero(strength > 0.5 * strength.max()) // 10) == {10, 25}
    # Three frames before and after make a rise; a decay makes none.
    assert strength[100:103].min() > 0.5 * strength.max()
    assert strength[[95, 98, 104, 150, 200]].max() < 0.05 * strength.max()


@pytest.mark.parametrize("per_minute", [75.0, 150.0, 200.0])
def test_events_per_minute(per_minute: float) -> None:
    at_s = 0.5 + np.arange(round(per_minute / 3)) * 60 / per_minute
    counts = beatrate.events_per_minute(struck(at_s, 21.0))
    assert counts is not None
    strict, soft = counts
    assert strict <= soft
    assert soft == pytest.approx(per_minute, rel=0.02)
    assert beatrate.events_per_minute(struck(at_s[:3], 21.0)) is None


@pytest.mark.parametrize("percent", [10.0, -10.0])
def test_a_tempo_curve_is_positive_where_it_is_slower(percent: float) -> None:
    # Twenty seconds at four strokes a second, then twenty with periods so much longer.
    first = 0.5 + 0.25 * np.arange(80)
    second = first[-1] + 0.25 * (1 + percent / 100) * np.arange(1, 81)
    at_s = np.concatenate([first, second])
    times, curve = beatrate.tempo_curve(struck(at_s, at_s[-1] + 1.0))
    assert times[0] == pytest.approx(beatrate.WINDOW_S / 2)
    assert np.diff(times) == pytest.approx(np.full(len(times) - 1, beatrate.HOP_S))
    before, after = curve[times < 15].mean(), curve[times > 26].mean()
    assert after - before == pytest.approx(np.log(1 + percent / 100), abs=0.015)
    assert len(beatrate.tempo_curve(struck(first[:20], 8.2))[0]) == 0


def speed(percent: float, cents: float, semitones: int = 0, **known: float) -> bool:
    """Whether a straight map of that much longer duration, at that pitch, is a clock."""
    time_map = TimeMap(np.linspace(0, 60, 100), np.linspace(0, 60 * (1 + percent / 100), 100))
    return beatrate.is_playback_speed(
        Match(time_map, transposition_semitones=semitones, tuning_cents=cents, **known)  # type: ignore[arg-type]
    )


def test_pitch_must_follow_the_speed() -> None:
    # 3 % longer: 1200 lb(1 / 1.03) = -51.2 cents, within eight; 9 % longer: -149.2, within 8 %.
    assert speed(3.0, -51.2)
    assert speed(3.0, -58.0)
    assert speed(3.0, -44.5)
    assert not speed(3.0, -61.0)
    assert not speed(3.0, -42.0)
    assert not speed(3.0, 51.2)
    assert speed(-3.0, 52.7)
    assert speed(9.0, 50.8, -2)
    assert speed(9.0, 40.0, -2)
    assert not speed(9.0, 36.0, -2)
    # Less than a cent is no speed.
    assert not speed(0.05, -0.87)
    assert speed(0.07, -1.2)


@pytest.mark.parametrize(("wander_s", "straight"), [(0.03, True), (0.06, False)])
def test_the_map_must_be_straight(wander_s: float, straight: bool) -> None:
    times = np.linspace(0, 60, 400)
    time_map = TimeMap(times, 1.03 * times + wander_s * np.sin(2 * np.pi * times / 15))
    # The median distance of a sine from its middle is 0.71 of its height; the limit is 30 ms.
    assert beatrate.is_playback_speed(Match(time_map, tuning_cents=-51.2)) is straight
    # A map that knows no better may wander further.
    assert beatrate.is_playback_speed(Match(time_map, tuning_cents=-51.2, uncertainty_ms=25.0))
