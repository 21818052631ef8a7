"""What reverberation does to the image: diffuse sound is as loud in the side as in the mid."""

from __future__ import annotations

import numpy as np

from mixcompare.features import Features
from mixcompare.pair.channels import side_to_mid


def side_to_mid_db(features: Features) -> float:
    """Side against mid of a whole recording."""
    power = features.band_power.sum(dtype=np.float64)
    cross = features.band_cross.real.sum(dtype=np.float64)
    return float(10 * np.log10(side_to_mid(np.array(power), np.array(cross))))


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
