"""Where a recording's tops are flat: cut off at a ceiling, its own or full scale.

Conventions
-----------
The samples are looked at in frames of 40 ms. A frame's top is its highest sample, either way; it is
flat where three or more samples in a row reach it. A sound of its own has another top in every
frame; clipped ones share theirs, also where the level was lowered afterwards. What a lossy codec
made of clipped samples is no longer flat, and is not told.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

Float32Array = npt.NDArray[np.float32]
BoolArray = npt.NDArray[np.bool_]

FRAME_S = 0.04  # resolution: one top a frame
_LEVEL = 2e-4
"""Samples this near to a top reach it: a step of 16 bits (3e-5), the level lowered to a sixth."""
_SAME_CEILING = 5e-4  # of the top: as near as this a ceiling is shared; our judgement, not measured
_FEWEST_PLACES = 2  # the file's highest top alone is at the ceiling by definition


class Tops:
    """Highest samples of every frame, and how many of them stand in a row.

    Parameters
    ----------
    rate_hz : int
        Of the samples.
    channels : int
    """

    def __init__(self, rate_hz: int, channels: int) -> None:
        self._frame = max(round(FRAME_S * rate_hz), 3)
        self._rest = np.zeros((0, channels), np.float32)
        self._tops: list[Float32Array] = []
        self._flat: list[npt.NDArray[np.uint16]] = []

    def push(self, samples: Float32Array) -> None:
        """Add samples, shape (n, channels)."""
        waiting = np.concatenate([self._rest, samples])
        whole = len(waiting) // self._frame
        self._rest = waiting[whole * self._frame :]
        if whole == 0:
            return
        size = np.ascontiguousarray(np.abs(waiting[: whole * self._frame]).T)
        size = size.reshape(len(size), whole, self._frame)
        top = size.max(axis=2)
        reach = size >= ((1 - np.float32(_LEVEL)) * top)[..., None]
        in_a_row = reach[..., 2:] & reach[..., 1:-1] & reach[..., :-2]
        self._tops.append(top.T)
        self._flat.append(np.count_nonzero(in_a_row, axis=2).T.astype(np.uint16))

    def result(self) -> tuple[Float32Array, npt.NDArray[np.uint16]]:
        """Tops, and samples of each that have a like one either side; (frames, channels)."""
        if not self._tops:
            empty = np.zeros((0, self._rest.shape[1]), np.float32)
            return empty, empty.astype(np.uint16)
        return np.concatenate(self._tops), np.concatenate(self._flat)


def clipped_frames(tops: Float32Array, flat: npt.NDArray[np.uint16]) -> BoolArray:
    """Frames in which a channel is cut off at its ceiling.

    Parameters
    ----------
    tops, flat : ndarray, shape (frames, channels)
        As from :class:`Tops`.

    Returns
    -------
    ndarray of bool, shape (frames,)
    """
    out = np.zeros(len(tops), np.bool_)
    for top, row in zip(tops.T, flat.T, strict=True):
        ceiling = top.max(initial=0.0)
        cut = (top >= (1 - _SAME_CEILING) * ceiling) & (row > 0) & (top > 0)
        if ndimage.label(cut)[1] >= _FEWEST_PLACES:
            out |= cut
    return out
