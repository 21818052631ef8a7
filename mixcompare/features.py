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
k_power              (steps, channels)        K-weighted power per channel, 10 ms steps
waveform             (samples,)               mono at 12 kHz, float16 scaled by 1024
tuning_phasor        (seconds,) complex       magnitude-weighted deviation from the grid
===================  =======================  ==========================================
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any, Self

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
from mixcompare.recording import Recording, check_content, to_stereo

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
LOWER_BANDS = 16
"""Third-octave bands below 800 Hz: they come from the long window."""

_SPLIT_SEMITONE = 57  # semitones below 220 Hz come from the long window
_TUNING_RANGE_HZ = (110.0, 2500.0)
_TUNING_LEAD_S = 60.0
_SPARE_FRAMES = 64
_BATCH_FRAMES = 64  # spectra at a time: they stay in the cache


@dataclass(frozen=True, eq=False, kw_only=True)
class AlignmentFeatures:
    """What alignment alone needs; a light pass yields it.

    Attributes
    ----------
    name, sample_rate_hz, channels, span_s, format
        As in the recording.
    duration_s : float
    grid_tuning_cents : float
        Tuning of the semitone grid against A4 = 440 Hz.
    is_mono : bool
        Whether both channels carry the same signal.
    band_power, semitone_power, onset_power, waveform : ndarray
        See the module's table; here ``band_power`` has the lower 16 bands only.
    warnings : tuple of str
    """

    name: str
    sample_rate_hz: int
    channels: int
    span_s: tuple[float, float]
    format: str
    duration_s: float
    grid_tuning_cents: float
    is_mono: bool
    band_power: Float32Array
    semitone_power: Float32Array
    onset_power: Float32Array
    waveform: npt.NDArray[np.float16]
    warnings: tuple[str, ...] = ()

    @classmethod
    def of(cls, recording: Recording, progress: Progress | None = None) -> Self:
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
        return cls(**cls._pass(recording).run(progress))

    @staticmethod
    def _pass(recording: Recording) -> _LightPass:
        return _LightPass(recording)


@dataclass(frozen=True, eq=False, kw_only=True)
class Features(AlignmentFeatures):
    """Everything that alignment and the analyzers read; see the module's table.

    Attributes
    ----------
    true_peak, sample_peak : float
        Linear, 1.0 = full scale.
    clipped_places : int
        Runs of three or more samples at full scale.
    mean_spectrum : ndarray, shape (bins,)
        Mean power per bin of the short spectrum, both channels, up to half the sample rate.
    usable_band_hz : tuple of float
        Lowest and highest frequency at which the file carries music.
    """

    band_cross: npt.NDArray[np.complex64]
    k_power: FloatArray
    tuning_phasor: npt.NDArray[np.complex128]
    mean_spectrum: FloatArray
    true_peak: float
    sample_peak: float
    clipped_places: int
    usable_band_hz: tuple[float, float]

    @staticmethod
    def _pass(recording: Recording) -> _LightPass:
        return _FullPass(recording)

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
        values["is_mono"] = bool(values["is_mono"])
        for key in ("duration_s", "grid_tuning_cents", "true_peak", "sample_peak"):
            values[key] = float(values[key])
        for key in ("span_s", "usable_band_hz"):
            values[key] = tuple(float(number) for number in values[key])
        values["warnings"] = tuple(str(text) for text in values["warnings"])
        return cls(**values)


class _FrameStream:
    """Cut a stream of stereo samples into windowed frames centred on k * hop."""

    def __init__(self, rate_hz: float, size: int, hop_s: float) -> None:
        self._size, self._hop = size, round(hop_s * rate_hz, 9)
        self._window = np.hanning(size + 1)[:-1].astype(np.float32)
        self.scale = 2.0 / (size * float(np.square(self._window, dtype=np.float64).sum()))
        self._buffer = np.zeros((2, size // 2), np.float32)
        self._start = -(size // 2)
        self._next = 0

    def push(
        self, samples: Float32Array, limit: int | None = None
    ) -> Iterator[npt.NDArray[np.complex64]]:
        """Spectra of the frames that are complete now, in batches of shape (2, frames, bins).

        ``limit`` is the total number of frames at the end of the stream; the missing samples
        are then taken as silence.
        """
        parts = [self._buffer, samples.T]
        if limit is not None:
            parts.append(np.zeros((2, self._size), np.float32))
        self._buffer = np.concatenate(parts, axis=1)
        end = self._start + self._buffer.shape[1]
        last = int((end - self._size + self._size // 2) / self._hop) + 1
        if limit is not None:
            last = min(last, limit)
        begins = self._begin(np.arange(self._next, last))
        begins = begins[begins + self._size <= self._buffer.shape[1]]
        if len(begins) == 0:
            return
        view = np.lib.stride_tricks.sliding_window_view(self._buffer, self._size, axis=1)
        for first in range(0, len(begins), _BATCH_FRAMES):
            batch = begins[first : first + _BATCH_FRAMES]
            if self._hop.is_integer():  # evenly spaced frames need no copy
                frames = view[:, batch[0] : batch[-1] + 1 : int(self._hop)]
            else:
                frames = view[:, batch]
            spectra = fft.rfft(frames * self._window, axis=-1, overwrite_x=True)
            yield np.asarray(spectra, np.complex64)
        self._next += len(begins)
        done = max(int(self._begin(np.array([self._next]))[0]), 0)
        self._buffer = self._buffer[:, done:]
        self._start += done

    def _begin(self, frames: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
        """Where in the buffer a frame begins."""
        centres = np.round(frames * self._hop).astype(np.int64)
        return np.asarray(centres - self._size // 2 - self._start, np.int64)


def _power(spectra: npt.NDArray[np.complex64]) -> Float32Array:
    parts = np.square(spectra.view(np.float32))
    return np.asarray(parts[..., ::2] + parts[..., 1::2], np.float32)


def _energy(spectra: npt.NDArray[np.complex64]) -> Float32Array:
    """Power of both channels together; the spectra are used up."""
    parts = spectra.view(np.float32)
    np.square(parts, out=parts)
    both = parts[0]
    both += parts[1]
    return np.asarray(both[:, ::2] + both[:, 1::2], np.float32)


class _Rows:
    """Rows that are filled one batch after the other, in place: nothing is held twice."""

    def __init__(self, store: npt.NDArray[Any]) -> None:
        self._store = store
        self._count = 0

    def add(self, values: npt.NDArray[Any]) -> None:
        room = len(self._store) - self._count
        self._store[self._count : self._count + len(values)] = values[:room]
        self._count += min(len(values), room)

    @property
    def filled(self) -> npt.NDArray[Any]:
        return self._store[: self._count]


class _LightPass:
    """What needs only the 12 kHz clock: enough to align."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording
        rate = recording.sample_rate_hz
        self._resampler = soxr.ResampleStream(rate, ANALYSIS_RATE_HZ, 2, dtype="float32")
        self._low = _FrameStream(ANALYSIS_RATE_HZ, _LOW_FFT, 1 / BAND_RATE_HZ)
        self._semitone = _FrameStream(ANALYSIS_RATE_HZ, _SEMITONE_FFT, 1 / SEMITONE_RATE_HZ)
        self._onset = _FrameStream(ANALYSIS_RATE_HZ, _ONSET_FFT, 1 / ONSET_RATE_HZ)
        self._low_weights = band_weights(
            THIRD_OCTAVE_EDGES_HZ[: LOWER_BANDS + 1],
            ANALYSIS_RATE_HZ / _LOW_FFT,
            _LOW_FFT // 2 + 1,
        )
        self._lead: list[Float32Array] | None = []
        self._grid_cents = 0.0
        self._rows: dict[str, _Rows] = {}
        self._sample_peak = 0.0
        self._side = self._whole = 0.0

    def run(self, progress: Progress | None) -> dict[str, Any]:
        """Read the recording block by block; what is found, by field name."""
        recording = self._recording
        seen = 0
        for raw in recording.raw_blocks():
            block = to_stereo(raw)
            if not np.isfinite(block).all():
                check_content(recording.name, False, 0.0)
            self._sample_peak = max(self._sample_peak, float(np.abs(block).max()))
            self._native(raw, block)
            self._resampled(self._resampler.resample_chunk(np.ascontiguousarray(block)))
            seen += len(block)
            if progress is not None:
                progress(seen / recording.frames)
        check_content(recording.name, True, self._sample_peak)
        self._resampled(self._resampler.resample_chunk(np.zeros((0, 2), np.float32), last=True))
        return self._finish()

    def _native(self, raw: Float32Array, block: Float32Array) -> None:
        """Nothing at the file's own rate."""

    def _low_spectra(self, spectra: npt.NDArray[np.complex64], power: Float32Array) -> None:
        """Nothing more from the long window."""

    def _add(self, key: str, values: npt.NDArray[Any], rate_hz: float = BAND_RATE_HZ) -> None:
        if key not in self._rows:
            frames = int(self._recording.duration_s * rate_hz) + _SPARE_FRAMES
            self._rows[key] = _Rows(np.empty((frames, *values.shape[1:]), values.dtype))
        self._rows[key].add(values)

    def _joined(self, key: str) -> npt.NDArray[Any]:
        return self._rows.pop(key).filled

    def _resampled(self, samples: Float32Array) -> None:
        """Everything on the 12 kHz clock; held back until the tuning of the start is known."""
        left, right = samples[:, 0], samples[:, 1]
        self._side += float(np.square(left - right).sum(dtype=np.float64))
        self._whole += float(np.square(samples).sum(dtype=np.float64))
        mono = (0.5 * WAVEFORM_SCALE * (left + right)).astype(np.float16)
        self._add("waveform", mono, ANALYSIS_RATE_HZ)
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
            complex(_deviation_phasors(_power(spectra).sum(axis=0)).sum())
            for samples in lead
            for spectra in stream.push(samples)
        )
        self._grid_cents = float(np.angle(phasor) / (2 * np.pi) * 100)
        self._set_grid()
        for samples in lead:
            self._lower(samples, None)

    def _set_grid(self) -> None:
        self._semitone_low = self._semitone_weights(LOWEST_SEMITONE, _SPLIT_SEMITONE - 1, _LOW_FFT)
        self._semitone_high = self._semitone_weights(
            LOWEST_SEMITONE, HIGHEST_SEMITONE, _SEMITONE_FFT
        )  # its lower columns give way to the long window's in the end
        self._onset_weights = self._semitone_weights(LOWEST_ONSET, HIGHEST_ONSET, _ONSET_FFT)

    def _semitone_weights(self, lowest: int, highest: int, size: int) -> Float32Array:
        edges_hz = semitone_edges_hz(lowest, highest, self._grid_cents)
        return band_weights(edges_hz, ANALYSIS_RATE_HZ / size, size // 2 + 1)

    def _lower(self, samples: Float32Array, limits: tuple[int, int, int] | None) -> None:
        low_limit, semitone_limit, onset_limit = limits or (None, None, None)
        scale = np.float32(self._low.scale)
        for spectra in self._low.push(samples, low_limit):
            power = _power(spectra)
            self._add("low_power", ((power @ self._low_weights) * scale).swapaxes(0, 1))
            both = power.sum(axis=0)
            self._add("semitone_low", (both @ self._semitone_low) * scale)
            self._low_spectra(spectra, both)
        for spectra in self._semitone.push(samples, semitone_limit):
            energy = _energy(spectra) @ self._semitone_high
            self._add("semitone", energy * np.float32(self._semitone.scale), SEMITONE_RATE_HZ)
        for spectra in self._onset.push(samples, onset_limit):
            energy = _energy(spectra) @ self._onset_weights
            self._add("onset", energy * np.float32(self._onset.scale), ONSET_RATE_HZ)

    def _finish(self) -> dict[str, Any]:
        recording = self._recording
        if self._lead is not None:
            self._release_lead()
        band_frames = self._band_frames
        semitone_frames = 2 * band_frames - 1
        onset_frames = 4 * band_frames - 3
        self._lower(np.zeros((0, 2), np.float32), (band_frames, semitone_frames, onset_frames))
        return {
            "name": recording.name,
            "sample_rate_hz": recording.sample_rate_hz,
            "channels": recording.channels,
            "span_s": recording.span_s,
            "format": recording.format,
            "duration_s": recording.duration_s,
            "grid_tuning_cents": self._grid_cents,
            "is_mono": recording.channels == 1 or self._side < 1e-7 * self._whole,
            "band_power": self._band_power(),
            "semitone_power": self._semitones(semitone_frames),
            "onset_power": self._joined("onset"),
            "waveform": self._joined("waveform"),
            "warnings": recording.warnings,
        }

    @property
    def _band_frames(self) -> int:
        return int(self._recording.duration_s * BAND_RATE_HZ) + 1

    def _band_power(self) -> Float32Array:
        low = self._joined("low_power")[: self._band_frames]
        return np.ascontiguousarray(low.swapaxes(1, 2), np.float32)

    def _semitones(self, frames: int) -> Float32Array:
        out: Float32Array = self._joined("semitone")[:frames]
        low = out[:, : _SPLIT_SEMITONE - LOWEST_SEMITONE]
        low[::2] = self._joined("semitone_low")[: (frames + 1) // 2]
        low[1::2] = 0.5 * (low[:-1:2] + low[2::2])
        return out


class _FullPass(_LightPass):
    """The one pass for everything: also what needs the file's own rate and both channels."""

    def __init__(self, recording: Recording) -> None:
        super().__init__(recording)
        rate = recording.sample_rate_hz
        high_fft = 2 ** round(np.log2(0.0427 * rate))
        self._high = _FrameStream(rate, high_fft, 0.5 / BAND_RATE_HZ)
        self._high_weights = band_weights(
            THIRD_OCTAVE_EDGES_HZ[LOWER_BANDS:], rate / high_fft, high_fft // 2 + 1
        )
        self._spectrum = np.zeros(high_fft // 2 + 1)
        self._high_count = 0
        self._loudness = KWeightedPower(rate, recording.channels)
        self._peak = TruePeak(rate, recording.channels)
        self._clipped = 0

    def _native(self, raw: Float32Array, block: Float32Array) -> None:
        """K weighting, true peak and clipping of every channel; upper third-octave bands."""
        self._loudness.push(raw)
        self._peak.push(raw)
        full = np.abs(raw).max(axis=1) >= 0.9999
        if full.any():
            run = full[2:] & full[1:-1] & full[:-2]
            self._clipped += int(run[:1].sum() + (run[1:] & ~run[:-1]).sum())
        self._upper(block, None)

    def _upper(self, block: Float32Array, limit: int | None) -> None:
        scale = np.float32(self._high.scale)
        for spectra in self._high.push(block, limit):
            power = _power(spectra)
            self._spectrum += power.sum(axis=(0, 1), dtype=np.float64)
            self._high_count += power.shape[1]
            bands = (power @ self._high_weights) * scale
            self._add("high_power", bands.swapaxes(0, 1), 2 * BAND_RATE_HZ)
            cross = spectra[0] * spectra[1].conj()
            self._add("high_cross", (cross @ self._high_weights) * scale, 2 * BAND_RATE_HZ)

    def _low_spectra(self, spectra: npt.NDArray[np.complex64], power: Float32Array) -> None:
        cross = spectra[0] * spectra[1].conj()
        self._add("low_cross", (cross @ self._low_weights) * np.float32(self._low.scale))
        self._add("phasor", _deviation_phasors(power))

    def _finish(self) -> dict[str, Any]:
        recording = self._recording
        frames = self._band_frames
        self._peak.push(np.zeros((0, recording.channels), np.float32), last=True)
        self._upper(np.zeros((0, 2), np.float32), 2 * frames)
        found = super()._finish()
        cross = [self._joined("low_cross")[:frames], self._halved("high_cross", frames)]
        spectrum = self._spectrum * self._high.scale / max(self._high_count, 1)
        usable = usable_band_hz(spectrum, recording.sample_rate_hz, found["band_power"])
        return found | {
            "band_cross": np.concatenate(cross, axis=1).astype(np.complex64),
            "k_power": self._loudness.result(),
            "tuning_phasor": _per_second(self._joined("phasor")),
            "mean_spectrum": spectrum,
            "true_peak": self._peak.peak,
            "sample_peak": self._peak.sample_peak,
            "clipped_places": self._clipped,
            "usable_band_hz": usable,
            "warnings": recording.warnings + _content_warnings(recording, self._clipped, usable),
        }

    def _band_power(self) -> Float32Array:
        parts = [
            self._joined("low_power")[: self._band_frames],
            self._halved("high_power", self._band_frames),
        ]
        return np.ascontiguousarray(np.concatenate(parts, axis=2).swapaxes(1, 2), np.float32)

    def _halved(self, key: str, frames: int) -> npt.NDArray[Any]:
        """Average frames at twice the band rate into each frame of the band grid."""
        values = self._joined(key)
        even = values[: 2 * frames : 2]
        odd = values[1 : 2 * frames : 2]
        if len(odd) < len(even):
            odd = np.concatenate([odd, even[-1:]])
        before = np.concatenate([odd[:1], odd[:-1]])
        averaged: npt.NDArray[Any] = 0.5 * even + 0.25 * (odd + before)
        return averaged


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
    row, column = np.nonzero(peak)
    before, at, after = left[peak], middle[peak], right[peak]
    shift = 0.5 * (before - after) / np.minimum(before - 2 * at + after, -1e-9)
    deviation = hz_to_pitch((first + column + shift) * bin_hz)
    weighted = np.sqrt(power[row, first + column]) * np.exp(2j * np.pi * deviation)
    frames = len(power)
    return np.asarray(
        np.bincount(row, weighted.real, frames) + 1j * np.bincount(row, weighted.imag, frames),
        np.complex128,
    )


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
