"""Notes and bars of a Standard MIDI File (1.0)."""

from __future__ import annotations

import bisect
import math
from collections import Counter
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from mixcompare.errors import ScoreError
from mixcompare.knowledge import struck
from mixcompare.knowledge.midifile import MidiFile, Stroke, parsed
from mixcompare.knowledge.notes import MOST_BARS, Bars, Reading
from mixcompare.paths import hindrance

_MOST_BYTES = 5_000_000  # cost: a movement has some 200 kB
_PERCUSSION = 9  # channel 10 of General MIDI (from memory), counted from zero


def readings(path: Path) -> list[Reading]:
    """The notes by track, and the bars where the file says a metre; the first one is bar 1.

    Raises
    ------
    ScoreError
        If it is no MIDI file.
    """
    trouble = hindrance(path, _MOST_BYTES)
    if trouble:
        raise ScoreError(f"{path}: {trouble}")
    try:
        file = parsed(path.read_bytes())
    except OSError as error:
        raise ScoreError(f"{path}: cannot be read ({error.strerror}).") from error
    except ValueError as error:
        raise ScoreError(f"{path}: is no readable MIDI file ({error}); export it again.") from error
    tempi = _tempi(file)
    rows: list[tuple[str, float, float, float, float]] = []
    strokes: list[struck.Stroke] = []
    last = 0
    for track in file.tracks:
        held: dict[tuple[int, int], list[Stroke]] = {}
        open_ended = _without_all_ends(track)
        for stroke in track:
            if stroke.channel == _PERCUSSION:
                if stroke.velocity > 0:
                    at_s = _seconds(stroke.tick, tempi)
                    strokes.append(
                        struck.Stroke(stroke.part, at_s, at_s, stroke.pitch, stroke.velocity, False)
                    )
                continue
            key = (stroke.channel, stroke.pitch)
            if stroke.velocity > 0:
                held.setdefault(key, []).append(stroke)
            elif held.get(key):
                ended = [held[key].pop(0)]
                if key in open_ended:
                    ended += [one for one in held[key] if one.tick < stroke.tick]
                    held[key] = [one for one in held[key] if one.tick >= stroke.tick]
                for begun in ended:
                    if stroke.tick > begun.tick:
                        span_s = _seconds(begun.tick, tempi), _seconds(stroke.tick, tempi)
                        rows.append((stroke.part, *span_s, stroke.pitch, begun.velocity))
                        last = max(last, stroke.tick)
    return [Reading(rows, _bars(file, tempi, last), strokes, senseless=file.senseless)]


def _without_all_ends(track: Sequence[Stroke]) -> set[tuple[int, int]]:
    """Channels and pitches of which one would sound for ever: there one end ends all that sound.

    Two players in unison whose end is written once; taken one by one, a note would last until that
    pitch is played again, and so would every later one.
    """
    sounding = Counter[tuple[int, int]]()
    for stroke in track:
        key = stroke.channel, stroke.pitch
        sounding[key] = sounding[key] + 1 if stroke.velocity > 0 else max(sounding[key] - 1, 0)
    return {key for key, count in sounding.items() if count > 0}


def _bars(file: MidiFile, tempi: Sequence[tuple[int, float, float]], last: int) -> Bars | None:
    """Bars up to a tick; a change of metre begins one."""
    metres = [metre for metre in file.metres if metre[0] < last]
    if not metres:
        return None
    if metres[0][0] > 0:
        metres.insert(0, (0, 4, 4))  # Standard MIDI File 1.0: 4/4 where nothing is said
    edges: list[float] = []
    beats: list[int] = []
    quarters: list[float] = []
    for (tick, upper, lower), (until, *_) in zip(metres, [*metres[1:], (last,)], strict=True):
        length = 4 * file.ticks * upper / lower
        count = math.ceil((until - tick) / length)
        if len(edges) + count > MOST_BARS:
            return None
        edges += [tick + length * bar for bar in range(count)]
        beats += [upper] * count
        quarters += [4 * upper / lower] * count
    # The last bar is whole, whenever its last note ends.
    edges.append(edges[-1] + length)
    times_s = np.array([_seconds(edge, tempi) for edge in edges])
    number = np.arange(1, len(edges))
    return Bars(times_s[:-1], times_s[1:], number, np.array(beats), np.array(quarters))


def _tempi(file: MidiFile) -> list[tuple[int, float, float]]:
    """Changes of tempo: tick, second, seconds per tick."""
    out = [(0, 0.0, 0.5 / file.ticks)]  # Standard MIDI File 1.0: 120 quarters a minute
    for tick, microseconds in file.tempi:
        out.append((tick, _seconds(tick, out[-1:]), microseconds / 1e6 / file.ticks))
    return out


def _seconds(tick: float, tempi: Sequence[tuple[int, float, float]]) -> float:
    change = bisect.bisect_right(tempi, tick, key=lambda each: each[0]) - 1
    at, second, per_tick = tempi[change]
    return second + (tick - at) * per_tick
