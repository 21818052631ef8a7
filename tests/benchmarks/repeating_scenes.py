"""Passages with a figure that repeats: written ones, and made-up ones laid over written music.

Four written figures recur with rhythm and pitch over six bars or more (found by comparing every
part's notes with themselves some quarters later). The others are broken chords on winds, bells and
keyboards, alone or together, of pitches that the music over six bars or more has most of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.benchmarks.parts import again, k_level_db
from tests.benchmarks.rendering import Note, Part
from tests.benchmarks.symphonic import (
    DURATION_S,
    LEAD_S,
    QUARTERS_PER_MINUTE,
    Excerpt,
    played,
    sections,
)

LONGER_S = 5.0  # room for a slower performance
_LEADING_HZ_PITCH = 62  # median pitch of a section that may lead


@dataclass(frozen=True)
class Figure:
    """A figure and the music around it.

    Attributes
    ----------
    movement : str
    begin_quarter : float
        Where in the movement the half minute begins.
    level_db : float
        The figure's level against all else, K-weighted.
    written : tuple of str
        Sections that play a written figure; then nothing is laid over the music.
    programs : tuple of (int, int)
        General MIDI program and lowest pitch of every instrument of a made-up one.
    notes_per_quarter : int
    motif : tuple of int
        Degrees of the chord, from its lowest one.
    holds_quarters : int
        How long it keeps its pitches, those that the music has most of meanwhile.
    plays : tuple of float
        Share of the half minute in which it plays.
    """

    movement: str
    begin_quarter: float
    level_db: float
    written: tuple[str, ...] = ()
    programs: tuple[tuple[int, int], ...] = ()
    notes_per_quarter: int = 2
    motif: tuple[int, ...] = ()
    holds_quarters: int = 24
    plays: tuple[float, float] = (0.0, 1.0)

    @property
    def names(self) -> tuple[str, ...]:
        """The figure's sections."""
        return self.written or tuple(f"figure {index}" for index in range(len(self.programs)))

    @property
    def name(self) -> str:
        who = "+".join(self.written) or "+".join(str(program) for program, _ in self.programs)
        return f"{self.movement}@{self.begin_quarter:g} {who}"


_FLUTE, _PICCOLO, _OBOE, _CLARINET = (73, 74), (72, 79), (68, 70), (71, 67)
_CELESTA, _BELLS, _VIBRAPHONE, _MARIMBA, _XYLOPHONE = (8, 74), (9, 79), (11, 67), (12, 60), (13, 77)
_PIANO, _HARPSICHORD, _HARP, _PLUCKED = (0, 72), (6, 67), (46, 69), (45, 67)

TUNING = (
    Figure("haydn_104_1", 532, -8, written=("Violin 2",)),
    Figure("haydn_104_1", 300, -11, programs=(_FLUTE, _CLARINET), notes_per_quarter=2,
           motif=(0, 2, 1, 3)),
    Figure("beethoven_op21_1", 380, -10, programs=(_CELESTA,), notes_per_quarter=4,
           motif=(0, 1, 2, 3, 2, 1)),
    Figure("beethoven_op21_1", 700, -12, programs=(_PIANO, _XYLOPHONE), notes_per_quarter=3,
           motif=(0, 2, 1), plays=(0.2, 0.85)),
    Figure("brahms_op98_3", 100, -12, programs=(_CLARINET, _OBOE), notes_per_quarter=2,
           motif=(0, 1, 2, 1, 3, 1), holds_quarters=99),
    Figure("brahms_op98_3", 400, -10, programs=(_HARP,), notes_per_quarter=3, motif=(0, 1, 2, 3)),
    Figure("haydn_104_1", 700, -11, programs=(_BELLS,), notes_per_quarter=2, motif=(0, 2, 1)),
    Figure("beethoven_op21_1", 150, -12, programs=(_FLUTE, _OBOE, _CLARINET), notes_per_quarter=2,
           motif=(0, 1, 3, 2, 1, 2)),
    Figure("brahms_op98_3", 250, -10, programs=(_HARPSICHORD, _VIBRAPHONE), notes_per_quarter=4,
           motif=(0, 2, 1, 3, 1), plays=(0.15, 0.9)),
    Figure("haydn_104_1", 900, -10, programs=(_MARIMBA,), notes_per_quarter=4,
           motif=(0, 1, 2, 3, 2, 1), holds_quarters=99),
    Figure("boulanger_matin", 340, -10, written=("Harp",)),
    Figure("beethoven_op68_1", 300, -8, written=("Viola",)),
    Figure("bruckner_wab105_2", 752, -8, written=("Violin 1", "Violin 2")),
    Figure("beethoven_op36_2", 150, -10, programs=(_CLARINET,), notes_per_quarter=6,
           motif=(0, 1, 2, 1, 3, 2)),
    Figure("beethoven_op68_1", 600, -12, programs=(_BELLS, _CELESTA), notes_per_quarter=2,
           motif=(0, 2, 1, 3, 2)),
    Figure("brahms_op73_3", 300, -11, programs=(_PIANO,), notes_per_quarter=4, motif=(0, 1, 2, 3)),
    Figure("beach_op32_2", 330, -10, programs=(_FLUTE, _PICCOLO, _CLARINET), notes_per_quarter=3,
           motif=(0, 2, 1, 0, 3, 1)),
    Figure("beach_op32_2", 200, -12, programs=(_MARIMBA, _PLUCKED), notes_per_quarter=2,
           motif=(0, 1, 3, 2), holds_quarters=99),
    Figure("boulanger_matin", 480, -12, programs=(_VIBRAPHONE,), notes_per_quarter=3,
           motif=(0, 1, 2), plays=(0.1, 0.8)),
    Figure("bruckner_wab105_2", 300, -10, programs=(_OBOE, _FLUTE), notes_per_quarter=4,
           motif=(0, 2, 1, 2)),
    Figure("beethoven_op60_3", 480, -11, programs=(_HARPSICHORD,), notes_per_quarter=2,
           motif=(0, 2, 1, 3)),
    Figure("bach_bwv1048_1", 250, -12, programs=(_XYLOPHONE, _CLARINET), notes_per_quarter=4,
           motif=(0, 1, 2, 1), holds_quarters=99),
)  # fmt: skip
"""For choosing constants. The last twelve were first meant for reporting and then looked into."""
REPORTING = (
    Figure("beethoven_op36_2", 40, -10, programs=(_FLUTE, _CELESTA), notes_per_quarter=6,
           motif=(0, 2, 1)),
    Figure("beethoven_op68_1", 760, -10, programs=(_PIANO,), notes_per_quarter=2,
           motif=(0, 1, 2, 3)),
    Figure("brahms_op73_3", 120, -11, programs=(_BELLS,), notes_per_quarter=3,
           motif=(0, 1, 2, 1)),
    Figure("brahms_op73_3", 460, -10, programs=(_CLARINET, _FLUTE), notes_per_quarter=4,
           motif=(0, 2, 1, 3, 2, 1), holds_quarters=99),
    Figure("beach_op32_2", 480, -11, programs=(_HARP, _CELESTA), notes_per_quarter=3,
           motif=(0, 1, 3, 2)),
    Figure("beach_op32_2", 80, -10, programs=(_XYLOPHONE,), notes_per_quarter=2, motif=(0, 2, 1)),
    Figure("boulanger_matin", 200, -10, programs=(_OBOE, _CLARINET), notes_per_quarter=3,
           motif=(0, 1, 2, 0, 2, 1), plays=(0.1, 0.9)),
    Figure("bruckner_wab105_2", 560, -10, programs=(_VIBRAPHONE, _HARP), notes_per_quarter=4,
           motif=(0, 1, 2, 3, 1)),
    Figure("beethoven_op60_3", 120, -11, programs=(_PIANO, _BELLS), notes_per_quarter=2,
           motif=(0, 2, 1, 2), holds_quarters=99),
    Figure("bach_bwv1048_1", 80, -11, programs=(_MARIMBA,), notes_per_quarter=4,
           motif=(0, 1, 2, 3, 2, 1)),
)  # fmt: skip
"""For reporting figures. Never choose a constant by them."""


def notes_of(figure: Figure, bed: Sequence[Part], lowest: int) -> tuple[Note, ...]:
    """A made-up figure's notes over the music's own harmony."""
    quarter_s = 60 / QUARTERS_PER_MINUTE[figure.movement]
    step_s = quarter_s / figure.notes_per_quarter
    onset, end, pitch = np.array(
        [(note.onset_s, note.end_s, note.pitch) for part in bed for note in part.notes]
    ).T
    out, chord = [], [0, 4, 7]
    first, last = (LEAD_S + share * (DURATION_S - 1.0) for share in figure.plays)
    start_s = LEAD_S + np.ceil((first - LEAD_S) / quarter_s) * quarter_s
    for index in range(int((last - start_s) / step_s)):
        at_s = start_s + index * step_s
        if index % (figure.holds_quarters * figure.notes_per_quarter) == 0:
            until_s = at_s + figure.holds_quarters * quarter_s
            common = np.minimum(end, until_s) - np.maximum(onset, at_s)
            amount = np.bincount(pitch.astype(int) % 12, np.maximum(common, 0), 12)
            loud = np.argsort(amount)[::-1][:4]
            if amount[loud[2]] > 0:
                chord = sorted((int(p) - lowest) % 12 for p in loud if amount[p] > 0)
        degree = figure.motif[index % len(figure.motif)]
        struck = lowest + chord[degree % len(chord)] + 12 * (degree // len(chord))
        out.append(Note(float(at_s), 0.85 * step_s, struck, 76 if index % 4 else 84))
    return tuple(out)


def written_parts(figure: Figure, scores: Path, cache: Path) -> tuple[Part, ...]:
    """The music and the figure, as written."""
    bed = sections(figure.movement, scores, cache, figure.begin_quarter)
    laid = tuple(
        Part(name, program, notes_of(figure, bed, lowest), pan=0.3 * (-1) ** index)
        for index, (name, (program, lowest)) in enumerate(
            zip(figure.names, figure.programs, strict=False)
        )
    )
    return (*bed, *laid) if figure.programs else bed


def balanced(figure: Figure, music: Excerpt) -> Excerpt:
    """The figure at its level against all else, its instruments alike."""
    levels = {p.name: k_level_db(music.stems[p.name]) + p.gain_db for p in music.parts}
    powers = {name: 10 ** (level / 10) for name, level in levels.items()}
    rest = sum(power for name, power in powers.items() if name not in figure.names)
    wanted = rest * 10 ** (figure.level_db / 10) / len(figure.names)
    own = set(figure.names)
    parts = tuple(
        replace(part, gain_db=part.gain_db + 10 * np.log10(wanted / powers[part.name]))
        if part.name in own
        else part
        for part in music.parts
    )
    return Excerpt(parts, music.stems)


def performance(
    figure: Figure,
    parts: Sequence[Part],
    like: Excerpt,
    seed: int,
    tempo: float,
    scatter_ms: float,
    soundfont: str,
    cache: Path,
) -> Excerpt:
    """Other players, each section as loud as in the first performance."""
    label = f"{figure.movement}-{seed}"
    music = played(label, again(parts, seed, tempo, scatter_ms), soundfont, cache,
                   DURATION_S + LONGER_S)  # fmt: skip
    return Excerpt(
        tuple(
            replace(
                now,
                gain_db=was.gain_db
                + k_level_db(like.stems[was.name])
                - k_level_db(music.stems[was.name]),
            )
            for was, now in zip(like.parts, music.parts, strict=True)
        ),
        music.stems,
    )


def first_performance(
    figure: Figure, parts: Sequence[Part], soundfont: str, cache: Path
) -> Excerpt:
    """The reference's players; their tempo breathes, too."""
    label = f"{figure.movement}-0"
    music = played(label, again(parts, 0, 1.0, 10), soundfont, cache, DURATION_S + LONGER_S)
    return balanced(figure, music)


def melody_of(figure: Figure, music: Excerpt) -> str:
    """The loudest high section that is not the figure's."""
    levels = {p.name: k_level_db(music.stems[p.name]) + p.gain_db for p in music.parts}
    high = [
        part.name
        for part in music.parts
        if part.name not in figure.names
        and np.median([note.pitch for note in part.notes]) >= _LEADING_HZ_PITCH
    ]
    return max(high or sorted(set(levels) - set(figure.names)), key=lambda name: levels[name])
