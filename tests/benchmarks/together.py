"""One take, two sections changed to the same side at once: are both told, each with its own size?

``python -m tests.benchmarks.together SCORES [--set reporting] [--part 0/2] [--cache F] [--only W]``
with SCORES a folder of scores (see :mod:`tests.benchmarks.symphonic`). For every movement: pairs of
sections that are heard (as in :mod:`tests.benchmarks.tails`) raised or lowered by 3 to 6 dB, alike
or not, and every section alone. Each element that is found belongs to the section whose own cells
it is likest. Two sections count as apart where they sit 0.6 apart (right less left over the whole,
by the law of constant power). Printed: pairs told as two, sizes, how often intervals hold; sections
alone that were told as two.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.timemap import sample_frames
from mixcompare.analysis import matched
from mixcompare.elements.change import Change, overlap
from mixcompare.elements.take import split_pair
from mixcompare.features import SEMITONE_RATE_HZ, Features
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.pair import Pair, aligned
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.symphonic import Excerpt, movements, over_scores
from tests.benchmarks.tails import heard_in_own_room, heard_sections, in_own_room

FloatArray = npt.NDArray[np.float64]

SIZES_DB = ((5.0, 5.0), (6.0, 3.0), (-5.0, -5.0), (-3.0, -6.0), (4.0, 4.0), (-6.0, -4.0))
PAIRS = 8
APART = 0.6


@dataclass(frozen=True)
class Told:
    """One pair: what was changed, how alike their cells are, how far apart, and what was found."""

    words: str
    changes_db: Mapping[str, float]
    alike: float
    apart: float
    found: tuple[Change, ...]
    whose: tuple[str, ...]
    likeness: tuple[float, ...]

    @property
    def right(self) -> dict[str, Change]:
        """Of every changed section, the element that is likest to it."""
        out: dict[str, Change] = {}
        best: dict[str, float] = {}
        for one, name, alike in zip(self.found, self.whose, self.likeness, strict=True):
            same_sign = one.difference_db * self.changes_db[name] > 0
            if same_sign and alike > best.get(name, 0.0):
                out[name], best[name] = one, alike
        return out


def answers(
    named: Sequence[tuple[int, str]], scores: Path, cache: Path, only: str = ""
) -> Iterator[Told]:
    """All pairs of all movements."""
    for number, name, music, scale, reference in in_own_room(named, scores, cache):
        alone: dict[str, npt.NDArray[np.float32]] = {}
        for changes_db in cases(heard_sections(music), number):
            words = f"{name} {', '.join(f'{one} {by:+.0f}' for one, by in changes_db.items())}"
            if only in words:
                pair = _pair(reference, heard_in_own_room(music, scale, changes_db))
                for one in changes_db:
                    if one not in alone:
                        alone[one] = _alone(music, scale, one)
                cells = [_on_cells(alone[one], pair) for one in changes_db]
                pans = [part.pan for part in music.parts if part.name in changes_db]
                apart = float(np.ptp(np.sin(np.pi / 2 * np.array(pans))))
                yield _told(words, changes_db, pair, cells, apart)


def cases(heard: Sequence[str], seed: int) -> Iterator[dict[str, float]]:
    """Sections and what they are changed by."""
    rng = np.random.default_rng(seed + 7)
    twos = list(itertools.combinations(heard, 2))
    for index, which in enumerate(rng.permutation(len(twos))[:PAIRS]):
        yield dict(zip(twos[which], SIZES_DB[(index + seed) % len(SIZES_DB)], strict=True))
    for index, one in enumerate(heard):
        yield {one: (5.0, -5.0)[(index + seed) % 2]}


@one_numeric_thread
def _pair(reference: Features, candidate: Features) -> Pair:
    pair, _ = matched(aligned(reference, candidate, align(reference, candidate)))
    return pair


def _alone(music: Excerpt, scale: float, section: str) -> npt.NDArray[np.float32]:
    """The section's own semitones in the reference's room."""
    stems = {name: stem * (name == section) for name, stem in music.stems.items()}
    return heard_in_own_room(Excerpt(music.parts, stems), scale).semitone_power


def _on_cells(power: npt.NDArray[np.float32], pair: Pair) -> FloatArray:
    """The same on the pair's cells."""
    grid_hz = 440 * 2 ** ((np.arange(28, 113) - 69) / 12)  # MIDI 28 to 112
    cells = sample_frames(power, SEMITONE_RATE_HZ, pair.of_elements.times_s)
    inside = pair.of_elements.centre_hz < 5_500
    bands = np.abs(np.log2(pair.of_elements.centre_hz[inside, None] / grid_hz)).argmin(axis=1)
    return np.asarray(cells[:, bands], np.float64)


@one_numeric_thread
def _told(
    words: str,
    changes_db: Mapping[str, float],
    pair: Pair,
    cells: Sequence[FloatArray],
    apart: float,
) -> Told:
    found = split_pair(pair).changes
    semitones = cells[0].shape[1]
    alike = [[overlap(one.energy[:, :semitones], own) for own in cells] for one in found]
    names = list(changes_db)
    return Told(
        words,
        changes_db,
        overlap(*cells) if len(cells) > 1 else 0.0,
        apart,
        found,
        tuple(names[int(np.argmax(row))] for row in alike),
        tuple(max(row) for row in alike),
    )


def report(told: Sequence[Told]) -> str:
    """The figures as text."""
    twos = [one for one in told if len(one.changes_db) > 1]
    lines = []
    for words, group in (
        ("apart", [one for one in twos if one.apart >= APART]),
        ("side by side", [one for one in twos if one.apart < APART]),
    ):
        both = [one for one in group if len(one.right) == 2]
        more = sum(len(one.found) > 2 for one in group)
        lines.append(f"two sections, {words}: told as two {len(both)} of {len(group)}, more {more}")
        if both:
            lines.append(f"  sizes: {_sizes(both)}")
        ones = [one for one in group if len(one.right) == 1]
        if ones:
            held = sum(_holds_all(one) for one in ones)
            lines.append(f"  told as one: {len(ones)}, whose interval holds both sizes in {held}")
    alone = [one for one in told if len(one.changes_db) == 1]
    same = [one for one in alone if _same_side(one) > 1]
    lines.append(
        f"one section: found {sum(bool(one.right) for one in alone)} of {len(alone)},"
        f" told as two {len(same)}; sizes: {_sizes([one for one in alone if one.right])}"
    )
    return "\n".join(lines)


def _same_side(one: Told) -> int:
    return sum(f.difference_db * next(iter(one.changes_db.values())) > 0 for f in one.found)


def _holds_all(one: Told) -> bool:
    (found,) = one.right.values()
    return all(found.interval[0] <= by <= found.interval[1] for by in one.changes_db.values())


def _sizes(told: Sequence[Told]) -> str:
    pairs = [(one.changes_db[name], f) for one in told for name, f in one.right.items()]
    errors = np.abs([abs(f.difference_db) - abs(truth) for truth, f in pairs])
    held = sum(f.interval[0] <= truth <= f.interval[1] for truth, f in pairs)
    return (
        f"error {np.median(errors):.2f} dB median, {np.percentile(errors, 90):.2f} at the 90th"
        f" percentile; interval holds the truth in {held} of {len(pairs)}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    parser = over_scores(__doc__, by_pair=True)
    options = parser.parse_args(arguments)
    told = []
    for one in answers(
        movements(options), options.scores, cache_folder(options.cache), options.only
    ):
        told.append(one)
        found = "; ".join(
            f"{f.difference_db:+.1f} ({f.interval[0]:.1f} to {f.interval[1]:.1f}) {name}"
            f" {alike:.2f}"
            for f, name, alike in zip(one.found, one.whose, one.likeness, strict=True)
        )
        good = len(one.right) == len(one.changes_db) == len(one.found)
        where = f"{one.apart:.1f} apart, alike {one.alike:.2f}"
        print(f"{'+' if good else '.'} {one.words}, {where}: {found or '-'}", flush=True)
    print(report(told))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
