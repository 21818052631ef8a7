"""One clear sentence for every file that cannot be read."""

from __future__ import annotations

import os
import tracemalloc
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from mixcompare.audio.recording import Recording
from mixcompare.errors import AudioFileError
from tests.audio.samples import RATE_HZ, check_sentence, refusal, whole

FloatArray = npt.NDArray[np.float64]


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("gone.wav", None, "no such file"),
        ("empty.wav", b"", "empty file"),
        ("text.wav", b"not audio at all\n" * 500, "not readable as audio"),
        ("phone.m4a", b"\0\0\0\x20ftypM4A " + bytes(500), "convert it to WAV or FLAC"),
        ("plain.raw", bytes(200_000), "not readable as audio"),
    ],
)
def test_files_that_are_not_audio(
    name: str, content: bytes | None, words: str, tmp_path: Path
) -> None:
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    check_sentence(refusal(path), path, words)


def test_folder(tmp_path: Path) -> None:
    check_sentence(refusal(tmp_path), tmp_path, "is a folder")


@pytest.mark.parametrize(
    ("kept", "words"),
    [
        (20, "not readable as audio"),
        (100, "breaks off before its stated end"),
        (0.02, "breaks off before its stated end"),
        (0.5, "breaks off before its stated end"),
        (0.99, "breaks off before its stated end"),
    ],
    ids=["in the header", "no music", "2 %", "50 %", "99 %"],
)
def test_truncated_flac(kept: float, words: str, noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, noise, RATE_HZ)
    content = path.read_bytes()
    path.write_bytes(content[: kept if isinstance(kept, int) else int(kept * len(content))])
    check_sentence(refusal(path), path, words)
    with pytest.raises(AudioFileError, match=words):
        Recording.open(path).read(1.9, 2.0)


def test_damaged_flac(noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, noise, RATE_HZ)
    content = bytearray(path.read_bytes())
    middle = len(content) // 2
    content[middle : middle + 4000] = bytes(4000)
    path.write_bytes(bytes(content))
    check_sentence(refusal(path), path, "truncated or damaged")


def test_flac_of_unstated_length(noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, noise, RATE_HZ)
    content = bytearray(path.read_bytes())
    content[21] &= 0xF0  # STREAMINFO keeps the number of samples in 36 bits (RFC 9639, 8.2)
    content[22:26] = bytes(4)
    path.write_bytes(bytes(content))
    check_sentence(refusal(path), path, "states no length")


@pytest.mark.parametrize("name", ["a.wav", "a.aiff", "a.mp3"])
def test_a_file_cut_short_is_read_on_and_said(name: str, noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / name
    soundfile.write(path, np.tile(noise, (2, 1)), RATE_HZ)
    content = path.read_bytes()
    path.write_bytes(content[: int(0.6 * len(content))])
    recording = Recording.open(path)
    assert 1.5 < recording.duration_s < 3.0
    assert "cut short" in recording.warnings[0]
    assert len(whole(recording)) == recording.frames
    assert len(recording.read(0.0, recording.duration_s)) == recording.frames


def test_a_header_may_claim_any_length(tmp_path: Path, rng: np.random.Generator) -> None:
    """An OGG file of a few seconds whose last page claims a year: no room is made for that."""
    path = tmp_path / "a.ogg"
    soundfile.write(path, 0.1 * rng.standard_normal((5 * RATE_HZ, 2)), RATE_HZ)
    data = bytearray(path.read_bytes())
    last = data.rindex(b"OggS")
    # RFC 3533, section 6: the granule position, at byte 6 of a page, and its checksum, at byte 22.
    data[last + 6 : last + 14] = (RATE_HZ * 86_400 * 365).to_bytes(8, "little")
    data[last + 22 : last + 26] = bytes(4)
    data[last + 22 : last + 26] = ogg_checksum(bytes(data[last:])).to_bytes(4, "little")
    path.write_bytes(data)
    assert soundfile.info(path).duration > 80_000 * 365
    tracemalloc.start()
    sentence = refusal(path)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    check_sentence(sentence, path, "breaks off before its stated end")
    assert most < 2.5e9  # claimed room, twenty minutes of it; a year would be terabytes


def ogg_checksum(page: bytes) -> int:
    """RFC 3533, section 6: polynomial 0x04c11db7, nothing inverted."""
    value = 0
    for byte in page:
        value ^= byte << 24
        for _ in range(8):
            value = (value << 1) ^ (0x04C11DB7 if value & 0x80000000 else 0)
        value &= 0xFFFFFFFF
    return value


def test_a_name_need_not_be_text(tmp_path: Path, rng: np.random.Generator) -> None:
    name = os.fsdecode(os.fsencode(tmp_path) + b"/caf\xe9.wav")
    soundfile.write(tmp_path / "a.wav", 0.1 * rng.standard_normal((2 * RATE_HZ, 2)), RATE_HZ)
    os.rename(tmp_path / "a.wav", name)
    assert Recording.open(name).read(0.0, 1.0).shape == (RATE_HZ, 2)
