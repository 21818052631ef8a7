"""Usual shapes of filters: shelves and the bell, as analogue prototypes give them.

The bell is the second-order one that is in general use (Bristow-Johnson, "Cookbook formulae for
audio EQ biquad filter coefficients", 1994, also published as a W3C note, 2021, from memory), with
``sharpness`` for its Q. The shelves are of first order, a pole and a zero, and steeper or flatter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


def high_shelf_db(
    centre_hz: FloatArray, gain_db: float, corner_hz: float, slope: float = 1.0
) -> FloatArray:
    """Level that a high shelf gives, shape (bands,): half its gain at the corner.

    With ``slope`` 1 the first-order shelf, whose zero and pole lie as far below the corner and
    above it.
    """
    ratio, half = (centre_hz / corner_hz) ** (2 * slope), 10 ** (gain_db / 20)
    return np.asarray(10 * np.log10((1 + ratio * half) / (1 + ratio / half)))


def low_shelf_db(
    centre_hz: FloatArray, gain_db: float, corner_hz: float, slope: float = 1.0
) -> FloatArray:
    """Level that a low shelf gives, shape (bands,): half its gain at the corner."""
    return gain_db + high_shelf_db(centre_hz, -gain_db, corner_hz, slope)


def bell_db(
    centre_hz: FloatArray, gain_db: float, middle_hz: float, sharpness: float = 1.0
) -> FloatArray:
    """Level that a bell gives, shape (bands,).

    Second order: at the edges of a band of 1 / ``sharpness`` times its middle, half the gain.
    """
    away = (sharpness * (centre_hz / middle_hz - middle_hz / centre_hz)) ** 2
    half = 10 ** (gain_db / 20)
    return np.asarray(10 * np.log10((away + half) / (away + 1 / half)))
