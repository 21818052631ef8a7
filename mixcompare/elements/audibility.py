"""How well a part can be heard in the whole: excitation, masking, share of the loudness.

Excitation patterns after Glasberg and Moore (1990, Hearing Research 47, 103-138): rounded
exponential filters, one equivalent rectangular bandwidth wide, whose lower skirt is shallower at
music's levels, so that low sound covers high sound. A part is audible in a filter where its
excitation exceeds that of the rest by the signal-to-noise ratio at threshold, and what it adds to
the loudness beyond that is its partial loudness (Moore, Glasberg and Baer 1997, J. Audio Eng. Soc.
45, 224-240; ratio and exponent from memory), summed over the scale of those bandwidths. A file
has no sound pressure: components are taken to lie at 65 dB, and the threshold of hearing is left
out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.elements.change import Change
from mixcompare.elements.describe import own_cells
from mixcompare.pair.spectra import PairSpectra
from mixcompare.standards.bs1770 import k_weighting_power

FloatArray = npt.NDArray[np.float64]

COMPONENT_DB_SPL = 65.0  # a file has no sound pressure (see above); our choice
EXPONENT = 0.2
"""Of excitation in specific loudness."""

# Moore, Glasberg and Baer (1997), from memory.
_THRESHOLD_HZ = (50.0, 100.0, 200.0, 400.0, 800.0)
_THRESHOLD_DB = (13.0, 8.0, 3.0, -1.0, -3.0)
_PLAYING_DB = 16.0  # below the part's loud moments
_RANGE_DB = 60.0  # below the loudest filter nothing counts; our judgement, not measured
_STRONGEST_DB = 10.0  # below a part's strongest filter: those that carry it; our choice
_LEAST_AUDIBLE = 0.1  # of the time it plays: less goes unnoticed; our judgement, not measured
_LEAST_LOUD = 0.001  # of the loudness: under it a change goes unnoticed


@dataclass(frozen=True)
class Audibility:
    """How a part stands in one recording.

    Attributes
    ----------
    audible_share : float
        Of the time it plays, the share in which it can be heard in the whole, 0 to 1.
    loudness_share : float
        Its partial loudness over the loudness of the whole while it plays, 0 to 1.
    """

    audible_share: float
    loudness_share: float


def can_be_heard(reference: Audibility, candidate: Audibility) -> bool:
    """Whether a part is heard for some of its time and is some of the loudness, in either."""
    return (
        max(reference.audible_share, candidate.audible_share) >= _LEAST_AUDIBLE
        and max(reference.loudness_share, candidate.loudness_share) >= _LEAST_LOUD
    )


def stands(
    change: Change, spectra: PairSpectra, tone_db: FloatArray
) -> tuple[Audibility, Audibility]:
    """How an element stands in the reference and in the candidate."""
    gain = 10 ** ((change.difference_db + tone_db) / 10)
    of_reference = np.minimum(own_cells(change.energy, spectra), spectra.reference)
    of_candidate = np.minimum(gain * of_reference, spectra.candidate)
    return (
        audibility(of_reference, spectra.reference - of_reference, spectra.centre_hz),
        audibility(of_candidate, spectra.candidate - of_candidate, spectra.centre_hz),
    )


def erb_hz(frequency_hz: npt.ArrayLike) -> FloatArray:
    """Equivalent rectangular bandwidth (Glasberg and Moore 1990)."""
    return np.asarray(24.7 * (4.37 * np.asarray(frequency_hz, np.float64) / 1000 + 1))


def spreading(centre_hz: FloatArray) -> FloatArray:
    """Power that sound in each band gives the filter at each band, shape (filters, bands)."""
    filters, sounds = centre_hz[:, None], centre_hz[None, :]
    sharp = 4 * filters / erb_hz(filters)
    at_1_khz = 4000 / float(erb_hz(1000.0))
    shallow = sharp - 0.35 * sharp / at_1_khz * (COMPONENT_DB_SPL - 51)
    away = np.abs(sounds - filters) / filters
    slope = np.where(sounds < filters, shallow, sharp) * away
    return np.asarray((1 + slope) * np.exp(-slope))


def excitation(power: FloatArray, centre_hz: FloatArray) -> FloatArray:
    """Excitation at every band's centre, same shape as ``power``, (n, bands)."""
    return np.asarray(power @ spreading(centre_hz).T)


def threshold_ratio(centre_hz: FloatArray) -> FloatArray:
    """Power of a part over that of the rest, in a filter, at which it is just heard."""
    level_db = np.interp(np.log(centre_hz), np.log(_THRESHOLD_HZ), _THRESHOLD_DB)
    return np.asarray(10 ** (level_db / 10))


def audibility(part: FloatArray, rest: FloatArray, centre_hz: FloatArray) -> Audibility:
    """Judge a part against the rest of the sound.

    Parameters
    ----------
    part, rest : ndarray, shape (n, bands)
        Powers at the same moments.
    centre_hz : ndarray, shape (bands,)
        Mid-band frequencies.
    """
    level = part.sum(axis=1)
    playing = level > 10 ** (-_PLAYING_DB / 10) * np.percentile(level, 95)
    if not playing.any() or level.max() <= 0:
        return Audibility(0.0, 0.0)
    own, others = (excitation(power[playing], centre_hz) for power in (part, rest))
    whole = own + others
    floor = 10 ** (-_RANGE_DB / 10) * whole.max()
    masked = others * (1 + threshold_ratio(centre_hz)) + floor
    # The whole counts above the same threshold, so that an unmasked part reaches its full share.
    partial = np.maximum((whole + floor) ** EXPONENT - masked**EXPONENT, 0.0)
    loudness = np.maximum((whole + floor) ** EXPONENT - floor**EXPONENT, 0.0)
    heard = (whole + floor > masked).any(axis=1)
    width = _filter_widths(centre_hz)
    share = (partial @ width).sum() / max(float((loudness @ width).sum()), 1e-30)
    return Audibility(float(heard.mean()), float(share))


def _filter_widths(centre_hz: FloatArray) -> FloatArray:
    """Equivalent rectangular bandwidths from band to band: loudness is summed over their scale."""
    return np.asarray(np.gradient(centre_hz) / erb_hz(centre_hz))


def clearance_db(part: FloatArray, rest: FloatArray, centre_hz: FloatArray) -> FloatArray:
    """By how much a part's strongest bands stand over the threshold at which the rest covers them.

    Parameters
    ----------
    part, rest : ndarray, shape (n, bands)
        Powers at the same moments.
    centre_hz : ndarray, shape (bands,)
        Mid-band frequencies.

    Returns
    -------
    ndarray, shape (n,)
        Of the filters around its strongest one, K-weighted: below 0 dB they are covered together,
        though a single partial may still be made out.
    """
    own, others = (excitation(power, centre_hz) for power in (part, rest))
    floor = 10 ** (-_RANGE_DB / 10) * max(float((own + others).max()), 1e-30)
    weight = k_weighting_power(centre_hz)
    strong = _near_strongest(own * weight)
    masked = others * threshold_ratio(centre_hz) + floor
    ratio = ((own * strong) @ weight + 1e-30) / ((masked * strong) @ weight)
    return np.asarray(10 * np.log10(ratio))


def strongest(part: FloatArray, centre_hz: FloatArray) -> npt.NDArray[np.bool_]:
    """The filters around a part's strongest one at every moment, shape (n, bands)."""
    return _near_strongest(excitation(part, centre_hz) * k_weighting_power(centre_hz))


def _near_strongest(loud: FloatArray) -> npt.NDArray[np.bool_]:
    return np.asarray(loud >= 10 ** (-_STRONGEST_DB / 10) * loud.max(axis=1, keepdims=True))
