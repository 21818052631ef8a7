"""Band weights and pitches against hand calculation."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.standards.iec61260 import (
    THIRD_OCTAVE_EDGES_HZ,
    band_weights,
    hz_to_pitch,
    pitch_hz,
    semitone_edges_hz,
)


def test_a_bin_belongs_to_the_band_that_holds_it_and_is_shared_on_an_edge() -> None:
    # Bins of 10 Hz: bin k covers 10 k - 5 to 10 k + 5 Hz.
    weights = band_weights(np.array([15.0, 32.0, 55.0]), 10.0, 7)
    assert weights == pytest.approx(
        np.array([[0, 0], [0, 0], [1, 0], [0.7, 0.3], [0, 1], [0, 1], [0, 0]]), abs=1e-6
    )


def test_a_band_narrower_than_a_bin_takes_its_share_of_it() -> None:
    weights = band_weights(np.array([18.0, 20.0, 24.0]), 10.0, 4)
    assert weights[2] == pytest.approx([0.2, 0.4], abs=1e-6)
    assert weights.sum() == pytest.approx(0.6, abs=1e-6)


def test_weights_are_power_complementary_between_the_outermost_edges() -> None:
    weights = band_weights(THIRD_OCTAVE_EDGES_HZ, 2.5, 9000)
    frequency_hz = 2.5 * np.arange(9000)
    inside = (frequency_hz > 20) & (frequency_hz < 22_000)
    assert weights[inside].sum(axis=1) == pytest.approx(1, abs=1e-5)
    assert weights[frequency_hz < 16].sum() == 0
    assert weights[frequency_hz > 22_400].sum() == 0


def test_semitone_edges_lie_a_quarter_tone_either_side() -> None:
    edges = semitone_edges_hz(69, 71, 20.0)
    # Cents from 440 Hz: 20 - 50, 20 + 50, ...; f = 440 * 2^(cents / 1200).
    assert edges == pytest.approx(440 * 2 ** (np.array([-30, 70, 170, 270]) / 1200), rel=1e-9)


def test_pitch_numbers_and_frequencies() -> None:
    # Middle C is 60; A4 = 440 Hz is 69 (ISO 16:1975, from memory); an octave is 12.
    assert pitch_hz([57, 69, 81]) == pytest.approx([220.0, 440.0, 880.0])
    assert float(pitch_hz(69, 50)) == pytest.approx(452.893, abs=0.001)
    assert float(pitch_hz(60, -100)) == pytest.approx(246.942, abs=0.001)
    assert hz_to_pitch([220.0, 261.6256, 452.893]) == pytest.approx([57, 60, 69.5], abs=1e-4)
