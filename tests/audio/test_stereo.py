"""Mono doubled, more than two channels folded down."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile

from mixcompare.audio.recording import Recording
from tests.audio.samples import RATE_HZ, whole

FloatArray = npt.NDArray[np.float64]


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
