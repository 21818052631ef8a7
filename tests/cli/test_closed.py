"""Closed folders: one sentence that names them, exit code 2, and nothing half written."""

from __future__ import annotations

import io
import os
import sys
from collections.abc import Iterator
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

import pytest
import soundfile

from mixcompare.cli.main import main
from tests import synthetic
from tests.benchmarks.hostile import seen
from tests.closed import without_powers

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="modes of folders")


@pytest.fixture
def ground(tmp_path: Path) -> Iterator[Path]:
    """Two recordings, one folder that can't be written and one that can't be looked into."""
    music = synthetic.play(3, bars=2)[: 4 * synthetic.RATE_HZ]
    for name in ("a.wav", "b.wav"):
        soundfile.write(tmp_path / name, music, synthetic.RATE_HZ)
    for name, mode in (("readable", 0o500), ("shut", 0)):
        (tmp_path / name).mkdir()
        (tmp_path / name).chmod(mode)
    yield tmp_path
    for name in ("readable", "shut"):
        (tmp_path / name).chmod(0o700)


def told(place: Path, *arguments: str) -> tuple[int, str]:
    """Exit code and what is said of it, by somebody to whom folders can be closed."""

    def act() -> tuple[int, str]:
        os.chdir(place)
        heard = io.StringIO()
        with redirect_stderr(heard), redirect_stdout(io.StringIO()):
            code = main(arguments)
        return code, heard.getvalue()

    code, words = without_powers(act)
    return code, words


PAIR = ("a.wav", "b.wav")
COMPARE = ("compare", *PAIR, "--no-audio", "--quiet", "--out")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((*COMPARE, "readable/out"), "{here}/readable/out: cannot be written here (permission"),
        ((*COMPARE, "readable/a/b"), "{here}/readable/a: cannot be written here (permission"),
        ((*COMPARE, "readable"), "{here}/readable: cannot be written here (permission"),
        ((*COMPARE, "shut/out"), "{here}/shut/out: cannot be written here (permission"),
        (("align", *PAIR, "--map", "readable/m.csv"), "readable/m.csv: its folder cannot be"),
        (("align", *PAIR, "--figure", "shut/m.svg"), "shut/m.svg: cannot be written here"),
        (("align", *PAIR, "--map-from", "shut/m.csv"), "shut/m.csv: cannot be read (permission"),
        (("measure", "shut/a.wav"), "shut/a.wav: cannot be read (permission denied)"),
        ((*COMPARE, "out", "--score", "shut/s.mid"), "shut/s.mid: cannot be read (permission"),
        ((*COMPARE, "out", "--stems", "shut"), "shut: cannot be read (permission denied)"),
        (("takes", *PAIR, "--out", "readable/out"), "{here}/readable/out: cannot be written"),
        (("takes", *PAIR, "--out", "readable"), "{here}/readable/takes.json: cannot be written"),
        (("takes", *PAIR, "--out", "shut/out"), "{here}/shut/out: cannot be written"),
        (("takes", *PAIR, "--out", "out", "--cache", "shut/c"), "{here}/shut/c: cannot be"),
    ],
)
def test_one_sentence_and_nothing_written(
    arguments: tuple[str, ...], words: str, ground: Path
) -> None:
    code, said = told(ground, *arguments)
    assert code == 2
    assert said.startswith(f"mixcompare: {words.format(here=ground)}")
    assert said.count("\n") == 1
    left = {str(path.relative_to(ground)) for path in ground.rglob("*")}
    # With a cache elsewhere the folder of the takes is begun, for a next run to go on with.
    assert left - {"out", "out/kept", "out/takes.json"} == {"a.wav", "b.wav", "readable", "shut"}


def test_a_former_report_in_a_closed_folder_is_replaced_where_it_stands(ground: Path) -> None:
    home = ground / "home"
    home.mkdir()
    assert told(ground, *COMPARE, "home/out")[0] == 0
    before = (home / "out" / "report.html").stat().st_ino
    home.chmod(0o500)
    try:
        assert told(ground, *COMPARE, "home/out") == (0, "")
    finally:
        home.chmod(0o700)
    assert (home / "out" / "report.html").stat().st_ino != before
    assert [path.name for path in (home / "out").glob(".*")] == []


def test_a_former_report_with_a_closed_room_goes_with_it(ground: Path) -> None:
    home = ground / "home"
    home.mkdir()
    for mode in (0o500, 0):
        assert told(ground, *COMPARE, "home/out") == (0, "")
        assert [path.name for path in home.iterdir()] == ["out"]
        (home / "out" / "figures").chmod(mode)
    # What can't be looked into may hold something of the user's.
    code, said = told(ground, *COMPARE, "home/out")
    assert (code, said.count("\n")) == (2, 1)
    assert f"{home / 'out'}: cannot be written here (permission denied)" in said
    (home / "out" / "figures").chmod(0o700)


def test_a_former_report_with_a_closed_room_stays_as_it_was(ground: Path) -> None:
    """Its figures can't be moved away: by one rename of the whole, or not at all."""
    home = ground / "home"
    home.mkdir()
    assert told(ground, *COMPARE, "home/out")[0] == 0
    (home / "out" / "mine.txt").write_text("mine")  # file by file, beside what is the user's
    before = seen(home)
    figures = home / "out" / "figures"
    figures.chmod(0o500)
    try:
        code, said = told(ground, *COMPARE, "home/out")
    finally:
        figures.chmod(0o755)
    assert code == 2
    assert said == (
        f"mixcompare: {home / 'out'}: cannot be written here (permission denied); name another"
        " place.\n"
    )
    assert seen(home) == before
