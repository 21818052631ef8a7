"""The situations in which alignment is measured, as a table."""

from __future__ import annotations

from dataclasses import dataclass, replace

CONCERT_PITCH_443_CENTS = 11.8
"""1200 lb(443 / 440)."""


@dataclass(frozen=True)
class Room:
    """A synthetic room: decay time, and energy of its sound against the direct sound."""

    decay_s: float
    wet_db: float


DRY = Room(decay_s=0.6, wet_db=-6.0)
WET = Room(decay_s=2.4, wet_db=-3.0)


@dataclass(frozen=True)
class OtherPerformance:
    """Two performances of one passage.

    Attributes
    ----------
    name
        Name in tables and file names.
    reference_room, candidate_room
        Where they play.
    other_instruments
        Whether the candidate is rendered with another soundfont.
    tempo_ratio
        Candidate's tempo against the reference's; None draws it from .85 .. 1.15.
    rubato
        Largest local deviation of the tempo.
    fermatas
        Bars whose end is held, in each performance.
    transposition_semitones, candidate_cents
        Candidate against reference.
    excerpt_s, excerpt_of
        Keep only so much of the `"candidate"` or of the `"reference"`, out of 120 s.
    surroundings
        What stands before and after the candidate: `"silence"`, `"noise"` or `"applause"`.
    change
        `"cut"` (the candidate leaves bars out), `"insertion"` (the reference lacks them),
        `"repeat not taken"` (by the candidate) or `"extra repeat"` (not taken by the reference).
    """

    name: str
    reference_room: Room = DRY
    candidate_room: Room = DRY
    other_instruments: bool = True
    tempo_ratio: float | None = None
    rubato: float = 0.12
    fermatas: int = 0
    transposition_semitones: int = 0
    candidate_cents: float = 0.0
    excerpt_s: float | None = None
    excerpt_of: str = "candidate"
    surroundings: str | None = None
    change: str | None = None


@dataclass(frozen=True)
class SameTake:
    """One performance mixed twice.

    Attributes
    ----------
    name
        Name in tables and file names.
    offset
        Whether the candidate begins at another moment, not on a whole sample.
    drift_ppm
        By how much the candidate's clock runs slow (its times grow by it).
    balance_db
        Largest change of a stem's level, either way.
    equaliser
        Whether a minimum-phase equaliser is in the candidate.
    room
        The candidate's room; the reference's is `DRY`.
    inverted, swapped
        Polarity; channels exchanged.
    reference_rate_hz, candidate_rate_hz
        Sample rates.
    trimmed
        Whether the candidate lacks the first and the last seconds.
    """

    name: str
    offset: bool = True
    drift_ppm: float = 0.0
    balance_db: float = 0.0
    equaliser: bool = False
    room: Room = DRY
    inverted: bool = False
    swapped: bool = False
    reference_rate_hz: int = 44100
    candidate_rate_hz: int = 44100
    trimmed: bool = False


@dataclass(frozen=True)
class Unrelated:
    """Two recordings of different music.

    Attributes
    ----------
    name
        Name in tables and file names.
    other_passage
        Another passage of the same movement, instead of another work.
    excerpt_s
        Keep only so much of the candidate.
    candidate_room
        Where the candidate plays; the reference's is `DRY`.
    """

    name: str
    other_passage: bool = False
    excerpt_s: float | None = None
    candidate_room: Room = DRY


Condition = OtherPerformance | SameTake | Unrelated

_CHANGED = OtherPerformance("", DRY, WET)

CONDITIONS: tuple[Condition, ...] = (
    OtherPerformance("dry-dry", DRY, DRY),
    OtherPerformance("dry-wet", DRY, WET),
    OtherPerformance("wet-dry", WET, DRY),
    OtherPerformance("wet-wet", WET, WET),
    OtherPerformance("same-instruments", DRY, DRY, other_instruments=False),
    OtherPerformance("same-instruments-wet", DRY, WET, other_instruments=False),
    OtherPerformance("steady", DRY, DRY, rubato=0.02, tempo_ratio=1.0),
    OtherPerformance("slower", DRY, WET, tempo_ratio=0.85),
    OtherPerformance("faster", WET, DRY, tempo_ratio=1.15),
    OtherPerformance("fermatas", DRY, WET, fermatas=2),
    OtherPerformance("tuned-443", WET, DRY, candidate_cents=CONCERT_PITCH_443_CENTS),
    OtherPerformance("transposed-down-2", DRY, DRY, transposition_semitones=-2),
    OtherPerformance("transposed-up-3", DRY, WET, transposition_semitones=3),
    OtherPerformance("transposed-up-7", WET, DRY, transposition_semitones=7),
    replace(_CHANGED, name="excerpt-15", excerpt_s=15.0),
    replace(_CHANGED, name="excerpt-30", excerpt_s=30.0),
    replace(_CHANGED, name="excerpt-15-reference", excerpt_s=15.0, excerpt_of="reference"),
    replace(_CHANGED, name="excerpt-30-reference", excerpt_s=30.0, excerpt_of="reference"),
    OtherPerformance("silence-around", DRY, DRY, surroundings="silence"),
    OtherPerformance("noise-around", DRY, DRY, surroundings="noise"),
    OtherPerformance("applause-around", DRY, WET, surroundings="applause"),
    replace(_CHANGED, name="cut", change="cut"),
    replace(_CHANGED, name="insertion", change="insertion"),
    replace(_CHANGED, name="repeat-not-taken", change="repeat not taken"),
    replace(_CHANGED, name="extra-repeat", change="extra repeat"),
    SameTake("take-offset"),
    SameTake("take-drift", drift_ppm=23.0),
    SameTake("take-balance", balance_db=5.0),
    SameTake("take-equaliser", equaliser=True),
    SameTake("take-room", room=WET),
    SameTake("take-inverted", inverted=True, swapped=True),
    SameTake("take-swapped", swapped=True, candidate_rate_hz=48000),
    SameTake("take-rates", reference_rate_hz=48000, drift_ppm=-8.0),
    SameTake("take-trimmed", trimmed=True),
    SameTake(
        "take-everything",
        drift_ppm=-41.0,
        balance_db=5.0,
        equaliser=True,
        room=WET,
        inverted=True,
        candidate_rate_hz=48000,
        trimmed=True,
    ),
    Unrelated("other-work"),
    Unrelated("other-work-wet", candidate_room=WET),
    Unrelated("other-work-15", excerpt_s=15.0),
    Unrelated("other-passage", other_passage=True),
    Unrelated("other-passage-15", other_passage=True, excerpt_s=15.0, candidate_room=WET),
)


def condition_named(name: str) -> Condition:
    """The condition of that name.

    Raises
    ------
    KeyError
        If there is none.
    """
    for condition in CONDITIONS:
        if condition.name == name:
            return condition
    raise KeyError(f"no condition is called {name!r}")
