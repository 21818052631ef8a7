"""Are tails added to one take told, and with their size? The half of ``tests.benchmarks.rooms``.

Made-up pieces take diffuse tails of random level, decay and pre-delay, alone and with a second
change; the real string orchestra takes the measured rooms and the tails of ``tests/operations.py``;
and both take what is no tail. Told means: a finding ``wetter`` of the room's analyzer, or
``drier`` where the tail was left out (every other pair). Constants of
:mod:`mixcompare.pair.reverberation` were chosen on the real take under single changes and its
tails at 0 to -20 dB, and the least widths of its intervals on made-up pieces with seeds 500 to 514;
the pieces here, with seeds from 600 on, are for reporting.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects.room import analyzer
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.gain import match_level
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from tests import operations, synthetic

FloatArray = npt.NDArray[np.float64]
Change = Callable[[FloatArray], FloatArray]

_FIRST_SEED = 600
_RATE_HZ = operations.RATE_HZ
_LEVELS_DB = (-20.0, -16.0, -12.0, -9.0, -6.0, -3.0, 0.0)

BESIDES: dict[str, Change] = {
    "alone": lambda x: x,
    "narrower": lambda x: operations.sides(x, 0.5),
    "shelf": operations.high_shelf(3000, 4),
    "gain": lambda x: operations.gain(x, -5),
    "squeezed": lambda x: operations.squeezed(x, 1.4, -34),
}


@dataclass(frozen=True)
class Added:
    """A tail and what was read of it; NaN where it is not told."""

    title: str
    besides: str
    level_db: float
    told: bool
    level_error_db: float
    decay_error: float
    predelay_error_ms: float
    gaps_db: float


def _pair(reference: FloatArray, candidate: FloatArray, rate_hz: int) -> Pair:
    features = [
        Features.of(Recording.from_array(samples, rate_hz)) for samples in (reference, candidate)
    ]
    seconds = min(one.duration_s for one in features)
    pair = Pair(*features, Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=True))
    return pair.with_gain(match_level(pair).gain_db)


def _read(title: str, besides: str, pair: Pair, truth: tuple[float, float, float]) -> Added:
    level_db, decay_s, predelay_s = truth
    kinds = [finding.kind for finding in analyzer.findings(analyzer.compare(pair), pair)]
    response = pair.reverberation
    tail = None if response is None else response.tail
    if tail is None:
        return Added(title, besides, level_db, False, np.nan, np.nan, np.nan, np.nan)
    late_s = np.nan if tail.predelay_s is None else tail.predelay_s
    return Added(
        title,
        besides,
        level_db,
        kinds == ["wetter" if tail.added else "drier"],
        tail.level_db - level_db,
        np.nan if tail.decay_s is None else tail.decay_s / decay_s - 1,
        1e3 * (late_s - predelay_s),
        tail.gaps_db,
    )


def _diffuse(decay_s: float, predelay_s: float, rate_hz: int, seed: int) -> FloatArray:
    time_s = np.arange(int(1.2 * decay_s * rate_hz)) / rate_hz
    noise = np.random.default_rng([seed, 3]).standard_normal((len(time_s), 2))
    late = np.zeros((round(predelay_s * rate_hz), 2))
    return np.concatenate([late, noise * 10 ** (-3 * time_s / decay_s)[:, None]])


def made_up(pairs: int) -> Iterator[Added]:
    """Diffuse tails on made-up pieces."""
    for number in range(pairs):
        draw = np.random.default_rng([_FIRST_SEED + number, 19])
        decay_s, predelay_s = float(draw.uniform(0.8, 2.6)), float(draw.uniform(0.012, 0.08))
        level_db = _LEVELS_DB[number % len(_LEVELS_DB)]
        besides = list(BESIDES)[number % len(BESIDES)]
        music = synthetic.play(_FIRST_SEED + number, bars=9)
        music = np.concatenate([music, np.zeros((len(music) % 2, 2))])
        response = _diffuse(decay_s, predelay_s, synthetic.RATE_HZ, number)
        wetter = operations.reverberated(BESIDES[besides](music), response, level_db)
        ways = (music, wetter) if number % 2 == 0 else (wetter, music)
        pair = _pair(*ways, synthetic.RATE_HZ)
        yield _read("made up", besides, pair, (level_db, decay_s, predelay_s))


def real(folder: Path | None) -> Iterator[Added]:
    """Measured rooms and diffuse tails on the real take."""
    take = operations.strings(60)
    rooms = [(f"diffuse {time_s} s", operations.diffuse(time_s, 3), (time_s, 0.015))
             for time_s in (2.2, 1.4)]  # fmt: skip
    if folder is not None:
        # T30 of the middle registers and the arrival of its direct sound, by the library of
        # tests/aspects/test_room.py and by eye.
        hall = soundfile.read(folder / operations.HALL)[0]
        rooms.append(("measured hall", hall, (2.47, 0.0555)))
    for title, response, (decay_s, predelay_s) in rooms:
        for level_db in _LEVELS_DB[:1] + _LEVELS_DB[2:3] + _LEVELS_DB[4:]:
            for besides in ("alone", "narrower", "shelf") if level_db == -12 else ("alone",):
                changed = operations.reverberated(BESIDES[besides](take), response, level_db)
                pair = _pair(take, changed, _RATE_HZ)
                yield _read(title, besides, pair, (level_db, decay_s, predelay_s))


def line(title: str, group: Sequence[Added]) -> str:
    """Told, and the errors of what was read, median and ninetieth percentile."""
    told = sum(one.told for one in group)
    columns = []
    for name, scale in (("level_error_db", 1), ("decay_error", 100), ("predelay_error_ms", 1)):
        errors = np.abs([getattr(one, name) for one in group])
        errors = scale * errors[np.isfinite(errors)]
        columns.append(
            f"{np.median(errors):6.1f} {np.percentile(errors, 90):6.1f}" if len(errors) else "  -"
        )
    return f"{title:24} {told:3} of {len(group):<3} {'  '.join(columns)}"


def table(pairs: int, folder: Path | None) -> None:
    """Print every tail and a summary."""
    found = []
    for one in itertools.chain(made_up(pairs), real(folder)):
        found.append(one)
        print(
            f"{one.title:16} {one.besides:10} {one.level_db:+4.0f} dB"
            f" {'told' if one.told else '-':5} level {one.level_error_db:+5.1f} dB,"
            f" decay {100 * one.decay_error:+5.0f} %, pre-delay {one.predelay_error_ms:+5.1f} ms,"
            f" gaps {one.gaps_db:4.1f} dB",
            flush=True,
        )
    print(
        "\nTold; errors of level (dB), decay (%) and pre-delay (ms): median, ninetieth percentile"
    )
    for source in ("made up", "real"):
        of_it = [one for one in found if (one.title == "made up") == (source == "made up")]
        for level_db in _LEVELS_DB:
            group = [one for one in of_it if one.level_db == level_db]
            if group:
                print(line(f"{source}, {level_db:+.0f} dB", group))
        for besides in BESIDES:
            group = [one for one in of_it if one.besides == besides and one.level_db >= -12]
            if group:
                print(line(f"{source}, {besides}, from -12", group))
