"""Made-up spectrograms in which every voice is known to the cell.

Invented data: what it checks is arithmetic (a level set is a level found), not the trade.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.standards.iec61260 import pitch_hz

FloatArray = npt.NDArray[np.float64]
CENTRE_HZ = pitch_hz(np.arange(28, 112))
LOWEST = 28
DURATION_S = 16.0
TIMES_S = np.arange(int(DURATION_S * RATE_HZ)) / RATE_HZ
PARTIALS = ((0, 0.0), (12, -6.0), (19, -10.0), (24, -14.0), (28, -17.0), (31, -20.0))
VOICES = {
    "melody": (72, 84, 2.0),
    "middle": (62, 69, 1.3),
    "tenor": (52, 60, 1.6),
    "bass": (36, 48, 1.0),
}
"""Lowest and highest pitch, notes a second."""


def voice(
    name: str, levels_db: np.random.Generator | None = None, times_s: FloatArray = TIMES_S
) -> FloatArray:
    """Power of a voice in every cell, shape (n, bands); each note a little louder or softer."""
    low, high, rate = VOICES[name]
    notes = np.random.default_rng(sum(map(ord, name)))
    power = np.zeros((len(times_s), len(CENTRE_HZ)))
    at_s = 0.2
    while at_s < times_s[-1] - 0.45:
        pitch = int(notes.integers(low, high + 1))
        # A melody's notes are of several lengths; even ones would make a repeating figure.
        length = float(notes.choice([0.5, 0.75, 1.0, 1.5])) / rate
        since = times_s - at_s
        inside = (since >= 0) & (since < length)
        course = np.exp(-since[inside] / 1.5)
        scatter = 0.0 if levels_db is None else float(levels_db.normal(0, 1.0))
        for step, level_db in PARTIALS:
            band = pitch + step - LOWEST
            if band < power.shape[1]:
                own = np.zeros(power.shape[1])
                own[band] = 1.0
                own[max(band - 1, 0)] += 0.03
                power[inside] += course[:, None] * own * 10 ** ((level_db + scatter) / 10)
        at_s += length
    return power


def pair(
    gains_db: dict[str, float], other: bool, tone_db: FloatArray | float = 0.0, seed: int = 1
) -> PairSpectra:
    """Reference and candidate; another performance scatters from note to note and cell to cell."""
    rng = np.random.default_rng(seed)
    reference = sum(voice(name) for name in VOICES) + np.full((1, len(CENTRE_HZ)), 1e-5)
    candidate = np.full_like(reference, 1e-5)
    for name in VOICES:
        gain = 10 ** (gains_db.get(name, 0.0) / 10)
        candidate = candidate + gain * voice(name, rng if other else None)
    if other:
        candidate = candidate * 10 ** (rng.normal(0, 0.8, candidate.shape) / 10)
    return PairSpectra(TIMES_S, CENTRE_HZ, reference, candidate * 10 ** (tone_db / 10))


def figure(pitches: list[int], notes_per_s: float = 4.0) -> PairSpectra:
    """Even notes that go through the pitches again and again, or once through a long list."""
    power = np.full((len(TIMES_S), len(CENTRE_HZ)), 1e-9)
    for number in range(int(DURATION_S * notes_per_s)):
        since = TIMES_S - number / notes_per_s
        inside = (since >= 0) & (since < 1 / notes_per_s)
        for step, level_db in PARTIALS:
            band = pitches[number % len(pitches)] + step - LOWEST
            if band < power.shape[1]:
                power[inside, band] += np.exp(-since[inside] / 0.2) * 10 ** (level_db / 10)
    return PairSpectra(TIMES_S, CENTRE_HZ, power, power)
