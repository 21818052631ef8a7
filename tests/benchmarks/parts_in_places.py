"""A part that is louder or softer in some bars only: who, in which bars, and by how much?

``python -m tests.benchmarks.parts_in_places SCORES [--set reporting] [--part 0/2] [--cache F]
[--only WORD]`` plays half minutes of full scores (see :mod:`tests.benchmarks.parts`), the candidate
with one section changed by 4 to 6 dB for five to ten seconds: in the same take, in another room, by
the same players, by others. Every kind has candidates without a change as well. A bar is four
quarters from the excerpt's start.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.audio.recording import Recording
from mixcompare.elements.describe import describe
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import aligned
from mixcompare.parts.levels import levels_of
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.parts import CHANGES_DB, LIBRARIES, LONGER_S, again, laid
from tests.benchmarks.rendering import mix
from tests.benchmarks.symphonic import (
    DURATION_S,
    LEAD_S,
    QUARTERS_PER_MINUTE,
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
    scattered,
    take_of,
)

FloatArray = npt.NDArray[np.float64]
Bar = tuple[int, int]

LENGTHS_S = (5.0, 10.0)
_QUARTERS, _FEWEST_NOTES, _ENDS_BEFORE_S, _TRIES = 4, 4, 0.5, 50
_EDGE_S = 0.1  # in which the fader moves
_NEAREST = 15  # onsets by which a bar's start is laid over another performance


@dataclass(frozen=True)
class Ride:
    """One section's change: in which bars, and when that is in reference and candidate."""

    section: str
    by_db: float
    bars: Bar
    candidate_s: tuple[float, float]


@dataclass(frozen=True)
class Told:
    """An element as it was told."""

    names: tuple[str, ...]
    level_db: float
    interval: tuple[float, float]
    bars: tuple[Bar, ...]

    def is_right(self, ride: Ride) -> bool:
        """Whether it names the section, and which way it moved."""
        return ride.section in self.names and self.level_db * ride.by_db > 0

    def has_bars(self, ride: Ride) -> bool:
        """Whether its first and last bar are right within one."""
        if not self.bars:
            return False
        first, last = self.bars[0][0], self.bars[-1][1]
        return abs(first - ride.bars[0]) <= 1 and abs(last - ride.bars[1]) <= 1


def bars_of(name: str) -> Bars:
    """Of an excerpt, on the reference's clock."""
    length_s = _QUARTERS * 60 / QUARTERS_PER_MINUTE.get(name, 96)
    start_s = np.arange(LEAD_S, LEAD_S + DURATION_S - 1, length_s)
    count = len(start_s)
    return Bars(start_s, start_s + length_s, np.arange(1, count + 1), np.full(count, _QUARTERS))


def ride_in(
    music: Excerpt, there: Excerpt, bars: Bars, section: str, by_db: float, rng: np.random.Generator
) -> Ride | None:
    """Some bars in which the section plays; None where there are none."""
    (own,) = [part for part in music.parts if part.name == section]
    onset_s = np.array([note.onset_s for note in own.notes])
    length_s = float(bars.end_s[0] - bars.start_s[0])
    for _ in range(_TRIES):
        first = int(rng.integers(0, len(bars.number) - 1))
        last = first + max(2, round(rng.uniform(*LENGTHS_S) / length_s)) - 1
        if last >= len(bars.number) or bars.end_s[last] > DURATION_S - _ENDS_BEFORE_S:
            continue
        start, end = float(bars.start_s[first]), float(bars.end_s[last])
        if ((onset_s >= start) & (onset_s < end - 0.2)).sum() >= _FEWEST_NOTES:
            span_s = (_moment(music, there, start), _moment(music, there, end))
            return Ride(section, by_db, (first + 1, last + 1), span_s)
    return None


def _moment(music: Excerpt, there: Excerpt, time_s: float) -> float:
    """Where a moment of one performance is in another, by the notes around it."""
    own, other = (
        np.array([note.onset_s for part in one.parts for note in part.notes])
        for one in (music, there)
    )
    near = np.argsort(np.abs(own - time_s))[:_NEAREST]
    return time_s + float(np.median(other[near] - own[near]))


def ridden(stem: FloatArray, ride: Ride) -> FloatArray:
    """A stem with its fader moved for a while."""
    time_s = np.arange(len(stem)) / RATE_HZ
    start, end = ride.candidate_s
    up = np.clip((time_s - start) / _EDGE_S + 0.5, 0, 1)
    down = np.clip((end - time_s) / _EDGE_S + 0.5, 0, 1)
    return np.asarray(stem * 10 ** (ride.by_db * up * down / 20))


def candidates(
    name: str, number: int, music: Excerpt, cache: Path, soundfont: str
) -> Iterator[tuple[str, Excerpt, Room, Ride | None]]:
    """All candidates of one movement: kind, as played, room, and what was changed."""
    rng = np.random.default_rng(number + 70)
    duration_s = DURATION_S + LONGER_S
    like = played(f"{name}-like", again(music.parts, number + 1, 0.94, 15), soundfont, cache,
                  duration_s)  # fmt: skip
    others = [one for one in LIBRARIES if one != soundfont]
    other = played(f"{name}-other", again(music.parts, number + 2, 1.07, 20),
                   others[number % len(others)], cache, duration_s)  # fmt: skip
    sections = [str(one) for one in rng.permutation(heard_sections(music))]
    bars, asked = bars_of(name), 0
    for kind, there, room, count in (
        ("one take", music, OWN_ROOM, 2),
        ("other tail", music, ROOMS[number % len(ROOMS)], 2),
        ("like players", like, OWN_ROOM, 3),
        ("other library and room", other, ROOMS[(number + 1) % len(ROOMS)], 2),
    ):
        for _ in range(count):
            section = sections[asked % len(sections)]
            by_db = float(rng.choice(CHANGES_DB))
            ride = ride_in(music, there, bars, section, by_db, rng)
            asked += 1
            if ride is not None:
                yield kind, there, room, ride
        if there is not music or room != OWN_ROOM:
            yield kind, there, room, None


@one_numeric_thread
def told_of(
    name: str, stems: Mapping[str, FloatArray], there: Excerpt, room: Room, ground: Ground
) -> list[Told]:
    """What is told of one candidate."""
    samples = ground.scale * mix(stems, there.parts, *room, sample_rate_hz=RATE_HZ)
    candidate = Features.of(Recording.from_array(samples, RATE_HZ))
    pair = aligned(ground.reference, candidate, align(ground.reference, candidate))
    pair = replace(pair, match=replace(pair.match, parts=ground.score, bars=bars_of(name)))
    pair = pair.with_noise_shared()
    pair = pair.with_gain(match_level(pair).gain_db)
    levels = levels_of(pair, split_pair(pair))
    assert levels is not None
    return [
        Told(
            players.names,
            change.difference_db,
            change.interval,
            bars_of(name).of(describe(change.energy, pair.of_elements, change.repeats).spans_s),
        )
        for change, players in zip(levels.changes, levels.players, strict=True)
    ]


@dataclass(frozen=True)
class Ground:
    """A movement's reference, its score laid over it, and the scale of all its mixes."""

    reference: Features
    score: tuple[PartNotes, ...]
    scale: float

    @classmethod
    def of(cls, music: Excerpt) -> Ground:
        """Of an excerpt."""
        scale, take = take_of(music)
        reference = Features.of(take)
        return cls(reference, laid(music, reference).parts, scale)


def report(answers: Sequence[tuple[str, Ride | None, list[Told]]]) -> str:
    """The figures as text, a line for each kind of candidate."""
    lines = []
    for kind in dict.fromkeys(kind for kind, _, _ in answers):
        rides = [(ride, told) for own, ride, told in answers if own == kind and ride is not None]
        right = [(ride, one) for ride, told in rides for one in told if one.is_right(ride)]
        found = sum(any(one.is_right(ride) for one in told) for ride, told in rides)
        wrong = sum(not one.is_right(ride) for ride, told in rides for one in told)
        still = [told for own, ride, told in answers if own == kind and ride is None]
        bars = sum(one.has_bars(ride) for ride, one in right)
        held = sum(one.interval[0] <= ride.by_db <= one.interval[1] for ride, one in right)
        errors = [abs(one.level_db - ride.by_db) for ride, one in right]
        error = f"{np.median(errors):.1f}" if errors else "-"
        lines.append(
            f"{kind}: found {found} of {len(rides)}, bars right in {bars} of {len(right)}, error"
            f" {error} dB, interval holds {held}; told wrongly beside {wrong}; of {len(still)}"
            f" unchanged {sum(map(bool, still))} not silent"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__, by_pair=True).parse_args(arguments)
    cache = cache_folder(options.cache)
    answers = []
    for number, name in movements(options):
        soundfont = SOUNDFONTS[number % len(SOUNDFONTS)]
        music = scattered(number, name, options.scores, cache)
        ground = Ground.of(music)
        for kind, there, room, ride in candidates(name, number, music, cache, soundfont):
            if options.only not in f"{name} {kind}":
                continue
            stems = dict(there.stems)
            if ride is not None:
                stems[ride.section] = ridden(stems[ride.section], ride)
            told = told_of(name, stems, there, room, ground)
            answers.append((kind, ride, told))
            done = f"{ride.section} {ride.by_db:+.0f} in {ride.bars}" if ride else "nothing"
            print(f"{name} {kind}: {done}; told {told or '-'}", flush=True)
    print(report(answers))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
