"""One take: the tail that one mix has and the other lacks, as an engineer sets it.

Conventions
-----------
Read from the response between both mixes (:mod:`mixcompare.pair.response`), of whichever is the
wetter one. ``level_db`` is the tail's energy against the direct sound's as this music excites it,
both channels together; ``predelay_s`` when it sets in; ``decay_s`` its time for 60 dB in the
middle registers; ``gaps_db`` by how much it lifts what it is heard in: the twentieth of all
audible cells (third octave by 40 ms) that it lifts most, which are the music's gaps and decays.

A response has no memory of who is the wetter one: a tail added and one left out look alike, and a
section of the orchestra that stands in the room may look like either. So a tail counts only where
the wetter mix has the energy that it foretells, in the moments where the music leaves it free.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import signal, special
from scipy.ndimage import uniform_filter1d

from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.pair.channels import channel_powers, cross_power
from mixcompare.pair.match import Match
from mixcompare.pair.response import REGISTERS_HZ, STEP_S, CrossSpectra, Response, cross_spectra
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

FloatArray = npt.NDArray[np.float64]
Interval = tuple[float, float]

_REGISTER = (np.searchsorted(REGISTERS_HZ, THIRD_OCTAVE_CENTRES_HZ) - 1).clip(0, 3)
_KNOWN = (REGISTERS_HZ[0] < THIRD_OCTAVE_CENTRES_HZ) & (REGISTERS_HZ[-1] > THIRD_OCTAVE_CENTRES_HZ)
_MIDDLE = slice(1, 3)  # registers: 282 Hz to 2.8 kHz

_NEAREST_S = 0.005  # before it, what is read as the direct part has its skirts
_FARTHEST_S = 2.0  # a tail's onset is sought until then; our choice
_SETS_IN = 1 / 8  # of the densest energy
_SHORTEST_S = 0.05  # of a tail, chosen on the real take (``tests.benchmarks.added_tails``)
_CLEAR = 1.5  # of energy over floor, for a tail to be followed on
_LEAST_CLEAR = 2.0  # of the whole; sections, compressors, codecs and filters stay under 1.5
_READABLE = 6.0
"""Under it both mixes have a room of their own, and what is read is the ratio of the two: it
answers before the sound as well, and its level says little. (Two such rooms: 4; a tail added to a
real take, with compression besides: 30 and more.)"""

_LEVELS_DB = (-35.0, 10.0)  # of a tail, chosen likewise
_EARLY_S = 0.01
"""A tail that sets in sooner may as well have set in with the sound."""

_CLEAR_FALL = 5.0  # of energy over floor, chosen likewise
# The range of T20 in ISO 3382-1:2009; the least of it and of bins were chosen on the real take
# (``tests.benchmarks.added_tails``).
_FALL_DB, _LEAST_FALL_DB = (-5.0, -25.0), 6.0
_LEAST_FALL_BINS = 16  # 40 ms
_FALL_ROUNDS = 4  # cost: decay and what lies behind it by turns

# Percentiles of what is foretold, in the gaps and elsewhere.
_MOST, _GAPS, _HIGH, _LOW = 99, 95, 90, 50
_LEAST_CELLS = 50  # of a band, chosen on the real take (``tests.benchmarks.added_tails``)
_LEAST_CONTRAST_DB = 0.2  # between gaps and the rest, chosen likewise
_LEAST_BORNE_OUT, _MOST_BORNE_OUT = 0.4, 1.3  # of what is foretold, chosen likewise
_MUCH_CLEARER = 2.0  # chosen likewise
# Below a band's loud moments and a moment's loudest band; our judgement, not measured.
_BAND_RANGE, _MOMENT_RANGE = 10**-4.5, 1e-5
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


@dataclass(frozen=True)
class Reverberation:
    """What the response between two mixes says of the room.

    Attributes
    ----------
    tail : Tail or None
        None where neither mix has one that the other lacks.
    hidden_db : float
        Level of a tail that would have stayed under the floor; infinite where something answers
        behind the sound that is no tail.
    """

    tail: Tail | None
    hidden_db: float


def reverberation_between(
    reference: Features, candidate: Features, match: Match, gain_db: FloatArray | None = None
) -> Reverberation | None:
    """Read the tail that one mix of a take has and the other lacks.

    Parameters
    ----------
    reference, candidate : Features
        Of one take.
    match : Match
        How they lie.
    gain_db : ndarray, shape (n, 2), optional
        Reference times and level of the whole at them, which is taken off.

    Returns
    -------
    Reverberation or None
        None where too little is in common.
    """
    spectra = cross_spectra(reference, candidate, match, gain_db)
    if spectra is None:
        return None
    powers = _powers(reference, candidate, match, gain_db)
    ways = ((spectra, powers, True), (spectra.mirrored(), powers.mirrored(), False))
    hidden_db, answers = [], []
    for one, of_them, added in ways:
        read = _Reading(one, of_them)
        hidden_db.append(read.hidden_db)
        if read.is_clear:
            answers.append((read, added))
    if not answers:
        return Reverberation(None, max(hidden_db))
    told = [(read, added) for read, added in answers if read.is_borne_out]
    if not any(read.is_put_to_test for read, _ in answers):
        # Undone, a tail leaves echoes of itself behind and before: the clearer way is the true one.
        answers.sort(key=lambda one: one[0].clearness)
        alone = len(answers) == 1
        if alone or answers[1][0].clearness > _MUCH_CLEARER * answers[0][0].clearness:
            told = answers[-1:]
    # Borne out both ways: each has a tail where the other has a dip, and neither is the wetter.
    if len(told) != 1 or told[0][0].clearness < _READABLE or told[0][0].is_outdone:
        return Reverberation(None, np.inf)
    read, added = told[0]
    return Reverberation(read.tail(added), read.hidden_db)


@dataclass(frozen=True)
class _Powers:
    """Power of mid and side in third octaves at the pair's moments, (frames, 31, 2)."""

    drier: FloatArray
    wetter: FloatArray

    def mirrored(self) -> _Powers:
        return _Powers(self.wetter, self.drier)


def _powers(
    reference: Features, candidate: Features, match: Match, gain_db: FloatArray | None
) -> _Powers:
    times_s = match.grid_s(BAND_RATE_HZ)
    found = []
    for features, at_s in ((reference, times_s), (candidate, match.time_map.to_candidate(times_s))):
        total = channel_powers(features, at_s, 1).sum(axis=2)
        shared = 2 * cross_power(features, at_s, 1).real
        found.append(np.maximum(np.stack([total + shared, total - shared], axis=2), 0) / 2)
    if gain_db is not None:
        half_db = np.interp(times_s, gain_db[:, 0], gain_db[:, 1])[:, None, None] / 2
        found = [found[0] * 10 ** (half_db / 10), found[1] * 10 ** (-half_db / 10)]
    return _Powers(*found)


class _Reading:
    """The response of one mix to the other, read as a tail that it has more of."""

    def __init__(self, spectra: CrossSpectra, powers: _Powers) -> None:
        self._spectra = spectra
        response = spectra.response
        self._first, self._behind = _extent(response)
        self._part = slice(self._first, self._behind)
        self._stop = _stop(response, self._first, self._behind)
        direct = (powers.drier * response.direct).sum(axis=2)
        self._weight = direct.sum(axis=0)
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
        late = slice(round(_NEAREST_S / STEP_S), round(1.0 / STEP_S))
        by_register = response.floor[:, late].sum(axis=1)[_REGISTER]
        self.hidden_db = _decibels(float((self._weight * by_register).sum() / self._weight.sum()))
        self.borne_out, self.contrast_db, self.gaps_db = 0.0, 0.0, 0.0
        if self.is_clear:
            self._foretell(response, direct, powers.wetter.sum(axis=2))

    @property
    def is_put_to_test(self) -> bool:
        """Whether the gaps would show the tail; one that ends with the sound lifts all alike."""
        return self.contrast_db >= _LEAST_CONTRAST_DB

    @property
    def is_borne_out(self) -> bool:
        """Whether they do."""
        return self.is_put_to_test and self.borne_out >= _LEAST_BORNE_OUT

    @property
    def is_outdone(self) -> bool:
        """Whether gaps are louder than foretold: it joins a room that was there already."""
        return self.is_put_to_test and self.borne_out > _MOST_BORNE_OUT

    def _foretell(self, response: Response, direct: FloatArray, heard: FloatArray) -> None:
        """What the tail adds to every cell, and whether it is there."""
        excess = np.zeros_like(response.energy)
        excess[:, self._part] = (response.energy - response.floor)[:, self._part]
        by_frame = _in_frames(excess)[_REGISTER].T
        tail = np.maximum(signal.fftconvolve(direct, by_frame, axes=0)[: len(direct)], 0)
        foretold = 10 * np.log10(1 + tail / (direct + 1e-14))
        whole = 10 * np.log10(1 + tail.sum(axis=0) / (direct.sum(axis=0) + 1e-14))
        most = np.percentile(foretold, _MOST, axis=0)
        self._lift_db = np.column_stack([whole, most])[_KNOWN]
        found = 10 * np.log10((heard + 1e-14) / (direct + 1e-14))
        audible = (heard > _BAND_RANGE * np.percentile(heard, 95, axis=0)) & (
            heard > _MOMENT_RANGE * heard.max(axis=1, keepdims=True)
        )
        audible &= _KNOWN
        self.borne_out, self.contrast_db = _borne_out(foretold, found, audible)
        self.gaps_db = float(np.percentile(foretold[audible], _GAPS)) if audible.any() else 0.0

    def _excess(self, response: Response) -> FloatArray:
        """Energy of the tail over the floor, of every register."""
        return np.asarray((response.energy - response.floor)[:, self._part].sum(axis=1))

    def _level_db(self, response: Response) -> float:
        """Against the direct part, each register as loud as this music plays in it."""
        excess = self._excess(response)
        return _decibels(float((self._weight * excess[_REGISTER]).sum() / self._weight.sum()))

    def _values(self, response: Response) -> FloatArray:
        """Level, pre-delay, logarithm of the decay time, level of the top against the middle."""
        excess = self._excess(response)
        decay_s = _decay_s(response, self._first, self._stop)
        return np.array(
            [
                self._level_db(response),
                _extent(response)[0] * STEP_S,
                np.nan if decay_s is None else np.log(decay_s),
                _decibels(float(excess[3])) - _decibels(float(excess[_MIDDLE].mean())),
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
        gaps_db = self.gaps_db
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
            gaps_interval_db=(_raised(gaps_db, -about_db), _raised(gaps_db, about_db)),
            lift_db=self._lift_db,
            lift_hz=THIRD_OCTAVE_CENTRES_HZ[_KNOWN],
            direct_side_db=self._direct_side_db,
            borne_out=self.borne_out if self.is_put_to_test else None,
        )


def _decibels(power: float) -> float:
    return float(10 * np.log10(max(power, 1e-9)))


def _raised(lift_db: float, by_db: float) -> float:
    """What a lift becomes where the tail is so much stronger."""
    return float(10 * np.log10(1 + (10 ** (lift_db / 10) - 1) * 10 ** (by_db / 10)))


def _extent(response: Response) -> tuple[int, int]:
    """First bin of the tail, and the one behind its last that stands clear of the floor."""
    energy, floor = response.energy.sum(axis=0), response.floor.sum(axis=0)
    floor = uniform_filter1d(floor, 41)
    last = round(_FARTHEST_S / STEP_S)
    dense = uniform_filter1d(energy - floor, 3)[:last]
    dense[: round(_NEAREST_S / STEP_S)] = 0.0
    first = int(np.argmax(dense > _SETS_IN * dense.max())) + 1
    start = first + 8
    drowned = uniform_filter1d(energy, 21)[start:last] < _CLEAR * floor[start:last]
    return first, start + int(drowned.argmax()) if drowned.any() else last


def _stop(response: Response, first: int, behind: int) -> int:
    """Bin behind the part of the fall that stands well clear of the floor."""
    energy, floor = (each[_MIDDLE].sum(axis=0) for each in (response.energy, response.floor))
    start = first + _LEAST_FALL_BINS
    drowned = uniform_filter1d(energy, 9) < _CLEAR_FALL * uniform_filter1d(floor, 41)
    drowned = drowned[start:behind]
    return start + int(drowned.argmax()) if drowned.any() else max(start, behind)


def _decay_s(response: Response, first: int, stop: int) -> float | None:
    """Time for 60 dB in the middle registers: T20 where 25 dB stand clear, else as far as it is.

    By backward integration (ISO 3382-1:2009, 5.3.3); what lies behind the clear part is added as
    an exponential of the slope that comes out.
    """
    energy, floor = (each[_MIDDLE].sum(axis=0) for each in (response.energy, response.floor))
    excess = (energy - floor)[first:stop]
    last = max(float(excess[-8:].mean()), 0.0)
    curve = np.cumsum(excess[::-1])[::-1]
    time_s, rest = np.arange(len(curve)) * STEP_S, 0.0
    decay_s = None
    for _ in range(_FALL_ROUNDS):
        level = 10 * np.log10(np.maximum(curve + rest, 1e-15) / (curve[0] + rest))
        inside = (level < _FALL_DB[0]) & (level > _FALL_DB[1])
        if inside.sum() < _LEAST_FALL_BINS or np.ptp(level[inside]) < _LEAST_FALL_DB:
            return None
        slope = np.polyfit(time_s[inside], level[inside], 1)[0]
        if slope >= 0:
            return None
        decay_s = float(-60 / slope)
        rest = last * decay_s / (6 * np.log(10) * STEP_S)
    return decay_s


def _in_frames(excess: FloatArray) -> FloatArray:
    """Energy by delay, in frames of the bands."""
    frame = np.round((np.arange(excess.shape[1]) + 0.5) * STEP_S * BAND_RATE_HZ).astype(int)
    out = np.zeros((len(excess), frame[-1] + 1))
    for register, energy in enumerate(excess):
        np.add.at(out[register], frame, energy)
    return out


def _borne_out(
    foretold: FloatArray, found: FloatArray, audible: npt.NDArray[np.bool_]
) -> tuple[float, float]:
    """By how much louder the gaps are, over what is foretold, and how much that is.

    Each band against its own rest, so that its tone does not count.
    """
    steps = []
    for band in np.flatnonzero(_KNOWN):
        ours, theirs = (each[audible[:, band], band] for each in (foretold, found))
        if len(ours) < _LEAST_CELLS:
            continue
        free, covered = ours >= np.percentile(ours, _HIGH), ours <= np.percentile(ours, _LOW)
        steps.append([np.median(each[free]) - np.median(each[covered]) for each in (ours, theirs)])
    if not steps:
        return 0.0, 0.0
    ours, theirs = np.array(steps).T
    power = float((ours**2).mean())
    return float((ours * theirs).mean() / max(power, 1e-12)), float(np.sqrt(power))
