"""Sounding ratios that were played against those that are read, in several rooms.

``python -m tests.benchmarks.articulation [--set reporting] [--notes] [--each]``

A theme within the full orchestra: every note of it sounds for the same share of the time to the
next onset. Constants were chosen on the tuning movements; report figures of the others.
"""

from __future__ import annotations

import argparse
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.aspects import articulation
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.knowledge.notes import PartNotes
from mixcompare.pair.match import Match
from tests.benchmarks.corpus import cache_folder, load_score, movement_named
from tests.benchmarks.orchestration import ORCHESTRATIONS
from tests.benchmarks.passages import SOUNDFONTS
from tests.benchmarks.performances import SAMPLE_RATE_HZ, Performance, passage, play
from tests.benchmarks.rendering import Note, Part, mix, render_part, scale_durations
from tests.pairs import Remembering

analyzer = Remembering(articulation.analyzer)

FloatArray = npt.NDArray[np.float64]

PASSAGES = {
    "tuning": ("haydn1-1", "mozart155-1", "beethoven18-2", "haydn1-3"),
    "reporting": ("haydn74-1", "mozart156-1", "weber-1", "mozart458-3"),
}
RATIOS = (0.98, 0.85, 0.75, 0.5, 0.3)
ROOMS = {
    "RT 0.6 s, -9 dB": (0.6, -9.0),
    "RT 1.2 s, -6 dB": (1.2, -6.0),
    "RT 2.4 s, -3 dB": (2.4, -3.0),
    "RT 2.4 s, +3 dB": (2.4, 3.0),
}
VOICES = {True: "theme", False: "leading line"}
THEME_DB = 3.0
DURATION_S = 30.0


@dataclass(frozen=True)
class Reading:
    """One recording: what was played and what was read."""

    passage: str
    soundfont: int
    room: str
    seed: int
    ratio: float
    features: Features
    notes: PartNotes


def parts_of(name: str, seed: int, ratio: float, cache: Path) -> tuple[tuple[Part, ...], set[str]]:
    """The passage's parts, the theme's shortened; and which they are."""
    movement = movement_named(name)
    score = load_score(movement, cache)
    theme = {voice.name for voice in ORCHESTRATIONS[movement.orchestration] if voice.source == 0}
    for number in range(4):  # a concerto's first half minute may leave the soloist out
        bars = passage(score, movement, DURATION_S, number)
        parts = play(Performance(movement, (bars,), "", seed, rubato=0.04), cache).parts
        if max((len(part.notes) for part in parts if part.name in theme), default=0) >= 20:
            break
    out = []
    for part in parts:
        if part.name in theme:
            part = scale_durations(part, ratio, keep_rests=True)
            part = replace(part, gain_db=part.gain_db + THEME_DB)
        out.append(part)
    return tuple(out), theme


def rendered(part: Part, soundfont: str, cache: Path) -> FloatArray:
    """A dry stem, from the cache if it was made before."""
    key = hashlib.sha256(f"{part.program} {part.notes!r} {soundfont}".encode()).hexdigest()[:20]
    path = cache / f"stem-{key}.npy"
    if not path.exists():
        stem = render_part(replace(part, pan=0.0, gain_db=0.0), soundfont, tail_s=2.5)
        np.save(path, stem.mean(axis=1).astype(np.float32))
    return np.asarray(np.load(path), np.float64)


def reading(name: str, soundfont: int, room: str, ratio: float, seed: int, cache: Path) -> Reading:
    """Render one recording of a passage."""
    parts, theme = parts_of(name, seed, ratio, cache)
    stems = {part.name: rendered(part, SOUNDFONTS[soundfont], cache) for part in parts}
    samples = mix(stems, parts, *ROOMS[room], seed)
    samples *= 0.5 / np.abs(samples).max()
    features = Features.of(Recording.from_array(samples, SAMPLE_RATE_HZ))
    return Reading(name, soundfont, room, seed, ratio, features, note_list(parts, theme))


def note_list(parts: Sequence[Part], theme: set[str]) -> PartNotes:
    """The theme's notes as a score tells them, and what else sounds."""
    first = next(part for part in parts if part.name in theme)
    others = [note for part in parts if part.name not in theme for note in part.notes]

    def table(notes: Sequence[Note]) -> FloatArray:
        rows = [(note.onset_s, note.end_s, note.pitch) for note in notes]
        return np.array(sorted(rows), np.float64).reshape(-1, 3)

    return PartNotes("theme", table(first.notes), table(others))


def match_of(reference: Reading, candidate: Reading, with_notes: bool) -> Match:
    """Aligned as the tool does it; with the reference's note list if asked."""
    alignment = align(reference.features, candidate.features)
    return Match(
        time_map=alignment.time_map,
        same_take=alignment.same_take,
        tuning_cents=alignment.tuning_cents,
        transposition_semitones=alignment.transposition_semitones,
        parts=(reference.notes,) if with_notes else (),
    )


def report_ratios(names: Sequence[str], with_notes: bool, each: bool, cache: Path) -> str:
    """Error of the ratio in single recordings, and differences told apart, by room."""
    lines = []
    for room in ROOMS:
        errors: list[float] = []
        told: dict[float, list[bool]] = {ratio: [] for ratio in RATIOS[1:]}
        gaps: list[float] = []
        held: list[bool] = []
        untold = 0
        for name in names:
            for soundfont in (0, 1):
                legato = reading(name, soundfont, room, RATIOS[0], 1, cache)
                for ratio in RATIOS:
                    other = reading(name, soundfont, room, ratio, 2, cache)
                    found = analyzer.compare(
                        legato.features, other.features, match_of(legato, other, with_notes)
                    )
                    voice = next(v for v in found.voices if v.name == VOICES[with_notes])
                    value = voice.candidate_ratio
                    if value is None:
                        untold += 1
                        if ratio != RATIOS[0]:
                            told[ratio].append(False)
                        continue
                    errors.append(value - ratio)
                    change, truth = voice.sounding_ratio or 0.0, ratio - RATIOS[0]
                    gaps.append(change - truth)
                    low, high = voice.sounding_ratio_interval or (-1.0, 1.0)
                    held.append(low <= truth <= high)
                    if ratio != RATIOS[0]:
                        told[ratio].append(high < 0)
                    if each:
                        print(
                            f"{room}, {name}, {SOUNDFONTS[soundfont][:5]}, {ratio}: read"
                            f" {value:.2f}, change {change:+.2f} ({low:+.2f} to {high:+.2f}),"
                            f" {voice.notes} notes",
                            flush=True,
                        )
        apart = ", ".join(f"{r}: {sum(t)}/{len(t)}" for r, t in told.items())
        lines.append(
            f"{room}: ratio mean |error| {np.mean(np.abs(errors)):.3f}, bias"
            f" {np.mean(errors):+.3f}; change mean |error| {np.mean(np.abs(gaps)):.3f}, interval"
            f" holds {np.mean(held):.0%}; told from 0.98 - {apart}; can't tell {untold}"
        )
    return "\n".join(lines)


def report_nulls(names: Sequence[str], with_notes: bool, cache: Path) -> str:
    """The same manner in two rooms: findings that should not be."""
    rooms = list(ROOMS)
    false = pairs = 0
    words = []
    for name in names:
        for soundfont in (0, 1):
            for ratio in (0.98, 0.75):
                for one, other in ((0, 2), (1, 3), (2, 0)):
                    a = reading(name, soundfont, rooms[one], ratio, 1, cache)
                    b = reading(name, soundfont, rooms[other], ratio, 2, cache)
                    found = analyzer.compare(a.features, b.features, match_of(a, b, with_notes))
                    pairs += 1
                    reported = analyzer.findings(found)
                    if reported:
                        false += 1
                        words.append(
                            f"  {name}, {SOUNDFONTS[soundfont][:5]}, {ratio}: {reported[0].text}"
                        )
    return "\n".join([f"same manner, other room: {false} of {pairs} with a finding", *words])


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the benchmark and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--set", choices=sorted(PASSAGES), default="reporting")
    parser.add_argument("--passages", nargs="*", help="only these movements")
    parser.add_argument("--notes", action="store_true", help="with the theme's note list")
    parser.add_argument("--nulls", action="store_true", help="only pairs with nothing changed")
    parser.add_argument("--cache", type=Path)
    parser.add_argument("--each", action="store_true", help="a line for every pair")
    options = parser.parse_args(arguments)
    names = options.passages or PASSAGES[options.set]
    cache = cache_folder(options.cache)
    if not options.nulls:
        print(report_ratios(names, options.notes, options.each, cache))
    print(report_nulls(names, options.notes, cache))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
