"""Audio files: what they state of themselves, and decoding that says what is wrong with them."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import soundfile

from mixcompare.errors import AudioFileError
from mixcompare.paths import hindrance

_UNREADABLE = {".m4a", ".aac", ".mp4", ".wma"}
_UNKNOWN_FRAMES = 2**62
"""The decoder states a length like this for a stream whose header names none."""
_SHORT_CHUNK = re.compile(r"^ ?(?:data|SSND) : (?!4294967295)\d+ \(should be", re.MULTILINE)
"""In the decoder's log: audio that ends before its stated end, unless none was stated."""


@contextmanager
def reading(name: str, first: int) -> Iterator[soundfile.SoundFile]:
    """Open a file at a sample; whatever the decoder trips over there is a damaged file."""
    try:
        handle = soundfile.SoundFile(_on_disk(name))
    except (soundfile.SoundFileError, OSError) as error:
        raise _unreadable(name) from error
    with handle:
        try:
            handle.seek(first)
            yield handle
        except soundfile.SoundFileError as error:
            raise broken(name) from error


def counted_frames(name: str) -> int:
    """Samples per channel by decoding: what is stated for an MP3 file may be an estimate."""
    frames = 0
    with reading(name, 0) as handle:
        while True:
            block = handle.read(2**20, dtype="float32")
            if len(block) == 0:
                return frames
            frames += len(block)


def length_warnings(name: str, info: soundfile._SoundFileInfo, frames: int) -> tuple[str, ...]:
    """Tell of a file that holds less than its header promises, where that can be read on."""
    if frames < 0.98 * info.frames or _SHORT_CHUNK.search(info.extra_info):
        seconds = frames / info.samplerate
        return (f"{name} holds {seconds:.1f} s, not what its header states: it may be cut short.",)
    return ()


def file_info(path: Path, name: str) -> soundfile._SoundFileInfo:
    """What a file states of itself; one that can't be read is refused with its reason."""
    trouble = hindrance(path)
    if trouble:
        raise AudioFileError(f"{name}: {trouble}")
    if path.stat().st_size == 0:
        raise AudioFileError(f"{name}: is an empty file (0 bytes); export it again.")
    if path.suffix.lower() in _UNREADABLE:
        raise AudioFileError(
            f"{name}: {path.suffix} files cannot be read; convert it to WAV or FLAC first"
            " (your audio editor's export will do)."
        )
    try:
        info = soundfile.info(_on_disk(name))
    except (soundfile.SoundFileError, OSError, TypeError) as error:
        # A TypeError comes for headerless files, whose name ends in .raw.
        raise _unreadable(name) from error
    if info.frames >= _UNKNOWN_FRAMES:
        raise AudioFileError(f"{name}: states no length (it was streamed); export it again.")
    return info


def _on_disk(name: str) -> str | bytes:
    """The name as the system has it: names of files need not be text."""
    return os.fsencode(name) if os.name == "posix" else name


def _unreadable(name: str) -> AudioFileError:
    return AudioFileError(
        f"{name}: is not readable as audio; give a WAV, FLAC, AIFF, OGG or MP3 file."
    )


def broken(name: str) -> AudioFileError:
    """What to raise where a file ends before its stated end."""
    return AudioFileError(
        f"{name}: breaks off before its stated end (truncated or damaged); copy or export it again."
    )
