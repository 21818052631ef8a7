"""The folder of all takes: whose files lie in it, who works there, and what is left alone."""

from __future__ import annotations

import contextlib
import os
import re
import shutil
from collections.abc import Iterator, Sequence
from pathlib import Path

from mixcompare import __version__
from mixcompare.errors import OutputError
from mixcompare.outputs import cannot, real_path, workshop
from mixcompare.takes.store import read_json, write_json

DOCUMENT, KEPT = "takes.json", "kept"
PAGE, TABLE, VERSIONS = "takes.html", "takes.csv", "versions.csv"
_FILES = (DOCUMENT, PAGE, TABLE, VERSIONS)
_FOLDERS = ("pairs", "sound", KEPT)
_WAIT_S = 1.0  # for another run to end: one that only clears up does
_HALF_WRITTEN = (
    ("pairs", re.compile(r"\..*-mixcompare")),
    (KEPT, re.compile(r"\..*\.json\.\d+|features-\w+\.\d+\.npz")),
)
"""What a run that was ended in the middle may leave."""


@contextlib.contextmanager
def opened(out_dir: str | Path, written: Sequence[str], read: Sequence[str]) -> Iterator[Path]:
    """The folder, made where it is not there, and this run's alone.

    Parameters
    ----------
    out_dir : path
        As the user names it.
    written : sequence of str
        Names of the files that will be written beside the document.
    read : sequence of path
        Files that are read: they stay.

    Raises
    ------
    OutputError
        If it can't be, holds what is not from a former run or is read in this one, or if another
        run works there.
    """
    folder = real_path(out_dir)
    try:
        former = _checked(folder, str(out_dir), written, read)
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(cannot(folder, error)) from error
    with workshop(folder / DOCUMENT, wait_s=_WAIT_S, inside=False):
        _claim(folder, former or {"mixcompare_version": __version__, "files": []}, written)
        yield folder
        _sweep(folder)


def _claim(folder: Path, former: dict[str, object], written: Sequence[str]) -> None:
    """Say at once whose it is, so that a run that breaks off can be gone on with."""
    files = sorted({*files_of(former), *written})
    try:
        (folder / KEPT).mkdir(exist_ok=True)
        write_json(folder / DOCUMENT, {"takes": [], **former, "files": files})
    except OSError as error:
        raise OutputError(cannot(folder, error)) from error


def _checked(
    folder: Path, named: str, written: Sequence[str], read: Sequence[str]
) -> dict[str, object] | None:
    """What a former run said of the folder; None where there was none.

    Raises
    ------
    OutputError
    """
    if os.path.lexists(folder) and not folder.is_dir():
        raise OutputError(f"{named}: is a file; name a folder.")
    former = read_json(folder / DOCUMENT)
    if former is not None and "mixcompare_version" not in former:
        former = None
    ours = () if former is None else (*files_of(former), DOCUMENT, *_FOLDERS)
    for name in (*written, DOCUMENT, *_FOLDERS):
        if name not in ours and (folder / name).exists():
            raise OutputError(
                f"{named}: holds '{name}', which is not from a former run; name another folder."
            )
    for name in _FOLDERS:
        if (folder / name).is_symlink():
            raise OutputError(f"{folder / name}: is a link, which is not followed; remove it.")
    for file in map(real_path, read):
        inside = file.relative_to(folder).parts if file.is_relative_to(folder) else ()
        if inside and inside[0] in (*_FILES, *_FOLDERS):
            raise OutputError(f"{file}: is read in this run and stays; name another folder.")
    return former


def files_of(document: dict[str, object]) -> list[str]:
    """Files that a run called its own; one that does not say may have written all."""
    listed = document.get("files", _FILES)
    return [str(name) for name in listed] if isinstance(listed, list | tuple) else []


def _sweep(folder: Path) -> None:
    """Remove what workers that were ended in the middle left half written."""
    for room, names in _HALF_WRITTEN:
        for left in (folder / room).glob("*"):
            if not names.fullmatch(left.name):
                continue
            if left.is_dir() and not left.is_symlink():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink(missing_ok=True)
