"""Reads named values out of a measurement or a difference, whatever is there.

Figures draw what they find: a value that an analyzer could not tell is None, and a series that
it does not offer is missing altogether.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.results import Measured, Results

FloatArray = npt.NDArray[np.float64]


def series(holder: Any, *names: str, minimum: int = 2) -> FloatArray | None:
    """First of the named arrays that is there, None entries as NaN; None where nothing is known."""
    for name in names:
        value = getattr(holder, name, None)
        if value is None or isinstance(value, str):
            continue
        array = np.array(value, np.float64)
        if array.ndim and array.shape[0] >= minimum and np.isfinite(array).any():
            return array
    return None


def bounds(holder: Any, name: str) -> tuple[FloatArray, FloatArray] | None:
    """Lower and upper ends of an array's 95 % intervals, NaN where there is none."""
    value = getattr(holder, f"{name}_interval", None)
    if value is None or len(value) == 0:
        return None
    if any(isinstance(pair, (int, float)) for pair in value):
        return None
    pairs = [(np.nan, np.nan) if pair is None else pair for pair in value]
    array = np.array(pairs, np.float64)
    if array.ndim != 2 or array.shape[1] != 2:
        return None
    array[~np.isfinite(array)] = np.nan
    return array[:, 0], array[:, 1]


def number(holder: Any, *names: str) -> float | None:
    """First of the named values that is a finite number."""
    for name in names:
        value = getattr(holder, name, None)
        if isinstance(value, (int, float)) and np.isfinite(value):
            return float(value)
    return None


def interval(holder: Any, name: str) -> tuple[float, float] | None:
    """95 % interval of a single value."""
    value = getattr(holder, f"{name}_interval", None)
    if value is None or len(value) != 2:
        return None
    if not all(isinstance(bound, (int, float)) for bound in value):
        return None
    low, high = float(value[0]), float(value[1])
    return (low, high) if np.isfinite(low) and np.isfinite(high) else None


def measured(results: Results, aspect: str) -> Measured | None:
    """What was measured of an aspect, if anything."""
    return results.measurements.get(aspect)


def of_length(array: FloatArray | None, other: FloatArray | None) -> bool:
    """Whether both are there and equally long."""
    return array is not None and other is not None and len(array) == len(other)
