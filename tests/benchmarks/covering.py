"""Is the line that leads told to be covered where its stems are? Half minutes of full scores.

``python -m tests.benchmarks.covering SCORES [--set reporting] [--part 0/2] [--cache F] [--only W]``
plays every movement once as the reference (see :mod:`tests.benchmarks.symphonic`), and against it
the same take, the same with one and with two things done to the whole, another tail, the same
players again, and other instruments in another room: with the part that leads longest 15 dB down,
with another section 10 dB up, and as it is; and the take, another tail and the same players with
these moved by 6 and 8 dB only. Truth is the same measure of the sections' own sound
in the same room (:func:`mixcompare.elements.audibility.clearance_db`), bar by bar; who leads is
taken as told (:mod:`tests.benchmarks.leading` asks that). Printed: of the bars that are told to be
covered or clear, how many are; who covers; the error of how much lower a line stands; of the
findings, how often the range that is told holds the truth.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.aspects.balance.themes import covered_lines, how_much_lower
from mixcompare.audio.recording import Recording
from mixcompare.elements.audibility import clearance_db, excitation, strongest
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.pair.spectra import PairSpectra, pair_spectra
from mixcompare.parts.course import bars_of
from mixcompare.parts.covering import lines_in, sounding
from mixcompare.parts.laid import coarser
from mixcompare.parts.levels import levels_of
from mixcompare.parts.values import CLEAR, COVERED, OPEN, Lead
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.crossed import WHOLES, Whole
from tests.benchmarks.parts import LIBRARIES, LONGER_S, again, laid, spread
from tests.benchmarks.rendering import mix
from tests.benchmarks.symphonic import (
    DURATION_S,
    LEAD_S,
    RATE_HZ,
    Excerpt,
    movements,
    over_scores,
    played,
)
from tests.benchmarks.tails import OWN_ROOM, ROOMS, SOUNDFONTS, Room, heard_sections, in_own_room

FloatArray = npt.NDArray[np.float64]

DOWN_DB, UP_DB = -15.0, 10.0
BY_LESS_DB = 6.0, 8.0
NEAR_DB = 3.0  # so near to the threshold either answer will do
SIDES = ("reference", "candidate")


@dataclass(frozen=True)
class Case:
    """One candidate: of which kind, played how, in which room, what changed."""

    kind: str
    played: Excerpt
    room: Room
    changes_db: Mapping[str, float]
    wholes: tuple[str, ...] = ()


@dataclass(frozen=True)
class Listed:
    """One finding: a line's name, how much lower it stands as it is told, and in truth."""

    name: str
    told_db: float
    interval_db: tuple[float, float]
    truth_db: float

    @property
    def held(self) -> bool:
        """Whether the range holds the truth."""
        return self.interval_db[0] <= self.truth_db <= self.interval_db[1]


@dataclass(frozen=True)
class Bar:
    """One line in one bar, told and true, of reference and candidate."""

    name: str
    told: tuple[str, str]
    level_db: tuple[float, float]
    truth_db: tuple[float, float]
    over: tuple[tuple[str, ...], tuple[str, ...]]
    truly_over: tuple[str, str]


def cases(name: str, number: int, music: Excerpt, lead: str, cache: Path) -> Iterator[Case]:
    """All candidates of one movement."""
    soundfont = SOUNDFONTS[number % len(SOUNDFONTS)]
    others = [one for one in LIBRARIES if one != soundfont]
    duration_s = DURATION_S + LONGER_S
    like = played(f"{name}-like", again(music.parts, number + 1, 0.94, 15), soundfont, cache,
                  duration_s)  # fmt: skip
    other = played(f"{name}-other", again(music.parts, number + 2, 1.07, 20),
                   others[number % len(others)], cache, duration_s)  # fmt: skip
    heard = [one for one in heard_sections(music) if one != lead]
    down = {lead: DOWN_DB}
    up = {str(np.random.default_rng(number).permutation(heard)[0]): UP_DB} if heard else {}
    yield from (Case("one take", music, OWN_ROOM, changes) for changes in (down, up))
    yield Case("one thing done to all", music, OWN_ROOM, down, ("shelf up",))
    yield Case("two things done to all", music, OWN_ROOM, down, ("shelf down", "compression"))
    yield Case("other tail", music, ROOMS[number % len(ROOMS)], down)
    yield from (Case("like players", like, OWN_ROOM, changes) for changes in ({}, down, up))
    yield from (
        Case("other library and room", other, ROOMS[1], changes) for changes in ({}, down, up)
    )
    beside = next(iter(up), None)
    for by_db in BY_LESS_DB:
        less = [{lead: -by_db}, *([{beside: by_db}] if beside else [])]
        for kind, sounding_as, where in (
            ("one take, by less", music, OWN_ROOM),
            ("other tail, by less", music, ROOMS[number % len(ROOMS)]),
            ("like players, by less", like, OWN_ROOM),
        ):
            yield from (Case(kind, sounding_as, where, changes) for changes in less)


def alone(music: Excerpt, room: Room, scale: float) -> dict[str, Features]:
    """Every section by itself in a room."""
    return {
        name: Features.of(
            Recording.from_array(
                scale * mix({name: stem}, music.parts, *room, sample_rate_hz=RATE_HZ), RATE_HZ
            )
        )
        for name, stem in music.stems.items()
    }


def leads_longest(parts: Sequence[PartNotes], bars: Bars | None) -> str:
    """The part that leads in most bars."""
    lines = lines_in(parts, np.arange(LEAD_S, DURATION_S, 0.05), bars)
    names = [parts[line.lead].name for line in lines]
    return max(dict.fromkeys(names), key=names.count)


@one_numeric_thread
def answered(
    case: Case,
    reference: Features,
    score: tuple[tuple[PartNotes, ...], Bars | None],
    scale: float,
    stems: tuple[dict[str, Features], dict[str, Features]],
) -> tuple[list[Bar], list[Listed]]:
    """Every bar that is told, and every finding, with the truth of it."""
    samples = scale * mix(case.played.stems, case.played.parts, *case.room, dict(case.changes_db),
                          sample_rate_hz=RATE_HZ)  # fmt: skip
    for whole in sorted(_wholes(case), key=lambda whole: whole.order):
        assert whole.done is not None
        samples = whole.done(samples)
    candidate = Features.of(Recording.from_array(samples, RATE_HZ))
    pair = aligned(reference, candidate, align(reference, candidate)).with_parts(*score)
    pair = pair.with_noise_shared()
    pair = pair.with_gain(match_level(pair).gain_db)
    found = levels_of(pair, split_pair(pair))
    assert found is not None
    truth = _Truth(pair, stems, case.changes_db)
    bars = [bar for lead in found.leads for bar in truth.bars(lead)]
    return bars, list(_listed(found.leads, pair.same_take, truth))


def _listed(leads: Sequence[Lead], same_take: bool, truth: _Truth) -> Iterator[Listed]:
    """The findings, with the truth of the same bars."""
    for own in covered_lines(leads):
        steps_db = [
            (float(np.mean([_step(bar.truth_db) for bar in bars])), lead.end_s - lead.start_s)
            for lead in own
            if (bars := list(truth.bars(lead)))
        ]
        if steps_db:
            level_db, interval_db = how_much_lower(own, same_take)
            truly_db, lengths_s = np.array(steps_db).T
            truth_db = float(np.average(truly_db, weights=lengths_s))
            yield Listed(own[0].name, level_db, interval_db, truth_db)


def _wholes(case: Case) -> list[Whole]:
    return [whole for whole in WHOLES if whole.name in case.wholes]


class _Truth:
    """The sections' own sound on the pair's clock."""

    def __init__(
        self,
        pair: Pair,
        stems: tuple[dict[str, Features], dict[str, Features]],
        changes_db: Mapping[str, float],
    ) -> None:
        self.parts, self.bars_played = pair.match.parts, pair.match.bars
        self.times_s, self.centre_hz = pair.spectra.times_s, pair.spectra.centre_hz
        powers: tuple[list[FloatArray], list[FloatArray]] = ([], [])
        for part in self.parts:
            spectra = pair_spectra(stems[0][part.name], stems[1][part.name], pair.match)
            gain = 10 ** (changes_db.get(part.name, 0.0) / 10)
            powers[0].append(self._here(spectra, spectra.reference))
            powers[1].append(gain * self._here(spectra, spectra.candidate))
        self.powers = [np.array(side) for side in powers]

    def _here(self, spectra: PairSpectra, power: FloatArray) -> FloatArray:
        """Of a section that may carry fewer bands than all together."""
        out = np.zeros((len(self.times_s), len(self.centre_hz)))
        for column, centre in enumerate(spectra.centre_hz):
            place = int(np.abs(np.log2(self.centre_hz / centre)).argmin())
            out[:, place] = np.interp(self.times_s, spectra.times_s, power[:, column])
        return coarser(out.T, 1, step=1).T

    def bars(self, lead: Lead) -> Iterator[Bar]:
        """Of one stretch, every bar in which its line sounds."""
        names = {lead.name, *lead.doubled_by}
        own = np.array([part.name in names for part in self.parts])
        sounds = sounding([part for part in self.parts if part.name in names], self.times_s)
        for window in bars_of(self.times_s, self.bars_played):
            middle_s = (window.start_s + window.end_s) / 2
            inside = (self.times_s >= window.start_s) & (self.times_s < window.end_s) & sounds
            if not lead.start_s <= middle_s < lead.end_s or not inside.any():
                continue
            before, after = (self._side(power[:, inside], own) for power in self.powers)
            yield Bar(
                lead.name, (lead.reference, lead.candidate), (lead.reference_db, lead.candidate_db),
                (before[0], after[0]), (lead.covered_in_reference_by, lead.covered_in_candidate_by),
                (before[1], after[1]),
            )  # fmt: skip

    def _side(self, power: FloatArray, own: npt.NDArray[np.bool_]) -> tuple[float, str]:
        """How a line stands, and who has most energy in its bands."""
        line, rest = power[own].sum(axis=0), power[~own].sum(axis=0)
        bands = strongest(line, self.centre_hz)
        there = [
            0.0 if mine else float((excitation(part, self.centre_hz) * bands).sum())
            for part, mine in zip(power, own, strict=True)
        ]
        level_db = float(np.median(clearance_db(line, rest, self.centre_hz)))
        return level_db, self.parts[int(np.argmax(there))].name


def report(found: Mapping[str, Sequence[Bar]], listed: Mapping[str, Sequence[Listed]]) -> str:
    """The figures as text, two lines and two more for each kind of candidate."""
    lines = []
    for kind, bars in found.items():
        for side, name in enumerate(SIDES):
            truth = np.array([bar.truth_db[side] for bar in bars])
            told = np.array([bar.told[side] for bar in bars])
            covered, clear = told == COVERED, told == CLEAR
            who = [bar.truly_over[side] in bar.over[side] for bar in bars if _both(bar, side)]
            lines.append(
                f"{kind}, {name}: {len(bars)} bars, truly covered {np.sum(truth < 0)}; told covered"
                f" {_right(-truth[covered])}; told clear {_right(truth[clear])}; can't tell"
                f" {np.sum(told == OPEN)}; who covers named in {sum(who)} of {len(who)}"
            )
        away = [abs(_step(bar.level_db) - _step(bar.truth_db)) for bar in bars]
        one_only = [bar for bar in bars if set(bar.told) == {CLEAR, COVERED}]
        right = [bar for bar in one_only if _step(bar.level_db) * _step(bar.truth_db) > 0
                 and min(bar.truth_db) < NEAR_DB]  # fmt: skip
        lines.append(
            f"{kind}: error of how much lower it stands {spread(away)} dB; covered in one only"
            f" {sum(min(bar.truth_db) < 0 < max(bar.truth_db) for bar in bars)} bars, told"
            f" {len(one_only)}, right {len(right)}"
        )
        held = [one.held for one in listed[kind]]
        off_db = [abs(one.told_db - one.truth_db) for one in listed[kind]]
        lines.append(f"{kind}: {len(held)} findings, off by {spread(off_db)} dB, held {sum(held)}")
    return "\n".join(lines)


def _right(past_db: FloatArray) -> str:
    """How many of some bars lie on the side that is told."""
    near = np.sum(past_db > -NEAR_DB)
    return f"{len(past_db)}: {np.sum(past_db > 0)} are, {near} within {NEAR_DB:.0f} dB"


def _both(bar: Bar, side: int) -> bool:
    return bar.told[side] == COVERED and bar.truth_db[side] < 0


def _step(levels_db: tuple[float, float]) -> float:
    return levels_db[1] - levels_db[0]


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__, by_pair=True).parse_args(arguments)
    cache = cache_folder(options.cache)
    found: dict[str, list[Bar]] = {}
    listed: dict[str, list[Listed]] = {}
    for number, name, music, scale, reference in in_own_room(
        movements(options), options.scores, cache
    ):
        over = laid(music, reference)
        score = over.parts, over.bars
        lead = leads_longest(*score)
        own: dict[tuple[int, Room], dict[str, Features]] = {}
        for case in cases(name, number, music, lead, cache):
            if options.only not in f"{name} {case.kind}":
                continue
            for excerpt, room in ((music, OWN_ROOM), (case.played, case.room)):
                if (id(excerpt), room) not in own:
                    own[id(excerpt), room] = alone(excerpt, room, scale)
            stems = own[id(music), OWN_ROOM], own[id(case.played), case.room]
            bars, findings = answered(case, reference, score, scale, stems)
            found.setdefault(case.kind, []).extend(bars)
            listed.setdefault(case.kind, []).extend(findings)
            for one in findings:
                print(f"{name} {case.kind} {dict(case.changes_db)}: {one}")
            print(f"{name} {case.kind} {dict(case.changes_db)}: {len(bars)} bars", flush=True)
    print(report(found, listed))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
