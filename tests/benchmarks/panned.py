"""One take in a room, one section panned elsewhere: is it told, and how far did it go?

``python -m tests.benchmarks.panned SCORES [--set reporting] [--part 0/2] [--cache F] [--only W]``
with SCORES a folder of scores (see :mod:`tests.benchmarks.symphonic`). In every movement each
section that is heard is panned by 0.6 to 1.2 of the way, its level as it was, the room as it was:
only the direct sound moves. Truth is the place of the direct sound by the law of constant power.
Printed: told, to the right side, by how much, and how often the interval holds the truth.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from mixcompare.alignment import align
from mixcompare.analysis import matched
from mixcompare.elements.panned import Panned, find_panned
from mixcompare.features import Features
from mixcompare.numerics import one_numeric_thread
from mixcompare.pair.pair import aligned
from tests.benchmarks.corpus import cache_folder
from tests.benchmarks.symphonic import movements, over_scores
from tests.benchmarks.tails import heard_in_own_room, heard_sections, in_own_room

BY = (0.6, -0.8, 1.0, -1.2)
FURTHEST = 0.9


@dataclass(frozen=True)
class Told:
    """One section panned: where from, where to, and what was found."""

    words: str
    moved: float
    found: tuple[Panned, ...]

    @property
    def right(self) -> Panned | None:
        """What went to that side, if anything."""
        fits = [one for one in self.found if _moved(one) * self.moved > 0]
        return max(fits, key=lambda one: float(one.energy.sum())) if fits else None


def _moved(one: Panned) -> float:
    return one.to_position - one.from_position


def position(pan: float) -> float:
    """Place of a source that is panned with constant power."""
    angle = (pan + 1) * np.pi / 4
    return float((np.sin(angle) - np.cos(angle)) / (np.sin(angle) + np.cos(angle)))


def answers(
    named: Sequence[tuple[int, str]], scores: Path, cache: Path, only: str = ""
) -> Iterator[Told]:
    """All sections of all movements."""
    for number, name, music, scale, reference in in_own_room(named, scores, cache):
        for index, section in enumerate(heard_sections(music)):
            pan = next(part.pan for part in music.parts if part.name == section)
            by = BY[(index + number) % len(BY)]
            to = pan + by if abs(pan + by) <= FURTHEST else pan - by
            to = float(np.clip(to, -FURTHEST, FURTHEST))
            words = f"{name} {section} {position(pan):+.2f} to {position(to):+.2f}"
            if only in words:
                parts = tuple(
                    replace(part, pan=to) if part.name == section else part for part in music.parts
                )
                candidate = heard_in_own_room(replace(music, parts=parts), scale)
                yield Told(words, position(to) - position(pan), _found(reference, candidate))


@one_numeric_thread
def _found(reference: Features, candidate: Features) -> tuple[Panned, ...]:
    pair, _ = matched(aligned(reference, candidate, align(reference, candidate)))
    return find_panned(pair)


def report(told: Sequence[Told]) -> str:
    """The figures as text."""
    right = [(one.moved, one.right) for one in told if one.right is not None]
    if not right:
        return f"told 0 of {len(told)}"
    ratio = [_moved(found) / truth for truth, found in right]
    errors = [abs(_moved(found) - truth) for truth, found in right]
    held = sum(found.interval[0] <= truth <= found.interval[1] for truth, found in right)
    return (
        f"told {len(right)} of {len(told)}, further ones in"
        f" {sum(len(one.found) > (one.right is not None) for one in told)}; of the way"
        f" {np.median(ratio):.2f} median ({np.min(ratio):.2f} to {np.max(ratio):.2f}); error"
        f" {np.median(errors):.2f} median, {np.percentile(errors, 90):.2f} at the 90th percentile;"
        f" interval holds the truth in {held} of {len(right)}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Make the pairs and print the table."""
    options = over_scores(__doc__, by_pair=True).parse_args(arguments)
    told = []
    for one in answers(
        movements(options), options.scores, cache_folder(options.cache), options.only
    ):
        told.append(one)
        found = "; ".join(
            f"{f.from_position:+.2f} to {f.to_position:+.2f} ({f.interval[0]:+.2f} to"
            f" {f.interval[1]:+.2f})"
            for f in one.found
        )
        print(f"{'+' if one.right else '.'} {one.words}: {found or '-'}", flush=True)
    print(report(told))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
