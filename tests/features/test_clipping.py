"""Flat tops: cut by numpy, at full scale and below, and what is not cut."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.features.clipping import FRAME_S, Tops, clipped_frames
from tests import synthetic
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]


def music() -> FloatArray:
    samples = synthetic.in_room(synthetic.play(3, bars=4), 1.0, -9.0)
    return np.asarray(samples / np.abs(samples).max())


def rounded_to_16_bits(samples: FloatArray) -> FloatArray:
    return np.asarray(np.round(samples * 32_767) / 32_768)


def clipped(samples: FloatArray) -> npt.NDArray[np.bool_]:
    return Features.of(Recording.from_array(samples, RATE_HZ)).clipped_frames


@pytest.mark.parametrize("drive", [1.4, 3.0])
@pytest.mark.parametrize("scale", [1.0, 0.3])
def test_frames_with_cut_tops(drive: float, scale: float) -> None:
    cut = np.clip(drive * music(), -1, 1)
    found = clipped(scale * rounded_to_16_bits(cut))
    # By definition: three samples in a row that would have gone beyond full scale.
    beyond = np.abs(drive * music()) > 1
    runs = (beyond[2:] & beyond[1:-1] & beyond[:-2]).any(axis=1)
    frame = round(FRAME_S * RATE_HZ)
    known = runs[: len(runs) // frame * frame].reshape(-1, frame).any(axis=1)
    length = min(len(known), len(found))
    near = ndimage.binary_dilation(known)[:length]
    assert known.sum() >= 3
    assert not (found[:length] & ~near).any()
    assert found[:length][known[:length]].mean() > 0.9


@pytest.mark.parametrize("level", [1.0, 0.2])
def test_music_that_is_whole(level: float) -> None:
    assert not clipped(rounded_to_16_bits(level * music())).any()


def test_a_limiter_with_a_look_ahead_is_no_clipping() -> None:
    # Gain held down around every peak, so that each just reaches the ceiling: none is flat.
    samples = 3 * music()
    peak = ndimage.maximum_filter1d(np.abs(samples).max(axis=1), RATE_HZ // 100)
    gain = ndimage.uniform_filter1d(np.minimum(1, 1 / np.maximum(peak, 1e-9)), RATE_HZ // 100)
    limited = samples * gain[:, None]
    assert np.abs(limited).max() < 1.01
    assert clipped(limited).mean() < 0.01


def test_blocks_of_any_length_give_the_same_frames() -> None:
    samples = np.clip(3 * music(), -1, 1).astype(np.float32)
    whole, parts = Tops(RATE_HZ, 2), Tops(RATE_HZ, 2)
    whole.push(samples)
    for first in range(0, len(samples), 1234):
        parts.push(samples[first : first + 1234])
    for one, other in zip(whole.result(), parts.result(), strict=True):
        assert np.array_equal(one, other)


def test_one_top_alone_is_the_highest_of_every_file() -> None:
    tops = np.array([[0.5], [0.9], [0.7]], np.float32)
    assert not clipped_frames(tops, np.ones((3, 1), np.uint16)).any()
    tops[0] = 0.9
    assert clipped_frames(tops, np.ones((3, 1), np.uint16)).tolist() == [False, False, False]
    far = np.array([[0.9], [0.5], [0.9]], np.float32)
    assert clipped_frames(far, np.ones((3, 1), np.uint16)).tolist() == [True, False, True]
    assert not clipped_frames(far, np.zeros((3, 1), np.uint16)).any()
