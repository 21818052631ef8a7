"""Movements by composers in the public domain: their written notes.

The notes come from the corpus that the music21 package brings along; none of it is stored here.
Reading a movement takes music21 several seconds, so what was read is kept as a small `.npz`
in a cache folder (`MIXCOMPARE_BENCHMARK_CACHE`, or the system's temporary folder).

The movements used for choosing constants (`TUNING`) and those used for reporting figures
(`REPORTING`) are fixed below; no work stands in both.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

SCORE_FORMAT = 3
"""Raised whenever the cached contents change, so that old files are not read again."""

GRID = 96
"""Bar lengths are rounded to this fraction of a quarter note."""

VELOCITIES = {
    "ppp": 34, "pp": 44, "p": 56, "mp": 66, "mf": 76, "f": 90, "ff": 102, "fff": 112,
    "fp": 84, "sf": 96, "sfz": 98, "fz": 96, "sfp": 92, "rf": 90, "rfz": 92,
}  # fmt: skip
"""Key velocity for each dynamic mark (our choice; no source)."""

MOMENTARY_MARKS = frozenset({"fp", "sf", "sfz", "fz", "sfp", "rf", "rfz"})
"""Marks that hold for one note only."""


@dataclass(frozen=True)
class Movement:
    """One movement of the corpus.

    Attributes
    ----------
    name
        Short name, used in tables and file names.
    source
        Its path in music21's corpus.
    work
        The work it belongs to.
    quarter_bpm
        Quarter notes a minute, chosen from the movement's heading.
    orchestration
        Key of `tests.benchmarks.orchestration.ORCHESTRATIONS`.
    first_bar
        Index of the bar where passages begin (0 = the first).
    """

    name: str
    source: str
    work: str
    quarter_bpm: float
    orchestration: str
    first_bar: int = 0


TUNING: tuple[Movement, ...] = (
    Movement("haydn1-1", "haydn/opus1no1/movement1", "Haydn op. 1 no. 1", 150, "orchestra"),
    Movement("haydn1-3", "haydn/opus1no1/movement3", "Haydn op. 1 no. 1", 52, "strings"),
    Movement("mozart155-1", "mozart/k155/movement1", "Mozart K. 155", 120, "xylophone"),
    Movement("mozart155-2", "mozart/k155/movement2", "Mozart K. 155", 66, "harp"),
    Movement("beethoven18-2", "beethoven/opus18no1/movement2.mxl", "Beethoven 18/1", 66, "winds"),
    Movement("corelli3-1", "corelli/opus3no1/1grave", "Corelli op. 3 no. 1", 60, "three parts"),
)  # fmt: skip
"""Movements for choosing constants. Not for reporting."""

REPORTING: tuple[Movement, ...] = (
    Movement("haydn74-1", "haydn/opus74no1/movement1", "Haydn op. 74 no. 1", 132, "orchestra"),
    Movement("haydn74-2", "haydn/opus74no1/movement2", "Haydn op. 74 no. 1", 60, "winds"),
    Movement("mozart458-1", "mozart/k458/movement1", "Mozart K. 458", 150, "xylophone"),
    Movement("mozart458-3", "mozart/k458/movement3", "Mozart K. 458", 44, "strings"),
    Movement("mozart156-1", "mozart/k156/movement1", "Mozart K. 156", 108, "orchestra"),
    Movement("beethoven59-2", "beethoven/opus59no2/movement2", "Beethoven 59/2", 60, "harp"),
    Movement("beethoven59-4", "beethoven/opus59no3/movement4", "Beethoven 59/3", 152, "chamber"),
    Movement("weber-1", "weber/concertino_clarinet", "Weber op. 26", 66, "solo clarinet"),
    Movement("cschumann17-3", "schumann_clara/opus17/movement3", "C. Schumann op. 17", 56, "trio"),
)  # fmt: skip
"""Movements for reporting figures. Never choose a constant by them."""

SETS: dict[str, tuple[Movement, ...]] = {"tuning": TUNING, "reporting": REPORTING}


def movement_named(name: str) -> Movement:
    """The movement of that short name.

    Raises
    ------
    KeyError
        If there is none.
    """
    for movement in TUNING + REPORTING:
        if movement.name == name:
            return movement
    raise KeyError(f"no movement is called {name!r}")


@dataclass(frozen=True)
class ScoreNotes:
    """The written notes of a movement; times in quarter notes from its beginning.

    Attributes
    ----------
    part
        (n,) index of the part.
    start, length
        (n,) beginning and length in quarter notes.
    midi
        (n,) sounding MIDI note number.
    velocity
        (n,) key velocity from the dynamic marks.
    fermata
        (n,) whether a fermata stands over the note.
    bar_start
        (bars + 1,) where the bars begin; the last entry is the movement's end.
    """

    part: npt.NDArray[np.int64]
    start: npt.NDArray[np.float64]
    length: npt.NDArray[np.float64]
    midi: npt.NDArray[np.int64]
    velocity: npt.NDArray[np.int64]
    fermata: npt.NDArray[np.bool_]
    bar_start: npt.NDArray[np.float64]


def cache_folder(folder: str | os.PathLike[str] | None = None) -> Path:
    """The cache folder, made if it is missing.

    Parameters
    ----------
    folder
        Path; by default the environment variable `MIXCOMPARE_BENCHMARK_CACHE`, else a folder
        in the system's temporary one.
    """
    default = Path(tempfile.gettempdir()) / "mixcompare-benchmark"
    path = Path(folder or os.environ.get("MIXCOMPARE_BENCHMARK_CACHE") or default)
    path.mkdir(parents=True, exist_ok=True)
    return path


def load_score(movement: Movement, cache: Path | None = None) -> ScoreNotes:
    """Read a movement's notes, from the cache if they were read before."""
    path = cache_folder(cache) / f"score{SCORE_FORMAT}-{movement.name}.npz"
    if not path.exists():
        notes = _parse(movement.source)
        unfinished = path.with_name(f"{path.stem}-{os.getpid()}.npz")
        np.savez_compressed(unfinished, **vars(notes))
        unfinished.replace(path)
    with np.load(path) as stored:
        return ScoreNotes(**{key: stored[key] for key in stored.files})


def _parse(source: str) -> ScoreNotes:
    """Read one movement through music21."""
    from music21 import corpus  # slow to import, and needed only where the cache is empty

    return read_notes(corpus.parse(source).toSoundingPitch())


def read_notes(score: Any) -> ScoreNotes:
    """The notes of a score of music21's.

    Bars are laid end to end by their number rather than by music21's own offsets: in some
    encodings one part's bar is a fraction too long and would push that part out of step.
    """
    measures = [list(part.getElementsByClass("Measure")) for part in score.parts]
    bars = min(len(column) for column in measures)
    bar_start = np.zeros(bars + 1)
    for index in range(bars):
        lengths = [_bar_length(column[index]) for column in measures]
        values, counts = np.unique(np.round(np.array(lengths) * GRID) / GRID, return_counts=True)
        bar_start[index + 1] = bar_start[index] + values[np.argmax(counts)]
    rows: list[tuple[int, float, float, int, int, bool]] = []
    for part_index, column in enumerate(measures):
        rows.extend(_read_part(part_index, column, bar_start))
    rows.sort()
    table = np.array(rows, dtype=np.float64)
    return ScoreNotes(
        part=table[:, 0].astype(np.int64),
        start=table[:, 1],
        length=table[:, 2],
        midi=table[:, 3].astype(np.int64),
        velocity=table[:, 4].astype(np.int64),
        fermata=table[:, 5].astype(np.bool_),
        bar_start=bar_start,
    )


def _bar_length(measure: Any) -> float:
    """Length of a bar: its contents if they fall short (an upbeat), else its signature's."""
    nominal = float(measure.barDuration.quarterLength)
    return min(float(measure.highestTime), nominal) or nominal


def _read_part(
    part_index: int, measures: list[Any], bar_start: npt.NDArray[np.float64]
) -> list[tuple[int, float, float, int, int, bool]]:
    """(part, start, length, midi, velocity, fermata) of every note of a part, ties joined."""
    held: dict[int, int] = {}
    rows: list[tuple[int, float, float, int, int, bool]] = []
    level = VELOCITIES["mf"]
    for index in range(len(bar_start) - 1):
        contents = measures[index].flatten()
        marks = [
            (float(mark.offset), str(mark.value))
            for mark in contents.getElementsByClass("Dynamic")
            if mark.value in VELOCITIES
        ]
        bar_length = bar_start[index + 1] - bar_start[index]
        for note in contents.notes:
            offset, length = float(note.offset), float(note.duration.quarterLength)
            if length <= 0.0 or offset >= bar_length:
                continue  # grace notes carry no length
            velocity = level
            while marks and marks[0][0] <= offset + 1e-6:
                value = marks.pop(0)[1]
                velocity = VELOCITIES[value]
                if value not in MOMENTARY_MARKS:
                    level = velocity
            if any(type(mark).__name__ == "Staccato" for mark in note.articulations):
                length *= 0.5
            fermata = any(type(mark).__name__ == "Fermata" for mark in note.expressions)
            for head in _heads(note):
                midi = round(head.pitch.ps)
                tie = (head.tie or note.tie).type if (head.tie or note.tie) else None
                if tie in ("stop", "continue") and midi in held:
                    row = rows[held[midi]]
                    rows[held[midi]] = (*row[:2], row[2] + length, *row[3:5], row[5] or fermata)
                else:
                    held[midi] = len(rows)
                    start = float(bar_start[index]) + offset
                    rows.append((part_index, start, length, midi, velocity, fermata))
                if tie in (None, "stop"):
                    held.pop(midi, None)
    return rows


def _heads(note: Any) -> list[Any]:
    """The single notes of a chord, or the note itself."""
    if note.isChord:
        return list(note.notes)
    return [note] if hasattr(note, "pitch") else []
