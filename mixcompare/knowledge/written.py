"""One part of a score in MusicXML as it is written, and what its bars say for all parts.

Places are in quarters from the start of a bar, until the bars are put in order
(:mod:`mixcompare.knowledge.musicxml`).
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple
from xml.etree.ElementTree import Element

from mixcompare.knowledge.repeats import Signs
from mixcompare.knowledge.struck import UNKNOWN

_GRACE = 0.125  # of a quarter; our choice
_SEMITONES = {"C": 0, "D": 2, "E": 4, "F": 5, "G": 7, "A": 9, "B": 11}
_QUARTERS = {
    "whole": 4.0, "half": 2.0, "quarter": 1.0, "eighth": 0.5, "16th": 0.25, "32nd": 0.125,
}  # fmt: skip
# Velocities: sixteen a dynamic, our choice; no source.
STEP = 16.0
_MARKS = {
    "pppp": 8.0, "ppp": 16.0, "pp": 32.0, "p": 48.0, "mp": 64.0, "mf": 80.0, "f": 96.0,
    "ff": 112.0, "fff": 120.0, "ffff": 127.0, "fp": 48.0, "sfp": 48.0, "sfpp": 32.0, "pf": 96.0,
}  # fmt: skip
_PLAIN = 10  # of them hold
STRUCK, ROLLED = -1000.0, -2000.0
"""For single strokes and rolls: with the percussion key, what stands for a pitch they lack."""
_ROLLS = ("tremolo", "trill-mark", "wavy-line")
_STRUCK = {"fp", "sfp", "sfpp", "sf", "sfz", "sffz", "fz", "rf", "rfz"}  # two steps louder, at once


def dynamics_named(lowest: float, highest: float) -> str:
    """Two velocities as the nearest dynamics: ``"mf"``, ``"p to f"``."""
    plain = list(_MARKS.items())[:_PLAIN]
    names = [min(plain, key=lambda one: abs(one[1] - level))[0] for level in (lowest, highest)]
    return " to ".join(dict.fromkeys(names))


class Note(NamedTuple):
    """A note head in its bar, in quarters; ``joins`` the one before it, ``goes_on`` to the next.

    One without a pitch has ``STRUCK`` or ``ROLLED`` and its percussion key in place of it.
    """

    bar: int
    at: float
    until: float
    pitch: float
    joins: bool
    goes_on: bool


@dataclass
class Bar:
    """What is printed of a bar, and how much of it the parts fill.

    Attributes
    ----------
    number, beats : int
    metre, filled : float
        In quarters.
    signs : Signs
    """

    number: int
    beats: int
    metre: float
    signs: Signs = field(default_factory=Signs)
    filled: float = 0.0

    @property
    def length(self) -> float:
        """In quarters, by what stands in it: a pick-up bar is short."""
        return self.filled or self.metre


class Part:
    """One part as it is written, bar by bar; what holds for all is put into the bars."""

    def __init__(
        self,
        measures: Iterable[Element],
        bars: list[Bar],
        keys: Mapping[str | None, int] | None = None,
    ) -> None:
        self._keys = keys or {}
        self._only_key = next(iter(self._keys.values()), UNKNOWN)
        self.notes: list[Note] = []
        self.tempi: list[tuple[int, float, float]] = []
        self.levels: list[tuple[int, float, float]] = []
        self.struck: list[tuple[int, float]] = []
        self.hairpins: list[tuple[tuple[int, float], tuple[int, float], float]] = []
        self._divisions, self._transposed = 1.0, 0.0
        self._metre = (4, 4.0)
        self._ending: frozenset[int] = frozenset()
        self._open: dict[str, tuple[int, float, float]] = {}
        self._bars = bars
        for index, measure in enumerate(measures):
            if index == len(bars):
                bars.append(Bar(_printed(measure, bars), *self._metre))
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
    def _bar(self) -> Bar:
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
        pitch = item.find("pitch")
        if item.find("cue") is not None:
            return
        if item.find("unpitched") is not None and not is_grace:
            sounding = self._struck(item)
        elif pitch is None:
            return
        else:
            sounding = self._sounding(pitch)
        if not is_grace:
            ties = {tie.get("type") for tie in item.iterfind("tie")}
            ties = ties or {tie.get("type") for tie in item.iterfind("notations/tied")}
            until = self._onset + length
            self.notes.append(
                Note(self._index, self._onset, until, sounding, "stop" in ties, "start" in ties)
            )
        elif in_chord and self._graces:
            self._graces[-1].append(sounding)
        else:
            self._graces.append([sounding])

    def _sounding(self, pitch: Element) -> float:
        sounding = (
            12 * (_number(pitch.findtext("octave"), 4.0) + 1)
            + _SEMITONES[pitch.findtext("step") or ""]
            + _number(pitch.findtext("alter"))
            + self._transposed
        )
        if not 0 <= sounding <= 127:
            raise ValueError(f"the pitch {sounding:g}")
        return sounding

    def _struck(self, item: Element) -> float:
        """What stands for the pitch of a note without one."""
        on = item.find("instrument")
        key = self._keys.get(on.get("id") if on is not None else None, self._only_key)
        rolled = any(item.find(f"notations/ornaments/{mark}") is not None for mark in _ROLLS)
        return (ROLLED if rolled else STRUCK) + key

    def _lay_graces(self) -> None:
        """The grace notes so far, one after the other, up to the present place."""
        for behind, pitches in zip(range(len(self._graces), 0, -1), self._graces, strict=True):
            at = self._at - behind * _GRACE
            self.notes += [
                Note(self._index, at, at + _GRACE, pitch, False, False) for pitch in pitches
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
            self._open[number] = (self._index, at, STEP if kind == "crescendo" else -STEP)
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


def _printed(measure: Element, before: Sequence[Bar]) -> int:
    """The printed number; a bar without one counts to the one before."""
    number = re.match(r"\d{1,6}", measure.get("number", ""))
    return int(number[0]) if number else before[-1].number if before else 0
