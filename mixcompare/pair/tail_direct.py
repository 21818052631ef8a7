"""The level of the direct sound under another tail: from attacks, before the tail has come.

Conventions
-----------
Of frames of one take (:mod:`mixcompare.pair.tail_frames`), candidate minus reference in dB, besides
the pair's gain. Where a note begins, what differs is the level of the whole, a filter, or an
element that changed and sounds alone in its register; none of them is the tail's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.features import ANALYSIS_RATE_HZ
from mixcompare.pair.tail_frames import HIGHEST_BIN, WINDOW, Changed, Take
from mixcompare.statistics import robust_mode

FloatArray = npt.NDArray[np.float64]

# A rise over 43 ms that is an attack; our judgement, not measured.
_ATTACK_DB, _ATTACK_FRAMES = 6.0, 2
_ATTACK_BLOCKS = 4  # cost: of the passage's blocks, at most
_REACH_OCTAVES = 0.3
# Cells that begin so near, and third octaves that have so many; our judgement, not measured.
_FEWEST_ABOUT, _FEWEST_REGISTERS = 60, 6
_REGISTERS_DB = 0.5  # without a filter registers stay within 0.2 dB of each other (two scores)
_LOWEST_BIN = 4  # 47 Hz; below it a frame holds no three periods
_LEAST_TOP_DB = 1.0
"""At the highest notes: first violins 5 dB up or down move them by 0.2 to 0.4 dB (three scores)."""
# Half octaves down to where a low cut shows, and by how much it does there at least.
_DOWN_TO_HZ, _LEAST_STEP_DB = (85.0, 120.0, 170.0), 1.5


@dataclass(frozen=True, eq=False)
class Direct:
    """Level of the direct sound.

    Attributes
    ----------
    level_db : float
        On which most registers agree.
    bin_db : ndarray, shape (bins,)
        On which the attacks a few notes from every bin agree.
    """

    level_db: float
    bin_db: FloatArray

    @property
    def filter_db(self) -> FloatArray:
        """What a filter surely does: a cut at the low end, a shelf or a cut at the high end.

        A low cut takes more from every lower band, an element one amount. What plays up to the
        highest band and is never alone there moves no attack alike from some band upwards.
        """
        beside_db = self.bin_db - self.level_db
        lower, low, middle = (
            beside_db[round(hz * WINDOW / ANALYSIS_RATE_HZ)] for hz in _DOWN_TO_HZ
        )
        out = np.zeros_like(beside_db)
        if abs(lower - low) > max(abs(low - middle), _LEAST_STEP_DB):
            ends = _end_of_side(np.sign(lower - low) * beside_db[_LOWEST_BIN:]) + _LOWEST_BIN
            out[:ends] = beside_db[:ends]
        top_db = beside_db[HIGHEST_BIN - 1]
        if abs(top_db) > _LEAST_TOP_DB:
            begins = HIGHEST_BIN - _end_of_side(np.sign(top_db) * beside_db[HIGHEST_BIN - 1 :: -1])
            out[begins:] = beside_db[begins:]
        return out

    @property
    def shelf_db(self) -> float:
        """Of that filter at the highest notes."""
        return float(self.filter_db[HIGHEST_BIN - 1])


def _end_of_side(along: FloatArray) -> int:
    """How many there are before the first that isn't positive."""
    return int(np.argmax(along <= 0)) if (along <= 0).any() else len(along)


def direct_level(take: Take, changed: Changed | None) -> Direct:
    """Read it from the cells that begin."""
    found, weight, column = _attacks(take, changed)
    level_db = changed.level_db if changed else 0.0
    octave = np.log2(np.maximum(np.arange(WINDOW // 2 + 1), 1))
    middles, curve_db = [], []
    for middle in np.arange(octave[_LOWEST_BIN], octave[HIGHEST_BIN], 1 / 3):
        about = np.abs(octave[column] - middle) < _REACH_OCTAVES
        if about.sum() > _FEWEST_ABOUT:
            middles.append(middle)
            # An octave has more bins the higher they are.
            curve_db.append(robust_mode(found[about], (weight / column)[about], 1.0))
    if len(curve_db) < _FEWEST_REGISTERS:
        return Direct(level_db, np.full(len(octave), level_db))
    level_db = robust_mode(curve_db, np.ones(len(curve_db)), _REGISTERS_DB)
    return Direct(level_db, np.interp(octave, middles, curve_db))


def _attacks(
    take: Take, changed: Changed | None
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int64]]:
    """Difference of every cell that begins, its weight, and its bin."""
    step = max(len(take.blocks) // _ATTACK_BLOCKS, 1)
    rows = []
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
        struck = rise & loud
        ratio = (after[struck] + 1e-30) / (before[struck] + 1e-30)
        column = np.nonzero(struck)[1] + _LOWEST_BIN
        rows.append((10 * np.log10(ratio), before[struck] ** 0.15, column))
    found, weights, columns = zip(*rows, strict=True)
    return np.concatenate(found), np.concatenate(weights), np.concatenate(columns)
