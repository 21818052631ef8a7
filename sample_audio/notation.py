"""Write the score as MusicXML. Only the rendering program uses this; it needs music21."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from music21 import chord, instrument, key, metadata, meter, note, stream, tempo

from sample_audio import score

# Part name in the score, as a person reads it, and the written sixteenth as the finest grid but
# for the roll; the harp's last chord is spread in performance only.
_GRID = 0.125


def write_musicxml(path: Path) -> None:
    """Write all the parts, sounding pitch, dynamics left to the performance."""
    whole = stream.Score()
    whole.metadata = metadata.Metadata()
    whole.metadata.title = score.TITLE
    for name, notes in score.written().items():
        whole.insert(0.0, _part(name, notes))
    whole.write("musicxml", fp=str(path))


def _part(name: str, notes: Sequence[score.Written]) -> Any:
    part = stream.Part(id=name)
    part.partName = name.capitalize()
    part.insert(0.0, instrument.instrumentFromMidiProgram(score.SEATS[name].program))
    part.insert(0.0, meter.TimeSignature("4/4"))
    part.insert(0.0, key.KeySignature(2))
    part.insert(0.0, tempo.MetronomeMark(number=score.BEATS_PER_MINUTE))
    # Notes of one length struck together make a chord; a spread chord is struck together here.
    together: dict[float, list[score.Written]] = defaultdict(list)
    for item in notes:
        beat = min(item.beat, score.FINAL_CHORD_BEAT)
        together[round(beat / _GRID) * _GRID].append(item)
    for beat, items in sorted(together.items()):
        part.insert(beat, _sounding(items))
    return part.makeNotation()


def _sounding(items: Sequence[score.Written]) -> Any:
    length = max(round(item.length / _GRID) * _GRID for item in items)
    pitches = sorted({item.pitch for item in items})
    element = note.Note(pitches[0]) if len(pitches) == 1 else chord.Chord(pitches)
    element.quarterLength = length
    return element
