"""A single file is written only where nothing of others, and nothing that is read, stands."""

from __future__ import annotations

import errno
import os
from pathlib import Path

import pytest

from mixcompare.errors import OutputError
from mixcompare.outputs import check_file, is_one_of, steps, write_file

MARK = b"our mark"


def test_a_new_file_and_our_own_are_written(tmp_path: Path) -> None:
    path = tmp_path / "map.csv"
    write_file(path, b"our mark, one", MARK, [])
    path.chmod(0o600)
    write_file(path, b"our mark, two", MARK, [])
    assert path.read_bytes() == b"our mark, two"
    assert path.stat().st_mode & 0o777 == 0o600
    assert list(tmp_path.iterdir()) == [path]


def test_the_mark_may_stand_at_either_end(tmp_path: Path) -> None:
    for content in (MARK + bytes(10**6), bytes(10**6) + MARK):
        (tmp_path / "figure").write_bytes(content)
        check_file(tmp_path / "figure", MARK, [])
    (tmp_path / "figure").write_bytes(bytes(10**6) + MARK + bytes(10**6))
    with pytest.raises(OutputError, match="was not written by mixcompare"):
        check_file(tmp_path / "figure", MARK, [])


def test_what_is_read_stays_by_whatever_name(tmp_path: Path) -> None:
    read = tmp_path / "take.wav"
    read.write_bytes(MARK)
    (tmp_path / "hard").hardlink_to(read)
    (tmp_path / "soft").symlink_to(read)
    (tmp_path / "folder").symlink_to(tmp_path)
    for name in (
        "take.wav",
        "hard",
        "soft",
        "folder/take.wav",
        "../" + tmp_path.name + "/take.wav",
    ):
        assert is_one_of(tmp_path / name, [tmp_path / "other", read])
        with pytest.raises(OutputError, match="is read in this run and stays"):
            write_file(tmp_path / name, b"our mark", MARK, [tmp_path / "other", read])
    assert not is_one_of(tmp_path / "other", [read])
    assert read.read_bytes() == MARK
    # Two outputs of one run may not be one file either, before it is there.
    with pytest.raises(OutputError, match="is read in this run"):
        check_file(tmp_path / "new", MARK, [tmp_path / "folder" / "new"])


def test_what_is_not_ours_stays(tmp_path: Path) -> None:
    (tmp_path / "foreign").write_text("mine")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    os.mkfifo(tmp_path / "pipe")
    for name, words in (
        ("foreign", "was not written by mixcompare"),
        ("dangling", "is no plain file"),
        ("pipe", "is no plain file"),
        (".", "is no plain file"),
        ("none/map.csv", "there is no folder"),
        ("x" * 300, "cannot be written here"),
        ("foreign/map.csv", "cannot be written|there is no folder"),
    ):
        with pytest.raises(OutputError, match=words):
            write_file(tmp_path / name, b"our mark", MARK, [])
    assert (tmp_path / "foreign").read_text() == "mine"
    assert sorted(os.listdir(tmp_path)) == ["dangling", "foreign", "pipe"]


@pytest.mark.parametrize("trouble", [OSError(errno.ENOSPC, "No space left"), KeyboardInterrupt()])
def test_trouble_leaves_what_was_there(
    trouble: BaseException, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "map.csv"
    path.write_bytes(b"our mark, one")

    def hook(name: str) -> None:
        if name == "file filled":
            raise trouble

    monkeypatch.setattr(steps, "hook", hook)
    wanted = KeyboardInterrupt if isinstance(trouble, KeyboardInterrupt) else OutputError
    with pytest.raises(wanted) as told:
        write_file(path, b"our mark, two", MARK, [])
    assert wanted is KeyboardInterrupt or f"{path}: cannot be written here" in str(told.value)
    assert path.read_bytes() == b"our mark, one"
    assert list(tmp_path.iterdir()) == [path]
