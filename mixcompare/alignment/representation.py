"""What alignment looks at, derived from the features of one recording.

===========  =====================  ====================================================
name         rate                   what
===========  =====================  ====================================================
harmony      10 Hz or fewer         log energy per semitone minus its mean over time and
                                    over the frame: which notes stand out now
chroma       50 Hz                  the same energies folded into twelve pitch classes
attacks      100 Hz                 rise of log energy per pitch class, after the late
                                    reverberation has been taken out
===========  =====================  ====================================================
"""

from __future__ import annotations

import copy
from collections.abc import Iterator

import numpy as np
import numpy.typing as npt
from scipy import ndimage, signal

from mixcompare.features import (
    BAND_RATE_HZ,
    LOWER_BANDS,
    LOWEST_ONSET,
    LOWEST_SEMITONE,
    ONSET_RATE_HZ,
    SEMITONE_RATE_HZ,
    AlignmentFeatures,
)

Float32Array = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]

# Resolution in time, slower than the features.
HARMONY_RATE_HZ = 10.0
SIDES_RATE_HZ = 5.0

_SOFTEST_ATTACK = 1e-4
"""Of the loud moments' power: what lies above it rises by its ratio, whatever its level. Chosen on
the alignment benchmark's tuning movements (95 % of errors within 64 ms with 3e-3, 50 with 3e-4, 46
with 1e-4) and three tuning scores, where soft passages were laid 0.1 s beside their place."""
_SOUNDING_DB = 20.0  # below the loud moments: softer is a decay, not an attack
_TAIL_DECAY_S, _TAIL_SHARE_DB = 3.0, -6.0  # late reverberation assumed of every recording
_LOW, _HIGH = 33, 96  # A1 to C7: below, semitones smear; above, few fundamentals


class Representation:
    """Alignment's view of one recording: small, so that hours fit in memory.

    Parameters
    ----------
    features : AlignmentFeatures

    Attributes
    ----------
    duration_s, grid_tuning_cents, is_mono, waveform
        As in the features.
    begins_s : float
        Where it begins in the file.
    stacked : ndarray, shape (frames, 24)
        Unit pitch-class profiles with the reverberation taken out, and attacks that fade over
        0.15 s (they tell where in a note a moment lies), side by side at 50 Hz.
    attacks : ndarray, shape (frames, 12)
        Attacks per pitch class at 100 Hz, scaled to about 1 at the strongest nearby.
    attack_times_s : ndarray
        Times of clear attacks: half as strong as the strongest nearby, while music sounds.
    sides_db : ndarray, shape (frames, 16)
        Level of right over left per third octave at 5 Hz.
    """

    def __init__(self, features: AlignmentFeatures) -> None:
        self.duration_s = features.duration_s
        self.begins_s = features.span_s[0]
        self.grid_tuning_cents = features.grid_tuning_cents
        self.is_mono = features.is_mono
        self.waveform = features.waveform
        self._log_power = _log_power(features.semitone_power)
        self.attacks = _attacks(features.onset_power)
        frames = min(len(features.semitone_power), (len(self.attacks) + 1) // 2)
        self.stacked = np.empty((frames, 24), np.float32)
        self.stacked[:, :12] = _chroma(features.semitone_power)[:frames]
        self.stacked[:, 12:] = _decaying(self.attacks)[:frames]
        self.attack_times_s = _attack_times_s(features.onset_power, self.attacks)
        self.sides_db = _sides_db(features.band_power)

    def transposed(self, semitones: int) -> Representation:
        """The same recording with its pitch p shown at p - semitones."""
        if semitones == 0:
            return self
        other = copy.copy(self)
        other._log_power = _shifted(self._log_power, semitones)
        other.attacks = np.roll(self.attacks, -semitones, axis=1)
        halves = np.split(self.stacked, 2, axis=1)
        other.stacked = np.concatenate([np.roll(half, -semitones, axis=1) for half in halves], 1)
        return other

    def between(self, start_s: float, end_s: float) -> Representation:
        """A part of it, on its own clock; it begins where all features have a frame."""
        other = copy.copy(self)
        start_s = max(round(start_s * SIDES_RATE_HZ), 0) / SIDES_RATE_HZ
        end_s = min(end_s, self.duration_s)

        def part(frames: Float32Array, rate_hz: float) -> Float32Array:
            return frames[round(start_s * rate_hz) : round(end_s * rate_hz) + 1]

        other._log_power = part(self._log_power, HARMONY_RATE_HZ)
        other.stacked = part(self.stacked, SEMITONE_RATE_HZ)
        other.attacks = part(self.attacks, ONSET_RATE_HZ)
        other.sides_db = part(self.sides_db, SIDES_RATE_HZ)
        inside = (self.attack_times_s >= start_s) & (self.attack_times_s <= end_s)
        other.attack_times_s = self.attack_times_s[inside] - start_s
        other.begins_s, other.duration_s = self.begins_s + start_s, end_s - start_s
        return other

    def harmony(self, rate_hz: float, normalised: bool = True) -> Float32Array:
        """Which semitones stand out, shape (frames, 64), rows of unit length.

        Frame k lies at k / rate_hz, at most 10 a second. Soft frames get shorter rows, silence
        gets none.
        """
        values = self._log_power[:, _LOW - LOWEST_SEMITONE : _HIGH + 1 - LOWEST_SEMITONE]
        if rate_hz < HARMONY_RATE_HZ:
            values = _at_rate(values, HARMONY_RATE_HZ, rate_hz)
        values = values - values.mean(axis=0)
        values -= values.mean(axis=1, keepdims=True)
        if not normalised:
            return np.asarray(values, np.float32)
        length = np.linalg.norm(values, axis=1, keepdims=True)
        return np.asarray(values / np.maximum(length, 0.3 * np.median(length) + 1e-9), np.float32)


def _log_power(semitone_power: Float32Array) -> Float32Array:
    """Compressed energy of every semitone at 10 Hz."""
    inner = slice(_LOW - LOWEST_SEMITONE, _HIGH + 1 - LOWEST_SEMITONE)
    scale = np.percentile(semitone_power[:, inner].max(axis=1), 90) + 1e-20
    columns = [
        _at_rate(np.log1p(30 * np.sqrt(column / scale)), SEMITONE_RATE_HZ, HARMONY_RATE_HZ)
        for column in semitone_power.T
    ]
    return np.stack(columns, axis=1)


def _chroma(semitone_power: Float32Array) -> Float32Array:
    power = semitone_power[:, _LOW - LOWEST_SEMITONE : _HIGH + 1 - LOWEST_SEMITONE]
    scale = _dry_scale(power, SEMITONE_RATE_HZ)
    folded = np.zeros((len(power), 12), np.float32)
    for column, dry in enumerate(_dry_columns(power, SEMITONE_RATE_HZ)):
        folded[:, (_LOW + column) % 12] += np.log1p(10 * np.sqrt(dry / scale))
    length = np.linalg.norm(folded, axis=1, keepdims=True)
    even = np.float32(1 / np.sqrt(12))
    return np.where(length > 1e-2, folded / np.maximum(length, 1e-9), even).astype(np.float32)


def _attacks(onset_power: Float32Array) -> Float32Array:
    scale = _dry_scale(onset_power, ONSET_RATE_HZ)
    folded = np.zeros((len(onset_power), 12), np.float32)
    for column, dry in enumerate(_dry_columns(onset_power, ONSET_RATE_HZ)):
        level = ndimage.gaussian_filter1d(np.log1p(dry / (_SOFTEST_ATTACK * scale)), 1.5)
        rise = np.zeros_like(level)
        rise[1:-1] = np.maximum(level[2:] - level[:-2], 0)
        # A rise above its surroundings: slow swells and vibrato leave little.
        folded[:, (LOWEST_ONSET + column) % 12] += np.maximum(
            rise - 1.5 * ndimage.uniform_filter1d(rise, 60), 0
        )
    folded = np.sqrt(folded)
    length = np.linalg.norm(folded, axis=1)
    near = ndimage.uniform_filter1d(ndimage.maximum_filter1d(length, 100), 100)
    near = np.maximum(near, 0.3 * near.mean()) + 1e-9
    folded /= near[:, None]
    return np.asarray(ndimage.gaussian_filter1d(folded, 1.0, axis=0), np.float32)


def _decaying(attacks: Float32Array) -> Float32Array:
    """Attacks that fade over 0.15 s, at half the rate."""
    ramp = np.arange(len(attacks)) / (-0.15 * ONSET_RATE_HZ)
    held = []
    for column in attacks.T:
        with np.errstate(divide="ignore"):
            logs = np.log(column.astype(np.float64))
        held.append(np.exp(np.maximum.accumulate(logs - ramp) + ramp)[::2].astype(np.float32))
    return np.stack(held, axis=1)


def _attack_times_s(onset_power: Float32Array, attacks: Float32Array) -> FloatArray:
    power = onset_power.sum(axis=1)
    sounding = power > 10 ** (-_SOUNDING_DB / 10) * np.percentile(power, 90)
    clear = np.linalg.norm(attacks, axis=1) > 0.5
    smooth = ndimage.gaussian_filter1d(power, 2.0)
    # Beats in a dying chord look like attacks, but there the whole falls.
    rising = np.roll(smooth, -6) > 1.1 * np.roll(smooth, 6)
    return np.asarray(np.flatnonzero(clear & sounding & rising) / ONSET_RATE_HZ, np.float64)


def _sides_db(band_power: Float32Array) -> Float32Array:
    power = band_power[:: round(BAND_RATE_HZ / SIDES_RATE_HZ), :LOWER_BANDS]
    floor = 1e-4 * power.sum(axis=2).max() + 1e-20
    return np.asarray(10 * np.log10((power[..., 1] + floor) / (power[..., 0] + floor)))


def _dry_columns(power: Float32Array, rate_hz: float) -> Iterator[Float32Array]:
    """Band after band without its late reverberation: all at once would not fit for hours."""
    for column in power.T:
        yield without_tail(np.ascontiguousarray(column), rate_hz)


def _dry_scale(power: Float32Array, rate_hz: float) -> float:
    loudest = np.zeros(len(power), np.float32)
    for dry in _dry_columns(power, rate_hz):
        np.maximum(loudest, dry, out=loudest)
    return float(np.percentile(loudest, 90)) + 1e-20


def without_tail(power: Float32Array, rate_hz: float) -> Float32Array:
    """Take an exponential late reverberation out of band powers.

    The tail s obeys ``s[t] = a ((1 - g) s[t-1] + g power[t-1])`` when the dry power is
    ``power - s`` and each dry frame feeds a tail whose total energy lies 6 dB under it.
    """
    a = 10 ** (-6 / (_TAIL_DECAY_S * rate_hz))
    g = 10 ** (_TAIL_SHARE_DB / 10) * (1 - a) / a
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


def _at_rate(values: Float32Array, rate_hz: float, wanted_hz: float) -> Float32Array:
    """Average over about one wanted frame, then sample at the wanted rate."""
    width = 0.4 * rate_hz / wanted_hz
    smooth = ndimage.gaussian_filter1d(values, width, axis=0, mode="nearest")
    count = int((len(values) - 1) / rate_hz * wanted_hz) + 1
    index = np.round(np.arange(count) * rate_hz / wanted_hz).astype(np.int64)
    return np.asarray(smooth[np.minimum(index, len(values) - 1)], np.float32)
