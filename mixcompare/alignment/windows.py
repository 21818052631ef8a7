"""Windows of two recordings, correlated with a partly whitened spectrum.

Phase transform (Knapp and Carter 1976) with the exponent 0.8; the peak is placed between samples
by interpolation.
"""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
from scipy import fft

from mixcompare.alignment.representation import Representation
from mixcompare.features import ANALYSIS_RATE_HZ, WAVEFORM_SCALE

FloatArray = npt.NDArray[np.float64]
Spectrum = npt.NDArray[np.complex128]
Peak = tuple[float, float, float]

_BAND_HZ = (150.0, 5000.0)  # nil at and beyond these; our judgement, not measured
_WHITENING = 0.8  # exponent; 1 is the phase transform (Knapp and Carter 1976); our choice
_UPSAMPLING = 8  # resolution: points a sample before the parabola
_REACH = _UPSAMPLING + 1  # points of the finer grid to either side
_QUIETEST = 3e-5  # root mean square of a window, full scale = 1
_NIL = 1e-30  # square of a cross spectrum that is nothing
_GUARD_S = 0.003  # a peak's own width


class Whitened:
    """Partly whitened cross spectra of windows of one size, in the band that tells most.

    Attributes
    ----------
    length : int
        Of the windows with what follows them, in samples.
    frequency_hz : ndarray, shape (bins,)
        Of the band.
    """

    def __init__(self, size: int) -> None:
        self.length = fft.next_fast_len(2 * size, real=True)
        every_hz = np.arange(self.length // 2 + 1) * ANALYSIS_RATE_HZ / self.length
        low, high = _BAND_HZ
        band = np.clip((every_hz - low) / low, 0, 1) * np.clip(
            (high - every_hz) / (0.25 * high), 0, 1
        )
        self._bins = np.flatnonzero(band)
        self._used = slice(int(self._bins[0]), int(self._bins[-1]) + 1)
        self._band = band[self._used]
        self.frequency_hz = every_hz[self._used]
        self._taper = np.hanning(size).astype(np.float32)

    def cross(
        self, of_reference: npt.NDArray[np.float32], of_candidate: npt.NDArray[np.float32]
    ) -> Spectrum | None:
        """Cross spectrum, shape (bins,); None where one of the windows is silent."""
        power = min(np.mean(of_reference * of_reference), np.mean(of_candidate * of_candidate))
        if np.sqrt(power) / WAVEFORM_SCALE < _QUIETEST:
            return None
        first = fft.rfft(of_reference * self._taper, self.length)[self._used]
        second = first
        if of_candidate is not of_reference:
            second = fft.rfft(of_candidate * self._taper, self.length)[self._used]
        cross = np.asarray(np.conj(first) * second, np.complex128)
        # The logarithm of a square takes a third of the time of a magnitude's power.
        square = np.square(cross.real) + np.square(cross.imag)
        magnitude = np.exp(0.5 * _WHITENING * np.log(np.maximum(square, _NIL)))
        return np.asarray(cross / (magnitude + 1e-6 * magnitude.max()) * self._band)

    def correlation(self, cross: Spectrum, reach: int) -> FloatArray:
        """Correlation at lags from ``-reach`` to ``reach`` samples."""
        spectrum = np.zeros(self.length // 2 + 1, np.complex128)
        spectrum[self._used] = cross
        whole = fft.irfft(spectrum, self.length, overwrite_x=True)
        return np.concatenate([whole[-reach:], whole[: reach + 1]])

    def between_samples(self, cross: Spectrum, lag: int) -> tuple[float, float]:
        """Place a correlation peak between samples: lag in samples, and its signed height.

        The correlation is evaluated from its spectrum on a grid eight times finer about the
        highest sample, and a parabola goes through the highest three points.
        """
        turns, cosines, sines = self._waves
        turned = cross * turns[self._bins * lag % self.length]
        # What is even about the lag and what is odd, for one side of the grid, gives both.
        even, odd = cosines @ turned.real, sines @ turned.imag
        values = 2 * np.concatenate([(even + odd)[:0:-1], even - odd]) / self.length
        fine = lag + np.arange(-_REACH, _REACH + 1) / _UPSAMPLING
        height = np.abs(values)
        peak = int(height[1:-1].argmax()) + 1
        left, top, right = height[peak - 1 : peak + 2]
        moved = 0.5 * (left - right) / min(left - 2 * top + right, -1e-15)
        return float(fine[peak] + moved / _UPSAMPLING), float(values[peak])

    @functools.cached_property
    def _waves(self) -> tuple[Spectrum, FloatArray, FloatArray]:
        """Every turn of a whole number of samples, and the band's waves at the grid's points."""
        turns = np.exp(2j * np.pi * np.arange(self.length) / self.length)
        angle = 2 * np.pi * self._bins / self.length * np.arange(_REACH + 1)[:, None]
        return turns, np.cos(angle / _UPSAMPLING), np.sin(angle / _UPSAMPLING)


class Windows:
    """Windows of a pair of recordings; each pair of places is correlated once.

    A line is searched for in turns, nearer and nearer: most windows lie where they lay before,
    and what was correlated within a larger reach holds what is needed in a smaller one.
    """

    def __init__(self, reference: Representation, candidate: Representation, size: int) -> None:
        self.pair = reference, candidate
        self._size = size
        self._spectrum = Whitened(size)
        self._heights: dict[tuple[int, int], FloatArray | None] = {}
        self._tops: dict[tuple[int, int, int], tuple[float, float]] = {}

    def peak(self, first: int, shift: int, reach: int) -> Peak | None:
        """Find the highest peak of the windows from a sample on, the candidate's shifted.

        Returns
        -------
        lag, prominence, sign : float, or None in silence
            Lag in samples from the shift; height over that of the next.
        """
        height = self._height(first, shift, reach)
        if height is None:
            return None
        peak = int(height[1:-1].argmax()) + 1
        guard = int(_GUARD_S * ANALYSIS_RATE_HZ)
        others = np.concatenate([height[: max(peak - guard, 0)], height[peak + guard :]])
        lag, top = self._top(first, shift, peak - reach)
        rival = others.max() if len(others) else abs(top)
        return lag, abs(top) / (rival + 1e-12), float(np.sign(top))

    def _height(self, first: int, shift: int, reach: int) -> FloatArray | None:
        known = self._heights.get((first, shift), _UNKNOWN)
        if known is None or len(known) > 2 * reach:
            return None if known is None else known[len(known) // 2 - reach :][: 2 * reach + 1]
        cross = self._cross(first, shift)
        height = None
        if cross is not None:
            height = np.abs(self._spectrum.correlation(cross, reach))
            lag = int(height[1:-1].argmax()) + 1 - reach
            self._tops[first, shift, lag] = self._spectrum.between_samples(cross, lag)
        self._heights[first, shift] = height
        return height

    def _top(self, first: int, shift: int, lag: int) -> tuple[float, float]:
        if (first, shift, lag) not in self._tops:
            cross = self._cross(first, shift)
            assert cross is not None  # it has a height
            self._tops[first, shift, lag] = self._spectrum.between_samples(cross, lag)
        return self._tops[first, shift, lag]

    def _cross(self, first: int, shift: int) -> Spectrum | None:
        windows = (
            samples(each, at, self._size)
            for each, at in zip(self.pair, (first, first + shift), strict=True)
        )
        return self._spectrum.cross(*windows)


_UNKNOWN = np.zeros(0)  # placeholder for what was not yet computed


def samples(recording: Representation, first: int, count: int) -> npt.NDArray[np.float32]:
    """So many samples of a recording from a place on; silence where it has none."""
    part = recording.waveform[max(first, 0) : max(first + count, 0)].astype(np.float32)
    before = min(max(-first, 0), count)
    out = np.zeros(count, np.float32)
    out[before : before + len(part)] = part
    return out
