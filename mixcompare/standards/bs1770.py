"""Loudness and true peak: ITU-R BS.1770-5 (2023) and EBU Tech 3341 v4 (2023).

Conventions
-----------
K-weighted powers are kept per channel in steps of 10 ms (Tech 3341's short-maximum cases need
steps of at most that). Loudness in LUFS is ``-0.691 + 10 log10(sum over channels of power)``;
all channels of a folded-down stereo recording weigh 1.0. A mono recording counts as one channel,
so it reads 3.01 LU below the same signal in both channels.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from pyloudnorm import IIRfilter
from scipy import signal
from scipy.ndimage import maximum_filter1d

FloatArray = npt.NDArray[np.float64]

# EBU Tech 3341: 10 ms at most for its short maxima; momentary 400 ms, short-term 3 s.
STEP_S = 0.01
MOMENTARY_STEPS = 40
GATING_HOP_STEPS = 10  # BS.1770-5 Annex 1: gating blocks of 0.4 s overlap by 75 %
SHORT_TERM_STEPS = 300
# ITU-R BS.1770-5, Annex 1.
ABSOLUTE_GATE_LUFS = -70.0
RELATIVE_GATE_LU = -10.0
OFFSET_DB = -0.691

# Analogue prototypes whose bilinear transform gives Tables 1 and 2 of BS.1770 at 48 kHz.
_SHELF_HZ, _SHELF_DB, _SHELF_Q = 1681.974450955533, 3.999843853973347, 0.7071752369554196
_HIGH_PASS_HZ, _HIGH_PASS_Q = 38.13547087602444, 0.5003270373238773
_TABLE_RATE_HZ = 48_000

_HALF_TAPS = 24  # resolution: taps per side at the file's own rate
_STRETCH = 32  # cost: samples filtered at a time


def k_weighting_sos(sample_rate_hz: float) -> FloatArray:
    """Second-order sections of the K weighting, shape (2, 6).

    Source: BS.1770-5 Annex 1, Tables 1 and 2; other rates by the bilinear transform of the
    same analogue filters (pyloudnorm's coefficients, after De Man). Table 2 leaves the high pass
    unscaled, 0.04 dB above its prototype; other rates keep that gain, since the standard asks for
    the response that it has at 48 kHz.
    """
    shelf = IIRfilter(_SHELF_DB, _SHELF_Q, _SHELF_HZ, sample_rate_hz, "high_shelf_DeMan")
    here, there = (
        IIRfilter(0.0, _HIGH_PASS_Q, _HIGH_PASS_HZ, rate_hz, "high_pass_DeMan")
        for rate_hz in (sample_rate_hz, _TABLE_RATE_HZ)
    )
    gain = _nyquist_gain(there.a) / _nyquist_gain(here.a)
    return np.array([[*shelf.b, *shelf.a], [*(gain * here.b), *here.a]])


def k_weighting_power(frequency_hz: FloatArray) -> FloatArray:
    """Factors of the K weighting on power, at frequencies under half of the table's 48 kHz."""
    sections = k_weighting_sos(_TABLE_RATE_HZ)
    _, response = signal.sosfreqz(sections, frequency_hz, fs=_TABLE_RATE_HZ)
    return np.asarray(np.abs(response) ** 2)


def _nyquist_gain(denominator: FloatArray) -> float:
    """Gain at half the sample rate of a second-order high pass with the numerator 1, -2, 1."""
    return float(4 / (1 - denominator[1] + denominator[2]))


_SURROUND = 1.41  # ITU-R BS.1770-5, Annex 1, Table 3
CHANNEL_WEIGHTS: dict[int, tuple[float, ...]] = {
    1: (1.0,),
    2: (1.0, 1.0),
    3: (1.0, 1.0, 1.0),
    4: (1.0, 1.0, _SURROUND, _SURROUND),
    5: (1.0, 1.0, 1.0, _SURROUND, _SURROUND),
    6: (1.0, 1.0, 1.0, 0.0, _SURROUND, _SURROUND),
    8: (1.0, 1.0, 1.0, 0.0, 1.0, 1.0, _SURROUND, _SURROUND),
}
"""Weights G of BS.1770-5 (Annex 1, Table 3; eight channels after Annex 3: 1.41 only between 60 and
120 degrees, from memory), in the order of WAVE files; the low-frequency effects are left out."""


class KWeightedPower:
    """Mean K-weighted power per channel in 10 ms steps, fed block by block.

    Each channel's power is multiplied by its weight, so that sums over channels are those of
    the standard.
    """

    def __init__(self, sample_rate_hz: int, channels: int = 2) -> None:
        self._rate = sample_rate_hz
        self._sos = k_weighting_sos(sample_rate_hz)
        self._weights = np.array(CHANNEL_WEIGHTS[channels])
        self._state = np.zeros((2, 2, channels))
        self._sum = np.zeros(channels)
        self._seen = 0
        self._steps: list[FloatArray] = []

    def push(self, block: npt.NDArray[np.float32]) -> None:
        """Take the next samples, shape (n, channels)."""
        if len(block) == 0:
            return
        weighted, self._state = signal.sosfilt(
            self._sos, block.astype(np.float64), axis=0, zi=self._state
        )
        squares = np.square(weighted) * self._weights
        first = int(self._seen / self._rate / STEP_S)
        last = int((self._seen + len(block)) / self._rate / STEP_S) + 1
        edges = np.round(np.arange(first, last + 1) * STEP_S * self._rate).astype(np.int64)
        edges = edges[(edges > self._seen) & (edges <= self._seen + len(block))] - self._seen
        starts = np.concatenate([[0], edges])
        inside = starts[starts < len(block)]
        sums = np.add.reduceat(squares, inside, axis=0)
        sums[0] += self._sum
        if len(inside) == len(starts):
            self._sum = sums[-1]
            sums = sums[:-1]
        else:
            self._sum = np.zeros_like(self._sum)
        self._seen += len(block)
        if len(sums):
            self._steps.append(sums / (STEP_S * self._rate))

    def result(self) -> FloatArray:
        """Weighted powers of the complete steps, shape (steps, channels)."""
        return np.concatenate(self._steps) if self._steps else np.zeros((0, len(self._sum)))


class TruePeak:
    """True peak of BS.1770-5 Annex 2, fed block by block.

    Oversamples to at least 192 kHz, and at least twice, with a windowed sinc of 48 taps per
    phase, written as one matrix product per stretch of 32 samples.
    """

    def __init__(self, sample_rate_hz: int, channels: int = 2) -> None:
        factor = max(int(np.ceil(192_000 / sample_rate_hz)), 2)
        taps = 2 * _HALF_TAPS * factor + 1
        fir = signal.firwin(taps, 1 / factor, window=("kaiser", 7.0)) * factor
        length = _STRETCH + 2 * _HALF_TAPS
        matrix = np.zeros((length, _STRETCH * factor))
        for column in range(_STRETCH * factor):
            sample, phase = divmod(column, factor)
            taken = fir[phase::factor][::-1]
            end = sample + length - _STRETCH + 1
            matrix[end - len(taken) : end, column] = taken
        self._matrix = matrix.astype(np.float32)
        self._most_gain = 1.0001 * float(np.abs(matrix).sum(axis=0).max())
        self._tail = np.zeros((2 * _HALF_TAPS, channels), np.float32)
        self.sample_peak = 0.0
        self.peak = 0.0

    def push(self, block: npt.NDArray[np.float32], last: bool = False) -> None:
        """Take the next samples, shape (n, channels)."""
        if len(block):
            self.sample_peak = max(self.sample_peak, float(np.abs(block).max()))
        data = np.concatenate([self._tail, block])
        if last:
            silence = np.zeros((2 * _HALF_TAPS + _STRETCH, data.shape[1]), np.float32)
            data = np.concatenate([data, silence])
        count = max((len(data) - 2 * _HALF_TAPS) // _STRETCH, 0)
        self._tail = data[count * _STRETCH :]
        if count == 0:
            return
        view = np.lib.stride_tricks.sliding_window_view(data, self._matrix.shape[0], axis=0)
        # Between samples that are too low for it, no filter comes up to the peak so far.
        starts = np.arange(0, len(data), _STRETCH) * data.shape[1]
        highest = np.maximum.reduceat(np.abs(data).ravel(), starts)
        reached = -(-self._matrix.shape[0] // _STRETCH)
        highest = maximum_filter1d(highest, reached, origin=-(reached // 2))[:count]
        for first in range(0, count, 4096):
            least = max(self.peak, self.sample_peak) / self._most_gain
            loud = first + np.flatnonzero(highest[first : first + 4096] > least)
            stretches = view[loud * _STRETCH].reshape(-1, self._matrix.shape[0])
            dense = stretches @ self._matrix
            self.peak = max(self.peak, float(np.abs(dense).max(initial=0.0)))
        self.peak = max(self.peak, self.sample_peak)


def window_powers(step_power: FloatArray, steps: int, hop: int = 1) -> FloatArray:
    """Channel-summed mean power of complete windows of ``steps`` 10 ms steps, shape (windows,)."""
    total = np.concatenate([[0.0], np.cumsum(step_power.sum(axis=1))])
    if len(total) <= steps:
        return np.zeros(0)
    return np.asarray((total[steps:] - total[:-steps])[::hop] / steps, np.float64)


def gating_blocks(step_power: FloatArray) -> FloatArray:
    """Channel-summed mean power of the gating blocks (BS.1770-5 Annex 1), shape (blocks,)."""
    return window_powers(step_power, MOMENTARY_STEPS, GATING_HOP_STEPS)


def to_lufs(power: npt.ArrayLike) -> FloatArray:
    """Loudness of a mean K-weighted power; -inf for none."""
    with np.errstate(divide="ignore"):
        return np.asarray(OFFSET_DB + 10 * np.log10(np.asarray(power, np.float64)))


def integrated_lufs(step_power: FloatArray) -> float:
    """Gated integrated loudness (BS.1770-5 Annex 1); -inf when every block is gated away."""
    blocks = gating_blocks(step_power)
    loud = blocks[to_lufs(blocks) > ABSOLUTE_GATE_LUFS]
    if len(loud) == 0:
        return float("-inf")
    gate = float(to_lufs(loud.mean())) + RELATIVE_GATE_LU
    return float(to_lufs(loud[to_lufs(loud) > gate].mean()))
