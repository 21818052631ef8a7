"""What one block-wise pass over a recording yields; everything later reads this.

Conventions
-----------
Frame k of a feature with rate r lies at k / r seconds from the start of the span. Powers are
mean squares re full scale (a full-scale sine has 0.5), float32; sums are kept in float64.

===================  =======================  ==========================================
field                shape                    what
===================  =======================  ==========================================
band_power           (frames, 31, 2)          third-octave power of left and right, 25 Hz
band_cross           (frames, 31) complex     third-octave cross power left x conj(right)
semitone_power       (frames, 85)             energy per semitone, both channels, 50 Hz
onset_power          (frames, 60)             the same with a short window, 100 Hz
k_power              (steps, 2)               K-weighted power per channel, 10 ms steps
waveform             (samples,)               mono at 12 kHz, float16 scaled by 1024
tuning_phasor        (seconds,) complex       magnitude-weighted deviation from the grid
===================  =======================  ==========================================
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import soxr
from scipy import fft

from mixcompare.bands import (
    THIRD_OCTAVE_CENTRES_HZ,
    THIRD_OCTAVE_EDGES_HZ,
    band_weights,
    hz_to_pitch,
    semitone_edges_hz,
)
from mixcompare.bs1770 import KWeightedPower, TruePeak
from mixcompare.recording import Recording, check_content

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
Progress = Callable[[float], None]

ANALYSIS_RATE_HZ = 12_000
BAND_RATE_HZ = 25.0
SEMITONE_RATE_HZ = 50.0
ONSET_RATE_HZ = 100.0
LOWEST_SEMITONE, HIGHEST_SEMITONE = 28, 112
LOWEST_ONSET, HIGHEST_ONSET = 45, 104
WAVEFORM_SCALE = 1024.0

_LOW_FFT, _SEMITONE_FFT, _ONSET_FFT = 4096, 2048, 1024
_SPLIT_BAND = 16  # third-octave bands below 800 Hz come from the long window
_SPLIT_SEMITONE = 57  # semitones below 220 Hz come from the long window
_TUNING_RANGE_HZ = (110.0, 2500.0)
_TUNING_LEAD_S = 60.0


@dataclass(frozen=True, eq=False)
class Features:
    """Everything that alignment and the analyzers read; see the module's table.

    Attributes
    ----------
    name, sample_rate_hz, channels, span_s, format
        As in the recording.
    duration_s : float
    grid_tuning_cents : float
        Tuning of the semitone grid against A4 = 440 Hz.
    true_peak, sample_peak : float
        Linear, 1.0 = full scale.
    clipped_places : int
        Runs of three or more samples at full scale.
    mean_spectrum : ndarray, shape (bins,)
        Mean power per bin of the short spectrum, both channels, up to half the sample rate.
    usable_band_hz : tuple of float
        Lowest and highest frequency at which the file carries music.
    warnings : tuple of str
    """

    name: str
    sample_rate_hz: int
    channels: int
    span_s: tuple[float, float]
    format: str
    duration_s: float
    grid_tuning_cents: float
    band_power: Float32Array
    band_cross: npt.NDArray[np.complex64]
    semitone_power: Float32Array
    onset_power: Float32Array
    k_power: FloatArray
    waveform: npt.NDArray[np.float16]
    tuning_phasor: npt.NDArray[np.complex128]
    mean_spectrum: FloatArray
    true_peak: float
    sample_peak: float
    clipped_places: int
    usable_band_hz: tuple[float, float]
    warnings: tuple[str, ...] = ()

    @classmethod
    def of(cls, recording: Recording, progress: Progress | None = None) -> Features:
        """Analyse a recording in one pass.

        Parameters
        ----------
        recording : Recording
        progress : callable, optional
            Called with the share done, 0 to 1.

        Raises
        ------
        AudioFileError
            If the audio breaks off, is silent or holds values that are not numbers.
        """
        return _Pass(recording).run(progress)

    @property
    def is_mono(self) -> bool:
        """Whether both channels carry the same signal."""
        if self.channels == 1:
            return True
        total = float(self.band_power.sum(dtype=np.float64))
        side = total - 2 * float(self.band_cross.real.sum(dtype=np.float64))
        return side < 1e-7 * total

    @property
    def usable_bands(self) -> npt.NDArray[np.bool_]:
        """Which third-octave bands lie inside the usable band, shape (31,)."""
        low, high = self.usable_band_hz
        inside: npt.NDArray[np.bool_] = (THIRD_OCTAVE_EDGES_HZ[:-1] >= low * 0.99) & (
            THIRD_OCTAVE_EDGES_HZ[1:] <= high * 1.01
        )
        return inside

    def save(self, path: str | Path) -> None:
        """Write to ``path`` (.npz), to be read again with :meth:`load`."""
        values = {entry.name: getattr(self, entry.name) for entry in fields(self)}
        np.savez_compressed(path, **values)

    @classmethod
    def load(cls, path: str | Path) -> Features:
        """Read what :meth:`save` wrote."""
        with np.load(path, allow_pickle=False) as stored:
            values = {entry.name: stored[entry.name] for entry in fields(cls)}
        for key in ("name", "format"):
            values[key] = str(values[key])
        for key in ("sample_rate_hz", "channels", "clipped_places"):
            values[key] = int(values[key])
        for key in ("duration_s", "grid_tuning_cents", "true_peak", "sample_peak"):
            values[key] = float(values[key])
        for key in ("span_s", "usable_band_hz"):
            values[key] = tuple(float(number) for number in values[key])
        values["warnings"] = tuple(str(text) for text in values["warnings"])
        return cls(**values)


class _FrameStream:
    """Cut a stream of stereo samples into windowed frames centred on k * hop."""

    def __init__(self, rate_hz: float, size: int, hop_s: float) -> None:
        self._rate, self._size, self._hop_s = rate_hz, size, hop_s
        self._window = np.hanning(size + 1)[:-1].astype(np.float32)
        self.scale = 2.0 / (size * float(np.square(self._window, dtype=np.float64).sum()))
        self._buffer = np.zeros((size // 2, 2), np.float32)
        self._start = -(size // 2)
        self._next = 0

    def push(self, samples: Float32Array, limit: int | None = None) -> npt.NDArray[np.complex64]:
        """Spectra of the frames that are complete now, shape (frames, 2, bins).

        ``limit`` is the total number of frames at the end of the stream; the missing samples
        are then taken as silence.
        """
        self._buffer = np.concatenate([self._buffer, samples])
        if limit is not None:
            self._buffer = np.concatenate([self._buffer, np.zeros((self._size, 2), np.float32)])
        end = self._start + len(self._buffer)
        last = int((end - self._size + self._size // 2) / (self._hop_s * self._rate)) + 1
        if limit is not None:
            last = min(last, limit)
        centres = np.round(np.arange(self._next, last) * self._hop_s * self._rate).astype(np.int64)
        begins = centres - self._size // 2 - self._start
        begins = begins[begins + self._size <= len(self._buffer)]
        if len(begins) == 0:
            return np.zeros((0, 2, self._size // 2 + 1), np.complex64)
        view = np.lib.stride_tricks.sliding_window_view(self._buffer, self._size, axis=0)
        spectra = fft.rfft(view[begins] * self._window, axis=-1)
        self._next += len(begins)
        done = round(self._next * self._hop_s * self._rate) - self._size // 2 - self._start
        self._buffer = self._buffer[max(done, 0) :]
        self._start += max(done, 0)
        return np.asarray(spectra, np.complex64)


def _power(spectra: npt.NDArray[np.complex64]) -> Float32Array:
    return np.asarray(np.square(spectra.real) + np.square(spectra.imag), np.float32)


class _Pass:
    """The one pass: feeds every block to all accumulators."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording
        rate = recording.sample_rate_hz
        self._resampler = soxr.ResampleStream(rate, ANALYSIS_RATE_HZ, 2, dtype="float32")
        high_fft = 2 ** round(np.log2(0.0427 * rate))
        self._high = _FrameStream(rate, high_fft, 0.5 / BAND_RATE_HZ)
        self._low = _FrameStream(ANALYSIS_RATE_HZ, _LOW_FFT, 1 / BAND_RATE_HZ)
        self._semitone = _FrameStream(ANALYSIS_RATE_HZ, _SEMITONE_FFT, 1 / SEMITONE_RATE_HZ)
        self._onset = _FrameStream(ANALYSIS_RATE_HZ, _ONSET_FFT, 1 / ONSET_RATE_HZ)
        edges = THIRD_OCTAVE_EDGES_HZ
        self._low_weights = band_weights(
            edges[: _SPLIT_BAND + 1], ANALYSIS_RATE_HZ / _LOW_FFT, _LOW_FFT // 2 + 1
        )
        self._high_weights = band_weights(edges[_SPLIT_BAND:], rate / high_fft, high_fft // 2 + 1)
        self._spectrum = np.zeros(high_fft // 2 + 1)
        self._high_count = 0
        self._loudness = KWeightedPower(rate)
        self._peak = TruePeak(rate)
        self._clipped = 0
        self._lead: list[Float32Array] | None = []
        self._grid_cents = 0.0
        self._parts: dict[str, list[npt.NDArray[np.generic]]] = {}
        self._odd_high: Float32Array | None = None
        self._phasors: list[npt.NDArray[np.complex128]] = []

    def run(self, progress: Progress | None) -> Features:
        recording = self._recording
        seen = 0
        for block in recording.blocks():
            finite = bool(np.isfinite(block).all())
            if not finite:
                check_content(recording.name, False, 0.0)
            self._native(block)
            self._resampled(self._resampler.resample_chunk(np.ascontiguousarray(block)))
            seen += len(block)
            if progress is not None:
                progress(seen / recording.frames)
        check_content(recording.name, True, self._peak.sample_peak)
        self._resampled(self._resampler.resample_chunk(np.zeros((0, 2), np.float32), last=True))
        return self._finish()

    def _add(self, key: str, values: npt.NDArray[np.generic]) -> None:
        self._parts.setdefault(key, []).append(values)

    def _joined(self, key: str) -> npt.NDArray[np.generic]:
        joined = np.concatenate(self._parts.pop(key))
        return joined

    def _native(self, block: Float32Array) -> None:
        """K weighting, true peak, clipping and the upper third-octave bands."""
        channels = self._recording.channels
        self._loudness.push(block)
        self._peak.push(block)
        full = np.abs(block).max(axis=1) >= 0.9999
        if channels <= 2 and full.any():
            run = full[2:] & full[1:-1] & full[:-2]
            self._clipped += int(run[:1].sum() + (run[1:] & ~run[:-1]).sum())
        self._upper(self._high.push(block))

    def _upper(self, spectra: npt.NDArray[np.complex64]) -> None:
        if len(spectra) == 0:
            return
        power = _power(spectra)
        self._spectrum += power.sum(axis=(0, 1), dtype=np.float64)
        self._high_count += len(power)
        cross = spectra[:, 0] * spectra[:, 1].conj()
        scale = np.float32(self._high.scale)
        self._add("high_power", (power @ self._high_weights) * scale)
        self._add("high_cross", (cross @ self._high_weights) * scale)

    def _resampled(self, samples: Float32Array) -> None:
        """Everything on the 12 kHz clock; held back until the tuning of the start is known."""
        self._add("waveform", (self._mono(samples) * WAVEFORM_SCALE).astype(np.float16))
        if self._lead is None:
            self._lower(samples, None)
            return
        self._lead.append(samples)
        if sum(map(len, self._lead)) > _TUNING_LEAD_S * ANALYSIS_RATE_HZ:
            self._release_lead()

    def _release_lead(self) -> None:
        if self._lead is None:
            return
        lead, self._lead = self._lead, None
        stream = _FrameStream(ANALYSIS_RATE_HZ, _LOW_FFT, 4 / BAND_RATE_HZ)
        phasor = sum(
            complex(_deviation_phasors(_power(stream.push(samples)).sum(axis=1)).sum())
            for samples in lead
        )
        self._grid_cents = float(np.angle(phasor) / (2 * np.pi) * 100)
        self._set_grid()
        for samples in lead:
            self._lower(samples, None)

    def _set_grid(self) -> None:
        self._semitone_low = band_weights(
            semitone_edges_hz(LOWEST_SEMITONE, _SPLIT_SEMITONE - 1, self._grid_cents),
            ANALYSIS_RATE_HZ / _LOW_FFT,
            _LOW_FFT // 2 + 1,
        )
        self._semitone_high = band_weights(
            semitone_edges_hz(_SPLIT_SEMITONE, HIGHEST_SEMITONE, self._grid_cents),
            ANALYSIS_RATE_HZ / _SEMITONE_FFT,
            _SEMITONE_FFT // 2 + 1,
        )
        self._onset_weights = band_weights(
            semitone_edges_hz(LOWEST_ONSET, HIGHEST_ONSET, self._grid_cents),
            ANALYSIS_RATE_HZ / _ONSET_FFT,
            _ONSET_FFT // 2 + 1,
        )

    @staticmethod
    def _mono(samples: Float32Array) -> Float32Array:
        return np.asarray(samples.mean(axis=1), np.float32)

    def _lower(self, samples: Float32Array, limits: tuple[int, int, int] | None) -> None:
        low_limit, semitone_limit, onset_limit = limits or (None, None, None)
        spectra = self._low.push(samples, low_limit)
        if len(spectra):
            power = _power(spectra)
            cross = spectra[:, 0] * spectra[:, 1].conj()
            scale = np.float32(self._low.scale)
            self._add("low_power", (power @ self._low_weights) * scale)
            self._add("low_cross", (cross @ self._low_weights) * scale)
            both = power.sum(axis=1)
            self._add("semitone_low", (both @ self._semitone_low) * scale)
            self._phasors.append(_deviation_phasors(both))
        spectra = self._semitone.push(samples, semitone_limit)
        if len(spectra):
            both = _power(spectra).sum(axis=1) * np.float32(self._semitone.scale)
            self._add("semitone_high", both @ self._semitone_high)
        spectra = self._onset.push(samples, onset_limit)
        if len(spectra):
            both = _power(spectra).sum(axis=1) * np.float32(self._onset.scale)
            self._add("onset", both @ self._onset_weights)

    def _finish(self) -> Features:
        recording = self._recording
        self._peak.push(np.zeros((0, 2), np.float32), last=True)
        if self._lead is not None:
            self._release_lead()
        band_frames = int(recording.duration_s * BAND_RATE_HZ) + 1
        semitone_frames = 2 * band_frames - 1
        onset_frames = 4 * band_frames - 3
        self._upper(self._high.push(np.zeros((0, 2), np.float32), 2 * band_frames))
        self._lower(np.zeros((0, 2), np.float32), (band_frames, semitone_frames, onset_frames))
        band_power = np.concatenate(
            [self._pairs("low_power", 1, band_frames), self._pairs("high_power", 2, band_frames)], 2
        ).swapaxes(1, 2)
        band_cross = np.concatenate(
            [self._pairs("low_cross", 1, band_frames), self._pairs("high_cross", 2, band_frames)], 1
        )
        spectrum = self._spectrum * self._high.scale / max(self._high_count, 1)
        usable = usable_band_hz(spectrum, recording.sample_rate_hz, band_power)
        return Features(
            name=recording.name,
            sample_rate_hz=recording.sample_rate_hz,
            channels=recording.channels,
            span_s=recording.span_s,
            format=recording.format,
            duration_s=recording.duration_s,
            grid_tuning_cents=self._grid_cents,
            band_power=np.ascontiguousarray(band_power, np.float32),
            band_cross=np.ascontiguousarray(band_cross, np.complex64),
            semitone_power=self._semitones(semitone_frames),
            onset_power=np.asarray(self._joined("onset"), np.float32),
            k_power=self._loudness.result()[:, : min(recording.channels, 2)],
            waveform=np.asarray(self._joined("waveform"), np.float16),
            tuning_phasor=_per_second(np.concatenate(self._phasors)),
            mean_spectrum=spectrum,
            true_peak=self._peak.peak,
            sample_peak=self._peak.sample_peak,
            clipped_places=self._clipped,
            usable_band_hz=usable,
            warnings=recording.warnings + _content_warnings(recording, self._clipped, usable),
        )

    def _pairs(self, key: str, per_frame: int, frames: int) -> npt.NDArray[Any]:
        """Average ``per_frame`` fine frames into each frame of the band grid."""
        values: npt.NDArray[Any] = self._joined(key)
        if per_frame == 1:
            return values[:frames]
        even = values[: 2 * frames : 2]
        odd = values[1 : 2 * frames : 2]
        if len(odd) < len(even):
            odd = np.concatenate([odd, even[-1:]])
        before = np.concatenate([odd[:1], odd[:-1]])
        averaged: npt.NDArray[Any] = 0.5 * even + 0.25 * (odd + before)
        return averaged

    def _semitones(self, frames: int) -> Float32Array:
        low = np.asarray(self._joined("semitone_low"), np.float32)
        high = np.asarray(self._joined("semitone_high"), np.float32)
        dense = np.empty((frames, low.shape[1]), np.float32)
        dense[::2] = low[: (frames + 1) // 2]
        dense[1::2] = 0.5 * (dense[:-1:2] + dense[2::2])
        return np.concatenate([dense, high[:frames]], axis=1)


def _deviation_phasors(power: Float32Array) -> npt.NDArray[np.complex128]:
    """Sum of exp(2 pi i d) over spectral peaks, d their distance from A4 = 440 Hz semitones.

    Peaks are placed by a parabola through the log spectrum; shape (frames,).
    """
    bin_hz = ANALYSIS_RATE_HZ / _LOW_FFT
    first, last = (int(edge / bin_hz) for edge in _TUNING_RANGE_HZ)
    log_power = np.log(power[:, first - 1 : last + 1] + 1e-20)
    left, middle, right = log_power[:, :-2], log_power[:, 1:-1], log_power[:, 2:]
    peak = (middle > left) & (middle >= right)
    peak &= middle > middle.max(axis=1, keepdims=True) - 5.0
    shift = 0.5 * (left - right) / np.minimum(left - 2 * middle + right, -1e-9)
    shift = np.where(peak, shift, 0.0)
    deviation = hz_to_pitch((np.arange(first, last) + shift) * bin_hz)
    weight = np.where(peak, np.sqrt(power[:, first:last]), 0)
    return np.asarray((weight * np.exp(2j * np.pi * deviation)).sum(axis=1), np.complex128)


def _per_second(phasors: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex128]:
    per = int(BAND_RATE_HZ)
    padded = np.concatenate([phasors, np.zeros(-len(phasors) % per)])
    return np.asarray(padded.reshape(-1, per).sum(axis=1), np.complex128)


def usable_band_hz(
    spectrum: FloatArray, sample_rate_hz: int, band_power: Float32Array
) -> tuple[float, float]:
    """Lowest and highest frequency at which a file carries music.

    A codec's low-pass or a lower original sample rate shows as a cliff: within a sixth of an
    octave the mean spectrum falls by more than 20 dB and never comes back. Old recordings and
    noisy ones end where a band no longer moves: its loudest and softest moments differ by less
    than 4 dB although the whole does, or it lies more than 90 dB under the whole.

    Parameters
    ----------
    spectrum : ndarray, shape (bins,)
        Mean power per bin up to half the sample rate.
    sample_rate_hz : int
    band_power : ndarray, shape (frames, 31, 2)

    Returns
    -------
    tuple of float
    """
    nyquist = sample_rate_hz / 2
    bins = len(spectrum)
    level = 10 * np.log10(np.maximum(spectrum, 1e-20))
    centre = np.arange(bins) * nyquist / (bins - 1)
    top = 0.97 * nyquist
    # Highest level from each bin up; a cliff falls 20 dB below what lies just under it for good.
    highest_above = np.maximum.accumulate(level[::-1])[::-1]
    for index in np.flatnonzero(centre >= 2000):
        below = int(index * 2 ** (-1 / 6))
        beyond = min(int(index) + max((int(index) - below) // 2, 2), bins - 1)
        inside = float(np.median(level[below : index + 1]))
        if inside > -130 and inside - highest_above[beyond] > 20:
            top = min(top, float(centre[index]))
            break
    whole = band_power.sum(axis=(1, 2), dtype=np.float64)
    power = band_power.sum(axis=2, dtype=np.float64)
    loud = np.percentile(power, 95, axis=0)
    soft = np.percentile(power, 5, axis=0)
    moves = loud > 10**0.4 * soft
    if np.percentile(whole, 95) < 10**0.6 * max(np.percentile(whole, 5), 1e-20):
        moves[:] = True
    carried = (loud > 1e-9 * np.percentile(whole, 95)) & (loud > 1e-13) & moves
    good = np.flatnonzero(carried)
    if len(good) == 0:
        return 0.0, top
    edges = THIRD_OCTAVE_EDGES_HZ
    low = 0.0 if good[0] == 0 else float(edges[good[0]])
    return low, min(top, float(edges[good[-1] + 1]))


def _content_warnings(
    recording: Recording, clipped: int, usable: tuple[float, float]
) -> tuple[str, ...]:
    warnings = []
    if clipped:
        places = "place" if clipped == 1 else "places"
        warnings.append(f"{recording.name} is clipped in {clipped} {places}.")
    if usable[1] < min(0.9 * recording.sample_rate_hz / 2, 15_000):
        warnings.append(
            f"{recording.name} carries nothing usable above {usable[1] / 1000:.1f} kHz;"
            " bands above are left out."
        )
    if usable[0] > 60:
        warnings.append(
            f"{recording.name} carries nothing usable below {usable[0]:.0f} Hz;"
            " bands below are left out."
        )
    if recording.duration_s < 8:
        warnings.append(
            f"{recording.name} is only {recording.duration_s:.1f} s long: estimates are rough."
        )
    return tuple(warnings)


def common_bands(reference: Features, candidate: Features) -> npt.NDArray[np.bool_]:
    """Third-octave bands that both recordings carry, shape (31,)."""
    both: npt.NDArray[np.bool_] = reference.usable_bands & candidate.usable_bands
    return both


def band_centres_hz() -> FloatArray:
    """Exact mid-band frequencies of the third-octave features, shape (31,)."""
    return THIRD_OCTAVE_CENTRES_HZ.copy()
