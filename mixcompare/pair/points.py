"""A whole that is one sound on both channels: a point between the loudspeakers, as mono is.

Such a recording has no width and no instrument in a place of its own; but the point lies somewhere,
and may have been turned by the balance against a recording in mono.

Conventions
-----------
``turn_db`` is the right channel's level over the left one's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.features import Features
from mixcompare.pair.image import later_between
from mixcompare.pair.pair import Pair
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

_ONE_SOUND, _BELOW_HZ = 0.95, 250.0
"""Share of both channels' power that they have in common below so much, where a delay of 3 ms
leaves it: a mono orchestra turned, coded or late has 0.97 and more, a stereo one 0.6."""
_ALIKE_DB = 0.2  # between bands, of one turn; our judgement, not measured
_LEAST_DB = 0.1  # resolution of a turn


@dataclass(frozen=True)
class Point:
    """How a point was moved.

    Attributes
    ----------
    turn_db, turn_db_interval
        Right against left.
    later_us, later_us_interval
        The right channel against the left one.
    """

    turn_db: float
    turn_db_interval: tuple[float, float]
    later_us: float
    later_us_interval: tuple[float, float]


def moved_point(pair: Pair) -> Point | None:
    """How a point was moved; None where there are not two points, or both are mono.

    Parameters
    ----------
    pair : Pair
        As it is.
    """
    if not pair.same_take or (pair.reference.is_mono and pair.candidate.is_mono):
        return None
    usable = pair.usable_bands
    before, after = (_turn_db(one, usable) for one in (pair.reference, pair.candidate))
    if before is None or after is None:
        return None
    turn_db, reach = after[0] - before[0], float(np.hypot(before[1], after[1]))
    later_us, within_us = later_between(pair.spectra, pair.images)
    return Point(
        turn_db,
        (turn_db - reach, turn_db + reach),
        later_us,
        (later_us - within_us, later_us + within_us),
    )


def _turn_db(features: Features, usable: npt.NDArray[np.bool_]) -> tuple[float, float] | None:
    """Where a point lies, and half of its interval."""
    if features.is_mono:
        return 0.0, _LEAST_DB
    power = features.band_power.sum(axis=0, dtype=np.float64)[usable]
    low = THIRD_OCTAVE_CENTRES_HZ[usable] < _BELOW_HZ
    if (power <= 0).any() or not low.any():
        return None
    cross = features.band_cross.sum(axis=0, dtype=np.complex128)[usable]
    if np.median((np.abs(cross) ** 2 / power.prod(axis=1))[low]) < _ONE_SOUND:
        return None
    level_db = 10 * np.log10(power[:, 1] / power[:, 0])
    middle = float(np.median(level_db))
    spread = 1.4826 * float(np.median(np.abs(level_db - middle)))
    return (middle, max(2 * spread, _LEAST_DB)) if spread < _ALIKE_DB else None
