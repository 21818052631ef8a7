"""One take under another tail: which section changed, by how much, and silence where none did.

``python -m tests.benchmarks.tails SCORES [--set reporting] [--part 0/2] [--cache F]`` with SCORES a
folder of scores (see :mod:`tests.benchmarks.symphonic`). For every movement two unchanged pairs and
three with one section changed, in rooms that take turns; a section counts where it is heard at all
(its dry level within 12 dB of the whole). Printed: found with the right sign on its own cells,
sizes, how often the interval holds the truth, false elements, seconds of one core.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.timemap import sample_frames
from mixcompare.audio.recording import Recording
from mixcompare.elements.take import split_pair
from mixcompare.features import SEMITONE_RATE_HZ, Features
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.rendering import mix, shift_notes, unisons_joined
from tests.benchmarks.symphonic import (
    DURATION_S,
    LEAD_S,
    RATE_HZ,
    Excerpt,
    excerpt,
    movements,
    over_scores,
    played,
    sections,
)

FloatArray = npt.NDArray[np.float64]
Room = tuple[float, float, int]

OWN_ROOM: Room = (1.4, -6.0, 1)
ROOMS: tuple[Room, ...] = (
    (1.4, -6.0, 2), (2.0, -4.0, 3), (1.0, -7.0, 4), (2.2, 0.0, 5), (0.6, -12.0, 6),
)  # fmt: skip
CHANGES_DB = (5.0, -5.0, 4.0, -4.0, 6.0, 3.0, -6.0, -3.0)
SOUNDFONTS = ("FluidR3_GM.sf2", "TimGM6mb.sf2", "FluidR3_GM.sf2", "MuseScore_General_Full.sf2")
HEARD_DB = -12.0
SCATTER_MS = 10.0  # of players about what is written
OWN_CELLS = 0.4
"""Cosine of root energies, found against true: more is the section's own cells."""


@dataclass(frozen=True)
class Told:
    """One pair and what was found in it."""

    movement: str
    section: str | None
    change_db: float
    room: Room
    scatter_db: float
    one_tail: bool
    found: tuple[tuple[float, tuple[float, float], float], ...]
    cpu_s: float

    @property
    def right(self) -> tuple[float, tuple[float, float], float] | None:
        """Size, interval and likeness of the element that is the changed section."""
        fits = [f for f in self.found if f[0] * self.change_db > 0 and f[2] > OWN_CELLS]
        return max(fits, key=lambda f: f[2]) if fits else None


def answers(names: Sequence[str], scores: Path, cache: Path) -> Iterator[Told]:
    """Two unchanged and three changed pairs of every movement."""
    for number, name in enumerate(names):
        music = excerpt(name, scores, SOUNDFONTS[number % len(SOUNDFONTS)], cache)
        reference = _features(music, OWN_ROOM)
        heard = heard_sections(music)
        picked = np.random.default_rng(number).permutation(len(heard))
        for index in range(5):
            room = ROOMS[(number + index) % len(ROOMS)]
            section = heard[picked[index % len(heard)]] if index >= 2 else None
            change_db = CHANGES_DB[(3 * number + index) % len(CHANGES_DB)] if section else 0.0
            candidate = _features(music, room, {section: change_db} if section else {})
            yield _told(name, music, (reference, candidate), (section, change_db, room))


@one_numeric_thread
def _told(
    name: str,
    music: Excerpt,
    sounding: tuple[Features, Features],
    done: tuple[str | None, float, Room],
) -> Told:
    pair = aligned(*sounding, align(*sounding))
    pair = pair.with_gain(match_level(pair).gain_db)
    began = time.process_time()
    split = split_pair(pair)
    cpu_s = time.process_time() - began
    truth = _alone(music, done[0]) if done[0] else None
    found = tuple(
        (change.difference_db, change.interval, _alike(change.energy, truth, pair))
        for change in split.changes
    )
    return Told(name, *done, split.scatter_db, split.one_tail, found, cpu_s)


def _features(music: Excerpt, room: Room, gains_db: dict[str, float] | None = None) -> Features:
    samples = mix(music.stems, music.parts, *room, gains_db, sample_rate_hz=RATE_HZ)
    return Features.of(Recording.from_array(0.3 * samples, RATE_HZ))


def in_own_room(
    named: Sequence[tuple[int, str]], scores: Path, cache: Path
) -> Iterator[tuple[int, str, Excerpt, float, Features]]:
    """Movements of a set: number, name, sections, the scale that suits both, and the reference."""
    for number, name in named:
        music = scattered(number, name, scores, cache)
        scale, take = take_of(music)
        yield number, name, music, scale, Features.of(take)


def scattered(number: int, name: str, scores: Path, cache: Path) -> Excerpt:
    """The parts as written, the sections as players play them: not quite together.

    In unison and in phase they would be up to 3 dB louder than they ever are.
    """
    written = sections(name, scores, cache)
    parts = shift_notes(unisons_joined(written), SCATTER_MS, 0.0, number + 90)
    soundfont = SOUNDFONTS[number % len(SOUNDFONTS)]
    own = played(f"{name}-own", parts, soundfont, cache, DURATION_S + LEAD_S)
    return Excerpt(written, own.stems)


def take_of(music: Excerpt) -> tuple[float, Recording]:
    """All sections in their own room, and the scale that suits them."""
    take = mix(music.stems, music.parts, *OWN_ROOM, sample_rate_hz=RATE_HZ)
    scale = 0.3 / float(np.abs(take).max())
    return scale, Recording.from_array(scale * take, RATE_HZ)


def heard_in_own_room(
    music: Excerpt, scale: float, gains_db: Mapping[str, float] | None = None
) -> Features:
    """One mix of the sections."""
    gains = dict(gains_db or {})
    samples = mix(music.stems, music.parts, *OWN_ROOM, gains, sample_rate_hz=RATE_HZ)
    return Features.of(Recording.from_array(scale * samples, RATE_HZ))


def heard_sections(music: Excerpt) -> list[str]:
    """Sections whose dry level lies within 12 dB of the whole."""
    gains_db = {part.name: part.gain_db for part in music.parts}
    power = {
        name: 10 ** (gains_db[name] / 10) * float(np.square(stem).mean())
        for name, stem in music.stems.items()
    }
    least = 10 ** (HEARD_DB / 10) * sum(power.values())
    return [name for name, value in power.items() if value > least]


def _alone(music: Excerpt, section: str) -> npt.NDArray[np.float32]:
    """The section's own semitones in the reference's room."""
    alone = {name: stem * (name == section) for name, stem in music.stems.items()}
    return _features(Excerpt(music.parts, alone), OWN_ROOM).semitone_power


def _alike(energy: FloatArray, truth: npt.NDArray[np.float32] | None, pair: Pair) -> float:
    if truth is None:
        return 0.0
    grid_hz = 440 * 2 ** ((np.arange(28, 113) - 69) / 12)  # MIDI 28 to 112
    cells = sample_frames(truth, SEMITONE_RATE_HZ, pair.of_elements.times_s)
    bands = np.abs(np.log2(grid_hz[:, None] / pair.of_elements.centre_hz)).argmin(axis=1)
    one = np.sqrt(np.maximum(energy[:, bands], 0)).ravel()
    other = np.sqrt(cells).ravel()
    return float(one @ other / (np.linalg.norm(one) * np.linalg.norm(other) + 1e-30))


def report(told: Sequence[Told]) -> str:
    """The figures as text."""
    lines = []
    for words, least, most in (("5 dB or more", 4.5, 9.0), ("4 dB", 3.5, 4.5), ("3 dB", 1.0, 3.5)):
        group = [one for one in told if least <= abs(one.change_db) < most]
        found = sum(one.right is not None for one in group)
        lines.append(f"{words}: found {found} of {len(group)}")
    right = [(one.change_db, one.right) for one in told if one.right]
    if right:
        errors = np.array([abs(found[0]) - abs(truth) for truth, found in right])
        held = [found[1][0] <= truth <= found[1][1] for truth, found in right]
        lines.append(
            f"size error {np.median(np.abs(errors)):.2f} dB median,"
            f" {np.percentile(np.abs(errors), 90):.2f} at the 90th percentile,"
            f" bias {np.median(errors):+.2f}; interval holds the truth in {sum(held)} of"
            f" {len(held)}"
        )
    quiet = [one for one in told if one.section is None]
    lines.append(f"false: {sum(bool(one.found) for one in quiet)} of {len(quiet)} unchanged pairs")
    wrong = sum(len(one.found) - (one.right is not None) for one in told if one.section)
    lines.append(f"further or wrong elements in changed pairs: {wrong}")
    lines.append(f"seconds of one core a pair: median {np.median([o.cpu_s for o in told]):.1f}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__).parse_args(arguments)
    names = [name for _, name in movements(options)]
    told = []
    for one in answers(names, options.scores, cache_folder(options.cache)):
        told.append(one)
        sizes = "; ".join(
            f"{size:+.1f} ({low:.1f} to {high:.1f}), likeness {alike:.2f}"
            for size, (low, high), alike in one.found
        )
        mark = "+" if one.right else "!" if one.found else "."
        print(
            f"{mark} {one.movement} {one.section or 'nothing'} {one.change_db:+.0f} in {one.room}:"
            f" {sizes or '-'}; scatter {one.scatter_db:.2f}"
            f"{' under one tail' if one.one_tail else ''}, {one.cpu_s:.1f} s",
            flush=True,
        )
    print(report(told))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
