"""How well are levels of unpitched percussion told? Half minutes of full scores, strokes changed.

``python -m tests.benchmarks.strokes SCORES [--set reporting] [--part 0/2] [--cache F] [--only W]``
plays passages in which percussion is written, and others with patterns of our own for instruments
that the scores lack, once as the reference (see :mod:`tests.benchmarks.symphonic`). Against it:
the same take with an instrument changed by 4 to 6 dB or as it is, the same with one and with two
things done to the whole, in another room, with another section changed besides, without the
instrument; the same players again; other instruments in another room. The score goes to the tool
as a MIDI file at another tempo. Truth is the K-weighted level of the dry stems, as in
:mod:`tests.benchmarks.parts`. Printed: errors of what is told, how often intervals hold, findings.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.elements.change import Change
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.score import LaidOver
from mixcompare.numerics import one_numeric_thread
from mixcompare.parts.heard import is_open
from mixcompare.parts.levels import levels_of
from mixcompare.parts.percussion import with_percussion
from mixcompare.parts.values import PartLevel, Players
from tests.benchmarks.corpus import cache_folder, read_notes
from tests.benchmarks.crossed import WHOLES
from tests.benchmarks.parts import (
    LEAST_DB,
    LIBRARIES,
    LONGER_S,
    SCATTER_MS,
    Case,
    again,
    laid,
    pair_of,
    spread,
    truth_of,
)
from tests.benchmarks.rendering import Note, Part, shift_notes, unisons_joined
from tests.benchmarks.symphonic import (
    BEGINS,
    DURATION_S,
    LEAD_S,
    QUARTERS_PER_MINUTE,
    Excerpt,
    last_quarter,
    over_scores,
    played,
    sections,
)
from tests.benchmarks.tails import (
    OWN_ROOM,
    ROOMS,
    SOUNDFONTS,
    Room,
    heard_in_own_room,
    heard_sections,
    take_of,
)

FloatArray = npt.NDArray[np.float64]

CHANGES_DB = (5.0, -4.0, 3.0, -6.0, 6.0, -3.0, 4.0, -5.0)
GONE_DB = -150.0
LEFT_OUT_IN_BOTH = "left out in both"
# General MIDI level 1, percussion key map.
KEYS = {"Bass Drum": 36, "Snare Drum": 38, "Cymbal": 49, "Tambourine": 54, "Triangle": 81}
ROLL_S = 0.07
GAINS_DB = {"Bass Drum": 4.0, "Snare Drum": -6.0, "Cymbal": 5.0, "Tambourine": -2.0,
            "Triangle": -5.0}  # fmt: skip


@dataclass(frozen=True)
class Passage:
    """Where percussion plays: written, or by a pattern of quarters that comes again.

    ``patterns``: by instrument, after how many quarters it comes again, and its strokes.
    """

    name: str
    begin_quarter: float | None = None
    patterns: Mapping[str, tuple[float, tuple[float, ...]]] | None = None


TUNING = (
    Passage("brahms_op98_3", 630.0),
    Passage("beethoven_op21_1", None, {"Bass Drum": (8.0, (0.0, 4.0, 6.0)),
                                       "Cymbal": (16.0, (0.0, 8.0, 13.0))}),
    Passage("haydn_104_1", None, {"Snare Drum": (8.0, (0.0, 2.5, 3.0, 6.0)),
                                  "Tambourine": (8.0, (1.0, 3.0, 4.0, 7.5))}),
)  # fmt: skip
"""For choosing constants. Not for reporting."""
REPORTING = (
    Passage("beach_op32_2", 226.0),
    Passage("beach_op32_2", 363.0),
    Passage("boulanger_matin", 323.0),
    Passage("boulanger_matin", 130.0),
    Passage("boulanger_matin", 504.0),
    Passage("brahms_op73_3", None, {"Bass Drum": (6.0, (0.0, 3.0)),
                                    "Triangle": (12.0, (0.0, 4.0, 5.0, 9.5))}),
    Passage("beethoven_op60_3", None, {"Snare Drum": (12.0, (0.0, 3.0, 6.5, 7.0)),
                                       "Cymbal": (24.0, (0.0, 9.0, 18.0))}),
)  # fmt: skip
"""For reporting figures. Never choose a constant by them."""


def written_strokes(name: str, scores: Path, cache: Path) -> dict[str, FloatArray]:
    """Quarter, length in quarters, and whether it is a roll, of every unpitched part's notes."""
    path = cache / f"strokes-{name}.npz"
    if not path.exists():
        from music21 import converter  # slow to import, and needed only where the cache is empty

        score: Any = converter.parse(str(scores / f"{name}.mxl")).toSoundingPitch()
        starts = read_notes(score).bar_start
        found = {str(part.partName): _unpitched(part, starts) for part in score.parts}
        np.savez(path, **{part: rows for part, rows in found.items() if len(rows)})
    with np.load(path) as stored:
        return {key: stored[key] for key in stored.files}


def _unpitched(part: Any, starts: FloatArray) -> FloatArray:
    rows = [
        (start + float(note.offset), float(note.duration.quarterLength),
         float(any(type(mark).__name__ in ("Tremolo", "Trill") for mark in note.expressions)))
        for start, bar in zip(starts[:-1], part.getElementsByClass("Measure"), strict=False)
        for note in bar.flatten().notes
        if type(note).__name__ in ("Unpitched", "PercussionChord")
        and not (note.tie and note.tie.type != "start")
        and note.duration.quarterLength > 0
    ]  # fmt: skip
    return np.unique(np.array(rows).reshape(-1, 3), axis=0)


def percussion(passage: Passage, scores: Path, cache: Path) -> list[Part]:
    """What plays without a pitch in a passage; rolls as fast strokes."""
    begin = _begin(passage, scores, cache)
    second = 60.0 / QUARTERS_PER_MINUTE[passage.name]
    if passage.patterns is None:
        rows = written_strokes(passage.name, scores, cache)
    else:
        bars = np.arange(0.0, DURATION_S / second, 1.0)
        rows = {
            name: np.array([(begin + bar + at, 0.5, 0.0) for bar in bars if bar % again_after == 0
                            for at in pattern])
            for name, (again_after, pattern) in passage.patterns.items()
        }  # fmt: skip
    rng = np.random.default_rng(len(passage.name))
    parts = []
    for seat, (name, own) in enumerate(rows.items()):
        onset_s = (own[:, 0] - begin) * second
        notes: list[Note] = []
        for at_s, (_, length, rolled) in zip(onset_s, own, strict=True):
            if not 0 <= at_s < DURATION_S - 1.0:
                continue
            velocity = int(rng.integers(76, 100))
            count = max(int(length * second / ROLL_S), 1) if rolled else 1
            notes += [Note(LEAD_S + float(at_s) + ROLL_S * step, 0.5 * ROLL_S if rolled else 0.3,
                           KEYS[name], velocity) for step in range(count)]  # fmt: skip
        if len(notes) >= 4:
            parts.append(Part(name, 0, tuple(notes), True, -0.4 + 0.5 * seat, GAINS_DB[name]))
    return parts


def _begin(passage: Passage, scores: Path, cache: Path) -> float:
    if passage.begin_quarter is not None:
        return passage.begin_quarter
    return BEGINS * last_quarter(passage.name, scores, cache)


def music_of(passage: Passage, number: int, scores: Path, cache: Path) -> Excerpt:
    """As written, and as played with some scatter."""
    begin = _begin(passage, scores, cache)
    parts = (*sections(passage.name, scores, cache, begin), *percussion(passage, scores, cache))
    scattered = shift_notes(unisons_joined(parts), SCATTER_MS, 0.0, number + 90)
    name = f"{passage.name}-struck"
    own = played(name, scattered, SOUNDFONTS[number % len(SOUNDFONTS)], cache, DURATION_S + LEAD_S)
    return Excerpt(parts, own.stems)


def cases(passage: Passage, number: int, music: Excerpt, cache: Path) -> Iterator[Case]:
    """All candidates of one passage."""
    own = SOUNDFONTS[number % len(SOUNDFONTS)]
    struck = [part.name for part in music.parts if part.percussion]
    others = [one for one in heard_sections(music) if one not in struck] or sorted(music.stems)
    libraries = [one for one in LIBRARIES if one != own]
    duration_s = DURATION_S + LONGER_S
    like = played(f"{passage.name}-like", again(music.parts, number + 1, 0.94, 15), own, cache,
                  duration_s)  # fmt: skip
    other = played(f"{passage.name}-other", again(music.parts, number + 2, 1.07, 20),
                   libraries[number % len(libraries)], cache, duration_s)  # fmt: skip
    sizes = itertools.cycle(np.roll(CHANGES_DB, -number).tolist())
    names = itertools.cycle(struck)

    def one() -> dict[str, float]:
        return {next(names): next(sizes)}

    def room(step: int) -> Room:
        return ROOMS[(number + step) % len(ROOMS)]

    by_name = {whole.name: whole for whole in WHOLES}

    def done(kind: str, changes_db: Mapping[str, float], *wholes: str) -> Case:
        return Case(kind, music, OWN_ROOM, changes_db, tuple(by_name[name] for name in wholes))

    beside = {others[number % len(others)]: 5.0 if number % 2 else -5.0}
    yield from (Case("one take", music, OWN_ROOM, one()) for _ in range(3))
    yield Case("one take, another section too", music, OWN_ROOM, one() | beside)
    yield Case("one take, unchanged", music, OWN_ROOM, beside)
    for whole in ("shelf up", "narrower", "compression", "codec", "gain"):
        yield done("one thing done to all", one(), whole)
    yield done("two things done to all", one(), "shelf down", "compression")
    yield done("two things done to all", one(), "shelf up", "wider")
    for step in (0, 1):
        wholes = ("shelf up", "compression") if step else ("shelf down", "codec")
        yield done("done to all, unchanged", {}, *wholes)
        yield Case("other tail", music, room(step), one())
    yield Case("other tail, another section too", music, room(2), one() | beside)
    yield Case("other tail and a shelf", music, room(3), one(), (by_name["shelf up"],))
    yield from (Case("other tail, unchanged", music, room(step), {}) for step in (3, 4))
    yield from (Case("like players", like, OWN_ROOM, changes) for changes in (one(), one()))
    yield Case("like players, another tail", like, room(0), one())
    yield from (Case("like players, unchanged", like, OWN_ROOM, some) for some in ({}, beside))
    yield Case("other library and room", other, ROOMS[1], one())
    yield Case("other library and room, unchanged", other, ROOMS[2], {})
    yield Case("left out", music, OWN_ROOM, {next(names): GONE_DB})
    yield Case(LEFT_OUT_IN_BOTH, music, OWN_ROOM, {next(names): GONE_DB})


@dataclass(frozen=True)
class Answer:
    """What was told of one candidate's percussion, and what is true."""

    case: Case
    told: tuple[PartLevel, ...]
    truth_db: Mapping[str, float]
    changes: tuple[tuple[Players, Change], ...]

    @property
    def false(self) -> list[str]:
        """Instruments that are listed and stand where they stood, or moved the other way."""
        return [
            name
            for players, change in self.changes
            for name in players.names
            if name in self.truth_db
            and (abs(self.truth_db[name]) < LEAST_DB
                 or self.truth_db[name] * change.difference_db < 0)
        ]  # fmt: skip

    @property
    def found(self) -> list[str]:
        """Instruments that moved, and are listed so."""
        return [
            name
            for name, truth_db in self.truth_db.items()
            if abs(truth_db) >= LEAST_DB
            and any(name in players.names and truth_db * change.difference_db > 0
                    for players, change in self.changes)
        ]  # fmt: skip


@one_numeric_thread
def answered(
    case: Case, music: Excerpt, reference: Features, over: LaidOver, scale: float
) -> Answer:
    """What is told of one candidate."""
    pair = pair_of(case, reference, over, scale)
    split = split_pair(pair)
    found = with_percussion(levels_of(pair, split), pair, split)
    assert found is not None
    struck = {part.name for part in music.parts if part.percussion}
    truth = truth_of(case, music)
    told = tuple(part for part in found.parts if part.name in struck)
    changes = tuple(zip(found.players, found.changes, strict=True))
    return Answer(case, told, {name: truth[name] for name in struck}, changes)


def answers(
    passages: Sequence[tuple[int, Passage]], scores: Path, cache: Path, only: str = ""
) -> Iterator[tuple[str, Answer]]:
    """Every candidate of every passage."""
    for number, passage in passages:
        music = music_of(passage, number, scores, cache)
        scale, take = take_of(music)
        reference = Features.of(take)
        over = laid(music, reference)
        for case in cases(passage, number, music, cache):
            if only not in f"{passage.name} {case.kind}":
                continue
            before = reference
            if case.kind == LEFT_OUT_IN_BOTH:
                before = heard_in_own_room(music, scale, case.changes_db)
            yield passage.name, answered(case, music, before, over, scale)


def report(found: Sequence[Answer]) -> str:
    """The figures as text, a line for each kind of candidate."""
    lines = []
    for kind in dict.fromkeys(answer.case.kind for answer in found):
        group = [answer for answer in found if answer.case.kind == kind]
        moved, still, held, asked, there, listed, wrong = [], [], [], 0, 0, 0, 0
        for answer in group:
            wrong += len(answer.false)
            there += sum(abs(truth) >= LEAST_DB for truth in answer.truth_db.values())
            listed += len(answer.found)
            for part in answer.told:
                asked += 1
                if part.level_db is None or part.level_db_interval is None:
                    continue
                truth = answer.truth_db[part.name]
                low, high = part.level_db_interval
                held.append(low <= truth <= high or is_open((low, high)) and truth < high)
                if truth > GONE_DB / 2:
                    (moved if part.name in answer.case.changes_db else still).append(
                        abs(part.level_db - truth)
                    )
        lines.append(
            f"{kind}: told {len(held)} of {asked}, error of the changed {spread(moved)}, of the"
            f" others {spread(still)} dB; held {np.mean(held) if held else 1:.2f}; listed {listed}"
            f" of {there}, wrongly {wrong}"
        )
    return "\n".join(lines)


def _done(case: Case) -> str:
    return f"({', '.join(whole.name for whole in case.wholes)})"


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__, by_pair=True).parse_args(arguments)
    share, shares = map(int, options.part.split("/"))
    passages = list(enumerate(TUNING if options.set == "tuning" else REPORTING))[share::shares]
    found = []
    for name, answer in answers(
        passages, options.scores, cache_folder(options.cache), options.only
    ):
        found.append(answer)
        for part in answer.told:
            told = part.reason
            if part.level_db is not None and part.level_db_interval is not None:
                low, high = part.level_db_interval
                told = f"{part.level_db:+.1f} ({low:.1f} to {high:.1f})"
            print(f"{name} {answer.case.kind} {_done(answer.case)}: {part.name} truly"
                  f" {answer.truth_db[part.name]:+.1f}, {told}", flush=True)  # fmt: skip
    print(report(found))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
