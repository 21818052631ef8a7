"""Bells and shelves against the analogue prototypes, computed by another library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from mixcompare.aspects.tone import shaping
from mixcompare.aspects.tone.filters import BELL, HIGH_SHELF, LOW_SHELF, Filter
from mixcompare.aspects.tone.shaping import Line
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests.aspects.stereo_music import response_db


def prototype(kind: str, gain_db: float, q: float) -> tuple[list[float], list[float]]:
    """Numerator and denominator in s, corner at 1 rad/s.

    Bristow-Johnson, "Cookbook formulae for audio equalizer biquad filter coefficients" (from
    memory).
    """
    a = 10 ** (gain_db / 40)
    root = np.sqrt(a) / q
    if kind == BELL:
        return [1, a / q, 1], [1, 1 / (a * q), 1]
    if kind == LOW_SHELF:
        return [a, a * root, a * a], [a, root, 1]
    return [a * a, a * root, a], [1, root, a]


@pytest.mark.parametrize("kind", [BELL, LOW_SHELF, HIGH_SHELF])
@pytest.mark.parametrize("gain_db", [-6.0, 4.0])
def test_response(kind: str, gain_db: float) -> None:
    frequency_hz = np.geomspace(20, 20_000, 60)
    _, expected = signal.freqs(*prototype(kind, gain_db, 0.8), worN=frequency_hz / 500)
    found = Filter(kind, 500.0, gain_db, 0.8).response_db(frequency_hz)
    assert found == pytest.approx(20 * np.log10(np.abs(expected)), abs=1e-6)


def test_opposite_gain_is_the_inverse() -> None:
    for kind in (BELL, LOW_SHELF, HIGH_SHELF):
        up = Filter(kind, 700.0, 5.0, 0.9).response_db(THIRD_OCTAVE_CENTRES_HZ)
        down = Filter(kind, 700.0, -5.0, 0.9).response_db(THIRD_OCTAVE_CENTRES_HZ)
        assert up == pytest.approx(-down, abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_fit_finds_what_made_the_curve(seed: int) -> None:
    rng = np.random.default_rng(seed)
    truth = (
        Filter(LOW_SHELF, float(rng.uniform(80, 200)), float(rng.choice([-4, 4])), 0.71),
        Filter(BELL, float(rng.uniform(500, 2000)), float(rng.choice([-5, 5])), 1.1),
        Filter(HIGH_SHELF, float(rng.uniform(5000, 8000)), float(rng.choice([-3, 3])), 0.71),
    )
    centres = THIRD_OCTAVE_CENTRES_HZ[:30]
    curve = sum((entry.band_response_db(centres) for entry in truth), np.zeros(30))
    curve = curve + 0.05 * rng.standard_normal(30)
    found = shaping.fit(centres, curve, np.full(30, 0.05))
    assert [entry.kind for entry in found.filters] == [entry.kind for entry in truth]
    for entry, true in zip(found.filters, truth, strict=True):
        assert entry.frequency_hz == pytest.approx(true.frequency_hz, rel=0.1)
        assert entry.gain_db == pytest.approx(true.gain_db, abs=0.5)
        assert entry.q == pytest.approx(true.q, rel=0.3)


def test_noise_makes_no_filter() -> None:
    noise = np.random.default_rng(8).standard_normal(30)
    assert shaping.fit(THIRD_OCTAVE_CENTRES_HZ[:30], noise, np.ones(30)).filters == ()


def test_tilt_or_shelf() -> None:
    octaves = np.log2(THIRD_OCTAVE_CENTRES_HZ[:30] / 1000)
    sure = np.full(30, 0.1)
    line = 0.5 * np.clip(octaves, -3.5, 3.5)
    shelf = Filter(HIGH_SHELF, 4000.0, 4.0, 0.7).band_response_db()[:30]
    assert shaping.is_tilt(THIRD_OCTAVE_CENTRES_HZ[:30], line, sure, 0.5)
    assert not shaping.is_tilt(THIRD_OCTAVE_CENTRES_HZ[:30], shelf, sure, 0.55)


def test_a_bell_reaches_its_gain_and_a_shelf_half_of_it() -> None:
    assert Filter(BELL, 500.0, 6.0, 1.0).response_db([500.0])[0] == pytest.approx(6.0)
    for kind, low, high in ((LOW_SHELF, -6.0, 0.0), (HIGH_SHELF, 0.0, -6.0)):
        found = Filter(kind, 500.0, -6.0, 0.71).response_db([5.0, 500.0, 50_000.0])
        assert found == pytest.approx([low, -3.0, high], abs=0.01)


def test_band_responses_are_averages_of_power() -> None:
    # A bell as narrow as a band, by numbers: the mean over the band's inside of 10^(dB/10).
    sharp = Filter(BELL, 1000.0, 12.0, 4.0)
    across = 1000 * 10 ** (0.1 * np.linspace(-0.5, 0.5, 1001))
    _, response = signal.freqs(*prototype(BELL, 12.0, 4.0), worN=across / 1000)
    expected = 10 * np.log10(np.mean(np.abs(response) ** 2))
    assert sharp.band_response_db([1000.0])[0] == pytest.approx(expected, abs=0.3)
    assert sharp.band_response_db([1000.0])[0] < 11.5
    assert sharp.band_response_db().shape == (31,)


@pytest.mark.parametrize("kind", [BELL, LOW_SHELF, HIGH_SHELF])
@pytest.mark.parametrize("gain_db", [-4.0, -1.5, 1.5, 4.0])
def test_one_filter_comes_back_with_its_sign(kind: str, gain_db: float) -> None:
    # Curves of the digital filters, by another library, at 192 kHz; one level on top of all.
    frequency_hz = {BELL: 900.0, LOW_SHELF: 180.0, HIGH_SHELF: 5000.0}[kind]
    centres = THIRD_OCTAVE_CENTRES_HZ[2:30]
    q = 1.4 if kind == BELL else 0.71
    curve = response_db((kind, frequency_hz, gain_db, q), centres, 192_000) + 0.2
    found = shaping.fit(centres, curve, np.full(28, 0.05))
    (entry,) = found.filters
    assert entry.kind == kind
    assert entry.frequency_hz == pytest.approx(frequency_hz, rel=0.06)
    assert entry.gain_db == pytest.approx(gain_db, abs=0.25)
    assert entry.q == pytest.approx(q, rel=0.2)
    assert found.level_db == pytest.approx(0.2, abs=0.15)
    # What is left is the curve less the filters and the level.
    left = curve - entry.band_response_db(centres) - found.level_db
    assert found.residual_db == pytest.approx(left, abs=1e-6)
    assert np.abs(found.residual_db).max() < 0.25


@pytest.mark.parametrize(("gain_db", "kept"), [(0.6, False), (-0.6, False), (0.8, True)])
@pytest.mark.parametrize(("kind", "frequency_hz"), [(LOW_SHELF, 600.0), (HIGH_SHELF, 1500.0)])
def test_less_than_seven_tenths_of_a_decibel_is_no_filter(
    kind: str, frequency_hz: float, gain_db: float, kept: bool
) -> None:
    curve = Filter(kind, frequency_hz, gain_db, 0.71).band_response_db()
    found = shaping.fit(THIRD_OCTAVE_CENTRES_HZ, curve, np.full(31, 0.01)).filters
    assert [entry.kind for entry in found] == ([kind] if kept else [])
    assert [entry.gain_db for entry in found] == ([pytest.approx(0.8, abs=0.05)] if kept else [])


def test_filters_come_in_order_of_frequency_and_are_five_at_most() -> None:
    truth = [Filter(BELL, hz, gain, 2.5) for hz, gain in
             ((60, 6), (160, -6), (400, 6), (1000, -6), (2500, 6), (6300, -6))]  # fmt: skip
    curve = sum((entry.band_response_db() for entry in truth), np.zeros(31))
    found = shaping.fit(THIRD_OCTAVE_CENTRES_HZ, curve, np.full(31, 0.05)).filters
    frequencies = [entry.frequency_hz for entry in found]
    assert len(found) == 5
    assert frequencies == sorted(frequencies)


def test_a_filter_must_earn_its_place() -> None:
    # A bell of 2 dB among 0.1 dB of noise is found; among 2 dB of noise it is not.
    rng = np.random.default_rng(5)
    bell = Filter(BELL, 800.0, 2.0, 1.0).band_response_db()
    for deviation, count in ((0.1, 1), (2.0, 0)):
        curve = bell + deviation * rng.standard_normal(31)
        found = shaping.fit(THIRD_OCTAVE_CENTRES_HZ, curve, np.full(31, deviation))
        assert len(found.filters) == count


# --- straight lines -----------------------------------------------------------------------------

OCTAVES = np.log2(THIRD_OCTAVE_CENTRES_HZ / 1000)
IN_RANGE = (THIRD_OCTAVE_CENTRES_HZ > 90) & (THIRD_OCTAVE_CENTRES_HZ < 11_000)


@pytest.mark.parametrize("slope", [-1.3, 0.4])
def test_a_line_is_read_from_100_hz_to_10_khz(slope: float) -> None:
    level = np.where(IN_RANGE, slope * OCTAVES + 5, 40.0)
    line = Line.through(level, np.full(31, 0.3))
    assert line is not None
    assert line.slope == pytest.approx(slope, abs=1e-6)
    assert (line.weight > 0).tolist() == IN_RANGE.tolist()
    assert line.slopes(np.stack([level, -2 * level, level + 3])) == pytest.approx(
        [slope, -2 * slope, slope], abs=1e-6
    )


def test_a_line_needs_seven_bands() -> None:
    for bands, told in ((6, False), (7, True)):
        deviation = np.where((np.arange(31) >= 10) & (np.arange(31) < 10 + bands), 0.3, np.inf)
        assert (Line.through(0.5 * OCTAVES, deviation) is not None) is told
    unknown = np.where(np.arange(31) < 22, np.nan, 0.5 * OCTAVES)  # six of 3.15 to 10 kHz left
    assert Line.through(unknown, np.full(31, 0.3)) is None


def test_a_few_bands_that_stick_out_hardly_turn_the_line() -> None:
    level = 0.5 * OCTAVES + 0.05 * np.random.default_rng(7).standard_normal(31)
    level[24:27] += 6  # 5 to 8 kHz
    line = Line.through(level, np.full(31, 0.1))
    assert line is not None
    assert line.slope == pytest.approx(0.5, abs=0.03)
    plain = np.polyfit(OCTAVES[IN_RANGE], level[IN_RANGE], 1)[0]
    assert plain > 0.8


def test_unsure_bands_count_less() -> None:
    # Below 1 kHz the slope is -1, above +1; who is surer wins, by the square.
    level = np.abs(OCTAVES)
    slopes = []
    for low, high in ((0.5, 5.0), (5.0, 0.5)):
        line = Line.through(level, np.where(OCTAVES < 0, low, high))
        assert line is not None
        slopes.append(line.slope)
    assert slopes[0] == pytest.approx(-1, abs=0.1)
    assert slopes[1] == pytest.approx(1, abs=0.1)


def test_the_interval_of_a_slope_by_hand() -> None:
    line = Line.through(0.5 * OCTAVES, np.full(31, 0.3))
    assert line is not None
    draws = np.linspace(-0.1, 0.2, 3001)  # 95 % of them from -0.0925 to 0.1925
    assert line.scattered(draws, 0.0) == pytest.approx((-0.0925, 0.1925), abs=1e-4)
    # A slope through n bands: scatter / (deviation of the octaves * sqrt(n)), doubled in variance
    # as neighbours scatter alike.
    share = 1.96 * 0.5 * np.sqrt(2) / (np.std(OCTAVES[IN_RANGE]) * np.sqrt(21))
    assert line.scattered(draws, 0.5) == pytest.approx(
        (-np.hypot(0.0925, share), np.hypot(0.1925, share)), abs=1e-4
    )


def test_the_line_over_all_bands_is_level_outside() -> None:
    heard = np.ones(31, bool)
    heard[3] = False
    curve = 0.5 * OCTAVES + 2
    curve[3] = 99
    line = Line.clipped(0.5, curve, heard)
    assert line[IN_RANGE] == pytest.approx(curve[IN_RANGE], abs=0.01)
    assert line[:6] == pytest.approx(2 + 0.5 * np.log2(0.09), abs=0.01)
    assert line[29:] == pytest.approx(2 + 0.5 * np.log2(11), abs=0.01)


@pytest.mark.parametrize("slope", [-0.6, 0.6])
@pytest.mark.parametrize(("noise_db", "tilt"), [(0.5, True), (1.5, False)])
def test_three_fifths_of_a_curve_make_a_tilt(slope: float, noise_db: float, tilt: bool) -> None:
    # A slope of 0.6 deviates by 1.2 dB over these bands: of the whole variance, noise that
    # alternates by 0.5 dB leaves 85 %, by 1.5 dB 40 %.
    centres = THIRD_OCTAVE_CENTRES_HZ[IN_RANGE]
    curve = slope * OCTAVES[IN_RANGE] + noise_db * np.where(np.arange(21) % 2, 1, -1)
    assert shaping.is_tilt(centres, curve, np.full(21, noise_db), slope) is tilt
    assert not shaping.is_tilt(centres, curve, np.full(21, noise_db), -slope)


def test_where_a_shelf_says_it_hardly_better_the_line_is_taken() -> None:
    # A shelf has two parameters more than the line: it must take away ln(21) = 3.0 for each.
    centres = THIRD_OCTAVE_CENTRES_HZ[IN_RANGE]
    for seed in range(4):
        noise = 0.3 * np.random.default_rng(seed).standard_normal(21)
        curve = 0.3 * OCTAVES[IN_RANGE] + noise
        assert shaping.is_tilt(centres, curve, np.full(21, 0.3), 0.3)


def test_starts_refined_together_end_where_each_would_alone() -> None:
    rng = np.random.default_rng(3)
    curve = Filter(BELL, 900.0, 5.0, 1.2).band_response_db() + 0.3 * rng.standard_normal(31)
    problem = shaping._Problem(THIRD_OCTAVE_CENTRES_HZ, curve, np.full(31, 0.3))
    for count in (1, 2):
        starts = problem.sets(count)
        for start, found in zip(starts, problem.refined(starts), strict=True):
            (alone,) = problem.refined([start])
            assert found.misfit == pytest.approx(alone.misfit, rel=1e-6)
            assert found.residual_db == pytest.approx(alone.residual_db, abs=1e-6)
            assert [one.kind for one in found.filters] == [one.kind for one in start]
            model = sum(one.band_response_db() for one in found.filters) + found.level_db
            assert curve - model == pytest.approx(found.residual_db, abs=1e-9)
