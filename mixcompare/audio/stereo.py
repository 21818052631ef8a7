"""Every recording as stereo: mono doubled, more than two channels folded down.

The coefficients are those of ITU-R BS.775-3, Annex 4, Table 2 (centre and surrounds at -3 dB,
low-frequency effects left out).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

_DOWN = np.sqrt(0.5)  # -3 dB (ITU-R BS.775-3, Annex 4, Table 2)
# Rows: left, right. Columns in the order of the WAVE channel mask (FL FR FC LFE BL BR SL SR).
FOLD_DOWN = {
    channels: np.array(rows, np.float32)
    for channels, rows in {
        3: [[1, 0, _DOWN], [0, 1, _DOWN]],
        4: [[1, 0, _DOWN, 0], [0, 1, 0, _DOWN]],
        5: [[1, 0, _DOWN, _DOWN, 0], [0, 1, _DOWN, 0, _DOWN]],
        6: [[1, 0, _DOWN, 0, _DOWN, 0], [0, 1, _DOWN, 0, 0, _DOWN]],
        8: [[1, 0, _DOWN, 0, _DOWN, 0, _DOWN, 0], [0, 1, _DOWN, 0, 0, _DOWN, 0, _DOWN]],
    }.items()
}


def channel_warnings(name: str, channels: int) -> tuple[str, ...]:
    """What has to be said of a recording that is not stereo."""
    if channels == 1:
        return (f"{name} is mono: width and placement cannot be compared.",)
    if channels > 2:
        return (f"{name} has {channels} channels: folded down to stereo after ITU-R BS.775.",)
    return ()


def to_stereo(block: npt.NDArray[np.float32]) -> npt.NDArray[np.float32]:
    """Double mono, fold more than two channels down, shape (n, 2)."""
    channels = block.shape[1]
    if channels == 2:
        return block
    if channels == 1:
        return np.repeat(block, 2, axis=1)
    return np.asarray(block @ FOLD_DOWN[channels].T, np.float32)
