"""Whether what is said to go unnoticed does, and what is said to be found is found.

``python -m tests.benchmarks.unseen SCORES [--set reporting] [--part 0/2] [--cache F]``. For every
movement (see :mod:`tests.benchmarks.symphonic`) and several things done to the whole mix: of a pair
in which no section changed it is read how much a section could have changed in the octave in which
it carries most. Then the section is raised by one and a half times as much, and by half as much.
The first is to be listed, the second is not.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.aspects.balance.values import OCTAVE_REGISTERS_HZ
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.findings.detectable import Detectable
from mixcompare.results import Results
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests import operations
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.crossed import is_section
from tests.benchmarks.elements import element_band_hz
from tests.benchmarks.rendering import mix
from tests.benchmarks.scenes import Stems
from tests.benchmarks.symphonic import RATE_HZ, Excerpt, excerpt, movements, over_scores
from tests.benchmarks.tails import OWN_ROOM, ROOMS, SOUNDFONTS, Room

FloatArray = npt.NDArray[np.float64]

SECTIONS = 2
TENTH, THIRD = 0.1, 0.3
SHARES = {TENTH: (0.06, 0.17), THIRD: (0.17, 0.5)}
"""A section that carries so much of an octave is asked by the figure for the one or the other."""
WHOLES = ("nothing", "narrower, brighter", "codec", "other tail")


@dataclass(frozen=True)
class Asked:
    """One section under one thing done to the whole."""

    movement: str
    whole: str
    section: str
    share: float
    least_db: float | None
    found_above: bool
    found_below: bool


def answers(named: Sequence[tuple[int, str]], scores: Path, cache: Path) -> Iterator[Asked]:
    """All sections asked in all movements."""
    for number, name in named:
        music = excerpt(name, scores, SOUNDFONTS[number % len(SOUNDFONTS)], cache)
        take = mix(music.stems, music.parts, *OWN_ROOM, sample_rate_hz=RATE_HZ)
        scale = 0.3 / np.abs(take).max()
        reference = Features.of(Recording.from_array(scale * take, RATE_HZ))
        shares = _shares(music)
        some = np.random.default_rng(number).permutation(sorted(shares))[:SECTIONS]
        for whole in WHOLES:
            room = ROOMS[number % len(ROOMS)] if whole == "other tail" else OWN_ROOM
            told = partial(_told, music, reference, scale, room, whole)
            least = told(str(some[0]), 0.0).detectable if len(some) else ()
            for section in map(str, some):
                band, share = shares[section]
                least_db = _least_db(least, band, share)
                if least_db is None:
                    yield Asked(name, whole, section, share, None, False, False)
                    continue
                own_hz = element_band_hz(Stems(music.stems, music.parts), [section])
                found = [
                    any(
                        is_section(one, change_db, own_hz)
                        for one in told(section, change_db).findings
                    )
                    for change_db in (1.5 * least_db, 0.5 * least_db)
                ]
                yield Asked(name, whole, section, share, least_db, found[0], found[1])


def _told(
    music: Excerpt,
    reference: Features,
    scale: float,
    room: Room,
    whole: str,
    section: str,
    change_db: float,
) -> Results:
    gains_db = {section: change_db}
    samples = scale * mix(music.stems, music.parts, *room, gains_db, sample_rate_hz=RATE_HZ)
    if whole == "narrower, brighter":
        samples = operations.sides(operations.high_shelf(3000, 4)(samples), 0.6)
    elif whole == "codec":
        samples = operations.coded(samples, "OGG")
    candidate = Features.of(Recording.from_array(samples, RATE_HZ))
    return analyse(reference, candidate, align(reference, candidate))


def _shares(music: Excerpt) -> dict[str, tuple[int, float]]:
    """Sections with the octave in which they carry the most of the whole, and how much."""
    gains = {part.name: 10 ** (part.gain_db / 10) for part in music.parts}
    powers = {name: gains[name] * _octaves(stem) for name, stem in music.stems.items()}
    whole = sum(powers.values())
    loud = whole > 0.01 * np.max(whole)
    out = {}
    for name, power in powers.items():
        share = np.where(loud, power / np.maximum(whole, 1e-30), 0.0)
        band = int(np.argmax(np.where(loud, power, 0.0)))
        if SHARES[TENTH][0] <= share[band] < SHARES[THIRD][1]:
            out[name] = band, float(share[band])
    return out


def _octaves(stem: FloatArray) -> FloatArray:
    features = Features.of(Recording.from_array(0.1 * stem / np.abs(stem).max(), RATE_HZ))
    power = features.band_power.sum(axis=(0, 2), dtype=np.float64) * float(np.abs(stem).max()) ** 2
    centre = THIRD_OCTAVE_CENTRES_HZ
    return np.array(
        [power[(centre > low) & (centre < high)].sum() for low, high in OCTAVE_REGISTERS_HZ]
    )


def _least_db(least: Sequence[Detectable], band: int, share: float) -> float | None:
    asked = TENTH if share < SHARES[TENTH][1] else THIRD
    return next(
        (
            one.level_db
            for one in least
            if one.band_hz == OCTAVE_REGISTERS_HZ[band] and one.element_share == asked
        ),
        None,
    )


def report(asked: Sequence[Asked]) -> str:
    """The figures as text."""
    lines = []
    for whole in (*WHOLES, "all"):
        group = [one for one in asked if whole in (one.whole, "all")]
        known = [one for one in group if one.least_db is not None]
        if not known:
            continue
        lines.append(
            f"{whole}: could be told for {len(known)} of {len(group)} (median"
            f" {np.median([one.least_db or 0.0 for one in known]):.1f} dB); half as much again is"
            f" listed in {sum(o.found_above for o in known)} of {len(known)}, half of it in"
            f" {sum(o.found_below for o in known)}"
        )
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__).parse_args(arguments)
    asked = []
    for one in answers(movements(options), options.scores, cache_folder(options.cache)):
        asked.append(one)
        least = "-" if one.least_db is None else f"{one.least_db:g} dB"
        print(
            f"{one.movement} {one.whole}: {one.section} ({one.share:.0%} of its octave),"
            f" {least}: above {'found' if one.found_above else 'not found'}, below"
            f" {'found' if one.found_below else 'not found'}",
            flush=True,
        )
    print(report(asked))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
