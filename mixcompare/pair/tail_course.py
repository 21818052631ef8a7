"""A tail's course in a response: where it sets in, how far it goes, how fast it falls."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from mixcompare.pair.response import STEP_S, Response

FloatArray = npt.NDArray[np.float64]

MIDDLE = slice(1, 3)  # registers: 282 Hz to 2.8 kHz
NEAREST_S = 0.005  # before it, what is read as the direct part has its skirts
_FARTHEST_S = 2.0  # a tail's onset is sought until then; our choice
_SETS_IN = 1 / 8  # of the densest energy
_CLEAR = 1.5  # of energy over floor, for a tail to be followed on
_CLEAR_FALL = 5.0  # of energy over floor, chosen on the real take
# The range of T20 in ISO 3382-1:2009; the least of it and of bins were chosen on the real take
# (``tests.benchmarks.added_tails``).
_FALL_DB, _LEAST_FALL_DB = (-5.0, -25.0), 6.0
_LEAST_FALL_BINS = 16  # 40 ms
_FALL_ROUNDS = 4  # cost: decay and what lies behind it by turns


def extent(response: Response) -> tuple[int, int]:
    """First bin of the tail, and the one behind its last that stands clear of the floor."""
    energy, floor = response.energy.sum(axis=0), response.floor.sum(axis=0)
    floor = uniform_filter1d(floor, 41)
    last = round(_FARTHEST_S / STEP_S)
    dense = uniform_filter1d(energy - floor, 3)[:last]
    dense[: round(NEAREST_S / STEP_S)] = 0.0
    first = int(np.argmax(dense > _SETS_IN * dense.max())) + 1
    start = first + 8
    drowned = uniform_filter1d(energy, 21)[start:last] < _CLEAR * floor[start:last]
    return first, start + int(drowned.argmax()) if drowned.any() else last


def stop_of_fall(response: Response, first: int, behind: int) -> int:
    """Bin behind the part of the fall that stands well clear of the floor."""
    energy, floor = (each[MIDDLE].sum(axis=0) for each in (response.energy, response.floor))
    start = first + _LEAST_FALL_BINS
    drowned = uniform_filter1d(energy, 9) < _CLEAR_FALL * uniform_filter1d(floor, 41)
    drowned = drowned[start:behind]
    return start + int(drowned.argmax()) if drowned.any() else max(start, behind)


def decay_time_s(response: Response, first: int, stop: int) -> float | None:
    """Time for 60 dB in the middle registers: T20 where 25 dB stand clear, else as far as it is.

    By backward integration (ISO 3382-1:2009, 5.3.3); what lies behind the clear part is added as
    an exponential of the slope that comes out.
    """
    energy, floor = (each[MIDDLE].sum(axis=0) for each in (response.energy, response.floor))
    excess = (energy - floor)[first:stop]
    last = max(float(excess[-8:].mean()), 0.0)
    curve = np.cumsum(excess[::-1])[::-1]
    time_s, rest = np.arange(len(curve)) * STEP_S, 0.0
    decay_s = None
    for _ in range(_FALL_ROUNDS):
        level = 10 * np.log10(np.maximum(curve + rest, 1e-15) / (curve[0] + rest))
        inside = (level < _FALL_DB[0]) & (level > _FALL_DB[1])
        if inside.sum() < _LEAST_FALL_BINS or np.ptp(level[inside]) < _LEAST_FALL_DB:
            return None
        slope = np.polyfit(time_s[inside], level[inside], 1)[0]
        if slope >= 0:
            return None
        decay_s = float(-60 / slope)
        rest = last * decay_s / (6 * np.log(10) * STEP_S)
    return decay_s
