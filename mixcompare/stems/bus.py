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
_THRESHOLDS = (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6)  # of the moments, by level, that lie below
_READ_LOW = 0.65
"""Share of the true slope that is read at least: 0.67 to 0.76 of made-up music under 2:1 and 4:1,
level over 50 ms and gain over 100 ms, all of it or its upper 6 dB; 1 of one that acts at once."""
_SURELY = -0.03  # in every quarter of the time
_FEWEST = 12  # moments in a quarter
_ROUNDS = 10


def gain_slope(cells: StemCells) -> float | None:
    """By how many dB the gain moves for one of level; None where that can't be told, or none.

    Above the threshold that explains it best; what is read is too little by the compressor's own
    slowness (see :data:`_READ_LOW`).
    """
    found = _moments(cells)
    if found is None:
        return None
    level, gain = found
    quick = _quick(gain, cells.rate_hz)
    whole = _quick(level, cells.rate_hz)
    quarters = zip(np.array_split(whole, 4), np.array_split(quick, 4), strict=True)
    if _slope(whole, quick) > _PRESSED or any(_slope(*quarter) > _SURELY for quarter in quarters):
        return None
    scale, tried = 0.0, []
    for quantile in _THRESHOLDS:
        over = np.maximum(level - np.quantile(level, quantile), 0.0)
        over = _quick(over, cells.rate_hz)
        slope = _slope(over, quick)
        left = quick - slope * over
        scale = scale or 1.4826 * float(np.median(np.abs(left))) + 1e-9
        tried.append((float(np.log1p(np.square(left / scale)).sum()), slope))
    return min(tried)[1]


def _moments(cells: StemCells) -> tuple[FloatArray, FloatArray] | None:
    """Level of the stems and gain of the mix, in dB, while they can be heard."""
    # Music falls by about 6 dB an octave: so all octaves count alike.
    made, along = (power @ cells.centre_hz for power in (cells.made, cells.along))
    if not made.any():
        return None
    loud = made > 10 ** (-_HEARD_DB / 10) * np.percentile(made, 98)
    heard = loud & (along > _ALONG * made)
    if heard.sum() < 4 * _FEWEST:
        return None
    return 10 * np.log10(made[heard]), 20 * np.log10(along[heard] / made[heard])


def pressed_note(cells: StemCells) -> tuple[str, ...]:
    """A sentence where the mix is compressed, else none."""
    slope = gain_slope(cells)
    if slope is None:
        return ()
    least, most = -10 * slope, min(-10 * slope / _READ_LOW, 10.0)
    return (
        "The mix is compressed as a whole: for every 10 dB that the stems together get louder in"
        f" its loud moments its gain falls by {least:.0f} to {most:.0f} dB.",
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
