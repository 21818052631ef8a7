"""By how much bands' powers rise as something begins: of every written onset, in both recordings.

Conventions
-----------
Third octaves: up to 5 kHz from the waveforms kept in the features, above from their band powers.
Powers are those of the mono sum in one take, where the sides may have been moved as a whole, and
of both channels between performances. The candidate's are at the pair's gain.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.features import ANALYSIS_RATE_HZ, BAND_RATE_HZ, WAVEFORM_SCALE, Features
from mixcompare.pair.pair import Pair
from mixcompare.standards.iec61260 import (
    THIRD_OCTAVE_CENTRES_HZ,
    THIRD_OCTAVE_EDGES_HZ,
    band_weights,
)

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# Third octaves by the window that tells them, in samples of the waveform; above by band powers.
_LONG, _SHORT = 1024, 512  # 85 and 43 ms
_FROM_HZ, _SHORT_FROM_HZ, _POWERS_FROM_HZ = 45.0, 230.0, 5300.0
_STEP_S = 0.01
_REACH_S, _NEAR_S = 0.08, 0.04
"""How far an onset may be from where it is laid, and from what most others are off: resolution."""
_BEFORE_S, _AFTER_S = (-0.10, -0.05), (0.02, 0.07)  # of an onset; our choice
_TOGETHER_S = (0.02, 0.22)
"""After the onset of many: players of one performance are less together than those of another, and
what they begin rises as far, but later."""
_FLOOR = 1e-13  # 130 dB below full scale
_BATCH = 4096


@dataclass(frozen=True, eq=False)
class Rises:
    """Powers just before and just after some onsets.

    Attributes
    ----------
    before, after : ndarray, shape (onsets, bands)
    """

    before: FloatArray
    after: FloatArray

    @property
    def rise(self) -> FloatArray:
        """What is added; never less than nothing."""
        return np.maximum(self.after - self.before, 0.0)

    @property
    def clear(self) -> npt.NDArray[np.bool_]:
        """Where more is added than there was."""
        return self.after > 2 * self.before

    @property
    def seen(self) -> npt.NDArray[np.bool_]:
        """Where half as much is added, or more."""
        return self.after > 1.5 * self.before


class Onsets:
    """The powers about some moments of a pair, from which rises are read at the sound's own onset.

    Parameters
    ----------
    pair : Pair
    times_s : ndarray, shape (onsets,)
        Where they are laid in the reference.
    """

    def __init__(self, pair: Pair, times_s: FloatArray) -> None:
        self._pair, self.times_s = pair, times_s
        self._bands = _usable(pair)
        self.centre_hz = THIRD_OCTAVE_CENTRES_HZ[self._bands]
        self._reference = _about(pair.reference, times_s, self._bands, pair.same_take)

    @staticmethod
    def reach_s(same_take: bool) -> float:
        """How long after where an onset is laid its rise is still read."""
        return _REACH_S + (_AFTER_S if same_take else _TOGETHER_S)[1]

    def of_all(self) -> tuple[Rises, Rises]:
        """Rises of all onsets in both recordings, all bands weighing alike."""
        bands = len(self.centre_hz)
        return self.read(np.full(bands, 1 / bands), after_s=self._after_s)

    @property
    def _after_s(self) -> tuple[float, float]:
        return _AFTER_S if self._pair.same_take else _TOGETHER_S

    def read(
        self,
        weights: FloatArray,
        some: npt.NDArray[np.intp] | slice = slice(None),
        after_s: tuple[float, float] = _AFTER_S,
    ) -> tuple[Rises, Rises]:
        """Rises in both recordings.

        Parameters
        ----------
        weights : ndarray, shape (bands,)
            What every band counts for where an onset lies.
        some : ndarray of int, optional
            Which onsets.
        after_s : tuple of float
            When their powers are read, after each of them.
        """
        reference = self._reference[some]
        late_s = _lateness(reference, weights)
        at_s = self.times_s[some] + late_s
        laid_s = self._pair.time_map.to_candidate(at_s)
        powers = _about(self._pair.candidate, laid_s, self._bands, self._pair.same_take)
        still = np.zeros(len(at_s))
        # One take's onsets are the same.
        there_s = still if self._pair.same_take else _lateness(powers, weights)
        gain = 10 ** (-(self._pair.gain_db + self._ridden_db(at_s)) / 10)[:, None]
        candidate = _read(powers, there_s, after_s)
        return (
            _read(reference, late_s, after_s),
            Rises(gain * candidate.before, gain * candidate.after),
        )

    def _ridden_db(self, times_s: FloatArray) -> FloatArray:
        """What moves the candidate's whole level there."""
        ride = self._pair.ride
        return np.interp(times_s, self._pair.spectra.times_s, ride.level_db)


def _moments() -> FloatArray:
    first, last = _BEFORE_S[0] - _REACH_S, _TOGETHER_S[1] + _REACH_S
    return np.asarray(np.arange(round(first / _STEP_S), round(last / _STEP_S) + 1) * _STEP_S)


def _usable(pair: Pair) -> IntArray:
    """Third octaves that both recordings carry, from the lowest that a window tells."""
    inside = pair.usable_bands & (THIRD_OCTAVE_CENTRES_HZ > _FROM_HZ)
    return np.flatnonzero(inside)


def _about(features: Features, times_s: FloatArray, bands: IntArray, mono: bool) -> FloatArray:
    """Power in steps about some moments, shape (onsets, bands, moments)."""
    at_s = (times_s[:, None] + _moments()).ravel()
    centre_hz = THIRD_OCTAVE_CENTRES_HZ[bands]
    waves = [features.waveform] if mono else [features.waveform, features.side_waveform]
    out = np.zeros((len(at_s), len(bands)))
    for size, low_hz, high_hz in (
        (_LONG, 0.0, _SHORT_FROM_HZ),
        (_SHORT, _SHORT_FROM_HZ, _POWERS_FROM_HZ),
    ):
        own = np.flatnonzero((centre_hz > low_hz) & (centre_hz < high_hz))
        if len(own):
            weights = _weights(bands[own], size)
            out[:, own] = sum(_framed(wave, at_s, size, weights) for wave in waves)
    above = np.flatnonzero(centre_hz > _POWERS_FROM_HZ)
    if len(above):
        out[:, above] = _powers_at(features, at_s, bands[above], mono)
    return out.reshape(len(times_s), -1, len(bands)).transpose(0, 2, 1)


def _weights(bands: IntArray, size: int) -> npt.NDArray[np.float32]:
    edges_hz = THIRD_OCTAVE_EDGES_HZ[bands[0] : bands[-1] + 2]
    return band_weights(edges_hz, ANALYSIS_RATE_HZ / size, size // 2 + 1)


def _framed(
    wave: npt.NDArray[np.float16], at_s: FloatArray, size: int, weights: npt.NDArray[np.float32]
) -> FloatArray:
    """Band powers of windows about some moments."""
    padded = np.pad(wave, size)
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    view = np.lib.stride_tricks.sliding_window_view(padded, size)
    first = np.round(at_s * ANALYSIS_RATE_HZ).astype(np.int64) + size // 2
    first = first.clip(0, len(view) - 1)
    out = np.empty((len(at_s), weights.shape[1]))
    for start in range(0, len(at_s), _BATCH):
        batch = slice(start, start + _BATCH)
        spectra = np.fft.rfft(view[first[batch]].astype(np.float32) * window, axis=1)
        out[batch] = np.square(np.abs(spectra)) @ weights
    return np.asarray(out * 2 / (size * np.square(window).sum() * WAVEFORM_SCALE**2))


def _powers_at(features: Features, at_s: FloatArray, bands: IntArray, mono: bool) -> FloatArray:
    """Band powers between their frames."""
    power = features.band_power[:, bands].sum(axis=2) / 2
    if mono:
        power = (power + np.real(features.band_cross[:, bands])) / 2
    frames_s = np.arange(len(power)) / BAND_RATE_HZ
    return np.stack([np.interp(at_s, frames_s, band) for band in power.T], axis=-1)


def _read(powers: FloatArray, late_s: FloatArray, after_s: tuple[float, float] = _AFTER_S) -> Rises:
    """Mean powers before and after onsets that come so late."""
    before, after = np.empty(powers.shape[:2]), np.empty(powers.shape[:2])
    moments_s = _moments()
    for late in np.unique(late_s):
        own = late_s == late
        for out, (begin_s, end_s) in ((before, _BEFORE_S), (after, after_s)):
            inside = (moments_s > late + begin_s - _STEP_S / 2) & (
                moments_s < late + end_s + _STEP_S / 2
            )
            out[own] = powers[own][:, :, inside].mean(axis=2)
    return Rises(before + _FLOOR, after + _FLOOR)


def _lateness(powers: FloatArray, weights: FloatArray) -> FloatArray:
    """How late every onset is: where most bands rise most, near to where most onsets do."""
    tried_s = np.round(np.arange(-_REACH_S, _REACH_S + _STEP_S / 2, _STEP_S), 3)
    score = np.empty((len(powers), len(tried_s)))
    for index, late_s in enumerate(tried_s):
        rises = _read(powers, np.full(len(powers), late_s))
        score[:, index] = np.log(rises.after / rises.before) @ weights
    common_s = tried_s[score.mean(axis=0).argmax()]
    score[:, np.abs(tried_s - common_s) > _NEAR_S + _STEP_S / 2] = -np.inf
    return np.asarray(tried_s[score.argmax(axis=1)])
