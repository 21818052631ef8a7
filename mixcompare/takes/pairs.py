"""One pair, wherever it is compared: paths in, its own report written, plain data out."""

from __future__ import annotations

import contextlib
import functools
import os
import socket
import threading
from pathlib import Path

from mixcompare import __version__
from mixcompare.alignment.result import UNRELATED
from mixcompare.comparison import Comparison, compare
from mixcompare.errors import MixcompareError
from mixcompare.features import Features
from mixcompare.listening.page_sound import CodedSound
from mixcompare.takes.store import fingerprint, load_features
from mixcompare.takes.task import Task
from mixcompare.takes.values import Heard, Take, Told

_MAP_POINTS_PER_S = 2.0  # for switching recordings by hand; the pair's own page has more
_WHOLE = 0.95  # as on the pair's page

_ONE_AT_A_TIME = threading.Lock()
"""Figures are drawn with settings of the whole process, and memory is told for one pair each."""


def compare_pair(task: Task) -> Take:
    """Compare one candidate and write its own report; what goes wrong is told, not raised."""
    missing = _not_seen(task)
    if missing:
        return task.failed(missing)
    try:
        with _ONE_AT_A_TIME:
            return _compared(task)
    except MixcompareError as error:
        return task.failed(str(error))
    except MemoryError:
        return task.out_of_memory()
    except Exception as error:  # one pair's trouble must not stop the others
        words = f"{type(error).__name__}: {error}"
        return task.failed(f"{task.candidate}: could not be compared ({words}).")


def _not_seen(task: Task) -> str:
    """Why a worker cannot begin, in a sentence; empty where it can."""
    host = socket.gethostname()
    if task.version != __version__:
        return (
            f"{task.candidate}: the worker on {host} has mixcompare {__version__}, not"
            f" {task.version}; install the same there."
        )
    for path in (task.candidate, task.reference, task.features, task.score, task.folder):
        if path is not None and not Path(path).exists():
            return (
                f"{task.candidate}: the worker on {host} does not see {path}; put it where every"
                " machine sees it under the same path."
            )
    return ""


@functools.lru_cache(maxsize=1)
def _reference(path: str, changed_ns: int) -> Features:
    """The reference's features, read once in a worker's life."""
    return load_features(path)


def _compared(task: Task) -> Take:
    audio = fingerprint(task.candidate)
    comparison = compare(
        task.reference,
        task.candidate,
        reference_span_s=task.reference_span_s,
        score=task.score,
        reference_features=_reference(task.features, os.stat(task.features).st_mtime_ns),
    )
    sounds: list[CodedSound] = []
    comparison.save(
        Path(task.folder) / task.report, audio=task.audio, heard=lambda coded: sounds.extend(coded)
    )
    results = comparison.results
    return Take(
        name=task.name,
        path=task.candidate,
        report=task.report,
        relation=results.alignment.relation,
        verdict=results.verdict,
        unseen=results.unseen,
        findings=told(comparison),
        sound=_heard(task, comparison, sounds),
        audio=audio,
    )


def told(comparison: Comparison) -> tuple[Told, ...]:
    """The findings of one comparison as plain data, on the files' clocks."""
    return tuple(
        Told(
            aspect=finding.aspect,
            kind=finding.kind,
            subject=finding.subject,
            amount=finding.amount,
            text=finding.text,
            cause=finding.cause.spoken,
            difference=float(finding.difference),
            unit=finding.unit,
            jnd=float(finding.jnd),
            rank=finding.rank,
            spans_s=tuple((float(start), float(end)) for start, end in finding.spans_s),
            band_hz=_floats(finding.band_hz),
            advice=finding.advice,
        )
        for finding in comparison.results.on_file_clocks().findings
    )


def _floats(band_hz: tuple[float, float] | None) -> tuple[float, float] | None:
    return None if band_hz is None else (float(band_hz[0]), float(band_hz[1]))


def _heard(task: Task, comparison: Comparison, sounds: list[CodedSound]) -> Heard | None:
    """Keep the page's sound beside all takes, where it is of the whole passage."""
    files = [f"sound/{task.name}-{role}.mp3" for role in ("reference", "candidate")]
    for name in files:
        with contextlib.suppress(FileNotFoundError):
            os.remove(Path(task.folder) / name)
    if comparison.alignment.relation == UNRELATED or len(sounds) != 1:
        return None
    reference, candidate = sounds[0]["reference"], sounds[0]["candidate"]
    time_map = comparison.alignment.time_map
    (start, end), (first, last) = reference.span_s, time_map.span_s
    if end - start < _WHOLE * (last - first):
        return None
    for name, sound in zip(files, (reference.mp3, candidate.mp3), strict=True):
        target = Path(task.folder) / name
        target.parent.mkdir(exist_ok=True)
        target.write_bytes(sound)
    points = time_map.thinned(_MAP_POINTS_PER_S)
    return Heard(
        reference=files[0],
        candidate=files[1],
        reference_span_s=_floats(reference.span_s) or (0.0, 0.0),
        candidate_span_s=_floats(candidate.span_s) or (0.0, 0.0),
        reference_gain_db=float(reference.gain_db),
        candidate_gain_db=float(candidate.gain_db),
        time_map=tuple(
            (round(float(one), 4), round(float(other), 4))
            for one, other in zip(points.reference_s, points.candidate_s, strict=True)
        ),
    )
