"""Unpitched percussion among the parts of a score: its levels, and what stands out of it.

Conventions
-----------
As for the other parts (:mod:`mixcompare.parts.levels`): candidate minus reference in dB, against
what did not change. Rolls, and strokes that follow too fast on another, are no strokes.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mixcompare.elements.audibility import audibility
from mixcompare.elements.change import Change, Split
from mixcompare.knowledge.notes import PartNotes, PartStrokes
from mixcompare.pair.pair import Pair
from mixcompare.parts.course import bars_of
from mixcompare.parts.heard import SILENT_DB
from mixcompare.parts.onsets import onsets_of, shares_of
from mixcompare.parts.rises import Onsets, Rises
from mixcompare.parts.strokes import FEWEST, LEVELS_DB, Struck, Tone, level_of, tone_of
from mixcompare.parts.struck import with_strokes
from mixcompare.parts.theme import written_in
from mixcompare.parts.values import Levels, PartLevel, Players, Stretch
from mixcompare.standards.bs1770 import k_weighting_power

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.intp]

_RESTS = "Is not struck in what both recordings have in common."
_ROLLS = "Plays rolls, or strokes too fast to be told apart: none rises by itself."
_FEW = "Only {}: too few for its level to be told."
_UNHEARD = (
    "Its strokes do not stand out from what begins besides: too soft, covered, or not in what was"
    " played."
)
_WIDE = "Its strokes differ too much from each other for its level to be told."
_OTHER = "Other instruments seem to play than in the reference: then a stroke's level says little."

_GAP_S = 0.13  # a stroke that follows faster on another is not told from it; our choice
_MARGIN_S = (0.4, 0.6)  # at the ends of what is in common, where windows reach over it
_THERE, _BANDS = 0.75, 2
"""Share of a stroke's rise that is its own, in the best two bands, for it to be heard at all: where
strokes are written and not played up to .71 in three movements, .9 and more where they are."""
_MOVED = 0.3  # share of a rise from which those who moved are not asked; our choice
_OVER_DB, _LEAST = (3.0, 15.0), 1e-3
"""Of what an instrument adds to a band over what others add there, from where the band tells
something to where it tells all; our choice."""
_GONE_DB, _MOST_DB = 8.0, 15.0
"""Further down, where it is heard no more, it may not be there at all; what is said at most."""
_LOUDER_DB = 3.0
"""Than other onsets, a stroke, where a gain follows the music: 2:1 moved levels by up to 0.6 dB
(three movements)."""
_WIDEST_DB, _LEAST_DB = 4.5, 0.5  # half an interval; and its near end, to stand out; our choice
_TOGETHER = 0.85  # of two instruments' strokes, to be one; as for doublings
_RING_S, _AHEAD_S = 0.5, 0.1  # of a stroke, in which its cells are its own; our choice
_STRETCH_S, _STRETCH_DB = 2.0, 2.5  # a few bars, and half an interval there; our choice
_LIKELY = 1.92  # half of chi-squared's 95 %


def with_percussion(levels: Levels | None, pair: Pair, split: Split) -> Levels | None:
    """The levels of all parts, with those of instruments that have no pitch.

    Parameters
    ----------
    levels : Levels or None
        Of the parts that have one.
    pair : Pair
        With the strokes of a score.
    split : Split
        Its difference taken apart.
    """
    struck = pair.match.strokes
    if not struck:
        return levels
    found = levels or Levels((), split.changes, tuple(Players() for _ in split.changes))
    return _Percussion(pair, found).levels()


@dataclass(frozen=True, eq=False)
class _Own:
    """The single strokes of one instrument: which onsets, and their rises in both recordings."""

    places: IntArray
    rises: tuple[Rises, Rises]
    weights: FloatArray


class _Percussion:
    """Strokes of one pair."""

    def __init__(self, pair: Pair, found: Levels) -> None:
        self.pair, self.found, self.struck = pair, found, pair.match.strokes
        self.pitched = len(pair.match.parts)
        start_s, end_s = pair.span_s
        span_s = start_s + _MARGIN_S[0], end_s - _MARGIN_S[1]
        reach_s = Onsets.reach_s(pair.same_take)
        self.written = onsets_of(pair.match.parts, self.struck, span_s, reach_s)

    def levels(self) -> Levels:
        """With a row for every instrument, and a change for every one that stands out."""
        sizes = self._sizes() if len(self.written.times_s) else [None] * len(self.struck)
        energies = [self._energy(place) for place in range(len(self.struck))]
        parts = [
            self._part(place, size, own)
            for place, (size, own) in enumerate(zip(sizes, energies, strict=True))
        ]
        found = self.found
        changes = list(zip(found.changes, found.players, strict=True))
        for part, own in zip(parts, energies, strict=True):
            if own.any():
                changes = with_strokes(changes, part, own, self._change(part, own))
        return replace(
            found,
            parts=(*found.parts, *parts),
            changes=tuple(change for change, _ in changes),
            players=tuple(players for _, players in changes),
        )

    # --- sizes ---------------------------------------------------------------------------------

    @cached_property
    def _onsets(self) -> Onsets:
        return Onsets(self.pair, self.written.times_s)

    @cached_property
    def _all(self) -> tuple[Rises, Rises]:
        return self._onsets.of_all()

    @cached_property
    def _shares(self) -> FloatArray:
        """Shares of either recording's rises, shape (2, parts, onsets, bands)."""
        return np.stack([shares_of(one.rise, self.written.begins) for one in self._all])

    @cached_property
    def _moved(self) -> FloatArray:
        """Share of every rise that is that of parts with a pitch that moved."""
        names = {name for players in self.found.players for name in players.names}
        own = [place for place, one in enumerate(self.pair.match.parts) if one.name in names]
        return np.asarray(self._shares[:, own].sum(axis=1).max(axis=0))

    @cached_property
    def _tone(self) -> Tone:
        struck = self._shares[:, self.pitched :].sum(axis=1).max(axis=0)
        asked = (struck < 0.1) & (self._moved < _MOVED) & ~self.written.rolled[:, None]
        # Under a stroke a band that strokes rule is nobody else's, whatever is laid to them.
        ruled = sum(self._ruled) > 0
        asked &= ~(self.written.struck(self.pitched)[:, None] & ruled)
        return tone_of(*self._all, asked)

    def _strokes(self, place: int) -> IntArray:
        """Onsets at which an instrument is struck by itself."""
        begins = self.written.begins[self.pitched + place] > 0
        places = np.flatnonzero(begins & ~self.written.rolled)
        before_s = np.diff(self.written.times_s[places], prepend=-np.inf)
        return places[before_s > _GAP_S]

    @cached_property
    def _own(self) -> list[_Own | None]:
        return [self._read(place) for place in range(len(self.struck))]

    def _read(self, place: int) -> _Own | None:
        """An instrument's own rises, read where its own bands rise."""
        places, weights = self._strokes(place), self._ruled[place]
        if len(places) < FEWEST or max(self._there(place)) < _THERE or not weights.any():
            return None
        return _Own(places, self._onsets.read(weights / weights.sum(), places), weights)

    @cached_property
    def _ruled(self) -> list[FloatArray]:
        return [self._ruled_by(place) for place in range(len(self.struck))]

    def _ruled_by(self, place: int) -> FloatArray:
        """What every band tells of an instrument: how far its rises stand over all others there."""
        own = self._strokes(place)
        struck = self.written.begins[self.pitched + place] > 0
        ruled = np.zeros(len(self._onsets.centre_hz))
        if not len(own) or struck.all():
            return ruled
        for share, rises in zip(self._shares[:, self.pitched + place], self._all, strict=True):
            theirs = np.median((share * rises.rise)[own], axis=0)
            others = np.median(rises.rise[~struck], axis=0) + rises.before.mean(axis=0) * _LEAST
            stands_db = 10 * np.log10(np.maximum(theirs, 1e-30) / others)
            weight = np.clip((stands_db - _OVER_DB[0]) / np.ptp(_OVER_DB), 0, 1)
            # A band is its own where most of its strokes are seen there.
            ruled = np.maximum(ruled, np.where(rises.clear[own].mean(axis=0) > 0.5, weight, 0.0))
        return ruled

    def _there(self, place: int) -> tuple[float, float]:
        """How much of the strokes' rises is their own in their best bands, in either recording."""
        own = self._shares[:, self.pitched + place][:, self._strokes(place)].mean(axis=1)
        own = own * (self._ruled[place] > 0)
        reference, candidate = np.sort(own, axis=1)[:, -_BANDS:].mean(axis=1).tolist()
        return reference, candidate

    def _sizes(self) -> list[Struck | None]:
        """The surest first: what it changes of others' strokes is known to those that follow."""
        sizes: dict[int, Struck | None] = {}
        left = [place for place, own in enumerate(self._own) if own is not None]
        while left:
            tried = {place: self._size(place, sizes) for place in left}
            best = max(left, key=lambda place: one.gain if (one := tried[place]) else -1.0)
            sizes[best] = tried[best]
            left.remove(best)
        again = {place: self._size(place, sizes) for place in sizes} if len(sizes) > 1 else sizes
        return [again.get(place) for place in range(len(self.struck))]

    def _size(self, place: int, sizes: dict[int, Struck | None]) -> Struck | None:
        """One instrument's level, with those of others as far as they are known."""
        own = self._own[place]
        assert own is not None
        shares = self._shares[:, self.pitched :, own.places]
        whole = sum(one.rise.mean(axis=0) for one in own.rises) + 1e-30
        adds = [
            (share * one.rise / whole * own.weights).sum()
            for share, one in zip(shares[:, place], own.rises, strict=True)
        ]
        # It is read from where it is louder: there most of a rise is its own.
        louder = int(adds[1] > adds[0])
        besides = np.zeros(shares.shape[2:])
        for other, size in sizes.items():
            if other != place and size is not None:
                level_db = -size.level_db if louder else size.level_db
                besides += shares[louder, other] * (10 ** (level_db / 10) - 1)
        asked = (self._moved[own.places] < _MOVED) & (own.weights > 0)
        share = np.where(asked, shares[louder, place], -1.0)
        tone = self._tone.mirrored() if louder else self._tone
        both = own.rises[louder], own.rises[1 - louder]
        found = level_of(*both, share, besides, tone, own.weights)
        return found.mirrored() if found is not None and louder else found

    # --- what is told --------------------------------------------------------------------------

    def _part(self, place: int, size: Struck | None, own: FloatArray) -> PartLevel:
        """A row as every part has one."""
        part = self.struck[place]
        reason = self._reason(place, size)
        told = size if reason is None else None
        heard = self._audible(own, told)
        return PartLevel(
            name=part.name,
            level_db=self._level_db(place, told) if told else None,
            level_db_interval=self._interval(place, told) if told else None,
            together_with=self._together(place),
            energy_share=self._energy_share(own),
            audible_share=heard[0],
            candidate_audible_share=heard[1],
            course=self._course(place, told) if told and not self._is_gone(place, told) else (),
            written=written_in(_notes_of(part)),
            reason=reason,
        )

    def _reason(self, place: int, size: Struck | None) -> str | None:
        """Why nothing can be told."""
        begins = self.written.begins[self.pitched + place] > 0
        if not begins.any():
            return _RESTS
        count = len(self._strokes(place))
        if count == 0:
            return _ROLLS
        if count < FEWEST:
            return _FEW.format("one stroke" if count == 1 else f"{count} strokes")
        if size is None:
            return _UNHEARD
        if self.found.other_instruments:
            return _OTHER
        low, high = self._interval(place, size)
        return _WIDE if high - low > 2 * _WIDEST_DB and not self._is_gone(place, size) else None

    def _is_gone(self, place: int, size: Struck) -> bool:
        """Whether it is well heard in one recording, and not in the softer one."""
        softer, away_db = self._there(place)[int(size.level_db < 0)], abs(size.level_db)
        return away_db > _MOST_DB or away_db > _GONE_DB and softer < _THERE

    @cached_property
    def _pumped_db(self) -> float:
        """By how much strokes that are louder than other onsets are turned further down."""
        if not (self.pair.same_take and self.pair.ride.moves):
            return 0.0
        return _LOUDER_DB * abs(self.pair.following_in_attacks)

    def _level_db(self, place: int, size: Struck) -> float:
        """Of what isn't there, the least."""
        if not self._is_gone(place, size):
            return size.level_db
        return min(self._interval(place, size), key=abs)

    def _interval(self, place: int, size: Struck) -> tuple[float, float]:
        """With what a compressor may do to it; how far down what isn't there is can't be told."""
        low, high = size.interval[0] - self._pumped_db, size.interval[1] + self._pumped_db
        if not self._is_gone(place, size):
            return low, high
        if size.level_db < 0:
            return -SILENT_DB, max(high, -_MOST_DB)
        return min(low, _MOST_DB), SILENT_DB

    def _together(self, place: int) -> tuple[str, ...]:
        """Instruments that are struck whenever this one is, and hardly besides."""
        begins = self.written.begins[self.pitched :] > 0
        both = (begins & begins[place]).sum(axis=1)
        either = np.maximum(np.maximum(begins.sum(axis=1), begins[place].sum()), 1)
        along = both / either > _TOGETHER
        return tuple(
            one.name for other, one in enumerate(self.struck) if along[other] and other != place
        )

    def _energy(self, place: int) -> FloatArray:
        """Its own power in the reference's cells: of what sounds after a stroke, its share."""
        spectra = self.pair.of_elements
        out = np.zeros_like(spectra.reference)
        own = self._own[place] if len(self.written.times_s) else None
        if own is None:
            return out
        centre_hz = self._onsets.centre_hz
        band = np.abs(np.log2(spectra.centre_hz[:, None] / centre_hz)).argmin(axis=1)
        share = self._shares[:, self.pitched + place].max(axis=0)
        at_s = self.written.times_s[own.places]
        ends_s = np.minimum(np.append(at_s[1:], np.inf), at_s + _RING_S)
        for onset, start_s, end_s in zip(own.places, at_s, ends_s, strict=True):
            first, begin, end = np.searchsorted(
                spectra.times_s, [start_s - _AHEAD_S, start_s - _AHEAD_S / 4, end_s]
            )
            added = spectra.reference[begin:end] - spectra.reference[[max(first - 1, 0)]]
            out[begin:end] = np.maximum(added, 0.0) * share[onset][band]
        return out

    def _energy_share(self, own: FloatArray) -> float:
        spectra = self.pair.of_elements
        weights = k_weighting_power(spectra.centre_hz)
        whole = float((spectra.reference @ weights).sum())
        return float((own @ weights).sum()) / max(whole, 1e-30)

    def _audible(self, own: FloatArray, size: Struck | None) -> tuple[float, float]:
        """How much of its time it is heard through the rest, in either recording."""
        spectra = self.pair.of_elements
        if not own.any():
            return 0.0, 0.0
        rest = spectra.reference - own
        gain = 10 ** (size.level_db / 10) if size else 1.0
        before, after = (
            audibility(power, rest, spectra.centre_hz).audible_share for power in (own, gain * own)
        )
        return before, after

    def _change(self, part: PartLevel, own: FloatArray) -> Change | None:
        """An instrument that stands out, as an element on the pair's own cells."""
        if part.level_db is None or part.level_db_interval is None or part.together_with:
            return None
        low, high = part.level_db_interval
        if low * high <= 0 or min(abs(low), abs(high)) < _LEAST_DB:
            return None
        return Change(part.level_db, (low, high), 1.0, own)

    def _course(self, place: int, size: Struck) -> tuple[Stretch, ...]:
        """Its level in every few bars that tell it."""
        own = self._own[place]
        assert own is not None
        at_s = self.written.times_s[own.places]
        out = []
        for one in bars_of(self.pair.of_elements.times_s, self.pair.match.bars, _STRETCH_S):
            there = (at_s >= one.start_s) & (at_s < one.end_s) & size.likely.any(axis=1)
            likely = size.likely[there].sum(axis=0)
            inside = LEVELS_DB[likely > likely.max() - _LIKELY]
            if there.any() and np.ptp(inside) < 2 * _STRETCH_DB:
                level = float(LEVELS_DB[likely.argmax()])
                out.append(Stretch(one.start_s, one.end_s, one.bars, level))
        return tuple(out)


def _notes_of(part: PartStrokes) -> PartNotes:
    """Strokes as notes, for what is asked of notes without their pitch."""
    times, velocity = part.strokes[:, :2], part.strokes[:, 2]
    notes = np.column_stack([times, np.zeros(len(times)), velocity])
    return PartNotes(part.name, notes, notes[:0], part.is_marked)
