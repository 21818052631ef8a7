"""Opening recordings and reading them: formats, rates, channels, blocks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from mixcompare.audio.recording import Recording
from mixcompare.errors import ParameterError
from mixcompare.features import Features
from tests.audio.samples import RATE_HZ, whole

FloatArray = npt.NDArray[np.float64]


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


def test_clipping_is_said(noise: FloatArray) -> None:
    noise[1000:1010] = 1.0
    noise[5000:5004] = -1.0
    features = Features.of(Recording.from_array(noise, RATE_HZ, name="loud.wav"))
    assert features.clipped_places == 2
    assert "loud.wav is clipped in 2 places." in features.warnings


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
