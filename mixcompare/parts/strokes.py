"""How loud unpitched percussion stands: by how much its strokes raise the bands they rule.

A triangle has no pitch that plain tones could follow. But it begins: just after a stroke its bands
hold more than just before, and most of that is its own (:mod:`mixcompare.parts.onsets`). By how
much these rises differ between the recordings, and by how much those of all others do in the same
bands, is its level against what did not change. Rises come before a room answers, so that another
tail moves them little.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.parts.rises import Rises
from mixcompare.parts.sizes import drawn_shares
from mixcompare.statistics import (
    block_counts,
    few_blocks,
    interval,
    robust_mode,
    weighted_quantile,
)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

LEVELS_DB = np.arange(-300, 301) / 10  # resolution, and the largest difference that is tried
_DRAWS = 7  # of a share; resolution
_OWN, _OTHERS, _MOVED = 0.5, 0.1, 0.3  # shares of a rise; our choice
_LEAST_SPREAD_DB = 0.2
_FEWEST_OTHERS = 5  # onsets from which a band's tone is told; our choice
_TONE_WIDTH_DB = 1.0
_FEWEST_BANDS, _AROUND = 3, 5  # third octaves; our choice
_APART_DB, _OUTLYING_DB = 0.5, 1.0  # of a band's tone from that of the bands around; our choice
_STEP_DB = 0.1  # what it may change by from band to band where it isn't known, at least; our choice
_LEAST_SURE_DB = 1.0  # standard deviation of a band's tone, to be believed; our choice
FEWEST = 3  # strokes, and cells of each in all
_RESAMPLED = 400
_FLOOR_DB, _FLOOR_PER_SCATTER = 0.2, 0.4
"""Half an interval at least, by what the others' single rises scatter: first reflections and
compressors move all strokes of an instrument alike (three movements)."""


@dataclass(frozen=True, eq=False)
class Struck:
    """How an unpitched instrument's strokes stand.

    Attributes
    ----------
    level_db : float
        Candidate minus reference, against what did not change.
    interval : tuple of float
    strokes : int
        How many tell it.
    spread_db : float
        By how much its bands differ from each other in this.
    gain : float
        Logarithm of how much likelier that is than no change.
    likely : ndarray, shape (strokes, levels)
        Logarithm of how likely every stroke is at every level; nothing where it tells nothing.
    """

    level_db: float
    interval: tuple[float, float]
    strokes: int
    spread_db: float
    gain: float
    likely: FloatArray

    def mirrored(self) -> Struck:
        """The same with the recordings exchanged."""
        low, high = self.interval
        return replace(
            self, level_db=-self.level_db, interval=(-high, -low), likely=self.likely[:, ::-1]
        )


@dataclass(frozen=True, eq=False)
class Tone:
    """What changed of all others, by band.

    Attributes
    ----------
    level_db, deviation_db : ndarray, shape (bands,)
        How far the bands' rises lie, and how surely that is known.
    spread_db : ndarray, shape (bands,)
        Of single rises about it.
    """

    level_db: FloatArray
    deviation_db: FloatArray
    spread_db: FloatArray

    @property
    def scatter_db(self) -> float:
        """Of single rises in most bands."""
        return float(np.median(self.spread_db))

    def mirrored(self) -> Tone:
        """The same with the recordings exchanged."""
        return replace(self, level_db=-self.level_db)


def tone_of(reference: Rises, candidate: Rises, asked: BoolArray) -> Tone:
    """How far what others begin differs in every band.

    Parameters
    ----------
    reference, candidate : Rises
        Of all onsets.
    asked : ndarray of bool, shape (onsets, bands)
        Rises that are those of others, and of none that moved.
    """
    asked = asked & reference.seen & candidate.seen
    found = difference_db(reference, candidate)
    counts = asked.sum(axis=0)
    told = np.flatnonzero(counts >= _FEWEST_OTHERS)
    bands = found.shape[1]
    level, spread = np.zeros(len(told)), np.zeros(len(told))
    for place, band in enumerate(told):
        values = found[asked[:, band], band]
        level[place] = robust_mode(values, np.ones(len(values)), _TONE_WIDTH_DB)
        spread[place] = 1.4826 * float(np.median(np.abs(values - level[place])))
    usual_db = max(float(np.median(spread)) if len(told) else 0.0, _LEAST_SPREAD_DB)
    deviation = np.maximum(spread, usual_db) / np.sqrt(counts[told])
    sure = deviation < _LEAST_SURE_DB
    if sure.sum() < _FEWEST_BANDS:
        return Tone(np.zeros(bands), np.full(bands, np.inf), np.full(bands, np.inf))
    told, level, deviation = told[sure], level[sure], deviation[sure]
    spread = np.maximum(spread[sure], _LEAST_SPREAD_DB)
    # A filter goes on from band to band; what one band alone has is an instrument's.
    around = ndimage.median_filter(level, _AROUND, mode="nearest")
    heavy = _APART_DB**2 / (_APART_DB**2 + deviation**2)
    near = np.abs(level - around) < _OUTLYING_DB
    smooth = np.where(near, heavy * level + (1 - heavy) * around, around)
    places = np.arange(bands)
    away = np.abs(places[:, None] - told).min(axis=1)
    # How steeply it goes at its ends it may go on.
    steps = np.abs(np.diff(smooth) / np.diff(told))
    ends = [
        max(float(np.median(steps[part])), _STEP_DB)
        for part in (slice(_AROUND), slice(-_AROUND, None))
    ]
    beyond = np.where(places < told[0], ends[0], np.where(places > told[-1], ends[1], _STEP_DB))
    return Tone(
        np.interp(places, told, smooth),
        np.hypot(np.interp(places, told, deviation), beyond * away),
        np.where(np.isin(places, told), np.interp(places, told, spread), usual_db),
    )


def difference_db(reference: Rises, candidate: Rises) -> FloatArray:
    """Candidate minus reference of every rise."""
    least = 1e-3  # a rise that isn't there: 30 dB under what there was
    before = np.maximum(reference.rise, least * reference.before)
    after = np.maximum(candidate.rise, least * candidate.before)
    ratio_db = 10 * np.log10(after / before)
    return np.asarray(np.clip(ratio_db, LEVELS_DB[0], LEVELS_DB[-1]))


def level_of(
    reference: Rises,
    candidate: Rises,
    share: FloatArray,
    besides: FloatArray,
    tone: Tone,
    weights: FloatArray,
) -> Struck | None:
    """The level of strokes by their rises in both recordings.

    Parameters
    ----------
    reference, candidate : Rises
        Of the strokes alone.
    share : ndarray, shape (strokes, bands)
        How much of the reference's rises is theirs; negative where nothing is to be asked.
    besides : ndarray, shape (strokes, bands)
        By how much of them the candidate's are larger for others' sake.
    tone : Tone
        What changed of all else.
    weights : ndarray, shape (bands,)
        What every band counts for.

    Returns
    -------
    Struck or None
        None where too few strokes stand out from what begins besides.
    """
    heard = (share > _OWN) & reference.clear
    strokes = np.flatnonzero(heard.any(axis=1))
    if len(strokes) < FEWEST:
        return None
    away = difference_db(reference, candidate) - tone.level_db
    likely = _likely(away[strokes], share[strokes], besides[strokes], tone.spread_db)
    heard = heard[strokes]
    counts = heard * weights
    likely = counts[:, :, None] * likely
    weight = counts.sum(axis=0)
    # A stroke's bands go together: they are one witness.
    by_stroke = likely.sum(axis=1) / np.maximum(counts.sum(axis=1), 1.0)[:, None]
    drawn = LEVELS_DB[(block_counts(len(strokes), _RESAMPLED) @ by_stroke).argmax(axis=1)]
    level = float(LEVELS_DB[by_stroke.sum(axis=0).argmax()])
    low, high = interval(drawn)
    wider = few_blocks(len(strokes))
    told = np.isfinite(tone.deviation_db) & (weight > 0)
    if not told.any():
        return None
    beside_db = 1.96 * float(np.average(tone.deviation_db[told], weights=weight[told]))
    beside_db = float(np.hypot(beside_db, _FLOOR_DB + _FLOOR_PER_SCATTER * tone.scatter_db))
    low = level - float(np.hypot(wider * (level - min(low, level)), beside_db))
    high = level + float(np.hypot(wider * (max(high, level) - level), beside_db))
    by_band = LEVELS_DB[likely.sum(axis=0).argmax(axis=1)]
    spread = weighted_quantile(np.abs(by_band - level), weight, 0.5)
    gain = by_stroke.sum(axis=0).max() - by_stroke.sum(axis=0)[len(LEVELS_DB) // 2]
    every = np.zeros((len(share), len(LEVELS_DB)))
    every[strokes] = by_stroke
    return Struck(level, (low, high), len(strokes), spread, float(gain), every)


def _likely(
    away_db: FloatArray, share: FloatArray, besides: FloatArray, spread_db: FloatArray
) -> FloatArray:
    """Logarithm of how likely every rise is at every level, shape (strokes, bands, levels).

    The share of a rise is a guess: the true one is drawn around it (:mod:`mixcompare.parts.sizes`).
    """
    drawn, by = drawn_shares(share, _DRAWS), 10 ** (LEVELS_DB / 10) - 1
    out = np.empty((*share.shape, len(LEVELS_DB)))
    for stroke in range(len(share)):
        whole = 1 + drawn[stroke][:, :, None] * by + besides[stroke][:, None, None]
        moved = 10 * np.log10(np.maximum(whole, 1e-3))
        left = (away_db[stroke][:, None, None] - moved) / spread_db[:, None, None]
        # Student's t with two degrees of freedom, as for sizes.
        out[stroke] = np.log(((1 + left**2) ** -1.5).mean(axis=1) + 1e-6)
    return out
