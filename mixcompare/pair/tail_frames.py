"""One take's two waveforms, read in frames at the same musical moments.

Conventions
-----------
The waveforms kept in the features (mono, 12 kHz), on the reference's clock; the candidate's gain,
rides and polarity are undone.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy import fft

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import ANALYSIS_RATE_HZ, WAVEFORM_SCALE, Features
from mixcompare.features.grid import LOW_FFT
from mixcompare.pair.match import Match
from mixcompare.pair.spectra import RATE_HZ, THIRDS_ABOVE_HZ
from mixcompare.pair.undo import Ride

FloatArray = npt.NDArray[np.float64]
Spectra = npt.NDArray[np.complex64]
Wave = npt.NDArray[np.float32]

WINDOW, HOP = 1024, 256  # 85 ms and 21 ms
HIGHEST_BIN = int(THIRDS_ABOVE_HZ / ANALYSIS_RATE_HZ * WINDOW) + 1
_BLOCK_S = 60.0  # cost: learnt a minute at a time
_FINER = 8


@dataclass(frozen=True, eq=False)
class Changed:
    """What is known to have changed in the reference.

    Attributes
    ----------
    level_db : float
        Of the candidate's direct sound beside it, all else.
    amplitude : ndarray, shape (n, columns)
        Factors.
    times_s : ndarray, shape (n,)
    column : ndarray of int, shape (bins,)
        Where a frame's bin finds its factor.
    """

    level_db: float
    amplitude: FloatArray
    times_s: FloatArray
    column: npt.NDArray[np.int64]

    def made(self, frames: Spectra, times_s: FloatArray) -> Spectra:
        """Frames at these times with the changes made."""
        by = sample_frames(self.amplitude, RATE_HZ, times_s - self.times_s[0])
        return np.asarray(frames * by[:, self.column], np.complex64)


@dataclass(frozen=True, eq=False)
class Added:
    """What has to be added to the reference for it to have the candidate's changes.

    Attributes
    ----------
    level_db : float
        Of the candidate's direct sound beside it, if too little begins to tell it.
    wave : ndarray
        Mono, on the clock of the reference's file.
    """

    level_db: float
    wave: Wave

    def made(self, frames: Spectra, times_s: FloatArray) -> Spectra:
        """Frames at these times with the changes made."""
        places = times_s * ANALYSIS_RATE_HZ
        return np.asarray(frames + frames_about(self._padded, places, WINDOW))

    @cached_property
    def _padded(self) -> Wave:
        return np.pad(self.wave, LOW_FFT)


class Take:
    """Both waveforms, read in frames at the same moments."""

    def __init__(
        self,
        sounding: tuple[Features, Features],
        match: Match,
        times_s: FloatArray,
        ride: Ride,
    ) -> None:
        self._waves = [_padded(features.waveform) for features in sounding]
        self._match, self._ride, self.times_s = match, ride, times_s
        self._polarity = 1.0
        self.grid_cents = sounding[0].grid_tuning_cents
        self.start_s, end_s = match.time_map.span_s
        self.samples = int((end_s - self.start_s) * ANALYSIS_RATE_HZ)
        frames = self.samples // HOP + 1
        self.frames_s = self.start_s + np.arange(frames) * HOP / ANALYSIS_RATE_HZ
        count = max(round(self.samples / ANALYSIS_RATE_HZ / _BLOCK_S), 1)
        edges = np.linspace(0, frames, count + 1).astype(int)
        self.blocks = [slice(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]
        middle = self.blocks[count // 2]
        middle_s = self.frames_s[middle]
        both = (self.of_candidate(middle_s) * self.of_reference(middle_s).conj()).real
        self._polarity = -1.0 if both.sum() < 0 else 1.0

    def of_reference(self, times_s: FloatArray, size: int = WINDOW) -> Spectra:
        """The reference's frames at these times."""
        return frames_about(self._waves[0], times_s * ANALYSIS_RATE_HZ, size)

    def of_candidate(self, times_s: FloatArray, size: int = WINDOW) -> Spectra:
        """The candidate's at the same musical moments: its level, rides and polarity undone."""
        places = self._match.time_map.to_candidate(times_s) * ANALYSIS_RATE_HZ
        ride_db = np.interp(times_s, self.times_s, self._ride.level_db)
        gain = self._polarity * 10 ** (-(self._match.gain_db + ride_db) / 20)
        found = frames_about(self._waves[1], places, size)
        found *= gain[:, None].astype(np.float32)
        return found

    def covers(self, times_s: FloatArray) -> npt.NDArray[np.bool_]:
        """Which of these moments the candidate has at all."""
        return self._match.time_map.covers(times_s)


def taking_off(level_db: FloatArray, turn: FloatArray) -> Spectra:
    """Complex factor of every bin that takes a level, and a turn of phase in radians, off."""
    return np.asarray(10 ** (-level_db / 20) * np.exp(-1j * turn), np.complex64)


def minimum_phase(level_db: FloatArray) -> FloatArray:
    """Phase of the minimum-phase filter with that response from zero to half the rate, in radians.

    By the real cepstrum (Oppenheim and Schafer, "Discrete-Time Signal Processing", from memory),
    on a grid so fine that the cepstrum has room.
    """
    at = np.arange(len(level_db))
    fine = np.linspace(0, len(level_db) - 1, (len(level_db) - 1) * _FINER + 1)
    log_amplitude = np.interp(fine, at, level_db) * np.log(10) / 20
    cepstrum = fft.irfft(log_amplitude)
    half = len(cepstrum) // 2
    cepstrum[1:half] *= 2
    cepstrum[half + 1 :] = 0
    return np.asarray(fft.rfft(cepstrum).imag[::_FINER])


def _padded(waveform: npt.NDArray[np.float16]) -> Wave:
    return np.pad(waveform.astype(np.float32) / np.float32(WAVEFORM_SCALE), LOW_FFT)


def frames_about(wave: Wave, centres: FloatArray, size: int) -> Spectra:
    """Spectra of windows about places between samples, which a turn of their phases reaches.

    The wave begins and ends with the longest window's length of silence.
    """
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    whole = np.floor(centres)
    first = np.clip(whole.astype(np.int64) + LOW_FFT - size // 2, 0, len(wave) - size)
    view = np.lib.stride_tricks.sliding_window_view(wave, size)
    turn = 2j * np.pi * np.fft.rfftfreq(size)
    out = np.empty((len(centres), size // 2 + 1), np.complex64)
    for start in range(0, len(centres), 256):
        batch = slice(start, start + 256)
        between = (centres - whole)[batch, None]
        out[batch] = fft.rfft(view[first[batch]] * window, axis=1)
        if between.any():
            out[batch] *= np.exp(turn * between).astype(np.complex64)
    return out
