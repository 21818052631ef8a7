"""Notes and bars of a Standard MIDI File (1.0)."""

from __future__ import annotations

import bisect
import io
import math
from collections.abc import Sequence
from pathlib import Path

import mido
import numpy as np

from mixcompare.errors import ScoreError
from mixcompare.knowledge.notes import MOST_BARS, Bars, Reading
from mixcompare.paths import hindrance

_MOST_BYTES = 10_000_000  # cost: a movement has some 200 kB
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
        # Out of the memory: an open file makes room for as much as a header claims.
        file = mido.MidiFile(file=io.BytesIO(path.read_bytes()))
    except (OSError, EOFError, ValueError, LookupError, TypeError, AttributeError) as error:
        why = str(error)[:99] or "it breaks off"
        raise ScoreError(f"{path}: is no readable MIDI file ({why}); export it again.") from error
    except mido.midifiles.meta.KeySignatureError as error:
        raise ScoreError(f"{path}: holds no such key ({error!s:.99}); export it again.") from error
    if file.ticks_per_beat <= 0:
        raise ScoreError(
            f"{path}: counts no ticks to the beat (but frames of a film, or nothing); export it"
            " again with ticks."
        )
    tempi = _tempi(file)
    rows: list[tuple[str, float, float, float, float]] = []
    struck: dict[str, None] = {}
    last = 0
    for number, track in enumerate(file.tracks):
        name, tick = f"part {number}", 0
        held: dict[tuple[int, int], list[tuple[int, int]]] = {}
        for message in track:
            tick += message.time
            if message.type == "track_name" and message.name.strip():
                name = message.name.strip()
            if message.type not in ("note_on", "note_off"):
                continue
            if message.channel == _PERCUSSION:
                struck[name] = None
                continue
            key = (message.channel, message.note)
            if message.type == "note_on" and message.velocity > 0:
                held.setdefault(key, []).append((tick, message.velocity))
            elif held.get(key):
                start, velocity = held[key].pop(0)
                if tick > start:
                    span_s = _seconds(start, tempi), _seconds(tick, tempi)
                    rows.append((name, *span_s, message.note, velocity))
                    last = max(last, tick)
    pitched = {row[0] for row in rows}
    return [Reading(rows, _bars(file, tempi, last), tuple(set(struck) - pitched))]


def _bars(file: mido.MidiFile, tempi: Sequence[tuple[int, float, float]], last: int) -> Bars | None:
    """Bars up to a tick; a change of metre begins one."""
    metres = [
        (tick, message.numerator, message.denominator)
        for tick, message in _messages(file, "time_signature")
        if tick < last and message.numerator > 0
    ]
    if not metres:
        return None
    if metres[0][0] > 0:
        metres.insert(0, (0, 4, 4))  # Standard MIDI File 1.0: 4/4 where nothing is said
    edges: list[float] = []
    beats: list[int] = []
    quarters: list[float] = []
    for (tick, upper, lower), (until, *_) in zip(metres, [*metres[1:], (last,)], strict=True):
        length = 4 * file.ticks_per_beat * upper / lower
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


def _messages(file: mido.MidiFile, kind: str) -> list[tuple[int, mido.MetaMessage]]:
    """All messages of one kind with their ticks, in order."""
    found = []
    for track in file.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == kind:
                found.append((tick, message))
    return sorted(found, key=lambda each: each[0])


def _tempi(file: mido.MidiFile) -> list[tuple[int, float, float]]:
    """Changes of tempo: tick, second, seconds per tick."""
    out = [(0, 0.0, 0.5 / file.ticks_per_beat)]
    for tick, message in _messages(file, "set_tempo"):
        out.append((tick, _seconds(tick, out[-1:]), message.tempo / 1e6 / file.ticks_per_beat))
    return out


def _seconds(tick: float, tempi: Sequence[tuple[int, float, float]]) -> float:
    change = bisect.bisect_right(tempi, tick, key=lambda each: each[0]) - 1
    at, second, per_tick = tempi[change]
    return second + (tick - at) * per_tick
