"""A recording at another rate, from a given moment on, block by block."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
import soxr

from mixcompare.audio.checks import check_content
from mixcompare.audio.recording import Recording


def resampled(
    recording: Recording, rate_hz: int, start_s: float, block_s: float = 10.0
) -> Iterator[npt.NDArray[np.float32]]:
    """Stereo blocks of whatever lengths, shape (n, 2).

    Parameters
    ----------
    recording : Recording
        To be read.
    rate_hz : int
        Of the blocks.
    start_s : float
        Where they begin; before the recording there is silence.
    block_s : float
        Seconds that are read at a time.

    Raises
    ------
    AudioFileError
        If it cannot be read, or holds values that are not numbers.
    """
    resampler = soxr.ResampleStream(recording.sample_rate_hz, rate_hz, 2, dtype="float32")
    skipped = round(start_s * recording.sample_rate_hz)
    if skipped < 0:
        yield resampler.resample_chunk(np.zeros((-skipped, 2), np.float32))
    for block in recording.blocks(block_s):
        kept = block[max(skipped, 0) :]
        skipped -= len(block) - len(kept)
        if not np.isfinite(kept).all():
            check_content(recording.name, False, 0.0)
        if len(kept):
            yield resampler.resample_chunk(np.ascontiguousarray(kept))
    yield resampler.resample_chunk(np.zeros((0, 2), np.float32), last=True)
