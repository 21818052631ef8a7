"""Is the relative wetness right in sign, and silent where the room stays? Pairs with known rooms.

``python -m tests.benchmarks.rooms [--pairs 90] [--first 0] [--align] [--list] [--tails]``

Each pair is one made-up piece in a diffuse room. By turns the candidate is the same take or
another performance (onsets scatter by 12 ms, levels by 1 dB, other instruments, another tempo), and
its reverberation is stronger or weaker by 3 to 6 dB, or the same. Level and tone of the candidate
change besides. All is drawn from the pair's number. The time map is the true one unless
``--align`` is given. One rule (tails that were cut) followed from pairs below 180; report figures
of later ones. ``--tails`` prints the table of
:mod:`tests.benchmarks.added_tails` instead.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import room
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.match import Match
from tests import synthetic
from tests.benchmarks import added_tails
from tests.benchmarks.coverage import tilted
from tests.pairs import Remembering

analyzer = Remembering(room.analyzer)

FloatArray = npt.NDArray[np.float64]

_WAYS = (1, -1, 0)
_FIRST_NOTE_S = 0.3


def added_db(ours_db: float, theirs_db: float) -> float:
    """The wetness as :mod:`mixcompare.pair.wetness` means it: energy added to the drier one.

    Parameters
    ----------
    ours_db, theirs_db : float
        Reverberation of reference and candidate, against the direct sound.
    """
    ours, theirs = (10 ** (level_db / 10) for level_db in (ours_db, theirs_db))
    added = abs(theirs - ours) / (1 + min(ours, theirs))
    return float(np.sign(theirs - ours) * 10 * np.log10(1 + 2 * added))


@dataclass(frozen=True)
class Change:
    """What was done to the candidate: its reverberation against the reference's, and the rest."""

    same_take: bool
    decay_s: float
    reverberation_db: float
    change_db: float
    gain_db: float
    tilt_db_per_octave: float
    duration_ratio: float

    @classmethod
    def drawn(cls, number: int) -> Change:
        """The change of a pair's number; kinds take turns."""
        draw = np.random.default_rng([number, 11])
        way = _WAYS[number % 3]
        same_take = (number // 3) % 2 == 0
        size_db, weaker_db = float(draw.uniform(3, 6)), float(draw.uniform(-9, -3))
        return cls(
            same_take=same_take,
            decay_s=float(draw.uniform(1.0, 2.6)),
            # The drier one of both lies 3 to 9 dB under the direct sound.
            reverberation_db=weaker_db + (size_db if way < 0 else 0.0),
            change_db=way * size_db,
            gain_db=float(draw.uniform(-9, 6)),
            tilt_db_per_octave=float(draw.uniform(-1, 1)),
            duration_ratio=1.0 if same_take else float(draw.uniform(0.96, 1.04)),
        )

    @property
    def wetness_db(self) -> float:
        """The truth."""
        return added_db(self.reverberation_db, self.reverberation_db + self.change_db)


@dataclass(frozen=True)
class Told:
    """What was said about one pair."""

    number: int
    change: Change
    wetness_db: float | None
    held: bool
    kinds: tuple[str, ...]

    @property
    def right(self) -> bool:
        """Whether the sign of a change is right."""
        return self.wetness_db is not None and self.wetness_db * self.change.change_db > 0


def played(number: int) -> tuple[Features, Features, Change]:
    """Both recordings of a pair."""
    change = Change.drawn(number)
    reference = candidate = synthetic.play(number)
    if not change.same_take:
        draw = np.random.default_rng([number, 13])
        candidate = synthetic.play(
            number,
            beat_s=0.6 * change.duration_ratio,
            scatter_s=0.012,
            scatter_db=1.0,
            performance=2,
            brightness_db=float(draw.uniform(-1, 1)),
        )
    seed = 1 if change.same_take else 2
    reference = synthetic.in_room(reference, change.decay_s, change.reverberation_db)
    level_db = change.reverberation_db + change.change_db
    candidate = synthetic.in_room(candidate, change.decay_s, level_db, seed=seed)
    candidate = tilted(candidate, change.tilt_db_per_octave, synthetic.RATE_HZ)
    candidate = 10 ** (change.gain_db / 20) * candidate
    features = [
        Features.of(Recording.from_array(samples, synthetic.RATE_HZ))
        for samples in (reference, candidate)
    ]
    return features[0], features[1], change


def judged(number: int, aligned: bool = False) -> Told:
    """Compare the rooms of one pair."""
    reference, candidate, change = played(number)
    ratio = change.duration_ratio
    seconds = min(reference.duration_s, candidate.duration_s / ratio)
    time_map = TimeMap.linear((1 - ratio) * _FIRST_NOTE_S, ratio, 0.0, seconds - 0.1)
    if aligned:
        time_map = align(reference, candidate).time_map
    difference = analyzer.compare(reference, candidate, Match(time_map, same_take=change.same_take))
    around = difference.wetness_db_interval
    return Told(
        number=number,
        change=change,
        wetness_db=difference.wetness_db,
        held=around is not None and around[0] <= change.wetness_db <= around[1],
        kinds=tuple(finding.kind for finding in analyzer.findings(difference)),
    )


def summary(told: Sequence[Told]) -> str:
    """One line of figures on a group of pairs."""
    changed = [one for one in told if one.change.change_db]
    same = [one for one in told if not one.change.change_db]
    answered = [one for one in changed if one.wetness_db is not None]
    found = [one for one in changed if one.kinds]
    right = sum(one.right for one in answered)
    found_right = sum(one.right for one in found)
    silent = sum(not one.kinds for one in same)
    errors = [
        one.wetness_db - one.change.wetness_db for one in answered if one.wetness_db is not None
    ]
    held = sum(one.held for one in answered)
    return (
        f"{len(changed):7} {right:4}/{len(answered):<4} {found_right:4}/{len(found):<4}"
        f" {silent:4}/{len(same):<4} {np.median(np.abs(errors)) if errors else np.nan:9.2f}"
        f" {np.median(errors) if errors else np.nan:+8.2f} {held:4}/{len(answered):<4}"
    )


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--pairs", type=int, default=90)
    parser.add_argument("--first", type=int, default=0)
    parser.add_argument("--align", action="store_true", help="use the map that alignment finds")
    parser.add_argument("--list", action="store_true", help="print every pair, too")
    parser.add_argument("--tails", action="store_true", help="only tails added to one take")
    options = parser.parse_args(arguments)
    if options.tails:
        folder = os.environ.get("MIXCOMPARE_REAL_AUDIO")
        added_tails.table(options.pairs, Path(folder) if folder else None)
        return 0
    told = []
    for number in range(options.first, options.first + options.pairs):
        one = judged(number, options.align)
        told.append(one)
        if options.list:
            kind = "same take" if one.change.same_take else "other"
            value = "none" if one.wetness_db is None else f"{one.wetness_db:+.2f}"
            print(
                f"{number:4} {kind:9} T {one.change.decay_s:.2f} s,"
                f" reverberation {one.change.change_db:+.1f} dB,"
                f" wetness {one.change.wetness_db:+.2f} read {value} {' '.join(one.kinds)}",
                flush=True,
            )
    print(
        "Changed pairs; right sign of the numbers given; right sign of the findings; unchanged"
        " pairs without a finding;\nmedian error without and with sign, dB; intervals that hold"
        " the truth.\n"
    )
    print(
        f"{'':17} {'changed':>7} {'sign':>9} {'findings':>9} {'silent':>9} {'error':>9}"
        f" {'bias':>8} {'held':>9}"
    )
    for title, wanted in (("same take", (True,)), ("other players", (False,)), ("all", (0, 1))):
        group = [one for one in told if one.change.same_take in wanted]
        print(f"{title:17} {summary(group)}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
