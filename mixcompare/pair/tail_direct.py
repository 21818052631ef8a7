"""The level of the direct sound under another tail: from attacks, before the tail has come.

Conventions
-----------
Of frames of one take (:mod:`mixcompare.pair.tail_frames`), candidate minus reference in dB, besides
the pair's gain. Where a note begins, what differs is the level of the whole, a filter, or an
element that changed and sounds alone in its register; none of them is the tail's.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.features import ANALYSIS_RATE_HZ
from mixcompare.pair.tail_combed import combed_in
from mixcompare.pair.tail_filters import LowCut, bell_in, low_cut_in, low_shelf_in, shelf_in
from mixcompare.pair.tail_frames import (
    HIGHEST_BIN,
    WINDOW,
    Added,
    Changed,
    Spectra,
    Take,
    minimum_phase,
)
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import huber_fit, robust_mode, weighted_quantile

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
_Cells = tuple[FloatArray, FloatArray, npt.NDArray[np.int64], FloatArray]
"""Differences, weights, bins and turns of phase in radians."""

# A rise over 43 ms that is an attack; our judgement, not measured.
_ATTACK_DB, _ATTACK_FRAMES = 6.0, 2
_LATELY_FRAMES = 5  # 107 ms about an attack, in which what sounds on is not asked
_ATTACK_BLOCKS = 4  # cost: of the passage's blocks, at most
_REACH_OCTAVES = 0.3
# Cells that begin, in all and so near; our judgement, not measured.
_FEWEST, _FEWEST_ABOUT = 1000, 60
_MOST_TAIL_DB = 5.0  # -1.9 to +0.4 dB in the unchanged pairs of three scores
_REGISTERS_DB = 0.5  # without a filter registers stay within 0.2 dB of each other (two scores)
_LOWEST_BIN = 4  # 47 Hz; below it a frame holds no three periods
_SEVERAL, _FEWEST_MOMENTS, _RANGE_DB = 12, 50, 40.0  # our judgement, not measured
_TOP_HZ, _MIDDLE_HZ = (3000.0, 4500.0), (300.0, 1200.0)


@dataclass(frozen=True, eq=False)
class Direct:
    """Level of the direct sound.

    Attributes
    ----------
    level_db : float
        On which most attacks agree.
    bin_db : ndarray, shape (bins,)
        On which those a few notes from every bin agree.
    filter_db : ndarray, shape (bins,)
        What of it beside the level surely is a filter's doing.
    low_cut : LowCut or None
        The one that is in it.
    turn : ndarray, shape (bins,)
        Of phase, in radians, that came with the filter; zero where it kept the phase.
    thirds_db : ndarray, shape (31,)
        Third octaves beside the level on which most registers agree, whoever made the difference;
        NaN where too little begins.
    """

    level_db: float
    bin_db: FloatArray
    filter_db: FloatArray
    low_cut: LowCut | None
    turn: FloatArray
    thirds_db: FloatArray

    @property
    def shelf_db(self) -> float:
        """What the filter does at the highest notes."""
        return float(self.filter_db[HIGHEST_BIN - 1])

    def filter_at_db(self, hz: npt.ArrayLike) -> FloatArray:
        """What the filter does elsewhere; above the highest notes what it does at them."""
        bins = np.asarray(hz, np.float64) * WINDOW / ANALYSIS_RATE_HZ
        return np.interp(bins, np.arange(HIGHEST_BIN), self.filter_db[:HIGHEST_BIN])


def direct_level(take: Take, changed: Changed | Added | None) -> Direct:
    """Read it from the cells that begin.

    Attacks further from the pair's gain than a tail can lift it say nothing of the whole's level:
    they are a changed element's own. Most attacks lie high up; under a shelf their level is that
    of most registers.
    """
    begins, goes_on = _cells(take, changed)
    found, weight, column, turned = begins
    near = np.abs(found) < _MOST_TAIL_DB
    octave = np.log2(np.maximum(np.arange(WINDOW // 2 + 1), 1))
    if near.sum() <= _FEWEST:
        level_db = changed.level_db if changed else 0.0
        return _of_nothing(level_db)
    level_db = robust_mode(found[near], weight[near], 1.0)
    middles = np.arange(octave[_LOWEST_BIN], octave[HIGHEST_BIN], 1 / 3)
    curve_db = np.full(len(middles), np.nan)
    for index, middle in enumerate(middles):
        about = np.abs(octave[column] - middle) < _REACH_OCTAVES
        if about.sum() > _FEWEST_ABOUT:
            # An octave has more bins the higher they are.
            curve_db[index] = robust_mode(found[about], (weight / column)[about], 1.0)
    known = np.isfinite(curve_db)
    if not known.any():
        return _of_nothing(level_db)
    filled_db = np.interp(middles, middles[known], curve_db[known], left=level_db, right=level_db)
    bin_db = np.interp(octave, middles, filled_db)
    held_db = _middle_db(goes_on, octave, _TOP_HZ) - _middle_db(goes_on, octave, _MIDDLE_HZ)
    registers_db = robust_mode(curve_db[known], np.ones(known.sum()), _REGISTERS_DB)
    bins_hz = np.arange(len(octave)) * ANALYSIS_RATE_HZ / WINDOW
    middles_hz = 2**middles * ANALYSIS_RATE_HZ / WINDOW
    beside_db = curve_db - registers_db
    at = np.log2(THIRD_OCTAVE_CENTRES_HZ * WINDOW / ANALYSIS_RATE_HZ)
    thirds_db = np.interp(at, middles, beside_db, left=np.nan, right=np.nan)
    shelf = shelf_in(middles_hz, beside_db, held_db)
    filter_db = np.zeros_like(bin_db) if shelf is None else shelf.level_db(bins_hz)
    left_db = beside_db - np.interp(middles, octave, filter_db)
    moved_db, of_octave = found - registers_db, weight / column
    cells = column * ANALYSIS_RATE_HZ / WINDOW, moved_db, of_octave
    low_cut, bell = low_cut_in(middles_hz, left_db, cells), bell_in(middles_hz, left_db)
    low_shelf = None if low_cut else low_shelf_in(middles_hz, left_db, cells)
    if shelf or low_shelf or bell:
        level_db = registers_db
    for one in (low_shelf, bell, low_cut):
        filter_db = filter_db if one is None else filter_db + one.level_db(bins_hz)
    combed = combed_in(column, moved_db - filter_db[column], of_octave, turned)
    if combed is not None:
        level_db, filter_db, turn = registers_db, filter_db + combed.level_db, combed.turn
    else:
        # Of filters with that response the one that turns least, or one that turns nothing.
        turn = minimum_phase(filter_db)
        gained = np.cos(turned - turn[column]) - np.cos(turned)
        if weight @ gained <= 0:
            turn = np.zeros_like(turn)
    return Direct(level_db, bin_db, filter_db, low_cut, turn, thirds_db)


def _of_nothing(level_db: float) -> Direct:
    """Where too little begins to tell more than a level known before."""
    nothing = np.zeros(WINDOW // 2 + 1)
    thirds_db = np.full(len(THIRD_OCTAVE_CENTRES_HZ), np.nan)
    return Direct(level_db, np.full_like(nothing, level_db), nothing, None, nothing, thirds_db)


def _middle_db(cells: _Cells, octave: FloatArray, range_hz: tuple[float, float]) -> float:
    """Median of the cells in a range."""
    found, weight, column, _ = cells
    low, high = (np.log2(hz * WINDOW / ANALYSIS_RATE_HZ) for hz in range_hz)
    inside = (octave[column] > low) & (octave[column] < high)
    return weighted_quantile(found[inside], weight[inside], 0.5) if inside.any() else 0.0


def following_in_attacks(take: Take) -> float:
    """How many decibels what begins moves for every decibel of the music, whatever the tail.

    The median of all that begins in a moment, against the reference's level in it; zero where too
    little begins.
    """
    music_db, moved_db = [np.zeros(0)], [np.zeros(0)]
    for before, after, begins, _ in _frames(take, None):
        power = _power(before)
        several = np.flatnonzero(begins.sum(axis=1) >= _SEVERAL)
        change_db = np.where(begins, _ratio_db(_power(after), power), np.nan)[several]
        moved_db.append(np.nanmedian(change_db, axis=1) if len(several) else np.zeros(0))
        music_db.append(10 * np.log10(power[several].sum(axis=1) + 1e-30))
    music, moved = np.concatenate(music_db), np.concatenate(moved_db)
    heard = music > music.max(initial=-np.inf) - _RANGE_DB
    if heard.sum() < _FEWEST_MOMENTS:
        return 0.0
    line = np.stack([np.ones(heard.sum()), music[heard]])
    return float(huber_fit(line, moved[heard]).coefficients[1])


def _cells(take: Take, changed: Changed | Added | None) -> tuple[_Cells, _Cells]:
    """Cells in which something begins, and those in which it has sounded for a while."""
    rows: tuple[list[_Cells], list[_Cells]] = ([], [])
    for before, after, *both in _frames(take, changed):
        for which, cells in zip(rows, both, strict=True):
            column = np.nonzero(cells)[1] + _LOWEST_BIN
            plain, other = before[cells], after[cells]
            power = _power(plain)
            turned = np.angle(other * plain.conj())
            which.append((_ratio_db(_power(other), power), power**0.15, column, turned))
    return _joined(rows[0]), _joined(rows[1])


def _frames(
    take: Take, changed: Changed | Added | None
) -> Iterator[tuple[Spectra, Spectra, BoolArray, BoolArray]]:
    """Both block by block, which cells begin, and which have sounded for a while."""
    step = max(len(take.blocks) // _ATTACK_BLOCKS, 1)
    for block in take.blocks[::step]:
        times_s = take.frames_s[block]
        plain = take.of_reference(times_s)
        made = changed.made(plain, times_s) if changed else plain
        low, high = _LOWEST_BIN, HIGHEST_BIN
        one, other = made[:, low:high], take.of_candidate(times_s)[:, low:high]
        before = _power(one)
        level_db = 10 * np.log10(before + 1e-12 * before.max() + 1e-30)
        rise = np.zeros(before.shape, bool)
        rise[_ATTACK_FRAMES:] = level_db[_ATTACK_FRAMES:] - level_db[:-_ATTACK_FRAMES] > _ATTACK_DB
        loud = before > np.maximum(1e-3 * np.percentile(before, 98, axis=0), 1e-6 * before.max())
        lately = ndimage.maximum_filter1d(rise, 2 * _LATELY_FRAMES + 1, axis=0)
        yield one, other, rise & loud, loud & ~lately


def _power(frames: Spectra) -> FloatArray:
    return np.asarray(np.square(np.abs(frames)))


def _ratio_db(after: FloatArray, before: FloatArray) -> FloatArray:
    return np.asarray(10 * np.log10((after + 1e-30) / (before + 1e-30)))


def _joined(rows: list[_Cells]) -> _Cells:
    found, weights, columns, turned = (np.concatenate(values) for values in zip(*rows, strict=True))
    return found, weights, columns, turned
