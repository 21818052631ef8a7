"""Are a finding's bars the ones that were played?

``python -m tests.benchmarks.bars FOLDER`` plays half a minute out of the middle of every movement,
in a room, at a tempo of its own, lays the whole score over it, and asks for the bar twice a second.
Printed: the share of moments told right, the largest error in bars, the median error of the bar
lines, parts and notes that were laid over, and how long it took.
"""

from __future__ import annotations

import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.errors import ScoreError
from mixcompare.features import AlignmentFeatures
from mixcompare.knowledge.musicxml import readings
from mixcompare.knowledge.notes import Bars
from mixcompare.knowledge.score import Score
from tests.benchmarks.notation import QUARTER_S, without_tempo
from tests.benchmarks.rendering import mix
from tests.benchmarks.symphonic import (
    BEGINS,
    LEAD_S,
    QUARTERS_PER_MINUTE,
    RATE_HZ,
    excerpt,
    movements,
    over_scores,
)
from tests.benchmarks.tails import OWN_ROOM

SOUNDFONT = "FluidR3_GM.sf2"


def played_bars(source: Path, quarters_a_minute: float) -> Bars:
    """The bars as they are printed, on the clock of what is played."""
    with tempfile.TemporaryDirectory() as folder:
        bars = readings(without_tempo(source, Path(folder)))[-1].bars
    assert bars is not None
    begin = BEGINS * bars.end_s[-1] / QUARTER_S
    second = 60 / quarters_a_minute
    return bars.on(lambda times: LEAD_S + (times / QUARTER_S - begin) * second)


def numbers_at(bars: Bars, times_s: npt.NDArray[np.float64]) -> npt.NDArray[np.int64]:
    """The printed number of the bar at each moment; -1 outside of all."""
    at = np.searchsorted(bars.start_s, times_s, "right") - 1
    inside = (at >= 0) & (times_s < bars.end_s[np.maximum(at, 0)])
    return np.where(inside, bars.number[np.maximum(at, 0)], -1)


def main(arguments: Sequence[str] | None = None) -> int:
    options = over_scores(__doc__).parse_args(arguments)
    cache = options.cache or Path(tempfile.mkdtemp())
    print("movement | bars heard | right | most bars off | bar lines off, ms | parts, notes | s")
    for _, name in movements(options):
        source = options.scores / f"{name}.mxl"
        music = excerpt(name, options.scores, SOUNDFONT, cache)
        samples = mix(music.stems, music.parts, *OWN_ROOM, sample_rate_hz=RATE_HZ)
        samples *= 0.5 / np.abs(samples).max()
        heard = AlignmentFeatures.of(Recording.from_array(samples, RATE_HZ))
        truth = played_bars(source, QUARTERS_PER_MINUTE.get(name, 96))
        began = time.perf_counter()
        try:
            laid = Score.open(source).over(heard)
        except ScoreError as error:
            print(f"{name} | {error}", flush=True)
            continue
        took_s = time.perf_counter() - began
        assert laid.bars is not None
        times_s = np.arange(LEAD_S + 0.25, LEAD_S + 29.0, 0.5)
        told, known = (numbers_at(bars, times_s) for bars in (laid.bars, truth))
        apart_s = [np.abs(truth.start_s - start).min() for start in laid.bars.start_s[1:]]
        print(
            f"{name} | {laid.bars.number[0]}-{laid.bars.number[-1]} | {np.mean(told == known):.2f}"
            f" | {np.abs(told - known).max()} | {1000 * np.median(apart_s):.0f}"
            f" | {len(laid.parts)}, {sum(len(part.notes) for part in laid.parts)} | {took_s:.1f}",
            flush=True,
        )
    return 0


if __name__ == "__main__":
    sys.exit(main())
