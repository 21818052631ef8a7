"""Work for processes of their own: it has to be found by name where they run."""

from __future__ import annotations

import os
import signal
import time
from pathlib import Path

import numpy as np

from mixcompare.takes.task import Task
from mixcompare.takes.values import Take

_ONCE_WITHIN_S = 10.0  # for a process to begin with its first task


def tasks(folder: Path) -> list[Task]:
    """Some tasks, in a folder where they may leave their marks."""
    names = ["once", "two", "bad", "four"]
    return [Task(name, "", f"{name}.wav", "", str(folder), memory_mb=321.0) for name in names]


def said(task: Task) -> Take:
    """What came of a task that went well."""
    return Take(name=task.name, path=task.candidate, verdict=f"{task.name} was compared")


def dies(task: Task) -> Take:
    """End the process whenever the bad task is begun, and once for another one, before that."""
    mark, once = Path(task.folder) / task.name, Path(task.folder) / "once"
    until_s = time.monotonic() + _ONCE_WITHIN_S
    while task.name == "bad" and not once.exists() and time.monotonic() < until_s:
        time.sleep(0.01)
    if task.name == "bad" or (task.name == "once" and not mark.exists()):
        mark.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return said(task)


def eats(task: Task) -> Take:
    """Take more and more memory, as long as anyone lets it (at most 3 GB)."""
    eaten = []
    if task.name == "bad":
        for _ in range(60):
            eaten.append(np.ones(50 << 17))
            time.sleep(0.03)
    return said(task)


def slow(task: Task) -> Take:
    """Take half a second."""
    time.sleep(0.5)
    return said(task)
