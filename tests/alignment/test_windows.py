"""Correlated windows: lags that were made, against the inverse transform evaluated by itself."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment.windows import Whitened, Windows, samples
from mixcompare.features import ANALYSIS_RATE_HZ, WAVEFORM_SCALE

FloatArray = npt.NDArray[np.float64]

SIZE = 2 * ANALYSIS_RATE_HZ


def noise(count: int = 3 * SIZE) -> FloatArray:
    return 0.1 * np.random.default_rng(2).standard_normal(count)


def later(wave: FloatArray, by_samples: float) -> FloatArray:
    """Shifted by any part of a sample, round the end, in the spectrum."""
    turn = np.exp(-2j * np.pi * np.fft.rfftfreq(len(wave)) * by_samples)
    return np.fft.irfft(np.fft.rfft(wave) * turn, len(wave))


def kept(wave: FloatArray) -> Any:
    """As alignment keeps a recording."""
    return SimpleNamespace(waveform=(WAVEFORM_SCALE * wave).astype(np.float16))


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize("by_samples", [0.0, 0.3, -7.45, 40.02])
def test_a_shift_comes_back_to_the_hundredth_of_a_sample(by_samples: float, sign: int) -> None:
    windows = Windows(kept(noise()), kept(sign * later(noise(), by_samples)), SIZE)
    lag, prominence, found = windows.peak(SIZE // 2, 0, 240) or (np.nan, 0.0, 0.0)
    assert lag == pytest.approx(by_samples, abs=0.02)
    assert prominence > 3
    assert found == sign


def test_what_is_known_of_a_larger_reach_is_what_a_smaller_one_finds() -> None:
    pair = kept(noise()), kept(later(noise(), 12.3) + 1.5 * later(noise(), 100.0))
    windows = Windows(*pair, SIZE)
    for reach in (960, 240, 60, 120):
        anew = Windows(*pair, SIZE).peak(1000, 5, reach)
        assert windows.peak(1000, 5, reach) == anew
        assert anew is not None
        # The strongest within reach, counted from the shift by five samples.
        assert anew[0] == pytest.approx(95.0 if reach > 95 else 7.3, abs=0.1)


def test_silence_has_no_peak() -> None:
    windows = Windows(kept(noise()), kept(np.zeros(3 * SIZE)), SIZE)
    assert [windows.peak(0, 0, reach) for reach in (100, 100, 50)] == [None] * 3


def test_height_between_samples_is_that_of_the_transform() -> None:
    """The inverse transform written out: a sum of cosines over the band's bins."""
    spectrum = Whitened(SIZE)
    first, second = noise(SIZE), later(noise(SIZE), 3.4)
    cross = spectrum.cross(
        *(np.asarray(WAVEFORM_SCALE * one, np.float32) for one in (first, second))
    )
    assert cross is not None
    lag, height = spectrum.between_samples(cross, 3)
    turn = 2j * np.pi * spectrum.frequency_hz / ANALYSIS_RATE_HZ
    near = np.arange(2.0, 5.0, 0.125)
    written_out = [2 * (cross * np.exp(turn * at)).real.sum() / spectrum.length for at in near]
    assert height == pytest.approx(max(written_out), rel=1e-9)
    assert lag == pytest.approx(near[int(np.argmax(written_out))], abs=0.125)
    assert spectrum.correlation(cross, 4)[[4 + 2, 4 + 4]] == pytest.approx(
        [written_out[0], written_out[16]], rel=1e-9
    )


def test_beyond_the_ends_lies_silence() -> None:
    recording = SimpleNamespace(waveform=np.arange(1, 6, dtype=np.float16))
    assert samples(recording, -2, 4).tolist() == [0, 0, 1, 2]  # type: ignore[arg-type]
    assert samples(recording, 3, 4).tolist() == [4, 5, 0, 0]  # type: ignore[arg-type]
    assert samples(recording, 9, 2).tolist() == [0, 0]  # type: ignore[arg-type]
