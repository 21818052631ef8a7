"""Sound on its way to the disk: what can't be written whole is told with its reason."""

from __future__ import annotations

import errno
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import soundfile

_NO_ROOM_BYTES = 65_536  # less is left where a coder's last write has failed for want of room


@contextmanager
def new_sound(
    path: Path, rate_hz: int, channels: int, kind: tuple[str, str]
) -> Iterator[soundfile.SoundFile]:
    """A file to be filled with sound.

    Parameters
    ----------
    path : Path
        Where it will lie.
    rate_hz : int
        Samples a second.
    channels : int
        How many.
    kind : tuple of str
        Format and subtype, such as ``("FLAC", "PCM_24")``.

    Raises
    ------
    OSError
        If it can't be made, or does not hold what was put into it: coders notice a full disk late,
        or say nothing of it.
    """
    try:
        with soundfile.SoundFile(path, "w", rate_hz, channels, kind[1], None, kind[0]) as file:
            yield file
            count = file.frames
        is_whole = soundfile.info(path).frames == count
    except (soundfile.LibsndfileError, AssertionError) as error:
        raise _unwritten(path) from error
    if not is_whole:
        raise _unwritten(path)


def _unwritten(path: Path) -> OSError:
    """What the system would say; coders only know that it is an error of the system's."""
    full = path.parent.is_dir() and shutil.disk_usage(path.parent).free < _NO_ROOM_BYTES
    number = errno.ENOSPC if full else errno.EIO
    return OSError(number, os.strerror(number), str(path))
