"""Trims where the reference is another mix of the same take: the stems' gains in either mix.

Both mixes are explained by the stems; the ratio of a stem's direct gains is its trim. A difference
of tone is common to all stems in a band, a trim to all bands of a stem: both are told apart as rows
and columns of a two-way table (Tukey 1977, *Exploratory Data Analysis*, chapter 11).
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
_PER_STEP, _PER_TRIM = 0.3, 0.1
"""Price of a decibel of tone from band to band, and of a trim: a stem that disagrees costs 1."""
_AS_BANDS = 3  # by which the usual disagreement counts for a stem's own; our choice
_NEAR_DB = 0.05  # within which deviations are squared
_ROUNDS = 50
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
    blocks = np.array([beside_most(trims) for trims, _ in found[1:]])
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


def beside_most(trims_db: FloatArray) -> FloatArray:
    """Trims beside what most stems need, NaN where one isn't known."""
    known = trims_db[np.isfinite(trims_db)]
    return trims_db - float(np.median(known)) if len(known) else trims_db


def _two_way(ratio_db: FloatArray, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A trim a stem and a tone a band, by least absolute deviations.

    Tone that steps from band to band costs more than a trim: so a stem that is alone in its bands
    moves by itself, and where others share some of them tone goes on from there.
    """
    says = np.isfinite(ratio_db) & (weight > _SAYS)
    share = np.where(says, weight, 0.0)
    share /= np.maximum(share.sum(axis=1, keepdims=True), 1e-12)
    level = weighted_quantile(ratio_db[says], share[says], 0.5) if says.any() else 0.0
    ratio = np.where(says, ratio_db - level, 0.0)
    stems, bands = ratio.shape
    trim, tone = np.zeros(stems), np.zeros(bands)
    steps = np.diff(np.eye(bands), axis=0)
    for _ in range(_ROUNDS):
        near = share / (_NEAR_DB + np.abs(ratio - trim[:, None] - tone))
        stiff = (steps.T * (_PER_STEP / (_NEAR_DB + np.abs(steps @ tone)))) @ steps
        held = np.diag(near.sum(axis=1) + _PER_TRIM / (_NEAR_DB + np.abs(trim)))
        level_held = stiff + np.diag(near.sum(axis=0) + 1e-6)
        towards = np.concatenate([(near * ratio).sum(axis=1), (near * ratio).sum(axis=0)])
        found = np.linalg.solve(np.block([[held, near], [near.T, level_held]]), towards)
        trim, tone = found[:stems], found[stems:]
    return np.where(says.any(axis=1), trim + level, np.nan), tone


def _left(
    ratio_db: FloatArray, weight: FloatArray, trim: FloatArray, tone: FloatArray
) -> FloatArray:
    """What a stem's bands disagree by, over the number of bands that say something.

    Few bands agree by chance: what those of the other stems disagree by counts as some more.
    """
    says = np.isfinite(ratio_db) & (weight > _SAYS)
    away = np.abs(np.where(says, ratio_db - trim[:, None] - tone, np.nan))
    count = says.sum(axis=1)
    own = np.array([1.4826 * np.median(row[np.isfinite(row)]) if n else np.nan
                    for row, n in zip(away, count, strict=True)])  # fmt: skip
    usual = np.nan_to_num(np.median(own[np.isfinite(own)])) if count.any() else 0.0
    together = count * own**2 + _AS_BANDS * usual**2
    return np.asarray(np.sqrt(together / (count + _AS_BANDS) / np.maximum(count, 1)))
