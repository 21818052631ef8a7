"""Tone between performances: a filter put on another playing of the same half minute of a score.

``python -m tests.benchmarks.tones SCORES [--set reporting] [--part 0/2] [--cache F]`` with SCORES a
folder of scores (see :mod:`tests.benchmarks.symphonic`). The other performance has notes scattered
in time (12 ms) and level (1 dB), another tempo and another room; the instruments are the same, or
those of another library. Printed: how often the bands' intervals hold the filter, how wide they
are in the middle, whether the filter is told, and what is told where there is none. The level that
was taken out is taken off the filter too: tone is judged against it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests import operations
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.rendering import mix, shift_notes
from tests.benchmarks.symphonic import (
    DURATION_S,
    LEAD_S,
    RATE_HZ,
    Excerpt,
    movements,
    over_scores,
    played,
    sections,
)
from tests.benchmarks.tails import OWN_ROOM, Room

FloatArray = npt.NDArray[np.float64]

SOUNDFONTS = ("FluidR3_GM.sf2", "TimGM6mb.sf2", "MuseScore_General_Full.sf2")
FILTERS: dict[str, operations.Filter | None] = {
    "none": None,
    "high shelf +4": operations.high_shelf(3000, 4),
    "high shelf -4": operations.high_shelf(3000, -4),
    "low shelf +4": operations.low_shelf(200, 4),
    "bell +5 at 1 kHz": operations.bell(1000, 5, 0.7),
    "bell -5 at 500 Hz": operations.bell(500, -5, 0.7),
}
SCATTER_MS, SCATTER_DB = 12.0, 1.0
OTHERS: tuple[tuple[str, int, float, Room], ...] = (
    ("like instruments", 0, 1.04, (1.4, -6.0, 2)),
    ("like instruments", 0, 0.96, (2.0, -4.0, 3)),
    ("other instruments", 1, 1.04, (1.4, -6.0, 2)),
)
_MIDDLE = (THIRD_OCTAVE_CENTRES_HZ > 450) & (THIRD_OCTAVE_CENTRES_HZ < 5000)


@dataclass(frozen=True)
class Told:
    """One pair and what tone says of it."""

    movement: str
    whose: str
    filtered: str
    held: npt.NDArray[np.bool_]
    half_db: FloatArray
    findings: tuple[Finding, ...]
    right: bool


def performed(
    name: str, scores: Path, cache: Path, soundfont: str, tempo: float, seed: int
) -> Excerpt:
    """Another playing of a passage; the written one for seed 0."""
    parts = sections(name, scores, cache)
    parts = tuple(
        replace(
            part,
            notes=tuple(
                replace(
                    note,
                    onset_s=LEAD_S + (note.onset_s - LEAD_S) / tempo,
                    duration_s=note.duration_s / tempo,
                )
                for note in part.notes
            ),
        )
        for part in parts
    )
    if seed:
        parts = shift_notes(parts, SCATTER_MS, SCATTER_DB, seed)
    return played(name, parts, soundfont, cache, DURATION_S / tempo + 2 * LEAD_S)


def answers(named: Sequence[tuple[int, str]], scores: Path, cache: Path) -> Iterator[Told]:
    """All pairs of all movements."""
    for number, name in named:
        fonts = [SOUNDFONTS[(number + step) % len(SOUNDFONTS)] for step in range(2)]
        own = _sound(performed(name, scores, cache, fonts[0], 1.0, 0), OWN_ROOM)
        reference = Features.of(Recording.from_array(own, RATE_HZ))
        for index, (whose, font, tempo, room) in enumerate(OTHERS):
            other = _sound(performed(name, scores, cache, fonts[font], tempo, 5 + index), room)
            for filtered, chosen in FILTERS.items():
                samples = chosen(other) if chosen else other
                candidate = Features.of(Recording.from_array(samples, RATE_HZ))
                results = analyse(reference, candidate, align(reference, candidate))
                made = results.measurements["tone"].difference
                known = np.array([value is not None for value in made.band_level_db])
                known &= np.asarray(made.audible)
                level = np.array([value or 0.0 for value in made.band_level_db])
                pairs = np.array([pair or (0.0, 0.0) for pair in made.band_level_db_interval])
                truth = chosen.response_db(THIRD_OCTAVE_CENTRES_HZ) if chosen else np.zeros(31)
                truth = truth + np.median((level - truth)[known & _MIDDLE])
                held = (pairs[:, 0] <= truth) & (truth <= pairs[:, 1])
                found = tuple(one for one in results.findings if one.aspect == "tone")
                yield Told(
                    name, whose, filtered, held[known], np.ptp(pairs[known & _MIDDLE], axis=1) / 2,
                    found, any(_is_it(one, truth) for one in found),
                )  # fmt: skip


def _sound(music: Excerpt, room: Room) -> FloatArray:
    samples = mix(music.stems, music.parts, *room, sample_rate_hz=RATE_HZ)
    return np.asarray(0.3 * samples / np.abs(samples).max())


def _is_it(found: Finding, truth_db: FloatArray) -> bool:
    """Whether a finding lies where the filter does most, and has its sign."""
    low, high = found.band_hz or (0.0, np.inf)
    peak = int(np.argmax(np.abs(truth_db - np.median(truth_db))))
    size = float((truth_db - np.median(truth_db))[peak])
    if found.unit != "dB":  # a tilt
        slope = float(np.polyfit(np.log2(THIRD_OCTAVE_CENTRES_HZ), truth_db, 1)[0])
        return found.difference * slope > 0
    inside = (low < THIRD_OCTAVE_CENTRES_HZ) & (high > THIRD_OCTAVE_CENTRES_HZ)
    there = float(np.mean((truth_db - np.median(truth_db))[inside])) if inside.any() else 0.0
    return found.difference * size > 0 and there * size > 0 and abs(there) > 0.4 * abs(size)


def report(told: Sequence[Told]) -> str:
    """The figures as text."""
    lines = []
    for whose in dict.fromkeys(one.whose for one in told):
        group = [one for one in told if one.whose == whose]
        held = np.concatenate([one.held for one in group])
        half = np.concatenate([one.half_db for one in group])
        lines.append(
            f"{whose}: intervals hold the filter in {held.mean():.1%} of {len(held)} bands; half"
            f" width in mid bands {np.median(half):.1f} dB median, {half.max():.1f} most"
        )
        for filtered in FILTERS:
            some = [one for one in group if one.filtered == filtered]
            words = (
                f"told in {sum(one.right for one in some)}"
                if filtered != "none"
                else f"tone told in {sum(bool(one.findings) for one in some)}"
            )
            lines.append(f"  {filtered}: {words} of {len(some)}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__).parse_args(arguments)
    told = []
    for one in answers(movements(options), options.scores, cache_folder(options.cache)):
        told.append(one)
        words = "; ".join(
            f"{f.kind} {f.difference:+.1f} ({f.interval[0]:.1f} to {f.interval[1]:.1f})"
            for f in one.findings
        )
        print(f"{one.movement}, {one.whose}, {one.filtered}: {words or '-'}", flush=True)
    print(report(told))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
