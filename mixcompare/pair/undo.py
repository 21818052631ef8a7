"""What was done to a whole take, taken off again before single elements are sought.

Two mixes of one take may differ by operations on the whole: the image turned (one channel louder),
narrowed or widened (the side signal by a factor), a gain that moves with time (a ride, a fade, a
compressor). Powers and cross powers transform exactly under the first two; the third moves all
cells of a moment alike. An element changes the cells in which it plays; what changes all cells
alike is the whole. Only for one take: of two performances no cell is exact.

Conventions
-----------
Of the candidate against the reference: ``turn_db`` right against left, ``side_db`` side against
mid; a ride is the level of each moment against the median one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.features.grid import LONG_WINDOW_BELOW_HZ
from mixcompare.pair.channels import channel_powers, cross_power, side_to_mid
from mixcompare.pair.match import Match
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import densest, weighted_medians, weighted_quantile

FloatArray = npt.NDArray[np.float64]

_SMOOTH_FRAMES = 9  # 0.36 s; resolution of the image
_STEP_FRAMES = 5  # cost: every fifth frame, 0.2 s
_STEPS_DB = np.arange(-8.0, 8.01, 0.25)  # resolution: turns and scales that are tried
_AGREEING = 0.6  # of the weight of all cells, for an operation on the whole
_IMAGE_WITHIN_DB = 0.6  # of most cells, when the image is put back; our judgement, not measured
_LEAST_DB = 0.2  # a smaller change is none; our judgement, not measured
_SILENT = 1e-12  # guard against silence, power
_LEVEL_SHARE = 0.3  # of the cells' weight, that agree on the level; our judgement, not measured
_RIDE_WITHIN_DB = (1.5, 0.75)
"""Agreement of a moment's cells, first about each band's plain median, which a strong move drags
away from its place, then about the median with that move taken off."""
_RIDE_SHARE = 0.65  # of the cells' weight, that move alike; our judgement, not measured
_USUAL_CELLS = 0.6  # of the audible cells of a typical moment: fewer are one element's own
_SELDOM = 0.01  # of its loudest moment: a band that is heard seldom must not outvote the others
_LEAST_RIDE_DB = 0.8
_LEAST_RIDE_S = 1.0
_UNTOLD_S = 0.5  # shorter gaps are bridged
_LONG_WINDOW, _SHORT_WINDOW = (6.0, 4), (15.0, 2)
"""Fastest move in dB/s that is judged, and frames around a faster one that are not: on a string
orchestra under a compressor nine cells in ten then stay within 0.6 dB, below 220 Hz (window
0.34 s) as above it (0.17 s)."""


@dataclass(frozen=True)
class ImageChange:
    """What was done to the image as a whole.

    Attributes
    ----------
    turn_db, side_db : float
        Right against left, and side against mid.
    turned_last : bool
        Whether the image was turned after its width was changed.
    told : bool
        Whether the cells agree; else nothing is known of the image as a whole.
    """

    turn_db: float = 0.0
    side_db: float = 0.0
    turned_last: bool = True
    told: bool = False

    @property
    def is_none(self) -> bool:
        """Whether the image is as it was."""
        return max(abs(self.turn_db), abs(self.side_db)) < _LEAST_DB


def image_between(reference: Features, candidate: Features, match: Match) -> ImageChange:
    """Turn and side factor on which most cells agree; none where they agree on nothing.

    The turn is the one that makes the change of side against mid most alike in all cells.
    """
    if reference.is_mono or candidate.is_mono or match.channels_swapped:
        return ImageChange()
    times_s = match.grid_s(BAND_RATE_HZ)[::_STEP_FRAMES]
    if len(times_s) < 2 * BAND_RATE_HZ / _STEP_FRAMES:
        return ImageChange()
    before = _cells(reference, times_s)
    after = _cells(candidate, match.time_map.to_candidate(times_s))
    total = before[0] + before[1]
    loud = np.percentile(total, 95, axis=0)
    weight = np.where(total > 1e-3 * np.maximum(loud, _SILENT), total**0.3, 0.0)
    weight[:, ~(reference.usable_bands & candidate.usable_bands)] = 0.0
    weight = np.where(_has_both(*before), weight, 0.0)
    best = (np.inf, ImageChange())
    for by_db in _STEPS_DB:
        for turned_last in (True, False):
            # What is undone first is tried; the other is then read off where most cells agree.
            undone = _turned(*after, -by_db) if turned_last else _widened(*after, -by_db)
            ratio = _side_to_mid_db if turned_last else _right_to_left_db
            width, middle = densest(ratio(*undone) - ratio(*before), weight, _AGREEING)
            turn_db, side_db = (by_db, middle) if turned_last else (middle, by_db)
            # As good with less: then there is less.
            price = width + 0.01 * abs(by_db)
            if price < best[0]:
                best = (price, ImageChange(float(turn_db), float(side_db), turned_last, told=True))
    return best[1] if best[0] < _IMAGE_WITHIN_DB else ImageChange()


def with_image_undone(
    spectra: PairSpectra, cells: FloatArray, change: ImageChange, gain_db: float
) -> PairSpectra:
    """The same cells with the candidate's image put back.

    Parameters
    ----------
    spectra : PairSpectra
        With the gain taken out.
    cells : ndarray, shape (n, bands, 2)
        The candidate's, as from :func:`mixcompare.pair.spectra.images`.
    change : ImageChange
        What is taken back.
    gain_db : float
        What was taken out of the spectra and not of ``cells``.
    """
    left, right, _ = _undone(spectra.candidate, cells * 10 ** (-gain_db / 10), change)
    # Never all of it: a cell's rounding is not to be read as silence.
    undone = np.maximum(left + right, 1e-3 * spectra.candidate)
    return levelled(replace(spectra, candidate=undone))


def right_less_left(
    spectra: PairSpectra, images: tuple[FloatArray, FloatArray], change: ImageChange, gain_db: float
) -> tuple[FloatArray, FloatArray]:
    """Right less left over the whole of every cell, with the candidate's image put back.

    Parameters
    ----------
    spectra : PairSpectra
        With the gain taken out, nothing else.
    images : (ndarray, ndarray), shape (n, bands, 2)
        As from :func:`mixcompare.pair.spectra.images`.
    change : ImageChange
        What is taken back.
    gain_db : float
        What was taken out of the spectra.

    Returns
    -------
    reference, candidate : ndarray, shape (n, bands)
        -1 to 1.
    """
    left, right, _ = _undone(spectra.candidate, images[1] * 10 ** (-gain_db / 10), change)
    wholes = spectra.reference, left + right
    out = [
        np.clip(across / np.maximum(whole, 1e-30), -1, 1)
        for across, whole in zip((images[0][..., 0], right - left), wholes, strict=True)
    ]
    return out[0], out[1]


def _undone(
    total: FloatArray, cells: FloatArray, change: ImageChange
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Left, right and their cross power before the image was changed."""
    across, twice_cross = cells.transpose(2, 0, 1)
    channels = (total - across) / 2, (total + across) / 2, twice_cross / 2
    if change.is_none:
        return channels
    if change.turned_last:
        return _widened(*_turned(*channels, -change.turn_db), -change.side_db)
    return _turned(*_widened(*channels, -change.side_db), -change.turn_db)


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
    """

    level_db: FloatArray
    told: npt.NDArray[np.bool_]

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
    level = still
    for within_db in _RIDE_WITHIN_DB:
        moving = difference - weighted_medians(difference - level[:, None], weight)
        told = np.array(
            [_shared_db(*cells, within_db) for cells in zip(moving, weight, strict=True)]
        )
        known = full & np.isfinite(told)
        if known.mean() < 0.5:
            return Ride(still, np.ones(frames, bool))
        level = np.interp(np.arange(frames), np.flatnonzero(known), told[known])
    # Few cells that agree on a level of their own: one element, or the whole in a pause.
    apart = ~full & (np.abs(told - level) > _RIDE_WITHIN_DB[-1])
    level -= np.median(told[known])
    far = np.abs(level) >= _LEAST_RIDE_DB
    if far.sum() < _LEAST_RIDE_S * RATE_HZ:
        return Ride(still, np.ones(frames, bool))
    untold = ndimage.binary_opening(~known, np.ones(round(_UNTOLD_S * RATE_HZ)))
    first, *_, last = np.flatnonzero(known)
    return Ride(
        level, (np.arange(frames) >= first) & (np.arange(frames) <= last) & ~untold & ~apart
    )


def _shared_db(difference_db: FloatArray, weight: FloatArray, within_db: float) -> float:
    """Level by which most cells of a moment moved; NaN where they do not agree on one."""
    width, centre = densest(difference_db, weight, _RIDE_SHARE)
    if width >= 2 * within_db:
        return float("nan")
    alike = np.where(np.abs(difference_db - centre) < within_db, weight, 0.0)
    return weighted_quantile(difference_db, alike, 0.5)


def _cells(features: Features, times_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Smoothed power of left and right and their real cross power, each (frames, 31)."""
    power = channel_powers(features, times_s, _SMOOTH_FRAMES)
    return power[..., 0], power[..., 1], cross_power(features, times_s, _SMOOTH_FRAMES)


def _turned(
    left: FloatArray, right: FloatArray, cross: FloatArray, by_db: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Right raised against left by so much, their product left alone."""
    factor = 10 ** (by_db / 20)
    return left / factor, right * factor, cross


def _widened(
    left: FloatArray, right: FloatArray, cross: FloatArray, by_db: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Side raised by so much, mid left alone."""
    factor = 10 ** (by_db / 10)
    mid = (left + right + 2 * cross) / 2
    side = (left + right - 2 * cross) * factor / 2
    across = (left - right) / 2 * np.sqrt(factor)  # of mid and side
    return (mid + side) / 2 + across, (mid + side) / 2 - across, (mid - side) / 2


def _right_to_left_db(left: FloatArray, right: FloatArray, cross: FloatArray) -> FloatArray:
    whole = 1e-6 * (left + right) + _SILENT
    return np.asarray(10 * np.log10(np.maximum(right, whole) / np.maximum(left, whole)))


def _side_to_mid_db(left: FloatArray, right: FloatArray, cross: FloatArray) -> FloatArray:
    return np.asarray(10 * np.log10(side_to_mid(left + right, cross)))


def _has_both(left: FloatArray, right: FloatArray, cross: FloatArray) -> npt.NDArray[np.bool_]:
    """Cells with a mid and a side to speak of: of the others the ratio is rounding."""
    ratio = _side_to_mid_db(left, right, cross)
    told: npt.NDArray[np.bool_] = np.abs(ratio) < 30
    return told
