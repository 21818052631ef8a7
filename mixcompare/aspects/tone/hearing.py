"""Which third octaves can be heard, at the level at which music is taken to be played."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.pair.pair import Pair

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

PLAYBACK_DB_SPL = 75.0
"""Level at which the whole is taken to be heard (common practice, no source)."""
HEARING_THRESHOLD_DB_SPL: FloatArray = np.array(
    [
        78.5, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0,
        2.2, 2.4, 3.5, 1.7, -1.3, -4.2, -6.0, -5.4, -1.5, 6.0, 12.6, 13.9, 12.3, 40.2, 73.0,
    ]
)  # fmt: skip
"""ISO 226:2003, Table 1 (threshold of hearing, 20 Hz to 12.5 kHz); above: ISO 389-7:2005, the last
one extrapolated. From memory. Bands below it can't make a finding."""


def threshold_power(pair: Pair) -> FloatArray:
    """Power at the threshold of hearing in third octaves of each recording, shape (2, 31)."""
    whole = [
        float(features.band_power.sum(axis=(1, 2), dtype=np.float64).mean())
        for features in (pair.reference, pair.candidate)
    ]
    below_db = HEARING_THRESHOLD_DB_SPL - PLAYBACK_DB_SPL
    return np.multiply.outer(whole, 10 ** (below_db / 10))


def audible_bands(power: FloatArray) -> BoolArray:
    """Which bands rise above the threshold of hearing in their loud moments, shape (31,)."""
    whole = float(power.sum(axis=1).mean())
    loud = np.percentile(power, 95, axis=0)
    heard_db = PLAYBACK_DB_SPL + 10 * np.log10(np.maximum(loud, 1e-30) / whole)
    audible: BoolArray = heard_db > HEARING_THRESHOLD_DB_SPL
    return audible
