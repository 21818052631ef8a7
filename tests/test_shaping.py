"""Bells and shelves against the analogue prototypes, computed by another library."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from mixcompare import shaping
from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.shaping import BELL, HIGH_SHELF, LOW_SHELF, Filter


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
