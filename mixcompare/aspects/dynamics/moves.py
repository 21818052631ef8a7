"""Where the whole of one take was ridden or faded: a level that all cells share, whatever plays."""

from __future__ import annotations

import numpy as np

from mixcompare.aspects.dynamics.values import Move
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ

# 1 dB as of a level in ISO 3382-1:2009 Table A.1; the others are our judgement, not measured.
_LEAST_DB, _LEAST_S = 1.0, 1.0
_RANGE_DB, _GOES_WITH_LEVEL = 40.0, 0.6
_STRAIGHT = 0.9  # of the variance, for a fade


def moves_of(pair: Pair) -> tuple[Move, ...]:
    """A fade from end to end, or the stretches that are louder or softer than the rest."""
    if not pair.ride.moves:
        return ()
    times_s, level = pair.spectra.times_s, pair.ride.level_db
    loud_db = 10 * np.log10(pair.spectra.reference.sum(axis=1) + 1e-30)
    heard = loud_db > loud_db.max() - _RANGE_DB
    if abs(np.corrcoef(level[heard], loud_db[heard])[0, 1]) > _GOES_WITH_LEVEL:
        return ()  # a gain that follows the music's own level: swings, not a hand on the fader
    slope, start = np.polyfit(times_s, level, 1)
    rest = level - start - slope * times_s
    if rest.var() < (1 - _STRAIGHT) * level.var():
        change = float(slope * np.ptp(times_s))
        return (Move(change, (pair.span_s,), True),) if abs(change) >= _LEAST_DB else ()
    found = []
    for sign in (1.0, -1.0):
        # An edge lies where half of the move is done.
        over = sign * level > 0.5 * max(float(np.max(sign * level)), 2 * _LEAST_DB)
        edges = np.flatnonzero(np.diff(np.concatenate([[0], over.astype(np.int8), [0]])))
        runs = [(first, last) for first, last in edges.reshape(-1, 2)]
        runs = [run for run in runs if run[1] - run[0] >= _LEAST_S * RATE_HZ]
        if runs:
            inside = np.concatenate([level[first:last] for first, last in runs])
            spans = tuple((float(times_s[first]), float(times_s[last - 1])) for first, last in runs)
            found.append(Move(float(np.median(inside)), spans, False))
    return tuple(found)
