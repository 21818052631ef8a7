"""Frames about places between samples, and known changes made in them."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.features.grid import LOW_FFT
from mixcompare.pair.spectra import RATE_HZ
from mixcompare.pair.tail_frames import Changed, Wave, frames_about

SIZE = 1024
SECOND = round(RATE_HZ)


def tone(late: float) -> Wave:
    """A tone so many samples late, and the silence that frames are laid in."""
    samples = np.sin(2 * np.pi * 0.0873 * (np.arange(8000) - late))
    return np.pad(samples.astype(np.float32), LOW_FFT)


@pytest.mark.parametrize("between", [0.25, 0.5, 0.9])
def test_a_frame_between_samples_is_that_of_the_sound_moved_there(between: float) -> None:
    centres = np.array([3000.0, 5000.0])
    there = frames_about(tone(0.0), centres + between, SIZE)
    moved = frames_about(tone(-between), centres, SIZE)
    assert np.abs(there - moved).max() < 0.01 * np.abs(moved).max()
    back = frames_about(tone(between), centres, SIZE)
    assert np.abs(there - back).max() > 0.1 * np.abs(moved).max()


def test_changes_are_made_at_their_times_and_in_their_bins() -> None:
    amplitude = np.ones((2 * SECOND, 2))
    amplitude[SECOND:, 1] = 2.0  # the upper column, from one second on
    changed = Changed(0.0, amplitude, 5.0 + np.arange(2 * SECOND) / RATE_HZ, np.array([0, 1, 1]))
    made = changed.made(np.ones((2, 3), np.complex64), np.array([5.2, 6.6]))
    assert made.tolist() == [[1, 1, 1], [1, 2, 2]]
