"""Writes a report's folder: all of it, or nothing.

Everything is first written into a folder of its own beside the target, which then takes the
target's place. A former report is replaced; files that are not a report's are never touched.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

from mixcompare import plots
from mixcompare.alignment.result import UNRELATED
from mixcompare.errors import OutputError
from mixcompare.listening.excerpts import AlignedSound, busy_profile, excerpts, write_excerpts
from mixcompare.listening.page_sound import CodedSound, page_sound
from mixcompare.plots import style
from mixcompare.report.document import findings_table, to_document, to_json, trims_table
from mixcompare.report.page import Picture, render
from mixcompare.results import Results

_FOLDERS = ("figures", "listening", "preview")
_NAMES = ("report.json", "report.html", "findings.csv", "trims.csv", *_FOLDERS)
PREVIEW = "preview/with_trims.flac"
_DOCUMENT = "report.json"

Tell = Callable[[str], None]
Heard = Callable[[tuple[CodedSound, ...]], None]


def save(
    results: Results,
    out_dir: str | Path,
    pair: AlignedSound | None = None,
    progress: Tell | None = None,
    preview: Path | None = None,
    heard: Heard | None = None,
) -> Path:
    """Write the whole report.

    Parameters
    ----------
    results : Results
        What the comparison found.
    out_dir : str or Path
        Folder to be made, or the folder of a former report, or one with other things in it.
    pair : AlignedSound, optional
        The recordings, for the excerpts and the page's listening panel; without it the report
        holds no sound.
    progress : callable, optional
        Called with a few words before each step.
    preview : Path, optional
        The candidate with its trims, to be copied into the report.
    heard : callable, optional
        Called with the sound of the page.

    Returns
    -------
    Path
        The folder.

    Raises
    ------
    OutputError
        If the folder cannot be written; then it is as it was before.
    """
    target = check_writable(out_dir)
    tell = progress or (lambda words: None)
    with _workshop(target) as folder:
        try:
            _fill(folder, results, pair, tell, preview, heard)
            _put_in_place(folder, target)
        except OSError as error:
            raise OutputError(_cannot(target, error)) from error
    return target


def check_writable(out_dir: str | Path) -> Path:
    """Make sure, before the long work, that a report can be written into a folder.

    Returns
    -------
    Path
        The folder, absolute.

    Raises
    ------
    OutputError
        If it cannot be made or written, or holds files of the report's names that are not of a
        former report.
    """
    target = Path(out_dir).expanduser().resolve()
    if target.exists() and not target.is_dir():
        raise OutputError(f"{out_dir}: is a file; name a folder for the report.")
    if target.is_dir() and _former_files(target) is None:
        taken = [name for name in _NAMES if (target / name).exists()]
        if taken:
            raise OutputError(
                f"{out_dir}: holds '{taken[0]}', which is not from a former report; name another"
                " folder."
            )
    home = target
    while not home.exists():
        home = home.parent
    try:
        os.rmdir(tempfile.mkdtemp(prefix=".mixcompare-", dir=home))
    except OSError as error:
        raise OutputError(_cannot(target, error)) from error
    return target


def _fill(
    folder: Path,
    results: Results,
    pair: AlignedSound | None,
    tell: Tell,
    preview: Path | None = None,
    heard: Heard | None = None,
) -> None:
    """Write every part of the report into an empty folder."""
    if results.alignment.relation == UNRELATED:
        pair = None
    with ThreadPoolExecutor(1) as worker:
        coding: Future[tuple[CodedSound, ...]] | None = None
        if pair is not None:
            tell("cutting excerpts")
            results = _with_excerpts(results, pair, folder)
            # The coder works outside Python's lock: it runs while the figures are drawn.
            coding = worker.submit(page_sound, pair, results.findings)
        tell("drawing figures")
        pictures = _write_figures(results, folder / "figures")
        tell("coding the sound for the page")
        sound = coding.result() if coding is not None else ()
    if heard is not None:
        heard(sound)
    tell("writing the page")
    (folder / "report.html").write_text(render(results, pictures, sound), "utf-8")
    (folder / "findings.csv").write_text(findings_table(results.on_file_clocks().findings), "utf-8")
    if results.stems is not None:
        (folder / "trims.csv").write_text(trims_table(results), "utf-8")
    if preview is not None and pair is not None:
        (folder / PREVIEW).parent.mkdir()
        shutil.copyfile(preview, folder / PREVIEW)
    files = [*_files_in(folder), _DOCUMENT]
    (folder / _DOCUMENT).write_text(to_json(to_document(results, sorted(files))), "utf-8")


def _with_excerpts(results: Results, pair: AlignedSound, folder: Path) -> Results:
    profile = busy_profile(pair) if results.findings else None
    findings = tuple(
        replace(
            finding,
            listening=write_excerpts(finding, excerpts(finding, pair, profile), folder),
        )
        for finding in results.findings
    )
    return replace(results, findings=findings)


def _write_figures(results: Results, folder: Path) -> dict[str, Picture]:
    pictures = {}
    for aspect, drawn in plots.draw_all(results).items():
        folder.mkdir(exist_ok=True)
        svg = style.to_svg(drawn.figure)
        (folder / f"{aspect}.svg").write_text(svg, "utf-8")
        pictures[aspect] = Picture(svg, drawn.caption)
    return pictures


@contextlib.contextmanager
def _workshop(target: Path) -> Iterator[Path]:
    """An empty folder on the target's own disk, gone afterwards whatever happens."""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        beside = target.parent
        if target.exists() and target.stat().st_dev != beside.stat().st_dev:
            beside = target
        try:
            folder = tempfile.mkdtemp(prefix=f".{target.name}-", dir=beside)
        except OSError:
            # The parent may be closed to us although the target itself is open.
            folder = tempfile.mkdtemp(prefix=".mixcompare-", dir=target)
    except OSError as error:
        raise OutputError(_cannot(target, error)) from error
    try:
        # A folder for temporary files is closed to others; a report is not.
        os.chmod(folder, 0o777 & ~_umask())
        yield Path(folder)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def _put_in_place(folder: Path, target: Path) -> None:
    """Let the new folder take the target's place, or its files that of a former report's."""
    if not target.exists():
        os.rename(folder, target)
        return
    former = _former_files(target) or ()
    plain = folder.parent == target.parent and not target.is_mount()
    if plain and not _holds_strangers(target, former):
        _swap(folder, target)
    else:
        _move_in(folder, target, former)


def _swap(folder: Path, target: Path) -> None:
    aside = Path(tempfile.mkdtemp(prefix=f".{target.name}-", dir=target.parent))
    former = aside / "former"
    try:
        os.rename(target, former)
        os.rename(folder, target)
    except BaseException:
        if former.exists():
            os.rename(former, target)
        os.rmdir(aside)
        raise
    shutil.rmtree(aside, ignore_errors=True)


def _move_in(folder: Path, target: Path, former: tuple[str, ...]) -> None:
    """Move file by file beside what else is there, the document last; undo it all on trouble."""
    files = sorted(_files_in(folder), key=lambda name: (name == _DOCUMENT, name))
    strangers = [name for name in files if (target / name).exists() and name not in former]
    if strangers:
        raise OutputError(
            f"{target / strangers[0]}: is not from a former report and would be overwritten;"
            " name another folder."
        )
    aside = Path(tempfile.mkdtemp(prefix="former-", dir=folder))
    moves = [(target / name, aside / name) for name in former]
    moves += [(folder / name, target / name) for name in files]
    begun = 0
    try:
        for source, place in moves:
            begun += 1
            place.parent.mkdir(parents=True, exist_ok=True)
            os.replace(source, place)
    except BaseException:
        for source, place in reversed(moves[:begun]):
            if place.exists():
                os.replace(place, source)
        raise
    finally:
        for name in _FOLDERS:
            with contextlib.suppress(OSError):
                os.rmdir(target / name)


def _former_files(target: Path) -> tuple[str, ...] | None:
    """Files of the report that a folder holds, as it lists them itself; None for no report."""
    try:
        document = json.loads((target / _DOCUMENT).read_text("utf-8"))
        if "mixcompare_version" not in document:
            return None
        listed = [str(name) for name in document["files"]]
    except (OSError, ValueError, KeyError, TypeError):
        return None
    inside = [name for name in listed if _is_ours(name)]
    return tuple(name for name in inside if (target / name).is_file())


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


def _umask() -> int:
    mask = os.umask(0o022)
    os.umask(mask)
    return mask


def _cannot(target: Path, error: OSError) -> str:
    reason = (error.strerror or str(error)).lower()
    return f"{target}: the report cannot be written here ({reason}); name another folder."
