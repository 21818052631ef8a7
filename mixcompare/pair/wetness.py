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

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import BAND_RATE_HZ, Features, common_bands
from mixcompare.pair.match import Match
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import interval

FloatArray = npt.NDArray[np.float64]

LOWEST_BAND, HIGHEST_BAND = 7, 26
"""Third octaves used: 100 Hz to 8 kHz."""

WETNESS_REGISTERS_HZ = (0.0, 280.0, 900.0, 2800.0, 20_000.0)
"""Edges of the four registers that are asked separately."""

# Resolution: half as long again each time, and wetness finer where it begins to be told.
KERNEL_TIMES_S = np.array([0.5, 0.8, 1.2, 1.8, 2.7])
_STEPS_DB = np.array([0.75, 1.5, 2.25, 3.0, 4.0, 5.0, 6.5, 8.0, 10.0])
MOST_DB = 10.0
"""Largest wetness that is tried: nearly nothing but reverberation."""

WETNESS_DB: FloatArray = np.concatenate([-_STEPS_DB[::-1], [0.0], _STEPS_DB])
_NONE = len(_STEPS_DB)  # the place of "no change" among them

_SMOOTH_FRAMES = 5  # 0.2 s; resolution of the levels
_SLOW_FRAMES = 151  # 6 s: what moves slower is balance; our judgement, not measured
_RANGE_DB = 35.0  # below a band's loud moments; our judgement, not measured
_CLIP_DB = 8.0  # differences count no further; our judgement, not measured
_BLOCK_FRAMES = 100  # 4 s; of the bootstrap
SHORTEST_S = 2 * _BLOCK_FRAMES / BAND_RATE_HZ  # two blocks
_DRAWS = 200  # cost: of the bootstrap
# Cost: ten minutes at most, in stretches; in each the past is first let settle. Our choice.
_STRETCH_S, _MOST_S, _SETTLE_S = 20.0, 600.0, 2.5
_NOTHING_DB = 0.02  # a mean difference that can only be rounding
LEAST_GAIN = 0.045
"""Explained share from which on a change counts; unchanged pairs stay below (other players and
instruments: at most 0.05, and then not in all registers alike)."""
_MOST_UNLIKE = 4.5  # registers against each other; our judgement, not measured
_MOST_TOP = 2.6  # the highest against the middle one; our judgement, not measured
_LEAST_LOW = 0.4  # the lowest against the others; our judgement, not measured
_MOST_HELD = 0.5  # gain by longer notes over gain by reverberation; our judgement, not measured
_HELD_FRAMES = (1, 2, 4, 6, 8, 12)  # resolution: 40 to 480 ms


@dataclass(frozen=True)
class Wetness:
    """Result of the fit.

    Attributes
    ----------
    wetness_db : float
        Median of the three registers below 2.8 kHz.
    scatter_db : tuple of float
        95 % of the bootstrap over blocks of 4 s.
    kernel_time_s : float
        Time in which the smear falls by 60 dB.
    gain : float
        Share of the difference between the recordings that the fit explains in these registers.
    even_db : float
        The same fit with each moment's broadband level taken out (a compressor changes that
        level; a room changes bands one after the other).
    register_db, register_gain : tuple of float
        Wetness of each of the four registers, and what it explains there. The highest is NaN
        where a recording doesn't reach up to it.
    held_share : float
        What holding the notes of the drier recording explains, over what the smear does: below
        a half in rooms, above where all play shorter.
    """

    wetness_db: float
    scatter_db: tuple[float, float]
    kernel_time_s: float
    gain: float
    even_db: float
    register_db: tuple[float, ...]
    register_gain: tuple[float, ...]
    held_share: float

    @property
    def may_be_note_lengths(self) -> bool:
        """Whether longer notes explain the difference about as well as reverberation does."""
        return self.held_share > _MOST_HELD

    @property
    def is_told(self) -> bool:
        """Whether the fit explains more than it does between unchanged recordings."""
        return self.gain >= LEAST_GAIN

    @property
    def everywhere(self) -> bool:
        """Whether every register changed, the same way and about as much, as in a room.

        The highest may change less (rooms absorb there), never far more. A theme that is
        played shorter spares the lowest register or overdoes the highest.
        """
        values = np.array(self.register_db[:3])
        sizes = np.abs(values)
        middle = float(np.median(sizes))
        if np.any(values * self.wetness_db <= 0) or sizes.max() >= _MOST_UNLIKE * sizes.min():
            return False
        top = self.register_db[3]
        if np.isfinite(top) and abs(top) >= _MOST_TOP * middle:
            return False
        gains = self.register_gain
        lowest_moves = sizes[0] >= _LEAST_LOW * sizes[1:].mean()
        lowest_tells = gains[0] >= _LEAST_LOW * float(np.mean(gains[:3]))
        return bool(lowest_moves or lowest_tells)


def wetness_between(reference: Features, candidate: Features, match: Match) -> Wetness | None:
    """Relative wetness of two matched recordings, heard in at most ten minutes of them."""
    times_s, settled = _stretches(match.grid_s(BAND_RATE_HZ))
    candidate_s = match.time_map.to_candidate(times_s)
    return relative_wetness(
        sample_frames(reference.band_power.sum(axis=2), BAND_RATE_HZ, times_s),
        sample_frames(candidate.band_power.sum(axis=2), BAND_RATE_HZ, candidate_s),
        common_bands(reference, candidate),
        settled,
    )


def _stretches(times_s: FloatArray) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """At most ten minutes, in stretches of 20 s spread over the whole; and which frames have
    their past with them.
    """
    length = round(_STRETCH_S * BAND_RATE_HZ)
    count = len(times_s) // length
    wanted = round(_MOST_S / _STRETCH_S)
    if count > wanted:
        firsts = np.linspace(0, count - 1, wanted).round().astype(int) * length
        times_s = np.concatenate([times_s[first : first + length] for first in firsts])
    jumps = np.flatnonzero(np.abs(np.diff(times_s) * BAND_RATE_HZ - 1) > 0.5) + 1
    settled = np.ones(len(times_s), bool)
    for jump in (0, *jumps):
        settled[jump : jump + round(_SETTLE_S * BAND_RATE_HZ)] = False
    return times_s, settled


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
        None for less than 8 s in common, or without bands in each of the three registers.
    """
    bands = np.arange(LOWEST_BAND, HIGHEST_BAND + 1)
    bands = bands[usable[LOWEST_BAND : HIGHEST_BAND + 1]]
    register = np.searchsorted(WETNESS_REGISTERS_HZ, THIRD_OCTAVE_CENTRES_HZ[bands]) - 1
    blocks = len(reference) // _BLOCK_FRAMES
    if blocks < 2 or not all(np.any(register == index) for index in range(3)):
        return None
    costs = _Costs(reference[:, bands], candidate[:, bands], settled)
    smeared = costs.table(even=False)
    shares = _by_register(smeared, register, costs.cells)
    if shares is None:
        return Wetness(
            0.0, (0.0, 0.0), float(KERNEL_TIMES_S[2]), 0.0, 0.0, (0.0,) * 4, (0.0,) * 4, 0.0
        )
    total = shares.sum(axis=0)
    time = _best_time(total)
    by_register = [_refined(total[time, :, index]) for index in range(4)]
    gains = 1 - total[time].min(axis=0) / total[time, _NONE]
    rng = np.random.default_rng(0)
    draws = rng.multinomial(blocks, np.full(blocks, 1 / blocks), _DRAWS)
    drawn = np.tensordot(draws, shares[:, time], axes=1)
    scatter = interval(np.array([_main_wetness(one) for one in drawn]))
    even = _by_register(costs.table(even=True), register, costs.cells)
    even_db = 0.0
    if even is not None:
        even_total = even.sum(axis=0)
        even_db = _main_wetness(even_total[_best_time(even_total)])
    return Wetness(
        wetness_db=float(np.median(by_register[:3])),
        scatter_db=scatter,
        kernel_time_s=float(KERNEL_TIMES_S[time]),
        gain=float(np.mean(gains[:3])),
        even_db=even_db,
        register_db=tuple(by_register),
        register_gain=tuple(float(gain) for gain in gains),
        held_share=_held_share(costs, float(np.median(by_register[:3])), smeared),
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

    def held(self, frames: int, candidate_is_longer: bool) -> FloatArray:
        """Costs with every sound of one recording held for some frames; (blocks, bands)."""
        if candidate_is_longer:
            longer = _level(_hold(self._reference, frames))
            return self._cost(self._candidate_db - longer, False)
        longer = _level(_hold(self._candidate, frames))
        return self._cost(longer - self._reference_db, False)

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


def _hold(power: FloatArray, frames: int) -> FloatArray:
    """Largest power of this and the last frames."""
    padded = np.concatenate([np.repeat(power[:1], frames, axis=0), power])
    view = np.lib.stride_tricks.sliding_window_view(padded, frames + 1, axis=0)
    return np.asarray(view.max(axis=-1))


def _by_register(
    table: FloatArray, register: npt.NDArray[np.int64], cells: FloatArray
) -> FloatArray | None:
    """Costs relative to no change, every band alike, mean of each register's bands.

    Shape (blocks, kernel times, wetnesses, registers); None where there is no difference at all.
    """
    none = table[:, 0, _NONE].sum(axis=0)
    moved = none > _NOTHING_DB * np.maximum(cells.sum(axis=0), 1)
    if not all(np.any(moved & (register == index)) for index in range(3)):
        return None
    relative = table / np.maximum(none, 1e-12)
    out = np.full((*table.shape[:3], 4), np.nan)
    for index in range(4):
        members = moved & (register == index)
        if members.any():
            out[..., index] = relative[..., members].mean(axis=-1)
    return out


def _held_share(costs: _Costs, wetness: float, smeared: FloatArray) -> float:
    """Gain by holding every sound of the drier recording over gain by one smear of it."""
    by_band = smeared.sum(axis=0)
    none = np.maximum(by_band[0, _NONE], 1e-9)
    smear_gain = 1 - float((by_band / none).mean(axis=-1).min())
    held = [costs.held(frames, wetness > 0).sum(axis=0) for frames in _HELD_FRAMES]
    held_gain = 1 - min(float((cost / none).mean()) for cost in held)
    return max(held_gain, 0.0) / smear_gain if smear_gain > 0 else 0.0


def _best_time(total: FloatArray) -> int:
    """Index of the kernel time that explains most, each register with its own wetness."""
    return int(total[..., :3].min(axis=1).mean(axis=-1).argmin())


def _main_wetness(costs: FloatArray) -> float:
    """Median wetness of the three registers; costs (wetnesses, registers)."""
    return float(np.median([_refined(costs[:, index]) for index in range(3)]))


def _refined(costs: FloatArray) -> float:
    """Wetness of the lowest cost, by a parabola through its neighbours; NaN without costs."""
    if not np.isfinite(costs).all():
        return float("nan")
    index = int(costs.argmin())
    if index in (0, len(costs) - 1):
        return float(WETNESS_DB[index])
    around = slice(index - 1, index + 2)
    square, line, _ = np.polyfit(WETNESS_DB[around] - WETNESS_DB[index], costs[around], 2)
    if square <= 0:
        return float(WETNESS_DB[index])
    return float(WETNESS_DB[index] - line / (2 * square))
