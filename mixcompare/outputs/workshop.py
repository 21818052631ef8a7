"""A folder beside a result's place, in which it is made: one run at a time, cleared by the next.

Its name follows from the result's, so that what a killed run left behind is found by the next one,
and its lock goes with the process that holds it. What lies in it:

===========  ==================================================================
``lock``     held by the run that works here
``new``      what is being made
``former``   what stood in the place before, set aside
``journal``  while single files are moved: their names (see :mod:`.placing`)
===========  ==================================================================
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import shutil
import signal
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from types import FrameType
from typing import BinaryIO

from mixcompare.errors import OutputError
from mixcompare.outputs.placing import recover
from mixcompare.outputs.signals import heard_by, hearers
from mixcompare.outputs.steps import step

_LOCK = "lock"
_LONGEST_NAME = 200  # bytes; most systems allow 255 (from memory), and ours is somewhat longer
_LOOK_AGAIN_S = 0.05


@contextlib.contextmanager
def workshop(target: Path, wait_s: float = 30.0, inside: bool = True) -> Iterator[Path]:
    """A folder on the target's own disk, ours alone, gone afterwards whatever happens.

    Parameters
    ----------
    target : Path
        Absolute: what will be written.
    wait_s : float
        How long another run that writes there is waited for.
    inside : bool
        Whether it may lie in the target, where the folder around it is closed or on another disk.

    Raises
    ------
    OutputError
        If it can't be made, or another run does not end.
    """
    try:
        folder, handle = _entered(target, time.monotonic() + wait_s, inside)
    except OSError as error:
        raise OutputError(cannot(target, error)) from error
    try:
        try:
            recover(folder, target)
            _clear(folder, target)
        except OSError as error:
            raise OutputError(cannot(target, error)) from error
        step("workshop open")
        yield folder
    finally:
        with handle, uninterrupted():
            _clear(folder, target)
            step("workshop cleared")
            # The lock goes last, and only then is it let go: nobody else is in between.
            if [entry.name for entry in folder.iterdir()] == [_LOCK]:
                for remove, path in ((os.unlink, folder / _LOCK), (os.rmdir, folder)):
                    with contextlib.suppress(OSError):
                        remove(path)


def taken_up(target: Path) -> None:
    """Put right what a killed run left at a place; a run that is at work there is left alone.

    Raises
    ------
    OutputError
        If nothing can be written there.
    """
    with contextlib.suppress(Busy), workshop(target, wait_s=0.0):
        pass


class Busy(OutputError):
    """Another run is writing there."""


@contextlib.contextmanager
def uninterrupted() -> Iterator[None]:
    """Hold signals back while a change must stay whole; they come right after it."""
    held: list[int] = []

    def hold(number: int, frame: FrameType | None) -> None:
        held.append(number)

    with heard_by(hold, hearers()):
        yield
    if held:
        signal.raise_signal(held[0])


def cannot(target: Path, error: OSError) -> str:
    """A sentence for what the system says, without the paths of our own making."""
    reason = (error.strerror or str(error)).lower()
    return f"{target}: cannot be written here ({reason}); name another place."


def _entered(target: Path, until_s: float, inside: bool) -> tuple[Path, BinaryIO]:
    name = target.name
    if len(os.fsencode(name)) > _LONGEST_NAME:
        name = hashlib.sha256(os.fsencode(name)).hexdigest()[:32]
    places = [target.parent, target] if inside else [target.parent]
    if not (inside and target.is_dir()):
        places = places[:1]
    elif target.stat().st_dev != target.parent.stat().st_dev:
        places = places[1:]
    for place in places:
        folder = place / f".{name}-mixcompare"
        try:
            return folder, _locked(folder, target, until_s)
        except PermissionError:
            if place is places[-1]:
                raise
    raise AssertionError("there is always a place")


def _locked(folder: Path, target: Path, until_s: float) -> BinaryIO:
    """The folder's lock, as soon as nobody else has it."""
    while True:
        with contextlib.suppress(FileExistsError):
            os.mkdir(folder, 0o700)
        if folder.is_symlink() or not folder.is_dir() or _is_of_others(folder):
            raise OutputError(f"{folder}: is in the way of what is to be written; remove it.")
        flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0)
        try:
            handle = os.fdopen(os.open(folder / _LOCK, flags, 0o600), "r+b")
        except FileNotFoundError:
            continue  # another run has just ended
        try:
            if _try(handle) and _stands(folder / _LOCK, handle):
                return handle
        except BaseException:
            handle.close()
            raise
        handle.close()
        if time.monotonic() > until_s:
            raise Busy(
                f"{target}: another run of mixcompare is writing here; wait for it, or name"
                " another place."
            )
        time.sleep(_LOOK_AGAIN_S)


def _is_of_others(folder: Path) -> bool:
    return not (folder / _LOCK).exists() and any(folder.iterdir())


def _try(handle: BinaryIO) -> bool:
    """Take the lock if it is free; a disk that knows no locks gives it to everyone."""
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError):
        return False
    except OSError:
        return True
    return True


def _stands(path: Path, handle: BinaryIO) -> bool:
    """Whether the lock that was taken is still the one that others see."""
    try:
        return os.path.samestat(os.stat(path), os.fstat(handle.fileno()))
    except FileNotFoundError:
        return False


def _clear(folder: Path, target: Path) -> None:
    """Remove all but the lock, and what stood in a place that is empty now."""
    for entry in folder.iterdir():
        if entry.name == _LOCK or (entry.name == "former" and not os.path.lexists(target)):
            continue
        if (folder / "journal").exists():
            continue  # an undoing that failed: the next run tries again
        if entry.is_dir() and not entry.is_symlink():
            _open_up(entry)
            shutil.rmtree(entry, ignore_errors=True)
        else:
            with contextlib.suppress(OSError):
                entry.unlink()


def _open_up(folder: Path) -> None:
    """What a former report closed, or gave its mode, would keep what it holds."""
    with contextlib.suppress(OSError):
        folder.chmod(0o700)
    for inside in folder.iterdir():
        if inside.is_dir() and not inside.is_symlink():
            _open_up(inside)
