"""Pan laws and intervals: figures that follow from their definitions."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.standards import iec61260

RATE_HZ = 48_000


def band_levels(left: float, right: float) -> tuple[float, float, float]:
    """Left and right level of a 1 kHz sine, and of their sum in mono, dB re the sine itself."""
    wave = 0.25 * np.sin(2 * np.pi * 1000 * np.arange(2 * RATE_HZ) / RATE_HZ)
    features = Features.of(
        Recording.from_array(np.column_stack([left * wave, right * wave]), RATE_HZ)
    )
    band = iec61260.NOMINAL_HZ.index(1000)
    power = features.band_power[10:-10, band].astype(np.float64).mean(axis=0)
    cross = float(features.band_cross[10:-10, band].real.mean())
    own = 0.25**2 / 2
    levels = 10 * np.log10(np.maximum([*power, power.sum() + 2 * cross], 1e-12) / own)
    return float(levels[0]), float(levels[1]), float(levels[2])


@pytest.mark.parametrize(
    ("angle_deg", "difference_db", "mono_sum_db"),
    [(15.0, 11.44, 1.76), (30.0, 4.77, 2.71), (45.0, 0.0, 3.01)],
)
def test_sine_cosine_law(angle_deg: float, difference_db: float, mono_sum_db: float) -> None:
    # Constant power: gains cos and sin of the angle from full left.
    angle = np.deg2rad(angle_deg)
    left, right, mono = band_levels(np.cos(angle), np.sin(angle))
    assert left - right == pytest.approx(difference_db, abs=0.02)
    assert mono == pytest.approx(mono_sum_db, abs=0.02)


@pytest.mark.parametrize(
    ("law", "gain", "centre_db"),
    [
        ("constant power", np.sqrt(0.5), -3.01),
        ("constant sum", 0.5, -6.02),
        ("compromise", 0.5**0.75, -4.515),
    ],
)
def test_level_at_the_centre(law: str, gain: float, centre_db: float) -> None:
    left, right, _ = band_levels(gain, gain)
    assert left == pytest.approx(centre_db, abs=0.02), law
    assert right == pytest.approx(left, abs=1e-4)


def test_opposite_channels_cancel_in_mono() -> None:
    assert band_levels(1.0, -1.0)[2] < -50


@pytest.mark.parametrize(
    ("a4_hz", "cents"),
    [(440, 0.0), (441, 3.93), (442, 7.85), (443, 11.76), (444, 15.67), (415, -101.27)],
)
def test_cents_from_440(a4_hz: float, cents: float) -> None:
    # cents = 1200 log2(f / 440 Hz); 440 Hz is ISO 16:1975 (from memory).
    assert 100 * (float(iec61260.hz_to_pitch(a4_hz)) - 69) == pytest.approx(cents, abs=0.005)
    assert float(iec61260.pitch_hz(69, cents)) == pytest.approx(a4_hz, abs=0.002)


@pytest.mark.parametrize(
    ("pitch", "frequency_hz"),
    [(21, 27.5), (28, 41.203), (60, 261.626), (69, 440.0), (108, 4186.009)],
)
def test_note_names_and_frequencies(pitch: int, frequency_hz: float) -> None:
    # Twelve equal semitones to the octave: lowest A of the piano, double bass E, middle C ...
    assert float(iec61260.pitch_hz(pitch)) == pytest.approx(frequency_hz, rel=2e-5)
    assert float(iec61260.hz_to_pitch(frequency_hz)) == pytest.approx(pitch, abs=5e-4)


@pytest.mark.parametrize("tuned_hz", [415.0, 442.0, 445.0])
def test_tuning_of_the_grid(tuned_hz: float) -> None:
    time_s = np.arange(6 * RATE_HZ) / RATE_HZ
    chord = sum(
        np.sin(2 * np.pi * tuned_hz * 2 ** (semitone / 12) * time_s)
        for semitone in (-9, -5, -2, 0, 3)
    )
    features = Features.of(Recording.from_array(0.1 * np.asarray(chord), RATE_HZ))
    expected = (1200 * np.log2(tuned_hz / 440) + 50) % 100 - 50
    assert features.grid_tuning_cents == pytest.approx(expected, abs=1.0)
