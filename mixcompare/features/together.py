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
    files: Sequence[Recording], size: int, count: int, starts_s: Sequence[float]
) -> Iterator[ComplexArray]:
    """Spectra of all files side by side.

    Parameters
    ----------
    files : sequence of Recording
        At whatever rates; where one ends early there is silence.
    starts_s : sequence of float
        Where in each file the common clock begins; before a file there is silence.
    size : int
        Samples of a window at :data:`~mixcompare.features.grid.ANALYSIS_RATE_HZ`.
    count : int
        Number of frames, ``RATE_HZ`` a second, the first one centred on time 0.

    Yields
    ------
    ndarray, shape (files, 2, frames, bins)

    Raises
    ------
    AudioFileError
        If a file cannot be read, or holds values that are not numbers.
    """
    streams = [
        _batches(one, size, count, start_s) for one, start_s in zip(files, starts_s, strict=True)
    ]
    for _ in range(0, count, BATCH):
        yield np.stack([next(stream) for stream in streams])


def _batches(file: Recording, size: int, count: int, start_s: float) -> Iterator[ComplexArray]:
    """Batches of so many frames each, the last one shorter; silence after the end."""
    held: list[ComplexArray] = []
    left = count
    for spectra in _spectra(file, size, count, start_s):
        held.append(spectra)
        while left and sum(part.shape[1] for part in held) >= min(BATCH, left):
            joined, take = np.concatenate(held, axis=1), min(BATCH, left)
            yield joined[:, :take]
            held, left = [joined[:, take:]], left - take
    bins = size // 2 + 1
    while left:
        take = min(BATCH, left)
        rest = np.zeros((2, take, bins), np.complex64)
        joined = np.concatenate([*held, rest], axis=1)
        yield joined[:, :take]
        held, left = [joined[:, take:]], left - take


def _spectra(file: Recording, size: int, count: int, start_s: float) -> Iterator[ComplexArray]:
    stream = FrameStream(ANALYSIS_RATE_HZ, size, 1 / RATE_HZ)
    for samples in resampled(file, ANALYSIS_RATE_HZ, start_s):
        yield from stream.push(samples)
    yield from stream.push(np.zeros((0, 2), np.float32), count)
