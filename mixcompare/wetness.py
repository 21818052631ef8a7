"""How much wetter one recording of a passage is than another, heard from the music alone.

Conventions
-----------
Candidate against reference; positive = the candidate is wetter. The drier recording's power in
every third octave, smeared by an exponential, is added to itself until it moves like the wetter
one: ``P_wet = g (P_dry + b P_dry * kernel)``. ``b`` is the reverberant energy added to the
drier recording's total. It is given as the change of a reverberation that was half of the
total, which is the order of size in orchestral recordings::

    wetness_db = 10 lg(1 + 2 b)        negative where the reference is the wetter one

so that "+3 dB" means: as if the reverberation had been raised by 3 dB in such a recording.
Ours; there is no standard for reverberation heard through music.

A level, a tone, a slow change of balance cancel (each band's running mean is taken out). What
moves one register only - a theme played shorter, a figure played louder - is told apart by
asking four registers separately.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d
from scipy.signal import lfilter

from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.features import BAND_RATE_HZ
from mixcompare.statistics import interval

FloatArray = npt.NDArray[np.float64]

LOWEST_BAND, HIGHEST_BAND = 7, 26
"""Third octaves used: 100 Hz to 8 kHz."""

REGISTERS_HZ = (0.0, 280.0, 900.0, 2800.0, 20_000.0)
"""Edges of the four registers that are asked separately."""

KERNEL_TIMES_S = np.array([0.5, 0.8, 1.2, 1.8, 2.7])
_STEPS_DB = np.array([0.75, 1.5, 2.25, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0])
WETNESS_DB: FloatArray = np.concatenate([-_STEPS_DB[::-1], [0.0], _STEPS_DB])

_SMOOTH_FRAMES = 5
_SLOW_FRAMES = 151
_RANGE_DB = 35.0
_CLIP_DB = 8.0
_BLOCK_FRAMES = 100
_DRAWS = 200
_NOTHING_DB = 0.02


@dataclass(frozen=True)
class Wetness:
    """Result of the fit.

    Attributes
    ----------
    wetness_db : float
        Over all registers.
    scatter_db : tuple of float
        95 % of the bootstrap over blocks of 4 s.
    kernel_time_s : float
        Time in which the smear falls by 60 dB.
    gain : float
        Share of the difference between the recordings that the fit explains, -inf to 1.
    even_db : float
        The same fit with each moment's broadband level taken out (a compressor changes that
        level; a room changes bands one after the other).
    register_db, register_gain : tuple of float
        Best wetness of each register by itself, and what the common one explains there.
    """

    wetness_db: float
    scatter_db: tuple[float, float]
    kernel_time_s: float
    gain: float
    even_db: float
    register_db: tuple[float, ...]
    register_gain: tuple[float, ...]


def relative_wetness(
    reference: FloatArray,
    candidate: FloatArray,
    usable: npt.NDArray[np.bool_],
    settled: npt.NDArray[np.bool_] | None = None,
) -> Wetness | None:
    """Fit the smear that makes the drier recording move like the wetter one.

    Parameters
    ----------
    reference, candidate : ndarray, shape (frames, 31)
        Third-octave powers, 25 frames a second, the candidate brought to the reference's clock.
    usable : ndarray, shape (31,)
        Bands that both carry.
    settled : ndarray, shape (frames,), optional
        Frames to judge by; false where what sounded before is missing (a stretch begins).

    Returns
    -------
    Wetness or None
        None for less than 8 s in common, or fewer than three registers.
    """
    bands = np.arange(LOWEST_BAND, HIGHEST_BAND + 1)
    bands = bands[usable[LOWEST_BAND : HIGHEST_BAND + 1]]
    register = np.searchsorted(REGISTERS_HZ, THIRD_OCTAVE_CENTRES_HZ[bands]) - 1
    present = [index for index in range(4) if np.any(register == index)]
    blocks = len(reference) // _BLOCK_FRAMES
    if blocks < 2 or len(present) < 3:
        return None
    costs = _Costs(reference[:, bands], candidate[:, bands], settled)
    level = costs.table(even=False)
    if level[:, :, len(_STEPS_DB)].sum() < _NOTHING_DB * costs.cells.sum():
        nothing = (0.0,) * len(present)
        return Wetness(0.0, (0.0, 0.0), float(KERNEL_TIMES_S[2]), 0.0, 0.0, nothing, nothing)
    share = _by_register(level, register, present)
    time, best, gain = _best(share.sum(axis=0))
    wetness = _refined(share.sum(axis=0)[time])
    table = share.sum(axis=0)[time]  # wetness x register
    rng = np.random.default_rng(0)
    draws = rng.multinomial(blocks, np.full(blocks, 1 / blocks), _DRAWS)
    drawn = np.tensordot(draws, share[:, time].sum(axis=-1), axes=1)
    scatter = interval(np.array([_refined(curve[:, None]) for curve in drawn]))
    even = _by_register(costs.table(even=True), register, present).sum(axis=0)
    even_time, _, _ = _best(even)
    middle = len(_STEPS_DB)
    return Wetness(
        wetness_db=wetness,
        scatter_db=scatter,
        kernel_time_s=float(KERNEL_TIMES_S[time]),
        gain=gain,
        even_db=_refined(even[even_time]),
        register_db=tuple(_refined(table[:, [column]]) for column in range(len(present))),
        register_gain=tuple((1 - table[best] / table[middle]).tolist()),
    )


class _Costs:
    """Mean absolute difference in dB left by each wetness, per block and band."""

    def __init__(
        self,
        reference: FloatArray,
        candidate: FloatArray,
        settled: npt.NDArray[np.bool_] | None,
    ) -> None:
        self._reference = np.asarray(reference, np.float64) + 1e-14
        self._candidate = np.asarray(candidate, np.float64) + 1e-14
        self._reference_db = _level(self._reference)
        self._candidate_db = _level(self._candidate)
        keep = np.ones(reference.shape, bool)
        if settled is not None:
            keep &= settled[:, None]
        for level in (self._reference_db, self._candidate_db):
            keep &= level > level.max(axis=0) - _RANGE_DB
        self._keep = keep.astype(np.float64)
        self._share = uniform_filter1d(self._keep, _SLOW_FRAMES, axis=0) + 1e-9
        self._offset = np.median(self._candidate_db - self._reference_db, axis=0)
        self.cells = self._blocks(self._keep)

    def _blocks(self, values: FloatArray) -> FloatArray:
        count = len(values) // _BLOCK_FRAMES
        cut = values[: count * _BLOCK_FRAMES].reshape(count, _BLOCK_FRAMES, -1)
        return np.asarray(cut.sum(axis=1))

    def table(self, even: bool) -> FloatArray:
        """Costs of shape (blocks, kernel times, wetnesses, bands)."""
        plain = self._cost(self._candidate_db - self._reference_db, even)
        rows = []
        for time_s in KERNEL_TIMES_S:
            keep = float(np.exp(-3 * np.log(10) * 2 / (time_s * BAND_RATE_HZ)))
            smear = [
                lfilter([0, 1 - keep], [1, -keep], power, axis=0)
                for power in (self._reference, self._candidate)
            ]
            row = []
            for wetness in WETNESS_DB:
                added = (10 ** (abs(wetness) / 10) - 1) / 2
                if wetness == 0:
                    row.append(plain)
                elif wetness > 0:
                    wetted = _level(self._reference + added * smear[0])
                    row.append(self._cost(self._candidate_db - wetted, even))
                else:
                    wetted = _level(self._candidate + added * smear[1])
                    row.append(self._cost(wetted - self._reference_db, even))
            rows.append(np.stack(row, axis=1))
        return np.stack(rows, axis=1)

    def _cost(self, difference: FloatArray, even: bool) -> FloatArray:
        left = difference - self._offset
        for _ in range(2):
            clipped = np.clip(left, -_CLIP_DB, _CLIP_DB) * self._keep
            slow = uniform_filter1d(clipped, _SLOW_FRAMES, axis=0) / self._share
            left = left - slow
            if even:
                clipped = np.clip(left, -_CLIP_DB, _CLIP_DB) * self._keep
                common = clipped.sum(axis=1) / np.maximum(self._keep.sum(axis=1), 1)
                left = left - common[:, None]
        return self._blocks(np.minimum(np.abs(left), _CLIP_DB) * self._keep)


def _level(power: FloatArray) -> FloatArray:
    return np.asarray(10 * np.log10(uniform_filter1d(power, _SMOOTH_FRAMES, axis=0) + 1e-14))


def _by_register(
    table: FloatArray, register: npt.NDArray[np.int64], present: list[int]
) -> FloatArray:
    """Costs relative to no change, every band alike, mean of each register's bands.

    Shape (blocks, kernel times, wetnesses, registers).
    """
    none = table[:, 0, len(_STEPS_DB)].sum(axis=0)
    relative = table / np.maximum(none, 1e-9)
    return np.stack([relative[..., register == index].mean(axis=-1) for index in present], axis=-1)


def _best(share: FloatArray) -> tuple[int, int, float]:
    """Kernel time and wetness (indices) of the lowest cost, and what they explain."""
    mean = share.mean(axis=-1)
    time, wetness = np.unravel_index(int(mean.argmin()), mean.shape)
    return int(time), int(wetness), float(1 - mean[time, wetness] / mean[0, len(_STEPS_DB)])


def _refined(costs: FloatArray) -> float:
    """Wetness of the lowest cost, by a parabola through its neighbours; costs (wetnesses, n)."""
    mean = costs.mean(axis=-1)
    index = int(mean.argmin())
    if index in (0, len(mean) - 1):
        return float(WETNESS_DB[index])
    around = slice(index - 1, index + 2)
    square, line, _ = np.polyfit(WETNESS_DB[around] - WETNESS_DB[index], mean[around], 2)
    if square <= 0:
        return float(WETNESS_DB[index])
    return float(WETNESS_DB[index] - line / (2 * square))
