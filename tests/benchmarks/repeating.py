"""A repeating figure that another performance plays too loud or too soft: found, sizes, false ones.

``python -m tests.benchmarks.repeating SCORES [--set reporting] [--part 0/2] [--cache F]``
with SCORES a folder of scores (see :mod:`tests.benchmarks.symphonic`). Every passage of
:mod:`tests.benchmarks.repeating_scenes` against itself: other players of the same library in its
own and in another room, other instruments in two other rooms, always at another tempo, with the
figure up, down and unchanged; and where something else changed: the melody up, a shelf, a wetter
hall.
``--mirrored`` compares every pair in which the figure was found the other way round as well.
Truth is the gain that was set. Other libraries make sections louder and softer besides: of what was
told beyond it, how much a section of that range stands so is counted apart.
"""

from __future__ import annotations

import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.aspects.balance.values import AGAINST
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.numerics import one_numeric_thread
from tests.aspects.stereo_music import filtered
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.elements import element_band_hz, overlap
from tests.benchmarks.parts import LEAST_DB, k_level_db
from tests.benchmarks.rendering import mix
from tests.benchmarks.repeating_scenes import (
    REPORTING,
    TUNING,
    Figure,
    first_performance,
    melody_of,
    performance,
    written_parts,
)
from tests.benchmarks.scenes import Stems
from tests.benchmarks.symphonic import RATE_HZ, Excerpt, over_scores
from tests.benchmarks.tails import OWN_ROOM, ROOMS, Room

FloatArray = npt.NDArray[np.float64]

LIBRARIES = ("FluidR3_GM.sf2", "TimGM6mb.sf2", "MuseScore_General_Full.sf2")
UP_DB = (6.0, 5.0)
DOWN_DB = -5.0
MELODY_DB = 6.0
SHELF_DB = (4.0, -4.0)
WETTER: Room = (2.2, 0.0, 7)
LIKE, OTHER = "like players", "other library and room"


@dataclass(frozen=True)
class Case:
    """One candidate.

    Attributes
    ----------
    group : str
        Who plays.
    figure_db, melody_db, shelf_db : float
        What was done.
    room : Room
    """

    group: str
    figure_db: float = 0.0
    melody_db: float = 0.0
    shelf_db: float = 0.0
    room: Room = OWN_ROOM

    @property
    def name(self) -> str:
        done = [f"{word} {size:+g}" for word, size in (
            ("figure", self.figure_db), ("melody", self.melody_db), ("shelf", self.shelf_db)
        ) if size]  # fmt: skip
        return f"{self.group}, {' '.join(done) or 'unchanged'}, room {self.room[2]}"


@dataclass(frozen=True)
class Answer:
    """What was told of one candidate; ``mirrored`` with the roles exchanged.

    ``stands`` holds every section's level against the middle one, in the other library, and its
    range.
    """

    figure: Figure
    case: Case
    findings: tuple[Finding, ...]
    band_hz: tuple[float, float]
    melody_band_hz: tuple[float, float]
    cpu_s: float
    stands: tuple[tuple[float, tuple[float, float]], ...] = ()
    mirrored: tuple[Finding, ...] | None = None

    @property
    def balance(self) -> tuple[Finding, ...]:
        """What was told of balance, first things first."""
        return tuple(finding for finding in self.findings if finding.aspect == "balance")

    def fits(self, finding: Finding) -> bool:
        """Whether a finding is the change that was made, in the range of what was changed."""
        size = self.case.figure_db or self.case.melody_db
        band = self.band_hz if self.case.figure_db else self.melody_band_hz
        return bool(
            finding.difference * size > 0
            and finding.band_hz is not None
            and overlap(finding.band_hz, band) > 0.5
            or size != 0
            and finding.subject.endswith(AGAINST)
        )

    @property
    def found(self) -> Finding | None:
        """The finding that is the figure's change."""
        right = [finding for finding in self.balance if self.fits(finding)]
        return right[0] if right and self.case.figure_db else None

    @property
    def false(self) -> tuple[Finding, ...]:
        """What was told of balance that was not done."""
        return tuple(finding for finding in self.balance if not self.fits(finding))

    def of_library(self, finding: Finding) -> bool:
        """Whether a section of that range is as much louder or softer in the other library."""
        low, high = finding.interval
        return any(
            level_db * finding.difference > 0
            and abs(level_db) >= LEAST_DB
            and low <= level_db <= high
            and finding.band_hz is not None
            and overlap(finding.band_hz, band_hz) > 0.5
            for level_db, band_hz in self.stands
        )


def cases(number: int) -> tuple[Case, ...]:
    """All candidates of one passage."""
    up_db = UP_DB[number % 2]
    near, first, second = ROOMS[number % 3], ROOMS[(number + 1) % 3], ROOMS[(number + 2) % 3]
    return (
        Case(LIKE, up_db),
        Case(LIKE, DOWN_DB),
        Case(LIKE),
        Case(LIKE, up_db, room=near),
        Case(LIKE, room=near),
        Case(OTHER, up_db, room=first),
        Case(OTHER, DOWN_DB, room=second),
        Case(OTHER, room=first),
        Case(LIKE, melody_db=MELODY_DB),
        Case(LIKE, shelf_db=SHELF_DB[number % 2]),
        Case(LIKE, room=WETTER),
    )


def pairs(
    figure: Figure, number: int, scores: Path, cache: Path
) -> Iterator[tuple[Case, Features, Features, Excerpt, Excerpt]]:
    """Reference and candidate of every case, and their stems."""
    soundfont = LIBRARIES[number % 2]
    others = [one for one in LIBRARIES if one != soundfont]
    parts = written_parts(figure, scores, cache)
    music = first_performance(figure, parts, soundfont, cache)
    slower, faster = (0.95, 1.05) if number % 2 else (1.05, 0.95)
    by_group = {
        LIKE: performance(figure, parts, music, number + 1, slower, 15, soundfont, cache),
        OTHER: performance(
            figure, parts, music, number + 2, faster, 20, others[number // 2 % 2], cache
        ),
    }
    melody = melody_of(figure, music)
    take = mix(music.stems, music.parts, *OWN_ROOM, sample_rate_hz=RATE_HZ)
    scale = 0.3 / float(np.abs(take).max())
    reference = _features(scale * take)
    for case in cases(number):
        one = by_group[case.group]
        gains = {name: case.figure_db for name in figure.names} | {melody: case.melody_db}
        samples = scale * mix(one.stems, one.parts, *case.room, gains, sample_rate_hz=RATE_HZ)
        if case.shelf_db:
            shelf = ("high_shelf", 2000.0, case.shelf_db, float(np.sqrt(0.5)))
            samples = filtered(samples, shelf, rate_hz=RATE_HZ)
        yield case, reference, _features(samples), music, one


def _features(samples: FloatArray) -> Features:
    peak = float(np.abs(samples).max())
    return Features.of(Recording.from_array(samples * min(1.0, 0.9 / peak), RATE_HZ))


@one_numeric_thread
def _answer(
    figure: Figure,
    case: Case,
    reference: Features,
    candidate: Features,
    music: Excerpt,
    played: Excerpt,
    mirrored: bool,
) -> Answer:
    begin = time.process_time()
    told = analyse(reference, candidate, align(reference, candidate)).findings
    cpu_s = time.process_time() - begin
    longest = max(map(len, music.stems.values()))
    padded = {name: np.pad(stem, (0, longest - len(stem))) for name, stem in music.stems.items()}
    stems = Stems(padded, music.parts)
    bands = (element_band_hz(stems, names) for names in (figure.names, (melody_of(figure, music),)))
    answer = Answer(figure, case, told, *bands, cpu_s, _stands(stems, played))
    if mirrored and answer.found:
        back = analyse(candidate, reference, align(candidate, reference)).findings
        answer = replace(answer, mirrored=back)
    return answer


def _stands(stems: Stems, played: Excerpt) -> tuple[tuple[float, tuple[float, float]], ...]:
    """Level and range of every section of another performance."""
    level_db = {
        name: k_level_db(stem) - k_level_db(stems.samples[name])
        for name, stem in played.stems.items()
    }
    middle_db = float(np.median(list(level_db.values())))
    return tuple(
        (level - middle_db, element_band_hz(stems, (name,))) for name, level in level_db.items()
    )


def answers(
    numbered: Sequence[tuple[int, Figure]], scores: Path, cache: Path, mirrored: bool, only: str
) -> Iterator[Answer]:
    """Every candidate of every passage."""
    for number, figure in numbered:
        for case, *pair in pairs(figure, number, scores, cache):
            if only in f"{figure.name} {case.name}":
                yield _answer(figure, case, *pair, mirrored)


def report(told: Sequence[Answer]) -> str:
    """The figures as text, a line for each group."""
    lines = []
    for group in (LIKE, OTHER):
        changed = [one for one in told if one.case.group == group and one.case.figure_db]
        found = [(one, one.found) for one in changed if one.found]
        first = sum(one.fits(one.balance[0]) for one, _ in found)
        errors = [abs(finding.difference - one.case.figure_db) for one, finding in found]
        held = sum(
            finding.interval[0] <= one.case.figure_db <= finding.interval[1]
            for one, finding in found
        )
        wrong = sum(len(one.false) for one in changed)
        lines.append(
            f"{group}: found {len(found)} of {len(changed)}, first of balance {first}, size error"
            f" {np.median(errors) if errors else np.nan:.1f} dB median"
            f" {max(errors, default=np.nan):.1f} most, within 2 dB"
            f" {sum(error <= 2 for error in errors)}, interval holds {held}, wrong besides {wrong}"
        )
    besides = [(one, finding) for one in told for finding in one.false]
    of_library = sum(
        one.case.group == OTHER and one.of_library(finding) for one, finding in besides
    )
    lines.append(f"told besides: {len(besides)}, so much the library's: {of_library}")
    controls = [one for one in told if not one.case.figure_db]
    loud = [one for one in controls if one.false]
    lines.append(
        f"controls: {len(controls)}, with a false finding of balance {len(loud)}:"
        f" {'; '.join(f'{one.figure.name}, {one.case.name}' for one in loud) or '-'}"
    )
    both = [one for one in told if one.mirrored is not None and one.found]
    agree = sum(_mirror_agrees(one) for one in both)
    if both:
        lines.append(f"mirrored: {agree} of {len(both)} within the intervals")
    lines.append(f"seconds of one core a pair: {np.median([one.cpu_s for one in told]):.1f}")
    return "\n".join(lines)


def _mirror_agrees(one: Answer) -> bool:
    """Whether the other way round the same change is told with the other sign."""
    assert one.found is not None
    assert one.mirrored is not None
    low, high = one.found.interval
    return any(
        other.aspect == "balance"
        and other.difference * one.found.difference < 0
        and max(low, -other.interval[1]) <= min(high, -other.interval[0])
        for other in one.mirrored
    )


def _words(findings: Sequence[Finding]) -> str:
    return "; ".join(
        f"{f.kind} {f.difference:+.1f} ({f.interval[0]:.1f} to {f.interval[1]:.1f}) [{f.subject}]"
        for f in findings
        if f.aspect == "balance"
    ) or "-"  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    parser = over_scores(__doc__)
    parser.add_argument("--only", default="", help="pairs with this in passage and case")
    parser.add_argument("--mirrored", action="store_true", help="the other way round as well")
    options = parser.parse_args(arguments)
    share, shares = map(int, options.part.split("/"))
    figures = list(enumerate(TUNING if options.set == "tuning" else REPORTING))[share::shares]
    told = []
    cache = cache_folder(options.cache)
    for one in answers(figures, options.scores, cache, options.mirrored, options.only):
        told.append(one)
        mark = ("+" if one.found else ".") if one.case.figure_db else "="
        back = f" | mirrored {_words(one.mirrored)}" if one.mirrored is not None else ""
        print(f"{mark}{len(one.false)} {one.figure.name}, {one.case.name}:"
              f" {_words(one.findings)}{back}", flush=True)  # fmt: skip
    print(report(told))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
