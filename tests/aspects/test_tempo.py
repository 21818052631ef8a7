"""Tempo: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import tempo as aspect_tempo
from mixcompare.aspects.tempo.values import TempoDifference
from mixcompare.features import Features
from mixcompare.pair import beatrate
from mixcompare.pair.match import Match
from tests.aspects import stereo_music
from tests.aspects.stereo_music import features_of, filtered, music, same_clock
from tests.pairs import Remembering

analyzer = Remembering(aspect_tempo.analyzer)

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 16_000


@pytest.fixture(scope="module")
def reference() -> Features:
    return stereo_music.features()


def strokes(at_s: FloatArray, seed: int = 0) -> FloatArray:
    """Plucked tones at the given times."""
    rng = np.random.default_rng(seed)
    out = np.zeros(int((at_s[-1] + 1.5) * RATE_HZ))
    time_s = np.arange(int(0.5 * RATE_HZ)) / RATE_HZ
    envelope = np.exp(-8 * time_s) * (1 - time_s / 0.5)
    for index, start in enumerate(at_s):
        strong = 1.0 if index % 4 == 0 else 0.6
        frequency = 220 * 2 ** (rng.integers(0, 24) / 12)
        harmonics = np.arange(1, 8)[:, None]
        tone = (np.sin(2 * np.pi * frequency * harmonics * time_s) / harmonics).sum(axis=0)
        first = int(start * RATE_HZ)
        out[first : first + len(tone)] += 0.1 * strong * tone * envelope
    return out + 1e-4 * rng.standard_normal(len(out))


def compared(time_map: TimeMap, **known: float) -> TempoDifference:
    """From a map alone: the music only matters for how free each recording is by itself."""
    nothing = stereo_music.features()
    return analyzer.compare(nothing, nothing, Match(time_map, **known))  # type: ignore[arg-type]


@pytest.mark.parametrize("per_minute", [60, 90, 120, 138, 240])
def test_known_rate_of_strokes(per_minute: float) -> None:
    # Made with that many strokes a minute.
    at_s = 0.5 + np.arange(int(20 * per_minute / 60)) * 60 / per_minute
    measured = analyzer.measure(features_of(strokes(at_s), RATE_HZ))
    assert measured.events_per_minute == pytest.approx(per_minute, rel=0.06)


def test_steady_noise_has_no_rate() -> None:
    noise = 0.1 * np.random.default_rng(3).standard_normal((10 * RATE_HZ, 2))
    measured = analyzer.measure(features_of(noise, RATE_HZ))
    assert measured.events_per_minute is None
    assert measured.reasons


@pytest.mark.parametrize("ratio", [0.9, 1.06])
def test_overall_ratio(ratio: float) -> None:
    time_map = TimeMap.linear(0.4, ratio, 0.0, 60.0, half_width_ms=60.0)
    difference = compared(time_map)
    assert difference.ratio == pytest.approx(ratio, abs=1e-9)
    # Ends that are 60 ms uncertain at 90 % (1.645 deviations) each: 1.96 x 51.6 ms of 60 s.
    low, high = difference.ratio_interval
    assert high - ratio == pytest.approx(1.96 * np.sqrt(2) * 0.060 / 1.645 / 60, rel=1e-3)
    assert ratio - low == pytest.approx(high - ratio)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == ("slower" if ratio > 1 else "faster")
    assert finding.difference == pytest.approx(100 * (1 / ratio - 1))
    # Drake and Botte 1993: 1.5 to 3 % is just noticed.
    assert finding.jnd == pytest.approx(abs(100 * (1 / ratio - 1)) / 2, rel=0.01)
    assert finding.cause.likeliest == "players"


def test_below_what_is_noticed() -> None:
    assert analyzer.findings(compared(TimeMap.linear(0.0, 1.015, 0.0, 60.0))) == []


def test_a_cut_is_no_tempo() -> None:
    # Twenty seconds that the candidate leaves out.
    reference_s = np.array([0.0, 30.0, 50.0, 80.0])
    candidate_s = np.array([0.0, 30.0, 30.1, 60.1])
    half_width_ms = np.array([10.0, np.inf, np.inf, 10.0])
    difference = compared(TimeMap(reference_s, candidate_s, half_width_ms))
    assert difference.ratio == pytest.approx(1.0, abs=1e-6)
    assert all(not 29.5 < at < 50.5 for at in difference.curve_s)
    assert analyzer.findings(difference) == []


def slower_from_12_to_15(percent: float, half_width_ms: float) -> TimeMap:
    times = np.arange(0.0, 40.01, 0.1)
    slope = 1 + percent / 100 * ((times >= 12) & (times < 15))
    candidate = np.concatenate([[0.0], np.cumsum(slope[:-1] * 0.1)])
    return TimeMap(times, candidate, np.full(len(times), half_width_ms))


def test_holding_back_is_found_in_its_place() -> None:
    difference = compared(slower_from_12_to_15(15, 20))
    (finding,) = (
        entry for entry in analyzer.findings(difference) if entry.kind == "holds_back"
    )  # fmt: skip
    start, end = finding.spans_s[0]
    assert start == pytest.approx(12, abs=0.8)
    assert end == pytest.approx(15, abs=0.8)
    assert finding.difference == pytest.approx(-11, abs=3)
    assert "0:12-0:15" in finding.text


def test_a_long_stretch_is_no_moment() -> None:
    moment = next(iter(analyzer.findings(compared(slower_from_12_to_15(15, 20)))))
    assert (moment.subject, moment.advice) == ("one moment", ("Keep moving at 0:12.",))
    times = np.arange(0.0, 60.01, 0.1)
    slope = 1 + 0.3 * ((times >= 12) & (times < 24))
    candidate = np.concatenate([[0.0], np.cumsum(slope[:-1] * 0.1)])
    found = analyzer.findings(compared(TimeMap(times, candidate, np.full(len(times), 20.0))))
    stretch = next(one for one in found if one.kind == "holds_back")
    assert stretch.subject == "the tempo of one stretch"
    assert stretch.advice == ("Keep moving from 0:12 to 0:24.",)


def test_what_the_map_cannot_tell_is_not_said() -> None:
    difference = compared(slower_from_12_to_15(15, 200))
    assert [entry.kind for entry in analyzer.findings(difference)] == []


def test_mirror() -> None:
    time_map = slower_from_12_to_15(15, 20)
    there, back = compared(time_map), compared(time_map.inverse())
    assert there.ratio * back.ratio == pytest.approx(1, abs=1e-9)
    assert there.spread_percent == pytest.approx(back.spread_percent, abs=0.3)
    assert {entry.kind for entry in analyzer.findings(there)} == {"holds_back"}
    assert {entry.kind for entry in analyzer.findings(back)} == {"pushes_on"}


@pytest.mark.parametrize("gain", [1.0, 0.5])
def test_identical_and_gain_only(reference: Features, gain: float) -> None:
    candidate = stereo_music.scaled(gain)
    for same_take in (True, False):
        match = same_clock(reference, same_take=same_take)
        difference = analyzer.compare(reference, candidate, match)
        assert difference.ratio == 1.0
        assert difference.spread_percent == 0.0
        assert analyzer.findings(difference) == []


def test_tone_is_not_tempo(reference: Features) -> None:
    candidate = features_of(filtered(music(), ("high_shelf", 3000.0, 6.0, 0.7)))
    difference = analyzer.compare(reference, candidate, same_clock(reference, same_take=False))
    assert analyzer.findings(difference) == []


def test_playback_speed_is_left_to_the_tuning() -> None:
    # 44.1 kHz played at 48 kHz: 1200 lb(48 / 44.1) = 146.7 cents.
    time_map = TimeMap.linear(0.0, 44.1 / 48, 0.0, 60.0, half_width_ms=20.0)
    difference = compared(time_map, transposition_semitones=1, tuning_cents=46.7)
    assert difference.playback_speed
    assert analyzer.findings(difference) == []
    stretched = compared(time_map, same_take=True)
    (finding,) = analyzer.findings(stretched)
    assert finding.kind == "faster"
    assert finding.cause.likeliest == "mix"


def test_who_is_freer() -> None:
    # One plays four strokes a second evenly; the other's tempo swings by 8 % either way.
    even = 0.5 + np.arange(160) * 0.25
    swing = np.cumsum(0.25 * np.exp(0.08 * np.sin(2 * np.pi * np.arange(160) * 0.25 / 16)))
    free = 0.5 + np.concatenate([[0.0], swing[:-1]])
    steady_one = features_of(strokes(even), RATE_HZ)
    free_one = features_of(strokes(free), RATE_HZ)
    time_map = TimeMap(even, free, np.full(160, 20.0))
    there = analyzer.compare(steady_one, free_one, Match(time_map))
    assert there.own_spread_percent is not None
    assert there.own_spread_percent[0] == pytest.approx(0, abs=1)
    # The swing over windows of 8 s: a standard deviation of 8 / sqrt(2) %, smoothed a little.
    assert there.own_spread_percent[1] == pytest.approx(8 / np.sqrt(2), rel=0.25)
    low, high = there.own_spread_difference_percent_interval or (0.0, 0.0)
    assert 0 < low < there.own_spread_difference_percent < high
    assert "tempo_freer" in {entry.kind for entry in analyzer.findings(there)}
    back = analyzer.compare(free_one, steady_one, Match(time_map.inverse()))
    low, high = back.own_spread_difference_percent_interval or (0.0, 0.0)
    assert low < back.own_spread_difference_percent < high < 0
    assert "tempo_steadier" in {entry.kind for entry in analyzer.findings(back)}


def test_straight_maps_only_are_playback_speed() -> None:
    straight = TimeMap.linear(1.0, 1.0096, 0.0, 60.0)
    assert beatrate.is_playback_speed(Match(straight, tuning_cents=-16.5))
    assert not beatrate.is_playback_speed(Match(straight, tuning_cents=0.0))
    times = np.linspace(0, 60, 200)
    wandering = TimeMap(times, 1.0096 * times + 0.15 * np.sin(times / 3))
    assert not beatrate.is_playback_speed(Match(wandering, tuning_cents=-16.5))


def test_the_interval_of_the_ratio_holds_the_truth() -> None:
    # 400 maps whose nodes err by a normal 25 ms at 90 % (1.645 deviations). It says 95 %.
    times = np.arange(0.0, 30.01, 0.5)
    held = 0
    for seed in range(400):
        errors = 0.025 / 1.645 * np.random.default_rng(seed).standard_normal(len(times))
        found = compared(
            TimeMap(times, 1.05 * times + errors, np.full(len(times), 25.0)), same_take=True
        )
        low, high = found.percent_interval
        assert low < found.percent < high
        held += low <= 5.0 <= high
    assert 0.92 * 400 <= held <= 0.99 * 400


def test_ends_that_are_unsure_do_not_count() -> None:
    # Before the first attack and in the last decay the map only goes on, here quite wrongly.
    reference_s = np.array([0.0, 5.0, 10.0, 20.0, 30.0, 40.0, 45.0])
    candidate_s = np.array([0.0, 9.0, 14.5, 25.5, 36.5, 47.5, 60.0])
    half_width_ms = np.array([90.0, 20.0, 20.0, 20.0, 20.0, 20.0, 90.0])
    found = compared(TimeMap(reference_s, candidate_s, half_width_ms))
    assert found.ratio == pytest.approx(1.1)
    deviation = 0.02 * np.sqrt(2) / 1.645 / 35
    assert found.ratio_interval[1] - 1.1 == pytest.approx(1.96 * deviation, rel=1e-3)


@pytest.mark.parametrize("sign", [1, -1])
def test_curve_and_spread_of_a_known_wander(sign: int) -> None:
    # Sixteen seconds 5 % slower than the mean, sixteen as much faster, and so on.
    times = np.arange(0.0, 128.01, 0.1)
    away = 0.05 * np.where((times % 32) < 16, sign, -sign)
    candidate = np.concatenate([[0.0], np.cumsum(0.1 * (1 + away[:-1]))])
    found = compared(TimeMap(times, candidate, np.full(len(times), 10.0)))
    assert found.percent == pytest.approx(0.0, abs=1e-6)
    curve = dict(zip(np.round(found.curve_s, 1), found.curve_percent, strict=True))
    assert curve[8.0] == pytest.approx(5.0 * sign, abs=1e-6)
    assert curve[24.0] == pytest.approx(-5.0 * sign, abs=1e-6)
    assert curve[16.0] == pytest.approx(0.0, abs=0.3)
    # Two ends of 10 ms at 90 % over 2 s.
    half = 100 * 1.96 * np.sqrt(2) * 0.010 / 1.645 / 2
    assert found.curve_half_width_percent[50] == pytest.approx(half, rel=1e-6)
    # 1.4826 times the median distance of 5 %, less the map's own error over 4 s.
    error = 100 * np.sqrt(2) * 0.010 / 1.645 / 4
    # Windows across the turns hold a little of both.
    expected = np.sqrt((1.4826 * 5.0) ** 2 - error**2)
    assert found.spread_percent == pytest.approx(expected, rel=0.04)


def test_spread_that_the_map_cannot_tell_is_none() -> None:
    times = np.arange(0.0, 60.01, 0.1)
    errors = 0.02 / 1.645 * np.random.default_rng(0).standard_normal(61)
    wander = np.interp(times, np.arange(61.0), errors)
    candidate = np.maximum.accumulate(times + wander + 1e-6 * np.arange(len(times)))
    wide = compared(TimeMap(times, candidate, np.full(len(times), 40.0)))
    sure = compared(TimeMap(times, candidate, np.full(len(times), 1.0)))
    assert wide.spread_percent == 0.0
    assert sure.spread_percent is not None
    assert 0.2 < sure.spread_percent < 0.8
    short = compared(TimeMap.linear(0.0, 1.0, 0.0, 7.0))
    assert short.spread_percent is None


@pytest.mark.parametrize("percent", [15.0, -15.0])
def test_what_is_said_of_one_moment(percent: float) -> None:
    moved = slower_from_12_to_15(percent, 20).moved(0.0, 3.0)
    (finding,) = analyzer.findings(compared(moved))
    slower = percent > 0
    assert finding.kind == ("holds_back" if slower else "pushes_on")
    (start, end) = finding.spans_s[0]
    # Seen through windows of 2 s, against a mean that is higher by 15 % of 3 s in 40 s.
    times = np.linspace(start, end, 100)
    inside = np.clip(np.minimum(times + 1, 15) - np.maximum(times - 1, 12), 0, 2) / 2
    longer = np.mean((1 + percent / 100 * inside) / (1 + percent / 100 * 3 / 40))
    assert finding.difference == pytest.approx(100 * (1 / longer - 1), abs=0.5)
    low, high = finding.interval
    assert low < finding.difference < high
    assert (start, end) == pytest.approx((12, 15), abs=0.8)
    assert ("slower" if slower else "faster") in finding.text
    assert ("holds back" if slower else "pushes on") in finding.text
    assert finding.advice[0].startswith("Keep moving" if slower else "Take more time")
    assert finding.cause.likeliest == "players"
    assert finding.jnd == pytest.approx(abs(finding.difference) / 6, rel=0.05)


@pytest.mark.parametrize("ratio", [1.08, 0.92])
def test_what_is_said_of_the_tempo(ratio: float) -> None:
    time_map = TimeMap.linear(1.0, ratio, 0.0, 60.0, half_width_ms=20.0)
    (finding,) = analyzer.findings(compared(time_map))
    tempo = 100 * (1 / ratio - 1)
    word, other = ("slower", "faster") if ratio > 1 else ("faster", "slower")
    assert finding.text.startswith(f"The candidate is {abs(tempo):.1f} % {word} than the reference")
    assert finding.amount == f"{tempo:+.1f} %"
    assert finding.advice == (
        f"Take the beat {other} by as much, if the tempo of the reference is wanted.",
    )
    assert finding.interval[0] < finding.difference < finding.interval[1]
    assert finding.spans_s == ((0.0, 60.0),)
    (stretched,) = analyzer.findings(compared(time_map, same_take=True))
    assert "stretched in time" in stretched.advice[0]


def test_what_is_said_of_freedom() -> None:
    # The candidate wanders by 6 %, the reference by 2, so by four more.
    found = compared(TimeMap.linear(0.0, 1.0, 0.0, 60.0))
    for own, kind, advice in (
        ((2.0, 6.0), "tempo_freer", "Less give and take"),
        ((6.0, 2.0), "tempo_steadier", "More give and take"),
    ):
        value = own[1] - own[0]
        told = replace(
            found,
            own_spread_percent=own,
            own_spread_difference_percent=value,
            own_spread_difference_percent_interval=(value - 0.5, value + 0.5),
        )
        (finding,) = analyzer.findings(told, same_take=False)
        assert finding.kind == kind
        assert finding.difference == pytest.approx(value)
        assert finding.jnd == pytest.approx(4 / 3, rel=0.02)
        assert finding.advice[0].startswith(advice)
        words = finding.text.replace(".", "").split()
        assert words.index(f"{own[1]:.0f}") < words.index(f"{own[0]:.0f}")


def test_the_soft_count_of_events_is_told(
    reference: Features, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(beatrate, "events_per_minute", lambda power: (90.0, 110.0))
    measured = analyzer.measure(reference)
    assert measured.events_per_minute == 110.0
    assert measured.events_per_minute_interval == (90.0, 110.0)
