"""Processes on this machine: what one of them takes with it, and what is told."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from mixcompare.errors import ClusterError
from mixcompare.takes import engines
from tests.takes import workers


def test_processes_that_are_killed_take_nothing_with_them(tmp_path: Path) -> None:
    """One pair ends its process once, another whenever it is begun: that one is told."""
    given = workers.tasks(tmp_path)
    done = {task.name: take for task, take in engines.here(workers.dies, given, 2)}
    assert sorted(done) == sorted(task.name for task in given)
    assert [name for name, take in done.items() if take.problem] == ["bad"]
    assert "bad.wav" in done["bad"].problem
    assert "about 321 MB" in done["bad"].problem
    assert done["once"] == workers.said(given[0])


def test_nothing_to_do_needs_no_scheduler() -> None:
    assert list(engines.on_cluster(workers.said, [], "tcp://127.0.0.1:1")) == []


def test_without_the_extra_it_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(ClusterError, match=r"mixcompare\[cluster\]"):
        list(engines.on_cluster(workers.said, workers.tasks(tmp_path), "tcp://127.0.0.1:1"))
