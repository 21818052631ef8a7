"""Many short pairs through processes and through a cluster: pairs an hour and core, and limits.

Run as ``python -m tests.benchmarks.many [--pairs 200] [--engine processes cluster] [--jobs 2]``.
Clips are made up, of about 6 s; each engine compares them all anew, with full reports. Besides, how
many tasks a second can be handed out at all, with work that does nothing.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterable
from pathlib import Path

import numpy as np
import soundfile

from mixcompare.takes import engines
from mixcompare.takes.run import compare_all
from mixcompare.takes.task import Task
from tests import synthetic
from tests.takes import workers
from tests.takes.cluster import Cluster

BARS = 2
EMPTY_TASKS = 2000


def write_clips(folder: Path, pairs: int) -> tuple[Path, list[Path]]:
    """A reference and so many mixes of the same."""
    rng = np.random.default_rng(5)
    paths = []
    for index in range(pairs + 1):
        names = ("figure", "melody", "pad", "bass")
        gains = {name: float(rng.uniform(-6, 6)) for name in names} if index else {}
        music = synthetic.play(3, bars=BARS, gains_db=gains)
        path = folder / f"clip{index:04d}.flac"
        soundfile.write(path, np.clip(music, -1, 1), synthetic.RATE_HZ)
        paths.append(path)
    return paths[0], paths[1:]


def cpu_s() -> float:
    """CPU seconds of this process and of those of its children that have ended."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def measured(words: str, count: int, jobs: int, run: Callable[[], float]) -> None:
    """Run it, and print what it took; it tells the CPU seconds that can't be seen from here."""
    before, begun = cpu_s(), time.perf_counter()
    elsewhere_s = run()
    wall_s, used_s = time.perf_counter() - begun, cpu_s() - before + elsewhere_s
    per_core = 3600 * count / (wall_s * jobs)
    print(
        f"{words:<24} {count:6d} in {wall_s:7.1f} s: {per_core:6.0f} an hour and core,"
        f" {used_s / count:.3f} CPU s each",
        flush=True,
    )


def exhaust(done: Iterable[object]) -> None:
    """Take all that comes."""
    for _ in done:
        pass


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pairs", type=int, default=200)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--engine", nargs="+", default=["processes", "cluster"])
    parser.add_argument("--no-audio", action="store_true")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        reference, candidates = write_clips(folder, arguments.pairs)
        empty = [Task(f"{n}", "", "", "", scratch) for n in range(EMPTY_TASKS)]
        audio = not arguments.no_audio
        for engine in arguments.engine:
            out = folder / engine

            def processes(out: Path = out) -> float:
                from joblib.externals.loky import get_reusable_executor

                compare_all(reference, candidates, out, jobs=arguments.jobs, audio=audio)
                get_reusable_executor().shutdown()
                return 0.0

            def cluster(out: Path = out) -> float:
                running = Cluster(folder, "4GB", arguments.jobs)
                try:
                    running.begun()
                    compare_all(reference, candidates, out, cluster=running.address, audio=audio)
                    return running.cpu_s()
                finally:
                    running.close()

            def nothing_by_cluster() -> None:
                running = Cluster(folder, "4GB", arguments.jobs)
                try:
                    running.begun()
                    begun = time.perf_counter()
                    exhaust(engines.on_cluster(workers.said, empty, running.address))
                    rate = EMPTY_TASKS / (time.perf_counter() - begun)
                    print(f"{'  empty tasks':<24} {rate:.0f} a second")
                finally:
                    running.close()

            if engine == "processes":
                measured("processes", len(candidates), arguments.jobs, processes)
                begun = time.perf_counter()
                exhaust(engines.here(workers.said, empty, arguments.jobs))
                rate = EMPTY_TASKS / (time.perf_counter() - begun)
                print(f"{'  empty tasks':<24} {rate:.0f} a second", flush=True)
            else:
                measured("cluster", len(candidates), arguments.jobs, cluster)
                nothing_by_cluster()
            size = sum(path.stat().st_size for path in out.rglob("*") if path.is_file())
            files = sum(1 for path in out.rglob("*") if path.is_file())
            begun = time.perf_counter()
            again = compare_all(reference, candidates, out, jobs=1, audio=audio)
            print(
                f"{'  kept':<24} {size / len(candidates) / 1e6:.2f} MB and"
                f" {files / len(candidates):.0f} files a pair; again, {again.done_now} to do, in"
                f" {time.perf_counter() - begun:.1f} s",
                flush=True,
            )
    print(f"{os.cpu_count()} cores, load {os.getloadavg()[0]:.1f}, Python {sys.version.split()[0]}")


if __name__ == "__main__":
    main()
