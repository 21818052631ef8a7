"""Whether the line that leads is heard through the rest, bar by bar, and who covers it.

A line is the part that leads and those that play its notes. It is covered where its strongest bands
lie under the threshold at which the rest masks them (:func:`mixcompare.elements.audibility`:
excitation patterns after Glasberg and Moore 1990, the ratio at threshold after Moore, Glasberg and
Baer 1997), by the shares of all parts that the fit finds in every cell. What plain tones get wrong
of an instrument is wrong in both recordings: how much a line stands lower in one of them is surer
than where it stands.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.elements.audibility import clearance_db, excitation, strongest
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.parts.changed import doubles
from mixcompare.parts.course import Window, bars_of
from mixcompare.parts.fit import Cells
from mixcompare.parts.heard import is_open
from mixcompare.parts.leading import leading_part
from mixcompare.parts.values import CLEAR, COVERED, OPEN, Lead, PartLevel

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_PASSAGE_S = 4.0  # in which one line leads; our choice
_SAME_NOTES = 0.6  # of a part's notes that the leading one has too; our choice
_EDGE_S = 0.05  # of notes that begin a little early
_PLAYS = 0.5  # of a bar's time, to be judged there; our choice
_CLEAR_DB, _COVERED_DB = 3.0, -2.0
"""Read levels beyond which it is told; chosen on three movements. On eight others, 2600 times a bar
(``tests.benchmarks.covering``): 99.8 % of what is told to be clear is, by the stems; 82 % of what
is told to be covered is, 90 % within 3 dB of it; all of 61 bars that are told to be clear in one
recording and covered in the other stand lower there."""
_COVERS, _MOST_COVERING = 0.5, 2  # of what the first covers, to be named beside it; our choice


@dataclass(frozen=True)
class Line:
    """Who leads in a window.

    Attributes
    ----------
    lead : int
        Place of the part.
    players : tuple of int
        It and those that play its notes.
    window : Window
    """

    lead: int
    players: tuple[int, ...]
    window: Window


@dataclass(frozen=True)
class _Side:
    """One recording: every part's power in its cells."""

    shares: FloatArray
    whole: FloatArray
    centre_hz: FloatArray

    def clearance_db(self, players: Sequence[int], frames: BoolArray) -> float:
        """How far a line stands over what covers it, at most moments."""
        power = self.whole[:, frames]
        own = self.shares[:, :, frames][list(players)].sum(axis=0) * power
        return float(np.median(clearance_db(own.T, (power - own).T, self.centre_hz)))

    def over(self, players: Sequence[int], frames: BoolArray) -> tuple[int, ...]:
        """Who else has most energy in a line's own bands, the most first."""
        power = self.shares[:, :, frames] * self.whole[:, frames]
        own = strongest(power[list(players)].sum(axis=0).T, self.centre_hz)
        there = np.array([(excitation(part.T, self.centre_hz) * own).sum() for part in power])
        there[list(players)] = 0.0
        most = [int(one) for one in np.argsort(-there) if there[one] >= _COVERS * there.max()]
        return tuple(most[:_MOST_COVERING]) if there.max() > 0 else ()


def lines_in(
    parts: Sequence[PartNotes], times_s: FloatArray, bars: Bars | None
) -> tuple[Line, ...]:
    """Who leads in every bar: one line for some bars together, as themes go."""
    windows = bars_of(times_s, bars)
    out = []
    for passage in bars_of(times_s, bars, _PASSAGE_S):
        span_s = passage.start_s, passage.end_s
        lead = leading_part(parts, span_s)
        if lead is None:
            continue
        players = _players(lead, parts, span_s)
        out += [
            Line(lead, players, window)
            for window in windows
            if span_s[0] <= (window.start_s + window.end_s) / 2 < span_s[1]
        ]
    return tuple(out)


def _players(lead: int, parts: Sequence[PartNotes], span_s: tuple[float, float]) -> tuple[int, ...]:
    """The leading part and those that play its notes in a span, at whatever octave."""
    there = [replace(part, notes=_begun_in(part.notes, span_s)) for part in parts]
    along = doubles(there, _SAME_NOTES)[:, lead]
    return tuple(
        place
        for place, part in enumerate(there)
        if place == lead or (len(part.notes) > 0 and along[place])
    )


def _begun_in(notes: FloatArray, span_s: tuple[float, float]) -> FloatArray:
    """Notes that begin in a span."""
    onset_s = notes[:, 0]
    return notes[(onset_s >= span_s[0] - _EDGE_S) & (onset_s < span_s[1] - _EDGE_S)]


def as_told(
    shares: FloatArray,
    told: Sequence[PartLevel],
    level_db: FloatArray,
    moved: Collection[int],
    times_s: FloatArray,
) -> FloatArray:
    """Shares of the candidate's cells, had the fit read every part as loud as it is told.

    Parameters
    ----------
    shares : ndarray, shape (parts, bands, n)
        As the fit reads them.
    told : sequence of PartLevel
        As they are told, over time where that is known.
    level_db : ndarray, shape (parts,)
        As the fit reads them, against the same.
    moved : collection of int
        Parts whose level as a whole is told from elsewhere.
    times_s : ndarray, shape (n,)
        Of the cells' frames, on the reference's clock.
    """
    more_db = np.zeros((len(shares), len(times_s)))
    for place, part in enumerate(told):
        if part.level_db is None or is_open(part.level_db_interval or (0.0, 0.0)):
            continue
        if place in moved:
            more_db[place] = part.level_db - level_db[place]
        for one in part.course:
            inside = (times_s >= one.start_s) & (times_s < one.end_s)
            more_db[place, inside] = one.level_db - level_db[place]
    louder = shares * 10 ** (more_db / 10)[:, None, :]
    nobody = np.maximum(1 - shares.sum(axis=0), 0.0)
    return np.asarray(louder / np.maximum(louder.sum(axis=0) + nobody, 1e-12))


def leads_in(
    cells: Cells,
    shares: tuple[FloatArray, FloatArray],
    parts: Sequence[PartNotes],
    times_s: FloatArray,
    bars: Bars | None,
) -> tuple[Lead, ...]:
    """Every stretch of bars in which one line leads and stands alike, in order.

    Parameters
    ----------
    cells : Cells
        The pair.
    shares : (ndarray, ndarray), shape (parts, bands, n)
        Of every cell of reference and candidate.
    parts : sequence of PartNotes
        The score.
    times_s : ndarray, shape (n,)
        Of the cells' frames, on the reference's clock.
    bars : Bars or None
        On that clock.
    """
    sides = tuple(
        _Side(share, whole, cells.centre_hz)
        for share, whole in zip(shares, (cells.reference, cells.candidate), strict=True)
    )
    found: list[Lead] = []
    for line in lines_in(parts, times_s, bars):
        inside = (times_s >= line.window.start_s) & (times_s < line.window.end_s)
        heard = inside & sounding([parts[place] for place in line.players], times_s)
        if heard.sum() >= max(_PLAYS * inside.sum(), 1):
            found.append(_lead(line, heard, sides, parts))
    return _joined(found)


def _lead(
    line: Line, frames: BoolArray, sides: Sequence[_Side], parts: Sequence[PartNotes]
) -> Lead:
    """How a line stands in one window."""
    levels_db = [side.clearance_db(line.players, frames) for side in sides]
    over = [
        tuple(parts[one].name for one in side.over(line.players, frames)) if level_db < 0 else ()
        for side, level_db in zip(sides, levels_db, strict=True)
    ]
    return Lead(
        name=parts[line.lead].name,
        doubled_by=tuple(parts[one].name for one in line.players if one != line.lead),
        bars=line.window.bars,
        start_s=line.window.start_s,
        end_s=line.window.end_s,
        reference=_told(levels_db[0]),
        candidate=_told(levels_db[1]),
        reference_db=levels_db[0],
        candidate_db=levels_db[1],
        difference_db=levels_db[1] - levels_db[0],
        covered_in_reference_by=over[0],
        covered_in_candidate_by=over[1],
    )


def _told(level_db: float) -> str:
    if level_db > _CLEAR_DB:
        return CLEAR
    return COVERED if level_db < _COVERED_DB else OPEN


def sounding(parts: Sequence[PartNotes], times_s: FloatArray) -> BoolArray:
    """Moments at which any of these parts has a note."""
    out = np.zeros(len(times_s), bool)
    for part in parts:
        for first, last in np.searchsorted(times_s, part.notes[:, :2]):
            out[first:last] = True
    return out


def _joined(found: Sequence[Lead]) -> tuple[Lead, ...]:
    """Windows that follow each other and say the same, as one."""
    out: list[Lead] = []
    for one in found:
        if out and _says_the_same(out[-1], one):
            out[-1] = _together(out[-1], one)
        else:
            out.append(one)
    return tuple(out)


def _says_the_same(one: Lead, other: Lead) -> bool:
    follows = abs(other.start_s - one.end_s) < _EDGE_S
    counts_on = one.bars is None or other.bars is None or other.bars[0] > one.bars[1]
    return follows and counts_on and _said(one) == _said(other)


def _said(one: Lead) -> tuple[object, ...]:
    over = one.covered_in_reference_by, one.covered_in_candidate_by
    return one.name, one.doubled_by, one.reference, one.candidate, *over


def _together(one: Lead, other: Lead) -> Lead:
    """Two that follow each other, their levels weighed by length."""
    share = (one.end_s - one.start_s) / (other.end_s - one.start_s)
    bars = (one.bars[0], other.bars[1]) if one.bars and other.bars else None
    return replace(
        one,
        bars=bars,
        end_s=other.end_s,
        reference_db=share * one.reference_db + (1 - share) * other.reference_db,
        candidate_db=share * one.candidate_db + (1 - share) * other.candidate_db,
        difference_db=share * one.difference_db + (1 - share) * other.difference_db,
    )
