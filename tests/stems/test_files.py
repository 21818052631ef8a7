"""Which files are stems, and what is said of a folder that holds none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixcompare.errors import AudioFileError, ParameterError
from mixcompare.stems.explained import making_of
from mixcompare.stems.files import MOST, opened
from tests.stems.made import RATE_HZ, recorded


def write(folder: Path, *names: str) -> None:
    sound = 0.1 * np.random.default_rng(0).standard_normal((2 * RATE_HZ, 2))
    for name in names:
        soundfile.write(folder / name, sound, RATE_HZ)


def test_a_folder_gives_its_sound_files_by_name(tmp_path: Path) -> None:
    write(tmp_path, "Strings.wav", "Brass.flac")
    (tmp_path / "notes.txt").write_text("for the desk")
    (tmp_path / ".hidden.wav").write_bytes(b"")
    found, notes = opened(tmp_path)
    assert list(found) == ["Brass", "Strings"]
    assert notes == ()


def test_files_of_one_name_keep_their_endings(tmp_path: Path) -> None:
    write(tmp_path, "Horns.wav", "Horns.flac", "Oboe.wav")
    found, _ = opened(tmp_path)
    assert list(found) == ["Horns.flac", "Horns.wav", "Oboe"]


def test_a_file_that_cannot_be_read_is_left_out_and_named(tmp_path: Path) -> None:
    write(tmp_path, "a.wav", "b.wav")
    (tmp_path / "broken.wav").write_bytes(b"RIFF")
    found, notes = opened(tmp_path)
    assert list(found) == ["a", "b"]
    (note,) = notes
    assert note.startswith("Left out of the stems:")
    assert "broken.wav" in note


def test_a_stem_that_is_not_made_of_numbers_is_named_when_it_is_read(tmp_path: Path) -> None:
    sound = 0.1 * np.random.default_rng(0).standard_normal((2 * RATE_HZ, 2)).astype(np.float32)
    soundfile.write(tmp_path / "good.wav", sound, RATE_HZ, subtype="FLOAT")
    sound[RATE_HZ] = np.nan
    soundfile.write(tmp_path / "bad.wav", sound, RATE_HZ, subtype="FLOAT")
    found, _ = opened(tmp_path)
    with pytest.raises(AudioFileError, match=r"bad\.wav: holds values that are not numbers"):
        making_of(found["good"], list(found.values()), [0.0, 0.0, 0.0], 2.0)


def test_folders_without_stems_are_refused_in_a_sentence(tmp_path: Path) -> None:
    with pytest.raises(ParameterError, match="is no folder; name the folder that holds the stems"):
        opened(tmp_path / "nowhere")
    with pytest.raises(ParameterError, match="holds 0 stems that can be read; two or more"):
        opened(tmp_path)
    write(tmp_path, "one.wav")
    with pytest.raises(ParameterError, match="holds 1 stem that can be read"):
        opened(str(tmp_path))
    sound = recorded(0.1 * np.random.default_rng(0).standard_normal(RATE_HZ))
    with pytest.raises(ParameterError, match=f"holds {MOST + 1} stems, more than {MOST}"):
        opened({str(number): sound for number in range(MOST + 1)})
