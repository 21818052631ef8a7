"""Where do written parts sit, and which moved? Half minutes of full scores, one section panned.

``python -m tests.benchmarks.placed_parts SCORES [--set reporting] [--part 0/2] [--cache F]`` plays
every movement once as the reference (see :mod:`tests.benchmarks.parts`), and against it the same
take with a section panned elsewhere, or raised, or in another room; the same players again; and
other instruments in another room, each with a section panned and without. Truth is the K-weighted
place of every section alone in its room. Printed: how often the panned section is named in the
list, false ones, and the errors of the table.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import signal

from mixcompare.alignment import align
from mixcompare.aspects import balance, placement
from mixcompare.aspects.placement.values import MovedElement
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.knowledge.notes import PartNotes
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import aligned
from mixcompare.parts.values import PartLevel
from mixcompare.standards.bs1770 import k_weighting_sos
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.parts import LIBRARIES, LONGER_S, again, laid, spread
from tests.benchmarks.rendering import mix
from tests.benchmarks.symphonic import (
    DURATION_S,
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

MOVES = (0.6, 0.4, 0.8, 0.3)  # of the pan, towards the other side
RAISES_DB = (5.0, -6.0)


@dataclass(frozen=True)
class Case:
    """One candidate: of which kind, played how, in which room, what was done."""

    kind: str
    played: Excerpt
    room: Room
    panned: str | None = None
    by: float = 0.0
    changes_db: Mapping[str, float] | None = None


@dataclass(frozen=True)
class Answer:
    """What was told, and what is true, by section: places before and after."""

    case: Case
    parts: tuple[PartLevel, ...]
    elements: tuple[MovedElement, ...]
    before: Mapping[str, float]
    after: Mapping[str, float]


def cases(name: str, number: int, music: Excerpt, cache: Path, soundfont: str) -> Iterator[Case]:
    """All candidates of one movement."""
    rng = np.random.default_rng(number + 7)
    sections = [str(one) for one in rng.permutation(heard_sections(music))]
    duration_s = DURATION_S + LONGER_S
    like = played(f"{name}-like", again(music.parts, number + 1, 0.94, 15), soundfont, cache,
                  duration_s)  # fmt: skip
    others = [one for one in LIBRARIES if one != soundfont]
    other = played(f"{name}-other", again(music.parts, number + 2, 1.07, 20),
                   others[number % len(others)], cache, duration_s)  # fmt: skip
    one, two = sections[:2]
    for section, by in zip(sections, MOVES, strict=False):
        yield Case("one take, panned", music, OWN_ROOM, section, by)
    yield Case("one take, panned and raised", music, OWN_ROOM, one, 0.6, {one: 5.0})
    for section, level_db in zip(itertools.cycle(sections[1:]), RAISES_DB, strict=False):
        yield Case("one take, raised", music, OWN_ROOM, changes_db={section: level_db})
    room = ROOMS[number % len(ROOMS)]
    for kind, music_, where, section in (
        ("other tail", music, room, two),
        ("like players", like, OWN_ROOM, one),
        ("other library and room", other, ROOMS[1], two),
    ):
        yield Case(kind, music_, where)
        yield Case(f"{kind}, panned", music_, where, section, 0.6)


def panned(case: Case) -> Excerpt:
    """The candidate's sections where they sit."""
    return replace(
        case.played,
        parts=tuple(
            replace(part, pan=float(part.pan - np.sign(part.pan or 1.0) * case.by))
            if part.name == case.panned
            else part
            for part in case.played.parts
        ),
    )


def places(music: Excerpt, room: Room) -> dict[str, float]:
    """Where every section sits in its room: the K-weighted ratio of the channels' amplitudes."""
    out = {}
    for part in music.parts:
        if part.name in music.stems:
            alone = {part.name: music.stems[part.name]}
            heard = signal.sosfilt(
                k_weighting_sos(RATE_HZ), mix(alone, [part], *room, sample_rate_hz=RATE_HZ), axis=0
            )
            left, right = np.sqrt(np.square(heard).sum(axis=0))
            out[part.name] = float((right - left) / (right + left + 1e-30))
    return out


@one_numeric_thread
def _answer(
    case: Case,
    reference: Features,
    score: tuple[PartNotes, ...],
    scale: float,
    before: Mapping[str, float],
) -> Answer:
    music = panned(case)
    samples = scale * mix(music.stems, music.parts, *case.room, case.changes_db,
                          sample_rate_hz=RATE_HZ)  # fmt: skip
    candidate = Features.of(Recording.from_array(samples, RATE_HZ))
    pair = aligned(reference, candidate, align(reference, candidate)).with_parts(score)
    pair = pair.with_noise_shared()
    pair = pair.with_gain(match_level(pair).gain_db)
    pair.differences["balance"] = balance.analyzer.compare(pair)
    found = placement.analyzer.compare(pair)
    parts = pair.differences["balance"].parts
    return Answer(case, parts, found.elements, before, places(music, case.room))


def answers(
    named: Sequence[tuple[int, str]], scores: Path, cache: Path, only: str = ""
) -> Iterator[tuple[str, Answer]]:
    """Every candidate of every movement."""
    for number, name, music, scale, reference in in_own_room(named, scores, cache):
        soundfont = SOUNDFONTS[number % len(SOUNDFONTS)]
        score, before = laid(music, reference).parts, places(music, OWN_ROOM)
        for case in cases(name, number, music, cache, soundfont):
            if only in f"{name} {case.kind}":
                yield name, _answer(case, reference, score, scale, before)


def report(answered: Sequence[Answer]) -> str:
    """The figures as text, a line for each kind of candidate."""
    lines = []
    for kind in dict.fromkeys(answer.case.kind for answer in answered):
        group = [answer for answer in answered if answer.case.kind == kind]
        there, moved, still, held, asked, sure = [], [], [], [], 0, 0
        named = false = 0
        for answer in group:
            section = answer.case.panned
            right = [section in element.players for element in answer.elements]
            named += any(right)
            false += right.count(False)
            for part in answer.parts:
                asked += 1
                truth = answer.after[part.name] - answer.before[part.name]
                if part.position is None or part.position_interval is None:
                    continue
                assert part.reference_position is not None
                low, high = part.position_interval
                there.append(abs(part.reference_position - answer.before[part.name]))
                (moved if part.name == section else still).append(abs(part.position - truth))
                held.append(low <= truth <= high)
                sure += part.name != section and low * high > 0 and min(abs(low), abs(high)) >= 0.1
        pairs = sum(answer.case.panned is not None for answer in group)
        lines.append(
            f"{kind}: named {named} of {pairs}, false {false} in {len(group)} pairs; error of the"
            f" place {spread(there, 3)}, of the panned one's move {spread(moved, 3)}, of the"
            f" others' {spread(still, 3)}, of them surely moved by 0.1 {sure}; intervals hold"
            f" {np.mean(held):.2f}; told {len(held) / max(asked, 1):.2f}"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__, by_pair=True).parse_args(arguments)
    answered = []
    found = answers(movements(options), options.scores, cache_folder(options.cache), options.only)
    for name, answer in found:
        answered.append(answer)
        told = "; ".join(
            f"{element.name} {element.reference_position:+.2f} to {element.candidate_position:+.2f}"
            for element in answer.elements
        )
        print(f"{name} {answer.case.kind} {answer.case.panned or '-'}: {told or '-'}", flush=True)
    print(report(answered))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
