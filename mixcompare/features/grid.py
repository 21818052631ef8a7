"""Rates, ranges and scales of the features: the grid on which everything is measured."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ, pitch_hz

FloatArray = npt.NDArray[np.float64]
Progress = Callable[[float], None]
ANALYSIS_RATE_HZ = 12_000  # cost: carries sound up to 6 kHz
# Resolution: rates of the third octaves, the semitones and the onsets.
BAND_RATE_HZ = 25.0
SEMITONE_RATE_HZ = 50.0
ONSET_RATE_HZ = 100.0
# MIDI numbers: E1 to E8, under half of the analysis rate; A2 to G sharp 7. Our choice.
LOWEST_SEMITONE, HIGHEST_SEMITONE = 28, 112
LOWEST_ONSET, HIGHEST_ONSET = 45, 104
WAVEFORM_SCALE = 1024.0  # definition: full scale as it is kept in half precision; our choice
LOWER_BANDS = 16
"""Third-octave bands below 800 Hz: they come from the long window."""


def band_centres_hz() -> FloatArray:
    """Exact mid-band frequencies of the third-octave features, shape (31,)."""
    return THIRD_OCTAVE_CENTRES_HZ.copy()


LONG_WINDOW_BELOW = 57
"""MIDI number of A3: the semitones below it come from the long window."""
LONG_WINDOW_BELOW_HZ = float(pitch_hz(LONG_WINDOW_BELOW))
LOW_FFT, SEMITONE_FFT, ONSET_FFT = 4096, 2048, 1024  # resolution: windows of 341, 171 and 85 ms
TUNING_RANGE_HZ = (110.0, 2500.0)  # A2 to about D sharp 7; our choice
