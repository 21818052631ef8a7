"""One file as a result: only a new one, or one that carries our mark."""

from __future__ import annotations

import contextlib
import os
import shutil
import stat
from collections.abc import Sequence
from pathlib import Path

from mixcompare.errors import OutputError
from mixcompare.outputs.steps import step
from mixcompare.outputs.workshop import cannot, uninterrupted, workshop

_SEEN_BYTES = 65_536  # at either end of a file, where a mark is looked for


def real_path(path: str | Path) -> Path:
    """Absolute, with the home folder filled in and links of folders followed; never an error."""
    return Path(os.path.realpath(os.path.expanduser(os.fspath(path))))


def is_one_of(path: Path, inputs: Sequence[str | Path]) -> bool:
    """Whether a path is one of the files that are read, by whatever name."""
    for one in inputs:
        if real_path(one) == real_path(path):
            return True
        with contextlib.suppress(OSError, ValueError):
            if os.path.samefile(one, path):
                return True
    return False


def check_file(path: str | Path, mark: bytes, inputs: Sequence[str | Path]) -> Path:
    """Make sure, before the long work, that a file may be written.

    Parameters
    ----------
    path : str or Path
        As the user names it.
    mark : bytes
        What our own files of this kind hold near their beginning or end.
    inputs : sequence of path
        Files that are read.

    Returns
    -------
    Path
        The file, absolute.

    Raises
    ------
    OutputError
        If it is one of the inputs, a file of others, a link, no file or in no folder.
    """
    named = Path(os.path.expanduser(os.fspath(path)))
    target = real_path(named.parent) / named.name
    if is_one_of(target, inputs):
        raise OutputError(f"{path}: is read in this run and stays as it is; name another file.")
    try:
        found = os.lstat(target)
    except FileNotFoundError:
        found = None
    except (OSError, ValueError) as error:
        raise OutputError(f"{path}: cannot be written here ({_reason(error)}).") from error
    if found is None:
        if not target.parent.is_dir():
            raise OutputError(f"{path}: there is no folder {target.parent}; make it first.")
    elif not stat.S_ISREG(found.st_mode):
        raise OutputError(f"{path}: is no plain file (a folder, link or device); name another.")
    elif not _has_mark(target, mark):
        raise OutputError(f"{path}: was not written by mixcompare and stays; name another file.")
    if not os.access(target.parent, os.W_OK):
        raise OutputError(f"{path}: its folder cannot be written; name another file.")
    return target


def write_file(path: str | Path, content: bytes, mark: bytes, inputs: Sequence[str | Path]) -> None:
    """Write a file beside its place and put it there in one step.

    Raises
    ------
    OutputError
        As :func:`check_file`, or if it cannot be written; then what was there is there still.
    """
    target = check_file(path, mark, inputs)
    with workshop(target, inside=False) as folder:
        new = folder / "new"
        try:
            new.write_bytes(content)
            step("file filled")
            if target.exists():
                shutil.copymode(check_file(path, mark, inputs), new)
            with uninterrupted():
                os.replace(new, target)
                step("in place")
        except OSError as error:
            raise OutputError(cannot(target, error)) from error


def _has_mark(path: Path, mark: bytes) -> bool:
    try:
        with path.open("rb") as file:
            start = file.read(_SEEN_BYTES)
            file.seek(max(path.stat().st_size - _SEEN_BYTES, 0))
            return mark in start or mark in file.read(_SEEN_BYTES)
    except OSError:
        return False


def _reason(error: Exception) -> str:
    return str(getattr(error, "strerror", None) or error).lower()
