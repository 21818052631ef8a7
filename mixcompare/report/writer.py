"""Writes a report's folder: all of it, or nothing.

Everything is first written into a folder of its own beside the target, which then takes the
target's place (:mod:`mixcompare.outputs`). A former report is replaced; files that are not a
report's are never touched, nor is anything that is read.
"""

from __future__ import annotations

import errno
import json
import os
import shutil
from collections.abc import Callable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from mixcompare import plots
from mixcompare.alignment.result import UNRELATED
from mixcompare.errors import OutputError
from mixcompare.listening.excerpts import AlignedSound, busy_profile, excerpts, write_excerpts
from mixcompare.listening.page_sound import CodedSound, page_sound
from mixcompare.outputs import (
    cannot,
    former_place,
    is_one_of,
    put_folder,
    real_path,
    taken_up,
    uninterrupted,
    workshop,
)
from mixcompare.outputs.steps import step
from mixcompare.plots import style
from mixcompare.report.document import findings_table, to_document, to_json, trims_table
from mixcompare.report.page import Picture, render
from mixcompare.results import Results

_FOLDERS = ("figures", "listening", "preview")
_NAMES = ("report.json", "report.html", "findings.csv", "trims.csv", *_FOLDERS)
PREVIEW = "preview/with_trims.flac"
MARKED = "listening/candidate_marked.wav"
_PAGE, _DOCUMENT = "report.html", "report.json"

Tell = Callable[[str], None]
Mark = Callable[[Path], None]
Heard = Callable[[tuple[CodedSound, ...]], None]


def save(
    results: Results,
    out_dir: str | Path,
    pair: AlignedSound | None = None,
    progress: Tell | None = None,
    inputs: Sequence[str | Path] = (),
    heard: Heard | None = None,
    mark: Mark | None = None,
) -> Path:
    """Write the whole report.

    Parameters
    ----------
    results : Results
        What the comparison found.
    out_dir : str or Path
        Folder to be made, or the folder of a former report, or one with other things in it.
    pair : AlignedSound, optional
        The recordings, for the excerpts and the page's listening panel, and the preview, which is
        copied into the report; without it the report holds no sound.
    progress : callable, optional
        Called with a few words before each step.
    inputs : sequence of path
        Files that were read: they stay, also where a former report holds them.
    heard : callable, optional
        Called with the sound of the page.
    mark : callable, optional
        Called with a path, where a copy of the candidate with the findings as markers is wanted.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        If the folder cannot be written; then it is as it was before.
    """
    target = check_writable(out_dir, inputs)
    tell = progress or (lambda words: None)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with workshop(target) as place:
            new = place / "new"
            new.mkdir()
            _fill(new, results, pair, tell, heard, mark)
            with uninterrupted():
                _put_in_place(place, target, inputs)
    except OSError as error:
        raise OutputError(cannot(target, error)) from error
    return target


def check_writable(out_dir: str | Path, inputs: Sequence[str | Path] = ()) -> Path:
    """Make sure, before the long work, that a report can be written into a folder.

    What a killed run left half done there is put right.

    Returns
    -------
    Path
        The folder, absolute.

    Raises
    ------
    OutputError
        If it cannot be made or written, holds files of the report's names that are not of a
        former report, or files of a former one that are read in this run.
    """
    target = real_path(out_dir)
    try:
        home = target
        while not _is_there(home):
            home = home.parent
        if not home.is_dir():
            kind = "a link that leads nowhere" if home.is_symlink() else "a file"
            raise OutputError(f"{home}: is {kind}; name a folder for the report.")
        taken_up(_first_missing(target, home))
        if target.is_dir():
            if not os.access(target, os.W_OK | os.X_OK):
                raise PermissionError(errno.EACCES, os.strerror(errno.EACCES))
            _check_former(target, inputs)
            # Looks into every folder of a former report: one that is closed is told now.
            _holds_strangers(target, _former_files(target) or ())
    except OSError as error:
        raise OutputError(cannot(target, error)) from error
    return target


def _first_missing(target: Path, home: Path) -> Path:
    """What would be made first below the last folder that is there, or the target itself."""
    below = target.relative_to(home).parts
    return home / below[0] if below else target


def _is_there(path: Path) -> bool:
    """Whether a name is taken, by whatever; a name that can't be is an error."""
    try:
        os.lstat(path)
    except (FileNotFoundError, NotADirectoryError):
        return False
    return True


def _check_former(target: Path, inputs: Sequence[str | Path]) -> None:
    former = _former_files(target)
    for name in _NAMES:
        if os.path.islink(target / name):
            raise OutputError(f"{target / name}: is a link, which is not followed; remove it.")
        if former is None and (target / name).exists():
            raise OutputError(
                f"{target}: holds '{name}', which is not from a former report; name another folder."
            )
    for name in former or ():
        if is_one_of(target / name, inputs):
            raise OutputError(
                f"{target / name}: is read in this run and stays as it is; name another folder."
            )


def _fill(
    folder: Path,
    results: Results,
    pair: AlignedSound | None,
    tell: Tell,
    heard: Heard | None = None,
    mark: Mark | None = None,
) -> None:
    """Write every part of the report into an empty folder."""
    if results.alignment.relation == UNRELATED:
        pair = None
    with ThreadPoolExecutor(1) as worker:
        coding: Future[tuple[CodedSound, ...]] | None = None
        if pair is not None:
            tell("cutting excerpts")
            results = _with_excerpts(results, pair, folder, marked=mark is not None)
            # The coder works outside Python's lock: it runs while the figures are drawn.
            coding = worker.submit(page_sound, pair, results.findings)
        tell("drawing figures")
        pictures = _write_figures(results, folder / "figures")
        tell("coding the sound for the page")
        sound = coding.result() if coding is not None else ()
    if heard is not None:
        heard(sound)
    tell("writing the page")
    _write(folder / _PAGE, render(results, pictures, sound))
    _write(folder / "findings.csv", findings_table(results.on_file_clocks().findings))
    if results.stems is not None:
        _write(folder / "trims.csv", trims_table(results))
    if pair is not None and pair.preview is not None:
        (folder / PREVIEW).parent.mkdir()
        shutil.copyfile(pair.preview.name, folder / PREVIEW)
    if mark is not None and results.alignment.relation != UNRELATED:
        tell("marking the candidate")
        (folder / MARKED).parent.mkdir(exist_ok=True)
        mark(folder / MARKED)
    files = [*_files_in(folder), _DOCUMENT]
    _write(folder / _DOCUMENT, to_json(to_document(results, sorted(files))))


def _write(path: Path, text: str) -> None:
    """A name that is no text (bytes of another encoding) is written with its bytes as escapes."""
    path.write_text(text, "utf-8", errors="backslashreplace")
    step("a file filled")


def _with_excerpts(results: Results, pair: AlignedSound, folder: Path, *, marked: bool) -> Results:
    profile = busy_profile(pair) if results.findings else None
    findings = tuple(
        replace(
            finding,
            listening=write_excerpts(
                finding,
                excerpts(finding, pair, profile),
                folder,
                results.findings if marked else (),
            ),
        )
        for finding in results.findings
    )
    return replace(results, findings=findings)


def _write_figures(results: Results, folder: Path) -> dict[str, Picture]:
    pictures = {}
    for aspect, drawn in plots.draw_all(results).items():
        folder.mkdir(exist_ok=True)
        svg = style.to_svg(drawn.figure)
        _write(folder / f"{aspect}.svg", svg)
        pictures[aspect] = Picture(svg, drawn.caption)
    return pictures


def _put_in_place(place: Path, target: Path, inputs: Sequence[str | Path] = ()) -> None:
    """Let the new folder take the target's place, or its files that of a former report's."""
    former: tuple[str, ...] = ()
    if target.exists():
        _check_former(target, inputs)
        former = _former_files(target) or ()
    whole = target.is_dir() and not _holds_strangers(target, former)
    put_folder(place, target, former, (_PAGE, _DOCUMENT), whole)


def _former_files(target: Path) -> tuple[str, ...] | None:
    """Files of the report that a folder holds, as it lists them itself; None for no report."""
    try:
        if not former_place(target / _DOCUMENT):
            return None
        document = json.loads((target / _DOCUMENT).read_text("utf-8"))
        if "mixcompare_version" not in document:
            return None
        listed = [str(name) for name in document["files"]]
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return None
    inside = [name for name in listed if _is_ours(name)]
    return tuple(dict.fromkeys(name for name in inside if former_place(target / name)))


def _holds_strangers(target: Path, former: tuple[str, ...]) -> bool:
    """Whether a folder holds anything that is not of the former report."""
    known = {target / name for name in former} | {target / name for name in _FOLDERS}
    entries = list(target.iterdir())
    for name in _FOLDERS:
        if (target / name).is_dir():
            entries.extend((target / name).iterdir())
    return any(entry not in known for entry in entries)


def _is_ours(name: str) -> bool:
    """Whether a listed path is one that a report writes: no path may lead elsewhere."""
    parts = Path(name).parts
    if not parts or ".." in parts or Path(name).is_absolute():
        return False
    return parts[0] in _NAMES and len(parts) <= 2


def _files_in(folder: Path) -> list[str]:
    return sorted(
        path.relative_to(folder).as_posix() for path in folder.rglob("*") if not path.is_dir()
    )
