"""Are scores in MusicXML read as another library reads them?

``python -m tests.benchmarks.notation FOLDER`` reads every .mxl in a folder with the package and
with music21, the tempo taken out, and prints for every movement how many notes of all parts agree
in onset, end and pitch, as printed. Notes that one of them alone has are counted; grace notes are
left out on music21's side and counted on ours. Of the repeats the order of bars is compared, in the
first part (music21 unfolds endings in the parts that have them printed, and follows no *dal segno*
that is in the file for players alone).
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import zip_longest
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

from mixcompare.knowledge.musicxml import readings
from mixcompare.knowledge.notes import Reading
from mixcompare.knowledge.xmlfile import tree_of

QUARTER_S = 0.6  # without a tempo
GRID = 96  # of a quarter: rounding of onsets and ends

Head = tuple[int, int, int]


def without_tempo(path: Path, folder: Path) -> Path:
    """The same score with no word on its tempo."""
    root = tree_of(path)
    for item in root.iter():
        item.attrib.pop("tempo", None)
        for mark in item.findall("metronome"):
            item.remove(mark)
    plain = folder / f"{path.stem}.musicxml"
    ElementTree.ElementTree(root).write(plain, encoding="utf-8", xml_declaration=True)
    return plain


def heads(onsets: Iterable[tuple[float, float, float]]) -> Counter[Head]:
    """Notes, countable: onset, end, pitch."""
    return Counter((round(on * GRID), round(end * GRID), round(pitch)) for on, end, pitch in onsets)


def ours(reading: Reading) -> list[Counter[Head]]:
    """Notes by part, in quarters."""
    parts: dict[str, list[tuple[float, float, float]]] = {}
    for name, onset_s, end_s, pitch, _ in reading.rows:
        parts.setdefault(name, []).append((onset_s / QUARTER_S, end_s / QUARTER_S, pitch))
    return [heads(notes) for notes in parts.values()]


def theirs(parts: Sequence[Any]) -> tuple[list[Counter[Head]], int]:
    """Notes by part as music21 joins their ties, and how many grace notes it leaves."""
    found: dict[str, list[tuple[float, float, float]]] = {}
    graces = 0
    for index, part in enumerate(parts):
        staff = "PartStaff" in part.classes  # of a part on several staves, by the part's own name
        key = str(part.id).partition("-Staff")[0] if staff else str(index)
        notes = found.setdefault(key, [])
        for item in part.stripTies().flatten().notes:
            pitches = [pitch.midi for pitch in item.pitches]
            if item.duration.isGrace:
                graces += len(pitches)
                continue
            onset = float(item.offset)
            notes += [(onset, onset + float(item.quarterLength), pitch) for pitch in pitches]
    return [heads(notes) for notes in found.values() if notes], graces


def compared(mine: list[Counter[Head]], other: list[Counter[Head]]) -> tuple[int, int, int]:
    """How many agree, how many are ours alone, how many theirs alone; part by part."""
    pairs = list(zip_longest(mine, other, fillvalue=Counter[Head]()))
    return (
        sum((one & two).total() for one, two in pairs),
        sum((one - two).total() for one, two in pairs),
        sum((two - one).total() for one, two in pairs),
    )


def main(arguments: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("scores", type=Path, help="folder of .mxl files")
    options = parser.parse_args(arguments)
    from music21 import converter  # slow to import

    print("movement | agree | ours alone (grace notes) | theirs alone | bars, theirs in order | s")
    with tempfile.TemporaryDirectory() as folder:
        for path in sorted(options.scores.glob("*.mxl")):
            plain = without_tempo(path, Path(folder))
            began = time.perf_counter()
            ways = readings(plain)
            read_s = time.perf_counter() - began
            began = time.perf_counter()
            score: Any = converter.parse(str(plain))
            other_s = time.perf_counter() - began
            other, graces = theirs([part.toSoundingPitch() for part in score.parts])
            agree, mine, alone = compared(ours(ways[-1]), other)
            bars = ways[0].bars
            assert bars is not None
            unfolded = score.parts[0].expandRepeats().getElementsByClass("Measure")
            same = sum(
                number == measure.number
                for number, measure in zip(bars.number, unfolded, strict=False)
            )
            print(
                f"{path.stem} | {agree} | {mine} ({graces}) | {alone}"
                f" | {len(bars.number)}, {same} of {len(unfolded)} | {read_s:.1f} ({other_s:.1f})",
                flush=True,
            )
    return 0


if __name__ == "__main__":
    sys.exit(main())
