"""Notes and bars of a score in MusicXML, plain or compressed (up to version 4.0).

A tremolo, a trill or any other ornament counts as the one note that is written; ties make one
note; grace notes are short and lie before the beat; cue notes are left out. Pitches are those that
sound. Of drums and cymbals without a pitch the strokes are read, tremolos and trills as rolls.
Dynamics hold for a part until the next mark, hairpins go evenly to it; words (*cresc.*) are not
read. Where no tempo is given a quarter takes 0.6 s.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from xml.etree.ElementTree import Element

import numpy as np
import numpy.typing as npt

from mixcompare.errors import ScoreError
from mixcompare.knowledge.notes import MOST_BARS, MOST_NOTES, UNMARKED, Bars, FloatArray, Reading
from mixcompare.knowledge.repeats import orders
from mixcompare.knowledge.struck import UNKNOWN, Stroke
from mixcompare.knowledge.written import ROLLED, STEP, STRUCK, Bar, Part
from mixcompare.knowledge.xmlfile import partwise, tree_of

_QUARTERS_A_MINUTE = 100.0  # our choice; alignment finds the real one
_KEYS = 128  # MIDI 1.0
_SAME_S = 1e-3  # a tied note begins where the one before ends


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
    root = partwise(tree_of(path))
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
            f"{path}: a note, a bar or a tempo in it is no such thing ({error!s:.99}); export it"
            " again."
        ) from error


def _read(root: Element, path: Path) -> list[Reading]:
    bars: list[Bar] = []
    keys = _percussion_keys(root)
    parts = {
        name: Part(part.iterfind("measure"), bars, keys.get(part.get("id")))
        for name, part in zip(_names(root), root.iterfind("part"), strict=True)
    }
    if len(bars) > MOST_BARS:
        raise _too_long(path)
    starts = np.concatenate([[0.0], np.cumsum([bar.length for bar in bars])])
    clock = _clock(
        [(starts[bar] + at, rate) for part in parts.values() for bar, at, rate in part.tempi]
    )
    sounding = [_Sounding(name, _on_the_clock(part, starts, clock)) for name, part in parts.items()]
    marked = frozenset(name for name, part in parts.items() if part.levels or part.hairpins)
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
        notes = [row for row in rows if row[3] >= 0]
        strokes = [_stroke(*row) for row in rows if row[3] < 0]
        found.append(Reading(notes, _played_bars(bars, order, edges_s), strokes, marked))
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


def _percussion_keys(root: Element) -> dict[str | None, dict[str | None, int]]:
    """By part and instrument, the key that stands for it; MusicXML counts them from one."""
    return {
        part.get("id"): {
            one.get("id"): key - 1 if 0 < key <= _KEYS else UNKNOWN
            for one in part.iterfind("midi-instrument")
            for key in [int(one.findtext("midi-unpitched") or 0)]
        }
        for part in root.iterfind("part-list/score-part")
    }


def _stroke(part: str, onset_s: float, end_s: float, pitch: float, velocity: float) -> Stroke:
    """Of a note without a pitch."""
    rolled = pitch < STRUCK + UNKNOWN
    key = round(pitch - (ROLLED if rolled else STRUCK))
    return Stroke(part, onset_s, end_s, key, velocity, rolled)


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
    part: Part, starts: FloatArray, clock: Callable[[FloatArray], FloatArray]
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


def _velocities(part: Part, starts: FloatArray, at: FloatArray) -> FloatArray:
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
        after = min(max(after, STEP), 127.0)
        if mark is None:
            marks = sorted([*marks, (stop, after)])
        ramps.append((start, stop, before, after))
    values = _levels(marks, at)
    for start, stop, before, after in ramps:
        inside = (at >= start) & (at < stop)
        values[inside] = before + (after - before) * (at[inside] - start) / (stop - start)
    struck = [round(starts[bar] + place, 6) for bar, place in part.struck]
    accented = np.isin(np.round(at, 6), struck)
    return np.minimum(np.where(accented, values + 2 * STEP, values), 127.0)


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


def _played_bars(bars: Sequence[Bar], order: Sequence[int], edges_s: FloatArray) -> Bars:
    return Bars(
        edges_s[:-1],
        edges_s[1:],
        np.array([bars[bar].number for bar in order], np.int64),
        np.array([bars[bar].beats for bar in order], np.int64),
        np.array([bars[bar].length for bar in order]),
    )


def _too_long(path: Path) -> ScoreError:
    return ScoreError(f"{path}: too long for one passage; cut it to what is compared.")
