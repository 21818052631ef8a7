"""Half minutes of full orchestral scores, a dry stem a section.

The scores are compressed MusicXML files in a folder of one's own; the tempi below fit eleven
movements of the OpenScore Orchestra corpus (CC0), others are played at 96 quarters a minute.
"""

from __future__ import annotations

import argparse
import hashlib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tests.benchmarks.corpus import VELOCITIES, read_notes
from tests.benchmarks.rendering import Note, Part, fold, render_part

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 44_100
DURATION_S = 30.0
LEAD_S = 0.5
TUNING = ("beethoven_op21_1", "haydn_104_1", "brahms_op98_3")
"""Movements for choosing constants. Not for reporting."""
REPORTING = (
    "beethoven_op36_2", "beethoven_op68_1", "brahms_op73_3", "beach_op32_2", "boulanger_matin",
    "bruckner_wab105_2", "beethoven_op60_3", "bach_bwv1048_1",
)  # fmt: skip
"""Movements for reporting figures. Never choose a constant by them."""
QUARTERS_PER_MINUTE = {
    "beethoven_op21_1": 96, "haydn_104_1": 120, "brahms_op98_3": 120, "beethoven_op36_2": 46,
    "beethoven_op68_1": 120, "brahms_op73_3": 92, "beach_op32_2": 120, "boulanger_matin": 138,
    "bruckner_wab105_2": 60, "beethoven_op60_3": 200, "bach_bwv1048_1": 90,
}  # fmt: skip
BEGINS = 0.3  # of the movement: past an introduction
_ENSEMBLES = {40: 48, 41: 48, 42: 48}  # a section of strings is no soloist
_STEM_FORMAT = 1


@dataclass(frozen=True)
class Excerpt:
    """Sections of an orchestra in one passage.

    Attributes
    ----------
    parts : tuple of Part
        By section; where they sit.
    stems : dict of str to ndarray
        Dry, mono, by section.
    """

    parts: tuple[Part, ...]
    stems: dict[str, FloatArray]


def excerpt(name: str, scores: Path, soundfont: str, cache: Path) -> Excerpt:
    """Half a minute of a score, from the cache if it was played before."""
    return played(name, sections(name, scores, cache), soundfont, cache, DURATION_S + LEAD_S)


def played(
    name: str, parts: Sequence[Part], soundfont: str, cache: Path, duration_s: float
) -> Excerpt:
    """Sections as they are, from the cache if they were played before."""
    parts = tuple(parts)
    key = hashlib.sha256(f"{_STEM_FORMAT} {parts!r} {soundfont}".encode()).hexdigest()[:12]
    path = cache / f"symphonic-{name}-{key}.npz"
    if not path.exists():
        samples = round(duration_s * RATE_HZ)
        stems = {
            part.name: fold(render_part(part, soundfont, RATE_HZ))[:samples].astype(np.float32)
            for part in parts
        }
        np.savez(path, **stems)
    with np.load(path) as stored:
        return Excerpt(parts, {key: stored[key].astype(np.float64) for key in stored.files})


def over_scores(purpose: str | None, by_pair: bool = False) -> argparse.ArgumentParser:
    """What every benchmark over these scores may be asked: the folder, a set, a part of it.

    ``by_pair``: also for some of the pairs only.
    """
    parser = argparse.ArgumentParser(description=(purpose or "").splitlines()[0])
    parser.add_argument("scores", type=Path, help="folder of .mxl files")
    parser.add_argument("--set", choices=("tuning", "reporting"), default="reporting")
    parser.add_argument("--part", default="0/1", help="every n-th movement, as in 0/2 and 1/2")
    parser.add_argument("--cache", type=Path, help="folder for stems")
    if by_pair:
        parser.add_argument("--only", default="", help="pairs with this in movement and kind")
    return parser


def movements(options: argparse.Namespace) -> list[tuple[int, str]]:
    """The movements that were asked for, each with its number in the set."""
    share, shares = map(int, options.part.split("/"))
    names = TUNING if options.set == "tuning" else REPORTING
    return list(enumerate(names))[share::shares]


def sections(
    name: str, scores: Path, cache: Path, begin_quarter: float | None = None
) -> tuple[Part, ...]:
    """The sections that play in the passage, with their notes in seconds, seated left to right."""
    table, names, programs, quarters = _read(name, scores, cache)
    second = 60.0 / QUARTERS_PER_MINUTE.get(name, 96)
    begin = BEGINS * quarters if begin_quarter is None else begin_quarter
    onset = (table[:, 1] - begin) * second
    inside = (onset >= 0) & (onset < DURATION_S - 1.0)
    seats = np.linspace(-0.7, 0.7, len(names))
    order = np.random.default_rng(len(names)).permutation(len(names))
    parts = []
    for index, (label, program) in enumerate(zip(names, programs, strict=True)):
        rows = np.flatnonzero(inside & (table[:, 0] == index))
        if len(rows) < 4:
            continue
        notes = tuple(
            Note(LEAD_S + float(onset[row]), float(table[row, 2]) * second, int(table[row, 3]),
                 int(table[row, 4]))
            for row in rows
        )  # fmt: skip
        gain_db = 0.0 if program in (43, 48) else -8.0
        parts.append(
            Part(str(label), int(program), notes, pan=float(seats[order[index]]), gain_db=gain_db)
        )
    return tuple(parts)


def last_quarter(name: str, scores: Path, cache: Path) -> float:
    """How many quarters a movement lasts."""
    return _read(name, scores, cache)[3]


def _read(
    name: str, scores: Path, cache: Path
) -> tuple[FloatArray, npt.NDArray[np.str_], npt.NDArray[np.int64], float]:
    """Notes, names and programs of the sections and the length in quarters, from the cache."""
    path = cache / f"sections-{name}.npz"
    if not path.exists():
        _parse(scores / f"{name}.mxl", path)
    with np.load(path, allow_pickle=False) as stored:
        return stored["notes"], stored["names"], stored["programs"], float(stored["quarters"])


def _parse(source: Path, path: Path) -> None:
    """Read a score through music21 and keep its notes by section."""
    from music21 import converter  # slow to import, and needed only where the cache is empty

    score: Any = converter.parse(str(source)).toSoundingPitch()
    notes = read_notes(score)
    labels: dict[str, tuple[int, int]] = {}
    section = np.full(len(score.parts), -1)
    for index, part in enumerate(score.parts):
        program = part.getInstrument(returnDefault=True).midiProgram
        if program is None:
            continue
        label = re.sub(r"^(Bb|Eb|[A-G]) |\(.*\)", "", part.partName or "part").strip()
        if "Violin" not in label:
            label = re.sub(r" \d+$", "", label)
        program = _ENSEMBLES.get(program, program)
        section[index] = labels.setdefault(label.strip(), (len(labels), program))[0]
    rows = np.column_stack(
        [section[notes.part], notes.start, notes.length, notes.midi, notes.velocity]
    )
    rows = rows[rows[:, 0] >= 0]
    if len(rows) and rows[:, 4].max() == 0:
        rows[:, 4] = VELOCITIES["mf"]
    np.savez(
        path,
        notes=rows,
        names=np.array(list(labels)),
        programs=np.array([program for _, program in labels.values()]),
        quarters=notes.bar_start[-1],
    )
