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
semitone_image       (frames, 85, 3)          of the same: right less left, and twice the
                                              cross power's real and imaginary part
onset_power          (frames, 60)             the same with a short window, 100 Hz
k_power              (steps, channels)        K-weighted power per channel, 10 ms steps
waveform             (samples,)               mono at 12 kHz, float16 scaled by 1024
side_waveform        (samples,)               half of left minus right, likewise
tuning_phasor        (seconds,) complex       magnitude-weighted deviation from the grid
===================  =======================  ==========================================
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import cached_property
from pathlib import Path
from typing import Self, TypeVar

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.features.clipping import clipped_frames
from mixcompare.features.grid import (
    Progress,
)
from mixcompare.features.passes import FullPass, LightPass
from mixcompare.standards.iec61260 import (
    THIRD_OCTAVE_EDGES_HZ,
)

FloatArray = npt.NDArray[np.float64]
_Value = TypeVar("_Value")
Float32Array = npt.NDArray[np.float32]


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
            Read block by block.
        progress : callable, optional
            Called with the share done, 0 to 1.

        Raises
        ------
        AudioFileError
            If the audio breaks off, is silent or holds values that are not numbers.
        """
        return cls(**cls._pass(recording).run(progress))

    @staticmethod
    def _pass(recording: Recording) -> LightPass:
        return LightPass(recording)


@dataclass(frozen=True, eq=False, kw_only=True)
class Features(AlignmentFeatures):
    """Everything that alignment and the analyzers read; see the module's table.

    Attributes
    ----------
    true_peak, sample_peak : float
        Linear, 1.0 = full scale.
    clipped_places : int
        Runs of three or more samples at full scale.
    frame_tops, flat_samples : ndarray, shape (frames, channels)
        Highest samples of every 40 ms, and how many stand in a row (see
        :mod:`mixcompare.features.clipping`).
    mean_spectrum : ndarray, shape (bins,)
        Mean power per bin of the short spectrum, both channels, up to half the sample rate.
    usable_band_hz : tuple of float
        Lowest and highest frequency at which the file carries music.
    side_waveform : ndarray, shape (samples,)
        Half the difference of the channels, beside their mono sum.
    """

    band_cross: npt.NDArray[np.complex64]
    semitone_image: Float32Array
    k_power: FloatArray
    tuning_phasor: npt.NDArray[np.complex128]
    mean_spectrum: FloatArray
    true_peak: float
    sample_peak: float
    clipped_places: int
    frame_tops: Float32Array
    flat_samples: npt.NDArray[np.uint16]
    usable_band_hz: tuple[float, float]
    side_waveform: npt.NDArray[np.float16]

    @staticmethod
    def _pass(recording: Recording) -> LightPass:
        return FullPass(recording)

    @property
    def usable_bands(self) -> npt.NDArray[np.bool_]:
        """Which third-octave bands lie inside the usable band, shape (31,)."""
        low, high = self.usable_band_hz
        inside: npt.NDArray[np.bool_] = (THIRD_OCTAVE_EDGES_HZ[:-1] >= low * 0.99) & (
            THIRD_OCTAVE_EDGES_HZ[1:] <= high * 1.01
        )
        return inside

    @cached_property
    def clipped_frames(self) -> npt.NDArray[np.bool_]:
        """Frames of 40 ms in which it is cut off at its ceiling."""
        return clipped_frames(self.frame_tops, self.flat_samples)

    def kept(self, key: object, compute: Callable[[Features], _Value]) -> _Value:
        """What was computed from these features under a key, computed now if it was not."""
        store: dict[object, _Value] = self.__dict__.setdefault("_kept", {})
        if key not in store:
            store[key] = compute(self)
        return store[key]

    def save(self, path: str | Path) -> None:
        """Write to ``path`` (.npz), to be read again with :meth:`load`.

        As it is: packing would take ten times as long and save a twentieth.
        """
        values = {entry.name: getattr(self, entry.name) for entry in fields(self)}
        np.savez(path, **values)

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


def common_bands(reference: Features, candidate: Features) -> npt.NDArray[np.bool_]:
    """Third-octave bands that both recordings carry, shape (31,)."""
    both: npt.NDArray[np.bool_] = reference.usable_bands & candidate.usable_bands
    return both
