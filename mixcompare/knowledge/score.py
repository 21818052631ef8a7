"""Written notes, laid over the reference: who plays what when.

A MIDI file, or a table of notes (CSV with the columns ``part``, ``onset_s``, ``end_s`` and
``pitch``, a MIDI number). Its own tempo does not matter: it is played by plain tones and laid over
the recording as another performance would be.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import mido
import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.result import UNRELATED
from mixcompare.audio.recording import Recording
from mixcompare.errors import ScoreError
from mixcompare.features import AlignmentFeatures
from mixcompare.knowledge.notes import PartNotes

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 16_000  # cost: enough for what alignment looks at
_COLUMNS = ("part", "onset_s", "end_s", "pitch")
_MOST_NOTES = 200_000  # cost: more is taken as no single passage
_LONGEST_S = 4 * 3600.0  # cost: four hours
_PERCUSSION = 9  # channel 10 of General MIDI (from memory), counted from zero
_LEAD_S, _TAIL_S = 0.5, 1.0  # silence before the first note and after the last; our choice
_HARMONICS = 6  # definition: plain tones of six partials
_RISE_S, _FALL_S = 0.015, 0.06  # of a plain tone; our choice


@dataclass(frozen=True)
class LaidOver:
    """A score on a recording's clock, and how many semitones higher that sounds."""

    parts: tuple[PartNotes, ...]
    transposition_semitones: int


@dataclass(frozen=True)
class Score:
    """Notes by part, on the score's own clock.

    Attributes
    ----------
    parts : tuple of (name, notes)
        ``notes`` has shape (n, 3): onset and end in s, MIDI pitch; sorted by onset.
    name : str
        For messages.
    """

    parts: tuple[tuple[str, FloatArray], ...]
    name: str = "the score"

    @classmethod
    def open(cls, path: str | Path) -> Score:
        """Read a MIDI file or a CSV table.

        Raises
        ------
        ScoreError
            If the file cannot be read, or holds no notes.
        """
        path = Path(path)
        if path.is_dir():
            raise ScoreError(f"{path}: is a folder; name a MIDI file or a CSV table in it.")
        if not path.is_file():
            raise ScoreError(f"{path}: no such file; name a MIDI file or a CSV table of notes.")
        midi = path.suffix.lower() in (".mid", ".midi")
        rows = _from_midi(path) if midi else _from_table(path)
        if not rows:
            raise ScoreError(f"{path}: holds no notes with a pitch; choose another score.")
        if len(rows) > _MOST_NOTES or max(row[2] for row in rows) > _LONGEST_S:
            raise ScoreError(f"{path}: too long for one passage; cut it to what is compared.")
        names = dict.fromkeys(row[0] for row in rows)
        return cls(
            tuple(
                (name, np.array(sorted(row[1:] for row in rows if row[0] == name)))
                for name in names
            ),
            path.name,
        )

    def over(self, reference: AlignmentFeatures) -> LaidOver:
        """The same notes on a recording's clock.

        Raises
        ------
        ScoreError
            If the recording is of other music.
        """
        sounds = Recording.from_array(self.tones(), RATE_HZ, name="score")
        found = align(AlignmentFeatures.of(sounds), reference)
        if found.relation == UNRELATED:
            raise ScoreError(
                f"{self.name}: could not be laid over the reference: it is of other music, or a"
                " single line of it; give all parts of the passage."
            )
        start, end = found.time_map.span_s
        laid = []
        for name, notes in self.parts:
            times = notes[:, :2] + _LEAD_S
            inside = (times[:, 0] >= start) & (times[:, 1] <= end)
            there = np.column_stack(
                [
                    found.time_map.to_candidate(times[inside].ravel()).reshape(-1, 2),
                    notes[inside, 2] + found.transposition_semitones,
                ]
            )
            laid.append((name, there))
        parts = tuple(
            PartNotes(
                name,
                notes,
                np.concatenate([own for other, own in laid if other != name] or [notes[:0]]),
            )
            for name, notes in laid
            if len(notes)
        )
        return LaidOver(parts, found.transposition_semitones)

    def tones(self) -> FloatArray:
        """Played by plain tones of six partials, shape (samples,), at ``RATE_HZ``."""
        last_s = max(float(notes[:, 1].max()) for _, notes in self.parts)
        out = np.zeros(math.ceil((last_s + _LEAD_S + _TAIL_S) * RATE_HZ))
        for _, notes in self.parts:
            for onset_s, end_s, pitch in notes:
                tone = _tone(float(pitch), float(end_s - onset_s))
                first = round((onset_s + _LEAD_S) * RATE_HZ)
                out[first : first + len(tone)] += tone[: len(out) - first]
        return out * 0.5 / max(float(np.abs(out).max()), 1e-9)


def _tone(pitch: float, length_s: float) -> FloatArray:
    time = np.arange(round((length_s + _FALL_S) * RATE_HZ)) / RATE_HZ
    frequency_hz = 440 * 2 ** ((pitch - 69) / 12)
    wave = np.zeros(len(time))
    for harmonic in range(1, _HARMONICS + 1):
        if harmonic * frequency_hz < 0.45 * RATE_HZ:
            wave += np.sin(2 * np.pi * harmonic * frequency_hz * time) / harmonic
    rise = np.minimum(time / _RISE_S, 1)
    fall = np.clip((length_s + _FALL_S - time) / _FALL_S, 0, 1)
    return np.asarray(wave * rise * fall * np.exp(-time / 2.0))


def _from_midi(path: Path) -> list[tuple[str, float, float, float]]:
    try:
        file = mido.MidiFile(str(path))
    except (OSError, EOFError, ValueError, KeyError, IndexError) as error:
        raise ScoreError(f"{path}: is no readable MIDI file ({error}); export it again.") from error
    tempi = _tempi(file)
    rows: list[tuple[str, float, float, float]] = []
    for number, track in enumerate(file.tracks):
        name, tick = f"part {number}", 0
        held: dict[tuple[int, int], list[int]] = {}
        for message in track:
            tick += message.time
            if message.type == "track_name" and message.name.strip():
                name = message.name.strip()
            if message.type not in ("note_on", "note_off") or message.channel == _PERCUSSION:
                continue
            key = (message.channel, message.note)
            if message.type == "note_on" and message.velocity > 0:
                held.setdefault(key, []).append(tick)
            elif held.get(key):
                start = held[key].pop(0)
                if tick > start:
                    rows.append((name, _seconds(start, tempi), _seconds(tick, tempi), message.note))
    return rows


def _tempi(file: mido.MidiFile) -> list[tuple[int, float, float]]:
    """Changes of tempo: tick, second, seconds per tick."""
    changes = []
    for track in file.tracks:
        tick = 0
        for message in track:
            tick += message.time
            if message.type == "set_tempo":
                changes.append((tick, message.tempo / 1e6 / file.ticks_per_beat))
    out = [(0, 0.0, 0.5 / file.ticks_per_beat)]
    for tick, per_tick in sorted(changes):
        out.append((tick, _seconds(tick, out), per_tick))
    return out


def _seconds(tick: int, tempi: Sequence[tuple[int, float, float]]) -> float:
    at, second, per_tick = next(change for change in reversed(tempi) if change[0] <= tick)
    return second + (tick - at) * per_tick


def _from_table(path: Path) -> list[tuple[str, float, float, float]]:
    rows = []
    try:
        with path.open(newline="", encoding="utf-8-sig") as lines:
            table = csv.DictReader(lines)
            missing = [name for name in _COLUMNS if name not in (table.fieldnames or ())]
            if missing:
                raise ScoreError(
                    f"{path}: lacks the column {missing[0]!r}; a table of notes has the columns"
                    f" {', '.join(_COLUMNS)}."
                )
            for row in table:
                onset_s, end_s, pitch = (float(row[name]) for name in _COLUMNS[1:])
                if not (0 <= onset_s < end_s and 0 <= pitch <= 127 and math.isfinite(end_s)):
                    raise ScoreError(
                        f"{path}: line {table.line_num} has a note without length, before zero or"
                        " outside the pitches 0 to 127; mend that line."
                    )
                rows.append((str(row["part"]).strip() or "part", onset_s, end_s, pitch))
    except ScoreError:
        raise
    except (OSError, csv.Error, ValueError, TypeError) as error:
        raise ScoreError(
            f"{path}: is no table of notes (a field that should hold a number does not, or the file"
            " is no text); write it again."
        ) from error
    return rows
