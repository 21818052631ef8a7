"""The invented piece "Lanterns over Quillmere", written out: nine bars of 4/4, D major.

A hymn in half notes (trombones, violas, bassoons, horns) over plucked cellos and basses; a long
theme (violins, from bar 5 with flute); above it a running figure in sixteenths (clarinets, harp,
xylophone) in bars 2-5 and 7-8. Times are in beats here, from 0; bars start at multiples of 4.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from tests.benchmarks.rendering import Note, Part

TITLE = "Lanterns over Quillmere"
BEATS_PER_MINUTE = 80.0
BEATS_PER_BAR = 4
SECONDS_PER_BEAT = 60.0 / BEATS_PER_MINUTE
BAR_COUNT = 9
FINAL_CHORD_BEAT = 32.0
FINAL_CHORD_LENGTH = 3.5

THEME = ("violins", "flute")
FIGURE = ("clarinets", "harp", "xylophone")
HYMN = ("horns", "trombones", "violas", "bassoons")
# First and last bar, counted from 1, of each stretch in which the figure runs.
FIGURE_BARS = ((2, 5), (7, 8))
ROLL_BARS = ((8, 8),)

# Dynamics: MIDI velocity by bar; the hush in bar 6 and the rise to the end.
_BAR_VELOCITY = (70, 72, 76, 74, 82, 70, 88, 97, 102)


@dataclass(frozen=True)
class Written:
    """A note as written: beats from the start, length in beats, MIDI pitch, velocity."""

    beat: float
    length: float
    pitch: int
    velocity: int


@dataclass(frozen=True)
class Chord:
    """One harmony of the hymn: four voices from the bass up, and what the figure plays on it.

    ``wave`` are the four pitches of the figure, rising.
    """

    beat: float
    length: float
    voices: tuple[int, int, int, int]
    wave: tuple[int, int, int, int]


# Bass, tenor, alto, soprano; then the figure's wave, always in the position nearest to the last.
CHORDS = (
    Chord(0, 2, (50, 57, 62, 66), (74, 78, 81, 86)),  # D
    Chord(2, 2, (42, 57, 62, 69), (74, 78, 81, 86)),  # D/F#
    Chord(4, 2, (43, 59, 62, 67), (74, 79, 83, 86)),  # G
    Chord(6, 2, (45, 57, 61, 64), (73, 76, 81, 85)),  # A
    Chord(8, 2, (47, 54, 59, 62), (74, 78, 83, 86)),  # B minor
    Chord(10, 2, (42, 57, 61, 66), (73, 78, 81, 85)),  # F# minor
    Chord(12, 2, (47, 55, 62, 67), (74, 79, 83, 86)),  # G/B
    Chord(14, 2, (45, 52, 61, 69), (73, 76, 81, 85)),  # A
    Chord(16, 2, (42, 50, 60, 69), (74, 78, 81, 84)),  # D7/F#
    Chord(18, 2, (43, 50, 59, 67), (74, 79, 83, 86)),  # G
    Chord(20, 2, (43, 50, 58, 64), (74, 76, 79, 82)),  # G minor with sixth
    Chord(22, 2, (45, 50, 57, 66), (74, 78, 81, 86)),  # D/A
    Chord(24, 2, (44, 50, 59, 64), (74, 76, 80, 83)),  # E7/G#
    Chord(26, 2, (45, 49, 55, 64), (73, 76, 79, 81)),  # A7
    Chord(28, 2, (42, 50, 57, 69), (74, 78, 81, 86)),  # D/F#
    Chord(30, 1, (43, 50, 59, 67), (74, 79, 83, 86)),  # G
    Chord(31, 1, (45, 49, 57, 67), (73, 76, 79, 85)),  # A7
    Chord(32, FINAL_CHORD_LENGTH, (38, 50, 57, 66), (74, 78, 81, 86)),  # D
)

# Length in beats and pitch; None rests. Each line of the list is one bar.
_THEME_LINE: tuple[tuple[float, int], ...] = (
    (1, 69), (1.5, 74), (0.5, 76), (1, 78),
    (1, 79), (0.5, 78), (0.5, 76), (1, 74), (1, 73),
    (1, 71), (1, 74), (1.5, 73), (0.5, 69),
    (1, 71), (0.5, 74), (0.5, 79), (0.5, 78), (1.5, 76),
    (1, 78), (1, 81), (1.5, 79), (0.5, 78),
    (1, 76), (0.5, 74), (0.5, 76), (1.5, 78), (0.5, 81),
    (1, 80), (1, 83), (1, 81), (0.5, 79), (0.5, 76),
    (1, 78), (1, 81), (1, 83), (1, 85),
    (FINAL_CHORD_LENGTH, 86),
)  # fmt: skip
_HORN_1: tuple[tuple[float, int | None], ...] = (
    (3, 57), (1, 62), (2, 59), (2, 61), (2, 62), (2, 61), (2, 59), (1, 57), (1, 61),
    (2, 60), (2, 59), (2, 58), (2, 57), (2, 59), (1, 61), (1, 64), (2, 62), (1, 59), (1, 61),
    (FINAL_CHORD_LENGTH, 62),
)  # fmt: skip
_HORN_2: tuple[tuple[float, int | None], ...] = (
    (3, 54), (1, 57), (2, 55), (2, 57), (2, 54), (2, 57), (2, 55), (1, 52), (1, 57),
    (2, 54), (2, 55), (2, 55), (2, 54), (2, 56), (1, 57), (1, 57), (2, 57), (1, 55), (1, 55),
    (FINAL_CHORD_LENGTH, 57),
)  # fmt: skip
# The oboe answers where the theme holds a note, and sings in the hush of bar 6.
_OBOE: tuple[tuple[float, int | None], ...] = (
    (4, None), (4, None), (4, None),
    (2.5, None), (0.5, 69), (0.5, 73), (0.5, 76),
    (2, 74), (2, 71),
    (1, 70), (1, 67), (1, 66), (1, 69),
    (4, None), (2, 69), (1, 74), (1, 73),
    (FINAL_CHORD_LENGTH, 74),
)  # fmt: skip
_TRUMPETS: tuple[tuple[float, tuple[int, ...]], ...] = (
    (26, (64, 69)), (27, (64, 69)), (27.5, (64, 69)),
    (28, (66, 69)), (29, (66, 69)), (29.5, (69, 74)), (30, (67, 74)), (31, (69, 73)),
    (FINAL_CHORD_BEAT, (69, 74)),
)  # fmt: skip
# Position in the wave of each sixteenth of half a bar, and the xylophone's accents among them.
_FIGURE_SHAPE = (0, 1, 2, 3, 2, 1, 2, 1)
_XYLOPHONE_ACCENTS = (0, 3, 6)


def _velocity(beat: float, offset: int = 0) -> int:
    """Velocity at a beat: the bar's dynamic, drawn smoothly into the next, strong beats ahead."""
    bar = min(int(beat // BEATS_PER_BAR), BAR_COUNT - 1)
    following = min(bar + 1, BAR_COUNT - 1)
    share = (beat - bar * BEATS_PER_BAR) / BEATS_PER_BAR
    level = _BAR_VELOCITY[bar] + share * (_BAR_VELOCITY[following] - _BAR_VELOCITY[bar])
    stress = 3 if beat % 2 == 0 else 0
    return min(max(round(level) + stress + offset, 1), 127)


def _line(
    line: Iterable[tuple[float, int | None]], offset: int = 0, start: float = 0.0
) -> list[Written]:
    """Notes one after another."""
    notes = []
    beat = start
    for length, pitch in line:
        if pitch is not None:
            notes.append(Written(beat, length, pitch, _velocity(beat, offset)))
        beat += length
    return notes


def _voice(index: int, octaves: int = 0, offset: int = 0, start: float = 0.0) -> list[Written]:
    """One voice of the hymn, from a beat on; repeated pitches are struck again."""
    notes = []
    for chord in CHORDS:
        if chord.beat >= start:
            pitch = chord.voices[index] + 12 * octaves
            notes.append(Written(chord.beat, chord.length, pitch, _velocity(chord.beat, offset)))
    return notes


def _figure_runs(beat: float) -> bool:
    bar = int(beat // BEATS_PER_BAR) + 1
    return any(first <= bar <= last for first, last in FIGURE_BARS)


def _figure_steps() -> Iterator[tuple[float, int, int]]:
    """Beat, index in the shape and pitch of every sixteenth of the figure."""
    for chord in CHORDS:
        if not _figure_runs(chord.beat):
            continue
        for index in range(round(chord.length * 4)):
            yield chord.beat + index / 4, index, chord.wave[_FIGURE_SHAPE[index]]


def _clarinets() -> list[Written]:
    notes = [
        Written(beat, 0.25, pitch, _velocity(beat, -6 if index % 4 else 0))
        for beat, index, pitch in _figure_steps()
    ]
    last = CHORDS[-1]
    for pitch in last.wave[:2]:
        notes.append(Written(last.beat, last.length, pitch, _velocity(last.beat, -36)))
    return notes


def _harp() -> list[Written]:
    """The figure thrown between two octaves, and a spread chord to end with."""
    notes = [
        Written(beat, 0.25, pitch - (0 if index % 2 else 12), _velocity(beat))
        for beat, index, pitch in _figure_steps()
    ]
    last = CHORDS[-1]
    for step, pitch in enumerate((50, 57, 62, 66, 69, 74)):
        beat = last.beat + 0.06 * step
        notes.append(Written(beat, last.length - 0.06 * step, pitch, _velocity(last.beat, -36)))
    return notes


def _xylophone() -> list[Written]:
    """An octave above, on three of the eight sixteenths: 3 + 3 + 2."""
    notes = [
        Written(beat, 0.25, pitch + 12, _velocity(beat, 0))
        for beat, index, pitch in _figure_steps()
        if index in _XYLOPHONE_ACCENTS
    ]
    notes.append(Written(FINAL_CHORD_BEAT, 0.5, 86, _velocity(FINAL_CHORD_BEAT)))
    return notes


def _cellos() -> list[Written]:
    """Plucked: bass on the beat, then two notes of the chord on eighths."""
    notes = []
    for chord in CHORDS[:-1]:
        bass, tenor, alto, _ = chord.voices
        alto = alto - 12 if alto > 57 else alto
        steps = ((0.0, bass), (1.0, tenor), (1.5, alto)) if chord.length == 2 else ((0.0, bass),)
        for delay, pitch in steps:
            beat = chord.beat + delay
            notes.append(Written(beat, 0.5, pitch, _velocity(beat, -4 if delay else 0)))
    for pitch in (50, 57):
        notes.append(Written(FINAL_CHORD_BEAT, 1.0, pitch, _velocity(FINAL_CHORD_BEAT)))
    return notes


def _basses() -> list[Written]:
    """Plucked: the hymn's bass an octave lower, as far as the lowest string goes (E1)."""
    notes = []
    for chord in CHORDS:
        pitch = chord.voices[0] - 12
        pitch = pitch + 12 if pitch < 28 else pitch
        notes.append(Written(chord.beat, 1.0, pitch, _velocity(chord.beat)))
    return notes


def _trumpets() -> list[Written]:
    notes = []
    ends = [beat for beat, _ in _TRUMPETS[1:]] + [FINAL_CHORD_BEAT + FINAL_CHORD_LENGTH]
    for (beat, pitches), end in zip(_TRUMPETS, ends, strict=True):
        for pitch in pitches:
            notes.append(Written(beat, end - beat, pitch, _velocity(beat, -4)))
    return notes


def _timpani() -> list[Written]:
    """Single strokes, in bar 8 a roll in 32nds that grows, and the last stroke."""
    notes = [Written(beat, 1.0, pitch, _velocity(beat, -12)) for beat, pitch in _STROKES]
    first = (ROLL_BARS[0][0] - 1) * BEATS_PER_BAR
    stroke_count = BEATS_PER_BAR * 8
    for index in range(stroke_count):
        velocity = round(48 + 46 * index / (stroke_count - 1))
        notes.append(Written(first + index / 8, 0.125, 45, velocity))
    notes.append(Written(FINAL_CHORD_BEAT, FINAL_CHORD_LENGTH, 38, 94))
    return notes


_STROKES = ((0.0, 50), (14.0, 45), (26.0, 45))


def written() -> dict[str, list[Written]]:
    """All the notes, by part, in order of time."""
    trombones = _voice(0) + _voice(1) + _voice(2)
    # The violas divide: the hymn's soprano above, the alto held against it in the second half.
    violas = _voice(3) + _voice(2, start=16.0, offset=-6)
    bassoons = _voice(0, offset=-2) + _voice(1, offset=-6, start=16.0)
    parts: dict[str, list[Written]] = {
        "flute": [note for note in _line(_THEME_LINE) if note.beat >= 16.0],
        "oboe": _line(_OBOE),
        "clarinets": _clarinets(),
        "bassoons": bassoons,
        "horns": _line(_HORN_1) + _line(_HORN_2, offset=-3),
        "trumpets": _trumpets(),
        "trombones": trombones,
        "timpani": _timpani(),
        "xylophone": _xylophone(),
        "harp": _harp(),
        "violins": _line(_THEME_LINE, offset=2),
        "violas": violas,
        "cellos": _cellos(),
        "basses": _basses(),
    }
    return {name: sorted(notes, key=lambda n: (n.beat, n.pitch)) for name, notes in parts.items()}


@dataclass(frozen=True)
class Seat:
    """General MIDI program, place from left (-1) to right (+1), and fader of a part."""

    program: int
    pan: float
    gain_db: float


SEATS = {
    "flute": Seat(73, -0.10, 1.5),
    "oboe": Seat(68, 0.10, 4.0),
    "clarinets": Seat(71, -0.20, 1.5),
    "bassoons": Seat(70, 0.20, 1.5),
    "horns": Seat(60, -0.35, 1.5),
    "trumpets": Seat(56, 0.25, 0.5),
    "trombones": Seat(57, 0.40, -2.0),
    "timpani": Seat(47, 0.05, 11.0),
    "xylophone": Seat(13, -0.45, 14.5),
    "harp": Seat(46, -0.55, 2.5),
    "violins": Seat(40, -0.50, 7.0),
    "violas": Seat(41, 0.30, 0.5),
    "cellos": Seat(45, 0.50, 4.5),
    "basses": Seat(45, 0.65, 8.0),
}


def parts(start_s: float = 0.0) -> tuple[Part, ...]:
    """Return the score as parts in seconds, every note as long as written."""
    result = []
    for name, notes in written().items():
        seat = SEATS[name]
        timed = tuple(
            Note(
                start_s + note.beat * SECONDS_PER_BEAT,
                note.length * SECONDS_PER_BEAT,
                note.pitch,
                note.velocity,
            )
            for note in notes
        )
        result.append(Part(name, seat.program, timed, pan=seat.pan, gain_db=seat.gain_db))
    return tuple(result)


def bar_spans_s(bars: Sequence[tuple[int, int]], start_s: float = 0.0) -> list[list[float]]:
    """Return the start and end in seconds of stretches of bars, counted from 1."""
    bar_s = BEATS_PER_BAR * SECONDS_PER_BEAT
    return [[start_s + (first - 1) * bar_s, start_s + last * bar_s] for first, last in bars]
