"""What was done to the image of a whole take, taken off again before single elements are sought.

Two mixes of one take may differ by the image turned (one channel louder), narrowed or widened (the
side signal by a factor), and one channel late. Powers and cross powers transform exactly under the
first two, and a delay turns the cross power's phase. Only for one take: of two performances no cell
is exact.

Conventions
-----------
Of the candidate against the reference: ``turn_db`` right against left, ``side_db`` side against
mid, ``later_us`` the right channel against the left one.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.pair.channels import channel_powers, cross_power, side_to_mid
from mixcompare.pair.match import Match
from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.undo import levelled, without_cells
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import densest, effective_number

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]
_Cross = FloatArray | ComplexArray
_Channels = tuple[FloatArray, FloatArray, Any]
"""Left, right, and their cross power, whole or its real part alone."""

_SMOOTH_FRAMES = 9  # 0.36 s; resolution of the image
_STEP_FRAMES = 5  # cost: every fifth frame, 0.2 s
_STEPS_DB = np.arange(-8.0, 8.01, 0.25)  # resolution: turns and scales that are tried
_AGREEING = 0.6  # of the weight of all cells, for an operation on the whole
_IMAGE_WITHIN_DB = 0.9
"""Of most cells, when the image is put back: beside an element, compression or a codec they agree
to 0.8 dB (three scores), under another tail to 3.2 and more."""
_LEAST_DB = 0.2  # a smaller change is none; our judgement, not measured
_SILENT = 1e-12  # guard against silence, power
_HIGHEST_TIMED_HZ = 3000.0  # above it a band is wide against a delay of a millisecond
_DELAYS_US = np.arange(-6000.0, 6001.0, 5.0)
"""Resolution, and how far: one take whose channels are equally loud is not known as one from 3 ms
on, with one 3 dB louder up to 5.5 ms (the real take)."""
_PHASES_AGREE, _BETTER = 0.8, 0.05
"""Mean cosine between the bands' phases and those of one delay, and how much better than without
any; our judgement, not measured."""
_TIMED_WITHIN_US = 10.0  # a band's energy lies beside its centre; our judgement, not measured
_MOST_CYCLES = 0.25
"""Of the delay within a band's width: a wider one's cross power fades; our judgement, not
measured."""


@dataclass(frozen=True)
class ImageChange:
    """What was done to the image as a whole.

    Attributes
    ----------
    turn_db, side_db : float
        Right against left, and side against mid.
    turned_last : bool
        Whether the image was turned after its width was changed.
    later_us, within_us : float
        Right after left, against the reference, last of all; and half of its 95 % interval.
    told : bool
        Whether the cells agree on the other two; else nothing but a delay is known.
    """

    turn_db: float = 0.0
    side_db: float = 0.0
    turned_last: bool = True
    later_us: float = 0.0
    within_us: float = 0.0
    told: bool = False

    @property
    def is_timed(self) -> bool:
        """Whether it is known what came late, if anything did."""
        return self.told or self.later_us != 0

    @property
    def is_none(self) -> bool:
        """Whether the powers are as they were, whatever came late."""
        return max(abs(self.turn_db), abs(self.side_db)) < _LEAST_DB


def image_between(
    reference: Features, candidate: Features, match: Match, later: tuple[float, float]
) -> ImageChange:
    """Turn and side factor on which most cells agree; none where they agree on nothing.

    The turn is the one that makes the change of side against mid most alike in all cells.

    Parameters
    ----------
    reference, candidate : Features
        One take, both of two channels, in the same order.
    match : Match
        How they lie.
    later : (float, float)
        By how much the right channel was delayed, in microseconds, and half of its interval.
    """
    times_s = match.grid_s(BAND_RATE_HZ)[::_STEP_FRAMES]
    if len(times_s) < 2 * BAND_RATE_HZ / _STEP_FRAMES:
        return ImageChange()
    before = _cells(reference, times_s)
    after = _cells(candidate, match.time_map.to_candidate(times_s))
    later_us, within_us = later
    after = _timed(*after, -later_us, THIRD_OCTAVE_CENTRES_HZ)
    before, after = ((left, right, cross.real) for left, right, cross in (before, after))
    total = before[0] + before[1]
    loud = np.percentile(total, 95, axis=0)
    weight = np.where(total > 1e-3 * np.maximum(loud, _SILENT), total**0.3, 0.0)
    weight[:, ~(reference.usable_bands & candidate.usable_bands)] = 0.0
    weight[:, _blurred(THIRD_OCTAVE_CENTRES_HZ, later_us)] = 0.0
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
                best = (
                    price,
                    ImageChange(
                        float(turn_db), float(side_db), turned_last, later_us, within_us, told=True
                    ),
                )
    # Another tail scatters levels, and leaves the phases' mean alone.
    late = ImageChange(later_us=later_us, within_us=within_us)
    return best[1] if best[0] < _IMAGE_WITHIN_DB else late


def later_between(
    spectra: PairSpectra, images: tuple[FloatArray, FloatArray]
) -> tuple[float, float]:
    """By how much the right channel was delayed, and half of its 95 % interval, in microseconds.

    Both 0 where no one delay explains the phases of the cross powers.

    Parameters
    ----------
    spectra : PairSpectra
        Of one take.
    images : (ndarray, ndarray), shape (n, bands, 3)
        As from :func:`mixcompare.pair.spectra.images`.
    """
    coherence, turns = [], []
    for power, cells in zip((spectra.reference, spectra.candidate), images, strict=True):
        cross = (cells[..., 1] + 1j * cells[..., 2]).sum(axis=0)
        size = np.abs(cross) + _SILENT
        coherence.append(size / (power.sum(axis=0) + _SILENT))
        turns.append(cross / size)
    coherence[1] /= max(float(np.max(coherence[1])), 1.0)  # the pair's gain is left in the images
    timed = spectra.centre_hz < _HIGHEST_TIMED_HZ
    weight = np.where(timed, np.minimum(*coherence), 0.0)
    if weight.sum() <= 0:
        return 0.0, 0.0
    turned = turns[1] * turns[0].conj()
    per_us = 2e-6 * np.pi * spectra.centre_hz
    agreeing = (np.exp(-1j * np.outer(_DELAYS_US, per_us)) @ (turned * weight)).real / weight.sum()
    best = int(np.argmax(agreeing))
    without = float(agreeing[np.abs(_DELAYS_US).argmin()])
    if agreeing[best] < _PHASES_AGREE or agreeing[best] - without < _BETTER:
        return 0.0, 0.0
    about = float(_DELAYS_US[best])
    rest_us = np.angle(turned * np.exp(-1j * about * per_us)) / per_us
    weight *= per_us**2
    middle = float(weight @ rest_us / weight.sum())
    spread = np.sqrt(weight @ (rest_us - middle) ** 2 / weight.sum())
    reach = 1.96 * np.hypot(spread, _TIMED_WITHIN_US) / np.sqrt(effective_number(weight) / 2)
    return about + middle, float(reach)


def with_image_undone(
    spectra: PairSpectra, cells: FloatArray, change: ImageChange, gain_db: float
) -> PairSpectra:
    """The same cells with the candidate's image put back.

    Parameters
    ----------
    spectra : PairSpectra
        With the gain taken out.
    cells : ndarray, shape (n, bands, 3)
        The candidate's, as from :func:`mixcompare.pair.spectra.images`.
    change : ImageChange
        What is taken back.
    gain_db : float
        What was taken out of the spectra and not of ``cells``.
    """
    left, right, _ = _undone(
        spectra.candidate, cells * 10 ** (-gain_db / 10), spectra.centre_hz, change
    )
    # Never all of it: a cell's rounding is not to be read as silence.
    undone = np.maximum(left + right, 1e-3 * spectra.candidate)
    wide = np.broadcast_to(_blurred(spectra.centre_hz, change.later_us), undone.shape)
    return levelled(without_cells(replace(spectra, candidate=undone), wide))


def right_less_left(
    spectra: PairSpectra, images: tuple[FloatArray, FloatArray], change: ImageChange, gain_db: float
) -> tuple[FloatArray, FloatArray]:
    """Right less left over the whole of every cell, with the candidate's image put back.

    Parameters
    ----------
    spectra : PairSpectra
        With the gain taken out, nothing else.
    images : (ndarray, ndarray), shape (n, bands, 3)
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
    left, right, _ = _undone(
        spectra.candidate, images[1] * 10 ** (-gain_db / 10), spectra.centre_hz, change
    )
    wholes = spectra.reference, left + right
    out = [
        np.clip(across / np.maximum(whole, 1e-30), -1, 1)
        for across, whole in zip((images[0][..., 0], right - left), wholes, strict=True)
    ]
    return out[0], out[1]


def _blurred(centre_hz: FloatArray, later_us: float) -> npt.NDArray[np.bool_]:
    """Bands too wide against the delay for their cross power to be turned back, shape (bands,)."""
    wide: npt.NDArray[np.bool_] = np.gradient(centre_hz) * 1e-6 * abs(later_us) > _MOST_CYCLES
    return wide


def without_image(
    left: FloatArray,
    right: FloatArray,
    cross: ComplexArray,
    centre_hz: FloatArray,
    change: ImageChange,
) -> _Channels:
    """Powers of left and right, and their cross power, before the image was changed.

    Parameters
    ----------
    left, right, cross : ndarray, shape (..., bands)
        Powers of both channels; left times the conjugate of right.
    centre_hz : ndarray, shape (bands,)
        Of the bands.
    change : ImageChange
        What is taken back.
    """
    if change.is_none and not change.later_us:
        return left, right, cross
    channels = _timed(left, right, cross, -change.later_us, centre_hz)
    if change.turned_last:
        return _widened(*_turned(*channels, -change.turn_db), -change.side_db)
    return _turned(*_widened(*channels, -change.side_db), -change.turn_db)


def _undone(
    total: FloatArray, cells: FloatArray, centre_hz: FloatArray, change: ImageChange
) -> _Channels:
    """Cells of the pair's spectra before the image was changed."""
    across, twice_real, twice_imaginary = cells.transpose(2, 0, 1)
    cross = (twice_real + 1j * twice_imaginary) / 2
    channels = (total - across) / 2, (total + across) / 2, cross
    return channels if change.is_none else without_image(*channels, centre_hz, change)


def _cells(features: Features, times_s: FloatArray) -> _Channels:
    """Smoothed power of left and right and their cross power, each (frames, 31)."""
    power = channel_powers(features, times_s, _SMOOTH_FRAMES)
    return power[..., 0], power[..., 1], cross_power(features, times_s, _SMOOTH_FRAMES)


def _timed(
    left: FloatArray, right: FloatArray, cross: ComplexArray, by_us: float, centre_hz: FloatArray
) -> _Channels:
    """Right later by so much; exact where a band is narrow against the delay."""
    return left, right, cross * np.exp(2j * np.pi * 1e-6 * by_us * centre_hz)


def _turned(left: FloatArray, right: FloatArray, cross: _Cross, by_db: float) -> _Channels:
    """Right raised against left by so much, their product left alone."""
    factor = 10 ** (by_db / 20)
    return left / factor, right * factor, cross


def _widened(left: FloatArray, right: FloatArray, cross: _Cross, by_db: float) -> _Channels:
    """Side raised by so much, mid left alone."""
    factor = 10 ** (by_db / 10)
    mid = (left + right + 2 * cross.real) / 2
    side = (left + right - 2 * cross.real) * factor / 2
    across = (left - right) / 2 * np.sqrt(factor)  # of mid and side
    between = (mid - side) / 2
    if np.iscomplexobj(cross):
        between = between + 1j * np.sqrt(factor) * cross.imag
    return (mid + side) / 2 + across, (mid + side) / 2 - across, between


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
