"""Two performances heard whole: a theme played detached, another room, both, or neither.

``python -m tests.benchmarks.manners SCORES [--set reporting] [--part 0/2] [--cache F] [--only W]``
with SCORES a folder of scores (see :mod:`tests.benchmarks.symphonic`). A theme, whoever plays
along, sounds for 95 % of every note or for half of it, within the full orchestra; the other
performance has its own tempo and scatter, and the same instruments or another library's.
``--score`` gives the notes to the tool, too; ``--spans 6`` takes the six half minutes of each
movement whose themes have most long notes, not the first of them alone. Printed: what was told
first, what was missed and what was wrong, and of note lengths that were missed in how many it was
said that they can't be told; errors of the wetness and of the sounding ratio. ``--closure``: for
three performances, whether two steps add up to the third, and whether one way mirrors the other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.knowledge.notes import PartNotes
from mixcompare.parts.covering import lines_in
from mixcompare.results import Results
from tests import operations
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.parts import LIBRARIES, LONGER_S, again, laid
from tests.benchmarks.rendering import Part, mix, scale_durations
from tests.benchmarks.rooms import added_db
from tests.benchmarks.symphonic import (
    DURATION_S,
    LEAD_S,
    RATE_HZ,
    Excerpt,
    last_quarter,
    movements,
    over_scores,
    played,
    sections,
)
from tests.benchmarks.tails import OWN_ROOM, SOUNDFONTS, Room

FloatArray = npt.NDArray[np.float64]
Estimate = tuple[float, tuple[float, float]]

LEGATO, DETACHED = 0.95, 0.5
DRY: Room = (0.8, -12.0, 4)
WET: Room = (2.2, -1.0, 3)
LIKE_ROOM: Room = (1.4, -6.0, 2)
SHORTER, LONGER = "notes_more_detached", "notes_more_connected"
WHOSE = ("like instruments", "other instruments")
OF_OTHERS = ("tone", "balance", "dynamics")
"""Aspects in which other instruments differ by themselves."""
TEMPI, SCATTER_MS = (0.95, 1.06), 15.0
_BEGINS = np.arange(0.1, 0.9, 0.1)  # of the movement
_LONG_S = 0.3
_MIXED = 0.2, 0.7
"""Shares of a part's notes between which it neither plays the theme nor does not."""
SHELF = operations.high_shelf(3000, 4)


@dataclass(frozen=True)
class Playing:
    """One performance: whose instruments, how the theme is played, and where.

    Attributes
    ----------
    whose : int
        0: the reference's own players; 1: like instruments; 2: another library's.
    """

    whose: int = 0
    ratio: float = LEGATO
    room: Room = OWN_ROOM
    brighter: bool = False


@dataclass(frozen=True)
class Case:
    """Two performances, and what is to be told of them."""

    kind: str
    whose: str
    reference: Playing
    candidate: Playing

    @property
    def due(self) -> tuple[str, ...]:
        """Kinds of findings that are right."""
        longer = self.candidate.ratio - self.reference.ratio
        out = [LONGER if longer > 0 else SHORTER] if longer else []
        if self.wetness_db:
            out.append("wetter" if self.wetness_db > 0 else "drier")
        return tuple(out)

    @property
    def wetness_db(self) -> float:
        """The truth."""
        return added_db(self.reference.room[1], self.candidate.room[1])


@dataclass(frozen=True)
class Answer:
    """A pair, all that is told of it, and how much of each part's notes are the theme's."""

    movement: str
    case: Case
    results: Results
    with_score: bool
    theme: Mapping[str, float]

    @property
    def first_is_right(self) -> bool:
        """Whether the first finding that is not tempo is one that is due."""
        told = [one for one in self.results.findings if one.aspect != "tempo"]
        return bool(told) and told[0].kind in self.case.due and self._whose_it_is(told[0])

    @property
    def missing(self) -> list[str]:
        """What is due and not told."""
        told = {one.kind for one in self.results.findings if self._whose_it_is(one)}
        return [kind for kind in self.case.due if kind not in told]

    @property
    def lengths_are_due(self) -> bool:
        """Whether the theme's notes are held otherwise, whatever else changed."""
        return any(kind in self.case.due for kind in (SHORTER, LONGER))

    @property
    def lengths_are_told(self) -> bool:
        """Whether that is said, of one that plays the theme."""
        return not any(kind in self.missing for kind in (SHORTER, LONGER))

    @property
    def owns_up(self) -> bool:
        """Whether it is said that a line's, or some part's, lengths can't be told."""
        said = (self.results.unseen, *self.results.untold)
        return any("are held can't be told" in one for one in said)

    @property
    def wrong(self) -> list[Finding]:
        """What is told and is not so. A wetter room's decay and image are part of it."""
        fine = {"tempo", *(OF_OTHERS if self.case.whose == WHOSE[1] else ())}
        due = set(self.case.due)
        if self.case.wetness_db:
            longer = self.case.candidate.room[0] > self.case.reference.room[0]
            due.add("decay_longer" if longer else "decay_shorter")
        return [
            one
            for one in self.results.findings
            if one.aspect not in fine and not (one.kind in due and self._whose_it_is(one))
        ]

    def _whose_it_is(self, found: Finding) -> bool:
        """Whether what is said of notes names a part that plays the theme, if parts are known."""
        if found.aspect != "articulation" or not self.with_score:
            return True
        return any(
            share > 0.5 and f"the {name}" in found.subject for name, share in self.theme.items()
        )

    @property
    def voices(self) -> list[tuple[Estimate, float]]:
        """How much longer a part's notes are held, and the truth, of parts that have one."""
        truth = self.case.candidate.ratio - self.case.reference.ratio
        out = []
        for voice in self.results.measurements["articulation"].difference.voices:
            told = _estimate(voice.sounding_ratio, voice.sounding_ratio_interval)
            share = self.theme.get(voice.name, 0.5)
            if told is not None and not _MIXED[0] < share < _MIXED[1]:
                out.append((told, truth if share >= _MIXED[1] else 0.0))
        return out

    @cached_property
    def held(self) -> Estimate | None:
        """How much longer the theme's notes are held, of the voice that is drawn."""
        found = self.results.measurements["articulation"].difference
        voice = next((one for one in found.voices if one.name == found.shown), found)
        return _estimate(voice.sounding_ratio, voice.sounding_ratio_interval)


def cases() -> Iterator[Case]:
    """All pairs of one movement."""
    for number, whose in enumerate(WHOSE, 1):
        other = Playing(number)
        short, own = replace(other, ratio=DETACHED), Playing()
        yield Case("detached", whose, own, short)
        yield Case("connected", whose, short, own)
        yield Case("detached, drier", whose, replace(own, room=WET), replace(short, room=DRY))
        yield Case("detached, wetter", whose, replace(own, room=DRY), replace(short, room=WET))
        yield Case("drier", whose, replace(own, room=WET), replace(other, room=DRY))
        yield Case("wetter", whose, replace(own, room=DRY), replace(other, room=WET))
        yield Case("control", whose, own, replace(other, room=LIKE_ROOM))
        yield Case("control", whose, other, replace(own, room=LIKE_ROOM))


def leading(parts: Sequence[Part]) -> Part | None:
    """Who leads longest; None where nobody does."""
    rows = [
        np.array([[n.onset_s, n.end_s, n.pitch, n.velocity] for n in part.notes]) for part in parts
    ]
    written = [
        PartNotes(part.name, row[np.argsort(row[:, 0])], row[:0])
        for part, row in zip(parts, rows, strict=True)
    ]
    leads = [line.lead for line in lines_in(written, np.arange(LEAD_S, DURATION_S, 0.05), None)]
    return parts[max(dict.fromkeys(leads), key=leads.count)] if leads else None


def _long_alone(part: Part) -> int:
    """How many long notes it has that are no chord: a tune, not what goes along."""
    begun = Counter(round(note.onset_s, 2) for note in part.notes)
    return sum(
        note.duration_s >= _LONG_S and begun[round(note.onset_s, 2)] == 1 for note in part.notes
    )


def with_theme_held(part: Part, lead: Part, ratio: float) -> Part:
    """A part whose notes sound for that share where they are the theme's, at whatever octave."""
    begun = {(round(note.onset_s, 2), note.pitch % 12) for note in lead.notes}
    held = scale_durations(part, ratio, keep_rests=True)
    notes = tuple(
        new if (round(new.onset_s, 2), new.pitch % 12) in begun else old
        for old, new in zip(part.notes, held.notes, strict=True)
    )
    return replace(part, notes=notes)


class Movement:
    """A half minute, that whose theme has most long notes first, played in all ways asked for."""

    def __init__(self, number: int, name: str, scores: Path, cache: Path, span: int = 0) -> None:
        self.name, self._number, self._cache = name, number, cache
        self._font = SOUNDFONTS[number % len(SOUNDFONTS)]
        quarters = last_quarter(name, scores, cache)
        places = [sections(name, scores, cache, begin * quarters) for begin in _BEGINS]
        # Quick notes have no length that could be told; a theme in long ones has.
        self._parts, self.lead = sorted(
            ((parts, lead) for parts in places if (lead := leading(parts)) is not None),
            key=lambda one: _long_alone(one[1]),
            reverse=True,
        )[span]
        self._heard: dict[Playing, Features] = {}

    def heard(self, playing: Playing) -> Features:
        """One performance, from memory if it was heard before."""
        if playing not in self._heard:
            self._heard[playing] = self._features(self._played(playing), playing)
        return self._heard[playing]

    def _played(self, playing: Playing) -> Excerpt:
        parts: Sequence[Part] = [
            with_theme_held(part, self.lead, playing.ratio) for part in self._parts
        ]
        if playing.whose:
            tempo = TEMPI[playing.whose - 1]
            parts = again(parts, self._number + 3 * playing.whose, tempo, SCATTER_MS)
        others = [one for one in LIBRARIES if one != self._font]
        font = others[self._number % len(others)] if playing.whose == 2 else self._font
        return played(f"{self.name}-manner", parts, font, self._cache, DURATION_S + LONGER_S)

    @staticmethod
    def _features(music: Excerpt, playing: Playing) -> Features:
        samples = mix(music.stems, music.parts, *playing.room, sample_rate_hz=RATE_HZ)
        if playing.brighter:
            samples = SHELF(samples)
        return Features.of(Recording.from_array(0.3 * samples / np.abs(samples).max(), RATE_HZ))

    def told(self, case: Case, with_score: bool) -> Answer:
        """One pair."""
        reference, candidate = self.heard(case.reference), self.heard(case.candidate)
        written = laid(Excerpt(self._parts, {}), reference).parts if with_score else ()
        results = analyse(reference, candidate, align(reference, candidate), parts=written)
        return Answer(self.name, case, results, with_score, self._theme)

    @cached_property
    def _theme(self) -> dict[str, float]:
        """Of every part, which share of its notes are the theme's."""
        return {
            part.name: float(
                np.mean([a != b for a, b in zip(part.notes, short.notes, strict=True)])
            )
            for part in self._parts
            for short in (with_theme_held(part, self.lead, DETACHED),)
        }


def _estimate(value: float | None, limits: tuple[float, float] | None) -> Estimate | None:
    return None if value is None or limits is None else (value, limits)


def estimates(results: Results) -> dict[str, Estimate]:
    """What has to add up over three performances."""
    found = {aspect: one.difference for aspect, one in results.measurements.items()}
    tone, room = found["tone"], found["room"]
    swing = found["dynamics"].swing_db_per_db, found["dynamics"].swing_db_per_db_interval
    values: dict[str, Estimate | None] = {
        "wetness": _estimate(room.wetness_db, room.wetness_db_interval),
        "articulation": _estimate(
            found["articulation"].sounding_ratio, found["articulation"].sounding_ratio_interval
        ),
        "dynamics": None,
    }
    if swing[0] is not None and swing[1] is not None:  # a ratio adds up as its logarithm
        low, high = np.log(np.maximum(swing[1], 0.01)).tolist()
        values["dynamics"] = float(np.log(swing[0])), (low, high)
    for centre_hz, level_db, limits_db in zip(
        tone.band_centre_hz, tone.band_level_db, tone.band_level_db_interval, strict=True
    ):
        values[f"tone {centre_hz:g}"] = _estimate(level_db, limits_db)
    return {name: value for name, value in values.items() if value is not None}


def closed(movement: Movement) -> Iterator[tuple[str, str, bool]]:
    """Three performances: what was compared, which way, and whether it adds up."""
    first, second, third = (
        Playing(), Playing(1, room=WET, brighter=True), Playing(2, ratio=DETACHED),
    )  # fmt: skip
    ways = {
        "AB": (first, second), "BC": (second, third), "AC": (first, third), "BA": (second, first),
    }  # fmt: skip
    found = {
        name: estimates(movement.told(Case("", WHOSE[0], *way), False).results)
        for name, way in ways.items()
    }
    for what in found["AC"].keys() & found["AB"].keys() & found["BC"].keys():
        steps = [found[way][what] for way in ("AB", "BC", "AC")]
        left = steps[0][0] + steps[1][0] - steps[2][0]
        yield what, "adds up", abs(left) <= float(np.hypot.reduce([_half(one) for one in steps]))
    for what in found["AB"].keys() & found["BA"].keys():
        there, back = found["AB"][what], found["BA"][what]
        yield what, "mirrors", abs(there[0] + back[0]) <= 0.25 * (_half(there) + _half(back))


def _half(one: Estimate) -> float:
    return (one[1][1] - one[1][0]) / 2


def report(answers: Sequence[Answer]) -> str:
    """The figures as text, a line for each kind and whose instruments they are."""
    lines = []
    for kind in dict.fromkeys(one.case.kind for one in answers):
        for whose in WHOSE:
            group = [one for one in answers if (one.case.kind, one.case.whose) == (kind, whose)]
            if not group:
                continue
            count = len(group)
            lines.append(
                f"{kind}, {whose}: first is right in {sum(one.first_is_right for one in group)},"
                f" all told in {sum(not one.missing for one in group)}, something wrong in"
                f" {sum(bool(one.wrong) for one in group)} of {count}"
            )
    due = [one for one in answers if one.lengths_are_due]
    missed = [one for one in due if not one.lengths_are_told]
    lines.append(
        f"note lengths: told in {len(due) - len(missed)} of {len(due)}; of {len(missed)} missed"
        f" said in {sum(one.owns_up for one in missed)} that they can't be told"
    )
    held = [
        (one.held, one.case.candidate.ratio - one.case.reference.ratio)
        for one in answers
        if one.held is not None
    ]
    lines.append(_fit("sounding ratio", [one for one in held if one[0]], len(answers)))
    voices = [voice for one in answers for voice in one.voices]
    for what, some in (
        ("parts of the theme", [one for one in voices if one[1]]),
        ("parts that play as before", [one for one in voices if not one[1]]),
    ):
        lines.append(_fit(what, some, len(some)))
    changed = [one for one in answers if one.case.wetness_db]
    wet = [
        (estimates(one.results)["wetness"], one.case.wetness_db)
        for one in changed
        if "wetness" in estimates(one.results)
    ]
    lines.append(_fit("wetness", wet, len(changed)))
    signs = sum(found[0] * truth > 0 for found, truth in wet)
    sized = sum(1 / 1.5 <= found[0] / truth <= 1.5 for found, truth in wet)
    lines.append(f"  of {len(wet)}: sign right {signs}, within a factor of 1.5 {sized}")
    return "\n".join(lines)


def _fit(what: str, pairs: Sequence[tuple[Estimate, float]], asked: int) -> str:
    if not pairs:
        return f"{what}: never told"
    away = [found[0] - truth for found, truth in pairs]
    inside = [found[1][0] <= truth <= found[1][1] for found, truth in pairs]
    wide = [_half(found) for found, _ in pairs]
    return (
        f"{what}: told in {len(pairs)} of {asked}; error {np.median(np.abs(away)):.2f} median,"
        f" bias {np.median(away):+.2f}; intervals {np.median(wide):.2f} half wide hold"
        f" {np.mean(inside):.0%}"
    )


def spoken(answer: Answer) -> str:
    """One pair in a line."""
    told = "; ".join(
        f"{'!' if one in answer.wrong else ''}{one.kind} ({one.subject}) {one.difference:+.2f}"
        f" ({one.interval[0]:.2f} to {one.interval[1]:.2f}), {one.jnd:.1f} jnd"
        for one in answer.results.findings
        if one.aspect != "tempo"
    )
    wet = estimates(answer.results).get("wetness")
    numbers = [
        "no articulation" if answer.held is None else "held {:+.2f} ({:+.2f} to {:+.2f})".format(
            answer.held[0], *answer.held[1]),
        "no wetness" if wet is None else "wet {:+.1f} ({:+.1f} to {:+.1f})".format(wet[0], *wet[1]),
    ]  # fmt: skip
    mark = "!" if answer.wrong else "." if answer.missing else "+"
    case = f"{answer.case.kind}, {answer.case.whose}{', score' if answer.with_score else ''}"
    return f"{mark} {answer.movement}, {case}: {told or '-'} [{', '.join(numbers)}]"


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the tables."""
    parser = over_scores(__doc__, by_pair=True)
    parser.add_argument("--score", action="store_true", help="the notes are known")
    parser.add_argument("--closure", action="store_true", help="three performances instead")
    parser.add_argument("--spans", type=int, default=1, help="half minutes of each movement")
    options = parser.parse_args(arguments)
    cache = cache_folder(options.cache)
    answers, sums = [], []
    asked = [(*one, span) for one in movements(options) for span in range(options.spans)]
    for number, name, span in asked:
        movement = Movement(number, name, options.scores, cache, span)
        print(f"{name} {span}: {movement.lead.name}", flush=True)
        if options.closure:
            for what, way, fits in closed(movement):
                sums.append((what.split()[0], way, fits))
                if not fits:
                    print(f"{name}: {what} {way} not", flush=True)
            continue
        for case in cases():
            if options.only in f"{name} {case.kind} {case.whose}":
                answers.append(movement.told(case, options.score))
                print(spoken(answers[-1]), flush=True)
    for kind in dict.fromkeys(one[:2] for one in sums):
        fits = [one[2] for one in sums if one[:2] == kind]
        print(f"{' '.join(kind)}: {sum(fits)} of {len(fits)}")
    if answers:
        print(report(answers))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
