"""Placement: what it measures, what it recovers, what it must not react to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.analyzers.placement import PlacementDifference, analyzer
from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.features import Features
from tests.analyzers import stereo_music
from tests.analyzers.stereo_music import features_of, filtered, music, same_clock, with_side

FloatArray = npt.NDArray[np.float64]

INSIDE = (THIRD_OCTAVE_CENTRES_HZ > 1900) & (THIRD_OCTAVE_CENTRES_HZ < 3300)


@pytest.fixture(scope="module")
def reference() -> Features:
    return stereo_music.features()


def source() -> FloatArray:
    """Noise from 1.8 to 3.6 kHz, as long as the music."""
    rng = np.random.default_rng(9)
    band = signal.butter(6, [1800, 3600], "band", fs=stereo_music.RATE_HZ, output="sos")
    wave = signal.sosfilt(band, rng.standard_normal(len(music())))
    return np.asarray(0.15 * wave / wave.std())


def with_source(position: float) -> FloatArray:
    """Music without that range, and the source there by the tangent law."""
    stop = signal.butter(6, [1600, 4000], "bandstop", fs=stereo_music.RATE_HZ, output="sos")
    rest = signal.sosfiltfilt(stop, music(), axis=0)
    return np.asarray(0.5 * rest + source()[:, None] * [(1 - position) / 2, (1 + position) / 2])


def positions(difference: PlacementDifference) -> FloatArray:
    return np.array([np.nan if value is None else value for value in difference.position])


@pytest.mark.parametrize(
    ("level_db", "angle_deg"), [(1, 1.9), (3, 5.6), (6, 10.9), (10, 16.7), (15, 21.9), (20, 25.3)]
)
def test_tangent_law(level_db: float, angle_deg: float) -> None:
    # tan(angle) / tan(30) = (gL - gR) / (gL + gR), Bennett, Barker and Edeko 1985.
    wave = 0.1 * np.random.default_rng(2).standard_normal(4 * 44_100)
    measured = analyzer.measure(
        features_of(np.column_stack([10 ** (-level_db / 20) * wave, wave]), 44_100)
    )
    assert measured.overall_position is not None
    angle = np.rad2deg(np.arctan(measured.overall_position * np.tan(np.deg2rad(30))))
    assert angle == pytest.approx(angle_deg, abs=0.1)
    assert measured.position[20] == pytest.approx(measured.overall_position, abs=0.005)


def test_mono_has_no_placement() -> None:
    mono = features_of(music().mean(axis=1))
    assert analyzer.measure(mono).position == (None,) * 31
    difference = analyzer.compare(mono, mono, same_clock(mono))
    assert difference.turn_db is None
    assert "mono" in difference.reasons[0]
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("gain", [1.0, 0.5, 1.7])
def test_identical_and_gain_only(reference: Features, gain: float) -> None:
    difference = analyzer.compare(reference, stereo_music.scaled(gain), same_clock(reference))
    assert np.nanmax(np.abs(positions(difference))) < 0.003
    assert difference.turn_db == pytest.approx(0, abs=0.02)
    assert difference.image_scale == pytest.approx(1, abs=0.02)
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize(("start", "end"), [(-0.3, 0.2), (0.4, 0.1)])
def test_a_panned_source_comes_back(start: float, end: float) -> None:
    before, after = features_of(with_source(start)), features_of(with_source(end))
    difference = analyzer.compare(before, after, same_clock(before))
    assert positions(difference)[INSIDE] == pytest.approx(end - start, abs=0.05)
    (finding,) = analyzer.findings(difference)
    assert finding.kind == ("moved_right" if end > start else "moved_left")
    assert finding.difference == pytest.approx(end - start, abs=0.05)
    assert finding.band_hz is not None
    assert finding.band_hz[0] == pytest.approx(1800, rel=0.25)
    assert finding.band_hz[1] == pytest.approx(3600, rel=0.25)


def test_mirror() -> None:
    before, after = features_of(with_source(-0.3)), features_of(with_source(0.2))
    match = same_clock(before)
    there = analyzer.compare(before, after, match)
    back = analyzer.compare(after, before, match.mirrored())
    assert np.nanmax(np.abs(positions(there) + positions(back))) < 0.03
    assert [finding.kind for finding in analyzer.findings(there)] == ["moved_right"]
    assert [finding.kind for finding in analyzer.findings(back)] == ["moved_left"]


def test_one_channel_louder_turns_the_whole_image(reference: Features) -> None:
    candidate = features_of(0.7 * music() * [1, 10 ** (3 / 20)])
    difference = analyzer.compare(reference, candidate, same_clock(reference))
    assert difference.turn_db == pytest.approx(3, abs=0.1)
    (finding,) = analyzer.findings(difference)
    assert (finding.kind, finding.subject) == ("moved_right", "the whole image")
    assert "3.0 dB" in finding.text


def test_a_missing_channel(reference: Features) -> None:
    difference = analyzer.compare(reference, features_of(music() * [1, 0]), same_clock(reference))
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "moved_left"
    assert "channel is missing" in finding.text


def test_exchanged_channels_are_put_right(reference: Features) -> None:
    match = replace(same_clock(reference), channels_swapped=True)
    difference = analyzer.compare(reference, features_of(music()[:, ::-1]), match)
    assert np.nanmax(np.abs(positions(difference))) < 0.003
    (finding,) = analyzer.findings(difference)
    assert finding.kind == "channels_swapped"
    assert finding.jnd >= 1


@pytest.mark.parametrize("change", ["narrower", "wider", "brighter", "inverted"])
def test_other_changes_move_nothing(reference: Features, change: str) -> None:
    candidate = {
        "narrower": with_side(music(), 0.4),
        "wider": with_side(music(), 1.6),
        "brighter": filtered(music(), ("high_shelf", 3000.0, 5.0, 0.7)),
        "inverted": music() * [1, -1],
    }[change]
    difference = analyzer.compare(reference, features_of(0.5 * candidate), same_clock(reference))
    assert analyzer.findings(difference) == []


def test_other_performance_moves_nothing(reference: Features) -> None:
    other = stereo_music.features(seed=3)
    difference = analyzer.compare(reference, other, same_clock(reference, same_take=False))
    assert analyzer.findings(difference) == []


@pytest.mark.parametrize("delay_us", [-400.0, 250.0, 600.0])
def test_time_between_channels_comes_back(delay_us: float) -> None:
    # Woodworth's formula gives 0.65 ms for a source at the side of a head (1938, from memory).
    mono = music().mean(axis=1)
    spectrum = np.fft.rfft(mono)
    turn = np.exp(
        -2j * np.pi * np.fft.rfftfreq(len(mono), 1 / stereo_music.RATE_HZ) * delay_us / 1e6
    )
    spaced = features_of(np.column_stack([mono, np.fft.irfft(spectrum * turn, len(mono))]))
    measured = analyzer.measure(spaced)
    told = [value for value in measured.time_difference_us if value is not None]
    assert len(told) >= 6
    # A band's sound may lie anywhere within it: up to an eighth off its middle.
    assert np.allclose(told, delay_us, rtol=0.125)
    assert np.median(told) == pytest.approx(delay_us, rel=0.05)
    level_only = features_of(np.column_stack([mono, 0.6 * mono]))
    difference = analyzer.compare(level_only, spaced, same_clock(spaced))
    changes = [value for value in difference.time_difference_us if value is not None]
    assert np.allclose(changes, delay_us, rtol=0.125)
    for value, around in zip(
        difference.time_difference_us, difference.time_difference_us_interval, strict=True
    ):
        assert value is None or (around and around[0] <= value <= around[1])


def test_unrelated_channels_have_no_time_between_them() -> None:
    wide = 0.1 * np.random.default_rng(3).standard_normal((6 * 32_000, 2))
    assert set(analyzer.measure(features_of(wide)).time_difference_us) == {None}
