"""The folder of all takes: nobody else's files are touched, nobody else works there."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest

from mixcompare.errors import OutputError
from mixcompare.takes.place import DOCUMENT, KEPT, PAGE, TABLE, VERSIONS, opened
from mixcompare.takes.store import read_json

OWN = [PAGE, TABLE]


def done(folder: Path, written: list[str] = OWN) -> None:
    """A former run, from its beginning to its end."""
    with opened(folder, written, []):
        for name in written:
            (folder / name).write_text("ours", encoding="utf-8")
        for name in ("pairs", "sound"):
            (folder / name).mkdir(exist_ok=True)


def test_it_is_made_and_says_whose_it_is(tmp_path: Path) -> None:
    folder = tmp_path / "a" / "takes"
    with opened(folder, OWN, []) as place:
        assert place == folder
        said = read_json(folder / DOCUMENT)
        assert said is not None
        assert "mixcompare_version" in said
        assert sorted(said["files"]) == sorted(OWN)
        assert said["takes"] == []
    assert sorted(path.name for path in folder.iterdir()) == [KEPT, DOCUMENT]


@pytest.mark.parametrize("name", [PAGE, TABLE, DOCUMENT, "pairs", "sound", KEPT])
def test_what_is_not_from_a_former_run_stays(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text("mine", encoding="utf-8")
    with pytest.raises(OutputError, match=f"holds '{name}', which is not from a former"):
        done(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_beside_a_former_run_too(tmp_path: Path) -> None:
    """A table that the former run did not write is somebody's."""
    done(tmp_path)
    (tmp_path / VERSIONS).write_text("mine", encoding="utf-8")
    done(tmp_path)
    with pytest.raises(OutputError, match=r"holds 'versions\.csv', which is not"):
        done(tmp_path, [*OWN, VERSIONS])
    assert (tmp_path / VERSIONS).read_text(encoding="utf-8") == "mine"
    (tmp_path / VERSIONS).unlink()
    done(tmp_path, [*OWN, VERSIONS])
    done(tmp_path, [*OWN, VERSIONS])


def test_a_run_that_broke_off_is_gone_on_with(tmp_path: Path) -> None:
    def breaks_off() -> None:
        with opened(tmp_path, [*OWN, VERSIONS], []):
            for name in (*OWN, VERSIONS):
                (tmp_path / name).write_text("half", encoding="utf-8")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        breaks_off()
    done(tmp_path, [*OWN, VERSIONS])


def test_what_a_former_version_wrote_is_known(tmp_path: Path) -> None:
    """It did not list its files (regression)."""
    done(tmp_path, [*OWN, VERSIONS])
    said = json.loads((tmp_path / DOCUMENT).read_text("utf-8"))
    del said["files"]
    (tmp_path / DOCUMENT).write_text(json.dumps(said), "utf-8")
    done(tmp_path, [*OWN, VERSIONS])


@pytest.mark.parametrize("name", ["pairs", "sound", KEPT])
def test_no_link_is_followed(name: str, tmp_path: Path) -> None:
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / ".mine.json.1").write_text("mine", encoding="utf-8")
    folder = tmp_path / "takes"
    done(folder)
    (folder / name).rmdir()
    (folder / name).symlink_to(elsewhere)
    with pytest.raises(OutputError, match=f"{name}: is a link, which is not followed"):
        done(folder)
    assert [path.name for path in elsewhere.iterdir()] == [".mine.json.1"]


@pytest.mark.parametrize("name", [TABLE, "sound/a-reference.mp3", "pairs/a/listening/x.flac"])
def test_what_is_read_stays(name: str, tmp_path: Path) -> None:
    folder = tmp_path / "takes"
    done(folder)
    (tmp_path / "link").symlink_to(folder / name)
    for named in (folder / name, tmp_path / "link"):
        with (
            pytest.raises(OutputError, match="is read in this run and stays"),
            opened(folder, OWN, [str(named)]),
        ):
            pass
    with opened(folder, OWN, [str(folder / "recording.wav"), str(tmp_path / "other.wav")]):
        pass  # beside what is written it may lie


def test_two_runs_do_not_work_in_one_place(tmp_path: Path) -> None:
    with opened(tmp_path, OWN, []):
        with pytest.raises(OutputError, match="another run of mixcompare is writing here"):
            done(tmp_path)
        assert read_json(tmp_path / DOCUMENT) is not None
    done(tmp_path)
    assert [path.name for path in tmp_path.glob(".*")] == []


def test_what_was_left_half_written_is_swept_and_nothing_else(tmp_path: Path) -> None:
    done(tmp_path)
    left = ["pairs/.a-mixcompare/new/x", f"{KEPT}/.a.json.123", f"{KEPT}/features-0af.77.npz"]
    mine = ["pairs/.hidden/x", "pairs/.note", f"{KEPT}/.note", f"{KEPT}/features-0af.npz"]
    for name in (*left, *mine):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text("x", encoding="utf-8")
    done(tmp_path)
    assert [name for name in left if (tmp_path / name).exists()] == []
    assert [name for name in mine if not (tmp_path / name).exists()] == []
    assert not os.path.lexists(tmp_path / "pairs" / ".a-mixcompare")


def test_a_file_is_no_folder(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine", encoding="utf-8")
    (tmp_path / "loop").symlink_to("loop")
    for name in ("file", "loop"):
        with pytest.raises(OutputError, match=f"{name}: (is a file|cannot be written)"):
            done(tmp_path / name)
