"""How far the partials of one recording lie from the semitone grid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.features.grid import ANALYSIS_RATE_HZ, BAND_RATE_HZ, LOW_FFT, TUNING_RANGE_HZ
from mixcompare.standards.iec61260 import hz_to_pitch

Float32Array = npt.NDArray[np.float32]


_BIN_HZ = ANALYSIS_RATE_HZ / LOW_FFT
_FIRST, _LAST = (int(edge / _BIN_HZ) for edge in TUNING_RANGE_HZ)
TUNING_BINS = _LAST + 1
"""Bins of the long window that are read here, from the lowest on."""


def deviation_phasors(power: Float32Array) -> npt.NDArray[np.complex128]:
    """Sum of exp(2 pi i d) over spectral peaks, d their distance from A4 = 440 Hz semitones.

    Peaks are placed by a parabola through the log spectrum; shape (frames,).
    """
    log_power = np.log(power[:, _FIRST - 1 : TUNING_BINS] + 1e-20)
    left, middle, right = log_power[:, :-2], log_power[:, 1:-1], log_power[:, 2:]
    peak = (middle > left) & (middle >= right)
    peak &= middle > middle.max(axis=1, keepdims=True) - 5.0
    row, column = np.nonzero(peak)
    before, at, after = left[peak], middle[peak], right[peak]
    shift = 0.5 * (before - after) / np.minimum(before - 2 * at + after, -1e-9)
    deviation = hz_to_pitch((_FIRST + column + shift) * _BIN_HZ)
    weighted = np.sqrt(power[row, _FIRST + column]) * np.exp(2j * np.pi * deviation)
    frames = len(power)
    return np.asarray(
        np.bincount(row, weighted.real, frames) + 1j * np.bincount(row, weighted.imag, frames),
        np.complex128,
    )


def per_second(phasors: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
    """Sums over whole seconds."""
    per = int(BAND_RATE_HZ)
    padded = np.concatenate([phasors, np.zeros(-len(phasors) % per)])
    return np.asarray(padded.reshape(-1, per).sum(axis=1), np.complex128)
