"""Whether what looks like a move of the whole took every cell along, or left some behind.

A fader moves all cells of a moment alike, an element the cells in which it plays. Where one element
and few others play, most cells of a moment may agree on a level that is only the element's. So each
cell of such a stretch is asked twice how often its band differs like that everywhere else: with the
move taken off, and as it stands. After a move of the whole next to no cell stands as if nothing had
moved.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.statistics import quantiles_by_column, weighted_quantile

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_STEP_DB, _MOST_DB = 0.25, 20.0  # resolution of the differences
_BLUR_STEPS = 1.2  # resolution: 0.3 dB
_NEXT_BANDS = 4.0  # a band that seldom sounds goes by those around it; our judgement, not measured
_BORROWED_S = 0.5  # of sound, by which they count; our judgement, not measured
_RARE = 1e-3  # guard against log of nothing
_CLEARLY = 4.0
"""Times likelier, for a cell that tells; our judgement, not measured."""
_MOST_LEFT = 0.2
"""Of the cells that tell: 0.28 and more of a stretch stood still where a section of the orchestra
was changed and nothing else (17 stretches, twelve passages of three scores); at most 0.11 under
rides and fades, beside a changed section as well (89 stretches)."""

_RARELY, _AROUND = 0.2, 13  # of a band's moments; bands: an octave. Our judgement, not measured
_SAME_DB = 0.75  # agreement of the cells of a move; other reverberation softens what plays alone
_SELDOM = 0.1  # of the moments, at any other level; under 2:1 0.12 and more
_HEARD, _MISSING, _LARGEST = 0.05, 0.25, 0.9
"""Of the sound, for an element that is heard elsewhere; of that, where it is not; and quantile of
what it moves there, for its own size. Our judgement, not measured."""


def without_moves_of_some(
    difference_db: FloatArray,
    weight: FloatArray,
    level_db: FloatArray,
    known: BoolArray,
    far_db: float,
    rate_hz: float,
) -> tuple[FloatArray, BoolArray]:
    """The course of a level without the stretches in which it left cells behind.

    Parameters
    ----------
    difference_db, weight : ndarray, shape (n, bands)
        Level difference of every cell and how much it counts.
    level_db : ndarray, shape (n,)
        What is said to move all cells.
    known : ndarray of bool, shape (n,)
        Where it was read; it is carried on over the others.
    far_db : float
        From which on it is a move.
    rate_hz : float
        Moments a second.

    Returns
    -------
    level_db : ndarray, shape (n,)
        Carried on over those stretches.
    stood : ndarray of bool, shape (n,)
        Those stretches.
    """
    stretches = _stretches(level_db, far_db)
    stood = np.zeros(len(level_db), bool)
    if not stretches:
        return level_db, stood
    moving, still = _steps(difference_db - level_db[:, None]), _steps(difference_db)
    weight = weight.copy()
    weight[np.concatenate(stretches)] *= known[np.concatenate(stretches), None]
    whole = _counts(moving, weight)
    # What an element moves by is one amount in all bands only once a filter is off them.
    beside = difference_db - level_db[:, None]
    unfiltered = _steps(beside - _steady_db(beside, weight))
    for stretch in stretches:
        elsewhere = whole - _counts(moving[stretch], weight[stretch])
        likely = _likely(elsewhere, _BORROWED_S * rate_hz)
        bands = np.arange(weight.shape[1])
        as_moved, as_it_stands = (likely[bands, each[stretch]] for each in (moving, still))
        counts = weight[stretch]
        left = counts[as_it_stands > _CLEARLY * as_moved].sum()
        came_along = counts[as_moved > _CLEARLY * as_it_stands].sum()
        by_db = float(np.median(level_db[stretch][known[stretch]]))
        # Under a compressor the level is another one all the time, and now and then this one.
        others = (np.abs(level_db) >= far_db) & (np.abs(level_db - by_db) > _SAME_DB)
        stood[stretch] = left > _MOST_LEFT * (left + came_along) or (
            others.mean() < _SELDOM
            and _is_element_alone(
                _heights(unfiltered, weight) - _heights(unfiltered[stretch], weight[stretch]),
                _heights(unfiltered[stretch], counts),
                by_db,
            )
        )
    if stood.any():
        places = np.arange(len(level_db))
        level_db = np.interp(places, places[~stood], level_db[~stood])
    return level_db, stood


def _is_element_alone(elsewhere: FloatArray, here: FloatArray, level_db: float) -> bool:
    """Whether a stretch moved by just what an element moves by everywhere else, and it is not here.

    Then it is here, and nearly alone: a move of the whole would have moved it once more.

    Parameters
    ----------
    elsewhere, here : ndarray, shape (steps,)
        Weight at every step of the difference, the move taken off.
    level_db : float
        Of the move.
    """
    elsewhere, here = (each / max(float(each.sum()), 1e-30) for each in (elsewhere, here))
    at_db = np.arange(len(elsewhere)) * _STEP_DB - _MOST_DB
    # Of an element and others in one cell every size up to its own is made, and none beyond.
    moved = np.where(at_db * np.sign(level_db) > abs(level_db) / 2, elsewhere, 0.0)
    if moved.sum() < _HEARD:
        return False
    own_db = weighted_quantile(np.abs(at_db), moved, _LARGEST)
    same = np.abs(at_db - level_db) <= _SAME_DB
    alike = abs(own_db - abs(level_db)) <= _SAME_DB
    return bool(alike and here[same].sum() < _MISSING * elsewhere[same].sum())


def _steady_db(difference_db: FloatArray, weight: FloatArray) -> FloatArray:
    """What a filter moves every band by: what nearly all of its moments share, as those around."""
    low, high = quantiles_by_column(difference_db, weight, (_RARELY, 1 - _RARELY))
    steady = np.maximum(low, 0.0) + np.minimum(high, 0.0)
    return np.asarray(ndimage.median_filter(steady, _AROUND, mode="nearest"))


def _heights(steps: npt.NDArray[np.int64], weight: FloatArray) -> FloatArray:
    """Weight at every step of the difference, of all bands."""
    return np.asarray(_counts(steps, weight).sum(axis=0))


def _stretches(level_db: FloatArray, far_db: float) -> list[npt.NDArray[np.int64]]:
    """Moments that go together, from where half of a move is done."""
    found = []
    for sign in (1.0, -1.0):
        near = ndimage.binary_propagation(
            sign * level_db >= far_db, mask=sign * level_db > 0.5 * far_db
        )
        labels, count = ndimage.label(near)
        found += [np.flatnonzero(labels == index) for index in range(1, count + 1)]
    return found


def _steps(difference_db: FloatArray) -> npt.NDArray[np.int64]:
    inside = np.clip(difference_db, -_MOST_DB, _MOST_DB) + _MOST_DB
    return np.asarray(np.rint(inside / _STEP_DB), np.int64)


def _counts(steps: npt.NDArray[np.int64], weight: FloatArray) -> FloatArray:
    """Weight of every band at every step of the difference, shape (bands, steps)."""
    bands, count = weight.shape[1], round(2 * _MOST_DB / _STEP_DB) + 1
    places = np.arange(bands) * count + steps
    counts = np.bincount(places.ravel(), weight.ravel(), bands * count)
    return np.asarray(counts.reshape(bands, count), np.float64)


def _likely(counts: FloatArray, borrowed: float) -> FloatArray:
    """How likely each band differs by so much, going by its neighbours where it seldom sounds."""
    own = ndimage.gaussian_filter1d(counts, _BLUR_STEPS, axis=1, mode="constant")
    around = ndimage.gaussian_filter1d(own, _NEXT_BANDS, axis=0)
    usual = (_shares(around) + _shares(own.sum(axis=0, keepdims=True))) / 2
    out = (own + borrowed * usual) / (own.sum(axis=1, keepdims=True) + borrowed)
    return np.asarray(out + _RARE)


def _shares(counts: FloatArray) -> FloatArray:
    return np.asarray(counts / np.maximum(counts.sum(axis=1, keepdims=True), 1e-30))
