"""Filters in what attacks show under another tail: shelves, bells and low cuts.

Conventions
-----------
Curves are candidate minus reference in dB, of what begins (:mod:`mixcompare.pair.tail_direct`),
beside the level on which most registers agree. An element that is alone in beginning in a register
moves it too; a filter moves every register, as one curve of its shape.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import optimize

from mixcompare.pair.shapes import bell_db, high_shelf_db, low_cut_db, low_shelf_db

FloatArray = npt.NDArray[np.float64]
Cells = tuple[FloatArray, FloatArray, FloatArray]

_LEAST_TOP_DB = 1.0
"""At the highest notes: first violins 5 dB up or down move them by 0.2 to 0.4 dB (three scores)."""
_HELD = 0.45
"""Of what begins, what sounds on shows of it: 0.5 to 0.9 under shelves of 4 dB (three scores), -0.1
beside a struck figure 6 dB louder that is alone in beginning up there (the sample score)."""
_BELL_HZ, _SHARPNESS, _LEAST_BELL_DB, _MOST_BELL_DB = (250.0, 3500.0), (0.4, 1.5), 1.5, 12.0
_ON_BELL_DB, _OFF_BELL = 0.3, 0.3
"""How near registers must lie to a bell, most of them, and all, of its gain: 0.1 to 0.2 dB, and
0.12 to 0.18 of it in four pairs with one of 4 dB and another tail (two scores); of 28 sections 5 dB
up or down there the only one that moves registers so far, a bassoon, leaves 0.5 of it."""
_LOW_HZ = 1000.0  # below it low cuts show
_LOW_CORNERS_HZ, _SLOPES_DB = (40.0, 600.0), (5.5, 26.0)
_LEAST_LOST_DB = (5.0, 3.0)  # in the two lowest registers, for a cut to be looked for
_ON_CUT_DB, _DEEP_SHARE = 0.3, 0.08
"""How near registers lie to it, and of what a register has lost: low down few notes begin."""
_MOST_SHELF_DB, _STEEPEST_SHELF = 8.0, 4.0  # what falls further is likelier a cut; our judgement
_AS_NEAR = 1.2
"""A cut's misfit in that of a shelf or a step, at most: 0.3 to 0.7 in ten pairs with a low cut and
another tail, 2.8 to 8 beside contrabasses 5 dB up or down and low shelves (two scores)."""
_LEAST_LOW_DB = 1.0  # in the four lowest registers, for a low shelf to be looked for
_SHELF_CORNERS_HZ, _SHELF_SLOPES = (80.0, 400.0), (0.7, 2.6)  # first to second order
_HIGH_CORNERS_HZ, _MIDDLE_HZ, _ON_SHELF_DB = (800.0, 9000.0), 500.0, 0.5
_FROM_HZ, _FEWEST_IN_REGISTER = 65.0, 40
_WIDTHS_DB = np.geomspace(0.25, 4.0, 12)  # resolution
_AMOUNTS_DB, _PARTS = np.arange(2.0, 8.5, 1.0), np.linspace(0.0, 1.0, 11)  # resolution
_ALIKE = -0.003
"""From here on cells move alike: -0.010 to +0.016 under thirty low shelves of 4 dB and another
tail, 22 of them above. Of 100 pairs with contrabasses or cellos 3 to 5 dB up or down and other
tails one is taken for a shelf (three scores)."""
_CUT_ALIKE = -0.012
"""The same beside a low cut: -0.008 to 0.18 under 47 of 48 of 6 to 24 dB an octave and another tail
(three scores, the one is told as a shelf already); contrabasses 5 to 7 dB louder that look like one
-0.017 and less (four pairs of another)."""
_GRADUAL = 2.1
"""A shelf that is less steep need move cells no more alike than a cut: nothing else is as gradual.
One curve goes through 28 of thirty shelves of 4 dB under another tail, 25 less steep; through 12
of 36 pairs with contrabasses 3 or 5 dB up or down, at 2.15 and more (three scores)."""
_FEW_BELOW_HZ, _FURTHER_COUNTS = 50.0, 0.3
"""Down there few notes begin, and read up to 1.4 dB low where nothing changed (fifteen pairs); an
element moves them no further than those above."""


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


@dataclass(frozen=True)
class LowCut:
    """A low cut on one of two mixes.

    Attributes
    ----------
    corner_hz : float
        Where it takes 3 dB.
    slope_db_per_octave : float
        Below zero: the candidate's; above it, the reference's.
    """

    corner_hz: float
    slope_db_per_octave: float

    def level_db(self, hz: FloatArray) -> FloatArray:
        """What it does, shape of ``hz``."""
        return low_cut_db(np.maximum(hz, 1.0), self.corner_hz, self.slope_db_per_octave)


@dataclass(frozen=True)
class Shelf:
    """A shelf on one of two mixes.

    Attributes
    ----------
    shape : callable
        :func:`~mixcompare.pair.shapes.high_shelf_db` or its counterpart.
    corner_hz, gain_db, slope : float
        Half the gain at the corner; slope 1 is of first order.
    """

    shape: Callable[[FloatArray, float, float, float], FloatArray]
    corner_hz: float
    gain_db: float
    slope: float

    def level_db(self, hz: FloatArray) -> FloatArray:
        """What it does, shape of ``hz``."""
        return self.shape(np.maximum(hz, 1.0), self.gain_db, self.corner_hz, self.slope)


def shelf_in(hz: FloatArray, beside_db: FloatArray, held_db: float) -> Shelf | None:
    """The high shelf that lasts up to the highest notes, in what begins and in what sounds on.

    An element that is alone in beginning up there moves no others, which sound on; one that is
    alone further down is passed by.

    Parameters
    ----------
    hz, beside_db : ndarray, shape (registers,)
        Where they lie, and how far they stand from most of them.
    held_db : float
        What has sounded for a while at the highest notes, beside the middle.
    """
    asked = np.isfinite(beside_db)
    hz, beside_db = hz[asked], beside_db[asked]
    top_db = float(beside_db[-1])
    if abs(top_db) <= _LEAST_TOP_DB or held_db / top_db <= _HELD:
        return None
    sign = np.sign(top_db)
    _, (corner, gain_db, slope) = _through(
        lambda x: (high_shelf_db(hz, sign * x[1], np.exp(x[0]), x[2]) - beside_db) / _ON_BELL_DB,
        np.array([np.log(_HIGH_CORNERS_HZ), (0.0, _MOST_BELL_DB), _SHELF_SLOPES]),
    )
    shelf = Shelf(high_shelf_db, float(np.exp(corner)), float(sign * gain_db), float(slope))
    away_db = np.abs(shelf.level_db(hz) - beside_db)
    return shelf if np.median(away_db[hz > _MIDDLE_HZ]) < _ON_SHELF_DB else None


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


def low_cut_in(hz: FloatArray, beside_db: FloatArray, cells: Cells) -> LowCut | None:
    """The low cut that what begins shows: every lower register has lost more.

    A low shelf moves all registers below one by one amount; so does an element, and of the cells
    above it only its own.

    Parameters
    ----------
    hz, beside_db : ndarray, shape (registers,)
        Where they lie, and how far they stand from most of them.
    cells : tuple of ndarray, shape (n,)
        What begins: where it lies in hertz, how far it stands from most registers, its weight.
    """
    asked = np.isfinite(beside_db) & (hz < _LOW_HZ)
    hz, beside_db = hz[asked], beside_db[asked]
    if len(hz) < 4 or (np.sign(beside_db[0]) * beside_db[:2] < _LEAST_LOST_DB).any():
        return None
    sign = np.sign(beside_db[0])
    unsure_db = np.hypot(_ON_CUT_DB, _DEEP_SHARE * np.abs(beside_db))
    cut_misfit, (corner, slope_db) = _through(
        lambda x: (low_cut_db(hz, np.exp(x[0]), sign * x[1]) - beside_db) / unsure_db,
        np.array([np.log(_LOW_CORNERS_HZ), _SLOPES_DB]),
    )
    shelf_misfit, _ = _through(
        lambda x: (low_shelf_db(hz, sign * x[1], np.exp(x[0]), x[2]) - beside_db) / unsure_db,
        np.array([np.log(_LOW_CORNERS_HZ), (0.0, _MOST_SHELF_DB), (0.5, _STEEPEST_SHELF)]),
    )
    cut = LowCut(float(np.exp(corner)), float(sign * slope_db))
    seen = hz[1] < cut.corner_hz and cut_misfit < _AS_NEAR * shelf_misfit
    return cut if seen and alike(cells, cut) > _CUT_ALIKE else None


def low_shelf_in(hz: FloatArray, beside_db: FloatArray, cells: Cells) -> Shelf | None:
    """The low shelf that what begins shows.

    A low instrument that changed moves the lowest registers by one amount too, and those above by
    less and less; but of the cells there it moves its own, and others not at all. A filter moves
    them alike, whoever plays.

    Parameters
    ----------
    hz, beside_db : ndarray, shape (registers,)
        Where they lie, and how far they stand from most of them.
    cells : tuple of ndarray, shape (n,)
        What begins: where it lies in hertz, how far it stands from most registers, its weight.
    """
    asked = np.isfinite(beside_db) & (hz < _LOW_HZ)
    hz, beside_db = hz[asked], beside_db[asked]
    if len(hz) < 4 or abs(beside_db[:4]).min() < _LEAST_LOW_DB:
        return None
    sign = np.sign(beside_db[0])

    def missed(at: Sequence[float]) -> FloatArray:
        curve_db = low_shelf_db(hz, sign * at[1], np.exp(at[0]), at[2])
        further = (hz < _FEW_BELOW_HZ) & (sign * (beside_db - curve_db) > 0)
        return np.asarray(
            np.where(further, _FURTHER_COUNTS, 1.0) * (curve_db - beside_db) / _ON_BELL_DB
        )

    _, (corner, gain_db, slope) = _through(
        missed, np.array([np.log(_SHELF_CORNERS_HZ), (0.0, _MOST_BELL_DB), _SHELF_SLOPES])
    )
    shelf = Shelf(low_shelf_db, float(np.exp(corner)), float(sign * gain_db), float(slope))
    left = np.abs(missed([corner, gain_db, slope])) * _ON_BELL_DB
    through = np.median(left) < _ON_BELL_DB and left.max() < _OFF_BELL * gain_db
    if not through or gain_db < _LEAST_BELL_DB:
        return None
    return shelf if alike(cells, shelf) > (_CUT_ALIKE if slope < _GRADUAL else _ALIKE) else None


def alike(cells: Cells, found: Shelf | LowCut) -> float:
    """How much likelier cells move as a filter does than some by one amount and others not at all.

    Log likelihood, in a cell's mean. Cells scatter about what they do as Student's t with two
    degrees of freedom, in every register as widely, and in as many parts, as fits best.
    """
    lowest, highest = np.log2((_FROM_HZ, 2 * found.corner_hz))
    sign = float(np.sign(found.level_db(np.array([_FROM_HZ]))[0]))
    filtered_db = cells[1] - found.level_db(cells[0])
    asked, filtered, one_amount = likelihoods(
        cells, filtered_db, np.arange(lowest, highest, 1 / 3), (sign,)
    )
    return float(filtered.sum() - one_amount[:, 0].sum(axis=0).max()) / asked if asked else 0.0


def likelihoods(
    cells: Cells, filtered_db: FloatArray, registers: FloatArray, signs: tuple[float, ...]
) -> tuple[int, FloatArray, FloatArray]:
    """Log likelihood, register by register, that a filter moved its cells, or an element some.

    Parameters
    ----------
    cells : tuple of ndarray, shape (n,)
        What begins: where it lies in hertz, how far it stands from most registers, its weight.
    filtered_db : ndarray, shape (n,)
        The same without the filter.
    registers : ndarray, shape (registers,)
        Their middles in octaves, evenly apart.
    signs : tuple of float
        Of what elements did.

    Returns
    -------
    asked : int
        Cells in registers that hold enough of them; only those follow.
    filtered : ndarray, shape (registers,)
    moved : ndarray, shape (registers, signs, amounts)
        An element by 2 to 8 dB, in the best share of the cells.
    """
    octave, moved_db, weight = np.log2(cells[0]), cells[1], cells[2]
    half = np.diff(registers[:2]).sum() / 2
    amounts_db = np.multiply.outer(signs, _AMOUNTS_DB)
    asked, filtered, moved = 0, list[float](), list[float]()
    for middle in registers:
        about = np.abs(octave - middle) < half
        if about.sum() < _FEWEST_IN_REGISTER:
            continue
        found_db, counts = moved_db[about], weight[about] / weight[about].mean()
        asked += len(found_db)
        filtered.append(float((counts @ np.log(_scattered(filtered_db[about]))).max()))
        still = _scattered(found_db)
        for amount_db in amounts_db.flat:
            own = _scattered(found_db - amount_db)
            parts = _PARTS[:, None, None] * own + (1 - _PARTS[:, None, None]) * still
            moved.append(float((counts @ np.log(parts)).max()))
    return asked, np.array(filtered), np.reshape(moved, (-1, *amounts_db.shape))


def _scattered(away_db: FloatArray) -> FloatArray:
    """Density at distances from a middle, shape (n, widths)."""
    return np.asarray((1 + (away_db[:, None] / _WIDTHS_DB) ** 2 / 2) ** -1.5 / _WIDTHS_DB)


def _through(missed: Any, limits: FloatArray) -> tuple[float, FloatArray]:
    """Least misfit within limits, shape (values, 2), and the values there."""
    tried = [
        optimize.least_squares(
            missed, limits[:, 0] + share * np.ptp(limits, axis=1), bounds=limits.T, loss="soft_l1"
        )
        for share in (0.3, 0.6)
    ]
    best = min(tried, key=lambda found: float(found.cost))
    return float(best.cost), best.x
