"""The report's folder: all of it or nothing, and nobody else's files touched."""

import errno
import json
import os
import shutil
from dataclasses import replace

import pytest

from mixcompare import plots
from mixcompare.alignment.result import UNRELATED
from mixcompare.errors import OutputError
from mixcompare.report import writer
from mixcompare.report.writer import check_writable, save
from tests.report.builders import gliding_pair, made_up_results


@pytest.fixture
def small():
    """Results that are quickly written: one finding, one figure."""
    results = made_up_results(length_s=6.0)
    kept = {"tuning": results.measurements["tuning"]}
    return replace(results, measurements=kept, findings=results.findings[:1])


def contents(folder):
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if path.is_file())


PLAIN = [
    "figures/alignment.svg",
    "figures/tuning.svg",
    "findings.csv",
    "report.html",
    "report.json",
]


def test_the_folder_holds_the_report_and_nothing_is_left_beside_it(small, tmp_path):
    steps = []
    target = save(small, tmp_path / "new" / "out", None, steps.append)
    assert "drawing figures" in steps
    # A short map leaves no stretch for a tempo curve, so there are two figures.
    assert contents(target) == PLAIN
    assert [path.name for path in target.parent.iterdir()] == ["out"]


def test_excerpts_are_written_for_every_finding(small, tmp_path):
    target = save(small, tmp_path / "out", gliding_pair(small, 6.0))
    extra = [name for name in contents(target) if name.startswith("listening/")]
    assert extra == [
        "listening/01-repeating-figure-louder-candidate.flac",
        "listening/01-repeating-figure-louder-reference.flac",
    ]


def test_a_former_report_is_replaced(small, tmp_path):
    target = save(small, tmp_path / "out", gliding_pair(small, 6.0))
    save(small, target)
    assert contents(target) == PLAIN
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_files_of_others_stay_and_stale_ones_of_ours_go(small, tmp_path):
    target = tmp_path / "out"
    (target / "takes").mkdir(parents=True)
    (target / "takes" / "one.wav").write_bytes(b"sound")
    save(small, target, gliding_pair(small, 6.0))
    (target / "listening" / "notes.txt").write_text("mine")
    (target / "figures" / "own.svg").write_text("mine too")
    save(replace(small, measurements={}), target)
    assert contents(target) == [
        "figures/alignment.svg",
        "figures/own.svg",
        "findings.csv",
        "listening/notes.txt",
        "report.html",
        "report.json",
        "takes/one.wav",
    ]
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


@pytest.mark.parametrize("name", ["report.json", "report.html", "findings.csv"])
def test_a_file_of_others_is_never_overwritten(name, small, tmp_path):
    target = tmp_path / "out"
    target.mkdir()
    (target / name).write_text("{}")
    with pytest.raises(OutputError, match=f"{name}.*not from a former report"):
        check_writable(target)
    with pytest.raises(OutputError, match="name another folder"):
        save(small, target)
    assert (target / name).read_text() == "{}"
    assert contents(target) == [name]


def test_a_former_report_cannot_point_at_files_outside(small, tmp_path):
    target = tmp_path / "out"
    target.mkdir()
    precious = tmp_path / "precious.txt"
    precious.write_text("mine")
    listed = ["../precious.txt", "/etc/hostname", "keep.txt", "report.json"]
    forged = json.dumps({"mixcompare_version": "0", "files": listed})
    (target / "report.json").write_text(forged)
    (target / "keep.txt").write_text("mine")
    save(small, target)
    assert precious.exists()
    assert (target / "keep.txt").exists()


def test_a_place_that_cannot_be_written_is_refused_before_the_work(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(OutputError, match="is a file; name a folder"):
        check_writable(tmp_path / "file")
    with pytest.raises(OutputError, match="cannot be written here"):
        check_writable(tmp_path / "file" / "below")
    with pytest.raises(OutputError, match="cannot be written here"):
        check_writable("/proc/out")


@pytest.mark.skipif(os.geteuid() == 0, reason="nothing is closed to the superuser")
def test_a_closed_folder_is_refused(tmp_path):
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="permission denied"):
        check_writable(tmp_path / "out")
    tmp_path.chmod(0o700)


@pytest.mark.parametrize(
    ("trouble", "seen"),
    [(OSError(errno.ENOSPC, "No space left on device"), OutputError), (KeyboardInterrupt(),) * 2],
)
def test_trouble_in_the_middle_leaves_the_former_report_whole(
    trouble, seen, small, tmp_path, monkeypatch
):
    target = save(small, tmp_path / "out")
    before = {name: (target / name).read_bytes() for name in contents(target)}

    def break_off(results):
        raise trouble

    monkeypatch.setattr(plots, "draw_all", break_off)
    with pytest.raises(seen if isinstance(seen, type) else KeyboardInterrupt):
        save(small, target, gliding_pair(small, 6.0))
    assert {name: (target / name).read_bytes() for name in contents(target)} == before
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


def test_an_unrelated_pair_gets_a_report_without_sound(tmp_path):
    results = made_up_results(UNRELATED, length_s=6.0)
    target = save(results, tmp_path / "out", gliding_pair(results, 6.0))
    assert contents(target) == ["findings.csv", "report.html", "report.json"]
    assert "do not share a passage" in (target / "report.html").read_text("utf-8")


def test_a_report_is_open_to_others_as_any_folder_is(small, tmp_path):
    target = save(small, tmp_path / "out")
    plain = tmp_path / "plain"
    plain.mkdir()
    assert target.stat().st_mode == plain.stat().st_mode


def contents_of(folder):
    return {name: (folder / name).read_bytes() for name in contents(folder)}


def failing(function, at, trouble):
    """The function, which at its call number ``at`` does nothing but raise."""
    calls = []

    def broken(*arguments):
        calls.append(arguments)
        if len(calls) == at:
            raise trouble
        return function(*arguments)

    broken.calls = calls
    return broken


FULL = OSError(errno.ENOSPC, "No space left on device")


@pytest.fixture(scope="module")
def two(tmp_path_factory):
    """A former report and a new one, each complete, to be laid in place by hand."""
    results = made_up_results(length_s=6.0)
    former = replace(results, measurements={"tuning": results.measurements["tuning"]})
    new = replace(results, measurements={}, findings=(), verdict="Nothing sticks out.")
    home = tmp_path_factory.mktemp("two")
    return save(former, home / "former"), save(new, home / "new")


@pytest.mark.parametrize("trouble", [FULL, KeyboardInterrupt()])
@pytest.mark.parametrize("at", [1, 2])
def test_a_rename_that_fails_leaves_the_former_report_whole(
    at, trouble, two, tmp_path, monkeypatch
):
    target, fresh = tmp_path / "out", tmp_path / "fresh"
    shutil.copytree(two[0], target)
    shutil.copytree(two[1], fresh)
    before = contents_of(target)
    monkeypatch.setattr(os, "rename", failing(os.rename, at, trouble))
    with pytest.raises(type(trouble)):
        writer._put_in_place(fresh, target)
    assert contents_of(target) == before
    assert sorted(path.name for path in tmp_path.iterdir()) == ["fresh", "out"]


def test_a_former_report_that_cannot_be_put_back_is_not_thrown_away(two, tmp_path, monkeypatch):
    target, fresh = tmp_path / "out", tmp_path / "fresh"
    shutil.copytree(two[0], target)
    shutil.copytree(two[1], fresh)
    before = contents_of(target)
    rename, calls = os.rename, []

    def broken(source, place):
        calls.append(source)
        if len(calls) > 1:
            raise FULL
        rename(source, place)

    monkeypatch.setattr(os, "rename", broken)
    with pytest.raises(OSError, match="No space"):
        writer._put_in_place(fresh, target)
    (kept,) = tmp_path.glob(".out-*/former")
    assert contents_of(kept) == before


def test_a_report_in_a_folder_of_its_own_is_replaced_whole(two, tmp_path):
    target, fresh = tmp_path / "out", tmp_path / "fresh"
    shutil.copytree(two[0], target)
    shutil.copytree(two[1], fresh)
    wanted = contents_of(fresh)
    writer._put_in_place(fresh, target)
    assert contents_of(target) == wanted
    assert [path.name for path in tmp_path.iterdir()] == ["out"]


MOVES = 5 + 4  # files of the former report set aside, files of the new one moved in


@pytest.mark.parametrize("at", range(1, MOVES + 1))
def test_a_move_that_fails_beside_files_of_others_is_undone(at, two, tmp_path, monkeypatch):
    target, fresh = tmp_path / "out", tmp_path / "fresh"
    shutil.copytree(two[0], target)
    shutil.copytree(two[1], fresh)
    (target / "mine.txt").write_text("mine")
    before = contents_of(target)
    trouble = KeyboardInterrupt() if at % 2 else FULL
    monkeypatch.setattr(os, "replace", failing(os.replace, at, trouble))
    with pytest.raises(type(trouble)):
        writer._put_in_place(fresh, target)
    assert contents_of(target) == before
    assert not [path for path in target.iterdir() if path.is_dir() and path.name != "figures"]


def test_moving_in_beside_files_of_others_takes_as_many_moves(two, tmp_path, monkeypatch):
    target, fresh = tmp_path / "out", tmp_path / "fresh"
    shutil.copytree(two[0], target)
    shutil.copytree(two[1], fresh)
    (target / "mine.txt").write_text("mine")
    wanted = contents_of(fresh) | {"mine.txt": b"mine"}
    counting = failing(os.replace, 0, FULL)
    monkeypatch.setattr(os, "replace", counting)
    writer._put_in_place(fresh, target)
    assert contents_of(target) == wanted
    assert len(counting.calls) == MOVES
    assert counting.calls[-1][1] == target / "report.json"  # the list of files comes last


def test_a_first_report_that_cannot_be_put_in_place_leaves_nothing(small, tmp_path, monkeypatch):
    monkeypatch.setattr(os, "rename", failing(os.rename, 1, FULL))
    with pytest.raises(OutputError, match="no space left on device"):
        save(small, tmp_path / "out")
    assert list(tmp_path.iterdir()) == []


def test_the_list_of_files_is_true(small, tmp_path):
    for pair in (None, gliding_pair(small, 6.0)):
        target = save(small, tmp_path / "out", pair)
        listed = json.loads((target / "report.json").read_text("utf-8"))["files"]
        assert listed == contents(target)
