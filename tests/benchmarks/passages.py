"""Made-up passages of eight elements with known levels, for the calibration of findings.

Each passage follows from its number: a repeating figure on two instruments, a leading line, held
chords, horns, a bass line, timpani, off-beat oboes. Rendered part by part, so that any element's
level can be changed while all else stays.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tests.benchmarks.rendering import Note, Part, fold, render_part, shift_notes

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 44_100
SOUNDFONTS = ("FluidR3_GM.sf2", "MuseScore_General.sf3")
ELEMENTS: Mapping[str, tuple[str, ...]] = {
    "figure": ("xylophone figure", "figure an octave up"),
    "melody": ("melody",),
    "chords": ("chords",),
    "horns": ("horns",),
    "bass": ("bass",),
    "timpani": ("timpani",),
    "oboes": ("oboes",),
}
"""What a scenario may change, by the parts that make it."""

_PROGRAMS = {
    "xylophone figure": 71,
    "figure an octave up": 13,
    "melody": 48,
    "chords": 57,
    "horns": 60,
    "bass": 45,
    "timpani": 47,
    "oboes": 68,
}
_PLACES = dict(zip(_PROGRAMS, (-0.2, 0.4, -0.5, 0.4, -0.3, 0.6, 0.1, 0.1), strict=True))
_LEVELS_DB = dict(zip(_PROGRAMS, (-27, -31, -24, -25, -28, -26, -30, -32), strict=True))
_MAJOR, _MINOR = (0, 2, 4, 5, 7, 9, 11), (0, 2, 3, 5, 7, 8, 10)


def parts_of(number: int, duration_s: float = 24.0) -> list[Part]:
    """The notes of a passage."""
    rng = np.random.default_rng(100 + number)
    beat_s = 60 / (72, 96, 60, 84, 110)[number % 5]
    key = (48, 50, 45, 53, 47)[number % 5]
    scale = _MINOR if number % 2 else _MAJOR
    motif = rng.permutation([0, 2, 4, 7, 4, 2, 5, 4])[: (4, 6, 8, 3, 5)[number % 5]]
    per_beat = (4, 2, 4, 3, 2)[number % 5]
    notes: dict[str, list[Note]] = {name: [] for name in _PROGRAMS}

    def pitch(degree: int, octave: int) -> int:
        return key + 12 * octave + scale[degree % 7] + 12 * (degree // 7)

    def add(name: str, start_s: float, beats: float, at: int, velocity: int) -> None:
        notes[name].append(Note(start_s, beats * beat_s, at, velocity))

    step, line = 0, 7
    for bar in range(int(duration_s / beat_s / 4)):
        root = int(rng.choice([0, 3, 4, 5, 1]))
        start_s = 4 * bar * beat_s + 0.3
        for index in range(4 * per_beat):
            at_s = start_s + index * beat_s / per_beat
            struck = pitch(root + int(motif[step % len(motif)]), 2)
            step += 1
            add("xylophone figure", at_s, 0.8 / per_beat, struck, 72)
            upper = struck + 12 if struck < 84 else struck
            add("figure an octave up", at_s, 0.6 / per_beat, upper, 60)
        beat = 0.0
        while beat < 4:
            beats = min(float(rng.choice([0.5, 1, 1, 1.5, 2])), 4 - beat)
            line = int(np.clip(line + rng.integers(-2, 3), 4, 13))
            add("melody", start_s + beat * beat_s, 0.97 * beats, pitch(line, 1), 88)
            beat += beats
        for degree in (0, 2, 4):
            add("chords", start_s, 3.92, pitch(root + degree, 0) + (0 if degree else 12), 70)
        for half in (0, 2):
            for degree in (2, 4):
                add("horns", start_s + half * beat_s, 1.8, pitch(root + degree, 0), 66)
        for index in range(4):
            low = pitch(root if index % 2 == 0 else root + 4, -1)
            add("bass", start_s + index * beat_s, 0.5, max(low, low + 12 if low < 28 else low), 80)
        for index in range(4):
            add("oboes", start_s + (index + 0.5) * beat_s, 0.4, pitch(root + 2, 1), 66)
        if bar % 2:
            for index in range(8):
                at_s = start_s + (2 + index / 4) * beat_s
                add("timpani", at_s, 0.25, 43, 60 + 5 * index)
    return [
        Part(name, _PROGRAMS[name], tuple(notes[name]), pan=_PLACES[name]) for name in _PROGRAMS
    ]


def stems_of(
    number: int, soundfont: int, performance: int, cache: Path, scatter_db: float = 1.0
) -> dict[str, FloatArray]:
    """Dry stems at fixed levels; ``performance`` 0 is as written, others scatter by 12 ms."""
    path = cache / f"passage-{number}-{soundfont}-{performance}-{scatter_db:g}.npz"
    if path.exists():
        with np.load(path) as stored:
            return {name: stored[name].astype(np.float64) for name in stored.files}
    parts = parts_of(number)
    if performance:
        parts = list(shift_notes(parts, 12.0, scatter_db, performance))
    stems = {part.name: fold(render_part(part, SOUNDFONTS[soundfont])) for part in parts}
    length = max(map(len, stems.values()))
    for name, stem in stems.items():
        level = 10 ** (_LEVELS_DB[name] / 20) / np.sqrt(np.mean(stem**2))
        stems[name] = np.pad(level * stem, (0, length - len(stem)))
    cache.mkdir(parents=True, exist_ok=True)
    np.savez(path, **{name: stem.astype(np.float32) for name, stem in stems.items()})
    return stems
