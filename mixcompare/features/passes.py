"""One block-wise pass over a recording: a light one for alignment, a full one for all aspects."""

from __future__ import annotations

from functools import reduce
from typing import Any

import numpy as np
import numpy.typing as npt
import soxr

from mixcompare.audio.checks import check_content, check_scale
from mixcompare.audio.recording import Recording
from mixcompare.audio.stereo import to_stereo
from mixcompare.features.clipping import Tops
from mixcompare.features.frames import (
    SPARE_FRAMES,
    Bands,
    FrameStream,
    Rows,
    cross_of,
    energy_of,
    power_of,
)
from mixcompare.features.grid import (
    ANALYSIS_RATE_HZ,
    BAND_RATE_HZ,
    HIGHEST_ONSET,
    HIGHEST_SEMITONE,
    LONG_WINDOW_BELOW,
    LOW_FFT,
    LOWER_BANDS,
    LOWEST_ONSET,
    LOWEST_SEMITONE,
    ONSET_FFT,
    ONSET_RATE_HZ,
    SEMITONE_FFT,
    SEMITONE_RATE_HZ,
    WAVEFORM_SCALE,
    Progress,
)
from mixcompare.features.tuning import TUNING_BINS, deviation_phasors, per_second
from mixcompare.features.usable import content_warnings, usable_band_hz
from mixcompare.standards.bs1770 import KWeightedPower, TruePeak
from mixcompare.standards.iec61260 import THIRD_OCTAVE_EDGES_HZ, band_weights, semitone_edges_hz

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
_FIRST_ROOM_S = 1200.0  # cost: twenty minutes; longer recordings get more as they are read
_TUNING_LEAD_S = 60.0  # cost: music held back until the tuning is known
_IMAGE = ("right_less_left", "twice_cross", "twice_cross_imaginary")


class LightPass:
    """What needs only the 12 kHz clock: enough to align."""

    def __init__(self, recording: Recording) -> None:
        self._recording = recording
        rate = recording.sample_rate_hz
        self._resampler = soxr.ResampleStream(rate, ANALYSIS_RATE_HZ, 2, dtype="float32")
        self._low = FrameStream(ANALYSIS_RATE_HZ, LOW_FFT, 1 / BAND_RATE_HZ)
        self._semitone = FrameStream(ANALYSIS_RATE_HZ, SEMITONE_FFT, 1 / SEMITONE_RATE_HZ)
        self._onset = FrameStream(ANALYSIS_RATE_HZ, ONSET_FFT, 1 / ONSET_RATE_HZ)
        self._low_bands = _bands(
            THIRD_OCTAVE_EDGES_HZ[: LOWER_BANDS + 1], ANALYSIS_RATE_HZ, LOW_FFT
        )
        self._lead: list[Float32Array] | None = []
        self._grid_cents = 0.0
        self._rows: dict[str, Rows] = {}
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
            check_scale(recording.name, block)
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

    def _both_channels(self, samples: Float32Array) -> None:
        """Nothing more at 12 kHz."""

    def _low_spectra(self, spectra: npt.NDArray[np.complex64], power: Float32Array) -> None:
        """Nothing more from the long window."""

    def _semitone_spectra(self, spectra: npt.NDArray[np.complex64]) -> None:
        """Nothing more from the middle window."""

    def _add(self, key: str, values: npt.NDArray[Any], rate_hz: float = BAND_RATE_HZ) -> None:
        if key not in self._rows:
            # A header may claim any length: room is made for what was read.
            length_s = min(self._recording.duration_s, _FIRST_ROOM_S)
            frames = int(length_s * rate_hz) + SPARE_FRAMES
            most = int(self._recording.duration_s * rate_hz) + SPARE_FRAMES
            self._rows[key] = Rows(np.empty((frames, *values.shape[1:]), values.dtype), most)
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
        self._both_channels(samples)
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
        stream = FrameStream(ANALYSIS_RATE_HZ, LOW_FFT, 4 / BAND_RATE_HZ)
        phasor = sum(
            complex(deviation_phasors(power_of(spectra[..., :TUNING_BINS]).sum(axis=0)).sum())
            for samples in lead
            for spectra in stream.push(samples)
        )
        self._grid_cents = float(np.angle(phasor) / (2 * np.pi) * 100)
        self._set_grid()
        for samples in lead:
            self._lower(samples, None)

    def _set_grid(self) -> None:
        self._semitone_low = self._semitone_bands(LOWEST_SEMITONE, LONG_WINDOW_BELOW - 1, LOW_FFT)
        self._semitone_high = self._semitone_bands(
            LOWEST_SEMITONE, HIGHEST_SEMITONE, SEMITONE_FFT
        )  # its lower columns give way to the long window's in the end
        self._onset_bands = self._semitone_bands(LOWEST_ONSET, HIGHEST_ONSET, ONSET_FFT)

    def _semitone_bands(self, lowest: int, highest: int, size: int) -> Bands:
        edges_hz = semitone_edges_hz(lowest, highest, self._grid_cents)
        return _bands(edges_hz, ANALYSIS_RATE_HZ, size)

    def _lower(self, samples: Float32Array, limits: tuple[int, int, int] | None) -> None:
        low_limit, semitone_limit, onset_limit = limits or (None, None, None)
        scale = np.float32(self._low.scale)
        reach = max(self._low_bands.reach, self._semitone_low.reach, TUNING_BINS)
        for spectra in self._low.push(samples, low_limit):
            spectra = spectra[..., :reach]  # what lies above is told by shorter windows
            power = power_of(spectra)
            self._add("low_power", (self._low_bands(power) * scale).swapaxes(0, 1))
            self._add("semitone_low", self._semitone_low(power.sum(axis=0)) * scale)
            self._low_spectra(spectra, power)
        for spectra in self._semitone.push(samples, semitone_limit):
            self._semitone_spectra(spectra)
            energy = self._semitone_high(energy_of(spectra))
            self._add("semitone", energy * np.float32(self._semitone.scale), SEMITONE_RATE_HZ)
        for spectra in self._onset.push(samples, onset_limit):
            energy = self._onset_bands(energy_of(spectra))
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
            "is_mono": recording.channels == 1 or self._alike,
            "band_power": self._band_power(),
            "semitone_power": self._semitones("semitone", semitone_frames),
            "onset_power": self._joined("onset"),
            "waveform": self._joined("waveform"),
            "warnings": recording.warnings + self._mono_warnings(),
        }

    @property
    def _alike(self) -> bool:
        """Whether both channels carry the same signal."""
        return bool(self._side < 1e-7 * self._whole)

    def _mono_warnings(self) -> tuple[str, ...]:
        """What a file with one channel says of itself has to be heard of one with two."""
        if self._recording.channels == 1 or not self._alike:
            return ()
        return (
            f"{self._recording.name} carries the same signal in both channels: it is mono, width"
            " and the placement of instruments cannot be compared.",
        )

    @property
    def _band_frames(self) -> int:
        return int(self._recording.duration_s * BAND_RATE_HZ) + 1

    def _band_power(self) -> Float32Array:
        low = self._joined("low_power")[: self._band_frames]
        return np.ascontiguousarray(low.swapaxes(1, 2), np.float32)

    def _semitones(self, key: str, frames: int) -> Float32Array:
        """Semitones of the middle window, those below 220 Hz of the long one."""
        out: Float32Array = self._joined(key)[:frames]
        low = out[:, : LONG_WINDOW_BELOW - LOWEST_SEMITONE]
        low[::2] = self._joined(f"{key}_low")[: (frames + 1) // 2]
        low[1::2] = 0.5 * (low[:-1:2] + low[2::2])
        return out


class FullPass(LightPass):
    """The one pass for everything: also what needs the file's own rate and both channels."""

    def __init__(self, recording: Recording) -> None:
        super().__init__(recording)
        rate = recording.sample_rate_hz
        high_fft = 2 ** round(np.log2(0.0427 * rate))
        self._high = FrameStream(rate, high_fft, 0.5 / BAND_RATE_HZ)
        self._high_bands = _bands(THIRD_OCTAVE_EDGES_HZ[LOWER_BANDS:], rate, high_fft)
        self._spectrum = np.zeros(high_fft // 2 + 1)
        self._high_count = 0
        self._loudness = KWeightedPower(rate, recording.channels)
        self._peak = TruePeak(rate, recording.channels)
        self._tops = Tops(rate, recording.channels)
        self._clipped = 0

    def _native(self, raw: Float32Array, block: Float32Array) -> None:
        """K weighting, true peak and clipping of every channel; upper third-octave bands."""
        self._loudness.push(raw)
        self._peak.push(raw)
        self._tops.push(raw)
        full = reduce(np.maximum, np.abs(raw).T) >= 0.9999
        if full.any():
            run = full[2:] & full[1:-1] & full[:-2]
            self._clipped += int(run[:1].sum() + (run[1:] & ~run[:-1]).sum())
        self._upper(block, None)

    def _upper(self, block: Float32Array, limit: int | None) -> None:
        scale = np.float32(self._high.scale)
        for spectra in self._high.push(block, limit):
            power = power_of(spectra)
            self._spectrum += power.sum(axis=(0, 1), dtype=np.float64)
            self._high_count += power.shape[1]
            bands = self._high_bands(power) * scale
            self._add("high_power", bands.swapaxes(0, 1), 2 * BAND_RATE_HZ)
            real, imaginary = map(self._high_bands, cross_of(spectra))
            self._add("high_cross", (real + 1j * imaginary) * (scale / 2), 2 * BAND_RATE_HZ)

    def _both_channels(self, samples: Float32Array) -> None:
        """What the mono sum lacks, for the response from one mix to another."""
        side = (0.5 * WAVEFORM_SCALE * (samples[:, 0] - samples[:, 1])).astype(np.float16)
        self._add("side", side, ANALYSIS_RATE_HZ)

    def _low_spectra(self, spectra: npt.NDArray[np.complex64], power: Float32Array) -> None:
        scale = np.float32(self._low.scale)
        cross = cross_of(spectra)
        real, imaginary = map(self._low_bands, cross)
        self._add("low_cross", (real + 1j * imaginary) * (scale / 2))
        self._add("phasor", deviation_phasors(power.sum(axis=0)))
        for key, values in zip(_IMAGE, (power[1] - power[0], *cross), strict=True):
            self._add(f"{key}_low", self._semitone_low(values) * scale)

    def _semitone_spectra(self, spectra: npt.NDArray[np.complex64]) -> None:
        scale = np.float32(self._semitone.scale)
        for key, values in _image_of(spectra).items():
            self._add(key, self._semitone_high(values) * scale, SEMITONE_RATE_HZ)

    def _finish(self) -> dict[str, Any]:
        recording = self._recording
        frames = self._band_frames
        self._peak.push(np.zeros((0, recording.channels), np.float32), last=True)
        self._upper(np.zeros((0, 2), np.float32), 2 * frames)
        found = super()._finish()
        cross = [self._joined("low_cross")[:frames], self._halved("high_cross", frames)]
        spectrum = self._spectrum * self._high.scale / max(self._high_count, 1)
        tops, flat = self._tops.result()
        usable = usable_band_hz(spectrum, recording.sample_rate_hz, found["band_power"])
        return found | {
            "band_cross": np.concatenate(cross, axis=1).astype(np.complex64),
            "semitone_image": np.stack(
                [self._semitones(key, 2 * frames - 1) for key in _IMAGE], axis=2
            ),
            "side_waveform": self._joined("side"),
            "k_power": self._loudness.result(),
            "tuning_phasor": per_second(self._joined("phasor")),
            "mean_spectrum": spectrum,
            "true_peak": self._peak.peak,
            "sample_peak": self._peak.sample_peak,
            "clipped_places": self._clipped,
            "frame_tops": tops,
            "flat_samples": flat,
            "usable_band_hz": usable,
            "warnings": found["warnings"] + content_warnings(recording, self._clipped, usable),
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


def _image_of(spectra: npt.NDArray[np.complex64]) -> dict[str, Float32Array]:
    """What beside the sum of powers tells the image: right less left, and twice the cross power."""
    left, right = spectra.view(np.float32)
    squares = np.square(right) - np.square(left)
    values = squares[..., ::2] + squares[..., 1::2], *cross_of(spectra)
    return dict(zip(_IMAGE, values, strict=True))


def _bands(edges_hz: FloatArray, rate_hz: float, size: int) -> Bands:
    return Bands(band_weights(edges_hz, rate_hz / size, size // 2 + 1))
