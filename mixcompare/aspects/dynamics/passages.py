"""Where another performance stands louder or softer than the reference for a while.

On the aligned clock the level that all registers share is held against the reference's, both as
loud on the whole. What a general difference of the swings explains is taken off first; what is left
and stands out from how much the two wander anyway is told with its place. Of one take the same is
a ride, see :mod:`mixcompare.aspects.dynamics.moves`.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.aspects.dynamics.values import Move

FloatArray = npt.NDArray[np.float64]

_SMOOTH_S = 1.5
_LEAST_DB, _TIMES_SCATTER = 2.0, 2.5
"""Half a step of the written dynamics, some 4 to 6 dB each (common practice, no source); and so
many times the scatter of the whole piece."""
_EDGE = 0.5  # of the size
_GAP_S, _LEAST_S = 1.0, 2.0
_MOST = 6
_INDEPENDENT_S = 2.0
_FINEST_DB = 0.4


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
    rate_hz = 1 / float(times_s[1] - times_s[0])
    level = np.where(told, change_db - np.median(change_db[told]), 0.0)
    size = max(round(_SMOOTH_S * rate_hz), 1)
    share = ndimage.uniform_filter1d(told.astype(np.float64), size)
    smooth = ndimage.uniform_filter1d(level, size) / np.maximum(share, 1e-6)
    heard = share > 0.5
    scatter = 1.4826 * float(np.median(np.abs(smooth[heard]))) if heard.any() else 0.0
    limit = max(_LEAST_DB, _TIMES_SCATTER * scatter)
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
            here = up[frames[0] : frames[-1] + 1][told[frames[0] : frames[-1] + 1]]
            if length_s < _LEAST_S or len(here) == 0 or np.median(here) < limit:
                continue
            half = 1.96 * float(np.hypot(scatter, here.std()))
            half /= max(length_s / _INDEPENDENT_S, 1.0) ** 0.5
            span_s = float(times_s[frames[0]]), float(times_s[frames[-1]])
            value = sign * float(np.median(here))
            found.append(Move(value, (span_s,), False, float(np.hypot(half, _FINEST_DB))))
    found.sort(key=lambda move: abs(move.level_db) * np.ptp(move.spans_s[0]), reverse=True)
    return tuple(sorted(found[:_MOST], key=lambda move: move.spans_s))
