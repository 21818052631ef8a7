"""Made-up music for tests that need a known change: four voices, additive tones, no samples.

Everything follows from the seed, so the same piece can be played again with one voice louder,
slower, with other scatter, or in a room.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import signal

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 24_000
_SCALE = np.array([0, 2, 4, 5, 7, 9, 11])


@dataclass(frozen=True)
class Tone:
    """One note: seconds, MIDI pitch, linear level, share of the left channel."""

    start_s: float
    length_s: float
    pitch: int
    level: float


def score(seed: int, bars: int = 6, beat_s: float = 0.6) -> dict[str, list[Tone]]:
    """Notes of the four voices, 4/4."""
    rng = np.random.default_rng(seed)
    key = int(rng.integers(48, 55))
    motif = rng.choice(9, 8, replace=False)
    voices: dict[str, list[Tone]] = {"figure": [], "melody": [], "pad": [], "bass": []}

    def pitch(degree: int, octave: int) -> int:
        return int(key + 12 * (octave + degree // 7) + _SCALE[degree % 7])

    step = 7
    for bar in range(bars):
        root = int(rng.choice(7))
        begin = 0.3 + bar * 4 * beat_s
        for eighth in range(8):
            at = begin + eighth * beat_s / 2
            degree = root + int(motif[eighth])
            voices["figure"].append(Tone(at, 0.2, pitch(degree, 2), 0.05))
        beat = 0.0
        while beat < 4:
            length = float(min(rng.choice([0.5, 1.0, 1.5, 2.0]), 4 - beat))
            step = int(np.clip(step + rng.integers(-2, 3), 4, 12))
            at = begin + beat * beat_s
            voices["melody"].append(Tone(at, length * beat_s * 0.97, pitch(step, 1), 0.08))
            beat += length
        for degree in (0, 2, 4):
            voices["pad"].append(Tone(begin, 3.9 * beat_s, pitch(root + degree, 0), 0.05))
        for beat_number in range(4):
            at = begin + beat_number * beat_s
            voices["bass"].append(Tone(at, 0.45, pitch(root, -1), 0.12))
    return voices


_SOUND = {
    # partial fall-off per octave (dB), attack (s), decay while held (1/s), release (s), left
    "figure": (10.0, 0.005, 6.0, 0.05, 0.35),
    "melody": (7.0, 0.04, 0.3, 0.08, 0.65),
    "pad": (9.0, 0.08, 0.2, 0.12, 0.4),
    "bass": (12.0, 0.005, 4.0, 0.1, 0.55),
}


def play(
    seed: int,
    *,
    bars: int = 6,
    beat_s: float = 0.6,
    gains_db: Mapping[str, float] | None = None,
    scatter_s: float = 0.0,
    scatter_db: float = 0.0,
    performance: int = 0,
    a4_hz: float = 440.0,
    brightness_db: float = 0.0,
    held: Mapping[str, float] | None = None,
) -> FloatArray:
    """Play the piece of a seed, shape (n, 2), at 24 kHz.

    Parameters
    ----------
    scatter_s, scatter_db, performance
        Playing scatter of onsets and levels, and its seed.
    brightness_db
        Added per octave of partials: another instrument.
    held
        Share of their length for which a voice's notes are held.
    """
    scatter = (scatter_s, scatter_db)
    gains, shares = (tuple(sorted((given or {}).items())) for given in (gains_db, held))
    # A score that a test has put in its place is another piece.
    asked = (score, seed, bars, beat_s, scatter, performance, a4_hz, brightness_db, gains, shares)
    return _played(*asked).copy()


_Shares = tuple[tuple[str, float], ...]


# Many tests ask for the same piece.
@functools.lru_cache(maxsize=16)
def _played(
    written: Callable[[int, int, float], dict[str, list[Tone]]],
    seed: int,
    bars: int,
    beat_s: float,
    scatter: tuple[float, float],
    performance: int,
    a4_hz: float,
    brightness_db: float,
    gains_db: _Shares,
    held: _Shares,
) -> FloatArray:
    rng = np.random.default_rng([seed, performance])
    scatter_s, scatter_db = scatter
    count = int((bars * 4 * beat_s + 1.5) * RATE_HZ)
    out = np.zeros((count, 2))
    for name, tones in written(seed, bars, beat_s).items():
        fall, attack, decay, release, left = _SOUND[name]
        gain = 10 ** (dict(gains_db).get(name, 0.0) / 20)
        share = dict(held).get(name, 1.0)
        for tone in tones:
            start = max(tone.start_s + scatter_s * rng.standard_normal(), 0.0)
            level = gain * tone.level * 10 ** (scatter_db * rng.standard_normal() / 20)
            frequency = a4_hz * 2 ** ((tone.pitch - 69) / 12)
            held_s = share * tone.length_s
            envelope = _envelope(attack, decay, release, held_s)
            weights = []
            for partial in range(1, 13):
                if partial * frequency > 0.45 * RATE_HZ:
                    break
                weight = 10 ** ((brightness_db - fall) * np.log2(partial) / 20)
                phase = rng.uniform(0, 2 * np.pi) if performance else partial
                weights.append(weight * np.exp(1j * phase))
            wave = _harmonics(tuple(weights), frequency, len(envelope))
            first = int(start * RATE_HZ)
            end = min(first + len(wave), count)
            mono = level * (wave * envelope)[: end - first]
            out[first:end, 0] += mono * np.sqrt(left)
            out[first:end, 1] += mono * np.sqrt(1 - left)
    noise = np.random.default_rng(performance + 99).standard_normal(out.shape)
    return out + 1e-5 * noise


# The same tones come again in every bar, and at other levels in every version of a piece.
@functools.lru_cache(maxsize=64)
def _envelope(attack_s: float, decay: float, release_s: float, held_s: float) -> FloatArray:
    time = np.arange(int((held_s + 4 * release_s) * RATE_HZ)) / RATE_HZ
    envelope = np.minimum(time / attack_s, 1) * np.exp(-decay * time)
    envelope *= np.exp(-np.maximum(time - held_s, 0) / release_s)
    return np.asarray(envelope)


@functools.lru_cache(maxsize=64)
def _turn(frequency_hz: float, count: int) -> npt.NDArray[np.complex128]:
    return np.asarray(np.exp(2j * np.pi * frequency_hz * (np.arange(count) / RATE_HZ)))


@functools.lru_cache(maxsize=256)
def _harmonics(weights: tuple[complex, ...], frequency_hz: float, count: int) -> FloatArray:
    """Sum of weighted sines at the multiples of a frequency: a polynomial in one rotation."""
    turn = _turn(frequency_hz, count)
    total = np.zeros(count, np.complex128)
    for weight in reversed(weights):
        total += weight
        total *= turn
    return np.array(total.imag)  # let the complex one go


def in_room(samples: FloatArray, decay_s: float, wet_db: float, seed: int = 1) -> FloatArray:
    """Add a diffuse exponential room (energy ``wet_db`` against the direct sound)."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(1.2 * decay_s * RATE_HZ)) / RATE_HZ
    response = rng.standard_normal((len(time), 2)) * 10 ** (-3 * time / decay_s)[:, None]
    response[: int(0.015 * RATE_HZ)] = 0
    response /= np.sqrt((response**2).sum(axis=0))
    mono = samples.mean(axis=1, keepdims=True)
    wet = signal.fftconvolve(mono, response, axes=0)[: len(samples)]
    return samples + 10 ** (wet_db / 20) * wet
