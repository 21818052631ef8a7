"""Values of a measurement as arrays: what an analyzer could not tell is NaN there."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]
Interval = tuple[float, float]


def series(values: Sequence[float | None] | FloatArray, minimum: int = 2) -> FloatArray | None:
    """The values as an array; None where they are too few, or nothing is known."""
    array = np.array(values, np.float64)
    return array if len(array) >= minimum and np.isfinite(array).any() else None


def bounds(intervals: Sequence[Interval | None]) -> tuple[FloatArray, FloatArray]:
    """Lower and upper ends of 95 % intervals, NaN where there is none."""
    pairs = [(np.nan, np.nan) if pair is None else pair for pair in intervals]
    array = np.array(pairs, np.float64).reshape(-1, 2)
    array[~np.isfinite(array)] = np.nan
    return array[:, 0], array[:, 1]


def closed(interval: Interval | None) -> Interval | None:
    """A 95 % interval that can be drawn: None where an end is open."""
    return interval if interval is not None and np.isfinite(interval).all() else None
