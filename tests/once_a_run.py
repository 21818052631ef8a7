"""What several test files need is made by one worker and read by the others."""

from __future__ import annotations

import os
import pickle
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

_Made = TypeVar("_Made")

POLL_S = 0.05


VARIABLE = "MIXCOMPARE_TESTS_SHARE"


def begin(workers: int) -> None:
    """Make a folder in which the workers leave things for one another; none for one process."""
    os.environ.pop(VARIABLE, None)
    if workers:
        os.environ[VARIABLE] = tempfile.mkdtemp(prefix="mixcompare-tests-")


def end() -> None:
    """Remove it."""
    if VARIABLE in os.environ:
        shutil.rmtree(os.environ.pop(VARIABLE), ignore_errors=True)


def made(name: str, make: Callable[[], _Made]) -> _Made:
    """What another worker left under this name, or what is made and left now.

    Only for what this run's own code makes: it is read by unpickling.
    """
    if VARIABLE not in os.environ:
        return make()
    shared = Path(os.environ[VARIABLE])
    path, lock = shared / f"{name}.pickle", shared / f"{name}.lock"
    while not path.exists():
        try:
            lock.mkdir()
        except FileExistsError:
            time.sleep(POLL_S)
            continue
        try:
            if not path.exists():
                result = make()
                beside = path.with_suffix(".part")
                beside.write_bytes(pickle.dumps(result))
                beside.rename(path)
                return result
        finally:
            lock.rmdir()
    found: _Made = pickle.loads(path.read_bytes())
    return found
