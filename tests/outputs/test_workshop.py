"""One run at a time at a place, and nothing that stays behind."""

from __future__ import annotations

import errno
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from mixcompare.errors import OutputError
from mixcompare.outputs import taken_up, uninterrupted, workshop
from tests.closed import without_powers


@pytest.mark.clock
def test_the_second_waits_for_the_first(tmp_path: Path) -> None:
    order = []

    def second() -> None:
        with workshop(tmp_path / "out"):
            order.append("second")

    with workshop(tmp_path / "out"):
        thread = threading.Thread(target=second)
        thread.start()
        time.sleep(0.2)
        order.append("first")
    thread.join(10)
    assert order == ["first", "second"]
    assert list(tmp_path.iterdir()) == []


def test_who_waits_too_long_is_refused(tmp_path: Path) -> None:
    with workshop(tmp_path / "out") as place:
        (place / "new").write_text("of the first")
        with (
            pytest.raises(OutputError, match="out: another run of mixcompare"),
            workshop(tmp_path / "out", wait_s=0.1),
        ):
            pass
        taken_up(tmp_path / "out")  # asks for nothing while somebody works there
        assert (place / "new").read_text() == "of the first"
        with workshop(tmp_path / "other"):
            pass


def test_what_a_killed_run_left_is_cleared(tmp_path: Path) -> None:
    left = tmp_path / ".out-mixcompare"
    (left / "new" / "figures").mkdir(parents=True)
    (left / "lock").write_text("")
    with workshop(tmp_path / "out") as place:
        assert place == left
        assert [path.name for path in place.iterdir()] == ["lock"]
    assert list(tmp_path.iterdir()) == []


def test_what_stood_in_an_empty_place_is_put_back(tmp_path: Path) -> None:
    left = tmp_path / ".out-mixcompare"
    (left / "former").mkdir(parents=True)
    (left / "former" / "report.json").write_text("old")
    (left / "lock").write_text("")
    taken_up(tmp_path / "out")
    assert (tmp_path / "out" / "report.json").read_text() == "old"
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_what_stood_there_is_kept_where_it_can_not_be_put_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    left = tmp_path / ".out-mixcompare"
    (left / "former").mkdir(parents=True)
    (left / "former" / "report.json").write_text("old")
    (left / "lock").write_text("")

    def refused(*those: object) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    with monkeypatch.context() as broken:
        broken.setattr(os, "rename", refused)
        with pytest.raises(OutputError, match="out: cannot be written here"):
            taken_up(tmp_path / "out")
    assert (left / "former" / "report.json").read_text() == "old"
    taken_up(tmp_path / "out")
    assert (tmp_path / "out" / "report.json").read_text() == "old"


def test_a_folder_of_others_with_its_name_is_left_alone(tmp_path: Path) -> None:
    (tmp_path / ".out-mixcompare").mkdir()
    (tmp_path / ".out-mixcompare" / "mine").write_text("mine")
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / ".link-mixcompare").symlink_to(tmp_path / "elsewhere")
    for name in ("out", "link"):
        with (
            pytest.raises(OutputError, match=f"{name}-mixcompare: is in the way"),
            workshop(tmp_path / name),
        ):
            pass
    assert (tmp_path / ".out-mixcompare" / "mine").read_text() == "mine"
    assert list((tmp_path / "elsewhere").iterdir()) == []


def test_a_name_as_long_as_may_be(tmp_path: Path) -> None:
    with workshop(tmp_path / ("x" * 255)) as place:
        assert place.parent == tmp_path


def test_in_a_closed_folder_it_lies_inside(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    tmp_path.chmod(0o500)

    def where() -> Path:
        with workshop(tmp_path / "out") as place:
            return place.parent

    assert without_powers(where) == tmp_path / "out"
    tmp_path.chmod(0o700)
    assert list((tmp_path / "out").iterdir()) == []


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_signals_come_after_what_must_stay_whole() -> None:
    done = []
    before = signal.getsignal(signal.SIGTERM)

    def whole() -> None:
        with uninterrupted():
            os.kill(os.getpid(), signal.SIGINT)
            time.sleep(0.05)
            done.append("all of it")

    with pytest.raises(KeyboardInterrupt):
        whole()
    assert done == ["all of it"]
    assert signal.getsignal(signal.SIGTERM) is before
    thread = threading.Thread(target=lambda: uninterrupted().__enter__())
    thread.start()
    thread.join()
    assert signal.getsignal(signal.SIGTERM) is before


@pytest.mark.clock
@pytest.mark.skipif(sys.platform == "win32", reason="kills by signals")
def test_the_lock_goes_with_its_process(tmp_path: Path) -> None:
    code = (
        "import sys, time; from pathlib import Path; from mixcompare.outputs import workshop\n"
        "with workshop(Path(sys.argv[1])):\n    print('in', flush=True); time.sleep(60)"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code, str(tmp_path / "out")], stdout=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"in\n"
    with pytest.raises(OutputError, match="another run"), workshop(tmp_path / "out", wait_s=0):
        pass
    process.kill()
    process.wait(10)
    process.stdout.close()
    with workshop(tmp_path / "out", wait_s=5):
        pass
    assert list(tmp_path.iterdir()) == []
