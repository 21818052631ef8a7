"""Where another performance stands louder or softer than the reference for a while.

On the aligned clock the level that all registers share is held against the reference's, both as
loud on the whole. What a general difference of the swings explains is taken off first; what is left
and stands out from how much the two wander anyway is told with its place. Of one take the same is
a ride, see :mod:`mixcompare.aspects.dynamics.moves`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage, special

from mixcompare.aspects.dynamics.values import Move

FloatArray = npt.NDArray[np.float64]

_LOOKS_S = (1.5, 3.0, 6.0, 12.0)
"""Lengths over which the level is averaged. The longer the passage, the less of what the two differ
by anyway is left in it: half a minute of -6 dB in five minutes that wander by 2 dB is told in 38 of
40 made-up courses, by the shortest look alone in 19."""
_FEWEST_LOOKS = 10  # of the whole, for its scatter to be known; our judgement, not measured
_LEAST_DB = 2.0
"""Half a step of the written dynamics, some 4 to 6 dB each (common practice, no source)."""
_BY_CHANCE = 0.05  # passages in a whole that only wanders, were its looks normal and independent
_EDGE = 0.5  # of the size
_GAP_S, _LEAST_S = 1.0, 2.0
_MOST = 6
_INDEPENDENT_S = 2.0
_FINEST_DB = 0.4
_MOSTLY = 0.5  # of a longer passage: shorter ones that make it up are told in its place


def passages_of(change_db: FloatArray, times_s: FloatArray) -> tuple[Move, ...]:
    """Stretches of at least two seconds that are louder or softer than the rest.

    Parameters
    ----------
    change_db : ndarray, shape (n,)
        Level of the whole, candidate minus reference; NaN in rests.
    times_s : ndarray, shape (n,)
        Evenly spaced.

    Returns
    -------
    tuple of Move
        In order of time; the six largest, by size times length.
    """
    told = np.isfinite(change_db)
    if told.sum() < 3 or np.ptp(times_s[told]) < 2 * _LEAST_S:
        return ()
    level = np.where(told, change_db - np.median(change_db[told]), 0.0)
    whole_s = float(np.ptp(times_s))
    found: list[Move] = []
    for look_s in _LOOKS_S:
        if look_s > _LOOKS_S[0] and whole_s < _FEWEST_LOOKS * look_s:
            break
        for move in _at_one_look(level, told, times_s, look_s):
            inside = [one for one in found if _overlap_s(one, move) > 0]
            covered_s = sum(_overlap_s(one, move) for one in inside)
            if covered_s <= _MOSTLY * _length_s(move):
                found = [one for one in found if one not in inside]
                found.append(move)
    found.sort(key=lambda move: abs(move.level_db) * _length_s(move), reverse=True)
    return tuple(sorted(found[:_MOST], key=lambda move: move.spans_s))


def _length_s(move: Move) -> float:
    return float(np.ptp(move.spans_s[0]))


def _overlap_s(one: Move, other: Move) -> float:
    """How long two moves in one direction go together."""
    (start_s, end_s), (first_s, last_s) = one.spans_s[0], other.spans_s[0]
    together_s = min(end_s, last_s) - max(start_s, first_s)
    return max(together_s, 0.0) if one.level_db * other.level_db > 0 else 0.0


def _at_one_look(
    level: FloatArray, told: npt.NDArray[np.bool_], times_s: FloatArray, look_s: float
) -> list[Move]:
    """What stands out from the scatter of averages over so many seconds."""
    rate_hz = 1 / float(times_s[1] - times_s[0])
    size = max(round(look_s * rate_hz), 1)
    share = ndimage.uniform_filter1d(told.astype(np.float64), size)
    smooth = ndimage.uniform_filter1d(level, size) / np.maximum(share, 1e-6)
    heard = share > 0.5
    scatter = 1.4826 * float(np.median(np.abs(smooth[heard]))) if heard.any() else 0.0
    looks = max(np.ptp(times_s) / look_s, 1.0)
    limit = max(_LEAST_DB, float(special.ndtri(1 - _BY_CHANCE / (2 * looks))) * scatter)
    found = []
    for sign in (1.0, -1.0):
        up = np.where(heard, sign * smooth, 0.0)
        near = ndimage.binary_propagation(up > limit, mask=up > _EDGE * limit)
        near = ndimage.binary_closing(near, np.ones(max(round(_GAP_S * rate_hz), 1)))
        labels, count = ndimage.label(near)
        for index in range(1, count + 1):
            frames = np.flatnonzero(labels == index)
            # An edge lies where half of the move is done.
            high = np.percentile(up[frames], 75)
            frames = frames[up[frames] > _EDGE * high]
            length_s = (frames[-1] - frames[0] + 1) / rate_hz
            inside = np.flatnonzero(told[frames[0] : frames[-1] + 1]) + frames[0]
            here = up[inside]
            if length_s < max(_LEAST_S, look_s) or len(here) == 0:
                continue
            value = float(np.median(level[inside]))
            if sign * value < limit:
                continue
            half = 1.96 * float(np.hypot(scatter, here.std()))
            half /= max(length_s / max(_INDEPENDENT_S, look_s), 1.0) ** 0.5
            span_s = float(times_s[frames[0]]), float(times_s[frames[-1]])
            found.append(Move(value, (span_s,), False, float(np.hypot(half, _FINEST_DB))))
    return found
