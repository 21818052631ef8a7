"""What a Standard MIDI File (1.0) says of notes, tempo and metre; all else is passed over.

Notes are what is wanted. An event between them that makes no sense costs nothing but itself, for it
says how long it is; where the bytes no longer say what is an event, the file is refused.
"""

from __future__ import annotations

import collections
from dataclasses import dataclass, field
from typing import NamedTuple

from mixcompare.knowledge.notes import MOST_NOTES

_OFF, _ON = 0x80, 0x90  # of a note; the lower four bits are the channel
_DATA_BYTES = {0x80: 2, 0x90: 2, 0xA0: 2, 0xB0: 2, 0xC0: 1, 0xD0: 1, 0xE0: 2}
_SYSTEM_BYTES = {0xF1: 1, 0xF2: 2, 0xF3: 1}  # in no file; others have none
_EXCLUSIVE, _META = (0xF0, 0xF7), 0xFF
_NAME, _END, _TEMPO, _METRE, _KEY = 0x03, 0x2F, 0x51, 0x58, 0x59
_MOST_STROKES, _MOST_MARKS = 2 * MOST_NOTES, 100_000  # cost: more is taken as no single passage
_LONGEST_QUANTITY = 4  # bytes of a variable-length quantity, by the standard
_SHORTEST_BEAT = 7  # a 128th: two to the power of this; none shorter is written (common practice)


class Stroke(NamedTuple):
    """A note begins, or ends (velocity 0)."""

    part: str
    tick: int
    channel: int
    pitch: int
    velocity: int


@dataclass(frozen=True)
class MidiFile:
    """What was read.

    Attributes
    ----------
    ticks : int
        A quarter has so many.
    tracks : list of list of Stroke
    tempi : list of (tick, microseconds a quarter)
        In order.
    metres : list of (tick, upper figure, lower figure)
        In order.
    senseless : dict of str to int
        Marks that make no sense, how many of each kind.
    """

    ticks: int
    tracks: list[list[Stroke]] = field(default_factory=list)
    tempi: list[tuple[int, int]] = field(default_factory=list)
    metres: list[tuple[int, int, int]] = field(default_factory=list)
    senseless: collections.Counter[str] = field(default_factory=collections.Counter)


def parsed(data: bytes) -> MidiFile:
    """Read a file's bytes.

    Raises
    ------
    ValueError
        If they are no such file, with the reason in words.
    """
    whole = _Bytes(data)
    if whole.take(4) != b"MThd":
        raise ValueError("it does not begin as one does")
    head = _Bytes(whole.take(whole.number(4)))
    head.number(2)
    tracks, division = head.number(2), head.number(2)
    if not 0 < division < 0x8000:
        raise ValueError("it counts no ticks to the beat, but frames of a film, or nothing")
    file = MidiFile(division)
    while len(file.tracks) < tracks:
        # The standard: chunks of other kinds are to be skipped.
        kind, chunk = whole.take(4), whole.take(whole.number(4))
        if kind == b"MTrk":
            left = _MOST_STROKES - sum(map(len, file.tracks))
            file.tracks.append(_track(_Bytes(chunk), file, f"part {len(file.tracks)}", left))
    file.tempi.sort(key=lambda each: each[0])
    file.metres.sort(key=lambda each: each[0])
    return file


class _Bytes:
    """Bytes, taken from the front."""

    def __init__(self, data: bytes) -> None:
        self._data, self._at = data, 0

    def __bool__(self) -> bool:
        return self._at < len(self._data)

    def take(self, count: int) -> bytes:
        """The next bytes, as many as asked for."""
        taken = self._data[self._at : self._at + count]
        if len(taken) < count:
            raise ValueError("it breaks off")
        self._at += count
        return taken

    def number(self, count: int) -> int:
        """A number of so many bytes."""
        return int.from_bytes(self.take(count), "big")

    def quantity(self) -> int:
        """A number of as many bytes as it needs, seven bits of it in each."""
        value = 0
        for _ in range(_LONGEST_QUANTITY):
            byte = self.number(1)
            value = value << 7 | byte & 0x7F
            if byte < 0x80:
                return value
        raise ValueError("a length or a time in it has no end")


def _track(data: _Bytes, file: MidiFile, part: str, most: int) -> list[Stroke]:
    """Strokes of a track, no more than so many; its tempi and metres go to the file."""
    strokes: list[Stroke] = []
    tick, status = 0, 0
    while data:
        tick += data.quantity()
        first = data.number(1)
        if first == _META:
            kind, said = data.number(1), data.take(data.quantity())
            if kind == _END:
                break
            if kind == _NAME:
                part = _text(said).strip() or part
            else:
                _hear(file, tick, kind, said)
        elif first in _EXCLUSIVE:
            data.take(data.quantity())
        elif first > _EXCLUSIVE[0]:
            data.take(_SYSTEM_BYTES.get(first, 0))
        else:
            # Without a status of its own an event has that of the one before.
            status, begun = (first, b"") if first & 0x80 else (status, bytes([first]))
            if not status:
                raise ValueError("an event in it is of no kind")
            said = begun + data.take(_DATA_BYTES[status & 0xF0] - len(begun))
            if max(said) > 0x7F:
                raise ValueError("an event in it breaks off")
            if status & 0xF0 in (_OFF, _ON):
                velocity = said[1] if status & 0xF0 == _ON else 0
                strokes.append(Stroke(part, tick, status & 0x0F, said[0], velocity))
                if len(strokes) > most:
                    raise ValueError(f"it holds more than {MOST_NOTES} notes")
    return strokes


def _hear(file: MidiFile, tick: int, kind: int, said: bytes) -> None:
    """Take in a tempo or a metre; count what makes no sense."""
    if len(file.tempi) + len(file.metres) > _MOST_MARKS:
        raise ValueError(f"it holds more than {_MOST_MARKS} changes of tempo and metre")
    if kind == _TEMPO:
        if len(said) == 3 and any(said):
            file.tempi.append((tick, int.from_bytes(said, "big")))
        else:
            file.senseless["tempo mark"] += 1
    elif kind == _METRE:
        if len(said) >= 2 and said[0] > 0 and said[1] <= _SHORTEST_BEAT:
            file.metres.append((tick, said[0], 2 ** said[1]))
        else:
            file.senseless["time signature"] += 1
    elif kind == _KEY:
        # Up to seven flats (negative) or sharps; major or minor. Nothing else is asked of it.
        flats = int.from_bytes(said[:1], "big", signed=True)
        if len(said) != 2 or abs(flats) > 7 or said[1] > 1:
            file.senseless["key signature"] += 1


def _text(said: bytes) -> str:
    """As the writer meant it: the standard knows plain letters only, files hold others too."""
    try:
        return said.decode("utf-8")
    except UnicodeDecodeError:
        return said.decode("latin-1")
