"""Time and memory of a comparison, and how they grow with length.

Run as ``python -m tests.benchmarks.cost [--minutes 1 5 20] [--profile]``. Each length runs in a
process of its own, so that its peak memory is its own. The music is made up. Figures are CPU
seconds, children's too, and ratios to one bare pass over both files, since clocks differ: read,
and transformed with a window of 4096 and a hop of 1024 in single precision. ``--profile`` tells
where the time of the longest went.
"""

from __future__ import annotations

import argparse
import cProfile
import json
import os
import pstats
import resource
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import soundfile
from scipy import fft

from mixcompare.numerics import one_numeric_thread

STAGES = ("pass", "features", "alignment", "analysis", "report", "sound")
WINDOW, HOP = 4096, 1024


def write_pair(folder: Path, minutes: float, same_take: bool) -> tuple[Path, Path]:
    """Write a reference and a candidate of the given length, block by block."""
    from tests import synthetic

    paths = (folder / "reference.flac", folder / "candidate.flac")
    for index, path in enumerate(paths):
        with soundfile.SoundFile(path, "w", synthetic.RATE_HZ, 2) as handle:
            written, seed = 0.0, 0
            while written < 60 * minutes:
                block = synthetic.play(
                    seed,
                    bars=12,
                    performance=0 if same_take else index + 1,
                    scatter_s=0.0 if same_take else 0.008,
                    gains_db={"figure": 4.0 * index},
                )
                handle.write(np.clip(block, -1, 1))
                written += len(block) / synthetic.RATE_HZ
                seed += 1
    return paths


def bare_pass(paths: Sequence[str]) -> None:
    """Read and transform, nothing kept: what no analysis of the sound can do without."""
    taper = np.hanning(WINDOW).astype(np.float32)
    for path in paths:
        held = np.zeros((0, 2), np.float32)
        for block in soundfile.blocks(path, 64 * HOP, dtype="float32", always_2d=True):
            held = np.concatenate([held, block])
            count = (len(held) - WINDOW) // HOP + 1
            if count > 0:
                windows = np.lib.stride_tricks.sliding_window_view(held, WINDOW, axis=0)[::HOP]
                fft.rfft(windows[:count] * taper, axis=-1)
            held = held[max(count, 0) * HOP :]


def _used_s() -> float:
    spent = os.times()
    return spent.user + spent.system + spent.children_user + spent.children_system


@one_numeric_thread
def one(reference: str, candidate: str, profiled: bool) -> None:
    """Run the chain once and print the stages' seconds and the peak memory as JSON."""
    from mixcompare import comparison
    from mixcompare.alignment import align
    from mixcompare.analysis import analyse
    from mixcompare.audio.recording import Recording
    from mixcompare.features import Features

    times = [_used_s()]
    bare_pass((reference, candidate))
    times.append(_used_s())
    recordings = [Recording.open(path) for path in (reference, candidate)]
    profile = cProfile.Profile()
    with tempfile.TemporaryDirectory() as folder:
        if profiled:
            profile.enable()
        features = [Features.of(recording) for recording in recordings]
        times.append(_used_s())
        alignment = align(*features)
        times.append(_used_s())
        results = analyse(*features, alignment)
        times.append(_used_s())
        compared = comparison.Comparison(results, *recordings)
        compared.save(Path(folder) / "bare", audio=False)
        times.append(_used_s())
        compared.save(Path(folder) / "report")
        times.append(_used_s())
        profile.disable()
    spent = dict(zip(STAGES, np.diff(times).tolist(), strict=True))
    spent["sound"] -= spent["report"]
    if profiled:
        pstats.Stats(profile, stream=sys.stderr).sort_stats("cumulative").print_stats(
            "mixcompare|soundfile|lame", 70
        )
    print(
        json.dumps(
            {
                **spent,
                "duration_s": features[0].duration_s,
                "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
                "relation": alignment.relation,
                "findings": len(results.findings),
            }
        )
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, nargs="+", default=[1.0, 5.0, 20.0])
    parser.add_argument("--profile", action="store_true", help="where the last one's time went")
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.one:
        one(*arguments.one, arguments.profile)
        return
    for same_take in (True, False):
        print("one take" if same_take else "two performances")
        titles = "".join(f"  {stage:>9}" for stage in STAGES)
        print(f"  minutes{titles}   of passes   peak MB   (CPU seconds)")
        for minutes in arguments.minutes:
            with tempfile.TemporaryDirectory() as folder:
                pair = write_pair(Path(folder), minutes, same_take)
                last = arguments.profile and minutes == arguments.minutes[-1]
                out = subprocess.run(
                    [sys.executable, "-m", "tests.benchmarks.cost"]
                    + ["--one", *map(str, pair), *(["--profile"] if last else [])],
                    stdout=subprocess.PIPE,
                    text=True,
                    check=True,
                )
            row = json.loads(out.stdout)
            whole = sum(row[stage] for stage in STAGES[1:])
            print(
                f"  {row['duration_s'] / 60:7.1f}"
                + "".join(f"  {row[stage]:9.1f}" for stage in STAGES)
                + f"   {whole / row['pass']:9.1f}   {row['peak_mb']:7.0f}"
                + f"   {row['relation']}, {row['findings']} findings",
                flush=True,
            )


if __name__ == "__main__":
    main()
