"""The difference of every third octave on which most moments agree.

Where elements changed in one take, every moment is read without what they did to it: a filter acts
whatever plays.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import sample_frames
from mixcompare.aspects.tone.hearing import audible_bands
from mixcompare.features import BAND_RATE_HZ
from mixcompare.pair import agreement
from mixcompare.pair.noise_shared import hidden_by
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import densest, weighted_medians

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_CELL_RANGE_DB = 35.0  # a cell counts within so much of its band's loud moments ...
_FRAME_RANGE_DB = 60.0  # ... and of the whole frame
_FINEST_DB = 0.1  # resolution: under a tenth of what is just noticeable
_SMOOTH_S = {True: 0.2, False: 0.6}  # same take; other performance, whose onsets scatter
_LEVEL_SHARE = 0.3  # of the weight: on so much the level rests
_MADE_DB = 0.3  # a moment that an element moved by so much counts half
_MOSTLY, _KNOWN = 0.9, 75
"""Of a third octave's energy where most of it is known; of the moments, where that is."""
_UNSURE = 0.15  # of what elements explain: their sizes are known so well


@dataclass(frozen=True)
class Cells:
    """Every third octave at every moment, shape (n, 31).

    Attributes
    ----------
    times_s : ndarray, shape (n,)
        On the reference's clock.
    difference_db : ndarray
        Candidate minus reference, without the pair's level and its course.
    weight : ndarray
        How much each cell says.
    audible : ndarray of bool, shape (31,)
        Bands that can be heard in either recording.
    """

    times_s: FloatArray
    difference_db: FloatArray
    weight: FloatArray
    audible: BoolArray


@dataclass(frozen=True)
class Curve:
    """The difference on which most moments agree, without what elements did.

    Attributes
    ----------
    level_db : ndarray, shape (31,)
    draws : ndarray, shape (draws, 31)
        The same under resampling.
    whole_db : ndarray, shape (31,)
        With what elements did.
    known : ndarray of bool, shape (31,)
    explained_db : ndarray, shape (31,), or None
        How much elements explain; None where they are not known moment by moment.
    spread_db : ndarray, shape (31,)
        Scatter of single moments about what they agree on.
    """

    level_db: FloatArray
    draws: FloatArray
    whole_db: FloatArray
    known: BoolArray
    explained_db: FloatArray | None
    spread_db: FloatArray

    @property
    def moved_db(self) -> FloatArray:
        """How much elements explain; nothing where they are not known."""
        return np.zeros(len(self.level_db)) if self.explained_db is None else self.explained_db

    @property
    def unsure_db(self) -> FloatArray:
        """How far what they explain is in doubt."""
        return _UNSURE * np.abs(self.moved_db)


def cells_of(pair: Pair, times_s: FloatArray) -> Cells:
    """Level differences at these times, and how much each of them says."""
    of_reference, of_candidate = _paired_power(pair, times_s)
    difference = 10 * np.log10(np.maximum(of_candidate, 1e-30) / np.maximum(of_reference, 1e-30))
    difference -= pair.match.gain_db
    weight = np.minimum(
        *(
            agreement.cell_weights(power, _CELL_RANGE_DB, _FRAME_RANGE_DB)
            for power in (of_reference, of_candidate)
        )
    )
    weight[:, ~pair.usable_bands] = 0
    weight[hidden_by(pair.noise, of_reference, of_candidate, pair.gain_db)] = 0
    weight[pair.clipped(times_s)] = 0
    if pair.has_other_image:
        difference -= _of_image_db(pair, times_s)
        weight[:, ~pair.spectra.third_octaves] = 0  # what it did there is not known
    if pair.ride.moves:
        moments_s = pair.spectra.times_s
        difference -= np.interp(times_s, moments_s, pair.ride.level_db)[:, None]
        weight[np.interp(times_s, moments_s, pair.ride.told) < 1] = 0
    if pair.has_other_image or pair.ride.moves:
        # The pair's level was taken with both in it.
        difference -= densest(difference, weight, _LEVEL_SHARE)[1]
    audible = audible_bands(of_reference) | audible_bands(of_candidate)
    return Cells(times_s, difference, weight, audible)


def _of_image_db(pair: Pair, times_s: FloatArray) -> FloatArray:
    """What was done to the image does to every band then, shape (frames, 31).

    A band whose channels are less alike than others' gains more by a wider image, and loses more
    when both are summed.
    """
    seen, plain = pair.spectra, pair.straightened
    size = max(round(_SMOOTH_S[True] * RATE_HZ), 1)
    (before, after), (plain_before, plain_after) = (
        [
            # A running sum leaves less than nothing where sound has stopped.
            np.maximum(
                ndimage.uniform_filter1d(spectra.in_third_octaves(power), size, axis=0), 1e-30
            )
            for power in (spectra.reference, spectra.candidate)
        ]
        for spectra in (seen, plain)
    )
    moved_db = 10 * np.log10(after * plain_before / (before * plain_after))
    return _at(times_s, seen.times_s, moved_db)


def _at(times_s: FloatArray, then_s: Sequence[float] | FloatArray, bands: FloatArray) -> FloatArray:
    """What holds for every band at other moments, by linear interpolation."""
    return np.column_stack([np.interp(times_s, then_s, band) for band in bands.T])


def agreed_curve(
    cells: Cells, pair: Pair, made: tuple[Sequence[float], FloatArray] | None
) -> Curve:
    """What most moments agree on.

    Parameters
    ----------
    cells : Cells
        Of the pair.
    pair : Pair
        As it is.
    made : tuple of times and ndarray (n, 31), or None
        What elements did to every band then.
    """
    whole, draws = agreement.agreed(cells.difference_db, cells.weight, BAND_RATE_HZ, _FINEST_DB)
    known = np.isfinite(whole)
    if made is None:
        return Curve(whole, draws, whole, known, None, np.zeros(len(whole)))
    made_db = _at(cells.times_s, *made)
    difference = cells.difference_db - made_db
    weight = cells.weight / (1 + np.abs(made_db) / _MADE_DB)
    weight[~_judged(pair, cells.times_s)] = 0
    curve, draws = agreement.agreed(difference, weight, BAND_RATE_HZ, _FINEST_DB)
    known &= np.isfinite(curve)
    spread = 1.4826 * weighted_medians(np.abs(difference - curve), np.where(known, weight, 0.0))
    explained = np.where(known, whole - curve, 0.0)
    return Curve(curve, draws, whole, known, explained, spread)


def _judged(pair: Pair, times_s: FloatArray) -> BoolArray:
    """Third octaves and moments in which it is known what elements did, shape (n, 31).

    By energy, against the moments of which most is known: where a codec filled soft cells some are
    never judged.
    """
    spectra = pair.of_elements
    if spectra.judged is None:
        return np.ones((len(times_s), len(THIRD_OCTAVE_CENTRES_HZ)), np.bool_)
    known = spectra.in_third_octaves(np.where(spectra.judged, spectra.reference, 0.0))
    whole = spectra.in_third_octaves(spectra.reference)
    share = np.where(whole > 0, known / np.maximum(whole, 1e-30), 1.0)
    return _at(times_s, spectra.times_s, share) >= _MOSTLY * np.percentile(share, _KNOWN, axis=0)


def _paired_power(pair: Pair, times_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Power of both on the reference's clock, smoothed a little, shape (frames, 31)."""
    size = max(round(_SMOOTH_S[pair.match.same_take] * BAND_RATE_HZ), 1)
    of_reference, of_candidate = (
        ndimage.uniform_filter1d(
            features.band_power.sum(axis=2, dtype=np.float64), size, axis=0, mode="nearest"
        )
        for features in (pair.reference, pair.candidate)
    )
    return (
        sample_frames(of_reference, BAND_RATE_HZ, times_s),
        pair.match.time_map.warp(of_candidate, BAND_RATE_HZ, times_s),
    )
