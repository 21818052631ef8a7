"""All candidates against one reference, once, in order; the one place that knows it."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from mixcompare import __version__
from mixcompare.alignment.result import UNRELATED
from mixcompare.audio.file import file_info
from mixcompare.audio.recording import Recording
from mixcompare.errors import AudioFileError, OutputError, ParameterError
from mixcompare.outputs import cannot, real_path
from mixcompare.paths import checked_path
from mixcompare.takes import engines, page, table
from mixcompare.takes.pairs import compare_pair
from mixcompare.takes.place import DOCUMENT, KEPT, PAGE, TABLE, VERSIONS, files_of, opened
from mixcompare.takes.store import (
    fingerprint,
    identity,
    kept_features,
    read_json,
    write_json,
    write_text,
)
from mixcompare.takes.task import Task
from mixcompare.takes.values import Json, Take
from mixcompare.takes.versions import Item, followed

Tell = Callable[[str], None]

# Peak memory of one comparison with its report and sound, two 48 kHz stereo files: 658 MB at 10
# minutes, 1394 MB at 30 (measured, each in a process of its own), and what a short pair takes.
_BASE_MB, _MB_A_MINUTE = 330.0, 36.0


@dataclass(frozen=True)
class Takes:
    """What came of all candidates.

    Attributes
    ----------
    folder : Path
        With the page, the tables, and every pair's own report.
    reference : str
        Path.
    takes : tuple of Take
        In the order given.
    items : tuple of Item
        For versions: what was found in any of them, followed through all.
    done_now : int
        How many were compared in this run; the others had not changed.
    """

    folder: Path
    reference: str
    takes: tuple[Take, ...]
    items: tuple[Item, ...] = ()
    done_now: int = 0

    @property
    def nearest(self) -> tuple[Take, ...]:
        """Nearest to the reference first; what could not be compared last."""
        return tuple(sorted(self.takes, key=_farness))

    @property
    def failed(self) -> tuple[Take, ...]:
        """Those that could not be compared."""
        return tuple(take for take in self.takes if take.problem)


def compare_all(
    reference: str | Path,
    candidates: Sequence[str | Path],
    out_dir: str | Path,
    *,
    versions: bool = False,
    reference_span_s: tuple[float, float] | None = None,
    score: str | Path | None = None,
    audio: bool = True,
    jobs: int | None = None,
    cluster: str | None = None,
    cache_dir: str | Path | None = None,
    progress: Tell | None = None,
    beforehand: Tell | None = None,
) -> Takes:
    """Compare many candidates with one reference; go on where a former run stopped.

    Parameters
    ----------
    reference : path
        The recording to compare against.
    candidates : sequence of paths
        The recordings to judge.
    out_dir : path
        For the page, the tables and a report for each pair. What a former run left there and has
        not changed (sound, settings, mixcompare itself) is taken as it is.
    versions : bool
        Whether the candidates are versions of one mix, in order: then what was mended from one to
        the next, what became worse and what remains is told.
    reference_span_s : tuple of float, optional
        Part of the reference to use, in seconds.
    score : path, optional
        As in :func:`mixcompare.compare`.
    audio : bool
        Whether reports hold sound.
    jobs : int, optional
        Processes on this machine; default as many as its cores and its memory allow.
    cluster : str, optional
        Address of a scheduler of Dask's ``distributed`` (extra ``mixcompare[cluster]``) instead;
        its workers have to see all files under the same paths.
    cache_dir : path, optional
        Where the reference's features are kept; default in ``out_dir``.
    progress : callable, optional
        Called with a few words before each step.
    beforehand : callable, optional
        Called with a sentence on how much there is to do and what memory it takes.

    Returns
    -------
    Takes
        A candidate that could not be compared is among them, with its ``problem``.

    Raises
    ------
    AudioFileError
        If the reference cannot be read or holds nothing to compare.
    ParameterError, ScoreError, OutputError, ClusterError
    """
    if not candidates:
        raise ParameterError("Name at least one candidate.")
    if isinstance(candidates, str | bytes | os.PathLike):
        raise ParameterError(f"candidates must be a list of paths, not {candidates!r:.60}.")
    if jobs is not None and not (isinstance(jobs, int) and jobs >= 1):
        raise ParameterError(f"{jobs!r:.60} processes can do nothing; give 1 or more.")
    checked_path(out_dir, "the folder of all takes")
    elsewhere = None if cache_dir is None else real_path(checked_path(cache_dir, "the cache"))
    tell = progress or (lambda words: None)
    tell("reading the reference")
    first = Recording.open(_absolute(reference), reference_span_s)
    names = _named([_absolute(candidate) for candidate in candidates])
    written = None if score is None else _absolute(score)
    read = [first.name, *names.values(), *filter(None, [written])]
    with opened(out_dir, _own_files(versions), read) as folder:
        cache = folder / KEPT if elsewhere is None else elsewhere
        audio_of_reference = fingerprint(first.name)
        features = kept_features(first, audio_of_reference, cache)
        common = Task(
            name="",
            reference=first.name,
            candidate="",
            features=str(features),
            folder=str(folder),
            reference_span_s=reference_span_s,
            score=written,
            audio=audio,
        )
        made_of = {
            "reference": [first.name, audio_of_reference, first.span_s],
            "score": None if written is None else [written, fingerprint(written)],
            "audio": audio,
        }
        known, tasks = _sorted(common, names, made_of, first.duration_s)
        at_once = _at_once(tasks, jobs)
        if beforehand is not None:
            unchanged = sum(not take.problem for take in known.values())
            beforehand(_beforehand(unchanged, tasks, at_once, cluster))
        ready = 0
        for task, take in _worked(tasks, at_once, cluster):
            ready += 1
            tell(f"{ready} of {len(tasks)} compared")
            known[task.name] = take
            if not take.problem:
                _keep(task, take, made_of)
        takes = tuple(known[name] for name in names)
        items = followed([take.findings if _is_comparable(take) else None for take in takes])
        result = Takes(folder, first.name, takes, items if versions else (), ready)
        _write(result, versions)
    return result


def _own_files(versions: bool) -> list[str]:
    return [PAGE, TABLE, *([VERSIONS] if versions else [])]


def _sorted(
    common: Task, names: Mapping[str, str], made_of: Json, reference_s: float
) -> tuple[dict[str, Take], list[Task]]:
    """What is known of candidates already, and what there is to do for the others."""
    known: dict[str, Take] = {}
    tasks: list[Task] = []
    for name, path in names.items():
        task = replace(common, name=name, candidate=path)
        try:
            former = _former(task, made_of)
            if former is not None:
                known[name] = former
                continue
            info = file_info(Path(path), path)
        except AudioFileError as error:
            known[name] = task.failed(str(error))
            continue
        memory_mb = memory_of_pair_mb(reference_s, info.frames / info.samplerate)
        tasks.append(replace(task, memory_mb=memory_mb))
    return known, tasks


def memory_of_pair_mb(reference_s: float, candidate_s: float) -> float:
    """What comparing a pair takes at its peak, about."""
    return _BASE_MB + _MB_A_MINUTE * (reference_s + candidate_s) / 2 / 60


def _worked(tasks: Sequence[Task], jobs: int, cluster: str | None) -> Iterator[engines.Done]:
    if cluster is not None:
        return engines.on_cluster(compare_pair, tasks, cluster)
    return engines.here(compare_pair, tasks, jobs)


def _at_once(tasks: Sequence[Task], jobs: int | None) -> int:
    """Processes: as asked for; else one a core, as far as memory reaches."""
    from joblib import cpu_count

    most = jobs or cpu_count()
    if jobs is None and tasks:
        most = min(most, int(_memory_mb() // max(task.memory_mb for task in tasks)))
    return max(min(most, len(tasks)), 1)


def _memory_mb() -> float:
    """Memory of this machine; unlimited where the system does not say."""
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_PHYS_PAGES") / 2**20
    except (AttributeError, ValueError, OSError):
        return float("inf")


def _beforehand(unchanged: int, tasks: Sequence[Task], jobs: int, cluster: str | None) -> str:
    """What there is to do, and the memory it takes, in a sentence."""
    kept = f"{unchanged} did not change" if unchanged else ""
    if not tasks:
        return f"{kept or 'None can be compared'}; nothing to compare."
    most_mb = max(task.memory_mb for task in tasks)
    processes = "1 process" if jobs == 1 else f"{jobs} processes"
    where = f"on the workers of {cluster}" if cluster else f"in {processes}"
    words = f"{len(tasks)} to compare {where}, up to about {most_mb:.0f} MB of memory each"
    if cluster is None and jobs * most_mb > _memory_mb():
        words += f"; this machine has {_memory_mb():.0f} MB for all, so fewer (--jobs) are safer"
    return f"{kept}; {words}." if kept else f"{words}."


def _is_comparable(take: Take) -> bool:
    return not take.problem and take.relation != UNRELATED


def _farness(take: Take) -> tuple[int, float]:
    return (2 if take.problem else int(take.relation == UNRELATED)), take.distance_jnd


def _absolute(path: str | Path) -> str:
    """The same name for a file wherever a worker stands."""
    return os.path.abspath(os.path.expanduser(checked_path(path, "a recording or a score")))


def _named(paths: Sequence[str]) -> dict[str, str]:
    """A short name for each path, its own, fit for a folder and an address; a path named once."""
    named: dict[str, str] = {}
    taken: set[str] = set()
    for path in dict.fromkeys(paths):
        plain = re.sub(r"[^A-Za-z0-9_-]+", "-", Path(path).stem).strip("-")[:60] or "take"
        name, count = plain, 1
        while name.casefold() in taken:
            count += 1
            name = f"{plain}-{count}"
        taken.add(name.casefold())
        named[name] = path
    return named


def _former(task: Task, made_of: Json) -> Take | None:
    """What a former run found of the very same pair, if its report is still there.

    Raises
    ------
    AudioFileError
        If the candidate's file is not there any more.
    """
    folder = Path(task.folder)
    said = read_json(folder / KEPT / f"{task.name}.json")
    if said is None:
        return None
    try:
        take = Take.from_plain(said["take"])
    except (KeyError, TypeError, AttributeError):
        return None
    files = [f"{take.report}/{name}" for name in ("report.html", "report.json")]
    if take.sound is not None:
        files += [take.sound.reference, take.sound.candidate]
    there = all((folder / name).is_file() for name in files)
    now = _made_of(task, fingerprint(task.candidate), made_of)
    return take if there and said.get("made_of") == now else None


def _made_of(task: Task, audio: str, common: Json) -> str:
    return identity(candidate=[task.candidate, audio], name=task.name, **common)


def _keep(task: Task, take: Take, made_of: Json) -> None:
    path = Path(task.folder) / KEPT / f"{task.name}.json"
    try:
        write_json(path, {"made_of": _made_of(task, take.audio, made_of), "take": take.plain()})
    except OSError as error:
        raise OutputError(cannot(path, error)) from error


def _write(result: Takes, versions: bool) -> None:
    """The page, the tables and the document; the document last."""
    document: Json = {
        "mixcompare_version": __version__,
        "reference": result.reference,
        "takes": [{**take.plain(), "distance_jnd": take.distance_jnd} for take in result.takes],
        "versions": [item.plain() for item in result.items] if versions else None,
        "files": _own_files(versions),
    }
    ordered = result.takes if versions else result.nearest
    try:
        text = page.render(result.reference, ordered, result.items if versions else None)
        write_text(result.folder / PAGE, text)
        write_text(result.folder / TABLE, table.takes_table(ordered))
        if versions:
            write_text(result.folder / VERSIONS, table.versions_table(result.takes, result.items))
        elif VERSIONS in files_of(read_json(result.folder / DOCUMENT) or {}):
            (result.folder / VERSIONS).unlink(missing_ok=True)
        write_json(result.folder / DOCUMENT, document)
    except OSError as error:
        raise OutputError(cannot(result.folder, error)) from error
