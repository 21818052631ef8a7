"""Would the tests notice? Small faults, put into the code one at a time, and the tests run.

``python -m tests.benchmarks.mutations [--sample N] [--only WORD] [--workers N]`` copies the project
to a scratch folder, first runs all tests concerned without a fault (they must pass), then each
fault with the tests that mirror its module, and prints a table of the survivors. A fault counts
as caught when a test fails; a fault whose place is no longer found in the code is told, and makes
the program end with 1, as survivors do where more than one in ten got through.

The faults stand in ``tests/benchmarks/faults/``, a file a room; add one where a new number is
computed.
"""

from __future__ import annotations

import argparse
import importlib
import os
import pkgutil
import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from queue import Queue

PROJECT = Path(__file__).parents[2]
COPIED = ("mixcompare", "tests", "sample_audio", "notebooks", "pyproject.toml", "README.md")
TIMEOUT_S = 900.0
NEEDED_SHARE = 0.9


@dataclass(frozen=True)
class Fault:
    """A small fault in one place.

    Attributes
    ----------
    module : str
        File, from the project's folder.
    find, put : str
        What stands there, exactly once, and what is put in its place.
    tests : tuple of str
        The tests that mirror the module: one of them must fail.
    note : str
        What the fault does, where it does not speak for itself.
    """

    module: str
    find: str
    put: str
    tests: tuple[str, ...]
    note: str = ""

    @property
    def words(self) -> str:
        """One line for the table."""
        there, put = (" ".join(text.split()) for text in (self.find, self.put))
        note = f"   ({self.note})" if self.note else ""
        return f"{self.module}: {there}  ->  {put or 'nothing'}{note}"


def each(
    module: str, tests: tuple[str, ...], *changes: tuple[str, str] | tuple[str, str, str]
) -> list[Fault]:
    """Faults of one module that the same tests must notice: what stands, what is put, note."""
    return [Fault(module, change[0], change[1], tests, *change[2:]) for change in changes]


def faults() -> list[Fault]:
    """All faults of the files in ``tests/benchmarks/faults``."""
    package = importlib.import_module("tests.benchmarks.faults")
    found: dict[tuple[str, str, str], Fault] = {}
    for info in pkgutil.iter_modules(package.__path__):
        for fault in importlib.import_module(f"{package.__name__}.{info.name}").FAULTS:
            found.setdefault((fault.module, fault.find, fault.put), fault)
    return list(found.values())


def misplaced(chosen: Iterable[Fault], project: Path = PROJECT) -> list[str]:
    """Faults that can't be put in: their place is not there, or more than once, or no change."""
    out = []
    for fault in chosen:
        times = (project / fault.module).read_text(encoding="utf-8").count(fault.find)
        if times != 1 or fault.find == fault.put:
            out.append(f"{fault.words} (found {times} times)")
        out += [f"{fault.words}: no {test}" for test in fault.tests if not _exists(project, test)]
    return out


def _exists(project: Path, test: str) -> bool:
    file, _, name = test.partition("::")
    path = project / file
    words = f"def {name.partition('[')[0]}("
    return path.exists() and (not name or words in path.read_text(encoding="utf-8"))


class Workshop:
    """A copy of the project in which faults are put in and taken out again."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        for name in COPIED:
            source, target = PROJECT / name, folder / name
            if source.is_dir():
                shutil.copytree(source, target, ignore=shutil.ignore_patterns("__pycache__"))
            else:
                shutil.copy2(source, target)

    def is_caught(self, fault: Fault) -> bool:
        """Put the fault in, run its tests, take it out."""
        path = self.folder / fault.module
        whole = path.read_text(encoding="utf-8")
        path.write_text(whole.replace(fault.find, fault.put), encoding="utf-8")
        try:
            return not self.passes(fault.tests)
        finally:
            path.write_text(whole, encoding="utf-8")

    def passes(self, tests: Sequence[str]) -> bool:
        """Whether these tests pass; a run that hangs does not."""
        # Without compiled files: a fault of the same length and second would otherwise not be read.
        environment = {**os.environ, "PYTHONPATH": str(self.folder), "PYTHONDONTWRITEBYTECODE": "1"}
        environment.setdefault("OMP_NUM_THREADS", "1")
        command = [
            sys.executable,
            "-m",
            "pytest",
            "-x",
            "-n",
            "0",
            "-p",
            "no:cacheprovider",
            *tests,
        ]
        try:
            done = subprocess.run(
                command, cwd=self.folder, env=environment, capture_output=True, timeout=TIMEOUT_S
            )
        except subprocess.TimeoutExpired:
            return False
        if done.returncode not in (0, 1, 2):  # 2: the fault broke the collection of the tests
            raise RuntimeError(f"pytest ended with {done.returncode}: {done.stdout.decode()}")
        return done.returncode == 0


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--sample", type=int, metavar="N", help="only N of them, drawn by --seed")
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--only", default="", metavar="WORD", help="those whose line has the word")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--list", action="store_true", help="print the faults and run nothing")
    options = parser.parse_args(arguments)
    chosen = [fault for fault in faults() if options.only in f"{fault.words} {fault.tests}"]
    if options.sample is not None and options.sample < len(chosen):
        chosen = random.Random(options.seed).sample(chosen, options.sample)
    if options.list:
        print("\n".join(fault.words for fault in chosen))
        return 0
    lost = misplaced(chosen)
    if lost:
        print("Not in the code any more; mend the list:", *lost, sep="\n  ")
        return 1
    with tempfile.TemporaryDirectory() as scratch:
        shops: Queue[Workshop] = Queue()
        for number in range(options.workers):
            shops.put(Workshop(Path(scratch, str(number))))
        tests = sorted({test for fault in chosen for test in fault.tests})
        print(f"{len(chosen)} faults; first {len(tests)} sets of tests without any", flush=True)
        if not shops.queue[0].passes(tests):
            print("These tests fail without a fault; mend them first.")
            return 1

        def judged(fault: Fault) -> bool:
            shop = shops.get()
            begun = time.monotonic()
            try:
                caught = shop.is_caught(fault)
            finally:
                shops.put(shop)
            took_s = time.monotonic() - begun
            print(
                f"{'caught' if caught else 'SURVIVED':9s}{took_s:6.0f} s  {fault.words}", flush=True
            )
            return caught

        with ThreadPoolExecutor(options.workers) as pool:
            caught = list(pool.map(judged, chosen))
    return _told(chosen, caught)


def _told(chosen: Sequence[Fault], caught: Sequence[bool]) -> int:
    """Print the table by room of the package; the exit code."""
    rooms = Counter(fault.module.split("/")[1] for fault in chosen)
    kept = Counter(
        fault.module.split("/")[1] for fault, hit in zip(chosen, caught, strict=True) if hit
    )
    print(f"\n{'where':28s}{'faults':>8s}{'caught':>8s}")
    for room, count in sorted(rooms.items()):
        print(f"{room:28s}{count:8d}{kept[room]:8d}")
    share = sum(caught) / len(caught) if caught else 1.0
    print(f"{'all':28s}{len(chosen):8d}{sum(caught):8d}   {100 * share:.0f} %")
    survivors = [fault.words for fault, hit in zip(chosen, caught, strict=True) if not hit]
    if survivors:
        print("\nSurvivors:", *survivors, sep="\n  ")
    return 0 if share >= NEEDED_SHARE else 1


if __name__ == "__main__":
    sys.exit(main())
