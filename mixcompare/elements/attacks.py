"""What cells gain as notes begin: there a sound comes straight from its place, before the room."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_OVER = 2  # frames: 0.1 s, about a window of the cells
_RISEN = 0.7  # of what a cell then holds: before, it held little. Our choice


def rise(power: FloatArray) -> FloatArray:
    """By how much each cell rose within a tenth of a second, shape (n, bands)."""
    out = np.zeros_like(power)
    out[_OVER:] = power[_OVER:] - power[:-_OVER]
    return out


def risen(power: FloatArray) -> BoolArray:
    """Cells in which most of what they hold has just come, shape (n, bands)."""
    return np.asarray((power > 0) & (rise(power) > _RISEN * power))


def place_of_rise(power: FloatArray, right_less_left: FloatArray, where: BoolArray) -> FloatArray:
    """Right less left of what cells gain, over all of it; zero elsewhere."""
    gained = np.where(where, rise(power), 1.0)
    return np.clip(np.where(where, rise(right_less_left), 0.0) / gained, -1, 1)
