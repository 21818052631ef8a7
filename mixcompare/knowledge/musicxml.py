"""Notes and bars of a score in MusicXML, plain or compressed (partwise, up to version 4.0).

A tremolo, a trill or any other ornament counts as the one note that is written; ties make one
note; grace notes are short and lie before the beat; cue notes are left out. Pitches are those that
sound. Drums and cymbals without a pitch are left out, and named. Dynamics hold for a part until
the next mark, hairpins go evenly to it; words (*cresc.*) are not read. Where no tempo is given a
quarter takes 0.6 s.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import NamedTuple
from xml.etree.ElementTree import Element

import numpy as np
import numpy.typing as npt

from mixcompare.errors import ScoreError
from mixcompare.knowledge.notes import MOST_BARS, MOST_NOTES, UNMARKED, Bars, FloatArray, Reading
from mixcompare.knowledge.repeats import Signs, orders
from mixcompare.knowledge.xmlfile import tree_of

_QUARTERS_A_MINUTE = 100.0  # our choice; alignment finds the real one
_GRACE = 0.125  # of a quarter; our choice
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_QUARTERS = {
    "whole": 4.0, "half": 2.0, "quarter": 1.0, "eighth": 0.5, "16th": 0.25, "32nd": 0.125,
}  # fmt: skip
# Velocities: sixteen a dynamic, our choice; no source.
_STEP = 16.0
_MARKS = {
    "pppp": 8.0, "ppp": 16.0, "pp": 32.0, "p": 48.0, "mp": 64.0, "mf": 80.0, "f": 96.0,
    "ff": 112.0, "fff": 120.0, "ffff": 127.0, "fp": 48.0, "sfp": 48.0, "sfpp": 32.0, "pf": 96.0,
}  # fmt: skip
_STRUCK = {"fp", "sfp", "sfpp", "sf", "sfz", "sffz", "fz", "rf", "rfz"}  # two steps louder, at once
_SAME_S = 1e-3  # a tied note begins where the one before ends


class _Note(NamedTuple):
    """A note head in its bar, in quarters; ``joins`` the one before it, ``goes_on`` to the next."""

    bar: int
    at: float
    until: float
    pitch: float
    joins: bool
    goes_on: bool


@dataclass
class _Bar:
    number: int
    beats: int
    metre: float
    signs: Signs = field(default_factory=Signs)
    filled: float = 0.0

    @property
    def length(self) -> float:
        """In quarters, by what stands in it: a pick-up bar is short."""
        return self.filled or self.metre


class _Part:
    """One part as it is written, bar by bar; what holds for all is put into the bars."""

    def __init__(self, measures: Iterable[Element], bars: list[_Bar]) -> None:
        self.notes: list[_Note] = []
        self.tempi: list[tuple[int, float, float]] = []
        self.levels: list[tuple[int, float, float]] = []
        self.struck: list[tuple[int, float]] = []
        self.hairpins: list[tuple[tuple[int, float], tuple[int, float], float]] = []
        self.is_unpitched = False
        self._divisions, self._transposed = 1.0, 0.0
        self._metre = (4, 4.0)
        self._ending: frozenset[int] = frozenset()
        self._open: dict[str, tuple[int, float, float]] = {}
        self._bars = bars
        for index, measure in enumerate(measures):
            if index == len(bars):
                bars.append(_Bar(_printed(measure, bars), *self._metre))
            self._index, self._at, self._onset = index, 0.0, 0.0
            self._graces: list[list[float]] = []
            self._ending_stops = False
            for item in measure:
                act = self._ACTS.get(item.tag)
                if act is not None:
                    act(self, item)
            self._lay_graces()
            bars[index].signs.endings |= self._ending
            if self._ending_stops:
                self._ending = frozenset()

    @property
    def _bar(self) -> _Bar:
        return self._bars[self._index]

    def _attributes(self, item: Element) -> None:
        self._divisions = _number(item.findtext("divisions"), self._divisions)
        transpose = item.find("transpose")
        if transpose is not None:
            octaves = _number(transpose.findtext("octave-change"))
            self._transposed = _number(transpose.findtext("chromatic")) + 12 * octaves
        time = item.find("time")
        if time is not None and time.find("beats") is not None:
            upper = [sum(map(int, (up.text or "").split("+"))) for up in time.iterfind("beats")]
            lower = [int(low.text or "") for low in time.iterfind("beat-type")]
            quarters = sum(4 * up / low for up, low in zip(upper, lower, strict=True))
            self._metre = sum(upper), quarters
            self._bar.beats, self._bar.metre = self._metre

    def _length(self, item: Element) -> float:
        return _number(item.findtext("duration")) / self._divisions

    def _backup(self, item: Element) -> None:
        self._lay_graces()
        self._at = max(self._at - self._length(item), 0.0)

    def _forward(self, item: Element) -> None:
        self._lay_graces()
        self._go_on(self._length(item))

    def _go_on(self, length: float) -> None:
        self._at += length
        self._bar.filled = max(self._bar.filled, self._at)

    def _note(self, item: Element) -> None:
        is_grace = item.find("grace") is not None
        in_chord = item.find("chord") is not None
        length = self._length(item)
        if not is_grace and not in_chord:
            self._lay_graces()
            self._onset = self._at
            self._go_on(length)
        self._marks(item.iterfind("notations/dynamics"), self._onset)
        self.is_unpitched |= item.find("unpitched") is not None
        pitch = item.find("pitch")
        if pitch is None or item.find("cue") is not None:
            return
        sounding = (
            12 * (_number(pitch.findtext("octave"), 4.0) + 1)
            + _SEMITONES[pitch.findtext("step") or ""]
            + _number(pitch.findtext("alter"))
            + self._transposed
        )
        if not 0 <= sounding <= 127:
            raise ValueError(f"the pitch {sounding:g}")
        if not is_grace:
            ties = {tie.get("type") for tie in item.iterfind("tie")}
            ties = ties or {tie.get("type") for tie in item.iterfind("notations/tied")}
            until = self._onset + length
            self.notes.append(
                _Note(self._index, self._onset, until, sounding, "stop" in ties, "start" in ties)
            )
        elif in_chord and self._graces:
            self._graces[-1].append(sounding)
        else:
            self._graces.append([sounding])

    def _lay_graces(self) -> None:
        """The grace notes so far, one after the other, up to the present place."""
        for behind, pitches in zip(range(len(self._graces), 0, -1), self._graces, strict=True):
            at = self._at - behind * _GRACE
            self.notes += [
                _Note(self._index, at, at + _GRACE, pitch, False, False) for pitch in pitches
            ]
        self._graces = []

    def _direction(self, item: Element) -> None:
        at = max(self._at + _number(item.findtext("offset")) / self._divisions, 0.0)
        self._marks(item.iterfind("direction-type/dynamics"), at)
        for wedge in item.iterfind("direction-type/wedge"):
            self._hairpin(wedge.get("type", ""), wedge.get("number", "1"), at)
        signs, sound = self._bar.signs, item.find("sound")
        leaves = sound is not None and sound.get("tocoda") is not None  # by the same sign
        signs.segno |= item.find("direction-type/segno") is not None
        signs.coda |= item.find("direction-type/coda") is not None and not leaves
        if sound is not None:
            self._sound(sound, at)
        beats = item.find("direction-type/metronome")
        if beats is not None and (sound is None or sound.get("tempo") is None):
            rate = re.search(r"\d+(\.\d+)?", beats.findtext("per-minute") or "")
            unit = _QUARTERS.get(beats.findtext("beat-unit") or "")
            if rate and unit:
                dots = len(beats.findall("beat-unit-dot"))
                self._tempo(at, float(rate[0]) * unit * (2 - 0.5**dots))

    def _sound(self, item: Element, at: float | None = None) -> None:
        signs = self._bar.signs
        signs.segno |= item.get("segno") is not None
        signs.to_coda |= item.get("tocoda") is not None
        signs.coda |= item.get("coda") is not None
        signs.fine |= item.get("fine") is not None
        signs.da_capo |= item.get("dacapo") == "yes"
        signs.dal_segno |= item.get("dalsegno") is not None
        if item.get("tempo"):
            self._tempo(self._at if at is None else at, _number(item.get("tempo")))

    def _tempo(self, at: float, quarters_a_minute: float) -> None:
        if 1.0 <= quarters_a_minute <= 2000.0:
            self.tempi.append((self._index, at, quarters_a_minute))

    def _marks(self, items: Iterable[Element], at: float) -> None:
        for mark in (mark.tag for item in items for mark in item):
            if mark in _MARKS:
                self.levels.append((self._index, at, _MARKS[mark]))
            if mark in _STRUCK:
                self.struck.append((self._index, at))

    def _hairpin(self, kind: str, number: str, at: float) -> None:
        if kind in ("crescendo", "diminuendo"):
            self._open[number] = (self._index, at, _STEP if kind == "crescendo" else -_STEP)
        elif kind == "stop" and number in self._open:
            bar, start, step = self._open.pop(number)
            self.hairpins.append(((bar, start), (self._index, at), step))

    def _barline(self, item: Element) -> None:
        signs = self._bar.signs
        repeat, ending = item.find("repeat"), item.find("ending")
        if repeat is not None and repeat.get("direction") == "forward":
            signs.forward = True
        elif repeat is not None:
            signs.times = int(repeat.get("times", "2"))
        if ending is not None:
            if ending.get("type") == "start":
                self._ending = frozenset(map(int, re.findall(r"\d+", ending.get("number", ""))))
            self._ending_stops = ending.get("type") != "start"

    _ACTS = {
        "attributes": _attributes,
        "backup": _backup,
        "forward": _forward,
        "note": _note,
        "direction": _direction,
        "sound": _sound,
        "barline": _barline,
    }


def _number(text: str | None, otherwise: float = 0.0) -> float:
    value = float(text or otherwise)
    if not math.isfinite(value):
        raise ValueError(f"the number {text}")
    return value


@dataclass(frozen=True)
class _Sounding:
    """A part's notes on the clock, by bar, from the bar's start."""

    name: str
    bars: list[list[tuple[float, float, float, float, bool, bool]]]


def readings(path: Path) -> list[Reading]:
    """The score in every order in which its bars may be played, all repeats first.

    Raises
    ------
    ScoreError
        If it is no such score, or holds nothing that could be played.
    """
    root = tree_of(path)
    if root.tag != "score-partwise":
        raise ScoreError(
            f"{path}: holds no score part by part (but <{root.tag[:40]}>); export it again as"
            " MusicXML."
        )
    try:
        return _read(root, path)
    except (ValueError, KeyError, ArithmeticError) as error:
        if isinstance(error, ScoreError):
            raise
        raise ScoreError(
            f"{path}: a note, a bar or a tempo in it is no such thing ({error}); export it again."
        ) from error


def _read(root: Element, path: Path) -> list[Reading]:
    bars: list[_Bar] = []
    parts = {
        name: _Part(part.iterfind("measure"), bars)
        for name, part in zip(_names(root), root.iterfind("part"), strict=True)
    }
    if len(bars) > MOST_BARS:
        raise _too_long(path)
    starts = np.concatenate([[0.0], np.cumsum([bar.length for bar in bars])])
    clock = _clock(
        [(starts[bar] + at, rate) for part in parts.values() for bar, at, rate in part.tempi]
    )
    sounding = [_Sounding(name, _on_the_clock(part, starts, clock)) for name, part in parts.items()]
    unpitched = tuple(name for name, part in parts.items() if part.is_unpitched and not part.notes)
    lengths_s = np.diff(clock(starts))
    # Grace notes to the very first note come before the first bar.
    lead_s = max([0.0, *(-note[0] for part in sounding for note in sum(part.bars[:1], []))])
    found = []
    for order in orders([bar.signs for bar in bars]):
        if len(order) > MOST_BARS:
            raise _too_long(path)
        edges_s = lead_s + np.concatenate([[0.0], np.cumsum(lengths_s[order])])
        rows = [row for part in sounding for row in _rows(part, order, edges_s)]
        if len(rows) > MOST_NOTES:
            raise _too_long(path)
        found.append(Reading(rows, _played_bars(bars, order, edges_s), unpitched))
    return found


def _names(root: Element) -> list[str]:
    """A name of its own for every part, as it is printed."""
    listed = {part.get("id"): part for part in root.iterfind("part-list/score-part")}
    names: list[str] = []
    for part in root.iterfind("part"):
        told = listed.get(part.get("id"), part)
        printed = (
            told.findtext(tag) or "" for tag in ("part-name", "score-instrument/instrument-name")
        )
        plain = next(filter(None, (" ".join(name.split()) for name in printed)), "part")
        name, more = plain, 1
        while name in names:
            more += 1
            name = f"{plain} ({more})"
        names.append(name)
    return names


def _printed(measure: Element, before: Sequence[_Bar]) -> int:
    """The printed number; a bar without one counts to the one before."""
    number = re.match(r"\d{1,6}", measure.get("number", ""))
    return int(number[0]) if number else before[-1].number if before else 0


def _clock(tempi: Iterable[tuple[float, float]]) -> Callable[[FloatArray], FloatArray]:
    """Seconds at a place of the printed score, in quarters."""
    changes = [(-1000.0, _QUARTERS_A_MINUTE), *sorted(tempi), (1e6, 1.0)]
    at, rates = np.array(changes).T
    if len(at) > 2:
        rates[0] = rates[1]
    seconds = np.concatenate([[0.0], np.cumsum(np.diff(at) * 60 / rates[:-1])])
    seconds -= np.interp(0.0, at, seconds)
    return lambda quarters: np.asarray(np.interp(quarters, at, seconds))


def _on_the_clock(
    part: _Part, starts: FloatArray, clock: Callable[[FloatArray], FloatArray]
) -> list[list[tuple[float, float, float, float, bool, bool]]]:
    """Notes by bar: onset and end in s from the bar's start, pitch, velocity, ties."""
    bars: list[list[tuple[float, float, float, float, bool, bool]]] = [[] for _ in starts[1:]]
    if not part.notes:
        return bars
    bar = np.array([note.bar for note in part.notes])
    spans = starts[bar][:, None] + np.array([note[1:3] for note in part.notes])
    onset_s, end_s = (clock(spans) - clock(starts[bar])[:, None]).T
    velocity = _velocities(part, starts, spans[:, 0])
    for index in np.argsort(onset_s, kind="stable"):
        note = part.notes[index]
        bars[note.bar].append(
            (
                float(onset_s[index]),
                float(end_s[index]),
                note.pitch,
                float(velocity[index]),
                note.joins,
                note.goes_on,
            )
        )
    return bars


def _velocities(part: _Part, starts: FloatArray, at: FloatArray) -> FloatArray:
    """By the marks: the last one holds, hairpins lead to the next, a sforzando is for one note."""
    marks = sorted((starts[bar] + place, level) for bar, place, level in part.levels)
    hairpins = sorted(
        (starts[first] + at, starts[last] + until, step)
        for (first, at), (last, until), step in part.hairpins
    )
    ramps = []
    for start, stop, step in hairpins:
        before = float(_levels(marks, start))
        mark = next((level for place, level in marks if start < place <= stop + 1), None)
        after = mark if mark is not None and (mark - before) * step > 0 else before + step
        after = min(max(after, _STEP), 127.0)
        if mark is None:
            marks = sorted([*marks, (stop, after)])
        ramps.append((start, stop, before, after))
    values = _levels(marks, at)
    for start, stop, before, after in ramps:
        inside = (at >= start) & (at < stop)
        values[inside] = before + (after - before) * (at[inside] - start) / (stop - start)
    struck = [round(starts[bar] + place, 6) for bar, place in part.struck]
    accented = np.isin(np.round(at, 6), struck)
    return np.minimum(np.where(accented, values + 2 * _STEP, values), 127.0)


def _levels(marks: Sequence[tuple[float, float]], at: npt.ArrayLike) -> FloatArray:
    """The last mark up to there."""
    places, levels = np.array([(-np.inf, UNMARKED), *marks]).T
    return np.asarray(levels[np.searchsorted(places, np.asarray(at) + 1e-6, "right") - 1])


def _rows(
    part: _Sounding, order: Sequence[int], edges_s: FloatArray
) -> Iterator[tuple[str, float, float, float, float]]:
    """The part's notes in playing order, ties joined."""
    held: dict[float, list[list[float]]] = {}
    rows: list[list[float]] = []
    for bar, start_s in zip(order, edges_s.tolist(), strict=False):
        for onset_s, end_s, pitch, velocity, joins, goes_on in part.bars[bar]:
            if end_s <= onset_s:
                continue
            before = held.setdefault(pitch, [])
            near = (row for row in before if abs(row[1] - start_s - onset_s) < _SAME_S)
            row = next(near, None) if joins else None
            if row is None:
                row = [start_s + onset_s, 0.0, pitch, velocity]
                rows.append(row)
            else:
                before.remove(row)
            row[1] = start_s + end_s
            if goes_on:
                before.append(row)
    for onset_s, end_s, pitch, velocity in rows:
        yield part.name, onset_s, end_s, pitch, velocity


def _played_bars(bars: Sequence[_Bar], order: Sequence[int], edges_s: FloatArray) -> Bars:
    return Bars(
        edges_s[:-1],
        edges_s[1:],
        np.array([bars[bar].number for bar in order], np.int64),
        np.array([bars[bar].beats for bar in order], np.int64),
    )


def _too_long(path: Path) -> ScoreError:
    return ScoreError(f"{path}: too long for one passage; cut it to what is compared.")
