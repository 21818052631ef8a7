"""The meter as a piece of code: blocks, rates, windows, gates. Published values: ``published/``."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.standards import bs1770, tech3342

FloatArray = npt.NDArray[np.float64]


def steps(samples: FloatArray, rate_hz: int, sizes: list[int]) -> FloatArray:
    meter = bs1770.KWeightedPower(rate_hz)
    data = samples.astype(np.float32)
    first = 0
    turn = 0
    while first < len(data):
        meter.push(data[first : first + sizes[turn % len(sizes)]])
        first += sizes[turn % len(sizes)]
        turn += 1
    return meter.result()


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 44_100, 48_000])
@pytest.mark.parametrize("sizes", [[1000], [1, 7, 13_001], [441], [480], [97]])
def test_steps_do_not_depend_on_the_blocks(
    rate_hz: int, sizes: list[int], rng: np.random.Generator
) -> None:
    samples = 0.1 * rng.standard_normal((2 * rate_hz + 57, 2))
    at_once = steps(samples, rate_hz, [len(samples)])
    by_blocks = steps(samples, rate_hz, sizes)
    assert at_once.shape == by_blocks.shape == (200, 2)
    assert np.allclose(at_once, by_blocks, rtol=1e-9, atol=0)


@pytest.mark.parametrize("rate_hz", [8_000, 11_025, 22_050, 44_100, 96_000])
def test_steps_hold_all_the_power(rate_hz: int, rng: np.random.Generator) -> None:
    samples = 0.1 * rng.standard_normal((3 * rate_hz, 2))
    weighted = signal.sosfilt(
        bs1770.k_weighting_sos(rate_hz), samples.astype(np.float32).astype(float), axis=0
    )
    power = steps(samples, rate_hz, [1000])
    assert np.allclose(power.mean(axis=0), np.square(weighted).mean(axis=0), rtol=1e-6)


def test_a_step_is_where_it_says(rng: np.random.Generator) -> None:
    samples = np.zeros((11_025, 2))
    samples[round(0.505 * 11_025)] = 0.5
    power = steps(samples, 11_025, [700])
    assert int(np.argmax(power[:, 0])) == 50


@pytest.mark.parametrize("sizes", [[1000], [5, 33], [31], [48_000], [32]])
def test_true_peak_does_not_depend_on_the_blocks(
    sizes: list[int], rng: np.random.Generator
) -> None:
    samples = (0.1 * rng.standard_normal((6_000, 2))).astype(np.float32)
    peaks = []
    for plan in ([len(samples)], sizes):
        meter = bs1770.TruePeak(48_000)
        first = 0
        turn = 0
        while first < len(samples):
            meter.push(samples[first : first + plan[turn % len(plan)]])
            first += plan[turn % len(plan)]
            turn += 1
        meter.push(np.zeros((0, 2), np.float32), last=True)
        peaks.append(meter.peak)
    assert peaks[0] == pytest.approx(peaks[1], rel=1e-5)


@pytest.mark.parametrize("place", [0, 1, 3_000, 5_998, 5_999])
def test_a_peak_anywhere_is_seen(place: int) -> None:
    samples = np.zeros((6_000, 2), np.float32)
    samples[place, 1] = -0.7
    meter = bs1770.TruePeak(48_000)
    meter.push(samples)
    meter.push(np.zeros((0, 2), np.float32), last=True)
    assert meter.sample_peak == pytest.approx(0.7)
    assert meter.peak == pytest.approx(0.7, abs=0.01)


def test_a_peak_is_sought_beside_low_samples_too() -> None:
    # A sine at a quarter of the rate, sampled halfway: 3 dB more between samples than at them. A
    # constant that is louder than all its samples keeps most stretches out of the search.
    sine = 0.5 * np.sin(np.pi / 2 * np.arange(400) + np.pi / 4) * np.hanning(400)
    both = np.concatenate([np.zeros(3000), 0.4 * np.hanning(2000), np.zeros(777), sine, [0.0] * 99])
    meter = bs1770.TruePeak(48_000, 1)
    for first in range(0, len(both), 1000):
        meter.push(both[first : first + 1000, None].astype(np.float32))
    meter.push(np.zeros((0, 1), np.float32), last=True)
    assert meter.sample_peak == pytest.approx(0.4, rel=1e-3)
    assert meter.peak == pytest.approx(0.5, rel=2e-3)


def test_a_peak_between_the_last_samples_is_seen() -> None:
    # fs/4 at 45 degrees: every sample lies 3 dB under the peaks between them.
    wave = np.sin(0.5 * np.pi * np.arange(4_800) + 0.25 * np.pi)
    wave[:4_700] *= 0.1
    meter = bs1770.TruePeak(48_000)
    meter.push(np.column_stack([wave, wave]).astype(np.float32))
    meter.push(np.zeros((0, 2), np.float32), last=True)
    assert meter.peak > 0.95


def test_window_powers() -> None:
    power = np.arange(12, dtype=np.float64).reshape(6, 2)  # channel sums 1, 5, 9, 13, 17, 21
    assert bs1770.window_powers(power, 3).tolist() == [5.0, 9.0, 13.0, 17.0]
    assert bs1770.window_powers(power, 3, hop=2).tolist() == [5.0, 13.0]
    assert bs1770.window_powers(power, 6).tolist() == [11.0]
    assert len(bs1770.window_powers(power, 7)) == 0


def test_windows_keep_small_powers_after_large_ones() -> None:
    # Running sums must not drown a pianissimo that follows an hour of fortissimo.
    power = np.concatenate([np.full((360_000, 1), 1.0), np.full((400, 1), 1e-9)])
    quiet = bs1770.window_powers(power, 300)[-1]
    assert 10 * np.log10(quiet) == pytest.approx(-90.0, abs=0.1)


def test_nothing_in_nothing_out() -> None:
    empty = np.zeros((0, 2))
    assert bs1770.KWeightedPower(48_000).result().shape == (0, 2)
    assert bs1770.integrated_lufs(empty) == -np.inf
    assert tech3342.loudness_range_lu(empty) is None
    assert tech3342.loudness_range_lu(np.full((299, 2), 0.01)) is None
    assert float(bs1770.to_lufs(0.0)) == -np.inf


def test_relative_gate_leaves_pauses_out() -> None:
    # BS.1770-5 Annex 1: blocks 10 LU under the mean of the rest do not count.
    music = np.full((2_000, 2), 0.005)
    with_pause = np.concatenate([music, music * 1e-3, music])
    without = bs1770.integrated_lufs(music)
    assert bs1770.integrated_lufs(with_pause) == pytest.approx(without, abs=0.05)
