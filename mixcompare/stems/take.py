"""Trims where the reference is another mix of the same take: the stems' gains in either mix.

Both mixes are explained by the stems; the ratio of a stem's direct gains is its trim. A difference
of tone is common to all stems in a band, a trim to all bands of a stem: both are told apart by
medians (Tukey 1977, *Exploratory Data Analysis*, chapter 11: two-way tables).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.statistics import weighted_quantile
from mixcompare.stems.explained import Making

FloatArray = npt.NDArray[np.float64]

_SAYS = 0.003  # share of a stem's energy for a band to say something of it
_PLAYS = 0.1  # share of a stem's energy, for it to play in a block; our choice
_FEWEST = 3  # stems in a band, to tell its tone
_ROUNDS = 30
_LEAST_DB = 0.1  # what is left of the damping
_OF_SPREAD, _OF_REST = 1.5, 2.0
"""Of the spread between blocks of time, and of what a stem's bands disagree by: of 333 stems of one
take, with other tails and masters, 95 % lie within (three movements)."""


@dataclass(frozen=True)
class TakeTrims:
    """Trims up to one common shift.

    Attributes
    ----------
    trim_db, deviation_db : ndarray, shape (stems,)
        NaN where a stem does not sound in both mixes.
    tone_db : ndarray, shape (bands,)
        What all stems have in common.
    """

    trim_db: FloatArray
    deviation_db: FloatArray
    tone_db: FloatArray


def trims_of(reference: Making, candidate: Making) -> TakeTrims:
    """Ratio of the stems' direct gains, without the tone that all have in common."""
    weight = np.minimum(reference.weight, candidate.weight)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = 20 * np.log10(np.abs(reference.direct) / np.abs(candidate.direct))
    found = [_two_way(one, weight) for one in ratio]
    trim_db, tone_db = found[0]
    blocks = np.array([trims - _middle(trims) for trims, _ in found[1:]])
    spread = _spread(blocks, np.minimum(reference.in_block, candidate.in_block))
    rest = _left(ratio[0], weight, trim_db, tone_db)
    variance = (_OF_SPREAD * spread) ** 2 + (_OF_REST * rest) ** 2 + _LEAST_DB**2
    return TakeTrims(trim_db, np.sqrt(variance), tone_db)


def _spread(trims_db: FloatArray, in_block: FloatArray) -> FloatArray:
    """Standard deviation of the mean of the blocks in which a stem plays; 0 for fewer than two."""
    plays = (in_block > _PLAYS) & np.isfinite(trims_db)
    out = np.zeros(trims_db.shape[1])
    for stem in np.flatnonzero(plays.sum(axis=0) >= 2):
        own = trims_db[plays[:, stem], stem]
        out[stem] = own.std(ddof=1) / np.sqrt(len(own))
    return out


def _middle(trims: FloatArray) -> float:
    known = trims[np.isfinite(trims)]
    return float(np.median(known)) if len(known) else 0.0


def _two_way(ratio_db: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A trim a stem and a tone a band."""
    says = np.isfinite(ratio_db) & (weight > _SAYS)
    share = np.where(says, weight, 0.0)
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1e-12)
    # The common level goes first: bands that too few stems share are taken to have no tone.
    level = weighted_quantile(ratio_db[says], share[says], 0.5) if says.any() else 0.0
    ratio = np.where(says, ratio_db - level, 0.0)
    trim, tone = np.zeros(len(ratio)), np.zeros(ratio.shape[1])
    for _ in range(_ROUNDS):
        for band in np.flatnonzero(says.sum(axis=0) >= _FEWEST):
            inside = says[:, band]
            away, heavy = (ratio[:, band] - trim)[inside], np.sqrt(share[inside, band])
            order = np.argsort(away)
            heap = np.cumsum(heavy[order])
            tone[band] = away[order][np.searchsorted(heap, heap[-1] / 2)]
        tone -= np.median(tone)
        near = share / (1 + np.abs(ratio - trim[:, None] - tone))
        trim = (near * (ratio - tone)).sum(axis=1) / np.maximum(near.sum(axis=1), 1e-12)
    return np.where(says.any(axis=1), trim + level, np.nan), tone


def _left(
    ratio_db: FloatArray, weight: FloatArray, trim: FloatArray, tone: FloatArray
) -> FloatArray:
    """What a stem's bands disagree by, over the number of bands that say something."""
    says = np.isfinite(ratio_db) & (weight > _SAYS)
    away = np.abs(np.where(says, ratio_db - trim[:, None] - tone, np.nan))
    count = np.maximum(says.sum(axis=1), 1)
    return np.array(
        [
            1.4826 * float(np.median(row[np.isfinite(row)])) / np.sqrt(number)
            if np.isfinite(row).any()
            else np.nan
            for row, number in zip(away, count, strict=True)
        ]
    )
