"""Where the whole of one take was ridden or faded: a level that all cells share, whatever plays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.aspects.dynamics.values import Move
from mixcompare.pair.following import FOLLOWS, following, heard_in
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# 1 dB as of a level in ISO 3382-1:2009 Table A.1; the others are our judgement, not measured.
_LEAST_DB, _LEAST_S = 1.0, 1.0
_SHARED = 0.5
"""Of the swing: under 2:1 compression, alone and beside an element changed by 5 dB, 0.97 to 1.05
(two scores)."""
_LEAST_BESIDE = 3.0, 2.0
"""Times the spread of what is left, and dB, for a move beside a gain that follows the music: it
does not follow it to the dot."""
_KNEES = (10, 25, 40, 50, 60, 75, 90)  # percentiles of the music's level; resolution
_KNEE_EXPLAINS = 0.9
"""Of the variance: under 2:1 compression 0.93 to 0.97, of a ride or a fade 0.07 to 0.49 (three
scores)."""
_STRAIGHT, _STRAIGHT_BESIDE = 0.9, 0.7
"""Of the variance, for a fade, alone and beside a gain that follows the music (2:1 and a fade of
6 dB leave 0.10 to 0.18 on three scores, 2:1 alone 0.98 and more)."""


def moves_of(pair: Pair) -> tuple[Move, ...]:
    """A fade from end to end, or the stretches that are louder or softer than the rest."""
    if not pair.ride.moves:
        return ()
    times_s, level = pair.spectra.times_s, pair.ride.level_db
    loud_db, heard = heard_in(pair.ride, pair.spectra)
    if _above_a_knee(level[heard], loud_db[heard] + level[heard] / 2):
        return ()
    least, straight = _LEAST_DB, _STRAIGHT
    per_db = following(pair.ride, pair.spectra)
    if abs(per_db) > FOLLOWS:
        # What follows the music's own level is swings, no hand on the fader.
        level = level - per_db * loud_db
        level = np.where(heard, level - np.median(level[heard]), 0.0)
        spread = 1.4826 * float(np.median(np.abs(level[heard])))
        least, straight = max(_LEAST_BESIDE[0] * spread, _LEAST_BESIDE[1]), _STRAIGHT_BESIDE
    slope, start = np.polyfit(times_s, level, 1)
    rest = level - start - slope * times_s
    if rest.var() < (1 - straight) * level.var():
        change = float(slope * np.ptp(times_s))
        return (Move(change, (pair.span_s,), True),) if abs(change) >= _LEAST_DB else ()
    found = []
    for sign in (1.0, -1.0):
        # An edge lies where half of the move is done.
        over = sign * level > 0.5 * max(float(np.max(sign * level)), 2 * least)
        over = ndimage.binary_closing(over, np.ones(round(_LEAST_S * RATE_HZ)))
        edges = np.flatnonzero(np.diff(np.concatenate([[0], over.astype(np.int8), [0]])))
        runs = [(first, last) for first, last in edges.reshape(-1, 2)]
        runs = [run for run in runs if run[1] - run[0] >= _LEAST_S * RATE_HZ]
        runs = [run for run in runs if np.median(sign * level[run[0] : run[1]]) >= least]
        if runs:
            inside = np.concatenate([level[first:last] for first, last in runs])
            spans = tuple((float(times_s[first]), float(times_s[last - 1])) for first, last in runs)
            found.append(Move(float(np.median(inside)), spans, False))
    return tuple(found)


def shares_a_swing(pair: Pair, swing: float) -> bool:
    """Whether the whole was moved by a gain that follows the music, about as a swing has it.

    All that begins was moved by it alike, whatever played: no element's level nor another room,
    whose tail comes later, does so.

    Parameters
    ----------
    pair : Pair
        As it is.
    swing : float
        Swing of the candidate where the reference's is 1, less 1; dB per dB.
    """
    return swing != 0 and pair.following_in_attacks / swing > _SHARED


def made_by(moves: Sequence[Move], times_s: FloatArray) -> FloatArray:
    """Level of the whole at the given times, as the moves alone would have it; shape (n,)."""
    level = np.zeros(len(times_s))
    for move in moves:
        for start_s, end_s in move.spans_s:  # of a fade the only one
            share = (np.clip(times_s, start_s, end_s) - start_s) / (end_s - start_s)
            inside = (times_s >= start_s) & (times_s <= end_s)
            level += move.level_db * (share if move.is_fade else inside)
    return level


def _above_a_knee(level_db: FloatArray, loud_db: FloatArray) -> bool:
    """Whether the level is the music's own above some level: a threshold, and no hand's doing."""
    if len(level_db) < 3 or level_db.var() <= 0:
        return False
    for knee_db in np.percentile(loud_db, _KNEES):
        above = np.column_stack([np.maximum(loud_db - knee_db, 0), np.ones(len(loud_db))])
        fitted, *_ = np.linalg.lstsq(above, level_db, rcond=None)
        if (level_db - above @ fitted).var() < (1 - _KNEE_EXPLAINS) * level_db.var():
            return True
    return False
