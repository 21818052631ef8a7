"""What cells gain as notes begin: there a sound comes straight from its place, before the room."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

_OVER = 2  # frames: 0.1 s, about a window of the cells
RISEN = 0.7  # of what a cell then holds: before, it held little. Our choice


def rise(power: FloatArray) -> FloatArray:
    """By how much each cell rose within a tenth of a second, shape (n, bands)."""
    out = np.zeros_like(power)
    out[_OVER:] = power[_OVER:] - power[:-_OVER]
    return out
