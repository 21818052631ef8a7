"""A gain of the whole, taken off a take's cells before single elements are sought.

Two mixes of one take may differ by a gain that moves with time (a ride, a fade, a compressor). It
moves all cells of a moment alike; an element changes the cells in which it plays. Only for one
take: of two performances no cell is exact.

Conventions
-----------
Of the candidate against the reference: a ride is the level of each moment against the median one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.features.grid import LONG_WINDOW_BELOW_HZ
from mixcompare.pair.left_behind import without_moves_of_some
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import densest, densest_by_row, weighted_medians

FloatArray = npt.NDArray[np.float64]

_LEVEL_SHARE = 0.3  # of the cells' weight, that agree on the level; our judgement, not measured
_RIDE_WITHIN_DB = (1.5, 0.75)
"""Agreement of a moment's cells, first about each band's plain median, which a strong move drags
away from its place, then about the median with that move taken off."""
_RIDE_SHARE = 0.65  # of the cells' weight, that move alike; our judgement, not measured
_USUAL_CELLS = 0.6  # of the audible cells of a typical moment: fewer are one element's own
_SELDOM = 0.01  # of its loudest moment: a band that is heard seldom must not outvote the others
_LEAST_RIDE_DB = 0.8
_LEAST_RIDE_S = 1.0
_LEAST_GRADUAL = 4  # moments; one window reaches over as many
_CLEARLY_MORE = 0.1  # of the moments; our judgement, not measured
_UNTOLD_S = 0.5  # shorter gaps are bridged
_LONG_WINDOW, _SHORT_WINDOW = (6.0, 4), (15.0, 2)
"""Fastest move in dB/s that is judged, and frames around a faster one that are not: on a string
orchestra under a compressor nine cells in ten then stay within 0.6 dB, below 220 Hz (window
0.34 s) as above it (0.17 s)."""


def without_cells(spectra: PairSpectra, cells: npt.NDArray[np.bool_]) -> PairSpectra:
    """The same, some cells silent in both: nothing is heard there, and nothing differs."""
    reference, candidate = (
        np.where(cells, 0.0, power) for power in (spectra.reference, spectra.candidate)
    )
    return replace(spectra, reference=reference, candidate=candidate)


def not_judged(spectra: PairSpectra, cells: npt.NDArray[np.bool_]) -> PairSpectra:
    """The same, some cells left out of the judgement: there the candidate's are the reference's."""
    judged = ~cells if spectra.judged is None else spectra.judged & ~cells
    candidate = np.where(cells, spectra.reference, spectra.candidate)
    return replace(spectra, candidate=candidate, judged=np.broadcast_to(judged, candidate.shape))


def with_ride_undone(spectra: PairSpectra, ride: Ride) -> PairSpectra:
    """The same cells with the candidate's level held still.

    Cells whose windows saw the fader move are not judged.
    """
    speed = np.abs(np.gradient(ride.level_db)) * RATE_HZ
    settled = np.empty(spectra.reference.shape, bool)
    long = spectra.centre_hz < LONG_WINDOW_BELOW_HZ
    for bands, (fastest, frames) in ((long, _LONG_WINDOW), (~long, _SHORT_WINDOW)):
        moves = (speed > fastest) | ~ride.told
        settled[:, bands] = ~ndimage.binary_dilation(moves, iterations=frames)[:, None]
    still = replace(
        spectra, candidate=spectra.candidate * 10 ** (-ride.level_db / 10)[:, None], judged=settled
    )
    return not_judged(levelled(still), ~settled)


def levelled(spectra: PairSpectra) -> PairSpectra:
    """The same cells without the level on which most of them agree."""
    softer = np.minimum(spectra.reference, spectra.candidate)
    weight = np.where(spectra.audible, softer**0.3, 0.0)
    width, middle = densest(spectra.difference_db, weight, _LEVEL_SHARE)
    return spectra.raised(-middle) if np.isfinite(width) else spectra


@dataclass(frozen=True)
class Ride:
    """Level of every moment against the median one, which all cells share.

    Attributes
    ----------
    level_db : ndarray, shape (n,)
        At the spectra's times; zero throughout where it stays.
    told : ndarray, shape (n,)
        False where too few cells agree for it to be told.
    settled : bool
        Whether next to all moments' cells agree, so that nothing else needs to be asked.
    """

    level_db: FloatArray
    told: npt.NDArray[np.bool_]
    settled: bool = False

    @property
    def moves(self) -> bool:
        """Whether the whole was ridden at all."""
        return bool(self.level_db.any())


def ride_between(spectra: PairSpectra) -> Ride:
    """Find what moves the whole over time, whatever plays.

    Parameters
    ----------
    spectra : PairSpectra
        Of one take.

    Returns
    -------
    Ride
        At ``spectra.times_s``.
    """
    frames = len(spectra.times_s)
    still = np.zeros(frames)
    if frames < _LEAST_RIDE_S * RATE_HZ or not spectra.audible.any():
        return Ride(still, np.ones(frames, bool))
    softer = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)
    # Every band counts alike: a loud one must not outvote the others.
    loud = np.maximum(np.percentile(softer, 95, axis=0), _SELDOM * softer.max(axis=0))
    weight = (softer / np.maximum(loud, 1e-30)) ** 0.15
    weight = np.where(softer > 0, weight, 0.0)
    difference = spectra.difference_db
    loads = weight.sum(axis=1)
    full = loads >= _USUAL_CELLS * np.median(loads)
    # Bands first: a filter may lie between the two. Only where many moments agree on nothing then,
    # moments first: a band that sounds only while the level is another takes it for its own.
    told, known = _moments_db(difference, weight, full, still)
    if known.mean() < 1 - _CLEARLY_MORE:
        medians = _medians_of_moments(difference, weight)
        moments_first = _moments_db(difference, weight, full, medians)
        if moments_first[1].mean() > known.mean() + _CLEARLY_MORE:
            told, known = moments_first
    if known.mean() < 0.5:
        return Ride(still, np.ones(frames, bool))
    agreeing = known
    middle = np.median(told[known])
    known = _with_thin_moments(told, known)
    level = np.interp(np.arange(frames), np.flatnonzero(known), told[known])
    # Few cells that agree on a level of their own: one element, or the whole in a pause.
    apart = ~full & (np.abs(told - level) > _RIDE_WITHIN_DB[-1])
    level -= middle
    level, stood = without_moves_of_some(difference, weight, level, known, _LEAST_RIDE_DB, RATE_HZ)
    far = known & (np.abs(level) >= _LEAST_RIDE_DB)
    if far.sum() < _LEAST_RIDE_S * RATE_HZ and not _is_gradual(level, far):
        settled = agreeing[full].mean() > 1 - _CLEARLY_MORE
        return Ride(still, np.ones(frames, bool), bool(settled))
    untold = ndimage.binary_opening(~known, np.ones(round(_UNTOLD_S * RATE_HZ)))
    first, *_, last = np.flatnonzero(known)
    inside = (np.arange(frames) >= first) & (np.arange(frames) <= last)
    return Ride(level, inside & (stood | ~untold & ~apart))


def _moments_db(
    difference_db: FloatArray, weight: FloatArray, full: npt.NDArray[np.bool_], level_db: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Level that most cells of each moment share beside their bands' own, and where it is known."""
    moments = np.arange(len(full))
    for within_db in _RIDE_WITHIN_DB:
        moving = difference_db - weighted_medians(difference_db - level_db[:, None], weight)
        told = _shared_db(moving, weight, within_db)
        known = full & np.isfinite(told)
        if known.mean() < 0.5:
            break
        level_db = np.interp(moments, np.flatnonzero(known), told[known])
    return told, known


def _with_thin_moments(told_db: FloatArray, known: npt.NDArray[np.bool_]) -> npt.NDArray[np.bool_]:
    """Moments where the level is known, with those of few cells that only carry it on.

    One element's own level differs by a step from what all moved by before; as the whole dies away
    under a moving gain there is none.
    """
    known = known.copy()
    for places in (range(1, len(known)), range(len(known) - 2, -1, -1)):
        step = 1 if places.step > 0 else -1
        for place in places:
            if known[place - step] and not known[place]:
                known[place] = abs(told_db[place] - told_db[place - step]) < _RIDE_WITHIN_DB[-1]
    return known


def _is_gradual(level_db: FloatArray, far: npt.NDArray[np.bool_]) -> bool:
    """Whether the level goes to where it is far, and back, without a step.

    A gain that follows the music does so as a piece dies away; one stroke of one element does not.
    """
    if far.sum() < _LEAST_GRADUAL:
        return False
    steps = np.abs(np.diff(level_db)) >= _RIDE_WITHIN_DB[-1]
    return not (steps & (far[1:] | far[:-1])).any()


def _medians_of_moments(difference_db: FloatArray, weight: FloatArray) -> FloatArray:
    """Level of every moment, whatever plays; that of its neighbours where nothing does."""
    heard = np.flatnonzero(weight.sum(axis=1) > 0)
    medians = weighted_medians(difference_db[heard].T, weight[heard].T)
    return np.interp(np.arange(len(weight)), heard, medians)


def _shared_db(difference_db: FloatArray, weight: FloatArray, within_db: float) -> FloatArray:
    """Level by which most cells of every moment moved; NaN where they do not agree on one."""
    width, centre = densest_by_row(difference_db, weight, _RIDE_SHARE)
    alike = np.where(np.abs(difference_db - centre[:, None]) < within_db, weight, 0.0)
    return np.where(width < 2 * within_db, weighted_medians(difference_db.T, alike.T), np.nan)
