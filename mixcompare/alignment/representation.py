"""What alignment looks at, derived from the features of one recording.

===========  =====================  ====================================================
name         rate                   what
===========  =====================  ====================================================
harmony      any, by averaging      log energy per semitone minus its mean over time and
                                    over the frame: which notes stand out now
chroma       50 Hz                  the same energies folded into twelve pitch classes
attacks      100 Hz                 rise of log energy per pitch class, after the late
                                    reverberation has been taken out
===========  =====================  ====================================================
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy import ndimage, signal

from mixcompare.features import (
    LOWEST_ONSET,
    LOWEST_SEMITONE,
    ONSET_RATE_HZ,
    SEMITONE_RATE_HZ,
    Features,
)

Float32Array = npt.NDArray[np.float32]

_SOUNDING_DB = 20.0  # below the loud moments: softer is a decay, not an attack
_LOW, _HIGH = 33, 96  # A1 to C7: below, semitones smear; above, few fundamentals


@dataclass(frozen=True)
class Room:
    """Late reverberation assumed, or added, per recording."""

    decay_s: float
    share_db: float


ASSUMED_ROOM = Room(decay_s=3.0, share_db=-6.0)


class Representation:
    """Alignment's view of one recording.

    Parameters
    ----------
    features : Features
    semitones : int
        Transposition to undo: the recording's pitch p is shown at p - semitones.
    added : tuple of ndarray, optional
        Extra power to add to semitone and onset powers (a fitted tail), same shapes.
    """

    def __init__(
        self,
        features: Features,
        semitones: int = 0,
        added: tuple[Float32Array, Float32Array] | None = None,
    ) -> None:
        self.duration_s = features.duration_s
        self._semitone = _shifted(features.semitone_power, semitones)
        self._onset = _shifted(features.onset_power, semitones)
        self._added = added

    @cached_property
    def semitone_power(self) -> Float32Array:
        """Energy per semitone at 50 Hz, transposed, with any added tail."""
        return self._semitone if self._added is None else self._semitone + self._added[0]

    @cached_property
    def onset_power(self) -> Float32Array:
        """Energy per semitone at 100 Hz, transposed, with any added tail."""
        return self._onset if self._added is None else self._onset + self._added[1]

    def harmony(self, rate_hz: float, normalised: bool = True) -> Float32Array:
        """Which semitones stand out, shape (frames, 64), rows of unit length.

        Frame k lies at k / rate_hz. Soft frames get shorter rows, silence gets none.
        """
        power = self.semitone_power[:, _LOW - LOWEST_SEMITONE : _HIGH + 1 - LOWEST_SEMITONE]
        scale = np.percentile(power.max(axis=1), 90) + 1e-20
        log_power = np.log1p(30 * np.sqrt(power / scale))
        values = _at_rate(log_power, SEMITONE_RATE_HZ, rate_hz)
        values -= values.mean(axis=0)
        values -= values.mean(axis=1, keepdims=True)
        if not normalised:
            return values
        length = np.linalg.norm(values, axis=1, keepdims=True)
        return np.asarray(values / np.maximum(length, 0.3 * np.median(length) + 1e-9), np.float32)

    @cached_property
    def chroma(self) -> Float32Array:
        """Unit pitch-class profiles at 50 Hz, reverberation taken out, shape (frames, 12)."""
        power = self.semitone_power[:, _LOW - LOWEST_SEMITONE : _HIGH + 1 - LOWEST_SEMITONE]
        dry = without_tail(power, SEMITONE_RATE_HZ)
        scale = np.percentile(dry.max(axis=1), 90) + 1e-20
        folded = _folded(np.log1p(10 * np.sqrt(dry / scale)), _LOW)
        length = np.linalg.norm(folded, axis=1, keepdims=True)
        even = np.float32(1 / np.sqrt(12))
        return np.where(length > 1e-2, folded / np.maximum(length, 1e-9), even).astype(np.float32)

    @cached_property
    def attacks(self) -> Float32Array:
        """Attacks per pitch class at 100 Hz, scaled to about 1 at the strongest nearby."""
        dry = without_tail(self.onset_power, ONSET_RATE_HZ)
        scale = np.percentile(dry.max(axis=1), 90) + 1e-20
        level = ndimage.gaussian_filter1d(np.log1p(300 * dry / scale), 1.5, axis=0)
        rise = np.zeros_like(level)
        rise[1:-1] = np.maximum(level[2:] - level[:-2], 0)
        # A rise above its surroundings: slow swells and vibrato leave little.
        rise = np.maximum(rise - 1.5 * ndimage.uniform_filter1d(rise, 60, axis=0), 0)
        folded = np.sqrt(_folded(rise, LOWEST_ONSET))
        length = np.linalg.norm(folded, axis=1)
        near = ndimage.uniform_filter1d(ndimage.maximum_filter1d(length, 100), 100)
        near = np.maximum(near, 0.3 * near.mean()) + 1e-9
        return np.asarray(
            ndimage.gaussian_filter1d(folded / near[:, None], 1.0, axis=0), np.float32
        )

    @cached_property
    def attack_times_s(self) -> npt.NDArray[np.float64]:
        """Times of clear attacks: half as strong as the strongest nearby, while music sounds."""
        power = self.onset_power.sum(axis=1)
        sounding = power > 10 ** (-_SOUNDING_DB / 10) * np.percentile(power, 90)
        clear = np.linalg.norm(self.attacks, axis=1) > 0.5
        smooth = ndimage.gaussian_filter1d(power, 2.0)
        # Beats in a dying chord look like attacks, but there the whole falls.
        rising = np.roll(smooth, -6) > 1.1 * np.roll(smooth, 6)
        return np.asarray(np.flatnonzero(clear & sounding & rising) / ONSET_RATE_HZ, np.float64)

    @cached_property
    def decaying_attacks(self) -> Float32Array:
        """Attacks that fade over 0.15 s, at 50 Hz: tells where in a note a moment lies."""
        decay = np.exp(-1 / (0.15 * ONSET_RATE_HZ))
        ramp = (np.arange(len(self.attacks)) * np.log(decay))[:, None]
        with np.errstate(divide="ignore"):
            logs = np.log(self.attacks.astype(np.float64))
        held = np.exp(np.maximum.accumulate(logs - ramp, axis=0) + ramp)
        return np.asarray(held[::2], np.float32)

    @cached_property
    def stacked(self) -> Float32Array:
        """Chroma and decaying attacks side by side at 50 Hz, shape (frames, 24)."""
        frames = min(len(self.chroma), len(self.decaying_attacks))
        return np.concatenate([self.chroma[:frames], self.decaying_attacks[:frames]], axis=1)


def without_tail(power: Float32Array, rate_hz: float, room: Room = ASSUMED_ROOM) -> Float32Array:
    """Take an exponential late reverberation out of band powers.

    The tail s obeys ``s[t] = a ((1 - g) s[t-1] + g power[t-1])`` when the dry power is
    ``power - s`` and each dry frame feeds a tail of total energy ``share_db`` under it.
    """
    a = 10 ** (-6 / (room.decay_s * rate_hz))
    g = 10 ** (room.share_db / 10) * (1 - a) / a
    tail = signal.lfilter([0, a * g], [1, -a * (1 - g)], power, axis=0)
    return np.asarray(np.maximum(power - tail, 0.05 * power), np.float32)


def _shifted(power: Float32Array, semitones: int) -> Float32Array:
    if semitones == 0:
        return power
    out = np.zeros_like(power)
    if semitones > 0:
        out[:, :-semitones] = power[:, semitones:]
    else:
        out[:, -semitones:] = power[:, :semitones]
    return out


def _folded(values: Float32Array, lowest: int) -> Float32Array:
    out = np.zeros((len(values), 12), np.float32)
    for column in range(values.shape[1]):
        out[:, (lowest + column) % 12] += values[:, column]
    return out


def _at_rate(values: Float32Array, rate_hz: float, wanted_hz: float) -> Float32Array:
    """Average over about one wanted frame, then sample at the wanted rate."""
    width = 0.4 * rate_hz / wanted_hz
    smooth = ndimage.gaussian_filter1d(values, width, axis=0, mode="nearest")
    count = int((len(values) - 1) / rate_hz * wanted_hz) + 1
    index = np.round(np.arange(count) * rate_hz / wanted_hz).astype(np.int64)
    return np.asarray(smooth[np.minimum(index, len(values) - 1)], np.float32)
