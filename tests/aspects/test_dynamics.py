"""Dynamics: what they measure, what they recover, what they must not react to."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from scipy import signal

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import dynamics
from mixcompare.aspects.dynamics.values import DynamicsDifference
from mixcompare.features import Features
from mixcompare.findings import is_listed
from mixcompare.pair.match import Match
from tests import recorded
from tests.operations import HALL, STRINGS
from tests.pairs import Remembering

analyzer = Remembering(dynamics.analyzer)

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 16_000


def features_of(samples: npt.ArrayLike, rate_hz: int = RATE_HZ) -> Features:
    return recorded.features_of(samples, rate_hz)


@pytest.fixture(scope="module")
def reference(phrases: FloatArray) -> Features:
    return features_of(phrases)


def match_of(seconds: float = 26.0, same_take: bool = True, gain_db: float = 0.0) -> Match:
    return Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take, gain_db)


def compressed(samples: FloatArray, ratio: float, threshold_db: float | None = None) -> FloatArray:
    """Static compression of the level in 50 ms: above a threshold, or around -30 dB as a whole."""
    smooth = np.hanning(round(0.05 * RATE_HZ))
    power = np.square(samples).mean(axis=1)
    power = signal.fftconvolve(power, smooth / smooth.sum(), mode="same")
    level_db = 10 * np.log10(np.maximum(power, 1e-7))
    over_db = level_db + 30 if threshold_db is None else np.maximum(level_db - threshold_db, 0)
    return samples * 10 ** (over_db * (1 / ratio - 1) / 20)[:, np.newaxis]


def kinds(difference: DynamicsDifference) -> list[str]:
    return [finding.kind for finding in analyzer.findings(difference) if is_listed(finding)]


def test_crest_of_simple_waves() -> None:
    # By definition: sine 3.01 dB, triangle 4.77 dB (peak over root mean square: sqrt 2, sqrt 3).
    phase = 2 * np.pi * 200 * np.arange(4 * RATE_HZ) / RATE_HZ
    triangle = signal.sawtooth(phase + np.pi / 2, 0.5)  # begins at zero
    for wave, crest_db in ((np.sin(phase), 3.01), (triangle, 4.77)):
        measured = analyzer.measure(features_of(0.3 * wave))
        assert measured.crest_db == pytest.approx(crest_db, abs=0.1)


def test_crest_looks_at_the_stronger_channel(sine: FloatArray) -> None:
    measured = analyzer.measure(features_of(sine * [1.0, 0.1], 48_000))
    assert measured.crest_db == pytest.approx(3.01, abs=0.1)


def test_peak_to_short_term_of_a_sine() -> None:
    # 997 Hz in both channels reads as many LUFS as its peak has dBFS (BS.1770-5, Annex 1).
    wave = 0.1 * np.sin(2 * np.pi * 997 * np.arange(5 * 48_000) / 48_000)
    measured = analyzer.measure(features_of(np.column_stack([wave, wave]), 48_000))
    assert measured.peak_to_short_term_db == pytest.approx(0.0, abs=0.1)


def test_loudness_range_is_that_of_tech_3342() -> None:
    # EBU Tech 3342 v4, case 1 (levels from memory): -20 then -30 dBFS, 20 s each: 10 +- 1 LU.
    envelope = np.repeat([0.1, 0.1 * 10**-0.5], 20 * RATE_HZ)
    wave = envelope * np.sin(2 * np.pi * 1000 * np.arange(40 * RATE_HZ) / RATE_HZ)
    measured = analyzer.measure(features_of(np.column_stack([wave, wave])))
    assert measured.loudness_range_lu == pytest.approx(10.0, abs=1.0)
    assert measured.loudest_lufs == pytest.approx(-20.0, abs=0.2)
    assert measured.softest_lufs == pytest.approx(-30.0, abs=0.2)
    assert measured.loudest_s is not None
    assert measured.softest_s is not None
    assert measured.loudest_s[1] <= 20.5 <= measured.softest_s[0] + 1.0


def test_contour_and_rests(phrases: FloatArray) -> None:
    with_rest = phrases.copy()
    with_rest[15 * RATE_HZ : 20 * RATE_HZ] = 0.0
    measured = analyzer.measure(features_of(with_rest))
    contour = dict(zip(measured.contour_s, measured.contour_db, strict=True))
    assert contour[17.0] is None
    assert contour[3.0] is not None
    assert measured.softest_s is not None
    assert measured.softest_s[1] <= 16.6 or measured.softest_s[0] >= 18.4


@pytest.mark.parametrize(
    ("ratio", "kind"),
    [(2.0, "dynamics_smaller"), (1.4, "dynamics_smaller"), (0.7, "dynamics_larger")],
)
def test_compression_of_the_whole_range_is_recovered(
    ratio: float, kind: str, reference: Features, phrases: FloatArray
) -> None:
    candidate = features_of(compressed(phrases, ratio))
    difference = analyzer.compare(reference, candidate, match_of())
    assert difference.swing_db_per_db == pytest.approx(1 / ratio, rel=0.06)
    low, high = difference.swing_db_per_db_interval or (0.0, 0.0)
    assert low <= difference.swing_db_per_db <= high
    assert high / low < 1.3
    # Levels a second wide that follow a sine of +-12.5 dB: 24 dB from the 5th to the 95th
    # percentile; the mean of that and of what compression leaves.
    assert difference.level_range_db == pytest.approx(24 * (1 + 1 / ratio) / 2, abs=1.5)
    assert kinds(difference) == [kind]
    finding = analyzer.findings(difference)[0]
    assert 0.9 < finding.cause.mix < 1.0
    assert finding.difference == pytest.approx(1 / ratio - 1, abs=0.06)
    assert finding.spans_s[0] == pytest.approx((0.0, 25.8), abs=0.3)
    assert f"about {max(ratio, 1 / ratio):.1f}:1" in finding.advice[0]


def test_compression_above_a_threshold_is_recovered(
    reference: Features, phrases: FloatArray
) -> None:
    candidate = features_of(compressed(phrases, 4.0, threshold_db=-30.0))
    difference = analyzer.compare(reference, candidate, match_of())
    assert difference.above_knee_db_per_db == pytest.approx(0.25, abs=0.1)
    low, high = difference.above_knee_db_per_db_interval or (0.0, 0.0)
    assert low <= 0.25 <= high
    assert difference.knee_lufs == pytest.approx(-30.0, abs=4.0)
    assert kinds(difference) == ["dynamics_smaller"]
    text = analyzer.findings(difference)[0].text
    assert "LUFS" in text


def test_the_sentence(reference: Features, phrases: FloatArray) -> None:
    candidate = features_of(compressed(phrases, 2.0))
    finding = analyzer.findings(analyzer.compare(reference, candidate, match_of()))[0]
    assert finding.text.startswith(
        "Swings between soft and loud are smaller: where the reference rises by 10 dB,"
        " the candidate rises by about 5."
    )
    assert finding.unit == "dB/dB"
    assert not any("Ask for" in advice for advice in finding.advice)


def test_no_finding_where_nothing_differs(reference: Features) -> None:
    difference = analyzer.compare(reference, reference, match_of())
    assert difference.swing_db_per_db == pytest.approx(1.0)
    assert difference.swing_db_per_db_interval == pytest.approx((1.0, 1.0))
    assert difference.crest_db == 0
    assert difference.loudness_range_lu == 0
    assert difference.knee_lufs is None
    assert set(difference.contour_db) <= {0.0, None}
    assert analyzer.findings(difference) == []


def test_gain_and_polarity_do_not_count(reference: Features, phrases: FloatArray) -> None:
    candidate = features_of(-0.25 * phrases[:, ::-1])
    difference = analyzer.compare(reference, candidate, match_of(gain_db=20 * np.log10(0.25)))
    assert difference.swing_db_per_db == pytest.approx(1.0, abs=1e-3)
    told = [value for value in difference.contour_db if value is not None]
    assert np.abs(told).max() < 0.02
    assert difference.loudest_difference_db == pytest.approx(0.0, abs=0.02)
    assert analyzer.findings(difference) == []


def test_mono_against_stereo_does_not_count(phrases: FloatArray) -> None:
    mono = phrases.mean(axis=1)
    match = match_of()
    difference = analyzer.compare(
        features_of(np.column_stack([mono, mono])), features_of(mono), match
    )
    assert difference.loudest_difference_db == pytest.approx(0.0, abs=1e-6)
    assert set(difference.contour_db) <= {0.0, None}


def test_tone_does_not_count(reference: Features, phrases: FloatArray) -> None:
    low = signal.butter(1, 400, fs=RATE_HZ, output="sos")
    candidate = features_of(phrases + signal.sosfilt(low, phrases, axis=0))
    difference = analyzer.compare(reference, candidate, match_of(gain_db=3.0))
    assert difference.swing_db_per_db == pytest.approx(1.0, abs=0.02)
    assert analyzer.findings(difference) == []


def test_a_wetter_room_does_not_count(reference: Features, phrases: FloatArray) -> None:
    rng = np.random.default_rng(5)
    time_s = np.arange(round(2.0 * RATE_HZ)) / RATE_HZ
    tail = rng.standard_normal((len(time_s), 2)) * 10 ** (-3 * time_s / 2.0)[:, np.newaxis]
    tail /= np.sqrt(np.square(tail).sum(axis=0))
    wet = signal.fftconvolve(phrases, tail, axes=0)[: len(phrases)]
    candidate = features_of(phrases + wet)
    difference = analyzer.compare(reference, candidate, match_of(gain_db=3.0))
    assert difference.swing_db_per_db is not None
    assert 0.93 < difference.swing_db_per_db < 1.03
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("seed", [1, 2])
def test_another_performance_is_no_finding(
    seed: int, reference: Features, play: Callable[..., FloatArray]
) -> None:
    candidate = features_of(play(seed))
    difference = analyzer.compare(reference, candidate, match_of(same_take=False))
    assert analyzer.findings(difference) == []
    low, high = difference.swing_db_per_db_interval or (0.0, 0.0)
    assert low <= 1.0 <= high


def test_another_performance_held_in_is_a_finding(
    reference: Features, play: Callable[..., FloatArray]
) -> None:
    candidate = features_of(compressed(play(1), 2.0))
    difference = analyzer.compare(reference, candidate, match_of(same_take=False))
    assert kinds(difference) == ["dynamics_smaller"]
    finding = analyzer.findings(difference)[0]
    assert finding.cause.players > finding.cause.mix > 0
    assert any("Ask for" in advice for advice in finding.advice)


def test_tempo_does_not_count(reference: Features, phrases: FloatArray) -> None:
    slower = signal.resample(phrases, round(1.08 * len(phrases)))
    time_map = TimeMap.linear(0.0, 1.08, 0.0, 25.9)
    difference = analyzer.compare(reference, features_of(slower), Match(time_map))
    assert difference.swing_db_per_db == pytest.approx(1.0, abs=0.03)
    assert analyzer.findings(difference) == []


def test_mirror(reference: Features, phrases: FloatArray) -> None:
    candidate = features_of(compressed(phrases, 2.0, threshold_db=-32.0))
    match = match_of(gain_db=-3.0)
    there = analyzer.compare(reference, candidate, match)
    back = analyzer.compare(candidate, reference, match.mirrored())
    assert there.swing_db_per_db == pytest.approx(1 / back.swing_db_per_db, rel=1e-6)
    low, high = there.swing_db_per_db_interval
    assert back.swing_db_per_db_interval == pytest.approx((1 / high, 1 / low), rel=0.05)
    assert there.crest_db == pytest.approx(-back.crest_db)
    told = [value for value in there.contour_db if value is not None]
    mirrored = [value for value in back.contour_db if value is not None]
    assert np.allclose(told, -np.array(mirrored), atol=0.011)
    first, second = analyzer.findings(there)[0], analyzer.findings(back)[0]
    assert (first.kind, second.kind) == ("dynamics_smaller", "dynamics_larger")
    assert first.jnd == pytest.approx(second.jnd, rel=0.1)


def test_a_short_passage_cannot_be_told(reference: Features) -> None:
    difference = analyzer.compare(reference, reference, match_of(12.0))
    assert difference.swing_db_per_db is None
    assert difference.swing_db_per_db_interval is None
    assert "at least 15 s" in difference.reasons[0]
    assert analyzer.findings(difference) == []


def test_an_even_level_cannot_be_told(play: Callable[..., FloatArray]) -> None:
    music = play(0, range_db=3.0)
    difference = analyzer.compare(
        features_of(music), features_of(compressed(music, 2.0)), match_of()
    )
    assert difference.swing_db_per_db is None
    assert difference.level_range_db is not None
    assert "at least 6 dB" in difference.reasons[0]
    assert analyzer.findings(difference) == []


def test_unrelated_levels_cannot_be_told(reference: Features, phrases: FloatArray) -> None:
    # The same music with another swell laid over it: no slope is better than a wrong one.
    swell_db = 12 * np.sin(2 * np.pi * np.arange(len(phrases)) / RATE_HZ / 5.3)
    candidate = features_of(phrases * 10 ** (swell_db / 20)[:, np.newaxis])
    difference = analyzer.compare(reference, candidate, match_of(same_take=False))
    assert analyzer.findings(difference) == []


def test_a_fader_ride_shows_in_the_contour(reference: Features, phrases: FloatArray) -> None:
    gain_db = np.zeros(len(phrases))
    gain_db[10 * RATE_HZ : 16 * RATE_HZ] = 4.0
    candidate = features_of(phrases * 10 ** (gain_db / 20)[:, np.newaxis])
    difference = analyzer.compare(reference, candidate, match_of())
    contour = dict(zip(difference.contour_s, difference.contour_db, strict=True))
    assert contour[13.0] == pytest.approx(4.0, abs=0.05)
    assert contour[5.0] == pytest.approx(0.0, abs=0.05)
    (finding,) = analyzer.findings(difference)
    assert (finding.kind, finding.difference) == ("whole_louder", pytest.approx(4.0, abs=0.1))
    assert finding.spans_s == ((pytest.approx(10.0, abs=0.5), pytest.approx(16.0, abs=0.5)),)
    assert finding.text.startswith("The whole is 4.0 dB louder at 0:10-0:16")


@pytest.mark.parametrize("sign", [1, -1])
def test_crest_and_peaks_differ_by_known_sizes(sign: int) -> None:
    # A sine has a crest of 3.01 dB, a triangle one of 4.77; a click five times as high as the
    # sine, at one of its zeros, lifts the peak by 13.98 dB and nothing else.
    phase = 2 * np.pi * 200 * np.arange(20 * RATE_HZ) / RATE_HZ
    sine = 0.1 * np.sin(phase)
    triangle = 0.1 * signal.sawtooth(phase + np.pi / 2, 0.5)
    clicked = sine.copy()
    clicked[10 * RATE_HZ] = 0.5
    for other, crest_db, peak_db in ((triangle, 1.76, None), (clicked, 13.98, 13.98)):
        pair = (features_of(sine), features_of(other))[::sign]
        difference = analyzer.compare(*pair, match_of(19.9))
        assert difference.crest_db == pytest.approx(sign * crest_db, abs=0.1)
        if peak_db is not None:
            assert difference.peak_to_short_term_db == pytest.approx(sign * peak_db, abs=0.1)


@pytest.mark.parametrize("sign", [1, -1])
def test_loudest_and_softest_places_and_their_differences(sign: int) -> None:
    # Steps of five seconds; the candidate has 4 dB more in the loudest and 3 less in the softest.
    level_db = np.repeat([-30.0, -36.0, -22.0, -30.0, -27.0], 5 * RATE_HZ)
    change_db = np.repeat([0.0, -3.0, 4.0, 0.0, 0.0], 5 * RATE_HZ)
    noise = 0.5 * np.random.default_rng(7).standard_normal((len(level_db), 2))
    pair = [
        features_of(noise * 10 ** (level / 20)[:, np.newaxis])
        for level in (level_db, level_db + change_db)
    ][::sign]
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 25.0), gain_db=0.0)
    difference = analyzer.compare(*pair, match)
    assert difference.loudest_s is not None
    assert difference.softest_s is not None
    assert 10.0 <= difference.loudest_s[0] < difference.loudest_s[1] <= 15.1
    assert 5.0 <= difference.softest_s[0] < difference.softest_s[1] <= 10.1
    assert difference.loudest_s[1] - difference.loudest_s[0] == pytest.approx(3.0)
    assert difference.loudest_difference_db == pytest.approx(4.0 * sign, abs=0.1)
    assert difference.softest_difference_db == pytest.approx(-3.0 * sign, abs=0.1)
    contour = dict(zip(difference.contour_s, difference.contour_db, strict=True))
    assert contour[12.4] == pytest.approx(4.0 * sign, abs=0.1)
    assert contour[7.4] == pytest.approx(-3.0 * sign, abs=0.1)
    # The gain of the match is taken out of all of them.
    difference = analyzer.compare(*pair, match_of(25.0, gain_db=1.5))
    assert difference.loudest_difference_db == pytest.approx(4.0 * sign - 1.5, abs=0.1)
    contour = dict(zip(difference.contour_s, difference.contour_db, strict=True))
    assert contour[2.4] == pytest.approx(-1.5, abs=0.1)


def test_one_recording_alone_tells_its_own_levels() -> None:
    level_db = np.repeat([-30.0, -40.0, -20.0], 6 * RATE_HZ)
    wave = 10 ** (level_db / 20) * np.sin(2 * np.pi * 1000 * np.arange(len(level_db)) / RATE_HZ)
    measured = analyzer.measure(features_of(np.column_stack([wave, wave])))
    assert measured.loudest_lufs == pytest.approx(-20.0, abs=0.05)
    assert measured.softest_lufs == pytest.approx(-40.0, abs=0.1)
    assert measured.peak_to_short_term_db == pytest.approx(0.0, abs=0.1)
    assert measured.loudest_s is not None
    assert measured.loudest_s[0] >= 12.0
    contour = dict(zip(measured.contour_s, measured.contour_db, strict=True))
    assert [contour[at] for at in (3.0, 9.0, 15.0)] == pytest.approx([-30, -40, -20], abs=0.05)


@pytest.mark.parametrize("sign", [1, -1])
def test_a_threshold_is_told_on_both_clocks_with_what_to_do(
    sign: int, reference: Features, phrases: FloatArray
) -> None:
    # 4:1 above a threshold; the other recording begins 2 s later on its own clock.
    held = features_of(np.concatenate([1e-4 * phrases[: 2 * RATE_HZ], threshold(phrases)]))
    there = Match(TimeMap.linear(2.0, 1.0, 0.0, 26.0), same_take=True)
    if sign > 0:
        difference = analyzer.compare(reference, held, there)
    else:
        difference = analyzer.compare(held, reference, there.mirrored())
    assert difference.knee_lufs is not None
    slope = difference.above_knee_db_per_db
    assert slope == pytest.approx(0.25**sign, rel=0.4)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == ("dynamics_smaller" if sign > 0 else "dynamics_larger")
    assert np.sign(finding.difference) == -sign
    assert finding.interval[0] <= finding.difference <= finding.interval[1]
    assert ("ease it" if sign > 0 else "Compress the bus") in finding.advice[0]
    assert 0.9 < finding.cause.mix < 1.0


def threshold(phrases: FloatArray) -> FloatArray:
    return compressed(phrases, 4.0, threshold_db=-30.0)


def told(
    slope: tuple[float, float, float],
    above: tuple[float, float, float] | None = None,
    same_take: bool = True,
) -> DynamicsDifference:
    """A difference that says just this: slopes as (value, low, high)."""
    difference = DynamicsDifference(
        crest_db=0.0, peak_to_short_term_db=0.0,
        loudness_range_lu=0.0, loudness_range_lu_interval=(0.0, 0.0),
        swing_db_per_db=slope[0], swing_db_per_db_interval=slope[1:],
        level_range_db=15.0, knee_lufs=-25.0 if above else None,
        above_knee_db_per_db=above[0] if above else None,
        above_knee_db_per_db_interval=above[1:] if above else None,
        loudest_s=None, loudest_difference_db=None, softest_s=None, softest_difference_db=None,
        contour_s=(), contour_db=(),
        spans_s=((0.0, 30.0),), loud_spans_s=((5.0, 8.0),),
    )  # fmt: skip
    return analyzer.stated(difference, same_take)


def test_what_the_finding_says_of_smaller_and_larger_swings() -> None:
    (smaller,) = analyzer.findings(told((0.5, 0.45, 0.55)))
    assert smaller.text == (
        "Swings between soft and loud are smaller: where the reference rises by 10 dB, the"
        " candidate rises by about 5.0 dB (4.5 to 5.5)."
    )
    # Half of 20 dB are lacking (the mean of both ranges is 15): 5 dB at either end.
    assert smaller.advice == (
        "If the bus is compressed, ease it: about 2.0:1 would explain this.",
        "Or ride the faders: about 5 dB up in the loudest bars and down in the softest.",
    )
    # Size by the ratio: ln 2 in steps of 0.1.
    assert smaller.jnd == pytest.approx(np.log(2) / 0.1, rel=0.01)
    assert smaller.spans_s == ((0.0, 30.0),)
    assert smaller.interval == pytest.approx((-0.55, -0.45))
    (larger,) = analyzer.findings(told((2.0, 1.8, 2.2)))
    assert larger.kind == "dynamics_larger"
    assert larger.difference == pytest.approx(1.0)
    assert "larger" in larger.text
    assert "about 20.0 dB (18.0 to 22.0)" in larger.text
    # The reference's range of 10 dB has become 20.
    assert larger.advice[0].startswith("Compress the bus by about 2.0:1")
    assert "about 5 dB down in the loudest bars and up in the softest" in larger.advice[1]
    assert larger.jnd == pytest.approx(smaller.jnd, rel=0.02)


def test_what_the_finding_says_of_loud_passages() -> None:
    (held,) = analyzer.findings(told((0.97, 0.9, 1.05), (0.4, 0.3, 0.5)))
    assert held.text.startswith("Loud passages are held back: above about -25 LUFS, where the")
    assert "about 4.0 dB (3.0 to 5.0)" in held.text
    assert held.advice == (
        "If the bus is compressed, ease it: about 2.5:1 above about -25 LUFS would explain this.",
    )
    assert held.spans_s == ((5.0, 8.0),)
    assert held.subject == "loud passages"
    (tower,) = analyzer.findings(told((1.0, 0.95, 1.05), (2.5, 2.0, 2.9)))
    assert tower.kind == "dynamics_larger"
    assert tower.text.startswith("Loud passages tower more")
    # Steeper than 3 is another thing that enters there; the nearer end must be a tenth away.
    assert analyzer.findings(told((1.0, 0.95, 1.05), (3.2, 3.0, 3.4))) == []
    assert analyzer.findings(told((0.85, 0.8, 0.92))) == []
    assert len(analyzer.findings(told((0.85, 0.8, 0.90)))) == 1
    assert analyzer.findings(told((1.15, 1.09, 1.2))) == []
    assert len(analyzer.findings(told((1.15, 1.11, 1.2)))) == 1
    # Over the whole range, mostly above the knee.
    (both,) = analyzer.findings(told((0.7, 0.6, 0.8), (0.3, 0.2, 0.4)))
    assert both.text.endswith("mainly above about -25 LUFS, where it is about 3.0 dB (2.0 to 4.0).")


def test_who_may_be_the_cause_of_dynamics() -> None:
    players = analyzer.findings(told((0.5, 0.45, 0.55), same_take=False))[0]
    assert players.cause.likeliest == "players"
    # Where others played, the podium is asked first, and no orchestra is pressed into shape.
    assert players.advice[0].startswith("Ask for more contrast")
    larger = analyzer.findings(told((2.0, 1.8, 2.2), same_take=False))[0]
    assert larger.advice[0].startswith("Ask for less contrast")
    assert not any("Compress" in sentence for sentence in larger.advice)
    knee = analyzer.findings(told((1.0, 0.9, 1.1), (0.4, 0.3, 0.5), same_take=False))[0]
    assert knee.cause.likeliest == "mix"


@pytest.fixture(scope="module")
def strings() -> tuple[FloatArray, int]:
    return soundfile.read(STRINGS, start=18 * 44_100, always_2d=True)


def test_a_real_take_compressed_to_half_its_swing(strings: tuple[FloatArray, int]) -> None:
    samples, rate_hz = strings
    level_db = 10 * np.log10(np.maximum(_level(samples, rate_hz), 1e-7))
    halved = samples * 10 ** (-(level_db + 20) / 40)[:, np.newaxis]
    take, half = features_of(samples, rate_hz), features_of(halved, rate_hz)
    match = match_of(len(samples) / rate_hz - 0.1)
    difference = analyzer.compare(take, half, match)
    # Half a just-noticeable difference on one side, its double's on the other.
    assert difference.swing_db_per_db == pytest.approx(0.5, abs=0.05)
    assert kinds(difference) == ["dynamics_smaller"]
    difference = analyzer.compare(half, take, match)
    assert difference.swing_db_per_db == pytest.approx(2.0, abs=0.2)
    assert kinds(difference) == ["dynamics_larger"]


def test_a_hard_hall_is_no_compression(real_audio: Path, strings: tuple[FloatArray, int]) -> None:
    # 6 dB louder than the take itself.
    samples, rate_hz = strings
    room, _ = soundfile.read(real_audio / HALL, always_2d=True)
    room /= np.sqrt(np.square(room).sum(axis=0))
    wet = signal.fftconvolve(samples, room, axes=0)[: len(samples)]
    take, wetter = (features_of(each, rate_hz) for each in (samples, samples + 2 * wet))
    difference = analyzer.compare(take, wetter, match_of(len(samples) / rate_hz - 0.1))
    assert analyzer.findings(difference) == []


def _level(samples: FloatArray, rate_hz: int) -> FloatArray:
    smooth = np.hanning(round(0.2 * rate_hz))
    power = np.square(samples).mean(axis=1)
    return signal.fftconvolve(power, smooth / smooth.sum(), mode="same")
