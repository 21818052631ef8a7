"""How loud every written part is against the rest, and which stand elsewhere.

Conventions
-----------
Levels are candidate minus reference in dB, K-weighted, against what did not change. Elements that
were found without the score (:mod:`mixcompare.elements`) get the names of who plays them; in one
take their sizes are the exact ones. Between performances the score tells who moved, and by how
much at least.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.elements.change import Change, Split, share_of, without_change
from mixcompare.elements.take import ground
from mixcompare.knowledge.notes import PartNotes
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.parts.apart import with_second_opinion
from mixcompare.parts.changed import Moved, doubles, moved_in, not_apart
from mixcompare.parts.course import Window, bars_of, course_of, edges_of, scaled, windows_of
from mixcompare.parts.covering import as_told, leads_in
from mixcompare.parts.fit import Fitted, fit
from mixcompare.parts.heard import SILENT_DB, heard_of, is_open
from mixcompare.parts.held import Alike, held_alike
from mixcompare.parts.laid import STEP, Played, cells_over, coarseness, coarser
from mixcompare.parts.passages import Passage, passages_in
from mixcompare.parts.placed import with_places
from mixcompare.parts.players import Named, each_once, players_of
from mixcompare.parts.sizes import Size, size_of, widened
from mixcompare.parts.theme import theme_of, written_in
from mixcompare.parts.values import Interval, Levels, PartLevel, Players, Stretch, Theme

FloatArray = npt.NDArray[np.float64]
_COVERED = "Too covered by the others for its level to be told."
_UNHEARD = "Heard in neither recording: too soft, covered by {}, or not in what was played."
_RESTS = "Does not play in what both recordings have in common."

_SHORTEST_S = 5.0
_ALONG = 0.85  # of a part's notes that another has too, for it to double that one
_FLOOR_DB, _FLOOR_PER_SCATTER = 0.1, 0.3
"""What the fit gets wrong of a part besides, in one take, and between performances by scatter."""
_FOLLOWED = 0.5  # of its time heard: below, a part is covered; our choice
_WIDEST_DB = 4.5  # half an interval; beyond, nothing is told
_LEAST_ELSEWHERE_DB = 0.5  # beside its passage: less and the passage is all there is; our choice


def levels_of(pair: Pair, split: Split) -> Levels | None:
    """Levels of all written parts; None without a score, or for too short a passage."""
    parts = tuple(part for part in pair.match.parts if len(part.notes))
    if len(parts) < 2:
        return None
    spectra = ground(pair)[0] if pair.same_take else pair.of_elements
    if len(spectra.times_s) < _SHORTEST_S * RATE_HZ:
        return None
    played = Played(spectra, parts)
    cells = cells_over(spectra, played.full)
    if not cells.heard.any():
        return None
    fitted = with_second_opinion(cells, fit(cells))
    # In one take notes that end elsewhere are told from the difference itself.
    alike = (
        Alike(cells, fitted, np.zeros((2, len(parts))))
        if pair.same_take
        else held_alike(spectra, played, cells, fitted)
    )
    orchestra = _Orchestra(pair, split, spectra, played, alike, parts)
    return with_places(
        orchestra.levels(), pair, orchestra.cells, orchestra.fitted, parts, split.one_tail
    )


class _Orchestra:
    """The fit of one pair, and what it says together with the elements."""

    def __init__(
        self,
        pair: Pair,
        split: Split,
        spectra: PairSpectra,
        played: Played,
        alike: Alike,
        parts: tuple[PartNotes, ...],
    ) -> None:
        self.one_take, self.bars = pair.same_take, pair.match.bars
        self.own = pair.of_elements
        self.split, self.spectra, self.parts = split, spectra, parts
        cells, fitted = alike.cells, alike.fitted
        self.played, self.cells, self.fitted = played, cells, fitted
        self.unseen_db = alike.unseen_db
        self.heard = heard_of(cells, self.fitted)
        self.moved = moved_in(self.fitted, parts)
        self.times_s = spectra.times_s[:: STEP * coarseness(len(spectra.times_s))]
        self.edges = edges_of(bars_of(self.times_s, self.bars), self.times_s)
        # In one take the elements say themselves in which bars they are; of other instruments none
        # of 16 changes in some bars (three movements) stands out from their notes' scatter.
        asked = not self.one_take and not self.fitted.other_instruments
        found = passages_in(cells, self.fitted, self.edges, parts) if asked else ()
        self.passages = tuple(one for one in found if self._has_a_size(one))
        # What the elements leave is what the other parts did.
        self.rest = self._without_elements() if self.one_take and split.changes else self.fitted

    def levels(self) -> Levels:
        """All parts, and the elements with their names."""
        named: list[Named] = []
        unseen: list[Moved] = []
        if self.one_take:
            # Nothing is surer than the difference itself: the fit says only whose it is.
            named = each_once([(*self._players(one), one) for one in self.split.changes])
        else:
            for one in self._moved_throughout():
                change = self._change(one)
                if self._may_be_held_shorter(one, change):
                    unseen.append(one)
                else:
                    named.append((one.parts, one.name, change))
        named = self._without_echoes(
            [
                (members, family, self._left_out(members, change))
                for members, family, change in self._with_doublings(named)
            ]
        )
        parts = self._parts([(members, change) for members, _, change in named])
        taken = {part for members, _, _ in named for part in members}
        shares = self.fitted.shares, self._shares_as_told(parts, taken)
        if not self.one_take:
            told = [(one, self._change(one)) for one in self.passages if not taken & set(one.parts)]
            named += [
                (one.parts, one.name, change)
                for one, change in told
                if not self._may_be_held_shorter(one, change)
            ]
        return Levels(
            parts=parts,
            changes=tuple(change for _, _, change in named),
            players=tuple(
                Players(self._names(members), family, self._theme(members, change, parts))
                for members, family, change in named
            ),
            other_instruments=not self.one_take and self.fitted.other_instruments,
            shorter=tuple(
                (Players(self._names(one.parts), one.name), one.level_db) for one in unseen
            ),
            leads=leads_in(self.cells, shares, self.parts, self.times_s, self.bars),
        )

    def _shares_as_told(self, told: Sequence[PartLevel], moved: set[int]) -> FloatArray:
        """Shares of the candidate's cells, with every part as loud as it is told, bar by bar."""
        level_db, _ = self._against_the_rest(self.fitted, moved)
        return as_told(self.fitted.candidate_shares, told, level_db, moved, self.times_s)

    def _theme(
        self, members: Sequence[int], change: Change, levels: Sequence[PartLevel]
    ) -> Theme | None:
        return theme_of(members, change, self.own.times_s, self.bars, self.parts, levels)

    @staticmethod
    def _without_echoes(named: list[Named]) -> list[Named]:
        """The same without what nobody plays and moved against a part that isn't there any more.

        Where that part took from another by interference, its absence lifts the cell.
        """
        gone = [change for _, _, change in named if is_open(change.interval)]
        return [
            one
            for one in named
            if one[0] or all(one[2].difference_db * change.difference_db > 0 for change in gone)
        ]

    def _without_elements(self) -> Fitted:
        """The fit again with the take's elements put back where they were."""
        spectra, own = self.spectra, self.own
        bands = len(spectra.centre_hz)  # under one tail the semitones alone
        for change in self.split.changes:
            share = share_of(change.energy, own)[:, :bands]
            spectra = without_change(spectra, replace(change, energy=share * spectra.reference))
        return fit(cells_over(spectra, self.played.full))

    def _with_doublings(self, named: list[Named]) -> list[Named]:
        """The same, with who doubles them and is too covered to tell, or moves too."""
        out = list(named)
        taken = {part for members, _, _ in named for part in members}
        level_db, deviation = self._against_the_rest(self.fitted, taken)
        along = doubles(self.parts, _ALONG)
        for place, (members, _, change) in enumerate(named):
            moved = level_db * np.sign(change.difference_db) > deviation
            free = moved | (1.96 * deviation > _WIDEST_DB)
            free[sorted(taken)] = False
            more = set(np.flatnonzero(free & along[:, list(members)].any(axis=1)).tolist())
            if more:
                taken |= more
                out[place] = (tuple(sorted(more.union(members))), None, change)
        return out

    def _against_the_rest(self, fitted: Fitted, moved: set[int]) -> tuple[FloatArray, FloatArray]:
        """Every part's fitted level against those that did not move, and its deviation."""
        heavy = 1 / np.diag(fitted.covariance)
        if len(moved) < len(heavy):
            heavy[sorted(moved)] = 0.0
        shift = np.eye(len(heavy)) - heavy / heavy.sum()
        floor = _FLOOR_DB if self.one_take else _FLOOR_PER_SCATTER * fitted.scatter_db
        variance = np.diag(shift @ fitted.covariance @ shift.T) + floor**2
        return shift @ fitted.difference_db, np.sqrt(variance)

    def _players(self, change: Change) -> tuple[tuple[int, ...], str | None]:
        """Who plays an element of a take: their places, and the family that they are."""
        bands, every = len(self.cells.centre_hz), coarseness(len(self.spectra.times_s))
        own, whole = (
            coarser(power[:, :bands].T, every) for power in (change.energy, self.own.reference)
        )
        energy = np.clip(own / (whole + 1e-20), 0, 1) * self.cells.reference
        return players_of(
            energy, change.difference_db, self.cells, self.fitted, self.parts, self.moved
        )

    def _moved_throughout(self) -> list[Moved]:
        """Sets that moved, without those of which a passage tells all."""
        return [
            one
            for one in self.moved
            if not any(
                set(one.parts) <= set(place.parts) and self._stays_elsewhere(one, place)
                for place in self.passages
            )
        ]

    def _may_be_held_shorter(self, moved: Moved | Passage, change: Change) -> bool:
        """Whether shorter notes alone, too short to be seen, would be read as much softer.

        Of other instruments only what stands far off is told at all.
        """
        if self.fitted.other_instruments:
            return False
        side = 1 if moved.level_db < 0 else 0
        unseen_db = float(self.unseen_db[side, list(moved.parts)].min())
        low, high = change.interval
        return unseen_db > 0 and low - unseen_db <= 0 <= high + unseen_db

    def _stays_elsewhere(self, moved: Moved, place: Passage) -> bool:
        """Whether parts stand where they stood outside their passage, as far as can be told."""
        size = self._size(moved.parts, ~self._frames(place))
        return (
            size is None
            or size.level_db * moved.level_db <= 0
            or (min(map(abs, size.interval)) < _LEAST_ELSEWHERE_DB)
        )

    def _has_a_size(self, place: Passage) -> bool:
        """Whether it can be told by how much parts stand elsewhere in a passage."""
        size = self._size(place.parts, self._frames(place))
        return (
            size is not None
            and size.level_db * place.level_db > 0
            and np.ptp(size.interval) <= 2 * _WIDEST_DB
        )

    def _frames(self, place: Passage | Moved) -> npt.NDArray[np.bool_]:
        """The cells' frames in which a set stands elsewhere."""
        inside = np.ones(self.cells.heard.shape[1], bool)
        if isinstance(place, Passage):
            inside[:] = False
            inside[self.edges[place.first] : self.edges[place.last + 1]] = True
        return inside

    def _size(self, members: Sequence[int], inside: npt.NDArray[np.bool_]) -> Size | None:
        """How much parts changed in some frames, by the likelihood of their cells."""
        share = self.fitted.shares[list(members)].sum(axis=0)
        besides = {part for one in self.moved for part in one.parts}
        others = self.fitted.shares[sorted(besides - set(members))].sum(axis=0)
        difference = 10 * np.log10((self.cells.candidate + 1e-9) / (self.cells.reference + 1e-9))
        return size_of(
            difference[:, inside], share[:, inside], others[:, inside], self.cells.heard[:, inside]
        )

    def _change(self, moved: Moved | Passage) -> Change:
        """A set that moved, throughout or in a passage, as an element on the pair's own cells."""
        share = self.fitted.shares[list(moved.parts)].sum(axis=0)
        inside = self._frames(moved)
        size = self._size(moved.parts, inside)
        level, half = moved.level_db, 1.96 * moved.deviation_db
        low, high = level - half, level + half
        if size is not None and size.level_db * level > 0:
            # Either is read small where another doubles them: the larger is the nearer.
            if abs(size.level_db) > abs(level):
                level = size.level_db
            low, high = min(low, size.interval[0]), max(high, size.interval[1])
        full = np.zeros_like(self.spectra.reference)
        rows = np.minimum(
            np.round(np.arange(len(full)) / (STEP * coarseness(len(full)))).astype(int),
            share.shape[1] - 1,
        )
        own = (share * inside).T[rows]
        full[:, : len(share)] = own * self.spectra.reference[:, : len(share)]
        interval = widened(level, (low, high), self.fitted.scatter_db)
        sure = min(abs(moved.level_db) / max(moved.deviation_db, 1e-6) / 5, 1.0)
        return Change(level, interval, sure, full, getattr(moved, "against", False))

    def _parts(self, named: Sequence[tuple[Sequence[int], Change]]) -> tuple[PartLevel, ...]:
        """Every part's level against those that did not move."""
        sizes = {part: change for members, change in named for part in members}
        beside = {part: set(members) for members, _ in named for part in members}
        level_db, deviation = self._against_the_rest(self.rest, set(sizes))
        near, over_time = not_apart(self.cells, self.fitted), self._over_time(sizes)
        plays = self.fitted.energy > 0
        unheard = {
            place
            for place in np.flatnonzero(plays).tolist()
            if place not in sizes and self.heard.nowhere(place)
        }
        out = []
        for place, part in enumerate(self.parts):
            level, half = float(level_db[place]), float(1.96 * deviation[place])
            softer, louder = self.unseen_db[:, place].tolist()
            interval: Interval = (level - half - softer, level + half + louder)
            if place in sizes:
                level, interval = sizes[place].difference_db, sizes[place].interval
            here, over = float(self.heard.candidate[place]), self._names(self.heard.over[place])
            told = place in sizes or (plays[place] and half <= _WIDEST_DB and place not in unheard)
            out.append(
                PartLevel(
                    name=part.name,
                    level_db=level if told else None,
                    level_db_interval=interval if told else None,
                    # Of who moved it is known who they are.
                    together_with=self._names(
                        [one for one in near[place] if one in beside.get(place, {one})]
                    ),
                    energy_share=float(self.fitted.energy[place]),
                    audible_share=float(self.heard.reference[place]),
                    candidate_audible_share=here,
                    covered_by=over if plays[place] and here < _FOLLOWED else (),
                    course=over_time[place] if told else (),
                    written=written_in(part),
                    reason=None if told else _COVERED if plays[place] else _RESTS,
                )
            )
        return tuple(
            self._with_those_over(place, out) if place in unheard else part
            for place, part in enumerate(out)
        )

    def _with_those_over(self, place: int, found: Sequence[PartLevel]) -> PartLevel:
        """A part that is heard nowhere, told as one with what lies over it."""
        over = [found[one] for one in self.heard.over[place]]
        edges = [edge for one in over for edge in one.level_db_interval or ()]
        told = bool(over) and over[0].level_db is not None
        together = (*found[place].together_with, *(one.name for one in over))
        return replace(
            found[place],
            level_db=over[0].level_db if told else None,
            level_db_interval=(min(edges), max(edges)) if told else None,
            together_with=tuple(dict.fromkeys(together)),
            reason=_UNHEARD.format(" and ".join(one.name for one in over) or "others"),
        )

    def _names(self, places: Sequence[int]) -> tuple[str, ...]:
        return tuple(self.parts[place].name for place in places)

    def _left_out(self, members: Sequence[int], change: Change) -> Change:
        """A change; how far down a part is that isn't there can't be told."""
        if not self.heard.left_out(members, change.difference_db):
            return change
        low, high = change.interval
        if change.difference_db < 0:
            return replace(change, interval=(-SILENT_DB, high))
        return replace(change, interval=(low, SILENT_DB))

    def _over_time(self, sizes: Mapping[int, Change]) -> list[tuple[Stretch, ...]]:
        """Every part's level over time; of those that moved, as large as their elements."""
        windows = windows_of(self.cells, self.fitted, self.times_s, self.bars)
        still = course_of(self.cells, self.rest, self.times_s, windows, list(sizes))
        moved = course_of(self.cells, self.fitted, self.times_s, windows, list(sizes))
        out = []
        for place in range(len(self.parts)):
            level_db = still[place]
            if place in sizes:
                heavy = self._in_windows(sizes[place].energy, windows)
                level_db = scaled(moved[place], heavy, sizes[place].difference_db)
            out.append(
                tuple(
                    Stretch(one.start_s, one.end_s, one.bars, float(level))
                    for one, level in zip(windows, level_db, strict=True)
                    if np.isfinite(level)
                )
            )
        return out

    def _in_windows(self, energy: FloatArray, windows: Sequence[Window]) -> FloatArray:
        """An element's energy in every window."""
        power = energy.sum(axis=1)
        inside = [
            (self.own.times_s >= one.start_s) & (self.own.times_s < one.end_s) for one in windows
        ]
        return np.array([float(power[frames].sum()) for frames in inside])
