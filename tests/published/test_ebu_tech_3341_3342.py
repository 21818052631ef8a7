"""EBU Tech 3341 v4 (2023), Table 1, and EBU Tech 3342 v4 (2023), Table 1.

Each case is synthesised from its description: 1000 Hz sines, equal and in phase in left and
right, 48 kHz; a level is the sine's peak in dBFS. Tolerances are the documents' own. Cases 7 and 8
of Tech 3341 and 5 and 6 of Tech 3342 are programme material and cannot be made here. The levels
of the cases of Tech 3342 are from memory.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.aspects.loudness import analyzer
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.standards import bs1770, tech3342

FloatArray = npt.NDArray[np.float64]
Segments = tuple[tuple[float | None, float], ...]

RATE_HZ = 48_000
SILENCE = None


def tones(segments: Segments) -> FloatArray:
    """Mono phase-continuous 1 kHz sine, level by level: (level in dBFS or silence, seconds)."""
    gains = [
        np.full(round(seconds * RATE_HZ), 0.0 if level is None else 10 ** (level / 20))
        for level, seconds in segments
    ]
    envelope = np.concatenate(gains)
    return envelope * np.sin(2 * np.pi * 1000 * np.arange(len(envelope)) / RATE_HZ)


def steps(*channels: FloatArray) -> FloatArray:
    """K-weighted steps; a single channel is taken for both left and right."""
    left, right = channels if len(channels) == 2 else channels * 2
    meter = bs1770.KWeightedPower(RATE_HZ)
    meter.push(np.column_stack([left, right]).astype(np.float32))
    return meter.result()


def windows_lufs(segments: Segments, window: int) -> FloatArray:
    return bs1770.to_lufs(bs1770.window_powers(steps(tones(segments)), window))


INTEGRATED = {
    1: ((-23, 20),),
    2: ((-33, 20),),
    3: ((-36, 10), (-23, 60), (-36, 10)),
    4: ((-72, 10), (-36, 10), (-23, 60), (-36, 10), (-72, 10)),
    5: ((-26, 20), (-20, 20.1), (-26, 20)),
}


@pytest.mark.parametrize("case", INTEGRATED)
def test_3341_cases_1_to_5_integrated(case: int) -> None:
    expected = -33.0 if case == 2 else -23.0
    integrated = bs1770.integrated_lufs(steps(tones(INTEGRATED[case])))
    assert integrated == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize(("case", "expected"), [(1, -23.0), (2, -33.0)])
def test_3341_cases_1_and_2_through_the_whole_chain(case: int, expected: float) -> None:
    wave = tones(INTEGRATED[case])
    features = Features.of(Recording.from_array(np.column_stack([wave, wave]), RATE_HZ))
    measured = analyzer.measure(features)
    assert measured.integrated_lufs == pytest.approx(expected, abs=0.1)
    assert measured.max_momentary_lufs == pytest.approx(expected, abs=0.1)
    assert measured.max_short_term_lufs == pytest.approx(expected, abs=0.1)


@pytest.mark.parametrize("channels", [5, 6])
def test_3341_case_6_five_channels(channels: int) -> None:
    # Surrounds weigh 1.41 (BS.1770-5, Annex 1, Table 3); low-frequency effects do not count.
    wave = tones(((0, 20),))
    levels_db = {"left": -28, "right": -28, "centre": -24, "effects": 0, "ls": -30, "rs": -30}
    if channels == 5:
        del levels_db["effects"]
    samples = np.stack([wave * 10 ** (level / 20) for level in levels_db.values()], axis=1)
    features = Features.of(Recording.from_array(samples, RATE_HZ))
    assert analyzer.measure(features).integrated_lufs == pytest.approx(-23.0, abs=0.1)


def test_3341_case_9_short_term_is_constant() -> None:
    short_term = windows_lufs(((-20, 1.34), (-30, 1.66)) * 5, bs1770.SHORT_TERM_STEPS)
    assert np.abs(short_term + 23.0).max() <= 0.1


def test_3341_case_10_largest_short_term_wherever_it_starts() -> None:
    for number in range(20):
        segments = ((SILENCE, 0.15 * number), (-23, 3.0), (SILENCE, 1.0))
        largest = windows_lufs(segments, bs1770.SHORT_TERM_STEPS).max()
        assert largest == pytest.approx(-23.0, abs=0.1)


def test_3341_case_11_largest_short_term_of_each_segment() -> None:
    segments: list[tuple[float | None, float]] = []
    for number in range(20):
        wait_s = 0.15 * number
        segments += [(SILENCE, wait_s), (-38 + number, 3.0), (SILENCE, 3.0 - wait_s)]
    short_term = windows_lufs(tuple(segments), bs1770.SHORT_TERM_STEPS)
    for number in range(20):
        largest = short_term[600 * number : 600 * number + 301].max()
        assert largest == pytest.approx(-38 + number, abs=0.1)


def test_3341_case_12_momentary_is_constant() -> None:
    momentary = windows_lufs(((-20, 0.18), (-30, 0.22)) * 25, bs1770.MOMENTARY_STEPS)
    assert np.abs(momentary[100:] + 23.0).max() <= 0.1


def test_3341_case_13_largest_momentary_wherever_it_starts() -> None:
    for number in range(20):
        segments = ((SILENCE, 0.02 * number), (-23, 0.4), (SILENCE, 1.0))
        largest = windows_lufs(segments, bs1770.MOMENTARY_STEPS).max()
        assert largest == pytest.approx(-23.0, abs=0.1)


def test_3341_case_14_largest_momentary_of_each_segment() -> None:
    segments: list[tuple[float | None, float]] = []
    for number in range(20):
        wait_s = 0.02 * number
        segments += [(SILENCE, wait_s), (-38 + number, 0.4), (SILENCE, 0.4 - wait_s)]
    momentary = windows_lufs(tuple(segments), bs1770.MOMENTARY_STEPS)
    for number in range(20):
        largest = momentary[80 * number : 80 * number + 41].max()
        assert largest == pytest.approx(-38 + number, abs=0.1)


def true_peak_dbtp(wave: FloatArray) -> float:
    meter = bs1770.TruePeak(RATE_HZ)
    meter.push(np.column_stack([wave, wave]).astype(np.float32))
    meter.push(np.zeros((0, 2), np.float32), last=True)
    return float(20 * np.log10(meter.peak))


def faded(wave: FloatArray, rate_hz: int = RATE_HZ) -> FloatArray:
    """Raised-cosine ends of 10 ms: a sine that starts abruptly really does overshoot."""
    count = round(0.01 * rate_hz)
    ramp = 0.5 - 0.5 * np.cos(np.pi * np.arange(count) / count)
    out = wave.copy()
    out[:count] *= ramp
    out[-count:] *= ramp[::-1]
    return out


@pytest.mark.parametrize(
    ("case", "divisor", "amplitude", "phase_deg", "expected"),
    [
        (15, 4, 0.50, 0.0, -6.0),
        (16, 4, 0.50, 45.0, -6.0),
        (17, 6, 0.50, 60.0, -6.0),
        (18, 8, 0.50, 67.5, -6.0),
        (19, 4, 1.41, 45.0, 3.0),
    ],
)
def test_3341_cases_15_to_19_true_peak(
    case: int, divisor: int, amplitude: float, phase_deg: float, expected: float
) -> None:
    phase = 2 * np.pi * np.arange(RATE_HZ) / divisor + np.deg2rad(phase_deg)
    peak = true_peak_dbtp(faded(amplitude * np.sin(phase)))
    assert expected - 0.4 <= peak <= expected + 0.2, f"case {case}"


@pytest.mark.parametrize("offset", [0, 1, 2, 3])
def test_3341_cases_20_to_23_true_peak_between_samples(offset: int) -> None:
    # Made at four times the rate: fs/6 at 0.50 with one period of fs/4 at 1.00 within it.
    count = 4 * RATE_HZ
    wave = 0.5 * np.sin(2 * np.pi * np.arange(count) / 24)
    middle = 24 * (count // 48)
    wave[middle : middle + 16] = np.sin(2 * np.pi * np.arange(16) / 16)
    low_pass = signal.firwin(801, 0.25 * 0.95)
    limited = signal.fftconvolve(faded(wave, 4 * RATE_HZ), low_pass, mode="same")
    peak = true_peak_dbtp(limited[offset::4])
    assert -0.4 <= peak <= 0.2, f"case {20 + offset}"


RANGES = {
    1: (((-20, 20), (-30, 20)), 10.0),
    2: (((-20, 20), (-15, 20)), 5.0),
    3: (((-40, 20), (-20, 20)), 20.0),
    4: (((-50, 20), (-35, 20), (-20, 20), (-35, 20), (-50, 20)), 15.0),
}


@pytest.mark.parametrize("case", RANGES)
def test_3342_cases_1_to_4_loudness_range(case: int) -> None:
    segments, expected = RANGES[case]
    assert tech3342.loudness_range_lu(steps(tones(segments))) == pytest.approx(expected, abs=1.0)


# Shares of the time at levels in dBFS, with the range that follows from Tech 3342, clause 3: both
# gates, then the 95th less the 10th percentile. Every level lasts so long that the windows across
# the steps (3 s of 200 s and more) take less than the shares leave free.
LEVELS_AND_RANGES = {
    "the loudest 8 % count, the softest 12 % too": (((-20, 8), (-26, 80), (-32, 12)), 12.0),
    "the loudest 3 % do not": (((-20, 3), (-26, 85), (-32, 12)), 6.0),
    "the softest 8 % do not": (((-20, 8), (-26, 84), (-32, 8)), 6.0),
    "nor both": (((-20, 3), (-26, 89), (-32, 8)), 0.0),
    "within 20 LU of the mean": (((-20, 60), (-40, 40)), 20.0),
    "further below it": (((-20, 60), (-43.5, 40)), 0.0),
    "below the absolute gate alone": (((-55, 50), (-72, 50)), 0.0),
    "above the absolute gate": (((-55, 50), (-68, 50)), 13.0),
}


@pytest.mark.parametrize("case", LEVELS_AND_RANGES)
def test_3342_percentiles_and_gates(case: str) -> None:
    shares, expected = LEVELS_AND_RANGES[case]
    # Powers of a sine in both channels, in 10 ms steps; percent times 6 s.
    power = np.repeat(
        [10 ** (level / 10) for level, _ in shares], [600 * share for _, share in shares]
    )
    steps_of_both = np.repeat(power[:, np.newaxis] / 2 * 10**0.0691, 2, axis=1)
    assert tech3342.loudness_range_lu(steps_of_both) == pytest.approx(expected, abs=0.02)


def test_3342_range_of_an_even_swell() -> None:
    # A level that rises evenly by 20 LU over 400 s: 85 % of it lie between the percentiles.
    level = np.linspace(-40.0, -20.0, 40_000)
    power = 10 ** ((level + 0.691) / 10)[:, np.newaxis]
    assert tech3342.loudness_range_lu(power) == pytest.approx(0.85 * 20, abs=0.15)
