"""The tail that one mix of a take has more of, read from the response between both.

Conventions
-----------
As in :mod:`mixcompare.pair.reverberation`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy import special

from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.pair.channels import channel_powers, cross_power
from mixcompare.pair.gaps import KNOWN, REGISTER, Gaps, gaps_of
from mixcompare.pair.match import Match
from mixcompare.pair.response import STEP_S, CrossSpectra, Response
from mixcompare.pair.tail_course import MIDDLE, NEAREST_S, decay_time_s, extent, stop_of_fall
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

FloatArray = npt.NDArray[np.float64]
Interval = tuple[float, float]

_SHORTEST_S = 0.05  # of a tail, chosen on the real take (``tests.benchmarks.added_tails``)
_LEAST_CLEAR = 2.0  # of the whole; sections, compressors, codecs and filters stay under 1.5
_LEVELS_DB = (-35.0, 10.0)  # of a tail, chosen likewise
_EARLY_S = 0.01
"""A tail that sets in sooner may as well have set in with the sound."""
_LEVEL_DB, _DECAY_SHARE, _PREDELAY_S = 1.0, 0.2, 0.005
"""What the intervals hold besides scatter, at 95 %: what plays above and below the registers, one
realisation of a decay heard through few partials, the bins. Chosen on fifteen made-up pieces."""


@dataclass(frozen=True)
class Tail:
    """A tail that one of two mixes has more of.

    Attributes
    ----------
    added : bool
        Whether it is the candidate that has it.
    level_db : float
        Against the direct sound.
    level_interval_db : tuple of float
    predelay_s, predelay_interval_s
        None where it can't be told from an onset with the direct sound.
    decay_s, decay_interval_s
        None where too little of the fall stands clear of the floor.
    register_db : tuple of float, four
        Its level against the direct part of each register.
    top_db, top_interval_db
        The highest register of these against the middle two: negative = dark.
    gaps_db, gaps_interval_db
        By how much it lifts the music's gaps and decays.
    borne_out : float or None
        By how much louder gaps are than what surrounds them, over what the tail foretells; None
        where it would lift everything alike.
    lift_db : ndarray, shape (bands, 2)
        By how much it lifts each third octave as a whole, and the hundredth of its cells most.
    lift_hz : ndarray, shape (bands,)
        Which third octaves these are: those that the registers hold.
    direct_side_db : float
        Side against mid of the direct sound, wetter against drier mix.
    mid_share : float
        Of the tail's energy, what lies in the mid: half of it where both channels are independent.
    """

    added: bool
    level_db: float
    level_interval_db: Interval
    predelay_s: float | None
    predelay_interval_s: Interval | None
    decay_s: float | None
    decay_interval_s: Interval | None
    register_db: tuple[float, ...]
    top_db: float
    top_interval_db: Interval
    gaps_db: float
    gaps_interval_db: Interval
    borne_out: float | None
    lift_db: FloatArray = field(repr=False)
    lift_hz: FloatArray = field(repr=False)
    direct_side_db: float
    mid_share: float


@dataclass(frozen=True)
class MidSide:
    """Power of mid and side in third octaves at the pair's moments, (frames, 31, 2)."""

    drier: FloatArray
    wetter: FloatArray

    def mirrored(self) -> MidSide:
        """The same with the roles exchanged."""
        return MidSide(self.wetter, self.drier)


def mid_side(
    reference: Features, candidate: Features, match: Match, gain_db: FloatArray | None
) -> MidSide:
    """Of both recordings at the same moments; the level of the whole is shared out between them."""
    times_s = match.grid_s(BAND_RATE_HZ)
    found = []
    for features, at_s in ((reference, times_s), (candidate, match.time_map.to_candidate(times_s))):
        total = channel_powers(features, at_s, 1).sum(axis=2)
        shared = 2 * cross_power(features, at_s, 1).real
        found.append(np.maximum(np.stack([total + shared, total - shared], axis=2), 0) / 2)
    if gain_db is not None:
        half_db = np.interp(times_s, gain_db[:, 0], gain_db[:, 1])[:, None, None] / 2
        found = [found[0] * 10 ** (half_db / 10), found[1] * 10 ** (-half_db / 10)]
    return MidSide(*found)


class Reading:
    """The response of one mix to the other, read as a tail that it has more of."""

    def __init__(self, spectra: CrossSpectra, powers: MidSide) -> None:
        self._spectra = spectra
        response = spectra.response
        self._first, self._behind = extent(response)
        self._part = slice(self._first, self._behind)
        self._stop = stop_of_fall(response, self._first, self._behind)
        self._direct = (powers.drier * response.direct).sum(axis=2)
        self._heard = powers.wetter.sum(axis=2)
        self._weight = self._direct.sum(axis=0)
        before, after = (
            each.sum(axis=(0, 1)) for each in (powers.drier, powers.drier * response.direct)
        )
        self._direct_side_db = _decibels(after[1] / max(after[0], 1e-30)) - _decibels(
            before[1] / max(before[0], 1e-30)
        )
        energy, floor = (each[:, self._part].sum() for each in (response.energy, response.floor))
        self.clearness = float(energy / max(floor, 1e-30))
        self.is_clear = bool(
            self.clearness > _LEAST_CLEAR
            and (self._behind - self._first) * STEP_S > _SHORTEST_S
            and _LEVELS_DB[0] < self._level_db(response) < _LEVELS_DB[1]
        )
        late = slice(round(NEAREST_S / STEP_S), round(1.0 / STEP_S))
        by_register = response.floor[:, late].sum(axis=1)[REGISTER]
        self.hidden_db = _decibels(float((self._weight * by_register).sum() / self._weight.sum()))

    @cached_property
    def gaps(self) -> Gaps:
        """What the tail foretells of the music's gaps, and whether it is there."""
        excess = np.zeros_like(self._spectra.response.energy)
        excess[:, self._part] = self._spread(self._spectra.response)
        return gaps_of(excess, self._direct, self._heard)

    def _spread(self, response: Response) -> FloatArray:
        """Energy of the tail over the floor, of every register and delay."""
        return np.asarray((response.energy - response.floor)[:, self._part])

    def _excess(self, response: Response) -> FloatArray:
        """Energy of the tail over the floor, of every register."""
        return np.asarray(self._spread(response).sum(axis=1))

    def _level_db(self, response: Response) -> float:
        """Against the direct part, each register as loud as this music plays in it."""
        excess = self._excess(response)
        return _decibels(float((self._weight * excess[REGISTER]).sum() / self._weight.sum()))

    def _mid_share(self, response: Response) -> float:
        """Of the whole tail, each register as loud as this music plays in it."""
        whole = self._excess(response)[REGISTER]
        spread = response.in_mid - response.floor_in_mid
        mid = spread[:, self._part].sum(axis=1)[REGISTER]
        share = float((self._weight * mid).sum() / max((self._weight * whole).sum(), 1e-30))
        return min(max(share, 0.0), 1.0)

    def _values(self, response: Response) -> FloatArray:
        """Level, pre-delay, logarithm of the decay time, level of the top against the middle."""
        excess = self._excess(response)
        decay_s = decay_time_s(response, self._first, self._stop)
        return np.array(
            [
                self._level_db(response),
                extent(response)[0] * STEP_S,
                np.nan if decay_s is None else np.log(decay_s),
                _decibels(float(excess[3])) - _decibels(float(excess[MIDDLE].mean())),
            ]
        )

    def tail(self, added: bool) -> Tail:
        """All that is said of it, with intervals from leaving out one block of time after another.

        The jackknife's variance (Efron and Stein 1981, from memory), Student's t.
        """
        spectra, response = self._spectra, self._spectra.response
        level_db, predelay_s, decay, top_db = self._values(response)
        blocks = spectra.blocks
        drawn = np.array([self._values(spectra.without(block)) for block in range(blocks)])
        spread = np.sqrt((blocks - 1) / blocks * ((drawn - drawn.mean(axis=0)) ** 2).sum(axis=0))
        spread = np.nan_to_num(special.stdtrit(blocks - 1, 0.975) * spread, nan=np.inf)
        about_db = float(np.hypot(spread[0], _LEVEL_DB))
        early = predelay_s < _EARLY_S
        about_s = float(np.hypot(spread[1], _PREDELAY_S))
        wide = float(np.hypot(spread[2], _DECAY_SHARE))
        timed = bool(np.isfinite(decay) and np.isfinite(wide))
        gaps_db = self.gaps.lift_db
        return Tail(
            added=added,
            level_db=level_db,
            level_interval_db=(level_db - about_db, level_db + about_db),
            predelay_s=None if early else float(predelay_s),
            predelay_interval_s=None if early else (predelay_s - about_s, predelay_s + about_s),
            decay_s=float(np.exp(decay)) if timed else None,
            decay_interval_s=(
                (float(np.exp(decay - wide)), float(np.exp(decay + wide))) if timed else None
            ),
            register_db=tuple(_decibels(float(one)) for one in self._excess(response)),
            top_db=float(top_db),
            top_interval_db=(float(top_db - spread[3]), float(top_db + spread[3])),
            gaps_db=gaps_db,
            gaps_interval_db=(raised_db(gaps_db, -about_db), raised_db(gaps_db, about_db)),
            lift_db=self.gaps.band_lift_db,
            lift_hz=THIRD_OCTAVE_CENTRES_HZ[KNOWN],
            direct_side_db=self._direct_side_db,
            mid_share=self._mid_share(response),
            borne_out=self.gaps.borne_out if self.gaps.are_put_to_test else None,
        )


def _decibels(power: float) -> float:
    return float(10 * np.log10(max(power, 1e-9)))


def raised_db(lift_db: float, by_db: float) -> float:
    """What a lift becomes where the tail is so much stronger."""
    return float(10 * np.log10(1 + (10 ** (lift_db / 10) - 1) * 10 ** (by_db / 10)))
