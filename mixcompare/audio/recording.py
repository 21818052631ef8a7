"""An opened recording: every check on audio input happens here, once.

Conventions
-----------
Samples are float32, shape (n, 2), full scale = 1.0, at the file's own rate. A mono
recording is doubled into both channels and flagged by ``channels == 1``. More than two
channels are folded down to stereo with the coefficients of ITU-R BS.775-3, Annex 4,
Table 2 (centre and surrounds at -3 dB, low-frequency effects left out). Times count from
the start of the span, in seconds.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soundfile

from mixcompare.errors import AudioFileError, ParameterError

SHORTEST_S = 1.0
"""Nothing musical can be compared in less."""

RATE_RANGE_HZ = (8_000, 192_000)  # telephone to high resolution; our choice
SILENCE_PEAK = 10 ** (-90 / 20)
"""A file that never rises above -90 dBFS holds nothing to compare."""

CLIPPED_RUN = 3
"""Consecutive full-scale samples that count as one clipped place (common practice, no source)."""

_DOWN = np.sqrt(0.5)  # -3 dB (ITU-R BS.775-3, Annex 4, Table 2)
# Rows: left, right. Columns in the order of the WAVE channel mask (FL FR FC LFE BL BR SL SR).
_FOLD_DOWN = {
    channels: np.array(rows, np.float32)
    for channels, rows in {
        3: [[1, 0, _DOWN], [0, 1, _DOWN]],
        4: [[1, 0, _DOWN, 0], [0, 1, 0, _DOWN]],
        5: [[1, 0, _DOWN, _DOWN, 0], [0, 1, _DOWN, 0, _DOWN]],
        6: [[1, 0, _DOWN, 0, _DOWN, 0], [0, 1, _DOWN, 0, 0, _DOWN]],
        8: [[1, 0, _DOWN, 0, _DOWN, 0, _DOWN, 0], [0, 1, _DOWN, 0, 0, _DOWN, 0, _DOWN]],
    }.items()
}
_UNREADABLE = {".m4a", ".aac", ".mp4", ".wma"}
_UNKNOWN_FRAMES = 2**62
"""The decoder states a length like this for a stream whose header names none."""

_SHORT_CHUNK = re.compile(r"^ ?(?:data|SSND) : (?!4294967295)\d+ \(should be", re.MULTILINE)
"""In the decoder's log: audio that ends before its stated end, unless none was stated."""


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
        info = _info(Path(path), name)
        _check_shape(name, info.samplerate, info.channels)
        frames = int(info.frames) if info.format != "MP3" else _counted(name)
        length_s = frames / info.samplerate
        _check_length(name, length_s)
        return cls(
            name=name,
            sample_rate_hz=int(info.samplerate),
            channels=int(info.channels),
            span_s=_checked_span(span_s, length_s, name),
            format=f"{info.format} {info.subtype}".replace("_", " "),
            warnings=_channel_warnings(name, info.channels) + _length_warnings(name, info, frames),
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
        array = np.asarray(samples)
        if array.ndim == 1:
            array = array[:, np.newaxis]
        if array.ndim != 2:
            raise ParameterError(
                f"{name}: samples must have shape (n,) or (n, channels), got {array.shape}."
            )
        _check_shape(name, sample_rate_hz, array.shape[1])
        length_s = len(array) / sample_rate_hz
        _check_length(name, length_s)
        stored = np.ascontiguousarray(_full_scale_one(array, name), np.float32)
        check_content(name, bool(np.isfinite(stored).all()), float(np.abs(stored).max()))
        return cls(
            name=name,
            sample_rate_hz=int(sample_rate_hz),
            channels=int(array.shape[1]),
            span_s=_checked_span(span_s, length_s, name),
            format="array",
            warnings=_channel_warnings(name, array.shape[1]),
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
        with _reading(self.name, offset) as handle:
            samples = np.asarray(handle.read(count, dtype="float32", always_2d=True), np.float32)
        if len(samples) < count:
            raise _broken(self.name)
        return samples

    def raw_blocks(self, block_s: float = 10.0) -> Iterator[npt.NDArray[np.float32]]:
        """Yield consecutive blocks with all channels of the file, shape (n, channels)."""
        size = max(int(block_s * self.sample_rate_hz), 1)
        if self._samples is not None:
            for first in range(0, self.frames, size):
                yield self._source(first, min(size, self.frames - first))
            return
        with _reading(self.name, round(self.span_s[0] * self.sample_rate_hz)) as handle:
            left = self.frames
            while left > 0:
                block = handle.read(min(size, left), dtype="float32", always_2d=True)
                if len(block) == 0:
                    raise _broken(self.name)
                left -= len(block)
                yield block


def check_content(name: str, finite: bool, peak: float) -> None:
    """Refuse audio that is not finite or silent; called by the analysis pass as it reads.

    Raises
    ------
    AudioFileError
    """
    if not finite:
        raise AudioFileError(
            f"{name}: holds values that are not numbers (NaN or infinite); export it again."
        )
    if peak < SILENCE_PEAK:
        raise AudioFileError(
            f"{name}: is silent (never above -90 dBFS); check that the right file was exported."
        )


def parse_span(text: str) -> tuple[float, float]:
    """Read a span such as ``0:12-0:45.5``, ``12-45.5`` or ``1:02:03-1:03:00``.

    Returns
    -------
    tuple of float
        (start, end) in seconds.

    Raises
    ------
    ParameterError
    """
    part = r"(?:(?:(\d+):)?(\d{1,2}):)?(\d+(?:\.\d+)?)"
    match = re.fullmatch(rf"\s*{part}\s*[-–]\s*{part}\s*", text)
    if match is None:
        raise ParameterError(
            f"span '{text}': write start-end in seconds or minutes, such as 12-45.5 or 0:12-0:45.5."
        )
    numbers = [float(group or 0) for group in match.groups()]
    start, end = (3600 * h + 60 * m + s for h, m, s in (numbers[:3], numbers[3:]))
    if end <= start:
        raise ParameterError(f"span '{text}': the end must come after the start.")
    return start, end


def _checked_span(
    span_s: tuple[float, float] | None, length_s: float, name: str
) -> tuple[float, float]:
    if span_s is None:
        return 0.0, length_s
    start, end = span_s
    if not (0 <= start < end <= length_s + 0.01):
        raise ParameterError(
            f"{name}: span {start:g}-{end:g} s lies outside the recording (0-{length_s:.2f} s)."
        )
    if end - start < SHORTEST_S:
        raise ParameterError(f"{name}: a span must be at least {SHORTEST_S:.0f} s long.")
    return float(start), float(min(end, length_s))


def _check_shape(name: str, sample_rate_hz: float, channels: int) -> None:
    low, high = RATE_RANGE_HZ
    if not low <= sample_rate_hz <= high:
        raise AudioFileError(
            f"{name}: sample rate {sample_rate_hz:g} Hz is outside {low} to {high} Hz; resample it."
        )
    if channels < 1 or (channels > 2 and channels not in _FOLD_DOWN):
        raise AudioFileError(
            f"{name}: {channels} channels are not a layout that can be folded down; export stereo."
        )


def _check_length(name: str, length_s: float) -> None:
    if length_s < SHORTEST_S:
        raise AudioFileError(
            f"{name}: only {length_s:.2f} s long; at least {SHORTEST_S:.0f} s of music is needed."
        )


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


def _channel_warnings(name: str, channels: int) -> tuple[str, ...]:
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
    return np.asarray(block @ _FOLD_DOWN[channels].T, np.float32)


@contextmanager
def _reading(name: str, first: int) -> Iterator[soundfile.SoundFile]:
    """Open a file at a sample; whatever the decoder trips over there is a damaged file."""
    try:
        handle = soundfile.SoundFile(name)
    except (soundfile.SoundFileError, OSError) as error:
        raise _unreadable(name) from error
    with handle:
        try:
            handle.seek(first)
            yield handle
        except soundfile.SoundFileError as error:
            raise _broken(name) from error


def _counted(name: str) -> int:
    """Samples per channel by decoding: what is stated for an MP3 file may be an estimate."""
    frames = 0
    with _reading(name, 0) as handle:
        while True:
            block = handle.read(2**20, dtype="float32")
            if len(block) == 0:
                return frames
            frames += len(block)


def _length_warnings(name: str, info: soundfile._SoundFileInfo, frames: int) -> tuple[str, ...]:
    """Tell of a file that holds less than its header promises, where that can be read on."""
    if frames < 0.98 * info.frames or _SHORT_CHUNK.search(info.extra_info):
        seconds = frames / info.samplerate
        return (f"{name} holds {seconds:.1f} s, not what its header states: it may be cut short.",)
    return ()


def _info(path: Path, name: str) -> soundfile._SoundFileInfo:
    if not path.exists():
        raise AudioFileError(f"{name}: no such file; check the path.")
    if path.is_dir():
        raise AudioFileError(f"{name}: is a folder; name an audio file in it.")
    if path.stat().st_size == 0:
        raise AudioFileError(f"{name}: is an empty file (0 bytes); export it again.")
    if path.suffix.lower() in _UNREADABLE:
        raise AudioFileError(
            f"{name}: {path.suffix} files cannot be read; convert it to WAV or FLAC first"
            " (your audio editor's export will do)."
        )
    try:
        info = soundfile.info(name)
    except (soundfile.SoundFileError, OSError, TypeError) as error:
        # A TypeError comes for headerless files, whose name ends in .raw.
        raise _unreadable(name) from error
    if info.frames >= _UNKNOWN_FRAMES:
        raise AudioFileError(f"{name}: states no length (it was streamed); export it again.")
    return info


def _unreadable(name: str) -> AudioFileError:
    return AudioFileError(
        f"{name}: is not readable as audio; give a WAV, FLAC, AIFF, OGG or MP3 file."
    )


def _broken(name: str) -> AudioFileError:
    return AudioFileError(
        f"{name}: breaks off before its stated end (truncated or damaged); copy or export it again."
    )
