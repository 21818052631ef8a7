"""What articulation measures of one recording, and of two."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from mixcompare.fields import (
    BARE,
    KEPT,
    MOMENT,
    NOT_IN_REPORT,
    PITCH,
    SHARED,
    SIGNED,
    exchanged_with,
    labelled,
    stretched,
    told_by_pair,
)
from mixcompare.findings import Span

LEAD, BASS, SOME = "leading line", "bass line", "some notes"
HEARD = (LEAD, BASS, SOME)
"""Voices that no score tells; of some notes it isn't known who plays them."""

# Of a voice and of the leading line alike.
_SOUNDING_RATIO = (
    labelled("Share sounding") | SHARED | SIGNED | stretched(0.03) | told_by_pair("ratio")
)
_REFERENCE_RATIO = (
    labelled("Share sounding, reference")
    | SHARED
    | exchanged_with("candidate_ratio")
    | stretched(0.02)
)
_CANDIDATE_RATIO = (
    labelled("Share sounding, candidate")
    | SHARED
    | exchanged_with("reference_ratio")
    | stretched(0.02)
)
_GAP_DEPTH = labelled("Dip before the next note (depends on the room)") | SIGNED | stretched(0.3)
_ACCENT = labelled("Accent: peak at the onset over what is held, change") | SIGNED | stretched(0.1)
_ATTACK = SIGNED | stretched(4.0)
_RELEASE = (
    labelled("Time to fall by 10 dB after the note's end, change (with the room)")
    | SIGNED
    | stretched(4.0)
)
_NOTES = labelled("Notes followed") | BARE | KEPT
_NOTES_LEFT_OUT = labelled("Notes followed in one only") | BARE | KEPT


@dataclass(frozen=True)
class ArticulationMeasurement:
    """One recording's leading line.

    Attributes
    ----------
    sounding_ratio : float or None
        Median over the notes.
    sounding_ratio_interval : tuple of float or None
    gap_depth_db, attack_ms : float or None
    notes : int
        Notes that could be followed to their end.
    reasons : tuple of str
    """

    sounding_ratio: float | None = field(metadata=labelled("Share sounding") | SHARED)
    sounding_ratio_interval: tuple[float, float] | None
    gap_depth_db: float | None = field(
        metadata=labelled("Dip before the next note (depends on the room)")
    )
    attack_ms: float | None
    notes: int = field(metadata=labelled("Notes followed") | BARE)
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class NoteShape:
    """Envelopes of one note in both recordings, for a plot.

    ``time_s`` counts from the onset; levels are dB against the note's plateau.
    """

    pitch: int = field(metadata=PITCH)
    onset_s: float = field(metadata=MOMENT)
    reference_time_s: tuple[float, ...] = field(metadata=exchanged_with("candidate_time_s"))
    reference_level_db: tuple[float, ...] = field(metadata=exchanged_with("candidate_level_db"))
    reference_held_s: float = field(metadata=exchanged_with("candidate_held_s"))
    reference_interval_s: float = field(metadata=exchanged_with("candidate_interval_s"))
    candidate_time_s: tuple[float, ...] = field(metadata=exchanged_with("reference_time_s"))
    candidate_level_db: tuple[float, ...] = field(metadata=exchanged_with("reference_level_db"))
    candidate_held_s: float = field(metadata=exchanged_with("reference_held_s"))
    candidate_interval_s: float = field(metadata=exchanged_with("reference_interval_s"))


@dataclass(frozen=True)
class Stretch:
    """The part of the passage in which the articulation clearly differs.

    Attributes
    ----------
    sounding_ratio : float
        Candidate minus reference, median over its notes.
    sounding_ratio_interval : tuple of float
    reference_ratio, candidate_ratio : float
        Of the typical pair of the same notes: they lie apart by ``sounding_ratio``.
    agreement : float
        Share of its notes that changed in the direction of the median.
    notes : int
    spans_s : tuple of (start, end)
    """

    sounding_ratio: float = field(metadata=labelled("Share sounding") | SHARED | SIGNED)
    sounding_ratio_interval: tuple[float, float]
    reference_ratio: float = field(
        metadata=labelled("Share sounding, reference") | SHARED | exchanged_with("candidate_ratio")
    )
    candidate_ratio: float = field(
        metadata=labelled("Share sounding, candidate") | SHARED | exchanged_with("reference_ratio")
    )
    agreement: float = field(
        metadata=labelled("Share of the notes that changed this way") | SHARED | KEPT
    )
    notes: int = field(metadata=BARE | KEPT)
    spans_s: tuple[Span, ...] = field(metadata=MOMENT | stretched(0.1))


@dataclass(frozen=True)
class VoiceArticulation:
    """The same notes of one voice in both recordings, candidate minus reference.

    Attributes
    ----------
    name : str
    reference_ratio, candidate_ratio : float or None
    sounding_ratio : float or None
        Median of the notes' differences.
    sounding_ratio_interval : tuple of float or None
    manner : str
        In plain words, both recordings; empty where they can't be told.
    gap_depth_db, accent_db, attack_ms : float or None
        Changes: fall before the next onset, peak at the onset over what is held, rise. The fall
        depends on the room.
    release_ms : float or None
        Change of the time to fall by 10 dB after the note-off; the room's share in it is large.
    notes, notes_left_out : int
    written : bool
        Whether a score told the notes.
    reasons : tuple of str
        Why nothing can be told.
    doubled : bool
        Whether other written parts play most of the notes too.
    """

    name: str
    reference_ratio: float | None = field(metadata=_REFERENCE_RATIO)
    candidate_ratio: float | None = field(metadata=_CANDIDATE_RATIO)
    sounding_ratio: float | None = field(metadata=_SOUNDING_RATIO)
    sounding_ratio_interval: tuple[float, float] | None
    manner: str
    gap_depth_db: float | None = field(metadata=_GAP_DEPTH)
    accent_db: float | None = field(metadata=_ACCENT)
    attack_ms: float | None = field(metadata=_ATTACK)
    release_ms: float | None = field(metadata=_RELEASE)
    notes: int = field(metadata=_NOTES)
    notes_left_out: int = field(metadata=_NOTES_LEFT_OUT)
    written: bool = field(metadata=KEPT)
    reasons: tuple[str, ...] = ()
    stretch: Stretch | None = field(default=None, metadata=NOT_IN_REPORT)
    band_hz: tuple[float, float] | None = field(default=None, metadata=NOT_IN_REPORT | PITCH)
    doubled: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)


@dataclass(frozen=True)
class ArticulationDifference:
    """The same notes of the leading line in both recordings, candidate minus reference.

    Attributes
    ----------
    sounding_ratio : float or None
        Median of the notes' differences.
    sounding_ratio_interval : tuple of float or None
        Scatter of the notes and what rooms, instruments and timing may shift.
    reference_ratio, candidate_ratio : float or None
        Of the typical pair of the same notes: they lie apart by ``sounding_ratio``.
    gap_depth_db, attack_ms, accent_db, release_ms : float or None
        Changes, as in :class:`VoiceArticulation`.
    agreement : float or None
        Share of the notes that changed in the direction of the median.
    notes, notes_left_out : int
        Notes compared, and notes that could be followed in one recording only.
    band_hz : tuple of float or None
        Range of the line's fundamentals.
    stretch : Stretch or None
        Where the difference is clear: the whole passage or a part of it.
    shown : str
        The voice whose notes follow: the one that changed most, or the leading line.
    note_s, note_pitch, note_reference_ratio, note_candidate_ratio : tuple
        Per note: onset on the reference's clock, pitch, both ratios.
    examples : tuple of NoteShape
    voices : tuple of VoiceArticulation
        The leading line, the bass line, and the parts of a score if there is one; notes of which
        it isn't known who plays them, where they alone changed.
    reasons : tuple of str
    ends_told : tuple of bool
        Of what only ends elsewhere in one take: whether a voice's articulation tells it.
    doubled : bool
        Whether other written parts play most of the notes too.
    """

    sounding_ratio: float | None = field(metadata=_SOUNDING_RATIO)
    sounding_ratio_interval: tuple[float, float] | None
    reference_ratio: float | None = field(metadata=_REFERENCE_RATIO)
    candidate_ratio: float | None = field(metadata=_CANDIDATE_RATIO)
    gap_depth_db: float | None = field(metadata=_GAP_DEPTH)
    attack_ms: float | None = field(metadata=_ATTACK)
    agreement: float | None = field(
        metadata=labelled("Share of the notes that changed this way")
        | SHARED
        | KEPT
        | stretched(0.1)
    )
    notes: int = field(metadata=_NOTES)
    notes_left_out: int = field(metadata=_NOTES_LEFT_OUT)
    accent_db: float | None = field(default=None, metadata=_ACCENT)
    release_ms: float | None = field(default=None, metadata=_RELEASE)
    band_hz: tuple[float, float] | None = field(default=None, metadata=PITCH)
    voices: tuple[VoiceArticulation, ...] = ()
    reasons: tuple[str, ...] = ()
    stretch: Stretch | None = field(default=None, metadata=NOT_IN_REPORT)
    shown: str = field(default=LEAD, metadata=NOT_IN_REPORT)
    note_s: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT | MOMENT | stretched(0.03))
    note_pitch: tuple[int, ...] = field(default=(), metadata=NOT_IN_REPORT | PITCH)
    note_reference_ratio: tuple[float, ...] = field(
        default=(),
        metadata=NOT_IN_REPORT | exchanged_with("note_candidate_ratio") | stretched(0.06),
    )
    note_candidate_ratio: tuple[float, ...] = field(
        default=(),
        metadata=NOT_IN_REPORT | exchanged_with("note_reference_ratio") | stretched(0.06),
    )
    examples: tuple[NoteShape, ...] = field(
        default=(), metadata=NOT_IN_REPORT | stretched(math.inf)
    )
    ends_told: tuple[bool, ...] = field(default=(), metadata=NOT_IN_REPORT | BARE | KEPT)
    doubled: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)

    def telling(self, stretch: Stretch) -> ArticulationDifference:
        """The same, with what a stretch of notes says of how long they are held."""
        return replace(
            self,
            sounding_ratio=stretch.sounding_ratio,
            sounding_ratio_interval=stretch.sounding_ratio_interval,
            reference_ratio=stretch.reference_ratio,
            candidate_ratio=stretch.candidate_ratio,
            agreement=stretch.agreement,
            notes=stretch.notes,
            reasons=(),
            stretch=stretch,
        )

    @classmethod
    def untold(cls, reason: str, notes: int, one_only: int) -> ArticulationDifference:
        """Nothing but why, and how many notes were followed in both and in one only."""
        return cls(
            sounding_ratio=None,
            sounding_ratio_interval=None,
            reference_ratio=None,
            candidate_ratio=None,
            gap_depth_db=None,
            attack_ms=None,
            agreement=None,
            notes=notes,
            notes_left_out=one_only,
            reasons=(reason,),
        )
