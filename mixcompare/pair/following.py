"""A gain that follows the music's own level, as a compressor's does."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.pair.undo import Ride
from mixcompare.statistics import huber_fit

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

FOLLOWS = 0.1  # dB per dB of the music, for a gain that follows it

_RANGE_DB = 40.0
_LAG_S = 0.4
"""Over so short a time a gain that follows the music moves, and a hand on the fader seldom."""


def heard_in(ride: Ride, spectra: PairSpectra) -> tuple[FloatArray, BoolArray]:
    """Level of the music at every moment in dB, and where it is heard and the ride is known."""
    loud_db = 10 * np.log10(spectra.reference.sum(axis=1) + 1e-30)
    return loud_db, (loud_db > loud_db.max() - _RANGE_DB) & ride.told


def following(ride: Ride, spectra: PairSpectra) -> float:
    """How many decibels the whole moves for every decibel of the music, over short times."""
    if not ride.moves:
        return 0.0
    loud_db, heard = heard_in(ride, spectra)
    lag = round(_LAG_S * RATE_HZ)
    both = heard[lag:] & heard[:-lag]
    music = (loud_db[lag:] - loud_db[:-lag])[both]
    moved = (ride.level_db[lag:] - ride.level_db[:-lag])[both]
    if len(music) == 0:
        return 0.0
    # A move of the fader lies far from the line, and weighs little.
    return float(huber_fit(music[None], moved).coefficients[0])
