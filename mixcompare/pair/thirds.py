"""Values per third-octave band as plain tuples, and frequencies in words.

Conventions
-----------
A tuple has one entry per band of :mod:`mixcompare.standards.iec61260`, None where the value can't
be told.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

BandValues = tuple[float | None, ...]
BandIntervals = tuple[tuple[float, float] | None, ...]

BANDS = len(THIRD_OCTAVE_CENTRES_HZ)
NOTHING: tuple[None, ...] = (None,) * BANDS
CENTRES_HZ: tuple[float, ...] = tuple(float(value) for value in THIRD_OCTAVE_CENTRES_HZ)


def values(array: npt.NDArray[np.float64], known: npt.NDArray[np.bool_]) -> BandValues:
    """Entries of an array, shape (31, ...) or longer, where they are known."""
    return tuple(float(array[band]) if known[band] else None for band in range(BANDS))


def pairs(
    low: npt.NDArray[np.float64], high: npt.NDArray[np.float64], known: npt.NDArray[np.bool_]
) -> BandIntervals:
    """Intervals, where they are known."""
    return tuple(
        (float(low[band]), float(high[band])) if known[band] else None for band in range(BANDS)
    )


def spoken_hz(frequency_hz: float) -> str:
    """A frequency with two digits: ``400 Hz``, ``2.5 kHz``."""
    digits = 1 - math.floor(math.log10(frequency_hz))
    rounded = round(frequency_hz, digits)
    return f"{rounded / 1000:g} kHz" if rounded >= 1000 else f"{rounded:.0f} Hz"
