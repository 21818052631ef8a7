"""Is a finding that is said with 0.9 right nine times in ten? Made-up pairs with known changes.

``python -m tests.benchmarks.confidence [--pairs N] [--first SEED] [--out FILE]`` changes none, one
or two things between two recordings of a made-up passage, of one take or played again (other
onsets, levels and phases, sometimes other instruments or another room), compares them, and holds
every finding against what was changed. It prints how many findings of each band of confidence, and
of each aspect, were right. Seeds under 1000 are for choosing, those above for reporting.

A finding is right where something that was changed makes its kind with its sign, in its band where
it has one; a side effect that was not folded into its cause is wrong.
"""

from __future__ import annotations

import argparse
import json
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from scipy import signal

import mixcompare
from mixcompare.findings import Finding
from tests import synthetic
from tests.synthetic import RATE_HZ, FloatArray

BANDS = (0.6, 0.7, 0.8, 0.9, 0.95, 1.0)


@dataclass(frozen=True)
class Made:
    """One change: how it is played or what is done to the sound, and the kinds that say it."""

    name: str
    kinds: tuple[str, ...]
    play: dict[str, Any]
    sound: Callable[[FloatArray], FloatArray] | None = None


def _side(samples: FloatArray, factor: float) -> FloatArray:
    middle = samples.mean(axis=1, keepdims=True)
    return middle + factor * (samples - middle)


def _shelf(samples: FloatArray, gain_db: float, high: bool) -> FloatArray:
    """First-order shelf at 1.5 kHz or 300 Hz."""
    edge_hz = 1500 if high else 300
    sos = signal.butter(1, edge_hz, "high" if high else "low", fs=RATE_HZ, output="sos")
    part = signal.sosfiltfilt(sos, samples, axis=0)
    return samples + (10 ** (gain_db / 20) - 1) * part


def _swing(samples: FloatArray, keep: float) -> FloatArray:
    """Every second's level against the mean, kept by a factor in decibels."""
    power = signal.sosfiltfilt(
        signal.butter(1, 0.7, fs=RATE_HZ, output="sos"), (samples**2).mean(axis=1)
    )
    level_db = 10 * np.log10(np.maximum(power, 1e-3 * power.max()))
    return samples * 10 ** ((keep - 1) * (level_db - level_db.mean()) / 20)[:, None]


def changes(rng: np.random.Generator, again: bool) -> list[Made]:
    """None, one or two changes."""
    sign = float(rng.choice([-1, 1]))
    size = float(rng.uniform(2.5, 7.0)) * sign
    voice = str(rng.choice(["figure", "melody", "bass", "pad"]))
    level = "louder" if size > 0 else "weaker"
    factor = float(np.exp(rng.uniform(0.25, 0.7) * sign))
    high = bool(rng.integers(2))
    more = "louder" if size > 0 else "weaker"
    bright = "brighter" if (size > 0) == high else "darker"
    turn_db = float(rng.uniform(1.5, 4.0)) * sign
    keep = float(np.exp(rng.uniform(0.3, 0.6) * sign))
    decay_s = float(rng.uniform(1.2, 2.5))
    wet_db = float(rng.uniform(-6, 2))
    pool = [
        Made(f"{voice} {size:+.1f}", (f"*_{level}",), {"gains_db": {voice: size}}),
        Made(f"{voice} {size:+.1f}", (f"*_{level}",), {"gains_db": {voice: size}}),
        Made(
            f"side {factor:.2f}", ("wider" if factor > 1 else "narrower",), {},
            lambda samples: _side(samples, factor),
        ),
        Made(
            f"{'high' if high else 'low'} shelf {size:+.1f}",
            (f"tone_{bright}", f"tone_band_{more}"), {},
            lambda samples: _shelf(samples, size, high),
        ),
        Made(
            f"right {turn_db:+.1f}", (f"moved_{'right' if turn_db > 0 else 'left'}",), {},
            lambda samples: samples * [1.0, 10 ** (turn_db / 20)],
        ),
        Made(
            f"swing {keep:.2f}", ("dynamics_larger" if keep > 1 else "dynamics_smaller",), {},
            lambda samples: _swing(samples, keep),
        ),
        Made(
            f"room {decay_s:.1f} s {wet_db:+.0f} dB", ("wetter", "decay_longer"), {},
            lambda samples: synthetic.in_room(samples, decay_s, wet_db, seed=2),
        ),
    ]  # fmt: skip
    if again:
        pool += [
            Made(
                f"tempo {100 * (1 / factor**0.2 - 1):+.0f} %",
                ("slower" if factor > 1 else "faster",), {"beat_s": 0.6 * factor**0.2},
            ),
            Made(
                f"tuning {1.5 * sign:+.1f} Hz", ("tuned_higher" if sign > 0 else "tuned_lower",),
                {"a4_hz": 440 + 1.5 * sign},
            ),
        ]  # fmt: skip
    count = int(rng.choice([0, 1, 2], p=[0.25, 0.45, 0.3]))
    order = rng.permutation(len(pool))
    chosen: list[Made] = []
    for index in order:
        if len(chosen) < count and pool[index].name not in [one.name for one in chosen]:
            chosen.append(pool[index])
    return chosen


def is_right(finding: Finding, made: Sequence[Made]) -> bool:
    """Whether a change that was made gives such a finding."""
    for one in made:
        for kind in one.kinds:
            if kind == finding.kind:
                return True
            balance = kind.startswith("*") and finding.aspect == "balance"
            if balance and finding.kind.endswith(kind[1:]):
                return True
    return False


def told(seed: int) -> list[dict[str, Any]]:
    """Findings of one pair, each with what it rests on and whether it is right."""
    rng = np.random.default_rng([seed, 7])
    again = bool(rng.integers(2))
    piece = int(rng.integers(1, 60))
    how: dict[str, Any] = {}
    if again:
        how = {"performance": 1 + seed, "scatter_s": 0.012, "scatter_db": rng.uniform(0.3, 1.2)}
        how["brightness_db"] = float(rng.choice([0.0, 0.0, 0.7]))
    made = changes(rng, again)
    if how.get("brightness_db"):
        made.append(Made("other instruments", ("tone_brighter",), {}))
    for one in made:
        gains = {**how.get("gains_db", {}), **one.play.get("gains_db", {})}
        how = {**how, **one.play, "gains_db": gains}
    bars = 6
    reference = synthetic.in_room(synthetic.play(piece, bars=bars), 1.0, -9.0)
    candidate = synthetic.in_room(synthetic.play(piece, bars=bars, **how), 1.0, -9.0)
    for one in made:
        candidate = candidate if one.sound is None else one.sound(candidate)
    compared = mixcompare.compare((reference, RATE_HZ), (candidate, RATE_HZ))
    return [
        {
            "seed": seed, "made": [one.name for one in made], "aspect": finding.aspect,
            "kind": finding.kind, "confidence": finding.confidence, "again": again,
            "size": finding.difference, "interval": finding.interval, "jnd": finding.jnd,
            "right": is_right(finding, made),
            "evidence": vars(finding.evidence),
        }
        for finding in compared.findings
    ]  # fmt: skip


def table(rows: Sequence[dict[str, Any]]) -> str:
    """How many findings of each band of confidence, and of each aspect, were right."""
    lines = ["confidence      findings  right   said"]
    for low, high in zip(BANDS[:-1], BANDS[1:], strict=True):
        inside = [
            row for row in rows if low <= row["confidence"] < high or row["confidence"] == high == 1
        ]
        if inside:
            right = np.mean([row["right"] for row in inside])
            said = np.mean([row["confidence"] for row in inside])
            lines.append(f"{low:.2f} to {high:.2f} {len(inside):9d} {right:8.2f} {said:6.2f}")
    for aspect in sorted({row["aspect"] for row in rows}):
        inside = [row for row in rows if row["aspect"] == aspect]
        right = np.mean([row["right"] for row in inside])
        said = np.mean([row["confidence"] for row in inside])
        lines.append(f"{aspect:14s} {len(inside):7d} {right:8.2f} {said:6.2f}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--pairs", type=int, default=100)
    parser.add_argument("--first", type=int, default=1000, metavar="SEED")
    parser.add_argument("--out", type=Path, help="also write every finding as JSON")
    parser.add_argument("--workers", type=int, default=2)
    options = parser.parse_args(arguments)
    with ProcessPoolExecutor(options.workers) as pool:
        seeds = range(options.first, options.first + options.pairs)
        rows = [row for found in pool.map(told, seeds) for row in found]
    print(table(rows))
    if options.out:
        options.out.write_text(json.dumps(rows, indent=1), encoding="utf-8")


if __name__ == "__main__":
    main()
