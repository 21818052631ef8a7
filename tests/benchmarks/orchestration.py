"""Which instrument plays what: a fixed orchestration for each kind of score."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tests.benchmarks.corpus import ScoreNotes

SHARP_PROGRAMS = frozenset({0, 8, 9, 11, 12, 13, 45, 46, 47})
"""General MIDI programs (counted from 0) whose sound begins within a few milliseconds."""

LOWEST_NOTE = 28
"""MIDI number of the double bass's lowest string; notes below it are played an octave higher."""


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
        Voice("flute", 0, 73, level_db=-8.0, azimuth=-0.1),
        Voice("clarinet", 1, 71, level_db=-9.0, azimuth=0.1),
        Voice("bassoon", 3, 70, level_db=-8.0, azimuth=0.2),
        Voice("horns", 2, 60, level_db=-9.0, azimuth=-0.4, manner="bar"),
        Voice("timpani", 3, 47, azimuth=0.3, manner="stroke"),
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
