"""Time and memory of a comparison, and how they grow with length.

Run as ``python -m tests.benchmarks.cost [--minutes 1 5 20]``. Each length runs in a process of
its own, so that its peak memory is its own. The music is made up; figures are ratios to the
first length, since clocks differ.
"""

from __future__ import annotations

import argparse
import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import soundfile

STAGES = ("features", "alignment", "whole")


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


def one(reference: str, candidate: str) -> None:
    """Run the chain once and print the stages' seconds and the peak memory as JSON."""
    from mixcompare.alignment import align
    from mixcompare.analysis import analyse
    from mixcompare.audio.recording import Recording
    from mixcompare.features import Features

    before = time.process_time()
    features = [Features.of(Recording.open(path)) for path in (reference, candidate)]
    read = time.process_time()
    alignment = align(*features)
    aligned = time.process_time()
    results = analyse(*features, alignment)
    done = time.process_time()
    print(
        json.dumps(
            {
                "duration_s": features[0].duration_s,
                "features": read - before,
                "alignment": aligned - read,
                "whole": done - before,
                "peak_mb": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024,
                "relation": alignment.relation,
                "findings": len(results.findings),
            }
        )
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, nargs="+", default=[1.0, 5.0, 20.0])
    parser.add_argument("--one", nargs=2, help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.one:
        one(*arguments.one)
        return
    for same_take in (True, False):
        print("one take" if same_take else "two performances")
        print("  minutes  features  alignment     whole   per minute   peak MB   (CPU seconds)")
        first: float | None = None
        for minutes in arguments.minutes:
            with tempfile.TemporaryDirectory() as folder:
                pair = write_pair(Path(folder), minutes, same_take)
                out = subprocess.run(
                    [sys.executable, "-m", "tests.benchmarks.cost", "--one", *map(str, pair)],
                    capture_output=True,
                    text=True,
                    check=True,
                )
            row = json.loads(out.stdout)
            rate = row["whole"] / row["duration_s"]
            first = first or rate
            print(
                f"  {row['duration_s'] / 60:7.1f}"
                + "".join(f"  {row[stage]:8.1f}" for stage in STAGES)
                + f"   x{rate / first:5.2f}     {row['peak_mb']:9.0f}"
                + f"   {row['relation']}, {row['findings']} findings"
            )


if __name__ == "__main__":
    main()
