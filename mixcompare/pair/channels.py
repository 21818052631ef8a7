"""Power of left and right and what they share, per third octave, at the times of a pair.

Conventions
-----------
Powers as in :mod:`mixcompare.features`; the cross power is left times the conjugate of right. Times
are on the recording's own clock.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import BAND_RATE_HZ, Features

FloatArray = npt.NDArray[np.float64]

FLOOR = 1e-6
"""Side or mid less than 60 dB under the other is taken as 60 dB under it."""


def channel_powers(features: Features, times_s: FloatArray, smooth_frames: int) -> FloatArray:
    """Smoothed power of left and right.

    Parameters
    ----------
    features : Features
        Of a recording with two channels.
    times_s : ndarray, shape (n,)
        Where they are read.
    smooth_frames : int
        Length of the mean, in frames of the bands.

    Returns
    -------
    ndarray, shape (n, 31, 2)
        Never negative.
    """
    return np.maximum(smoothed(features.band_power, BAND_RATE_HZ, times_s, smooth_frames), 0)


def cross_power(
    features: Features, times_s: FloatArray, smooth_frames: int
) -> npt.NDArray[np.complex128]:
    """Smoothed cross power of left and right, shape (n, 31) complex; as :func:`channel_powers`."""
    real, imaginary = (
        smoothed(part, BAND_RATE_HZ, times_s, smooth_frames)
        for part in (features.band_cross.real, features.band_cross.imag)
    )
    return real + 1j * imaginary


def side_to_mid(total: FloatArray, cross: FloatArray) -> FloatArray:
    """Ratio of side to mid power, held within 60 dB.

    Parameters
    ----------
    total, cross : ndarray
        Sum of the channels' powers, and their real cross power.
    """
    mid = np.maximum(total + 2 * cross, 1e-30)
    side = np.maximum(total - 2 * cross, 1e-30)
    return np.asarray(np.maximum(side, FLOOR * mid) / np.maximum(mid, FLOOR * side))


def smoothed(
    frames: npt.NDArray[np.floating], rate_hz: float, times_s: FloatArray, smooth_frames: int
) -> FloatArray:
    """Mean of so many frames about each time, shape (n, ...)."""
    smooth = ndimage.uniform_filter1d(
        frames.astype(np.float64), smooth_frames, axis=0, mode="nearest"
    )
    return sample_frames(smooth, rate_hz, times_s)
