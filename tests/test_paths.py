"""What is no file to be read is said so, before anybody waits for it."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pytest

import mixcompare
from mixcompare.errors import AudioFileError, ParameterError, ScoreError
from mixcompare.knowledge.score import Score
from mixcompare.paths import checked_path, hindrance
from tests.closed import without_powers


def test_hindrances(tmp_path: Path) -> None:
    (tmp_path / "there").write_text("")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    os.mkfifo(tmp_path / "pipe")
    for name, words in (
        ("missing", "no such file"),
        ("there/below", "cannot be read (not a directory)"),
        ("loop", "cannot be read (too many levels"),
        ("x" * 300, "cannot be read (file name too long)"),
        ("null\0byte", "is no name that a file can have"),
        ("pipe", "is a pipe or a device"),
        (".", "is a folder"),
    ):
        told = hindrance(tmp_path / name)
        assert told is not None
        assert words in told
    assert "pipe or a device" in (hindrance(Path("/dev/null")) or "")
    assert hindrance(tmp_path / "there") is None


def test_closed_places(tmp_path: Path) -> None:
    (tmp_path / "closed").mkdir()
    (tmp_path / "file").write_text("")
    (tmp_path / "file").chmod(0)
    (tmp_path / "closed").chmod(0)
    for name in ("closed/file", "file"):
        told = without_powers(lambda name=name: hindrance(tmp_path / name))
        assert "permission denied" in told
    (tmp_path / "closed").chmod(0o700)


def test_pipes_are_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.wav")
    os.mkfifo(tmp_path / "pipe.mid")
    with pytest.raises(AudioFileError, match="is a pipe or a device"):
        mixcompare.load(tmp_path / "pipe.wav")
    with pytest.raises(ScoreError, match="is a pipe or a device"):
        Score.open(tmp_path / "pipe.mid")


@pytest.mark.parametrize("given", [None, 3, b"bytes.wav", ["a.wav"], 2.5])
def test_what_is_no_path_is_no_path(given: object) -> None:
    with pytest.raises(ParameterError, match="must be named by a path"):
        checked_path(given, "a recording")


TONE = 0.1 * np.sin(np.arange(5 * 16_000))


@pytest.mark.parametrize(
    ("arguments", "options"),
    [
        ((3, None), {}),
        ((b"a.wav", "b.wav"), {}),
        (((TONE, "16000"), (TONE, 16_000)), {}),
        (((TONE, True), (TONE, 16_000)), {}),
        (((TONE,), (TONE, 16_000)), {}),
        ((("no samples", 16_000), (TONE, 16_000)), {}),
        ((([[1.0, 2.0], [3.0]], 16_000), (TONE, 16_000)), {}),
        (((TONE, 16_000), (TONE, 16_000)), {"reference_span_s": 3}),
        (((TONE, 16_000), (TONE, 16_000)), {"reference_span_s": ("a", "b")}),
        (((TONE, 16_000), (TONE, 16_000)), {"reference_span_s": (0, float("nan"))}),
        (((TONE, 16_000), (TONE, 16_000)), {"time_map": [(0, 0), (1, 1)]}),
        (((TONE, 16_000), (TONE, 16_000)), {"score": 3}),
        (((TONE, 16_000), (TONE, 16_000)), {"stems": 3}),
    ],
)
def test_wrong_types_get_a_sentence(
    arguments: tuple[object, ...], options: dict[str, object]
) -> None:
    with pytest.raises(ParameterError) as told:
        mixcompare.compare(*arguments, **options)  # type: ignore[arg-type]
    assert str(told.value).endswith(".")
    assert len(str(told.value)) < 250
