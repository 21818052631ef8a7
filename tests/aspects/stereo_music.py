"""Made-up stereo music for the tests of tone, width, placement, tempo and tuning.

Decaying harmonic tones from the bass up, each panned by its register, with a breath of noise that
follows them, partly different in both channels. All of it follows from the seed.
"""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from scipy import signal

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.pair.match import Match
from tests import recorded

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 32_000
SECONDS = 12
_SCALE = np.array([0, 2, 4, 5, 7, 9, 11])
# Lowest pitch of the voice, notes a second, where it sits (-1 left to +1 right), decay (1/s).
_VOICES = ((36, 1, 0.4, 1.0), (53, 2, 0.1, 1.5), (67, 2, -0.3, 2.0), (79, 4, -0.5, 4.0))


@functools.cache
def music(seed: int = 0, a4_hz: float = 440.0) -> FloatArray:
    """Twelve seconds at 32 kHz, shape (n, 2); not to be written to."""
    rng = np.random.default_rng(seed)
    count = SECONDS * RATE_HZ
    out = np.zeros((count, 2))
    for lowest, per_s, place, decay in _VOICES:
        for note in range(SECONDS * per_s - per_s):
            pitch = lowest + int(rng.choice(_SCALE)) + 12 * int(rng.integers(0, 2))
            first = int((note + 0.5) * RATE_HZ / per_s)
            time_s = np.arange(int(1.3 * RATE_HZ / per_s)) / RATE_HZ
            envelope = np.minimum(time_s / 0.01, 1) * np.exp(-decay * time_s)
            envelope *= np.minimum((time_s[-1] - time_s) / 0.05, 1)
            frequency = a4_hz * 2 ** ((pitch - 69) / 12)
            harmonics = np.arange(1, min(20, int(13_000 / frequency)) + 1)[:, None]
            phases = rng.uniform(0, 2 * np.pi, harmonics.shape)
            wave = (np.sin(2 * np.pi * frequency * harmonics * time_s + phases) / harmonics).sum(0)
            breath = 0.05 * rng.standard_normal((len(time_s), 2))
            angle = (place + 1) * np.pi / 4
            sides = np.array([np.cos(angle), np.sin(angle)])
            end = min(first + len(time_s), count)
            tone = (wave[:, None] + breath) * envelope[:, None] * sides
            out[first:end] += tone[: end - first] * 10 ** (rng.normal(0, 2) / 20)
    out *= 0.5 / np.abs(out).max()
    out.flags.writeable = False
    return out


def features_of(samples: npt.ArrayLike, rate_hz: int = RATE_HZ, name: str = "test") -> Features:
    return recorded.features_of(samples, rate_hz, name)


@functools.cache
def features(seed: int = 0) -> Features:
    """Features of the unchanged music."""
    return features_of(music(seed))


@functools.cache
def scaled(gain: float) -> Features:
    """Features of the music, louder or softer."""
    return features_of(gain * music())


def same_clock(features: Features, gain_db: float = 0.0, same_take: bool = True) -> Match:
    return Match(
        TimeMap.linear(0.0, 1.0, 0.0, features.duration_s), same_take=same_take, gain_db=gain_db
    )


def with_side(samples: FloatArray, gain: float) -> FloatArray:
    """The same with the side signal scaled."""
    mid = samples.mean(axis=1)
    side = gain * (samples[:, 0] - samples[:, 1]) / 2
    return np.column_stack([mid + side, mid - side])


def filtered(
    samples: FloatArray, *filters: tuple[str, float, float, float], rate_hz: int = RATE_HZ
) -> FloatArray:
    """Through digital bells and shelves: (kind, frequency in Hz, gain in dB, Q).

    Coefficients: Bristow-Johnson, "Cookbook formulae for audio equalizer biquad filter
    coefficients" (from memory).
    """
    out = samples
    for one in filters:
        out = signal.lfilter(*_coefficients(one, rate_hz), out, axis=0)
    return np.asarray(out)


def response_db(
    one: tuple[str, float, float, float], frequency_hz: npt.ArrayLike, rate_hz: int = RATE_HZ
) -> FloatArray:
    """Gain of one of these filters; beyond half the sample rate that of its mirror image."""
    _, found = signal.freqz(*_coefficients(one, rate_hz), worN=frequency_hz, fs=rate_hz)
    return np.asarray(20 * np.log10(np.abs(found)))


def _coefficients(
    one: tuple[str, float, float, float], rate_hz: int
) -> tuple[FloatArray, FloatArray]:
    kind, frequency_hz, gain_db, q = one
    a = 10 ** (gain_db / 40)
    omega = 2 * np.pi * frequency_hz / rate_hz
    cosine, alpha = np.cos(omega), np.sin(omega) / (2 * q)
    if kind == "bell":
        b = [1 + alpha * a, -2 * cosine, 1 - alpha * a]
        d = [1 + alpha / a, -2 * cosine, 1 - alpha / a]
    else:
        root = 2 * np.sqrt(a) * alpha
        up, down = (a + 1) + (a - 1) * cosine, (a + 1) - (a - 1) * cosine
        b = [a * (down + root), 2 * a * ((a - 1) - (a + 1) * cosine), a * (down - root)]
        d = [up + root, -2 * ((a - 1) + (a + 1) * cosine), up - root]
        if kind == "high_shelf":
            b, d = [a * value for value in d], [value / a for value in b]
    return np.array(b) / d[0], np.array(d) / d[0]


FRAMES = int(SECONDS * BAND_RATE_HZ) + 1


def cells(
    left: npt.ArrayLike, right: npt.ArrayLike, cross: npt.ArrayLike = 0.0, **changes: object
) -> Features:
    """Features of twelve seconds with given band powers and cross powers, each (frames, 31)."""
    shape = (FRAMES, 31)
    power = np.stack([np.broadcast_to(left, shape), np.broadcast_to(right, shape)], axis=2)
    return replace(
        features(),
        band_power=power.astype(np.float32),
        band_cross=np.broadcast_to(cross, shape).astype(np.complex64),
        usable_band_hz=(0.0, 23_000.0),
        **changes,
    )


def slower(same_take: bool = True) -> Match:
    """Nine seconds from 0.5 s on, which take 1.06 times as long and begin at 1.53 s."""
    return Match(TimeMap.linear(1.0, 1.06, 0.5, 9.5), same_take=same_take)


SPAN_S, CANDIDATE_SPAN_S = (0.5, 9.5), (1.53, 11.07)


def clocks() -> tuple[FloatArray, FloatArray]:
    """Reference times of the frames of either recording after that map, shape (frames, 1)."""
    times = np.arange(FRAMES)[:, None] / BAND_RATE_HZ
    return times, (times - 1.0) / 1.06


def later(wave: FloatArray, delay_us: float, rate_hz: int = RATE_HZ) -> FloatArray:
    """The same so much later, by a windowed sinc of 128 taps; the first 64 samples are lost."""
    taps = np.arange(128) - 64 - delay_us * 1e-6 * rate_hz
    kernel = np.sinc(taps) * np.cos(np.pi * np.clip(taps / 128, -0.5, 0.5)) ** 2
    return np.asarray(signal.fftconvolve(wave, kernel)[64 : 64 + len(wave)])


@functools.cache
def strings() -> FloatArray:
    """Fifteen seconds of a string orchestra (public domain), 44.1 kHz; not to be written to."""
    path = Path(__file__).parent.parent / "data" / "string_orchestra_brahms_hd5_pd.ogg"
    samples, _ = soundfile.read(path, start=2 * 44_100, stop=17 * 44_100)
    samples.flags.writeable = False
    return np.asarray(samples)


@functools.cache
def strings_features() -> Features:
    return features_of(strings(), 44_100)
