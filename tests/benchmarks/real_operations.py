"""What is told of one real take after operations that an engineer knows.

Run as ``python -m tests.benchmarks.real_operations [--only NAME ...] [--folder F]``. The take is
the string orchestra of tests/data; the operations and what is to be told of each stand in
``tests/operations.py``. Right is: everything that was done is told with its kind, its size within
half a just-noticeable difference and inside the interval, and nothing else is told. With a
folder of further recordings (or MIXCOMPARE_REAL_AUDIO) their room and clip are used as well.
"""

from __future__ import annotations

import argparse
import os
from collections.abc import Sequence
from pathlib import Path

from mixcompare.alignment import align
from mixcompare.analysis import analyse
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from tests.operations import OPERATIONS, complaints, further, spoken, strings


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the operations and print what was done, told and wrong."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--only", nargs="+", help="names of operations")
    parser.add_argument("--folder", type=Path, help="folder of further recordings")
    parser.add_argument("--seconds", type=float, default=60.0, help="so much of the take")
    options = parser.parse_args(arguments)
    folder = options.folder or os.environ.get("MIXCOMPARE_REAL_AUDIO")
    operations = OPERATIONS | (further(Path(folder)) if folder else {})
    take = strings(options.seconds)
    wrong = []
    names = options.only or list(operations)
    for name in names:
        operation = operations[name]
        pair = operation.pair(take)
        features = [Features.of(Recording.from_array(*sound)) for sound in pair]
        results = analyse(*features, align(*features))
        complaint = complaints(operation, pair, results)
        print(
            f"{name:24} done  {operation.done}\n{'':24} told "
            f" {'; '.join(map(spoken, results.findings)) or 'nothing'}\n{'':24} "
            f"{'WRONG ' + '; '.join(complaint) if complaint else 'right'}",
            flush=True,
        )
        wrong += [name] if complaint else []
    print(f"\nright {len(names) - len(wrong)} of {len(names)}; wrong: {', '.join(wrong) or 'none'}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
