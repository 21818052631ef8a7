"""Operations on samples for the benchmark's pairs: resampling, equalising, cutting, surrounding."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import signal

from tests.benchmarks.performances import SAMPLE_RATE_HZ

Samples = npt.NDArray[np.float32]

SINC_HALF_WIDTH = 32
SINC_BETA = 10.0
PEAK = 0.7
NOISE_FLOOR_DB = -80.0
FADE_S = 0.02


def sample_at(samples: Samples, sample_rate_hz: int, times_s: npt.NDArray[np.float64]) -> Samples:
    """The signal at any moments, by windowed-sinc interpolation.

    Parameters
    ----------
    samples
        (n, channels).
    sample_rate_hz
        Their rate. The moments should lie at least as densely: nothing is filtered out.
    times_s
        (m,) moments; outside the signal there is silence.

    Returns
    -------
    ndarray
        (m, channels) float32.
    """
    # Kaiser window, read from a table; its slope between entries is linear enough at 4096 a tap.
    table_step = 4096
    grid = np.arange(SINC_HALF_WIDTH * table_step + 2) / (SINC_HALF_WIDTH * table_step)
    window = np.i0(SINC_BETA * np.sqrt(np.clip(1.0 - grid**2, 0.0, 1.0))) / np.i0(SINC_BETA)
    padded = np.pad(samples, ((SINC_HALF_WIDTH, SINC_HALF_WIDTH + 1), (0, 0)))
    result = np.zeros((len(times_s), samples.shape[1]), dtype=np.float32)
    taps = np.arange(-SINC_HALF_WIDTH + 1, SINC_HALF_WIDTH + 1)
    for begin in range(0, len(times_s), 1 << 15):
        position = times_s[begin : begin + (1 << 15)] * sample_rate_hz
        whole = np.floor(position).astype(np.int64)
        inside = (whole >= 0) & (whole < len(samples))
        whole = np.where(inside, whole, 0)
        fraction = position - np.floor(position)
        distance = fraction[:, np.newaxis] - taps
        # sin(pi (fraction - k)) = (-1)^k sin(pi fraction): one sine a moment, not one a tap.
        sine = np.sin(np.pi * fraction)[:, np.newaxis] * np.where(taps % 2 == 0, 1.0, -1.0)
        near = np.abs(distance) < 1e-9
        kernel = np.where(near, 1.0, sine / (np.pi * np.where(near, 1.0, distance)))
        place = np.abs(distance) * table_step
        entry = place.astype(np.int64)
        kernel *= window[entry] + (place - entry) * (window[entry + 1] - window[entry])
        gathered = padded[whole[:, np.newaxis] + taps + SINC_HALF_WIDTH]
        values = np.einsum("mk,mkc->mc", kernel, gathered)
        result[begin : begin + len(position)] = values * inside[:, np.newaxis]
    return result


def equalise(samples: Samples, sample_rate_hz: int, rng: np.random.Generator) -> Samples:
    """Three second-order bells and a treble shelf of up to 6 dB, all of minimum phase.

    The filters are the usual bilinear designs of the Audio EQ Cookbook (R. Bristow-Johnson).
    """
    sections = [
        _bell(float(rng.uniform(*band)), float(rng.uniform(-6.0, 6.0)), sample_rate_hz)
        for band in ((80.0, 250.0), (400.0, 1500.0), (2000.0, 6000.0))
    ]
    sections.append(_treble_shelf(4000.0, float(rng.uniform(-6.0, 6.0)), sample_rate_hz))
    return np.asarray(signal.sosfilt(np.array(sections), samples, axis=0), dtype=np.float32)


def _bell(centre_hz: float, gain_db: float, sample_rate_hz: int) -> list[float]:
    amplitude = 10.0 ** (gain_db / 40.0)
    angle = 2.0 * math.pi * centre_hz / sample_rate_hz
    alpha = math.sin(angle) / 2.0  # quality 1
    middle = -2.0 * math.cos(angle)
    norm = 1.0 + alpha / amplitude
    numerator = [1.0 + alpha * amplitude, middle, 1.0 - alpha * amplitude]
    denominator = [norm, middle, 1.0 - alpha / amplitude]
    return [value / norm for value in numerator + denominator]


def _treble_shelf(corner_hz: float, gain_db: float, sample_rate_hz: int) -> list[float]:
    amplitude = 10.0 ** (gain_db / 40.0)
    angle = 2.0 * math.pi * corner_hz / sample_rate_hz
    cosine = math.cos(angle)
    edge = 2.0 * math.sqrt(amplitude) * math.sin(angle) / math.sqrt(2.0)  # slope 1
    up, down = amplitude + 1.0, amplitude - 1.0
    numerator = [
        amplitude * (up + down * cosine + edge),
        -2.0 * amplitude * (down + up * cosine),
        amplitude * (up + down * cosine - edge),
    ]
    denominator = [up - down * cosine + edge, 2.0 * (down - up * cosine), up - down * cosine - edge]
    return [value / denominator[0] for value in numerator + denominator]


def cut_out(samples: Samples, begin_s: float, length_s: float) -> Samples:
    """A piece of a recording, faded at both ends."""
    begin = round(begin_s * SAMPLE_RATE_HZ)
    piece = samples[begin : begin + round(length_s * SAMPLE_RATE_HZ)].copy()
    fade = np.linspace(0.0, 1.0, round(FADE_S * SAMPLE_RATE_HZ), dtype=np.float32)[:, np.newaxis]
    piece[: len(fade)] *= fade
    piece[-len(fade) :] *= fade[::-1]
    return piece


def surround(samples: Samples, what: str, rng: np.random.Generator) -> tuple[Samples, float]:
    """Put 4 s to 12 s of something else before and after a recording.

    Parameters
    ----------
    samples
        (n, 2).
    what
        `"silence"`, `"noise"` (a hall's low rumble and hiss) or `"applause"` (after the music;
        before it, noise).
    rng
        Source of lengths and noise.

    Returns
    -------
    tuple
        The longer recording, and how many seconds stand before the music now.
    """
    level = float(np.sqrt(np.mean(samples**2)))
    before, after = (round(float(rng.uniform(4.0, 12.0)) * SAMPLE_RATE_HZ) for _ in range(2))
    quiet = 0.0 if what == "silence" else 0.03 * level
    whole = quiet * _hall_noise(before + len(samples) + after, rng)
    whole[before : before + len(samples)] += samples
    if what == "applause":
        whole[before + len(samples) :] += 0.8 * level * _applause(after, rng)
    return np.asarray(whole, dtype=np.float32), before / SAMPLE_RATE_HZ


def _hall_noise(count: int, rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """Noise that falls by 3 dB an octave (roughly), effective value 1: (count, 2)."""
    white = rng.standard_normal((count, 2))
    pink = signal.lfilter([0.05, -0.041], [1.0, -0.98], white, axis=0) + 0.01 * white
    return np.asarray(pink / np.sqrt(np.mean(pink**2)))


def _applause(count: int, rng: np.random.Generator) -> npt.NDArray[np.float64]:
    """Very many short claps that swell and fade, effective value 1: (count, 2)."""
    time = np.arange(count) / count
    density = 400.0 / SAMPLE_RATE_HZ * np.minimum(1.0, 6.0 * time) * (1.2 - time)
    claps = np.where(rng.random((count, 2)) < density[:, np.newaxis], 1.0, 0.0)
    claps *= rng.lognormal(0.0, 0.7, claps.shape)
    length = round(0.02 * SAMPLE_RATE_HZ)
    burst = rng.standard_normal(length) * np.exp(-np.arange(length) / (0.004 * SAMPLE_RATE_HZ))
    band = signal.butter(2, [500.0, 6000.0], "bandpass", fs=SAMPLE_RATE_HZ, output="sos")
    heard = signal.fftconvolve(claps, signal.sosfilt(band, burst)[:, np.newaxis], axes=0)[:count]
    return np.asarray(heard / max(float(np.sqrt(np.mean(heard**2))), 1e-12))


def finish(samples: Samples, seed: int) -> Samples:
    """Set the peak and add a faint noise floor, as any recording has."""
    peak = max(float(np.abs(samples).max()), 1e-9)
    noise = np.random.default_rng([seed, 9]).standard_normal(samples.shape)
    finished = samples * (PEAK / peak) + PEAK * 10.0 ** (NOISE_FLOOR_DB / 20.0) * noise
    return np.asarray(finished, dtype=np.float32)
