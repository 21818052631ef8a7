"""Do the stated 95 % intervals hold the truth? Pairs with known changes, aspect by aspect.

``python -m tests.benchmarks.coverage [--pairs 100] [--first 0]``

Each pair is one made-up piece played twice (onsets scatter by 8 ms, levels by 0.8 dB from note to
note and by 1 dB from voice to voice). The candidate is changed by a tilt of tone, another level,
another tuning, another tempo, and either a wider or narrower image or a louder right channel, all
drawn from the pair's number. The map is the one that alignment finds. No constant of the package
was chosen on these pairs.
"""

from __future__ import annotations

import argparse
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.aspects import ANALYZERS
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.gain import match_level
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests import synthetic

FloatArray = npt.NDArray[np.float64]
Interval = tuple[float, float]

_ASPECTS = ("tone", "width", "placement", "tuning", "tempo")


@dataclass(frozen=True)
class Change:
    """What was done to the candidate."""

    gain_db: float
    tilt_db_per_octave: float
    side_db: float
    turn_db: float
    cents: float
    duration_ratio: float

    @classmethod
    def drawn(cls, number: int) -> Change:
        """The change of a pair's number."""
        draw = np.random.default_rng([number, 5])
        image = float(draw.uniform(-6, 4))
        return cls(
            gain_db=float(draw.uniform(-9, 6)),
            tilt_db_per_octave=float(draw.uniform(-1, 1)),
            side_db=image if number % 2 else 0.0,
            turn_db=0.0 if number % 2 else 0.5 * image,
            cents=float(draw.uniform(-15, 15)),
            duration_ratio=float(draw.uniform(0.9, 1.1)),
        )


@dataclass(frozen=True)
class Told:
    """One estimate against its truth."""

    aspect: str
    error: float
    half_width: float
    held: bool


def tilted(samples: FloatArray, db_per_octave: float, rate_hz: int) -> FloatArray:
    """Tilt the spectrum about 1 kHz, flat below 20 Hz."""
    spectrum = np.fft.rfft(samples, axis=0)
    frequency_hz = np.maximum(np.fft.rfftfreq(len(samples), 1 / rate_hz), 20.0)
    gain_db = db_per_octave * np.log2(frequency_hz / 1000)
    return np.fft.irfft(spectrum * 10 ** (gain_db / 20)[:, None], len(samples), axis=0)


def played(number: int) -> tuple[Features, Features, Change]:
    """Both recordings of a pair."""
    change = Change.drawn(number)
    scatter = {"scatter_s": 0.008, "scatter_db": 0.8}
    reference = synthetic.play(number, performance=1, **scatter)
    draw = np.random.default_rng([number, 7])
    candidate = synthetic.play(
        number,
        performance=2,
        gains_db={name: float(draw.normal(0, 1)) for name in synthetic.score(number)},
        beat_s=0.6 * change.duration_ratio,
        a4_hz=440 * 2 ** (change.cents / 1200),
        **scatter,
    )
    candidate = tilted(candidate, change.tilt_db_per_octave, synthetic.RATE_HZ)
    mid, side = candidate.mean(axis=1), 0.5 * (candidate[:, 0] - candidate[:, 1])
    side = side * 10 ** (change.side_db / 20)
    right = 10 ** (change.turn_db / 20)
    candidate = 10 ** (change.gain_db / 20) * np.stack([mid + side, right * (mid - side)], 1)
    features = [
        Features.of(Recording.from_array(samples, synthetic.RATE_HZ))
        for samples in (reference, candidate)
    ]
    return features[0], features[1], change


def measured(number: int) -> list[Told]:
    """All estimates of a pair that come with an interval and have a known truth."""
    reference, candidate, change = played(number)
    alignment = align(reference, candidate)
    match = Match(
        time_map=alignment.time_map,
        tuning_cents=alignment.tuning_cents,
        uncertainty_ms=alignment.uncertainty_ms,
    )
    pair = Pair(reference, candidate, match)
    pair = pair.with_gain(match_level(pair).gain_db)
    difference = {
        analyzer.aspect: analyzer.compare(pair)
        for analyzer in ANALYZERS
        if analyzer.aspect in _ASPECTS
    }
    told: list[Told] = []

    def note(aspect: str, value: float | None, around: Interval | None, truth: float) -> None:
        if value is not None and around is not None:
            held = around[0] <= truth <= around[1]
            told.append(Told(aspect, value - truth, 0.5 * (around[1] - around[0]), held))

    tone = difference["tone"]
    note(
        "tone tilt, dB/octave",
        tone.tilt_db_per_octave,
        tone.tilt_db_per_octave_interval,
        change.tilt_db_per_octave,
    )
    shape = change.tilt_db_per_octave * np.log2(THIRD_OCTAVE_CENTRES_HZ / 1000)
    known = [
        (value, around, truth)
        for value, around, truth in zip(
            tone.band_level_db, tone.band_level_db_interval, shape, strict=True
        )
        if value is not None and around is not None
    ]
    # Which level counts as equal is a convention: the common part of all bands is taken out.
    common = float(np.median([value - truth for value, _, truth in known]))
    for value, around, truth in known:
        note("tone bands, dB", value, around, truth + common)
    width = difference["width"]
    if change.turn_db == 0.0:
        for value, around in zip(
            width.band_side_to_mid_db, width.band_side_to_mid_db_interval, strict=True
        ):
            note("width of bands, dB", value, around, change.side_db)
    placement = difference["placement"]
    if change.side_db == 0.0:
        note("turn of the image, dB", placement.turn_db, placement.turn_db_interval, change.turn_db)
    tuning = difference["tuning"]
    note("tuning, cents", tuning.tuning_cents, tuning.tuning_cents_interval, change.cents)
    tempo = difference["tempo"]
    note("tempo ratio", tempo.ratio, tempo.ratio_interval, change.duration_ratio)
    return told


def by_aspect(told: Sequence[Told]) -> dict[str, list[Told]]:
    """Estimates grouped by aspect, in order of appearance."""
    groups: dict[str, list[Told]] = defaultdict(list)
    for one in told:
        groups[one.aspect].append(one)
    return dict(groups)


def main(arguments: Sequence[str] | None = None) -> int:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--pairs", type=int, default=100)
    parser.add_argument("--first", type=int, default=0)
    options = parser.parse_args(arguments)
    told: list[Told] = []
    for number in range(options.first, options.first + options.pairs):
        told += measured(number)
    print(f"{'aspect':24} {'cases':>6} {'held':>6} {'median error':>13} {'half width':>11}")
    for aspect, group in by_aspect(told).items():
        held = np.mean([one.held for one in group])
        error = np.median([abs(one.error) for one in group])
        width = np.median([one.half_width for one in group])
        print(f"{aspect:24} {len(group):6} {held:6.1%} {error:13.3g} {width:11.3g}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
