"""Written notes, laid over the reference: who plays what when, and in which bar.

A score in MusicXML, a MIDI file, or a table of notes. Its own tempo does not matter: it is played
by plain tones and laid over the recording as another performance would be.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.result import UNRELATED, Alignment
from mixcompare.audio.recording import Recording
from mixcompare.audio.span import SHORTEST_PAIR_S
from mixcompare.errors import ScoreError
from mixcompare.features import AlignmentFeatures
from mixcompare.knowledge import midi, musicxml, table
from mixcompare.knowledge.notes import MOST_NOTES, Bars, PartNotes, PartStrokes, Reading
from mixcompare.knowledge.struck import by_instrument
from mixcompare.paths import checked_path, hindrance

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 16_000  # cost: enough for what alignment looks at
_LONGEST_S = 2 * 3600.0  # cost: two hours, and then only for recordings of such a length
_MOVEMENT_S, _AS_LONG = 2700.0, 4.0
"""A movement may be given with a passage of it; more than 45 minutes only with longer music."""
_LONGEST_NOTE_S = 900.0  # no note is held for a quarter of an hour: such times are in another unit
_LEAD_S, _TAIL_S = 0.5, 1.0  # silence before the first note and after the last; our choice
_HARMONICS = 6  # definition: plain tones of six partials
_RISE_S, _FALL_S = 0.015, 0.06  # of a plain tone; our choice
_READERS: dict[str, Callable[[Path], list[Reading]]] = {
    **dict.fromkeys((".musicxml", ".xml", ".mxl"), musicxml.readings),
    **dict.fromkeys((".mid", ".midi"), midi.readings),
    **dict.fromkeys((".csv", ".txt"), table.readings),
}
_KINDS = "MusicXML (.musicxml, .xml, .mxl), a MIDI file (.mid) or a table of notes (.csv)"
_SETTLED_S = 8.0  # of music on either side without a place: more, and other ways are tried


@dataclass(frozen=True)
class LaidOver:
    """A score on a recording's clock, and how many semitones higher that sounds.

    Attributes
    ----------
    parts : tuple of PartNotes
    transposition_semitones : int
    bars : Bars or None
        Those that are heard; None where the score has no bars.
    warnings : tuple of str
        Plain sentences.
    strokes : tuple of PartStrokes
        Of the instruments without a pitch.
    """

    parts: tuple[PartNotes, ...]
    transposition_semitones: int
    bars: Bars | None = None
    warnings: tuple[str, ...] = ()
    strokes: tuple[PartStrokes, ...] = ()


@dataclass(frozen=True)
class Score:
    """Notes by part, on the score's own clock.

    Attributes
    ----------
    parts : tuple of (name, notes)
        ``notes`` has shape (n, 4): onset and end in s, MIDI pitch, MIDI velocity (80 where
        nothing is marked); sorted by onset.
    name : str
        For messages.
    bars : Bars or None
        None where the file says nothing of them.
    strokes : tuple of (name, strokes)
        Of instruments without a pitch: ``strokes`` has shape (n, 4): onset and end in s, MIDI
        velocity, whether it is a roll; sorted by onset.
    marked : frozenset of str
        Parts whose velocities are written dynamics.
    senseless : mapping of str to int
        Marks of the file that make no sense and were passed over, how many of each kind.
    otherwise : tuple of Score
        The same with other repeats.
    """

    parts: tuple[tuple[str, FloatArray], ...]
    name: str = "the score"
    bars: Bars | None = None
    strokes: tuple[tuple[str, FloatArray], ...] = ()
    marked: frozenset[str] = frozenset()
    senseless: Mapping[str, int] = field(default_factory=dict)
    otherwise: tuple[Score, ...] = ()

    @classmethod
    def open(cls, path: str | Path) -> Score:
        """Read MusicXML, a MIDI file or a table of notes; all repeats are played.

        Raises
        ------
        ScoreError
            If the file cannot be read, or holds no notes.
        """
        path = checked_path(path, "the score")
        trouble = hindrance(path)
        if trouble:
            raise ScoreError(f"{path}: {trouble}")
        reader = _READERS.get(path.suffix.lower())
        if reader is None:
            raise ScoreError(f"{path}: is no kind of score that is read; export it as {_KINDS}.")
        first, *others = [cls._of(reading, path) for reading in reader(path)]
        return replace(first, otherwise=tuple(others))

    @classmethod
    def _of(cls, reading: Reading, path: Path) -> Score:
        rows = reading.rows
        if not rows:
            raise ScoreError(f"{path}: holds no notes with a pitch; choose another score.")
        if len(rows) > MOST_NOTES or not all(row[2] <= _LONGEST_S for row in rows):
            raise ScoreError(
                f"{path}: too long for one passage (times are in seconds); cut it to what is"
                " compared."
            )
        longest_s = max(row[2] - row[1] for row in rows)
        if longest_s > _LONGEST_NOTE_S:
            raise ScoreError(
                f"{path}: holds a note of {longest_s:.0f} s; times are in seconds, not thousandths"
                " of one: mend it."
            )
        by_part: dict[str, list[tuple[float, ...]]] = {}
        for name, *note in rows:
            by_part.setdefault(name, []).append(tuple(note))
        parts = tuple((name, np.array(sorted(notes))) for name, notes in by_part.items())
        struck = by_instrument(reading.strokes, list(by_part))
        strokes = tuple((name, np.array(own, float)) for name, own in struck.items())
        others = strokes, reading.marked, reading.senseless
        return cls(parts, path.name, reading.bars, *others)

    def check_length(self, duration_s: float) -> None:
        """Refuse a score that is far longer than the recording of which it is.

        Raises
        ------
        ScoreError
        """
        length_s = max(float(notes[:, 1].max()) for _, notes in self.parts)
        if length_s > max(_MOVEMENT_S, _AS_LONG * duration_s):
            raise ScoreError(
                f"{self.name}: lasts {length_s / 60:.0f} minutes by its own tempo, the recording"
                f" {duration_s:.0f} s; cut the score to the movement that is compared."
            )

    def over(self, reference: AlignmentFeatures) -> LaidOver:
        """The same notes on a recording's clock, with the repeats that fit it.

        Raises
        ------
        ScoreError
            If the recording is of other music.
        """
        score, found = self._aligned(reference)
        semitones = found.transposition_semitones
        laid = []
        for name, notes in score.parts:
            times = notes[:, :2] + _LEAD_S
            inside = found.time_map.covers(times).all(axis=1)
            there = np.column_stack(
                [
                    found.time_map.to_candidate(times[inside].ravel()).reshape(-1, 2),
                    notes[inside, 2] + semitones,
                    notes[inside, 3:],
                ]
            )
            laid.append((name, there))
        parts = tuple(
            PartNotes(
                name,
                notes,
                np.concatenate([own for other, own in laid if other != name] or [notes[:0]]),
                name in score.marked,
            )
            for name, notes in laid
            if len(notes)
        )
        bars = None if score.bars is None else _heard(score.bars, found, reference.duration_s)
        strokes = tuple(score._struck(found))
        return LaidOver(parts, semitones, bars, score._warnings(semitones), strokes)

    def _struck(self, found: Alignment) -> Iterator[PartStrokes]:
        """Strokes of every instrument without a pitch that fall into the recording."""
        time_map = found.time_map
        for name, strokes in self.strokes:
            times = strokes[:, :2] + _LEAD_S
            inside = time_map.covers(times[:, 0])
            if inside.any():
                there = time_map.to_candidate(times[inside].ravel()).reshape(-1, 2)
                marked = name in self.marked or name.rpartition(": ")[0] in self.marked
                yield PartStrokes(name, np.column_stack([there, strokes[inside, 2:]]), marked)

    def _aligned(self, reference: AlignmentFeatures) -> tuple[Score, Alignment]:
        """The score as it fits best: where much is left over, other repeats are tried.

        Last of all twice the tempo: a score may be up to three times as fast as the recording, but
        hardly slower, and many scores say nothing of their tempo.
        """
        tries: list[tuple[float, int, Score, Alignment]] = []
        for score in (self, *self.otherwise, self._twice_as_fast()):
            sounds = Recording.from_array(score.tones(), RATE_HZ, name="score")
            found = align(AlignmentFeatures.of(sounds), reference)
            if found.relation != UNRELATED:
                tries.append((_left_over_s(found, reference.duration_s), len(tries), score, found))
                if tries[-1][0] < _SETTLED_S:
                    break
        if not tries:
            raise ScoreError(
                f"{self.name}: could not be laid over the reference: it is of other music, or a"
                " single line of it; give all parts of the passage."
            )
        _, _, score, found = min(tries, key=lambda each: each[:2])
        return score, found

    def _twice_as_fast(self) -> Score:
        halves = np.array([0.5, 0.5, 1.0, 1.0])
        parts = tuple((name, notes * halves[: notes.shape[1]]) for name, notes in self.parts)
        bars = None if self.bars is None else self.bars.on(lambda times: 0.5 * times)
        strokes = tuple((name, own * halves) for name, own in self.strokes)
        return replace(self, parts=parts, bars=bars, strokes=strokes)

    def _warnings(self, semitones: int) -> tuple[str, ...]:
        out = []
        if semitones:
            out.append(
                f"The reference sounds {abs(semitones)} semitones"
                f" {'higher' if semitones > 0 else 'lower'} than the score is written; the score"
                " was transposed."
            )
        if self.senseless:
            marks = (
                f"{count} {kind}{'s' if count > 1 else ''}"
                for kind, count in self.senseless.items()
            )
            out.append(f"Passed over in the score, making no sense: {', '.join(marks)}.")
        return tuple(out)

    def tones(self) -> npt.NDArray[np.float32]:
        """Played by plain tones of six partials, shape (samples,), at ``RATE_HZ``."""
        notes = np.concatenate([notes[:, :3] for _, notes in self.parts])
        length_s = max(notes[:, 1].max() + _LEAD_S + _TAIL_S, SHORTEST_PAIR_S)
        out = np.zeros(math.ceil(length_s * RATE_HZ), np.float32)
        for pitch in np.unique(notes[:, 2]):
            alike = notes[notes[:, 2] == pitch]
            wave = _wave(float(pitch), float((alike[:, 1] - alike[:, 0]).max()))
            for onset_s, end_s, _ in alike:
                tone = wave[: round((end_s - onset_s + _FALL_S) * RATE_HZ)].copy()
                falling = min(round(_FALL_S * RATE_HZ), len(tone))
                tone[-falling:] *= np.arange(falling, 0, -1) / (_FALL_S * RATE_HZ)
                first = round((onset_s + _LEAD_S) * RATE_HZ)
                out[first : first + len(tone)] += tone[: len(out) - first]
        out *= 0.5 / max(float(out.max()), -float(out.min()), 1e-9)
        return out


def _wave(pitch: float, length_s: float) -> FloatArray:
    """A tone that is held for so long; each note takes as much of it as it needs."""
    time = np.arange(round((length_s + _FALL_S) * RATE_HZ)) / RATE_HZ
    frequency_hz = 440 * 2 ** ((pitch - 69) / 12)
    wave = np.zeros(len(time))
    for harmonic in range(1, _HARMONICS + 1):
        if harmonic * frequency_hz < 0.45 * RATE_HZ:
            wave += np.sin(2 * np.pi * harmonic * frequency_hz * time) / harmonic
    return np.asarray(wave * np.minimum(time / _RISE_S, 1) * np.exp(-time / 2.0))


def _left_over_s(found: Alignment, duration_s: float) -> float:
    """Music without a place: gaps on either clock, and the recording's ends."""
    time_map = found.time_map
    spans_s = np.stack([np.diff(time_map.reference_s), np.diff(time_map.candidate_s)])
    middles = (time_map.reference_s[1:] + time_map.reference_s[:-1]) / 2
    gaps_s = spans_s.max(axis=0)[~time_map.covers(middles)]
    start, end = time_map.candidate_span_s
    return float(gaps_s.sum() + duration_s - (end - start))


def _heard(bars: Bars, found: Alignment, duration_s: float) -> Bars:
    """The bars that have a place in the recording, on its clock."""
    time_map = found.time_map
    start, end = time_map.span_s
    middles = (bars.start_s + bars.end_s) / 2 + _LEAD_S
    left_out = (middles > start) & (middles < end) & ~time_map.covers(middles)
    moved = bars.on(lambda edges: time_map.to_candidate(edges + _LEAD_S).clip(0.0, duration_s))
    return moved.kept((moved.end_s > moved.start_s) & ~left_out)
