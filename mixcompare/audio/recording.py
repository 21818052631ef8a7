"""An opened recording, checked once and read block by block.

Conventions
-----------
Samples are float32, shape (n, 2), full scale = 1.0, at the file's own rate. A mono
recording is doubled into both channels and flagged by ``channels == 1``. More than two
channels are folded down to stereo with the coefficients of ITU-R BS.775-3, Annex 4,
Table 2 (centre and surrounds at -3 dB, low-frequency effects left out). Times count from
the start of the span, in seconds.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.audio.checks import check_content, check_length, check_scale, check_shape
from mixcompare.audio.file import broken, counted_frames, file_info, length_warnings, reading
from mixcompare.audio.span import checked_span
from mixcompare.audio.stereo import channel_warnings, to_stereo
from mixcompare.errors import ParameterError


@dataclass(frozen=True)
class Recording:
    """A recording, or a span of one, ready to be read block by block.

    Make one with :meth:`open` or :meth:`from_array`.

    Attributes
    ----------
    name : str
        Path as given, or a name for an array.
    sample_rate_hz : int
    channels : int
        Channels in the source (1 = mono).
    span_s : tuple of float
        (start, end) of what is read, in seconds of the whole file.
    format : str
        Container and sample format, for display.
    warnings : tuple of str
    """

    name: str
    sample_rate_hz: int
    channels: int
    span_s: tuple[float, float]
    format: str
    warnings: tuple[str, ...] = ()
    _samples: npt.NDArray[np.float32] | None = field(default=None, repr=False, compare=False)

    @property
    def file(self) -> Path | None:
        """Where it is read from; None for samples in memory."""
        return Path(self.name) if self._samples is None else None

    @property
    def frames(self) -> int:
        """Number of samples per channel in the span."""
        start, end = self.span_s
        return round(end * self.sample_rate_hz) - round(start * self.sample_rate_hz)

    @property
    def duration_s(self) -> float:
        """Length of the span in seconds."""
        return self.frames / self.sample_rate_hz

    @classmethod
    def open(cls, path: str | Path, span_s: tuple[float, float] | None = None) -> Recording:
        """Open an audio file and check that it can be compared.

        Parameters
        ----------
        path : str or Path
            Any format the audio library reads (WAV, FLAC, AIFF, OGG, MP3 ...).
        span_s : tuple of float, optional
            (start, end) in seconds of the part to use; default the whole file.

        Raises
        ------
        AudioFileError
            If the file is missing, unreadable, too short, silent or not finite.
        ParameterError
            If the span lies outside the file.
        """
        name = str(path)
        info = file_info(Path(path), name)
        check_shape(name, info.samplerate, info.channels)
        frames = int(info.frames) if info.format != "MP3" else counted_frames(name)
        length_s = frames / info.samplerate
        check_length(name, length_s)
        return cls(
            name=name,
            sample_rate_hz=int(info.samplerate),
            channels=int(info.channels),
            span_s=checked_span(span_s, length_s, name),
            format=f"{info.format} {info.subtype}".replace("_", " "),
            warnings=channel_warnings(name, info.channels) + length_warnings(name, info, frames),
        )

    @classmethod
    def from_array(
        cls,
        samples: npt.ArrayLike,
        sample_rate_hz: int,
        name: str = "array",
        span_s: tuple[float, float] | None = None,
    ) -> Recording:
        """Wrap samples that are already in memory.

        Parameters
        ----------
        samples : array_like, shape (n,) or (n, channels)
            Floating point with full scale 1.0, or integers, which are scaled by their range
            (unsigned ones around its middle).
        sample_rate_hz : int
            Of the samples.
        name : str
            To show in messages and reports.
        span_s : tuple of float, optional
            Part to use, seconds.

        Raises
        ------
        AudioFileError, ParameterError
            As for :meth:`open`.
        """
        try:
            array = np.asarray(samples)
        except (TypeError, ValueError) as error:
            raise ParameterError(f"{name}: samples must make an array ({error}).") from error
        if array.ndim == 1:
            array = array[:, np.newaxis]
        if array.ndim != 2:
            raise ParameterError(
                f"{name}: samples must have shape (n,) or (n, channels), got {array.shape}."
            )
        check_shape(name, sample_rate_hz, array.shape[1])
        length_s = len(array) / sample_rate_hz
        check_length(name, length_s)
        scaled = _full_scale_one(array, name)
        check_scale(name, scaled)
        stored = np.ascontiguousarray(scaled, np.float32)
        check_content(name, bool(np.isfinite(stored).all()), float(np.abs(stored).max()))
        return cls(
            name=name,
            sample_rate_hz=int(sample_rate_hz),
            channels=int(array.shape[1]),
            span_s=checked_span(span_s, length_s, name),
            format="array",
            warnings=channel_warnings(name, array.shape[1]),
            _samples=stored,
        )

    def blocks(self, block_s: float = 10.0) -> Iterator[npt.NDArray[np.float32]]:
        """Yield consecutive stereo blocks, shape (n, 2), the last one shorter."""
        for block in self.raw_blocks(block_s):
            yield to_stereo(block)

    def read(self, start_s: float, end_s: float) -> npt.NDArray[np.float32]:
        """Read part of the span as stereo; outside the span there is silence.

        Parameters
        ----------
        start_s, end_s : float
            Seconds from the start of the span.

        Returns
        -------
        ndarray, shape (n, 2)
        """
        first = round(start_s * self.sample_rate_hz)
        count = max(round(end_s * self.sample_rate_hz) - first, 0)
        out = np.zeros((count, 2), np.float32)
        begin, stop = max(first, 0), min(first + count, self.frames)
        if stop > begin:
            out[begin - first : stop - first] = to_stereo(self._source(begin, stop - begin))
        return out

    def _source(self, first: int, count: int) -> npt.NDArray[np.float32]:
        offset = round(self.span_s[0] * self.sample_rate_hz) + first
        if self._samples is not None:
            return self._samples[offset : offset + count]
        with reading(self.name, offset) as handle:
            samples = np.asarray(handle.read(count, dtype="float32", always_2d=True), np.float32)
        if len(samples) < count:
            raise broken(self.name)
        return samples

    def raw_blocks(self, block_s: float = 10.0) -> Iterator[npt.NDArray[np.float32]]:
        """Yield consecutive blocks with all channels of the file, shape (n, channels)."""
        size = max(int(block_s * self.sample_rate_hz), 1)
        if self._samples is not None:
            for first in range(0, self.frames, size):
                yield self._source(first, min(size, self.frames - first))
            return
        with reading(self.name, round(self.span_s[0] * self.sample_rate_hz)) as handle:
            left = self.frames
            while left > 0:
                block = handle.read(min(size, left), dtype="float32", always_2d=True)
                if len(block) == 0:
                    raise broken(self.name)
                left -= len(block)
                yield block


def _full_scale_one(array: npt.NDArray[Any], name: str) -> npt.NDArray[Any]:
    """Scale integers so that full scale is 1.0; floating point stays as it is."""
    if np.issubdtype(array.dtype, np.floating):
        return array
    if not np.issubdtype(array.dtype, np.integer):
        raise ParameterError(
            f"{name}: samples must be integers or floating point, not {array.dtype}."
        )
    limits = np.iinfo(array.dtype)
    half = (float(limits.max) - float(limits.min) + 1) / 2
    middle = half if limits.min == 0 else 0.0
    return np.asarray((array - middle) / half)
