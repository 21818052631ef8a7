"""How well are the levels of written parts told? Half minutes of full scores, one or two changed.

``python -m tests.benchmarks.parts SCORES [--set reporting] [--part 0/2] [--cache F] [--only WORD]``
plays every movement once as the reference (see :mod:`tests.benchmarks.symphonic`), and against it:
the same take with a section changed by 4 to 6 dB, with two, in another room, with something done to
the whole; the same players again, a little slower; other instruments in another room; and some of
these with a score that lacks the changed section, which then is nobody's. The score goes to the
tool as a MIDI file at another tempo; where it lies in the recording the tool finds itself. Truth is
the K-weighted level of the dry stems; between libraries that includes how loud each library makes
each instrument. Printed: the sections that were found, and the error of all.
"""

from __future__ import annotations

import itertools
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import ndimage, signal

from mixcompare.alignment import align
from mixcompare.aspects.balance.words import players_named
from mixcompare.audio.recording import Recording
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.score import LaidOver, Score
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.parts.levels import levels_of
from mixcompare.parts.values import Levels
from mixcompare.standards.bs1770 import k_weighting_sos
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.crossed import WHOLES, Whole
from tests.benchmarks.rendering import (
    Note,
    Part,
    mix,
    shift_notes,
    tempo_map,
    unisons_joined,
    write_midi,
)
from tests.benchmarks.symphonic import (
    DURATION_S,
    LEAD_S,
    RATE_HZ,
    Excerpt,
    movements,
    over_scores,
    played,
)
from tests.benchmarks.tails import (
    OWN_ROOM,
    ROOMS,
    SOUNDFONTS,
    Room,
    heard_sections,
    in_own_room,
)

FloatArray = npt.NDArray[np.float64]

CHANGES_DB = (5.0, -5.0, 4.0, -4.0, 6.0, -6.0)
LIBRARIES = ("FluidR3_GM.sf2", "TimGM6mb.sf2", "MuseScore_General_Full.sf2")
HEARD_DB = -20.0  # against the loudest section; softer ones are not asked for
LEAST_DB = 1.0  # the just-noticeable difference of balance
LONGER_S = 9.5  # room for a slower performance


@dataclass(frozen=True)
class Case:
    """One candidate: its kind, how it is played and where, what changed, what the score lacks."""

    kind: str
    played: Excerpt
    room: Room
    changes_db: Mapping[str, float]
    wholes: tuple[Whole, ...] = ()
    lacks: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Answer:
    """What was told of one candidate, and what is true, by section."""

    case: Case
    levels: Levels
    truth_db: Mapping[str, float]
    heard: frozenset[str]


def again(parts: Sequence[Part], seed: int, tempo: float, scatter_ms: float) -> tuple[Part, ...]:
    """The same notes played once more, with a tempo that breathes by 4 %."""
    rng = np.random.default_rng(seed)
    step_s = 0.05
    walk = ndimage.gaussian_filter1d(rng.standard_normal(1200), 40)
    slower = np.exp(0.04 * walk / np.abs(walk).max()) / tempo
    clock_s = LEAD_S + np.concatenate([[0.0], np.cumsum(slower[:-1]) * step_s])
    written_s = np.arange(len(slower)) * step_s
    # What the reference breaks off is not played on either, for the truth to be of the same notes.
    parts = [replace(part, notes=tuple(map(_cut, part.notes))) for part in unisons_joined(parts)]
    scattered = shift_notes(parts, scatter_ms, 1.0, seed)
    return tempo_map(scattered, lambda s: float(np.interp(s - LEAD_S, written_s, clock_s)))


def _cut(note: Note) -> Note:
    return replace(note, duration_s=min(note.duration_s, DURATION_S + LEAD_S - note.onset_s))


def cases(name: str, number: int, music: Excerpt, cache: Path, soundfont: str) -> Iterator[Case]:
    """All candidates of one movement."""
    by_name = {whole.name: whole for whole in WHOLES}
    rng = np.random.default_rng(number + 50)
    sections = itertools.cycle(str(one) for one in rng.permutation(heard_sections(music)))
    sizes = itertools.cycle(np.roll(CHANGES_DB, -number).tolist())
    duration_s = DURATION_S + LONGER_S
    like = played(f"{name}-like", again(music.parts, number + 1, 0.94, 15), soundfont, cache,
                  duration_s)  # fmt: skip
    others = [one for one in LIBRARIES if one != soundfont]
    other = played(f"{name}-other", again(music.parts, number + 2, 1.07, 20),
                   others[number % len(others)], cache, duration_s)  # fmt: skip

    def one() -> dict[str, float]:
        return {next(sections): next(sizes)}

    def room(step: int) -> Room:
        return ROOMS[(number + step) % len(ROOMS)]

    yield from (Case("one take", music, OWN_ROOM, one()) for _ in range(2))
    yield Case("one take", music, OWN_ROOM, one() | one())
    yield from (Case("other tail", music, room(step), one()) for step in (0, 2))
    yield Case("other tail", music, room(3), {})
    for changes, names in ((one(), ("shelf up", "narrower")), (one(), ("compression", "codec")),
                           ({}, ("shelf down", "compression"))):  # fmt: skip
        yield Case("done to all", music, OWN_ROOM, changes, tuple(by_name[n] for n in names))
    yield from (Case("like players", like, OWN_ROOM, changes) for changes in (one(), one(), {}))
    for step, changes in ((1, one()), (2, one()), (1, {})):
        yield Case("other library and room", other, ROOMS[step], changes)
    for kind, sounding, where in (
        ("one take, not in the score", music, OWN_ROOM),
        ("one take, not in the score", music, OWN_ROOM),
        ("other tail, not in the score", music, room(1)),
        ("like players, not in the score", like, OWN_ROOM),
    ):
        changes = one()
        yield Case(kind, sounding, where, changes, lacks=frozenset(changes))


def k_level_db(stem: FloatArray) -> float:
    """K-weighted energy of a stem (BS.1770-5)."""
    weighted = signal.sosfilt(k_weighting_sos(RATE_HZ), stem)
    return float(10 * np.log10(np.square(weighted).sum() + 1e-30))


def laid(music: Excerpt, reference: Features) -> LaidOver:
    """The score as the tool lays it over the reference, from a MIDI file at another tempo."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "score.mid"
        slower = tempo_map(music.parts, lambda s: 1.1 * s)
        write_midi([replace(part, pan=0.0) for part in slower], path)
        return Score.open(path).over(reference)


def pair_of(case: Case, reference: Features, over: LaidOver, scale: float) -> Pair:
    """A candidate laid over the reference, its level taken out; without what the score lacks."""
    samples = scale * mix(case.played.stems, case.played.parts, *case.room, dict(case.changes_db),
                          sample_rate_hz=RATE_HZ)  # fmt: skip
    for whole in sorted(case.wholes, key=lambda whole: whole.order):
        assert whole.done is not None
        samples = whole.done(samples)
    candidate = Features.of(Recording.from_array(samples, RATE_HZ))
    given = tuple(part for part in over.parts if part.name not in case.lacks)
    pair = aligned(reference, candidate, align(reference, candidate))
    pair = pair.with_parts(given, over.bars, over.strokes).with_noise_shared()
    return pair.with_gain(match_level(pair).gain_db)


def truth_of(case: Case, music: Excerpt) -> dict[str, float]:
    """How far every section's dry stem lies from the median one's, against the reference."""
    truth = {
        name: k_level_db(stem) - k_level_db(music.stems[name]) + case.changes_db.get(name, 0.0)
        for name, stem in case.played.stems.items()
    }
    middle = float(np.median(list(truth.values())))
    return {name: level - middle for name, level in truth.items()}


@one_numeric_thread
def _answer(
    case: Case, music: Excerpt, reference: Features, over: LaidOver, scale: float
) -> Answer:
    pair = pair_of(case, reference, over, scale)
    levels = levels_of(pair, split_pair(pair))
    assert levels is not None
    truth = truth_of(case, music)
    placed = {part.name: k_level_db(music.stems[part.name]) + part.gain_db for part in music.parts}
    loudest = max(placed.values())
    heard = frozenset(name for name, level in placed.items() if level > loudest + HEARD_DB)
    return Answer(case, levels, truth, heard)


def answers(
    named: Sequence[tuple[int, str]], scores: Path, cache: Path, only: str = ""
) -> Iterator[tuple[str, Answer]]:
    """Every candidate of every movement."""
    for number, name, music, scale, reference in in_own_room(named, scores, cache):
        soundfont = SOUNDFONTS[number % len(SOUNDFONTS)]
        score = replace(laid(music, reference), bars=None)
        for case in cases(name, number, music, cache, soundfont):
            if only in f"{name} {case.kind}":
                yield name, _answer(case, music, reference, score, scale)


def told_right(answer: Answer) -> list[bool]:
    """Of every element that was told, surest first, whether one of its players moved so.

    That is: was changed that way, or is as much louder or softer in the other library. What the
    score lacks is nobody's.
    """
    told = sorted(
        zip(answer.levels.changes, answer.levels.players, strict=True),
        key=lambda one: -min(abs(edge) for edge in one[0].interval),
    )
    changes = answer.case.changes_db
    return [
        not players.names
        if answer.case.lacks
        else any(
            changes.get(name, 0.0) * change.difference_db > 0
            or abs(answer.truth_db[name]) >= LEAST_DB
            and change.interval[0] <= answer.truth_db[name] <= change.interval[1]
            for name in players.names
        )
        for change, players in told
    ]


def report(answered: Sequence[Answer]) -> str:
    """The figures as text, a line for each kind of candidate."""
    lines = []
    for kind in dict.fromkeys(answer.case.kind for answer in answered):
        group = [answer for answer in answered if answer.case.kind == kind]
        moved, still, held, told, asked, found, changed, first, wrong = [], [], [], 0, 0, 0, 0, 0, 0
        for answer in group:
            right = told_right(answer)
            wrong += right.count(False)
            changed += len(answer.case.changes_db)
            first += bool(right and right[0])
            players = [set(one.names) for one in answer.levels.players]
            found += sum(any(name in one for one in players) for name in answer.case.changes_db)
            for part in answer.levels.parts:
                if part.name not in answer.heard:
                    continue
                asked += 1
                if part.level_db is None or part.level_db_interval is None:
                    continue
                told += 1
                truth = answer.truth_db[part.name]
                away = abs(part.level_db - truth)
                (moved if part.name in answer.case.changes_db else still).append(away)
                low, high = part.level_db_interval
                held.append(low <= truth <= high)
        pairs = sum(bool(answer.case.changes_db) for answer in group)
        lines.append(
            f"{kind}: found {found} of {changed}, first in {first} of {pairs} pairs, wrong"
            f" {wrong}; error of the changed {spread(moved)}, of the others {spread(still)} dB;"
            f" intervals hold {np.mean(held):.2f}; told {told / max(asked, 1):.2f}"
        )
    return "\n".join(lines)


def spread(errors: Sequence[float], decimals: int = 2) -> str:
    """Median and 90th percentile."""
    if not errors:
        return "-"
    return f"{np.median(errors):.{decimals}f}/{np.percentile(errors, 90):.{decimals}f}"


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__, by_pair=True).parse_args(arguments)
    answered = []
    found = answers(movements(options), options.scores, cache_folder(options.cache), options.only)
    for name, answer in found:
        answered.append(answer)
        told = "; ".join(
            f"{players_named(players) or 'nobody'} {change.difference_db:+.1f}"
            f" ({change.interval[0]:.1f} to {change.interval[1]:.1f})"
            for change, players in zip(answer.levels.changes, answer.levels.players, strict=True)
        )
        good = (
            "+" if all(told_right(answer)) and bool(told) == bool(answer.case.changes_db) else "."
        )
        print(f"{good} {name} {answer.case.kind} {dict(answer.case.changes_db)}: {told or '-'}",
              flush=True)  # fmt: skip
    print(report(answered))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
