"""Loudness range after EBU Tech 3342 v4 (2023)."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.standards import bs1770
from mixcompare.statistics import chosen_quantiles

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
    found = ranges_of(bs1770.to_lufs(windows)[:, np.newaxis])[0]
    return None if np.isnan(found) else float(found)


def ranges_of(short_term_lufs: FloatArray) -> FloatArray:
    """Loudness range of given short-term values.

    Parameters
    ----------
    short_term_lufs : ndarray, shape (windows, columns)
        Each column is taken by itself.

    Returns
    -------
    ndarray, shape (columns,)
        In LU; NaN where all are gated away.
    """
    loud = short_term_lufs > bs1770.ABSOLUTE_GATE_LUFS
    power = np.where(loud, 10 ** (short_term_lufs / 10), 0.0)
    heard = loud.any(axis=0)
    mean = power.sum(axis=0)[heard] / loud.sum(axis=0)[heard]
    kept = short_term_lufs[:, heard]
    low, high = chosen_quantiles(
        kept,
        loud[:, heard] & (kept >= 10 * np.log10(mean) + GATE_LU),
        [percentile / 100 for percentile in PERCENTILES],
    )
    out = np.full(short_term_lufs.shape[1], np.nan)
    out[heard] = high - low
    return out
