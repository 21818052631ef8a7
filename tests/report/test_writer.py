"""The report's folder: all of it or nothing, and nobody else's files touched."""

import errno
import json
import os
import signal
from dataclasses import replace

import pytest

from mixcompare import plots
from mixcompare.alignment.result import UNRELATED
from mixcompare.errors import OutputError
from mixcompare.outputs import steps
from mixcompare.plots import style
from mixcompare.report.writer import check_writable, save
from tests.closed import without_powers
from tests.report.builders import gliding_pair, made_up_results

SVG = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 1 1"></svg>'


@pytest.fixture
def small(monkeypatch):
    """Results that are quickly written: one finding, one figure, which is an empty picture.

    What figures show is no matter here; to write them takes most of a report's time.
    """
    monkeypatch.setattr(style, "to_svg", lambda figure: SVG)
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
    with pytest.raises(OutputError, match="is a file; name a folder"):
        check_writable(tmp_path / "file" / "below")
    (tmp_path / "loop").symlink_to("loop")
    with pytest.raises(OutputError, match="is a link that leads nowhere; name a folder"):
        check_writable(tmp_path / "loop")
    with pytest.raises(OutputError, match="cannot be written here"):
        check_writable("/proc/out")


def test_a_closed_folder_is_refused_by_the_name_that_was_given(tmp_path):
    tmp_path.chmod(0o500)
    for name in ("out", "out/below"):
        with pytest.raises(OutputError, match=r"/out: cannot be .*permission denied"):
            without_powers(lambda name=name: check_writable(tmp_path / name))
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


@pytest.mark.parametrize("shared", [False, True])
def test_signals_while_a_report_is_written_leave_the_old_or_the_new(
    shared, small, tmp_path, monkeypatch
):
    """Also where the folder holds other things, and its files are exchanged one by one."""
    target = save(small, tmp_path / "out")
    mine = ["notes.txt"] if shared else []
    for name in mine:
        (target / name).write_text("mine")
    old = (target / "report.json").read_bytes()
    new = replace(small, findings=(), verdict="Nothing sticks out.")
    seen = []
    for at in range(1, 40):
        calls = []

        def hook(name, at=at, calls=calls):
            calls.append(name)
            if len(calls) == at:
                signal.raise_signal(signal.SIGINT)

        monkeypatch.setattr(steps, "hook", hook)
        try:
            save(new, target)
        except KeyboardInterrupt:
            seen.append((target / "report.json").read_bytes() == old)
        else:
            break
        finally:
            monkeypatch.setattr(steps, "hook", None)
        listed = json.loads((target / "report.json").read_text("utf-8"))["files"]
        assert sorted([*listed, *mine]) == contents(target)
        assert [path.name for path in tmp_path.iterdir()] == ["out"]
        save(small, target)
    assert seen == sorted(seen, reverse=True)
    assert True in seen
    assert False in seen


def test_what_is_read_is_never_replaced(small, tmp_path):
    target = save(small, tmp_path / "out", gliding_pair(small, 6.0))
    read = target / "listening" / "01-repeating-figure-louder-candidate.flac"
    before = read.read_bytes()
    (tmp_path / "hard.flac").hardlink_to(read)
    for name in (read, tmp_path / "hard.flac"):
        with pytest.raises(OutputError, match="is read in this run and stays"):
            check_writable(target, [tmp_path / "other", name])
        with pytest.raises(OutputError, match="is read in this run and stays"):
            save(small, target, inputs=[name])
    assert read.read_bytes() == before
    save(small, target, inputs=[tmp_path / "other"])
    assert not read.exists()


def test_links_in_a_former_report_are_not_followed(small, tmp_path):
    target = save(small, tmp_path / "out")
    outside = tmp_path / "elsewhere"
    (target / "figures").rename(outside)
    (target / "figures").symlink_to(outside)
    before = contents(outside)
    for attempt in (lambda: check_writable(target), lambda: save(small, target)):
        with pytest.raises(OutputError, match="figures: is a link"):
            attempt()
    assert contents(outside) == before
    assert (target / "report.json").exists()
    (target / "figures").unlink()
    (target / "report.json").rename(tmp_path / "document")
    (target / "report.json").symlink_to(tmp_path / "document")
    with pytest.raises(OutputError, match=r"report.json: is a link"):
        check_writable(target)


def test_strange_places_get_a_sentence(tmp_path):
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    for name in (tmp_path / "loop" / "x", tmp_path / ("x" * 300), "/dev/null/x"):
        with pytest.raises(OutputError):
            check_writable(name)
    check_writable("~nobody_of_this_name/out")
    assert not os.path.lexists("~nobody_of_this_name")


def test_a_name_that_is_no_text_is_written_as_escapes(small, tmp_path):
    named = replace(small, reference=replace(small.reference, path="caf\udce9.wav"))
    target = save(named, tmp_path / "out")
    document = json.loads((target / "report.json").read_text("utf-8"))
    assert document["reference"]["path"] == "caf\udce9.wav"
    assert "caf\\udce9.wav" in (target / "report.html").read_text("utf-8")


def test_the_list_of_files_is_true(small, tmp_path):
    for pair in (None, gliding_pair(small, 6.0)):
        target = save(small, tmp_path / "out", pair)
        listed = json.loads((target / "report.json").read_text("utf-8"))["files"]
        assert listed == contents(target)
