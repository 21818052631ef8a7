"""Spectra of several files at the same moments, read block by block."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.audio.resampled import resampled
from mixcompare.features.frames import FrameStream
from mixcompare.features.grid import ANALYSIS_RATE_HZ

ComplexArray = npt.NDArray[np.complex64]

RATE_HZ = 20.0  # of the frames; resolution
BATCH = 48  # frames at a time; cost


def frames_together(
    files: Sequence[Recording], sizes: Sequence[int], count: int, starts_s: Sequence[float]
) -> Iterator[list[ComplexArray]]:
    """Spectra of all files side by side; every file is read once, whatever the sizes.

    Parameters
    ----------
    files : sequence of Recording
        At whatever rates; where one ends early there is silence.
    sizes : sequence of int
        Samples of a window at :data:`~mixcompare.features.grid.ANALYSIS_RATE_HZ`.
    count : int
        Number of frames, ``RATE_HZ`` a second, the first one centred on time 0.
    starts_s : sequence of float
        Where in each file the common clock begins; before a file there is silence.

    Yields
    ------
    list of ndarray, shape (files, 2, frames, bins)
        One a size.

    Raises
    ------
    AudioFileError
        If a file cannot be read, or holds values that are not numbers.
    """
    streams = [
        _batches(one, sizes, count, start_s) for one, start_s in zip(files, starts_s, strict=True)
    ]
    for begun in range(0, count, BATCH):
        frames = min(BATCH, count - begun)
        out = [np.empty((len(files), 2, frames, size // 2 + 1), np.complex64) for size in sizes]
        for place, stream in enumerate(streams):
            for room, batch in zip(out, next(stream), strict=True):
                room[place] = batch
        yield out


def _batches(
    file: Recording, sizes: Sequence[int], count: int, start_s: float
) -> Iterator[list[ComplexArray]]:
    """Batches of so many frames each, the last one shorter; silence after the end."""
    held = [np.zeros((2, 0, size // 2 + 1), np.complex64) for size in sizes]
    left = count
    for spectra in _spectra(file, sizes, count, start_s):
        held = [np.concatenate([old, *new], axis=1) for old, new in zip(held, spectra, strict=True)]
        while left and min(one.shape[1] for one in held) >= min(BATCH, left):
            take = min(BATCH, left)
            yield [one[:, :take] for one in held]
            held, left = [one[:, take:] for one in held], left - take
    while left:
        take = min(BATCH, left)
        filled = [np.pad(one, ((0, 0), (0, take), (0, 0)))[:, :take] for one in held]
        yield filled
        held, left = [one[:, take:] for one in held], left - take


def _spectra(
    file: Recording, sizes: Sequence[int], count: int, start_s: float
) -> Iterator[list[list[ComplexArray]]]:
    """What every block of the file completes, size by size."""
    streams = [FrameStream(ANALYSIS_RATE_HZ, size, 1 / RATE_HZ) for size in sizes]
    for samples in resampled(file, ANALYSIS_RATE_HZ, start_s, BATCH / RATE_HZ):
        yield [list(stream.push(samples)) for stream in streams]
    nothing = np.zeros((0, 2), np.float32)
    yield [list(stream.push(nothing, count)) for stream in streams]
