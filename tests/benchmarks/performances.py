"""Performances of the benchmark's movements: tempo, fermatas, scatter, and the dry stems.

Each performance is a function of its description alone, so its stems are rendered once and then
read from the cache folder.
"""

from __future__ import annotations

import hashlib
import os
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from tests.benchmarks.corpus import (
    Movement,
    ScoreNotes,
    cache_folder,
    load_score,
)
from tests.benchmarks.orchestration import SHARP_PROGRAMS, orchestrate
from tests.benchmarks.rendering import Note, Part, render_part, shift_notes

STEM_FORMAT = 1
"""Raised whenever the rendering changes, so that old stems are not read again."""

SAMPLE_RATE_HZ = 44100
LEAD_S = 0.5
"""Silence before the first note."""
TAIL_S = 2.5
GRID_PER_QUARTER = 96


@dataclass(frozen=True)
class Performance:
    """Everything that decides how a passage is played.

    Attributes
    ----------
    movement
        What is played.
    form
        Bar ranges (first, behind the last), played one after the other.
    soundfont
        File name of the instruments' sounds.
    seed
        Of the tempo curve, the fermatas and the scatter.
    tempo_ratio
        Tempo against the movement's own.
    rubato
        Largest deviation of the local tempo (0.12 = 12 %).
    fermatas
        Number of bars whose end is held.
    transposition_semitones, tuning_cents
        Of the whole orchestra; 0 cents is A4 = 440 Hz.
    scatter_ms
        Standard deviation of the single notes' onsets.
    """

    movement: Movement
    form: tuple[tuple[int, int], ...]
    soundfont: str
    seed: int
    tempo_ratio: float = 1.0
    rubato: float = 0.12
    fermatas: int = 0
    transposition_semitones: int = 0
    tuning_cents: float = 0.0
    scatter_ms: float = 10.0

    @property
    def key(self) -> str:
        """Name of its file in the cache."""
        digest = hashlib.sha256(f"{STEM_FORMAT} {self!r}".encode()).hexdigest()
        return f"{self.movement.name}-{digest[:16]}"


@dataclass(frozen=True)
class Played:
    """Who played what when, before any sound.

    Attributes
    ----------
    parts
        The instruments with their notes in seconds.
    score_quarter
        (events,) where in the score each event stands.
    visit
        (events,) how often that place had been played before (0, or 1 within a repeat).
    onset_s
        (events,) when it sounded: the mean of its notes' onsets, scatter included.
    sharp
        (events,) whether an instrument that begins at once takes part.
    joint_s
        (segments + 1,) where the form's segments begin, and the last one's end.
    """

    parts: tuple[Part, ...]
    score_quarter: npt.NDArray[np.float64]
    visit: npt.NDArray[np.int64]
    onset_s: npt.NDArray[np.float64]
    sharp: npt.NDArray[np.bool_]
    joint_s: npt.NDArray[np.float64]


def passage(
    score: ScoreNotes, movement: Movement, duration_s: float, number: int
) -> tuple[int, int]:
    """Bar range that lasts about `duration_s` at the movement's own tempo.

    Parameters
    ----------
    score, movement
        What to choose from.
    duration_s
        Wanted length; shorter where the movement ends before.
    number
        Which passage: 0 begins at the movement's first bar, others are spread over it.
    """
    bar_s = score.bar_start * 60.0 / movement.quarter_bpm
    spare_s = max(bar_s[-1] - bar_s[movement.first_bar] - duration_s, 0.0)
    places = 1 + int(spare_s / duration_s)
    begin_s = bar_s[movement.first_bar] + spare_s * (number % places) / max(places - 1, 1)
    first = int(np.argmin(np.abs(bar_s[:-1] - begin_s)))
    behind = int(np.argmin(np.abs(bar_s - bar_s[first] - duration_s)))
    return first, max(behind, first + 1)


def play(performance: Performance, cache: Path | None = None) -> Played:
    """Turn the written notes into played ones.

    Parameters
    ----------
    performance
        How to play.
    cache
        Folder for what was read from the corpus.
    """
    movement = performance.movement
    score = load_score(movement, cache)
    begins, ends = np.array(performance.form, dtype=np.int64).T
    lengths = score.bar_start[ends] - score.bar_start[begins]
    laid = np.concatenate([[0.0], np.cumsum(lengths)])  # the segments, one after the other
    clock_quarter, clock_s = _clock(performance, score, laid)
    parts, where, visits = [], [], []
    for voice_notes in orchestrate(score, movement.orchestration):
        notes = []
        for segment, (first, behind) in enumerate(performance.form):
            begin, end = score.bar_start[first], score.bar_start[behind]
            inside = np.flatnonzero(
                (voice_notes.start >= begin - 1e-6) & (voice_notes.start < end - 1e-6)
            )
            for index in inside:
                start = voice_notes.start[index] - begin + laid[segment]
                stop = min(start + 0.96 * voice_notes.length[index], laid[segment + 1])
                onset_s, end_s = np.interp([start, stop], clock_quarter, clock_s)
                pitch = int(voice_notes.midi[index]) + performance.transposition_semitones
                velocity = int(voice_notes.velocity[index])
                notes.append(Note(float(onset_s), float(end_s - onset_s), pitch, velocity))
                place = float(voice_notes.start[index])
                before = [_holds(score, bars, place) for bars in performance.form[:segment]]
                where.append(place)
                visits.append(sum(before))
        voice = voice_notes.voice
        part = Part(
            voice.name, voice.program, tuple(notes), pan=voice.azimuth, gain_db=voice.level_db
        )
        parts.append(part)
    scattered = shift_notes(parts, performance.scatter_ms, 1.0, performance.seed)
    events = _events(scattered, np.array(where), np.array(visits))
    joint_s = np.interp(laid, clock_quarter, clock_s)
    return Played(tuple(part for part in scattered if part.notes), *events, joint_s)


def _holds(score: ScoreNotes, bars: tuple[int, int], quarter: float) -> bool:
    """Whether a bar range contains a place of the score."""
    return bool(score.bar_start[bars[0]] - 1e-6 <= quarter < score.bar_start[bars[1]] - 1e-6)


def _events(
    parts: tuple[Part, ...], where: npt.NDArray[np.float64], visits: npt.NDArray[np.int64]
) -> tuple[
    npt.NDArray[np.float64], npt.NDArray[np.int64], npt.NDArray[np.float64], npt.NDArray[np.bool_]
]:
    """Gather notes written at one place into one event: place, visit, onset, sharpness."""
    onset_s = np.array([note.onset_s for part in parts for note in part.notes])
    sharp = np.array([part.program in SHARP_PROGRAMS for part in parts for _ in part.notes])
    places = np.column_stack([visits, np.round(where * GRID_PER_QUARTER)]).astype(np.int64)
    unique, event = np.unique(places, axis=0, return_inverse=True)
    event = event.reshape(-1)
    count = np.bincount(event)
    mean_s = np.bincount(event, weights=onset_s) / count
    any_sharp = np.bincount(event, weights=sharp) > 0
    order = np.argsort(mean_s, kind="stable")
    quarter = unique[:, 1] / GRID_PER_QUARTER
    return quarter[order], unique[order, 0], mean_s[order], any_sharp[order]


def _clock(
    performance: Performance, score: ScoreNotes, laid: npt.NDArray[np.float64]
) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Time in seconds for each quarter of the played form, as a table to interpolate in."""
    rng = np.random.default_rng(performance.seed)
    step = 1.0 / 24.0  # quarters
    quarter = np.arange(0.0, laid[-1] + step, step)
    quarter_s = 60.0 / (performance.movement.quarter_bpm * performance.tempo_ratio)
    curve = _smooth_walk(rng, len(quarter), step * quarter_s)
    slowness = quarter_s * np.exp(np.log1p(performance.rubato) * curve)
    bar_ends = np.concatenate(
        [
            score.bar_start[first + 1 : behind + 1] - score.bar_start[first] + laid[segment]
            for segment, (first, behind) in enumerate(performance.form)
        ]
    )
    inner = bar_ends[(bar_ends > 4.0) & (bar_ends < laid[-1] - 4.0)]
    held = rng.choice(inner, size=min(performance.fermatas, len(inner)), replace=False)
    for bar_end in held:
        slowness *= 1.0 + 0.5 * np.exp(-(((quarter - bar_end + 1.0) / 0.8) ** 2))  # the way there
        hold = (quarter >= bar_end - 0.5) & (quarter < bar_end)
        slowness[hold] += rng.uniform(0.4, 1.5) / 0.5
    clock_s = np.concatenate([[0.0], np.cumsum(0.5 * (slowness[1:] + slowness[:-1])) * step])
    return quarter, LEAD_S + clock_s


def _smooth_walk(rng: np.random.Generator, count: int, step_s: float) -> npt.NDArray[np.float64]:
    """A smooth random curve within -1 .. 1: phrases of about 10 s and beats of about 2 s."""
    total = np.zeros(count)
    for width_s, share in ((4.0, 1.0), (0.8, 0.35)):
        width = width_s / step_s
        noise = rng.standard_normal(count + int(8 * width))
        smooth = ndimage.gaussian_filter1d(noise, width)[int(4 * width) :][:count]
        total += share * (smooth - smooth.mean()) / max(float(smooth.std()), 1e-9)
    return np.asarray(total / max(float(np.abs(total).max()), 1e-9))


@dataclass(frozen=True)
class Stems:
    """Dry stems of a performance.

    Attributes
    ----------
    played
        What was played.
    samples
        By part name: (n,) float32 at `SAMPLE_RATE_HZ`.
    """

    played: Played
    samples: dict[str, npt.NDArray[np.float32]]


def render(performance: Performance, cache: Path | None = None) -> Stems:
    """Render the stems of a performance, or read them from the cache folder."""
    played = play(performance, cache)
    path = cache_folder(cache) / f"{performance.key}.npy"
    if not path.exists():
        rendered = [_render_mono(part, performance) for part in played.parts]
        length = max(len(stem) for stem in rendered)
        table = np.zeros((len(rendered), length), dtype=np.float32)
        for row, stem in zip(table, rendered, strict=True):
            row[: len(stem)] = stem
        unfinished = path.with_name(f"{performance.key}-{os.getpid()}.part.npy")
        np.save(unfinished, table)
        unfinished.replace(path)
    table = np.load(path, mmap_mode="r")
    return Stems(played, {part.name: row for part, row in zip(played.parts, table, strict=True)})


def _render_mono(part: Part, performance: Performance) -> npt.NDArray[np.float32]:
    silent = replace(part, pan=0.0, gain_db=0.0)
    stem = render_part(
        silent, performance.soundfont, SAMPLE_RATE_HZ, performance.tuning_cents, tail_s=TAIL_S
    )
    return np.asarray(stem.mean(axis=1), dtype=np.float32)
