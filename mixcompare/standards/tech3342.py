"""Loudness range after EBU Tech 3342 v4 (2023)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.standards import bs1770

FloatArray = npt.NDArray[np.float64]

# EBU Tech 3342 v4: relative gate, and the range from the 10th to the 95th percentile.
GATE_LU = -20.0
PERCENTILES = (10, 95)


def loudness_range_lu(step_power: FloatArray) -> float | None:
    """Loudness range of K-weighted powers; None where no short-term window passes the gates.

    Parameters
    ----------
    step_power : ndarray, shape (steps, channels)
        As :class:`mixcompare.standards.bs1770.KWeightedPower` yields it.
    """
    windows = bs1770.window_powers(step_power, bs1770.SHORT_TERM_STEPS, hop=10)
    return range_of(bs1770.to_lufs(windows))


def range_of(short_term_lufs: FloatArray) -> float | None:
    """Loudness range of given short-term values; None where all are gated away."""
    loud = short_term_lufs[short_term_lufs > bs1770.ABSOLUTE_GATE_LUFS]
    if len(loud) == 0:
        return None
    gate = 10 * np.log10(np.mean(10 ** (loud / 10))) + GATE_LU
    low, high = np.percentile(loud[loud >= gate], PERCENTILES)
    return float(high - low)
