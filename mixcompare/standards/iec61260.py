"""Frequency bands: third octaves after IEC 61260-1:2014, and equal-tempered semitones.

Conventions
-----------
Band weights act on one-sided power spectra and are power-complementary: over the range that
they cover, the weights of every bin sum to one, so band powers add up to the broadband power.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

OCTAVE_RATIO = 10**0.3
"""G of IEC 61260-1:2014, 5.2.1."""

THIRD_OCTAVE_CENTRES_HZ: FloatArray = 1000.0 * OCTAVE_RATIO ** (np.arange(-17, 14) / 3)
"""Exact mid-band frequencies of the nominal 20 Hz to 20 kHz bands, shape (31,)."""

THIRD_OCTAVE_EDGES_HZ: FloatArray = 1000.0 * OCTAVE_RATIO ** ((np.arange(-17, 15) - 0.5) / 3)
"""Band edges, shape (32,)."""

NOMINAL_HZ = (
    20, 25, 31.5, 40, 50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250,
    1600, 2000, 2500, 3150, 4000, 5000, 6300, 8000, 10000, 12500, 16000, 20000,
)  # fmt: skip
"""Names of the bands (IEC 61260-1:2014, Annex E)."""

A4_HZ = 440.0  # ISO 16:1975, from memory


def band_weights(edges_hz: FloatArray, bin_hz: float, bins: int) -> npt.NDArray[np.float32]:
    """Share of every spectrum bin that falls in each band, shape (bins, bands)."""
    low = (np.arange(bins) - 0.5) * bin_hz
    high = low + bin_hz
    overlap = np.minimum(high[:, None], edges_hz[None, 1:]) - np.maximum(
        low[:, None], edges_hz[None, :-1]
    )
    return np.asarray(np.clip(overlap, 0, None) / bin_hz, np.float32)


def pitch_hz(pitch: npt.ArrayLike, tuning_cents: float = 0.0) -> FloatArray:
    """Frequency of MIDI pitch numbers (69 = A4 = 440 Hz plus the tuning)."""
    return np.asarray(A4_HZ * 2 ** ((np.asarray(pitch, np.float64) - 69 + tuning_cents / 100) / 12))


def hz_to_pitch(frequency_hz: npt.ArrayLike) -> FloatArray:
    """MIDI pitch number, fractional, of a frequency."""
    return np.asarray(69 + 12 * np.log2(np.asarray(frequency_hz, np.float64) / A4_HZ))


def semitone_edges_hz(lowest: int, highest: int, tuning_cents: float) -> FloatArray:
    """Edges of the semitone bands from ``lowest`` to ``highest``, a quarter tone either side."""
    return pitch_hz(np.arange(lowest, highest + 2) - 0.5, tuning_cents)
