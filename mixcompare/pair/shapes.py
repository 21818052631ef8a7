"""Usual shapes of filters: shelves, the bell and the cut, as analogue prototypes give them.

The bell is the second-order one that is in general use (Bristow-Johnson, "Cookbook formulae for
audio EQ biquad filter coefficients", 1994, also published as a W3C note, 2021, from memory), with
``sharpness`` for its Q. The shelves are of first order, a pole and a zero, and steeper or flatter.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

PER_ORDER_DB = 6.02
"""20 lg 2: fall of one order over an octave."""


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


def low_cut_db(centre_hz: FloatArray, corner_hz: float, slope_db_per_octave: float) -> FloatArray:
    """Level that a low cut leaves, shape (bands,): see :func:`cut_db`."""
    return cut_db(np.log2(corner_hz / centre_hz), slope_db_per_octave)


def cut_db(beyond_octaves: FloatArray, slope_db_per_octave: float | FloatArray) -> FloatArray:
    """Level so many octaves beyond a cut's corner, where 3 dB are lost.

    The maximally flat low- and high-pass of Butterworth (1930), 6.02 dB an octave per order; with
    a slope above zero what it gives back.
    """
    steep = np.abs(slope_db_per_octave) / PER_ORDER_DB
    lost_db = 10 * np.log10(1 + 2.0 ** np.minimum(2 * steep * beyond_octaves, 60.0))
    return np.asarray(np.sign(slope_db_per_octave) * lost_db)
