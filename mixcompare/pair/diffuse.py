"""What reverberation does to the image: diffuse sound is as loud in the side as in the mid."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.pair.channels import side_to_mid

FloatArray = npt.NDArray[np.float64]

_SMOOTH_S, _LOOK_BACK_S = 0.2, 1.0  # resolution
_FALLEN_DB, _HEARD_DB = -6.0, -50.0
"""Of the loudest of the last second, for what rings on alone; and of the loudest of all."""
_FEWEST = 20  # frames, 0.8 s; our judgement, not measured
_NARROW_DB = -3.0
"""What rings on in a hall that two microphones in one place took (the tests' measured one), or in
none, is at -4 to -5 dB in the string orchestra of the tests' real take, and at -1 to -2 dB where
each channel was given noise of its own."""


def side_to_mid_db(features: Features) -> float:
    """Side against mid of a whole recording."""
    power = features.band_power.sum(dtype=np.float64)
    cross = features.band_cross.real.sum(dtype=np.float64)
    return float(10 * np.log10(side_to_mid(np.array(power), np.array(cross))))


def rings_narrow(features: Features) -> bool:
    """Whether what rings on is clearly softer in the side than in the mid: no measure of a room.

    Microphones in one place take a diffuse field so; false where too little rings on alone.

    Parameters
    ----------
    features : Features
        Of two channels.
    """
    level = _smoothed(features.band_power.sum(axis=(1, 2), dtype=np.float64))
    cross = _smoothed(features.band_cross.real.sum(axis=1, dtype=np.float64))
    level_db = 10 * np.log10(np.maximum(level, 1e-30))
    back = round(_LOOK_BACK_S * BAND_RATE_HZ)
    recent_db = ndimage.maximum_filter1d(level_db, back, origin=back // 2, mode="nearest")
    alone = (level_db - recent_db < _FALLEN_DB) & (level_db > level_db.max() + _HEARD_DB)
    if alone.sum() < _FEWEST:
        return False
    # Of every moment alike: loud ones are those in which notes still sound.
    shared = np.array(np.mean(cross[alone] / level[alone]))
    return bool(10 * np.log10(side_to_mid(np.array(1.0), shared)) < _NARROW_DB)


def _smoothed(values: FloatArray) -> FloatArray:
    return np.asarray(ndimage.uniform_filter1d(values, round(_SMOOTH_S * BAND_RATE_HZ)))


def least_wetness_db(side_to_mid_db: float, widened_db: float) -> float:
    """How much reverberation an image needs that is so much wider; infinite where none will do.

    Of what is added (:mod:`mixcompare.pair.wetness`), half goes to the side and half to the mid.

    Parameters
    ----------
    side_to_mid_db : float
        Of the drier recording.
    widened_db : float
        Not negative.
    """
    side, wider = 10 ** (side_to_mid_db / 10), 10 ** ((side_to_mid_db + widened_db) / 10)
    if wider >= 1:
        return float("inf")
    each = (wider - side) / (1 + side) / (1 - wider)
    return float(10 * np.log10(1 + 4 * each))
