"""Write the score as MusicXML. Only the rendering program uses this; it needs music21."""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from music21 import chord, instrument, key, metadata, meter, note, stream, tempo

from sample_audio import score

# A 32nd note, in quarters: the finest value in the score.
_GRID = 0.125


def write_musicxml(path: Path) -> None:
    """Write all the parts at sounding pitch; the file depends on the score alone."""
    whole = stream.Score()
    whole.metadata = metadata.Metadata()
    whole.metadata.title = score.TITLE
    for name, notes in score.written().items():
        whole.insert(0.0, _part(name, notes))
    whole.write("musicxml", fp=str(path))  # type: ignore[no-untyped-call]
    text = path.read_text(encoding="utf-8")
    path.write_text(_without_chance(text), encoding="utf-8")


def _part(name: str, notes: Sequence[score.Written]) -> Any:
    part = stream.Part(id=name)  # type: ignore[no-untyped-call]
    part.partName = name.capitalize()
    player = instrument.instrumentFromMidiProgram(score.SEATS[name].program)
    player.transposition = None  # the notes below are those that sound
    part.insert(0.0, player)
    part.insert(0.0, meter.TimeSignature("4/4"))
    part.insert(0.0, key.KeySignature(2))
    part.insert(0.0, tempo.MetronomeMark(number=score.BEATS_PER_MINUTE))
    # Notes struck together make a chord; the harp's last one is spread in performance only.
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


def _without_chance(text: str) -> str:
    """Drop the date and the writing program, and number the identifiers that are random."""
    text = re.sub(r"\n *<identification>.*?</identification>", "", text, flags=re.DOTALL)
    for letter in "PI":
        identifiers = dict.fromkeys(re.findall(rf'"({letter}[0-9a-f]{{32}})"', text))
        for number, identifier in enumerate(identifiers, start=1):
            text = text.replace(f'"{identifier}"', f'"{letter}{number}"')
    return text
