"""Movements by composers in the public domain, orchestrated the same way each time.

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

SHARP_PROGRAMS = frozenset({0, 8, 9, 11, 12, 13, 45, 46, 47})
"""General MIDI programs (counted from 0) whose sound begins within a few milliseconds."""

LOWEST_NOTE = 28
"""MIDI number of the double bass's lowest string; notes below it are played an octave higher."""

VELOCITIES = {
    "ppp": 34, "pp": 44, "p": 56, "mp": 66, "mf": 76, "f": 90, "ff": 102, "fff": 112,
    "fp": 84, "sf": 96, "sfz": 98, "fz": 96, "sfp": 92, "rf": 90, "rfz": 92,
}  # fmt: skip
"""Key velocity for each dynamic mark (our choice; no source)."""

MOMENTARY_MARKS = frozenset({"fp", "sf", "sfz", "fz", "sfp", "rf", "rfz"})
"""Marks that hold for one note only."""


@dataclass(frozen=True)
class Voice:
    """One instrument and where its notes come from.

    Attributes
    ----------
    name
        Name of the instrument.
    source
        Index of the score's part whose notes it plays.
    program
        General MIDI program, counted from 0.
    shift
        Semitones added to the written notes.
    level_db
        Gain against the other instruments.
    azimuth
        -1 (left) .. 1 (right).
    manner
        `"as written"`, `"short"` (a quarter of the length), `"bar"` (the note that begins each
        bar, held through it) or `"stroke"` (the same, struck once, on every second bar).
    """

    name: str
    source: int
    program: int
    shift: int = 0
    level_db: float = 0.0
    azimuth: float = 0.0
    manner: str = "as written"

    @property
    def sharp(self) -> bool:
        """Whether the instrument's sound begins at once."""
        return self.program in SHARP_PROGRAMS


ORCHESTRATIONS: dict[str, tuple[Voice, ...]] = {
    "chamber": (
        Voice("first violin", 0, 40, azimuth=-0.6),
        Voice("second violin", 1, 40, azimuth=-0.2),
        Voice("viola", 2, 41, azimuth=0.2),
        Voice("cello", 3, 42, azimuth=0.6),
    ),
    "strings": (
        Voice("first violins", 0, 48, azimuth=-0.6),
        Voice("second violins", 1, 48, level_db=-2.0, azimuth=-0.3),
        Voice("violas", 2, 48, level_db=-2.0, azimuth=0.2),
        Voice("cellos", 3, 42, azimuth=0.5),
        Voice("basses", 3, 43, shift=-12, level_db=-2.0, azimuth=0.6),
    ),
    "orchestra": (
        Voice("first violins", 0, 48, azimuth=-0.6),
        Voice("second violins", 1, 48, level_db=-2.0, azimuth=-0.3),
        Voice("violas", 2, 48, level_db=-2.0, azimuth=0.2),
        Voice("cellos", 3, 48, azimuth=0.5),
        Voice("basses", 3, 43, shift=-12, level_db=-2.0, azimuth=0.6),
        Voice("flute", 0, 73, level_db=-5.0, azimuth=-0.1),
        Voice("clarinet", 1, 71, level_db=-6.0, azimuth=0.1),
        Voice("bassoon", 3, 70, level_db=-6.0, azimuth=0.2),
        Voice("horns", 2, 60, level_db=-5.0, azimuth=-0.4, manner="bar"),
        Voice("timpani", 3, 47, level_db=-3.0, azimuth=0.3, manner="stroke"),
    ),
    "winds": (
        Voice("flute", 0, 73, azimuth=-0.3),
        Voice("oboe", 1, 68, level_db=-3.0, azimuth=-0.1),
        Voice("clarinet", 2, 71, level_db=-2.0, azimuth=0.1),
        Voice("bassoon", 3, 70, azimuth=0.3),
        Voice("horn", 2, 60, level_db=-3.0, azimuth=-0.5, manner="bar"),
        Voice("basses plucked", 3, 45, shift=-12, level_db=-1.0, azimuth=0.5, manner="short"),
    ),
    "xylophone": (
        Voice("violins", 0, 48, azimuth=-0.5),
        Voice("second violins", 1, 48, level_db=-2.0, azimuth=-0.2),
        Voice("violas", 2, 41, level_db=-1.0, azimuth=0.2),
        Voice("cellos", 3, 42, azimuth=0.5),
        Voice("basses", 3, 43, shift=-12, level_db=-2.0, azimuth=0.6),
        Voice("xylophone", 0, 13, level_db=-4.0, azimuth=0.4),
        Voice("timpani", 3, 47, level_db=-4.0, azimuth=0.2, manner="stroke"),
    ),
    "harp": (
        Voice("first violins", 0, 49, azimuth=-0.6),
        Voice("second violins", 1, 49, level_db=-2.0, azimuth=-0.3),
        Voice("violas", 2, 49, level_db=-2.0, azimuth=0.2),
        Voice("cellos", 3, 42, azimuth=0.5),
        Voice("oboe", 0, 68, level_db=-5.0),
        Voice("harp", 1, 46, azimuth=-0.4),
        Voice("harp low", 3, 46, azimuth=-0.4),
    ),
    "trio": (
        Voice("violin", 0, 40, azimuth=-0.5),
        Voice("cello", 1, 42, azimuth=0.5),
        Voice("piano right hand", 2, 0),
        Voice("piano left hand", 3, 0),
    ),
    "solo clarinet": (
        Voice("clarinet", 0, 71, level_db=2.0),
        Voice("violins and violas", 1, 48, azimuth=-0.4),
        Voice("cellos", 2, 42, azimuth=0.4),
        Voice("basses plucked", 2, 45, shift=-12, azimuth=0.6, manner="short"),
        Voice("bassoon", 2, 70, level_db=-6.0, azimuth=0.1),
        Voice("horns", 1, 60, level_db=-6.0, azimuth=-0.5, manner="bar"),
    ),
    "three parts": (
        Voice("first violins", 0, 48, azimuth=-0.5),
        Voice("second violins", 1, 49, azimuth=0.0),
        Voice("cellos", 2, 42, azimuth=0.4),
        Voice("basses", 2, 43, shift=-12, level_db=-2.0, azimuth=0.6),
        Voice("oboe", 0, 68, level_db=-5.0, azimuth=-0.1),
        Voice("bassoon", 2, 70, level_db=-5.0, azimuth=0.1),
    ),
}


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
        Key of `ORCHESTRATIONS`.
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
    Movement("beethoven18-2", "beethoven/opus18no1/movement2.mxl", "Beethoven op. 18/1", 66, "winds"),
    Movement("corelli3-1", "corelli/opus3no1/1grave", "Corelli op. 3 no. 1", 60, "three parts"),
)  # fmt: skip
"""Movements for choosing constants. Not for reporting."""

REPORTING: tuple[Movement, ...] = (
    Movement("haydn74-1", "haydn/opus74no1/movement1", "Haydn op. 74 no. 1", 132, "orchestra"),
    Movement("haydn74-2", "haydn/opus74no1/movement2", "Haydn op. 74 no. 1", 60, "winds"),
    Movement("mozart458-1", "mozart/k458/movement1", "Mozart K. 458", 150, "xylophone"),
    Movement("mozart458-3", "mozart/k458/movement3", "Mozart K. 458", 44, "strings"),
    Movement("mozart156-1", "mozart/k156/movement1", "Mozart K. 156", 108, "orchestra"),
    Movement("beethoven59-2", "beethoven/opus59no2/movement2", "Beethoven op. 59/2", 60, "harp"),
    Movement("beethoven59-4", "beethoven/opus59no3/movement4", "Beethoven op. 59/3", 152, "chamber"),
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
    """Read one movement through music21.

    Bars are laid end to end by their number rather than by music21's own offsets: in some
    encodings one part's bar is a fraction too long and would push that part out of step.
    """
    from music21 import corpus  # slow to import, and needed only where the cache is empty

    score: Any = corpus.parse(source).toSoundingPitch()
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


@dataclass(frozen=True)
class VoiceNotes:
    """What one instrument plays; times in quarter notes from the movement's beginning."""

    voice: Voice
    start: npt.NDArray[np.float64]
    length: npt.NDArray[np.float64]
    midi: npt.NDArray[np.int64]
    velocity: npt.NDArray[np.int64]


def orchestrate(score: ScoreNotes, orchestration: str) -> list[VoiceNotes]:
    """Give the written notes to instruments.

    Parameters
    ----------
    score
        The movement.
    orchestration
        Key of `ORCHESTRATIONS`.
    """
    return [_play(score, voice) for voice in ORCHESTRATIONS[orchestration]]


def _play(score: ScoreNotes, voice: Voice) -> VoiceNotes:
    chosen = score.part == voice.source
    start, length = score.start[chosen], score.length[chosen]
    midi, velocity = score.midi[chosen] + voice.shift, score.velocity[chosen]
    if voice.manner in ("bar", "stroke"):
        kept = _lowest_at_bars(score, start, midi, every=2 if voice.manner == "stroke" else 1)
        start, length, midi, velocity = start[kept], length[kept], midi[kept], velocity[kept]
        bar = np.searchsorted(score.bar_start, start + 1e-6, side="right")
        until_bar_end = score.bar_start[np.minimum(bar, len(score.bar_start) - 1)] - start
        length = np.maximum(length, 0.95 * until_bar_end) if voice.manner == "bar" else length
    if voice.manner == "short":
        length = 0.25 * length
    midi = np.where(midi < LOWEST_NOTE, midi + 12, midi)
    if voice.manner == "stroke":
        midi = 41 + (midi - 41) % 12  # within the range of the kettledrums
    return VoiceNotes(voice, start, length, midi, velocity)


def _lowest_at_bars(
    score: ScoreNotes, start: npt.NDArray[np.float64], midi: npt.NDArray[np.int64], every: int
) -> npt.NDArray[np.int64]:
    """Indices of the lowest note that begins with each bar (or every second one)."""
    kept = []
    for bar_start in score.bar_start[:-1:every]:
        here = np.flatnonzero(np.abs(start - bar_start) < 1e-6)
        if len(here):
            kept.append(int(here[np.argmin(midi[here])]))
    return np.array(kept, dtype=np.int64)
