"""What every written part would sound like in the semitones of a pair, played by plain tones.

No samples of instruments are needed: a note is a comb of partials that fall off as those of
sustained instruments do, seen through the windows and bands of the features. How bright a part
really is, the fit finds by itself (:mod:`mixcompare.parts.fit`).
"""

from __future__ import annotations

import functools
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.features.grid import (
    ANALYSIS_RATE_HZ,
    HIGHEST_SEMITONE,
    LONG_WINDOW_BELOW_HZ,
    LOW_FFT,
    LOWEST_SEMITONE,
    SEMITONE_FFT,
)
from mixcompare.knowledge.notes import UNMARKED, PartNotes
from mixcompare.standards.bs1770 import k_weighting_power
from mixcompare.standards.iec61260 import (
    band_weights,
    hz_to_pitch,
    pitch_hz,
    semitone_edges_hz,
)

FloatArray = npt.NDArray[np.float64]

_PARTIALS, _FALL = 16, 1.6
"""Partial k has the power k ** -1.6: the mean of sustained instruments, about -5 dB an octave."""
_ATTACK_S = 0.04  # half of a soft attack; our choice
_RELEASE_PER_S = 8.0  # natural logarithm of power, once the note has ended; our choice
_PER_VELOCITY = 4.0
"""Power by MIDI velocity, as written dynamics become: 40 dB a decade (SoundFont 2.04, 8.4.1)."""


def templates(parts: Sequence[PartNotes], times_s: FloatArray, centre_hz: FloatArray) -> FloatArray:
    """Power of every part in every cell.

    Parameters
    ----------
    parts : sequence of PartNotes
        On the clock of ``times_s``.
    times_s : ndarray, shape (n,)
        Evenly spaced.
    centre_hz : ndarray, shape (bands,)
        Semitones of the features, whose grid lies at the recording's own tuning.

    Returns
    -------
    ndarray, shape (parts, bands, n)
        As loud against each other as they are written, with a K-weighted energy of one on the mean
        of those that play; zero for a part without a note there.
    """
    power = power_of(parts, times_s, centre_hz)
    return power / mean_energy(power, centre_hz)


def mean_energy(power: FloatArray, centre_hz: FloatArray) -> float:
    """K-weighted energy of the parts that play, on the mean."""
    energy = np.einsum("f,pft->p", k_weighting_power(centre_hz), power)
    return max(float(energy.sum()) / max(int((energy > 0).sum()), 1), 1e-30)


def power_of(
    parts: Sequence[PartNotes], times_s: FloatArray, centre_hz: FloatArray, held: float = 1.0
) -> FloatArray:
    """The same before they are scaled, notes held for a share of their written length."""
    bands = np.round(hz_to_pitch(centre_hz)).astype(int) - LOWEST_SEMITONE
    combs = {
        pitch: _comb(pitch)[bands]
        for pitch in {int(note[2]) for part in parts for note in part.notes}
    }
    out = np.zeros((len(parts), len(centre_hz), len(times_s)))
    low = centre_hz < LONG_WINDOW_BELOW_HZ
    for row, part in zip(out, parts, strict=True):
        for pitch in np.unique(part.notes[:, 2]):
            course = _course(part.notes[part.notes[:, 2] == pitch], times_s, held)
            row += combs[int(pitch)][:, None] * course
        row[:] = np.where(
            low[:, None], _seen(row, LOW_FFT, times_s), _seen(row, SEMITONE_FFT, times_s)
        )
    return out


@functools.lru_cache(maxsize=128)
def _comb(pitch: int) -> FloatArray:
    """Power of a note in all semitones of the features, as their windows see it."""
    partials = np.arange(1, _PARTIALS + 1)
    frequency_hz = pitch_hz(pitch) * partials
    edges_hz = semitone_edges_hz(LOWEST_SEMITONE, HIGHEST_SEMITONE, 0.0)
    inside = frequency_hz < edges_hz[-1]
    seen = [
        (partials[inside] ** -_FALL) @ _lines(frequency_hz[inside], edges_hz, size)
        for size in (LOW_FFT, SEMITONE_FFT)
    ]
    centre_hz = pitch_hz(np.arange(LOWEST_SEMITONE, HIGHEST_SEMITONE + 1))
    return np.asarray(np.where(centre_hz < LONG_WINDOW_BELOW_HZ, seen[0], seen[1]))


def _lines(frequency_hz: FloatArray, edges_hz: FloatArray, size: int) -> FloatArray:
    """Power of sines in bands, shape (sines, bands), by the main lobe of a Hann window."""
    bins = size // 2 + 1
    away = np.arange(bins) - frequency_hz[:, None] * size / ANALYSIS_RATE_HZ
    lobe = np.sinc(away) + (np.sinc(away - 1) + np.sinc(away + 1)) / 2
    power = np.where(np.abs(away) < 2, lobe**2, 0.0)
    power /= power.sum(axis=1, keepdims=True)
    return np.asarray(power @ band_weights(edges_hz, ANALYSIS_RATE_HZ / size, bins))


def _course(notes: FloatArray, times_s: FloatArray, held: float) -> FloatArray:
    """Power of notes of one pitch over time."""
    out = np.zeros(len(times_s))
    for onset_s, written_s, _, velocity in notes:
        end_s = onset_s + held * (written_s - onset_s)
        first, last = np.searchsorted(times_s, [onset_s - _ATTACK_S, end_s + 1.0])
        time_s = times_s[first:last]
        rise = np.clip((time_s - onset_s + _ATTACK_S) / (2 * _ATTACK_S), 0, 1)
        fall = np.exp(-_RELEASE_PER_S * np.maximum(time_s - end_s, 0))
        power = (velocity / UNMARKED) ** _PER_VELOCITY
        out[first:last] = np.maximum(out[first:last], power * rise * fall)
    return out


def _seen(power: FloatArray, size: int, times_s: FloatArray) -> FloatArray:
    """As a window of so many samples sees it, its power taken as a Gaussian."""
    step_s = float(times_s[1] - times_s[0])
    deviation_s = 0.14 * size / ANALYSIS_RATE_HZ  # of a squared Hann window
    return np.asarray(ndimage.gaussian_filter1d(power, deviation_s / step_s, axis=-1))
