"""What was done to the mix as a whole: a gain that falls as the stems together get louder.

Conventions
-----------
The gain of a moment is what the mix has of its stems together over what they should sound like
(the cross power over their power); its level is theirs. Only what both do within some seconds
counts: a fader is moved more slowly, and moves when it likes.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.stems.cells import StemCells

FloatArray = npt.NDArray[np.float64]

_HEARD_DB = 25.0  # below the loudest moments; softer ones say little of a compressor
_ALONG = 0.1  # of the stems' power: where less is in the mix something else plays
_SLOWLY_S = 1.5  # standard deviation of the window that goes with a fader's hand; our choice
_PRESSED = -0.11
"""dB of gain a dB of level. Three movements in two halls each: -0.07 to +0.04 plain, faded and
ridden; -0.36 to -0.16 under 2:1 and 4:1."""
_SURELY = -0.03  # in every quarter of the time
_FEWEST = 12  # moments in a quarter
_ROUNDS = 10


def gain_slope(cells: StemCells) -> float | None:
    """By how many dB the gain moves for one of level; None where that can't be told, or none."""
    # Music falls by about 6 dB an octave: so all octaves count alike.
    made, along = (power @ cells.centre_hz for power in (cells.made, cells.along))
    if not made.any():
        return None
    loud = made > 10 ** (-_HEARD_DB / 10) * np.percentile(made, 98)
    heard = loud & (along > _ALONG * made)
    if heard.sum() < 4 * _FEWEST:
        return None
    level, gain = (
        _quick(decibels, cells.rate_hz)
        for decibels in (
            10 * np.log10(made[heard]),
            20 * np.log10(along[heard] / made[heard]),
        )
    )
    quarters = zip(np.array_split(level, 4), np.array_split(gain, 4), strict=True)
    slope = _slope(level, gain)
    if slope > _PRESSED or any(_slope(*quarter) > _SURELY for quarter in quarters):
        return None
    return slope


def pressed_note(cells: StemCells) -> tuple[str, ...]:
    """A sentence where the mix is compressed, else none."""
    slope = gain_slope(cells)
    if slope is None:
        return ()
    return (
        f"The mix is compressed as a whole: for every 10 dB that the stems together get louder its"
        f" gain falls by about {-10 * slope:.0f} dB.",
    )


def _quick(decibels: FloatArray, rate_hz: float) -> FloatArray:
    return np.asarray(decibels - ndimage.gaussian_filter1d(decibels, _SLOWLY_S * rate_hz))


def _slope(level_db: FloatArray, gain_db: FloatArray) -> float:
    """Straight line through the middle; what lies far off counts less (Cauchy weights)."""
    weight, slope = np.ones(len(level_db)), 0.0
    for _ in range(_ROUNDS):
        square = float((weight * level_db**2).sum())
        slope = float((weight * level_db * gain_db).sum()) / max(square, 1e-12)
        left = gain_db - slope * level_db
        weight = 1 / (1 + np.square(left / (1.4826 * np.median(np.abs(left)) + 1e-9)))
    return slope
