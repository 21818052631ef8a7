"""A new folder takes an old one's place: all of it or nothing, at any moment.

Where the system can exchange two folders at once it does. Where it can't, or the folder must stay
(it holds other things, or is somebody's working directory), there is a moment at which a killed
run leaves the place half done: without the files that make a report of the others, so that nobody
takes it for one. What it left beside then tells the next run how to put it right.
"""

from __future__ import annotations

import contextlib
import ctypes
import errno
import json
import os
import shutil
import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from mixcompare.errors import OutputError
from mixcompare.outputs.steps import step

NEW, FORMER, JOURNAL = "new", "former", "journal"


def put_folder(
    workshop: Path, target: Path, former: Sequence[str], last: Sequence[str], whole: bool
) -> None:
    """Let what was made in a workshop take its place.

    Parameters
    ----------
    workshop : Path
        Holds the new folder.
    target : Path
        Where it goes.
    former : sequence of str
        Files there that are given up.
    last : sequence of str
        The files that make a whole of the others: they come last, in this order, and go first, in
        the opposite one. By the modes of the last the new files are closed to others.
    whole : bool
        Whether the folder there holds nothing else.

    Raises
    ------
    OSError
        If it can't be done; then everything is as it was.
    """
    new = workshop / NEW
    if not os.path.lexists(target):
        os.rename(new, target)
        step("in place")
        return
    _take_over_modes(target, new, last[-1])
    if whole and workshop.parent == target.parent and not _is_needed_where_it_is(target):
        _exchange(workshop, target)
    else:
        _move_in(workshop, target, former, last)


def recover(workshop: Path, target: Path) -> None:
    """Put right what a killed run left half done."""
    former = workshop / FORMER
    if (workshop / JOURNAL).is_file():
        _undo(workshop, target)
    elif _is_real_folder(former) and not os.path.lexists(target):
        os.rename(former, target)


def former_place(path: Path) -> bool:
    """Whether a file lies where it seems to lie: no link is followed to it."""
    return path.is_file() and not path.is_symlink() and not path.parent.is_symlink()


def _is_real_folder(path: Path) -> bool:
    return path.is_dir() and not path.is_symlink()


def _is_needed_where_it_is(target: Path) -> bool:
    """Whether it is a disk of its own, or this process works in it."""
    here = Path(os.path.realpath(os.curdir)) if has_working_folder() else None
    return os.path.ismount(target) or (here is not None and here.is_relative_to(target))


def has_working_folder() -> bool:
    """Whether the folder this process works in is still there."""
    try:
        os.getcwd()
    except OSError:
        return False
    return True


def _take_over_modes(target: Path, new: Path, document_name: str) -> None:
    """What was closed to others stays closed: the folder by the old one, files by its document."""
    folder_mode = target.stat().st_mode & 0o7777
    document = target / document_name
    file_mode = document.stat().st_mode & 0o777 if former_place(document) else None
    for path in (new, *new.rglob("*")):
        mode = folder_mode if path.is_dir() else file_mode
        if mode is not None:
            os.chmod(path, mode)


def _exchange(workshop: Path, target: Path) -> None:
    new, former = workshop / NEW, workshop / FORMER
    step("before the exchange")
    try:
        _swapped_at_once(new, target)
    except OSError:
        os.rename(target, former)
        try:
            step("old one set aside")
            os.rename(new, target)
        except BaseException:
            os.rename(former, target)
            raise
    step("in place")


def _swapped_at_once(one: Path, other: Path) -> None:
    """Exchange two names in one step, where the system knows how."""
    swap: Callable[..., int] | None = None
    if sys.platform == "linux":
        # linux/fs.h: RENAME_EXCHANGE = 2; AT_FDCWD = -100 (from memory).
        swap, places, flag = _of_libc("renameat2"), (-100, os.fsencode(one), -100), 2
    elif sys.platform == "darwin":
        # sys/stdio.h: RENAME_SWAP = 2 (from memory).
        swap, places, flag = _of_libc("renamex_np"), (os.fsencode(one),), 2
    if swap is None:
        raise OSError(errno.ENOSYS, os.strerror(errno.ENOSYS))
    if swap(*places, os.fsencode(other), flag) != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))


def _of_libc(name: str) -> Callable[..., int] | None:
    with contextlib.suppress(OSError, AttributeError):
        found: Callable[..., int] = ctypes.CDLL(None, use_errno=True)[name]
        return found
    return None


def _move_in(workshop: Path, target: Path, former: Sequence[str], last: Sequence[str]) -> None:
    """Move file by file beside what else is there; undo it all on trouble."""
    new = workshop / NEW
    names = sorted(path.relative_to(new).as_posix() for path in new.rglob("*") if path.is_file())
    names.sort(key=lambda name: _turn(name, last))
    former = sorted(former, key=lambda name: -_turn(name, last))
    for name in names:
        if os.path.lexists(target / name) and name not in former:
            raise OutputError(
                f"{target / name}: is not from a former report and would be overwritten; name"
                " another folder."
            )
        if (target / name).parent.is_symlink():
            raise OutputError(f"{(target / name).parent}: is a link; name another folder.")
    journal = json.dumps({"names": names, "last": list(last)})
    (workshop / JOURNAL).write_text(journal, "utf-8")
    step("journal written")
    moves = [(target / name, workshop / FORMER / name) for name in former]
    moves += [(new / name, target / name) for name in names]
    try:
        for source, place in moves:
            _move(source, place, "a file moved")
        (workshop / JOURNAL).unlink()
    except BaseException:
        _undo(workshop, target)
        raise
    _remove_empty(target, [*former, *names])
    step("in place")


def _turn(name: str, last: Sequence[str]) -> int:
    """When a file comes: 0, or later by its place among the last ones."""
    return last.index(name) + 1 if name in last else 0


def _move(source: Path, place: Path, told: str) -> None:
    if not place.parent.is_dir():
        place.parent.mkdir(parents=True)
        if source.parent.parent.is_dir():
            shutil.copymode(source.parent, place.parent)
    os.replace(source, place)
    step(told)


def _undo(workshop: Path, target: Path) -> None:
    """Take the new files back and put the former ones in their places; done twice it does no harm.

    A new file that is still in the workshop was never moved, or is back already. Here too the files
    that make a report of the others go first and come last.
    """
    names, last = _listed(workshop / JOURNAL)
    for name in sorted(names, key=lambda name: -_turn(name, last)):
        if not (workshop / NEW / name).exists() and former_place(target / name):
            _move(target / name, workshop / NEW / name, "a file taken back")
    aside = workshop / FORMER
    former = [path.relative_to(aside) for path in aside.rglob("*") if former_place(path)]
    for path in sorted(former, key=lambda path: (_turn(path.as_posix(), last), path)):
        _move(aside / path, target / path, "a file put back")
    _remove_empty(target, names)
    (workshop / JOURNAL).unlink()


def _listed(journal: Path) -> tuple[list[str], list[str]]:
    """Names in a journal, and those that come last; one that breaks off was never acted on."""
    try:
        said = json.loads(journal.read_text("utf-8"))
        names, last = ([str(name) for name in said[key]] for key in ("names", "last"))
    except (ValueError, TypeError, KeyError):
        return [], []
    inside = (name for name in names if ".." not in Path(name).parts)
    return [name for name in inside if not os.path.isabs(name)], last


def _remove_empty(target: Path, names: Sequence[str]) -> None:
    for folder in {(target / name).parent for name in names} - {target}:
        with contextlib.suppress(OSError):
            os.rmdir(folder)
