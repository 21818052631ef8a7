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
from scipy import ndimage, optimize

from mixcompare.features import ANALYSIS_RATE_HZ
from mixcompare.pair.shapes import bell_db
from mixcompare.pair.tail_frames import HIGHEST_BIN, WINDOW, Changed, Take
from mixcompare.statistics import huber_fit, robust_mode, weighted_quantile

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
_Cells = tuple[FloatArray, FloatArray, npt.NDArray[np.int64]]
"""Differences, weights and bins."""

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
_LEAST_TOP_DB = 1.0
"""At the highest notes: first violins 5 dB up or down move them by 0.2 to 0.4 dB (three scores)."""
_SEVERAL, _FEWEST_MOMENTS, _RANGE_DB = 12, 50, 40.0  # our judgement, not measured
_TOP_HZ, _MIDDLE_HZ = (3000.0, 4500.0), (300.0, 1200.0)
_HELD = 0.45
"""Of what begins, what sounds on shows of it: 0.5 to 0.9 under shelves of 4 dB (three scores), -0.1
beside a struck figure 6 dB louder that is alone in beginning up there (the sample score)."""
_BELL_HZ, _SHARPNESS, _LEAST_BELL_DB, _MOST_BELL_DB = (250.0, 3500.0), (0.4, 1.5), 1.5, 12.0
_ON_BELL_DB, _OFF_BELL = 0.3, 0.3
"""How near registers must lie to a bell, most of them, and all, of its gain: 0.1 to 0.2 dB, and
0.12 to 0.18 of it in four pairs with one of 4 dB and another tail (two scores); of 28 sections 5 dB
up or down there the only one that moves registers so far, a bassoon, leaves 0.5 of it."""
# Half octaves down to where a low cut shows, and by how much it does there at least.
_DOWN_TO_HZ, _LEAST_STEP_DB = (85.0, 120.0, 170.0), 1.5


@dataclass(frozen=True)
class Bell:
    """A bell on one of two mixes.

    Attributes
    ----------
    middle_hz, gain_db, sharpness : float
    """

    middle_hz: float
    gain_db: float
    sharpness: float

    def level_db(self, hz: FloatArray) -> FloatArray:
        """What it does, shape of ``hz``."""
        return bell_db(np.maximum(hz, 1.0), self.gain_db, self.middle_hz, self.sharpness)


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
    """

    level_db: float
    bin_db: FloatArray
    filter_db: FloatArray

    @property
    def shelf_db(self) -> float:
        """What the filter does at the highest notes."""
        return float(self.filter_db[HIGHEST_BIN - 1])

    def filter_at_db(self, hz: npt.ArrayLike) -> FloatArray:
        """What the filter does elsewhere; above the highest notes what it does at them."""
        bins = np.asarray(hz, np.float64) * WINDOW / ANALYSIS_RATE_HZ
        return np.interp(bins, np.arange(HIGHEST_BIN), self.filter_db[:HIGHEST_BIN])


def low_cut_in(beside_db: FloatArray) -> FloatArray:
    """What takes more from every lower band, as a cut does; an element takes one amount."""
    lower, low, middle = (beside_db[round(hz * WINDOW / ANALYSIS_RATE_HZ)] for hz in _DOWN_TO_HZ)
    out = np.zeros_like(beside_db)
    if abs(lower - low) > max(abs(low - middle), _LEAST_STEP_DB):
        ends = _end_of_side(np.sign(lower - low) * beside_db[_LOWEST_BIN:]) + _LOWEST_BIN
        out[:ends] = beside_db[:ends]
    return out


def shelf_in(beside_db: FloatArray, held_db: float) -> FloatArray:
    """What lasts up to the highest notes, in what begins and in what sounds on as well.

    An element that is alone in beginning up there moves no others, which sound on.
    """
    out = np.zeros_like(beside_db)
    top_db = beside_db[HIGHEST_BIN - 1]
    if abs(top_db) > _LEAST_TOP_DB and held_db / top_db > _HELD:
        begins = HIGHEST_BIN - _end_of_side(np.sign(top_db) * beside_db[HIGHEST_BIN - 1 :: -1])
        out[begins:] = beside_db[begins:]
    return out


def bell_in(hz: FloatArray, beside_db: FloatArray) -> Bell | None:
    """The bell that what begins shows, if one curve of that shape goes through all registers.

    An element moves the registers in which it begins alone, and those beside them not at all, or
    as its partials lie.

    Parameters
    ----------
    hz, beside_db : ndarray, shape (registers,)
        Where they lie, and how far they stand from most of them.
    """
    asked = (hz > 0.75 * _BELL_HZ[0]) & np.isfinite(beside_db)
    inside = asked & (hz > _BELL_HZ[0]) & (hz < _BELL_HZ[1])
    if not inside.any():
        return None
    peak = int(np.argmax(np.where(inside, np.abs(beside_db), 0.0)))
    if not _LEAST_BELL_DB < abs(beside_db[peak]) < _MOST_BELL_DB:
        return None
    limits = np.log([_BELL_HZ, _SHARPNESS])
    start = np.array([np.log(hz[peak]), np.log(1.0), beside_db[peak]])
    found = optimize.least_squares(
        lambda x: bell_db(hz[asked], x[2], np.exp(x[0]), np.exp(x[1])) - beside_db[asked],
        start,
        bounds=([*limits[:, 0], -_MOST_BELL_DB], [*limits[:, 1], _MOST_BELL_DB]),
        loss="soft_l1",
        f_scale=_ON_BELL_DB,
    )
    bell = Bell(float(np.exp(found.x[0])), float(found.x[2]), float(np.exp(found.x[1])))
    left = np.abs(bell.level_db(hz[asked]) - beside_db[asked])
    through = np.median(left) < _ON_BELL_DB and left.max() < _OFF_BELL * abs(bell.gain_db)
    return bell if through and abs(bell.gain_db) > _LEAST_BELL_DB else None


def _end_of_side(along: FloatArray) -> int:
    """How many there are before the first that isn't positive."""
    return int(np.argmax(along <= 0)) if (along <= 0).any() else len(along)


def direct_level(take: Take, changed: Changed | None) -> Direct:
    """Read it from the cells that begin.

    Attacks further from the pair's gain than a tail can lift it say nothing of the whole's level:
    they are a changed element's own. Most attacks lie high up; under a shelf their level is that
    of most registers.
    """
    begins, goes_on = _cells(take, changed)
    found, weight, column = begins
    near = np.abs(found) < _MOST_TAIL_DB
    octave = np.log2(np.maximum(np.arange(WINDOW // 2 + 1), 1))
    if near.sum() <= _FEWEST:
        level_db = changed.level_db if changed else 0.0
        return Direct(level_db, np.full(len(octave), level_db), np.zeros(len(octave)))
    level_db = robust_mode(found[near], weight[near], 1.0)
    middles = np.arange(octave[_LOWEST_BIN], octave[HIGHEST_BIN], 1 / 3)
    curve_db = np.full(len(middles), level_db)
    for index, middle in enumerate(middles):
        about = np.abs(octave[column] - middle) < _REACH_OCTAVES
        if about.sum() > _FEWEST_ABOUT:
            # An octave has more bins the higher they are.
            curve_db[index] = robust_mode(found[about], (weight / column)[about], 1.0)
    bin_db = np.interp(octave, middles, curve_db)
    held_db = _middle_db(goes_on, octave, _TOP_HZ) - _middle_db(goes_on, octave, _MIDDLE_HZ)
    registers_db = robust_mode(curve_db, np.ones(len(curve_db)), _REGISTERS_DB)
    shelf_db = shelf_in(bin_db - registers_db, held_db)
    bins_hz = np.arange(len(octave)) * ANALYSIS_RATE_HZ / WINDOW
    left_db = curve_db - registers_db - np.interp(middles, octave, shelf_db)
    bell = bell_in(2**middles * ANALYSIS_RATE_HZ / WINDOW, left_db)
    filter_db = shelf_db if bell is None else shelf_db + bell.level_db(bins_hz)
    if filter_db.any():
        level_db = registers_db
    return Direct(level_db, bin_db, filter_db + low_cut_in(bin_db - filter_db - level_db))


def _middle_db(cells: _Cells, octave: FloatArray, range_hz: tuple[float, float]) -> float:
    """Median of the cells in a range."""
    found, weight, column = cells
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
        several = np.flatnonzero(begins.sum(axis=1) >= _SEVERAL)
        change_db = np.where(begins, _ratio_db(after, before), np.nan)[several]
        moved_db.append(np.nanmedian(change_db, axis=1) if len(several) else np.zeros(0))
        music_db.append(10 * np.log10(before[several].sum(axis=1) + 1e-30))
    music, moved = np.concatenate(music_db), np.concatenate(moved_db)
    heard = music > music.max(initial=-np.inf) - _RANGE_DB
    if heard.sum() < _FEWEST_MOMENTS:
        return 0.0
    line = np.stack([np.ones(heard.sum()), music[heard]])
    return float(huber_fit(line, moved[heard]).coefficients[1])


def _cells(take: Take, changed: Changed | None) -> tuple[_Cells, _Cells]:
    """Cells in which something begins, and those in which it has sounded for a while."""
    rows: tuple[list[_Cells], list[_Cells]] = ([], [])
    for before, after, *both in _frames(take, changed):
        for which, cells in zip(rows, both, strict=True):
            column = np.nonzero(cells)[1] + _LOWEST_BIN
            which.append((_ratio_db(after[cells], before[cells]), before[cells] ** 0.15, column))
    return _joined(rows[0]), _joined(rows[1])


def _frames(
    take: Take, changed: Changed | None
) -> Iterator[tuple[FloatArray, FloatArray, BoolArray, BoolArray]]:
    """Powers of both block by block, which cells begin, and which have sounded for a while."""
    step = max(len(take.blocks) // _ATTACK_BLOCKS, 1)
    for block in take.blocks[::step]:
        times_s = take.frames_s[block]
        plain = take.of_reference(times_s)
        before, after = (
            np.square(np.abs(frames[:, _LOWEST_BIN:HIGHEST_BIN]))
            for frames in (changed.made(plain, times_s) if changed else plain,
                           take.of_candidate(times_s))
        )  # fmt: skip
        level_db = 10 * np.log10(before + 1e-12 * before.max() + 1e-30)
        rise = np.zeros(before.shape, bool)
        rise[_ATTACK_FRAMES:] = level_db[_ATTACK_FRAMES:] - level_db[:-_ATTACK_FRAMES] > _ATTACK_DB
        loud = before > np.maximum(1e-3 * np.percentile(before, 98, axis=0), 1e-6 * before.max())
        lately = ndimage.maximum_filter1d(rise, 2 * _LATELY_FRAMES + 1, axis=0)
        yield before, after, rise & loud, loud & ~lately


def _ratio_db(after: FloatArray, before: FloatArray) -> FloatArray:
    return np.asarray(10 * np.log10((after + 1e-30) / (before + 1e-30)))


def _joined(rows: list[_Cells]) -> _Cells:
    found, weights, columns = zip(*rows, strict=True)
    return np.concatenate(found), np.concatenate(weights), np.concatenate(columns)
