"""A report's place holds the old one or the new one, whatever happens while they are exchanged."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from mixcompare.errors import OutputError
from mixcompare.outputs import placing, put_folder, steps, taken_up, workshop

OLD = {
    "findings.csv": "old", "report.html": "old", "report.json": "old", "trims.csv": "old",
    "figures/a.svg": "old", "figures/b.svg": "old", "sound/s": "old",
}  # fmt: skip
NEW = {
    "report.html": "new", "report.json": "new", "trims.csv": "new", "figures/a.svg": "new",
    "preview/p": "new",
}  # fmt: skip
LAST = ("report.html", "report.json")
FULL = OSError(errno.ENOSPC, "No space left on device")


def fill(folder: Path, files: dict[str, str]) -> Path:
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder


def held(folder: Path) -> dict[str, str]:
    files = (path for path in folder.rglob("*") if path.is_file())
    return {path.relative_to(folder).as_posix(): path.read_text() for path in files}


def replaced(target: Path, whole: bool) -> None:
    with workshop(target) as place:
        fill(place / "new", NEW)
        put_folder(place, target, list(OLD), LAST, whole)


@pytest.fixture
def no_exchange(monkeypatch: pytest.MonkeyPatch) -> None:
    """A system that can't exchange two names in one step."""
    monkeypatch.setattr(placing, "_of_libc", lambda name: None)


@pytest.mark.parametrize("way", ["exchanged", "renamed", "beside others"])
def test_the_new_one_comes_whole(way: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    if way == "renamed":
        request.getfixturevalue("no_exchange")
    target = fill(tmp_path / "out", OLD)
    mine = {} if way != "beside others" else {"mine.txt": "mine", "figures/own": "mine"}
    fill(target, mine)
    replaced(target, whole=not mine)
    assert held(target) == NEW | mine
    assert all(any(path.iterdir()) for path in target.rglob("*") if path.is_dir())
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_where_the_system_can_two_folders_are_exchanged_in_one_step(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    if sys.platform != "linux":
        pytest.skip("asks for a system call of Linux")
    target = fill(tmp_path / "out", OLD)
    monkeypatch.setattr(os, "rename", None)
    replaced(target, whole=True)
    assert held(target) == NEW


class Breaking:
    """Breaks off at one step, by its number; 0 only counts."""

    def __init__(self, at: int, trouble: BaseException) -> None:
        self.at, self.trouble, self.count = at, trouble, 0

    def __call__(self, name: str) -> None:
        self.count += 1
        if self.count == self.at:
            raise self.trouble


@pytest.mark.parametrize("whole", [True, False])
@pytest.mark.usefixtures("no_exchange")
def test_trouble_at_any_step_leaves_the_old_one_or_the_new_one(
    whole: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    outcomes = []
    for at in range(1, 30):
        target = fill(tmp_path / str(at) / "out", OLD)
        breaking = Breaking(at, KeyboardInterrupt() if at % 2 else FULL)
        monkeypatch.setattr(steps, "hook", breaking)
        try:
            replaced(target, whole)
        except (KeyboardInterrupt, OSError, OutputError):
            outcomes.append(held(target))
        else:
            break
        finally:
            monkeypatch.setattr(steps, "hook", None)
        taken_up(target)
        assert held(target) in (OLD, NEW)
        assert [path.name for path in target.parent.iterdir()] == ["out"]
    assert held(target) == NEW
    assert all(outcome in (OLD, NEW) for outcome in outcomes)
    assert len(outcomes) == (5 if whole else 16)
    assert OLD in outcomes
    assert NEW in outcomes


def is_told(left: dict[str, str]) -> bool:
    """Whether nobody can take what stands there for a report that it is not.

    The page holds all it shows: it may stand where all else is of the same report.
    """
    alone = [{name: text for name, text in one.items() if name != LAST[1]} for one in (OLD, NEW)]
    return left in (OLD, NEW, *alone) or not set(left) & set(LAST)


CHILD = """
import os, signal, sys
sys.path[:0] = [{project!r}]
from pathlib import Path
from mixcompare.outputs import placing, put_folder, steps, workshop
from tests.outputs.test_placing import replaced
at, sent, exchange, whole = int(sys.argv[1]), int(sys.argv[2]), sys.argv[3], sys.argv[4] == "whole"
if exchange == "no":
    placing._of_libc = lambda name: None
count = 0
def hook(name):
    global count
    count += 1
    if count == at:
        os.kill(os.getpid(), sent)
steps.hook = hook
try:
    replaced(Path(sys.argv[5]), whole)
except KeyboardInterrupt:
    sys.exit(130)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signals")
def test_a_killed_run_leaves_one_of_them_and_the_next_run_clears_up(tmp_path: Path) -> None:
    """At every step of every way, at once: a process each, killed by itself."""
    running = []
    code = CHILD.format(project=str(Path(__file__).parents[2]))
    for exchange, whole, steps_of_it in (("yes", "whole", 4), ("no", "whole", 5), ("no", "", 16)):
        for at in range(1, steps_of_it + 1):
            target = fill(tmp_path / f"{exchange}{whole}{at}" / "out", OLD)
            command = [sys.executable, "-c", code, str(at), "9", exchange, whole, str(target)]
            running.append((target, exchange, subprocess.Popen(command)))
            if len(running) % 4 == 0:
                for _, _, process in running[-4:]:
                    process.wait(20)
    seen = []
    for target, exchange, process in running:
        assert process.wait(20) == -9
        if exchange == "yes":
            assert held(target) in (OLD, NEW)  # at any moment, before anyone clears up
        else:
            assert is_told(held(target))
        taken_up(target)
        seen.append(held(target))
        assert seen[-1] in (OLD, NEW)
        assert [path.name for path in target.parent.iterdir()] == ["out"]
    assert OLD in seen
    assert NEW in seen


def test_a_closed_folder_stays_closed(tmp_path: Path) -> None:
    for whole in (True, False):
        target = fill(tmp_path / str(whole), OLD)
        target.chmod(0o700)
        (target / "report.json").chmod(0o640)
        replaced(target, whole)
        assert target.stat().st_mode & 0o777 == 0o700
        assert (target / "report.html").stat().st_mode & 0o777 == 0o640
        assert (target / "preview" / "p").stat().st_mode & 0o777 == 0o640
        assert (target / "preview").stat().st_mode & 0o777 == 0o700


def test_the_folder_one_works_in_stays(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("", "figures"):
        target = fill(tmp_path / f"out{name}", OLD)
        monkeypatch.chdir(target / name)
        replaced(target, whole=True)
        assert os.path.samefile(os.curdir, target / name)
        assert held(target) == NEW


def test_links_inside_are_not_followed(tmp_path: Path) -> None:
    outside = fill(tmp_path / "elsewhere", {"a.svg": "mine"})
    target = fill(tmp_path / "out", {"report.json": "old"})
    (target / "figures").symlink_to(outside)
    with workshop(target) as place:
        fill(place / "new", {"figures/b.svg": "new", "report.json": "new"})
        with pytest.raises(OutputError, match="is a link"):
            put_folder(place, target, ["report.json"], LAST, whole=False)
    assert held(outside) == {"a.svg": "mine"}
    assert (target / "report.json").read_text() == "old"
    assert not placing.former_place(target / "figures" / "a.svg")
    assert placing.former_place(target / "report.json")


def test_a_file_of_others_stops_it_all(tmp_path: Path) -> None:
    target = fill(tmp_path / "out", OLD | {"preview/p": "mine"})
    with pytest.raises(OutputError, match=r"preview/p: is not from a former report"):
        replaced(target, whole=False)
    assert held(target) == OLD | {"preview/p": "mine"}


@pytest.mark.parametrize(
    "journal",
    [
        '{"names": ["../precious", "/precious"], "last": []}',
        '{"names": ["rep',
        '{"names": 3, "last": []}',
        "[]",
        "{}",
    ],
)
def test_a_journal_leads_nowhere_else(journal: str, tmp_path: Path) -> None:
    target = fill(tmp_path / "out", OLD)
    fill(tmp_path, {"precious": "mine"})
    fill(tmp_path / ".out-mixcompare", {"lock": "", "journal": journal, "new/x": "new"})
    taken_up(target)
    assert held(target) == OLD
    assert (tmp_path / "precious").read_text() == "mine"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "precious"]


def killed_at(step: int, act: Callable[[], None]) -> bool:
    """Do something in a child that kills itself at a step; whether it came as far as that."""
    child = os.fork()
    if child == 0:
        count = 0

        def hook(name: str) -> None:
            nonlocal count
            count += 1
            if count == step:
                os.kill(os.getpid(), signal.SIGKILL)

        placing._of_libc = lambda name: None
        steps.hook = hook
        try:
            act()
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status) == -signal.SIGKILL


@pytest.mark.skipif(sys.platform == "win32", reason="kills by signals")
def test_a_run_that_is_killed_while_it_puts_right_what_a_killed_one_left(tmp_path: Path) -> None:
    """Every step of the moves, then every step of the undoing; beside a file of the user's."""
    mine = {"mine.txt": "mine", "figures/own": "mine"}
    kills = 0
    for first in range(1, 30):
        for second in range(1, 30):
            target = fill(tmp_path / f"{first}-{second}" / "out", OLD | mine)
            if not killed_at(first, lambda target=target: replaced(target, whole=False)):
                assert held(target) == NEW | mine
                assert first == 17
                assert kills > 100
                return
            again = killed_at(second, lambda target=target: taken_up(target))
            left = held(target)
            assert all(left.pop(name) == "mine" for name in mine)
            assert is_told(left)
            taken_up(target)
            assert held(target) in (OLD | mine, NEW | mine)
            assert [path.name for path in target.parent.iterdir()] == ["out"]
            if not again:
                break
            kills += 1


def test_beside_others_page_and_document_go_first_and_come_last(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """So that a folder that is half done holds nothing that would be taken for a report."""
    target, moved, move = fill(tmp_path / "out", OLD), [], os.replace

    def replace(source: Path, place: Path) -> None:
        moved.append((source, place))
        move(source, place)

    monkeypatch.setattr(os, "replace", replace)
    replaced(target, whole=False)
    assert [source for source, _ in moved[:2]] == [target / name for name in LAST[::-1]]
    assert [place for _, place in moved[-2:]] == [target / name for name in LAST]
    assert len(moved) == len(OLD) + len(NEW)
