"""Filters of any shape in what begins: a comb by hand, and elements that are none."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.features import ANALYSIS_RATE_HZ
from mixcompare.pair.tail_combed import combed_in
from mixcompare.pair.tail_frames import HIGHEST_BIN, WINDOW

FloatArray = npt.NDArray[np.float64]
BIN_HZ = ANALYSIS_RATE_HZ / WINDOW
LOWEST_BIN = 4


def beginning(seed: int = 1, count: int = 30_000) -> tuple[npt.NDArray[np.int64], FloatArray]:
    """Bins in which something begins, as many in every octave; and what a tail scatters them by."""
    rng = np.random.default_rng(seed)
    octave = rng.uniform(np.log2(LOWEST_BIN), np.log2(HIGHEST_BIN - 1), count)
    return np.round(2**octave).astype(np.int64), 0.7 * rng.standard_t(2, count)


def reflected(hz: FloatArray, delay_s: float, amplitude: float) -> npt.NDArray[np.complex128]:
    """One reflection beside the direct sound: 1 + a exp(-i w t), the comb filter by definition."""
    return 1 + amplitude * np.exp(-2j * np.pi * hz * delay_s)


@pytest.mark.parametrize(("delay_s", "amplitude"), [(0.0018, 0.6), (0.0006, 0.5), (0.003, -0.5)])
def test_a_reflection_combs_what_begins(delay_s: float, amplitude: float) -> None:
    column, scatter_db = beginning()
    hz = np.arange(WINDOW // 2 + 1) * BIN_HZ
    response = reflected(hz, delay_s, amplitude)
    expected_db = 20 * np.log10(np.abs(response))
    turned = np.angle(response)[column] + 0.3 * np.random.default_rng(2).normal(size=len(column))
    moved_db = expected_db[column] + scatter_db
    combed = combed_in(column, moved_db, 1.0 / column, turned)
    assert combed is not None
    inside = (hz > 150) & (hz < 2500)
    # Teeth are rounded off a little by their neighbours; half a decibel is half of 1 dB, ISO 3382-1
    # Table A.1.
    assert np.median(np.abs(combed.level_db - expected_db)[inside]) < 0.5
    assert np.median(np.abs(combed.turn - np.angle(response))[inside]) < 0.1


def moved_by(
    column: npt.NDArray[np.int64], elements: list[tuple[float, float, float, float]]
) -> FloatArray:
    """Elements move a share of the cells between two frequencies, and no others."""
    rng = np.random.default_rng(3)
    moved_db = np.zeros(len(column))
    for low_hz, high_hz, share, by_db in elements:
        inside = (column * BIN_HZ > low_hz) & (column * BIN_HZ < high_hz)
        moved_db[inside & (rng.uniform(size=len(column)) < share)] = by_db
    return moved_db


@pytest.mark.parametrize(
    "elements",
    [
        [],
        [(60, 250, 0.9, 5.0)],
        [(200, 800, 0.7, -6.0)],
        [(60, 250, 0.9, 5.0), (500, 2000, 0.6, -4.0)],
        [(400, 3000, 0.3, 8.0), (100, 400, 0.8, -4.0)],
    ],
)
def test_elements_do_not(elements: list[tuple[float, float, float, float]]) -> None:
    column, scatter_db = beginning()
    moved_db = moved_by(column, elements) + scatter_db
    assert combed_in(column, moved_db, 1.0 / column, np.zeros(len(column))) is None


def test_a_reflection_that_hardly_shows_is_left() -> None:
    column, scatter_db = beginning()
    response = reflected(np.arange(WINDOW // 2 + 1) * BIN_HZ, 0.0018, 0.1)
    moved_db = 20 * np.log10(np.abs(response))[column] + 0.1 * scatter_db
    assert combed_in(column, moved_db, 1.0 / column, np.angle(response)[column]) is None


def test_too_little_that_begins_tells_nothing() -> None:
    column, _ = beginning(count=300)
    response = reflected(column * BIN_HZ, 0.0018, 0.6)
    moved_db = 20 * np.log10(np.abs(response))
    assert combed_in(column, moved_db, 1.0 / column, np.angle(response)) is None
