"""One take, one section changed, and one or two things done to the whole mix besides.

``python -m tests.benchmarks.crossed SCORES [--set reporting] [--part 0/2] [--cache F] [--each]``
with SCORES a folder of scores (see :mod:`tests.benchmarks.symphonic`). For every movement: each
operation on the whole alone, some of them two by two, and the same with a section raised or
lowered by 4 to 6 dB. A section counts where its dry level lies within 12 dB of the whole. Printed:
elements found with the right sign in their own range, sizes, how often intervals hold, which
operations were named for what they are, and what was told that is not there.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
from scipy import signal

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.findings.finding import Span
from tests import operations
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.elements import element_band_hz, overlap
from tests.benchmarks.rendering import mix
from tests.benchmarks.scenes import Stems
from tests.benchmarks.symphonic import RATE_HZ, Excerpt, movements, over_scores
from tests.benchmarks.tails import OWN_ROOM, ROOMS, Room, heard_sections, in_own_room

FloatArray = npt.NDArray[np.float64]

CHANGES_DB = (5.0, -5.0, 4.0, -4.0, 6.0, -6.0)
PAIRS_OF_TWO = 6
CHANGED_PAIRS_OF_TWO = 6


@dataclass(frozen=True)
class Whole:
    """Something done to the whole mix.

    Attributes
    ----------
    name : str
    done : callable or None
        To the samples; None for another room.
    told : str
        Regular expression for the kind that names it; empty where nothing is to be told.
    allowed : str
        Kinds that may be told besides.
    order : int
        Where it stands in the chain.
    """

    name: str
    done: Callable[[FloatArray], FloatArray] | None
    told: str
    allowed: str = "$^"
    order: int = 0


def _compressed(take: FloatArray) -> FloatArray:
    """2:1 throughout, made up to the level before."""
    squeezed = operations.squeezed(take, 2, -90)
    return squeezed * np.sqrt((take**2).mean() / (squeezed**2).mean())


_LOW_CUT = operations.Cut(2, 120, "high")
WHOLES = (
    Whole("tail", None, "", "wetter|drier|decay_.*|tail_.*|narrower|wider"),
    Whole("shelf up", operations.high_shelf(3000, 4), "tone_brighter|tone_band_louder", order=1),
    Whole("shelf down", operations.high_shelf(3000, -4), "tone_darker|tone_band_weaker", order=1),
    Whole("bell", operations.Filter(signal.butter(1, (700, 1400), "band", fs=RATE_HZ), 4),
          "tone_band_louder|tone_mids_louder", order=1),
    Whole("low shelf", operations.low_shelf(200, -4), "tone_band_weaker|tone_low_end_weaker",
          order=1),
    Whole("low cut", _LOW_CUT, "low_cut_added", order=1),
    Whole("narrower", lambda x: operations.sides(x, 0.6), "narrower", order=2),
    Whole("wider", lambda x: operations.sides(x, 1.4), "wider", order=2),
    Whole("late", lambda x: operations.late(x, 0.0006), "right_later", order=3),
    Whole("compression", _compressed, "dynamics_smaller", order=4),
    Whole("fade", lambda x: operations.ridden(x, [0, len(x) / RATE_HZ], [0, -6]), "whole_fades",
          order=5),
    Whole("ride", lambda x: operations.ridden(x, [10, 10.3, 16, 16.3], [0, 4, 4, 0]),
          "whole_louder", order=5),
    Whole("hiss", lambda x: x + 0.002 * np.random.default_rng(0).standard_normal(x.shape),
          "hiss_added", order=6),
    Whole("hum", operations.hum, "hum_added", order=6),
    Whole("gain", lambda x: operations.gain(x, -5), "", order=7),
    Whole("codec", lambda x: operations.coded(x, "OGG"), "", order=8),
)  # fmt: skip
BESIDE_A_CHANGE = ("tail", "shelf up", "shelf down", "bell", "low shelf", "narrower", "wider",
                   "compression", "gain", "codec")  # fmt: skip


@dataclass(frozen=True)
class Told:
    """One pair and what was told of it."""

    movement: str
    section: str | None
    change_db: float
    wholes: tuple[Whole, ...]
    element: Finding | None
    named: tuple[bool, ...]
    false: tuple[Finding, ...]
    findings: tuple[Finding, ...]


def cases(heard: Sequence[str], seed: int) -> Iterator[tuple[str | None, float, tuple[Whole, ...]]]:
    """Section, its change, and what is done to the whole."""
    rng = np.random.default_rng(seed)
    twos = [two for two in itertools.combinations(WHOLES, 2) if two[0].order != two[1].order]
    yield from ((None, 0.0, (whole,)) for whole in WHOLES)
    for index in rng.choice(len(twos), PAIRS_OF_TWO, replace=False):
        yield None, 0.0, twos[index]
    beside = [whole for whole in WHOLES if whole.name in BESIDE_A_CHANGE]
    few = [two for two in twos if all(whole in beside for whole in two)]
    chosen: list[tuple[Whole, ...]] = [(), *((whole,) for whole in beside)]
    chosen += [few[i] for i in rng.choice(len(few), CHANGED_PAIRS_OF_TWO, replace=False)]
    sections = rng.permutation(len(heard))
    for index, wholes in enumerate(chosen):
        change_db = CHANGES_DB[(index + seed) % len(CHANGES_DB)]
        yield heard[sections[index % len(heard)]], change_db, wholes


def answers(
    named: Sequence[tuple[int, str]], scores: Path, cache: Path, only: str = ""
) -> Iterator[Told]:
    """All pairs of all movements."""
    for number, name, music, scale, reference in in_own_room(named, scores, cache):
        tails = itertools.cycle(ROOMS[number % len(ROOMS) :] + ROOMS[: number % len(ROOMS)])
        for section, change_db, wholes in cases(heard_sections(music), number):
            other = any(whole.done is None for whole in wholes)
            room = next(tails) if other else OWN_ROOM
            words = f"{name} {section or 'nothing'} {[w.name for w in wholes]}"
            if only not in words:
                continue
            yield _told(name, music, reference, scale, section, change_db, wholes, room)


def _told(
    name: str,
    music: Excerpt,
    reference: Features,
    scale: float,
    section: str | None,
    change_db: float,
    wholes: tuple[Whole, ...],
    room: Room,
) -> Told:
    gains = {section: change_db} if section else {}
    samples = scale * mix(music.stems, music.parts, *room, gains, sample_rate_hz=RATE_HZ)
    for whole in sorted(wholes, key=lambda whole: whole.order):
        samples = whole.done(samples) if whole.done else samples
    candidate = Features.of(Recording.from_array(samples, RATE_HZ))
    findings = analyse(reference, candidate, align(reference, candidate)).findings
    left = list(findings)
    element = None
    if section:
        band = element_band_hz(Stems(music.stems, music.parts), [section])
        element = next((one for one in left if is_section(one, change_db, band)), None)
        left = [one for one in left if one is not element]
    named = []
    for whole in wholes:
        one = next((f for f in left if whole.told and re.fullmatch(whole.told, f.kind)), None)
        named.append(one is not None or not whole.told)
        left = [f for f in left if f is not one]
    for whole in wholes:
        left = [f for f in left if not re.fullmatch(whole.allowed, f.kind)]
    return Told(
        name, section, change_db, wholes, element, tuple(named), tuple(left), tuple(findings)
    )


def is_section(finding: Finding, change_db: float, band_hz: Span) -> bool:
    return (
        finding.aspect == "balance"
        and finding.difference * change_db > 0
        and finding.band_hz is not None
        and overlap(finding.band_hz, band_hz) > 0.5
    )


def report(told: Sequence[Told]) -> str:
    """The figures as text."""
    lines = []
    for words, count in (("no", 0), ("one", 1), ("two", 2)):
        for tail in (False, True):
            group = [
                one
                for one in told
                if one.section
                and len(one.wholes) == count
                and any(whole.done is None for whole in one.wholes) == tail
            ]
            if group:
                found = sum(one.element is not None for one in group)
                whole = sum(one.element is not None and all(one.named) for one in group)
                lines.append(
                    f"section beside {words} operation{'s' * (count != 1)} on the whole"
                    f"{', one another tail' * tail}: found {found} of {len(group)}, everything"
                    f" told in {whole}, something false in {sum(bool(o.false) for o in group)}"
                )
    right = [one for one in told if one.element]
    if right:
        errors = np.abs([abs(o.element.difference) - abs(o.change_db) for o in right if o.element])
        held = [min(o.element.interval) <= o.change_db <= max(o.element.interval)
                for o in right if o.element]  # fmt: skip
        lines.append(
            f"size error {np.median(errors):.2f} dB median, {np.percentile(errors, 90):.2f} at the"
            f" 90th percentile; interval holds the truth in {sum(held)} of {len(held)}"
        )
    for whole in WHOLES:
        group = [one for one in told if whole in one.wholes]
        alone = [one for one in group if one.section is None]
        counts = [
            f"{sum(one.named[one.wholes.index(whole)] for one in some)} of {len(some)} {words}"
            for words, some in (("alone", [one for one in alone if len(one.wholes) == 1]),
                                ("beside another", [one for one in alone if len(one.wholes) > 1]),
                                ("beside a section", [one for one in group if one.section]))
            if some
        ]  # fmt: skip
        lines.append(f"{whole.name}: named in {', '.join(counts)}" if whole.told else "")
    quiet = [one for one in told if one.section is None]
    balance = sum(any(f.aspect == "balance" for f in one.false) for one in quiet)
    lines.append(
        f"pairs without a changed section: {len(quiet)}; something false in"
        f" {sum(bool(one.false) for one in quiet)}, an element in {balance}"
    )
    return "\n".join(filter(None, lines))


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    parser = over_scores(__doc__)
    parser.add_argument("--only", default="", help="pairs with this in their description")
    options = parser.parse_args(arguments)
    told = []
    for one in answers(
        movements(options), options.scores, cache_folder(options.cache), options.only
    ):
        told.append(one)
        words = "; ".join(
            f"{'' if f in one.false else '+'}{f.kind} {f.difference:+.1f}"
            f" ({f.interval[0]:.1f} to {f.interval[1]:.1f})"
            for f in one.findings
        )
        good = not one.false and all(one.named) and bool(one.element) == bool(one.section)
        print(
            f"{'+' if good else '!' if one.false else '.'} {one.movement}"
            f" {one.section or 'nothing'} {one.change_db:+.0f}"
            f" [{', '.join(whole.name for whole in one.wholes)}]: {words or '-'}",
            flush=True,
        )
    print(report(told))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
