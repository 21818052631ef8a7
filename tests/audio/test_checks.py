"""Sound that can be read but holds nothing to compare."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from mixcompare.audio.recording import Recording
from mixcompare.errors import AudioFileError, ParameterError
from tests.audio.samples import RATE_HZ, check_sentence, refusal

FloatArray = npt.NDArray[np.float64]


@pytest.mark.parametrize("rate_hz", [7_999, 192_001])
def test_sample_rates_out_of_range(rate_hz: int) -> None:
    with pytest.raises(AudioFileError, match="sample rate"):
        Recording.from_array(np.ones(3 * rate_hz), rate_hz)


@pytest.mark.parametrize("channels", [7, 12])
def test_unknown_layouts(channels: int) -> None:
    with pytest.raises(AudioFileError, match=f"{channels} channels"):
        Recording.from_array(np.ones((2 * RATE_HZ, channels)), RATE_HZ)


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


def test_samples_far_above_full_scale(tmp_path: Path, rng: np.random.Generator) -> None:
    """Floating point goes up to 1.0: numbers of another scale are a slip, and named as such."""
    music = rng.standard_normal((2 * RATE_HZ, 2)).clip(-3, 3) / 3
    wild = 0.1 * music
    wild[RATE_HZ, 0] = 1e6
    for samples, words in (
        (32_767 * music, r"16-bit numbers written as floating point; divide by 32768"),
        (8_388_607 * music, r"24-bit numbers written as floating point; divide by 8388608"),
        (2**31 * 0.99 * music, r"32-bit numbers written as floating point; divide by 2147483648"),
        (1e30 * music, "damaged, or on another scale"),
        (wild, "damaged, or on another scale"),
    ):
        path = tmp_path / "a.wav"
        soundfile.write(path, samples.astype(np.float32), RATE_HZ, subtype="FLOAT")
        check_sentence(refusal(path), path, words)
        with pytest.raises(AudioFileError, match=words):
            Recording.from_array(samples, RATE_HZ)
    # A float file may be hot: 20 dB over full scale are still read (common practice, no source).
    assert Recording.from_array(10 * music, RATE_HZ).duration_s == 2.0
