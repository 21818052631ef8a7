"""Sound that is written whole, or is an error with its reason."""

from __future__ import annotations

import errno
import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
import soundfile

from mixcompare.listening.writing import new_sound

RATE_HZ = 24_000
NOISE = np.random.default_rng(5).uniform(-0.5, 0.5, (RATE_HZ, 2)).astype(np.float32)
KINDS = [("FLAC", "PCM_16"), ("FLAC", "PCM_24"), ("RF64", "FLOAT"), ("WAV", "PCM_24")]


@pytest.mark.parametrize("kind", KINDS)
def test_what_was_put_in_is_there(kind: tuple[str, str], tmp_path: Path) -> None:
    with new_sound(tmp_path / "x", RATE_HZ, 2, kind) as file:
        file.write(NOISE[:10_000])
        file.write(NOISE[10_000:])
    samples, rate_hz = soundfile.read(tmp_path / "x")
    assert rate_hz == RATE_HZ
    np.testing.assert_allclose(samples, NOISE, atol=1e-4)
    info = soundfile.info(tmp_path / "x")
    assert (info.format, info.subtype) == kind


@contextmanager
def no_file_larger_than(size: int) -> Iterator[None]:
    """A bound of the system's, at which writing fails as on a full disk."""
    import resource

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


@pytest.mark.skipif(sys.platform == "win32", reason="bounds of a process")
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("size", [0, 30_000, 71_000])
def test_what_breaks_off_is_told(
    kind: tuple[str, str], size: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "x"

    def filled() -> None:
        with new_sound(path, RATE_HZ, 2, kind) as file:
            file.write(NOISE)

    for free, number in ((10**9, errno.EIO), (1_000, errno.ENOSPC)):
        left = SimpleNamespace(free=free)
        monkeypatch.setattr(shutil, "disk_usage", lambda place, left=left: left)
        with no_file_larger_than(size), pytest.raises(OSError, match="/x'$") as told:
            filled()
        assert told.value.errno == number
        assert told.value.filename == str(path)


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with (
        pytest.raises(OSError, match="/no/x"),
        new_sound(tmp_path / "no" / "x", RATE_HZ, 2, KINDS[0]),
    ):
        pass


def test_a_coder_that_says_nothing_of_what_is_missing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    short = SimpleNamespace(frames=len(NOISE) - 1)
    monkeypatch.setattr(soundfile, "info", lambda path: short)
    with (
        pytest.raises(OSError, match="/x'$"),
        new_sound(tmp_path / "x", RATE_HZ, 2, KINDS[0]) as file,
    ):
        file.write(NOISE)


def test_a_write_that_took_less_than_it_was_given(tmp_path: Path) -> None:
    # The library asserts that as much was written as it was given.
    with pytest.raises(OSError, match="/x'$"), new_sound(tmp_path / "x", RATE_HZ, 2, KINDS[0]):
        raise AssertionError
