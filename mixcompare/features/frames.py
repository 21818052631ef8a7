"""Frames of a stream of samples, and their spectra, a batch at a time."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft

Float32Array = npt.NDArray[np.float32]
SPARE_FRAMES = 64  # cost: room beyond the stated length
_BATCH_FRAMES = 64  # spectra at a time: they stay in the cache
_BANDS_TOGETHER = 12  # cost: bands that are summed up at a time


class FrameStream:
    """Cut a stream of stereo samples into windowed frames centred on k * hop."""

    def __init__(self, rate_hz: float, size: int, hop_s: float) -> None:
        self._size, self._hop = size, round(hop_s * rate_hz, 9)
        self._window = np.hanning(size + 1)[:-1].astype(np.float32)
        self.scale = 2.0 / (size * float(np.square(self._window, dtype=np.float64).sum()))
        self._buffer = np.zeros((2, size // 2), np.float32)
        self._start = -(size // 2)
        self._next = 0

    def push(
        self, samples: Float32Array, limit: int | None = None
    ) -> Iterator[npt.NDArray[np.complex64]]:
        """Spectra of the frames that are complete now, in batches of shape (2, frames, bins).

        ``limit`` is the total number of frames at the end of the stream; the missing samples
        are then taken as silence.
        """
        parts = [self._buffer, samples.T]
        if limit is not None:
            parts.append(np.zeros((2, self._size), np.float32))
        self._buffer = np.concatenate(parts, axis=1)
        end = self._start + self._buffer.shape[1]
        last = int((end - self._size + self._size // 2) / self._hop) + 1
        if limit is not None:
            last = min(last, limit)
        begins = self._begin(np.arange(self._next, last))
        begins = begins[begins + self._size <= self._buffer.shape[1]]
        if len(begins) == 0:
            return
        view = np.lib.stride_tricks.sliding_window_view(self._buffer, self._size, axis=1)
        for first in range(0, len(begins), _BATCH_FRAMES):
            batch = begins[first : first + _BATCH_FRAMES]
            if self._hop.is_integer():  # evenly spaced frames need no copy
                frames = view[:, batch[0] : batch[-1] + 1 : int(self._hop)]
            else:
                frames = view[:, batch]
            spectra = fft.rfft(frames * self._window, axis=-1, overwrite_x=True)
            yield np.asarray(spectra, np.complex64)
        self._next += len(begins)
        done = max(int(self._begin(np.array([self._next]))[0]), 0)
        self._buffer = self._buffer[:, done:]
        self._start += done

    def _begin(self, frames: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Where in the buffer a frame begins."""
        centres = np.round(frames * self._hop).astype(np.int64)
        return np.asarray(centres - self._size // 2 - self._start, np.int64)


def power_of(spectra: npt.NDArray[np.complex64]) -> Float32Array:
    """Power of every bin and channel."""
    parts = np.square(spectra.view(np.float32))
    return np.asarray(parts[..., ::2] + parts[..., 1::2], np.float32)


def energy_of(spectra: npt.NDArray[np.complex64]) -> Float32Array:
    """Power of both channels together; the spectra are used up."""
    parts = spectra.view(np.float32)
    np.square(parts, out=parts)
    both = parts[0]
    both += parts[1]
    return np.asarray(both[:, ::2] + both[:, 1::2], np.float32)


def cross_of(spectra: npt.NDArray[np.complex64]) -> tuple[Float32Array, Float32Array]:
    """Twice the cross power, left times the conjugate of right: its real and imaginary part."""
    cross = spectra[0] * spectra[1].conj()
    return 2 * cross.real, 2 * cross.imag


class Bands:
    """Sums of a spectrum's bins into bands.

    An octave or so of bands at a time, over the bins that it reaches: a tenth of the products.

    Parameters
    ----------
    weights : ndarray, shape (bins, bands)
        As of :func:`mixcompare.standards.iec61260.band_weights`.
    """

    def __init__(self, weights: Float32Array) -> None:
        self._groups = []
        self.reach = 0
        for first in range(0, weights.shape[1], _BANDS_TOGETHER):
            part = weights[:, first : first + _BANDS_TOGETHER]
            reached = np.flatnonzero(part.any(axis=1))
            bins = slice(*(reached[[0, -1]] + [0, 1])) if len(reached) else slice(0)
            self._groups.append((bins, np.ascontiguousarray(part[bins])))
            self.reach = max(self.reach, bins.stop)

    def __call__(self, values: Float32Array) -> Float32Array:
        """Sums of values of shape (..., bins); (..., bands)."""
        return np.concatenate([values[..., bins] @ part for bins, part in self._groups], axis=-1)


class Rows:
    """Rows that are filled one batch after the other, in place.

    Parameters
    ----------
    store : ndarray, shape (rows, ...)
        Room to begin with; it doubles when it is full.
    most : int, optional
        Rows after which nothing more is kept; as many as there is room for, where none are given.
    """

    def __init__(self, store: npt.NDArray[Any], most: int | None = None) -> None:
        self._store = store
        self._most = len(store) if most is None else most
        self._count = 0

    def add(self, values: npt.NDArray[Any]) -> None:
        """Append rows."""
        values = values[: self._most - self._count]
        needed = self._count + len(values)
        if needed > len(self._store):
            room = min(max(2 * len(self._store), needed), self._most)
            store = np.empty((room, *self._store.shape[1:]), self._store.dtype)
            store[: self._count] = self.filled
            self._store = store
        self._store[self._count : needed] = values
        self._count = needed

    @property
    def filled(self) -> npt.NDArray[Any]:
        """The rows so far."""
        return self._store[: self._count]
