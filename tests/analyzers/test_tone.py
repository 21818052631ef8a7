"""Tone: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import soundfile
from scipy import signal

from mixcompare.analyzers.tone import ToneDifference, analyzer
from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ
from mixcompare.features import Features
from mixcompare.gain import match_level
from mixcompare.match import Match
from mixcompare.timemap import TimeMap
from tests import synthetic
from tests.analyzers import stereo_music
from tests.analyzers.stereo_music import features_of, filtered, music, same_clock
from tests.operations import STRINGS

EQUALISER = (
    ("low_shelf", 120.0, 4.0, 0.71),
    ("bell", 400.0, 5.0, 1.0),
    ("high_shelf", 8000.0, -3.0, 0.71),
)


@pytest.fixture(scope="module")
def reference() -> Features:
    return stereo_music.features()


@pytest.fixture(scope="module")
def equalised() -> Features:
    return features_of(filtered(music(), *EQUALISER))


def levels(difference: ToneDifference) -> np.ndarray:
    return np.array([np.nan if value is None else value for value in difference.band_level_db])


@pytest.mark.parametrize(("exponent", "tilt"), [(0.0, 3.01), (0.5, 0.0)])
def test_white_and_pink_noise(exponent: float, tilt: float) -> None:
    # Third-octave bands grow in width with frequency (IEC 61260-1:2014, 5.4): white noise rises
    # by 3.01 dB an octave, pink noise (power proportional to 1/f) is flat.
    white = np.random.default_rng(1).standard_normal(10 * 44_100)
    spectrum = np.fft.rfft(white)
    spectrum[1:] *= np.arange(1.0, len(spectrum)) ** -exponent
    noise = np.fft.irfft(spectrum)
    measured = analyzer.measure(features_of(0.1 * noise / noise.std(), 44_100))
    assert measured.tilt_db_per_octave == pytest.approx(tilt, abs=0.06)


@pytest.mark.parametrize("gain", [1.0, 0.5, 1.7])
def test_identical_and_gain_only(reference: Features, gain: float) -> None:
    candidate = stereo_music.scaled(gain)
    match = same_clock(reference, 20 * float(np.log10(gain)))
    difference = analyzer.compare(reference, candidate, match)
    assert np.nanmax(np.abs(levels(difference))) < 0.01
    assert difference.tilt_db_per_octave == pytest.approx(0, abs=0.005)
    assert difference.shaping_kind == ()
    assert analyzer.findings(difference) == []


def test_known_filters_come_back(reference: Features, equalised: Features) -> None:
    difference = analyzer.compare(reference, equalised, same_clock(reference))
    assert difference.shaping_kind == tuple(kind for kind, *_ in EQUALISER)
    for index, (_, frequency_hz, gain_db, q) in enumerate(EQUALISER):
        assert difference.shaping_frequency_hz[index] == pytest.approx(frequency_hz, rel=0.1)
        assert difference.shaping_gain_db[index] == pytest.approx(gain_db, abs=0.5)
        assert difference.shaping_q[index] == pytest.approx(q, rel=0.3)
    assert difference.residual_db is not None
    assert difference.residual_db < 0.3


@pytest.mark.parametrize(("which", "kinds"), [(0, ("low_shelf", "bell")), (1, ("bell",))])
def test_a_known_filter_on_another_performance(which: int, kinds: tuple[str, ...]) -> None:
    """One filter at a time comes back within 1.5 dB in most of four pairs of performances."""
    scatter = {"scatter_s": 0.008, "scatter_db": 0.8}
    kind, frequency_hz, gain_db, q = EQUALISER[which]
    chosen = (kind, frequency_hz, gain_db, q)
    right = 0
    for seed in (601, 602, 605, 606):
        first = features_of(synthetic.play(seed, performance=1, **scatter), synthetic.RATE_HZ)
        played = synthetic.play(seed, performance=2, **scatter)
        other = filtered(played, chosen, rate_hz=synthetic.RATE_HZ)
        second = features_of(other, synthetic.RATE_HZ)
        match = same_clock(first, same_take=False)
        match = replace(match, gain_db=match_level(first, second, match).gain_db)
        difference = analyzer.compare(first, second, match)
        near = [
            gain
            for shape, at_hz, gain in zip(
                difference.shaping_kind,
                difference.shaping_frequency_hz,
                difference.shaping_gain_db,
                strict=True,
            )
            if shape in kinds and abs(np.log2(at_hz / frequency_hz)) < 0.7
        ]
        right += any(abs(gain - gain_db) < 1.5 for gain in near)
    assert right >= 3


def test_known_filters_come_back_from_real_music() -> None:
    samples, rate_hz = soundfile.read(STRINGS, stop=20 * 44_100)
    reference = features_of(samples, rate_hz)
    changed = filtered(samples, *EQUALISER, rate_hz=rate_hz)
    difference = analyzer.compare(reference, features_of(changed, rate_hz), same_clock(reference))
    assert difference.shaping_kind == tuple(kind for kind, *_ in EQUALISER)
    for index, (_, frequency_hz, gain_db, q) in enumerate(EQUALISER):
        assert difference.shaping_frequency_hz[index] == pytest.approx(frequency_hz, rel=0.1)
        assert difference.shaping_gain_db[index] == pytest.approx(gain_db, abs=0.5)
        assert difference.shaping_q[index] == pytest.approx(q, rel=0.3)


def test_regions_are_named(reference: Features, equalised: Features) -> None:
    findings = analyzer.findings(analyzer.compare(reference, equalised, same_clock(reference)))
    by_kind = {(finding.kind, finding.subject.split(" around")[0]) for finding in findings}
    assert ("tone_band_louder", "the low mids") in by_kind
    assert any(kind == "tone_darker" for kind, _ in by_kind)
    assert all(finding.cause.players == 0 for finding in findings)
    mids = next(finding for finding in findings if "mids" in finding.subject)
    assert mids.band_hz is not None
    assert mids.band_hz[0] < 400 < mids.band_hz[1]
    assert "cut" in mids.advice[0]


def test_mirror(reference: Features, equalised: Features) -> None:
    match = same_clock(reference)
    there = analyzer.compare(reference, equalised, match)
    back = analyzer.compare(equalised, reference, match.mirrored())
    assert np.nanmax(np.abs(levels(there) + levels(back))) < 0.05
    opposite = {
        "tone_band_louder": "tone_band_weaker", "tone_darker": "tone_brighter",
    }  # fmt: skip
    kinds = sorted(opposite[finding.kind] for finding in analyzer.findings(there))
    assert kinds == sorted(finding.kind for finding in analyzer.findings(back))


def test_a_tilt_is_one_finding(reference: Features) -> None:
    spectrum = np.fft.rfft(music(), axis=0)
    frequency_hz = np.fft.rfftfreq(len(music()), 1 / stereo_music.RATE_HZ)
    octaves = np.log2(np.clip(frequency_hz, 50, 16_000) / 1000)
    tilted = np.fft.irfft(spectrum * 10 ** (0.5 * octaves / 20)[:, None], len(music()), axis=0)
    difference = analyzer.compare(
        reference, features_of(0.5 * tilted), same_clock(reference, -6.02)
    )
    assert difference.tilt_db_per_octave == pytest.approx(0.5, abs=0.05)
    findings = analyzer.findings(difference)
    assert [finding.kind for finding in findings] == ["tone_brighter"]
    assert findings[0].unit == "dB/octave"


def test_an_element_that_pauses_is_not_tone(reference: Features) -> None:
    # A figure in the octave around 2 kHz, 8 dB louder in the candidate, sounding in 40 % of the
    # time; before and after, both are the same.
    rng = np.random.default_rng(5)
    time_s = np.arange(len(music())) / stereo_music.RATE_HZ
    octave = signal.butter(4, [1400, 2800], "band", fs=stereo_music.RATE_HZ, output="sos")
    figure = signal.sosfilt(octave, rng.standard_normal(len(music())))
    figure *= (time_s % 6 < 2.4) * np.exp(-8 * (time_s % 0.25))
    figure = 0.05 * figure[:, None] / figure.std()
    before, after = features_of(music() + figure), features_of(music() + 2.5 * figure)
    difference = analyzer.compare(before, after, same_clock(before))
    where_music_is = (THIRD_OCTAVE_CENTRES_HZ > 60) & (THIRD_OCTAVE_CENTRES_HZ < 11_000)
    assert np.nanmax(np.abs(levels(difference)[where_music_is])) < 0.5
    assert analyzer.findings(difference) == []


def test_what_an_element_explains_is_taken_off(reference: Features, equalised: Features) -> None:
    difference = analyzer.compare(reference, equalised, same_clock(reference))
    explained = np.nan_to_num(levels(difference))
    without = difference.explained_by(explained, "The bass explains all of it.")
    assert analyzer.findings(difference)
    assert analyzer.findings(without) == []
    assert without.reasons[-1] == "The bass explains all of it."


def test_other_performance_widens_the_interval(reference: Features) -> None:
    other = stereo_music.features(seed=3)
    match = same_clock(reference, same_take=False)
    difference = analyzer.compare(reference, other, match)
    widths = [pair[1] - pair[0] for pair in difference.band_level_db_interval if pair]
    assert np.median(widths) > 2
    assert analyzer.findings(difference) == []


def test_bands_that_one_file_lacks_are_none(reference: Features) -> None:
    spectrum = np.fft.rfft(music(), axis=0)
    spectrum[int(THIRD_OCTAVE_EDGES_HZ[28] * stereo_music.SECONDS) :] = 0
    cut = features_of(np.fft.irfft(spectrum, len(music()), axis=0))
    difference = analyzer.compare(reference, cut, same_clock(reference))
    above = THIRD_OCTAVE_EDGES_HZ[28] < THIRD_OCTAVE_CENTRES_HZ
    assert np.isnan(levels(difference)[above]).all()
    assert np.nanmax(np.abs(levels(difference))) < 0.3
    assert analyzer.findings(difference) == []


def test_too_short(reference: Features) -> None:
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 2.0), same_take=True)
    difference = analyzer.compare(reference, reference, match)
    assert difference.tilt_db_per_octave is None
    assert "too short" in difference.reasons[0]
    assert analyzer.findings(difference) == []
