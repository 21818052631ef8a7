"""Opening recordings: formats, rates, channels, spans, and one clear sentence for what fails."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from mixcompare.audio.recording import Recording, parse_span
from mixcompare.errors import AudioFileError, ParameterError
from mixcompare.features import Features

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 44_100


@pytest.fixture
def noise(rng: np.random.Generator) -> FloatArray:
    """Two seconds of stereo noise, shape (n, 2)."""
    return 0.1 * rng.standard_normal((2 * RATE_HZ, 2))


def whole(recording: Recording, block_s: float = 10.0) -> npt.NDArray[np.float32]:
    return np.concatenate(list(recording.blocks(block_s)))


@pytest.mark.parametrize(
    ("name", "subtype", "step"),
    [
        ("a.wav", "PCM_16", 2**-15),
        ("a.wav", "PCM_24", 2**-23),
        ("a.wav", "FLOAT", 2**-26),
        ("a.wav", "DOUBLE", 2**-26),
        ("a.flac", "PCM_24", 2**-23),
        ("a.aiff", "PCM_16", 2**-15),
        ("a.w64", "PCM_24", 2**-23),
        ("a.rf64", "PCM_24", 2**-23),
    ],
)
def test_lossless_formats(
    name: str, subtype: str, step: float, noise: FloatArray, tmp_path: Path
) -> None:
    path = tmp_path / name
    soundfile.write(path, noise, RATE_HZ, subtype=subtype)
    recording = Recording.open(path)
    assert recording.sample_rate_hz == RATE_HZ
    assert recording.channels == 2
    assert recording.duration_s == pytest.approx(2.0)
    assert recording.warnings == ()
    assert np.abs(whole(recording) - noise).max() <= step


@pytest.mark.parametrize("name", ["a.ogg", "a.mp3"])
def test_lossy_formats(name: str, noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / name
    smooth = np.cumsum(noise - noise.mean(axis=0), axis=0)
    smooth *= 0.3 / np.abs(smooth).max()
    soundfile.write(path, smooth, RATE_HZ)
    recording = Recording.open(path)
    samples = whole(recording)
    assert recording.warnings == ()
    assert len(samples) == recording.frames == len(smooth)
    assert np.corrcoef(samples[:, 0], smooth[:, 0])[0, 1] > 0.99


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 192_000])
def test_sample_rates_and_loudness(rate_hz: int, tmp_path: Path) -> None:
    # BS.1770-5 Annex 1: 997 Hz at 0 dBFS in one channel reads -3.01 LKFS, so -23.01 at -20 dBFS.
    path = tmp_path / "a.wav"
    wave = 0.1 * np.sin(2 * np.pi * 997 * np.arange(3 * rate_hz) / rate_hz)
    soundfile.write(path, wave, rate_hz, subtype="FLOAT")
    features = Features.of(Recording.open(path))
    level = -0.691 + 10 * np.log10(features.k_power[50:].mean())
    assert features.duration_s == pytest.approx(3.0)
    assert level == pytest.approx(-23.01, abs=0.03 if rate_hz >= 44_100 else 0.3)


@pytest.mark.parametrize("rate_hz", [7_999, 192_001])
def test_sample_rates_out_of_range(rate_hz: int) -> None:
    with pytest.raises(AudioFileError, match="sample rate"):
        Recording.from_array(np.ones(3 * rate_hz), rate_hz)


def test_mono_is_doubled_and_said(noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, noise[:, 0], RATE_HZ, subtype="FLOAT")
    recording = Recording.open(path)
    samples = whole(recording)
    assert recording.channels == 1
    assert samples.shape == (len(noise), 2)
    assert np.array_equal(samples[:, 0], samples[:, 1])
    assert "mono" in recording.warnings[0]


@pytest.mark.parametrize(
    ("channels", "left", "right"),
    [
        # ITU-R BS.775-3, Annex 4, Table 2; channels in the order of the WAVE channel mask.
        (3, (1, 0, 0.7071), (0, 1, 0.7071)),
        (4, (1, 0, 0.7071, 0), (0, 1, 0, 0.7071)),
        (5, (1, 0, 0.7071, 0.7071, 0), (0, 1, 0.7071, 0, 0.7071)),
        (6, (1, 0, 0.7071, 0, 0.7071, 0), (0, 1, 0.7071, 0, 0, 0.7071)),
        (
            8,
            (1, 0, 0.7071, 0, 0.7071, 0, 0.7071, 0),
            (0, 1, 0.7071, 0, 0, 0.7071, 0, 0.7071),
        ),
    ],
)
def test_fold_down(
    channels: int,
    left: tuple[float, ...],
    right: tuple[float, ...],
    rng: np.random.Generator,
    tmp_path: Path,
) -> None:
    path = tmp_path / "a.wav"
    surround = 0.1 * rng.standard_normal((2 * RATE_HZ, channels))
    soundfile.write(path, surround, RATE_HZ, subtype="FLOAT")
    recording = Recording.open(path)
    expected = surround @ np.array([left, right]).T
    assert np.abs(whole(recording) - expected).max() < 1e-4
    assert "folded down" in recording.warnings[0]


@pytest.mark.parametrize("channels", [7, 12])
def test_unknown_layouts(channels: int) -> None:
    with pytest.raises(AudioFileError, match=f"{channels} channels"):
        Recording.from_array(np.ones((2 * RATE_HZ, channels)), RATE_HZ)


@pytest.mark.parametrize("dtype", [np.int16, np.int32, np.uint8])
def test_integer_arrays_are_scaled(dtype: type, noise: FloatArray) -> None:
    limits = np.iinfo(dtype)
    half = (float(limits.max) - float(limits.min) + 1) / 2
    middle = half if limits.min == 0 else 0.0
    integers = np.clip(np.round(noise * half + middle), limits.min, limits.max).astype(dtype)
    samples = whole(Recording.from_array(integers, RATE_HZ))
    assert np.abs(samples - noise).max() <= max(0.51 / half, 1e-7)


def test_arrays_of_other_kinds_and_shapes() -> None:
    with pytest.raises(ParameterError, match="integers or floating point"):
        Recording.from_array(np.ones(2 * RATE_HZ, complex), RATE_HZ)
    with pytest.raises(ParameterError, match="shape"):
        Recording.from_array(np.ones((2, 2, 2)), RATE_HZ)


def test_array_and_file_give_the_same_features(noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, noise, RATE_HZ, subtype="FLOAT")
    from_file = Features.of(Recording.open(path))
    from_array = Features.of(Recording.from_array(noise, RATE_HZ))
    assert np.array_equal(from_file.k_power, from_array.k_power)
    assert np.array_equal(from_file.band_power, from_array.band_power)
    assert from_file.true_peak == from_array.true_peak


@pytest.mark.parametrize("block_s", [0.013, 0.5, 1.7])
@pytest.mark.parametrize("span_s", [None, (0.31, 1.77)])
def test_reading_by_blocks_equals_reading_the_whole(
    block_s: float, span_s: tuple[float, float] | None, noise: FloatArray, tmp_path: Path
) -> None:
    path = tmp_path / "a.flac"
    soundfile.write(path, noise, RATE_HZ, subtype="PCM_24")
    recording = Recording.open(path, span_s)
    by_blocks = whole(recording, block_s)
    assert len(by_blocks) == recording.frames
    assert np.array_equal(by_blocks, recording.read(0.0, recording.duration_s))


def test_span_and_read(noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, noise, RATE_HZ, subtype="FLOAT")
    recording = Recording.open(path, (0.5, 1.75))
    first = RATE_HZ // 2
    assert recording.duration_s == pytest.approx(1.25)
    assert np.allclose(whole(recording), noise[first : first + recording.frames], atol=1e-7)
    excerpt = recording.read(-0.1, 0.1)
    assert excerpt.shape == (round(0.2 * RATE_HZ), 2)
    assert not excerpt[: RATE_HZ // 10].any()
    assert np.allclose(excerpt[RATE_HZ // 10 :], noise[first:][: RATE_HZ // 10], atol=1e-7)


@pytest.mark.parametrize("span_s", [(0.5, 2.5), (-1.0, 1.5), (1.5, 0.5), (0.5, 1.0)])
def test_spans_that_cannot_be(span_s: tuple[float, float], noise: FloatArray) -> None:
    with pytest.raises(ParameterError, match="span"):
        Recording.from_array(noise, RATE_HZ, span_s=span_s)


@pytest.mark.parametrize(
    ("text", "span_s"),
    [
        ("12-45.5", (12.0, 45.5)),
        ("0:12-0:45.5", (12.0, 45.5)),
        ("1:02:03-1:03:00", (3723.0, 3780.0)),
        (" 5 - 1:10 ", (5.0, 70.0)),
    ],
)
def test_spans_as_text(text: str, span_s: tuple[float, float]) -> None:
    assert parse_span(text) == span_s


@pytest.mark.parametrize("text", ["", "12", "20-10", "a-b", "1:2:3:4-5", "-3-5"])
def test_text_that_is_no_span(text: str) -> None:
    with pytest.raises(ParameterError, match="span"):
        parse_span(text)


def refusal(path: Path) -> str:
    """The sentence with which a file is refused, by opening, analysing or reading it."""
    with pytest.raises(AudioFileError) as caught:
        Features.of(Recording.open(path))
    return str(caught.value)


def check_sentence(sentence: str, path: Path, words: str) -> None:
    """One line that names the file, then says what is wrong."""
    assert sentence.startswith(f"{path}: ")
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert re.search(words, sentence)


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
    ("samples", "words"),
    [
        (np.zeros((0, 2)), r"only 0\.00 s long"),
        (np.full((1, 2), 0.5), r"only 0\.00 s long"),
        (np.full((RATE_HZ // 2, 2), 0.5), r"only 0\.50 s long"),
        (np.zeros((2 * RATE_HZ, 2)), "is silent"),
        (np.full((2 * RATE_HZ, 2), 1e-5), "is silent"),
    ],
    ids=["no sample", "one sample", "half a second", "silence", "next to silence"],
)
def test_files_with_nothing_to_compare(samples: FloatArray, words: str, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    soundfile.write(path, samples, RATE_HZ, subtype="FLOAT")
    check_sentence(refusal(path), path, words)


@pytest.mark.parametrize("value", [np.nan, np.inf])
def test_values_that_are_not_numbers(value: float, noise: FloatArray, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    noise[RATE_HZ, 1] = value
    soundfile.write(path, noise, RATE_HZ, subtype="FLOAT")
    check_sentence(refusal(path), path, "not numbers")
    with pytest.raises(AudioFileError, match="not numbers"):
        Recording.from_array(noise, RATE_HZ)


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


def test_clipping_is_said(noise: FloatArray) -> None:
    noise[1000:1010] = 1.0
    noise[5000:5004] = -1.0
    features = Features.of(Recording.from_array(noise, RATE_HZ, name="loud.wav"))
    assert features.clipped_places == 2
    assert "loud.wav is clipped in 2 places." in features.warnings


def test_limits_are_those_that_are_named() -> None:
    ramp = np.linspace(-0.5, 0.5, 8_000)
    assert Recording.from_array(ramp, 8_000).duration_s == 1.0
    with pytest.raises(AudioFileError, match=r"only 1\.00 s long; at least 1 s"):
        Recording.from_array(ramp[:-1], 8_000)
    # -90 dBFS is 3.16e-5.
    assert Recording.from_array(ramp / 0.5 * 3.3e-5, 8_000).frames == 8_000
    with pytest.raises(AudioFileError, match="is silent"):
        Recording.from_array(ramp / 0.5 * 3.0e-5, 8_000)
    # A span may be stated a hundredth of a second too long, as rounded clocks do.
    assert Recording.from_array(ramp, 8_000, span_s=(0.0, 1.009)).span_s == (0.0, 1.0)
    with pytest.raises(ParameterError, match="outside the recording"):
        Recording.from_array(ramp, 8_000, span_s=(0.0, 1.02))


def test_all_channels_come_unfolded_in_raw_blocks(rng: np.random.Generator, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    surround = 0.1 * rng.standard_normal((3 * RATE_HZ, 6))
    soundfile.write(path, surround, RATE_HZ, subtype="FLOAT")
    recording = Recording.open(path, (1.0, 2.5))
    blocks = list(recording.raw_blocks(0.4))
    assert [len(block) for block in blocks] == [17_640] * 3 + [13_230]
    expected = surround[RATE_HZ : RATE_HZ + round(1.5 * RATE_HZ)]
    assert np.abs(np.concatenate(blocks) - expected).max() < 1e-7
    assert recording.channels == 6
    assert recording.read(0.5, 0.6) == pytest.approx(
        np.concatenate(list(recording.blocks()))[22_050:26_460], abs=1e-7
    )


def test_full_scale_integers() -> None:
    edges = np.tile(np.array([-32_768, 0, 16_384, 32_767], np.int16), 3_000)
    samples = whole(Recording.from_array(edges, 8_000))
    assert samples[:4, 0] == pytest.approx([-1.0, 0.0, 0.5, 1 - 2**-15])
