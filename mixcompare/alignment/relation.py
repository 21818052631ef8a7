"""Same take, same passage, or other music; and how sure.

The one statistic that tells other music apart is the correlation of both harmonies over the
final map: log energy per semitone (not folded into pitch classes), minus each semitone's mean
over time, minus the frame's mean.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.representation import Representation
from mixcompare.timemap import TimeMap, sample_frames

FloatArray = npt.NDArray[np.float64]

_RATE_HZ = 10.0
_HALF_SURE = 0.40
"""Correlation at which the same passage and other music are equally likely."""
_SPREAD = 0.03


def harmony_agreement(
    reference: Representation, candidate: Representation, time_map: TimeMap
) -> float:
    """Correlation of both harmonies over the mapped passage, -1 to 1."""
    start, end = time_map.span_s
    times = np.arange(start, end, 1 / _RATE_HZ)
    times = times[time_map.covers(times)]
    if len(times) < 20:
        return 0.0
    a = sample_frames(reference.harmony(_RATE_HZ, normalised=False), _RATE_HZ, times)
    b = sample_frames(
        candidate.harmony(_RATE_HZ, normalised=False), _RATE_HZ, time_map.to_candidate(times)
    )
    a, b = (rows - rows.mean(axis=0) for rows in (a, b))
    a, b = (rows - rows.mean(axis=1, keepdims=True) for rows in (a, b))
    return float((a * b).sum() / np.sqrt((a * a).sum() * (b * b).sum() + 1e-12))


def passage_probability(agreement: float, duration_s: float) -> float:
    """Probability that two recordings with this agreement hold the same passage.

    A logistic curve; short matches correlate by chance more easily, so they need more.
    """
    needed = _HALF_SURE + 0.05 * max(0.0, 1 - duration_s / 15)
    return float(1 / (1 + np.exp(-np.clip((agreement - needed) / _SPREAD, -50, 50))))
