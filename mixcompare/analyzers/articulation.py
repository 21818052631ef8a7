"""Articulation: for how much of its length the leading line's notes are held.

Conventions
-----------
What is heard       legato against detached or staccato playing of the leading line
sounding_ratio      (note-off - onset) / (next onset - onset); 1 = held until the next note
gap_depth_db        how far a note's partials fall before the next onset; more = more detached
attack_ms           rise from 10 to 90 % of the amplitude
Sign                candidate minus reference: negative ratio = more detached in the candidate
Source              Bresin and Battel 2000 (J. New Music Research 29, 211-224) for the ratio

Method: the line is found in both recordings jointly (:mod:`mixcompare.voices`); the note-off is
the bend of a hinge through the envelope of the note's own partials (:mod:`mixcompare.noteoff`).
Because the hinge's slope is free, a longer reverberation flattens the decay and leaves the
note-off where it was.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from mixcompare.analyzers.base import NOT_IN_REPORT
from mixcompare.bands import pitch_hz
from mixcompare.features import SEMITONE_RATE_HZ, Features
from mixcompare.findings import (
    JUST_NOTICEABLE,
    Cause,
    Finding,
    Span,
    joined_spans,
    size_in_jnd,
)
from mixcompare.match import Match
from mixcompare.mirror import KEPT, MOMENT, PITCH, SIGNED, exchanged_with, stretched
from mixcompare.noteoff import (
    FEWEST_NOTES,
    FollowedNote,
    follow_note,
    sounding_ratios,
    trust,
    typical_attack_ms,
)
from mixcompare.statistics import block_bootstrap, interval, weighted_quantile
from mixcompare.voices import (
    Note,
    Source,
    grid_shift,
    lead_and_bass_notes,
    lead_notes,
    part_notes,
)
from mixcompare.wetness import wetness_between

FloatArray = npt.NDArray[np.float64]

LEAD, BASS = "leading line", "bass line"

_BLOCK_NOTES = 2
_SHOWN_NOTES = 3
_SYSTEMATIC = 0.08  # shared by all notes of a recording: room, attacks
_SYSTEMATIC_OTHERS = 0.12  # between performances: instruments and the map, too
_SYSTEMATIC_WRITTEN = 0.05  # where a score tells the notes and what covers them
_SYSTEMATIC_WET = 0.1  # a strong reverberation makes detached notes read longer
_SLOW_DECAY_DB_PER_S = 30.0
_PER_ROOM_DB = 0.025
_LEAST_AGREEMENT = 0.7
_LEAST_SAME_TAKE = 0.25  # one take has one articulation; only editing could change it
_MOST_SPREAD = 0.4  # between the quartiles of one recording's ratios; more is no one manner
_MOST_CHANGE, _NO_CHANGE = 0.7, 0.05  # legato against staccatissimo; nothing
_MOST_SPREAD_ALONE = 0.3  # one recording alone cannot tell whose notes it heard
_PART_NOTES = 12
_PART_LEVEL = 0.12
_PART_SYSTEMATIC = 0.15
_PART_CHANGE = 0.25
_PART_AGREEMENT = 0.8
_PART_SPREAD = 0.35
_FASTEST_ATTACK_MS = 25.0
_NO_ATTACK = "Attacks are faster than 25 ms, or too few rise clear of the note before."
_UNEVEN = (
    "The leading line's notes are too quick or too much covered: their lengths scatter widely."
)
_UNEVEN_ALONE = (
    "One recording alone does not tell whose notes lead: they are too quick or too much covered."
)
_TOO_FEW = "Fewer than eight notes of the leading line could be followed to their end."


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

    sounding_ratio: float | None
    sounding_ratio_interval: tuple[float, float] | None
    gap_depth_db: float | None
    attack_ms: float | None
    notes: int
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
        Medians over the same notes.
    agreement : float
        Share of its notes that changed in the direction of the median.
    notes : int
    spans_s, candidate_spans_s : tuple of (start, end)
    """

    sounding_ratio: float = field(metadata=SIGNED)
    sounding_ratio_interval: tuple[float, float]
    reference_ratio: float = field(metadata=exchanged_with("candidate_ratio"))
    candidate_ratio: float = field(metadata=exchanged_with("reference_ratio"))
    agreement: float = field(metadata=KEPT)
    notes: int = field(metadata=KEPT)
    spans_s: tuple[Span, ...] = field(metadata=exchanged_with("candidate_spans_s"))
    candidate_spans_s: tuple[Span, ...] = field(metadata=exchanged_with("spans_s"))


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
    """

    name: str
    reference_ratio: float | None = field(
        metadata=exchanged_with("candidate_ratio") | stretched(0.02)
    )
    candidate_ratio: float | None = field(
        metadata=exchanged_with("reference_ratio") | stretched(0.02)
    )
    sounding_ratio: float | None = field(metadata=SIGNED | stretched(0.03))
    sounding_ratio_interval: tuple[float, float] | None
    manner: str
    gap_depth_db: float | None = field(metadata=SIGNED | stretched(0.3))
    accent_db: float | None = field(metadata=SIGNED | stretched(0.1))
    attack_ms: float | None = field(metadata=SIGNED | stretched(4.0))
    release_ms: float | None = field(metadata=SIGNED | stretched(4.0))
    notes: int = field(metadata=KEPT)
    notes_left_out: int = field(metadata=KEPT)
    written: bool = field(metadata=KEPT)
    stretch: Stretch | None = field(default=None, metadata=NOT_IN_REPORT)
    band_hz: tuple[float, float] | None = field(default=None, metadata=NOT_IN_REPORT | PITCH)


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
        Medians over the same notes.
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
    same_take : bool
    voices : tuple of VoiceArticulation
        The leading line, the bass line, and the parts of a score if there is one.
    reasons : tuple of str
    """

    sounding_ratio: float | None = field(metadata=SIGNED | stretched(0.03))
    sounding_ratio_interval: tuple[float, float] | None
    reference_ratio: float | None = field(
        metadata=exchanged_with("candidate_ratio") | stretched(0.02)
    )
    candidate_ratio: float | None = field(
        metadata=exchanged_with("reference_ratio") | stretched(0.02)
    )
    gap_depth_db: float | None = field(metadata=SIGNED | stretched(0.3))
    attack_ms: float | None = field(metadata=SIGNED | stretched(4.0))
    agreement: float | None = field(metadata=KEPT | stretched(0.1))
    notes: int = field(metadata=KEPT)
    notes_left_out: int = field(metadata=KEPT)
    same_take: bool = field(metadata=KEPT)
    accent_db: float | None = field(default=None, metadata=SIGNED | stretched(0.1))
    release_ms: float | None = field(default=None, metadata=SIGNED | stretched(4.0))
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


class Articulation:
    """Analyzer of the leading line's articulation."""

    aspect = "articulation"

    def measure(self, features: Features) -> ArticulationMeasurement:
        """Find the leading line of one recording and measure how long its notes are held."""
        frame_s = np.arange(len(features.semitone_power)) / SEMITONE_RATE_HZ
        source: Source = (features, frame_s, 0)
        found = [follow_note(note, source, frame_s) for note in lead_notes([source], frame_s)]
        followed = [one for one in found if one is not None]
        if len(followed) < FEWEST_NOTES:
            return ArticulationMeasurement(None, None, None, None, len(followed), (_TOO_FEW,))
        ratios = sounding_ratios(followed)
        weights = trust(followed, written=False)
        if _spread(ratios, weights) > _MOST_SPREAD_ALONE:
            return ArticulationMeasurement(None, None, None, None, len(followed), (_UNEVEN_ALONE,))
        attack_ms = typical_attack_ms(followed)
        too_fast = attack_ms is None or attack_ms < _FASTEST_ATTACK_MS
        return ArticulationMeasurement(
            sounding_ratio=weighted_quantile(ratios, weights, 0.5),
            sounding_ratio_interval=_median_interval(ratios, weights, _SYSTEMATIC),
            gap_depth_db=float(np.median([one.hinge.gap_depth_db for one in followed])),
            attack_ms=None if too_fast else attack_ms,
            notes=len(followed),
            reasons=(_NO_ATTACK,) if too_fast else (),
        )

    def compare(
        self, reference: Features, candidate: Features, match: Match
    ) -> ArticulationDifference:
        """Follow the same notes in both recordings."""
        frame_s = match.grid_s(SEMITONE_RATE_HZ)
        shift = grid_shift(reference, candidate, match.transposition_semitones, match.tuning_cents)
        sources: list[Source] = [
            (reference, frame_s, 0),
            (candidate, match.time_map.to_candidate(frame_s), shift),
        ]
        fit = wetness_between(reference, candidate, match)
        room_db = fit.wetness_db if fit is not None and fit.is_told and fit.everywhere else 0.0

        def followed(notes: Sequence[Note]) -> ArticulationDifference:
            return _followed(notes, sources, frame_s, match, room_db)

        lead, bass = lead_and_bass_notes(sources, frame_s)
        found = {
            LEAD: followed(lead),
            BASS: followed(bass),
            **{part.name: followed(part_notes(part)) for part in match.parts},
        }
        shown = _most_telling(found)
        return replace(
            found[LEAD],
            voices=tuple(_voice(name, one) for name, one in found.items()),
            shown=shown,
            note_s=found[shown].note_s,
            note_pitch=found[shown].note_pitch,
            note_reference_ratio=found[shown].note_reference_ratio,
            note_candidate_ratio=found[shown].note_candidate_ratio,
            examples=found[shown].examples,
        )

    def findings(self, difference: ArticulationDifference) -> list[Finding]:
        """One finding for every voice that is clearly more detached or more connected.

        Where a score tells the parts, they speak for the lines that were only heard.
        """
        told = [
            voice
            for voice in difference.voices
            if voice.stretch is not None
            and not (difference.same_take and abs(voice.stretch.sounding_ratio) < _LEAST_SAME_TAKE)
        ]
        parts = [voice for voice in told if voice.written]
        groups = _playing_alike(parts) if parts else [[voice] for voice in told]
        return [_finding(group, difference.same_take) for group in groups]


analyzer = Articulation()


def _median_interval(
    values: FloatArray, weights: FloatArray, systematic: float
) -> tuple[float, float]:
    """Interval of the median from the notes' scatter, widened by what all of them share."""
    draws = block_bootstrap(
        len(values),
        lambda index: weighted_quantile(values[index], weights[index], 0.5),
        block_length=_BLOCK_NOTES,
    )
    low, high = interval(draws)
    middle = weighted_quantile(values, weights, 0.5)
    return (
        middle - float(np.hypot(middle - low, systematic)),
        middle + float(np.hypot(high - middle, systematic)),
    )


def _untold(reason: str, notes: int, one_only: int, same_take: bool) -> ArticulationDifference:
    return ArticulationDifference(
        sounding_ratio=None,
        sounding_ratio_interval=None,
        reference_ratio=None,
        candidate_ratio=None,
        gap_depth_db=None,
        attack_ms=None,
        agreement=None,
        notes=notes,
        notes_left_out=one_only,
        same_take=same_take,
        reasons=(reason,),
    )


def _followed(
    notes: Sequence[Note],
    sources: Sequence[Source],
    frame_s: FloatArray,
    match: Match,
    room_db: float,
) -> ArticulationDifference:
    """Follow a voice's notes in both recordings and compare what both tell."""
    ours = [follow_note(note, sources[0], frame_s) for note in notes]
    theirs = [follow_note(note, sources[1], frame_s) for note in notes]
    pairs = list(zip(notes, ours, theirs, strict=True))
    both = [(note, a, b) for note, a, b in pairs if a is not None and b is not None]
    one_only = sum((a is None) != (b is None) for _, a, b in pairs)
    if len(both) < FEWEST_NOTES:
        return _untold(_TOO_FEW, len(both), one_only, match.same_take)
    return _difference(both, one_only, match, room_db)


def _most_telling(found: Mapping[str, ArticulationDifference]) -> str:
    """The voice to show: written parts first, then the one with the most change in its notes."""

    def size(name: str) -> tuple[bool, float]:
        stretch = found[name].stretch
        if stretch is None:
            return False, 0.0
        return name not in (LEAD, BASS), stretch.notes * abs(stretch.sounding_ratio)

    return max(found, key=size)


def _voice(name: str, found: ArticulationDifference) -> VoiceArticulation:
    manner = ""
    limits = found.sounding_ratio_interval
    if found.reference_ratio is not None and found.candidate_ratio is not None and limits:
        ours, theirs = manner_of(found.reference_ratio), manner_of(found.candidate_ratio)
        differs = ours != theirs and not limits[0] <= 0 <= limits[1]
        manner = f"{theirs} against {ours}" if differs else ours
    return VoiceArticulation(
        name=name,
        reference_ratio=found.reference_ratio,
        candidate_ratio=found.candidate_ratio,
        sounding_ratio=found.sounding_ratio,
        sounding_ratio_interval=found.sounding_ratio_interval,
        manner=manner,
        gap_depth_db=found.gap_depth_db,
        accent_db=found.accent_db,
        attack_ms=found.attack_ms,
        release_ms=found.release_ms,
        notes=found.notes,
        notes_left_out=found.notes_left_out,
        written=name not in (LEAD, BASS),
        stretch=found.stretch,
        band_hz=found.band_hz,
    )


def _difference(
    both: Sequence[tuple[Note, FollowedNote, FollowedNote]],
    one_only: int,
    match: Match,
    room_db: float,
) -> ArticulationDifference:
    sides = ([a for _, a, _ in both], [b for _, _, b in both])
    ratios = np.column_stack([sounding_ratios(side) for side in sides])
    written = both[0][0].written
    weights = np.sqrt(trust(sides[0], written) * trust(sides[1], written))
    if min(_spread(ratios[:, side], weights) for side in (0, 1)) > _MOST_SPREAD:
        return _untold(_UNEVEN, len(both), one_only, match.same_take)
    depths = [b.hinge.gap_depth_db - a.hinge.gap_depth_db for _, a, b in both]
    attacks = np.array([b.hinge.attack_s - a.hinge.attack_s for _, a, b in both])
    attacks = attacks[np.isfinite(attacks)]
    notes = [note for note, _, _ in both]
    pitches = np.array([note.pitch for note in notes])
    low, high = pitch_hz([pitches.min() - 0.5, pitches.max() + 0.5])
    systematic = _SYSTEMATIC if match.same_take else _SYSTEMATIC_OTHERS
    if written:
        slopes = [float(np.median([one.hinge.slope_db_per_s for one in side])) for side in sides]
        wet = min(slopes) < _SLOW_DECAY_DB_PER_S
        systematic = _SYSTEMATIC_WET if wet else _SYSTEMATIC_WRITTEN
    whole = _stretch(notes, ratios, weights, match, systematic, room_db)
    middle = whole.sounding_ratio
    # Typical notes, and long enough for the eye.
    lengths = np.array([note.interval_s for note in notes])
    short = lengths < np.median(lengths)
    far = np.abs(ratios - [whole.reference_ratio, whole.candidate_ratio]).max(axis=1)
    shown = np.argsort(far + short, kind="stable")[:_SHOWN_NOTES]
    return ArticulationDifference(
        sounding_ratio=middle,
        sounding_ratio_interval=whole.sounding_ratio_interval,
        reference_ratio=whole.reference_ratio,
        candidate_ratio=whole.candidate_ratio,
        gap_depth_db=float(np.median(depths)),
        attack_ms=1000 * float(np.median(attacks)) if len(attacks) >= FEWEST_NOTES else None,
        agreement=whole.agreement,
        notes=len(both),
        notes_left_out=one_only,
        same_take=match.same_take,
        accent_db=float(np.median([b.hinge.accent_db - a.hinge.accent_db for _, a, b in both])),
        release_ms=1000 * float(np.median([_release_s(b) - _release_s(a) for _, a, b in both])),
        band_hz=(float(low), float(high)),
        stretch=_clear_stretch(whole, notes, ratios, weights, match, room_db),
        note_s=tuple(note.onset_s for note in notes),
        note_pitch=tuple(int(pitch) for pitch in pitches),
        note_reference_ratio=tuple(float(value) for value in ratios[:, 0]),
        note_candidate_ratio=tuple(float(value) for value in ratios[:, 1]),
        examples=tuple(_shape(*both[index]) for index in shown),
    )


def _release_s(note: FollowedNote) -> float:
    """Time to fall by 10 dB."""
    return 10.0 / max(note.hinge.slope_db_per_s, 1.0)


def _stretch(
    notes: Sequence[Note],
    ratios: FloatArray,
    weights: FloatArray,
    match: Match,
    systematic: float,
    room_db: float,
) -> Stretch:
    changes = ratios[:, 1] - ratios[:, 0]
    middle = weighted_quantile(changes, weights, 0.5)
    spans = _spans(notes)
    to_candidate = match.time_map.to_candidate
    low, high = _median_interval(changes, weights, systematic)
    # A wetter room can only make notes look longer: that much may be the room's.
    low, high = low - _PER_ROOM_DB * max(room_db, 0.0), high - _PER_ROOM_DB * min(room_db, 0.0)
    ours, theirs = (weighted_quantile(ratios[:, side], weights, 0.5) for side in (0, 1))
    if not notes[0].written:
        # Notes that are not the line's own stay as they are and draw the difference to zero.
        low, high = min(low, theirs - ours - systematic), max(high, theirs - ours + systematic)
        if max(_spread(ratios[:, side], weights) for side in (0, 1)) > _MOST_SPREAD:
            low = min(low, -_MOST_CHANGE) if middle < _NO_CHANGE else low
            high = max(high, _MOST_CHANGE) if middle > -_NO_CHANGE else high
    return Stretch(
        sounding_ratio=middle,
        sounding_ratio_interval=(low, high),
        reference_ratio=ours,
        candidate_ratio=theirs,
        agreement=float(weights @ (changes * middle > 0) / weights.sum()),
        notes=len(notes),
        spans_s=spans,
        candidate_spans_s=tuple(
            (float(to_candidate(start)), float(to_candidate(end))) for start, end in spans
        ),
    )


def _clear_stretch(
    whole: Stretch,
    notes: Sequence[Note],
    ratios: FloatArray,
    weights: FloatArray,
    match: Match,
    room_db: float,
) -> Stretch | None:
    """The whole passage if the change runs through it, else the part where it does, else None."""
    if _is_clear(whole) and whole.agreement >= _LEAST_AGREEMENT:
        return whole
    first, behind = _densest(ratios[:, 1] - ratios[:, 0])
    if behind - first < _PART_NOTES:
        return None
    inside = slice(first, behind)
    own = weights[inside]
    part = _stretch(notes[inside], ratios[inside], own, match, _PART_SYSTEMATIC, room_db)
    strong = abs(part.sounding_ratio) >= _PART_CHANGE and part.agreement >= _PART_AGREEMENT
    even = max(_spread(ratios[inside, side], own) for side in (0, 1)) <= _PART_SPREAD
    return part if strong and even and _is_clear(part) else None


def _spread(ratios: FloatArray, weights: FloatArray) -> float:
    """Distance of the quartiles."""
    low, high = (weighted_quantile(ratios, weights, quantile) for quantile in (0.25, 0.75))
    return high - low


def _is_clear(stretch: Stretch) -> bool:
    jnd = JUST_NOTICEABLE["articulation"].size
    return size_in_jnd(stretch.sounding_ratio, stretch.sounding_ratio_interval, jnd) >= 1


def _densest(changes: FloatArray) -> tuple[int, int]:
    """Run of notes whose changes in one direction sum up to most above a level per note."""
    best = (0.0, 0, 0)
    for sign in (-1.0, 1.0):
        gains = np.clip(sign * changes, -0.4, 0.4) - _PART_LEVEL
        total, first = 0.0, 0
        for index, gain in enumerate(gains):
            if total <= 0:
                total, first = 0.0, index
            total += float(gain)
            if total > best[0]:
                best = (total, first, index + 1)
    return best[1], best[2]


def _spans(notes: Sequence[Note], gap_s: float = 3.0) -> tuple[Span, ...]:
    """Where the notes lie, short gaps closed."""
    spans: list[Span] = []
    for note in notes:
        if spans and note.onset_s - spans[-1][1] < gap_s:
            spans[-1] = (spans[-1][0], note.next_s)
        else:
            spans.append((note.onset_s, note.next_s))
    return tuple(spans)


def _shape(note: Note, reference: FollowedNote, candidate: FollowedNote) -> NoteShape:
    return NoteShape(
        note.pitch,
        note.onset_s,
        tuple(reference.envelope.time_s.tolist()),
        tuple(reference.envelope.level_db.tolist()),
        reference.hinge.held_s,
        reference.interval_s,
        tuple(candidate.envelope.time_s.tolist()),
        tuple(candidate.envelope.level_db.tolist()),
        candidate.hinge.held_s,
        candidate.interval_s,
    )


def manner_of(ratio: float) -> str:
    """Plain word for a share held.

    Staccato about 0.4, legato overlapping (Bresin and Battel 2000); the edges between the words
    are common practice, no source.
    """
    if ratio >= 0.9:
        return "legato or tenuto"  # a room hides what lies between
    if ratio >= 0.75:
        return "portato"
    if ratio >= 0.5:
        return "detached"
    return "staccato" if ratio >= 0.3 else "staccatissimo"


def _playing_alike(parts: Sequence[VoiceArticulation]) -> list[list[VoiceArticulation]]:
    """Parts that changed in one direction at the same time, the one with most notes first."""
    groups: list[list[VoiceArticulation]] = []
    for part in sorted(parts, key=lambda voice: voice.notes, reverse=True):
        for group in groups:
            if part.stretch and group[0].stretch and _alike(group[0].stretch, part.stretch):
                group.append(part)
                break
        else:
            groups.append([part])
    return groups


def _alike(one: Stretch, other: Stretch) -> bool:
    lengths = [sum(end - start for start, end in stretch.spans_s) for stretch in (one, other)]
    common = sum(
        max(0.0, min(end, behind) - max(start, first))
        for start, end in one.spans_s
        for first, behind in other.spans_s
    )
    same_sign = one.sounding_ratio * other.sounding_ratio > 0
    return same_sign and common > 0.5 * min(lengths)


def _finding(group: Sequence[VoiceArticulation], same_take: bool) -> Finding:
    stretches = [voice.stretch for voice in group if voice.stretch is not None]
    first = stretches[0]
    value, limits = first.sounding_ratio, first.sounding_ratio_interval
    detached = value < 0
    manners = (manner_of(first.candidate_ratio), manner_of(first.reference_ratio))
    if manners[0] == manners[1]:
        words = "more detached" if detached else "more connected"
    else:
        words = f"{manners[0]}, where the reference is {manners[1]}"
    names = _listed([f"the {voice.name}" for voice in group])
    held = _listed([f"{100 * stretch.candidate_ratio:.0f} %" for stretch in stretches])
    before = _listed([f"{100 * stretch.reference_ratio:.0f} %" for stretch in stretches])
    text = (
        f"The notes of {names} are held for {held} of their length against {before} in the"
        f" reference: {words}."
    )
    scatter = max(limits[1] - limits[0], 1e-6) / 2
    certainty = float(np.clip(abs(value) / scatter, 1, 4))
    bands = [voice.band_hz for voice in group if voice.band_hz is not None]
    return Finding(
        aspect="articulation",
        kind="notes_more_detached" if detached else "notes_more_connected",
        subject=names,
        difference=value,
        interval=limits,
        unit="",
        jnd=size_in_jnd(value, limits, JUST_NOTICEABLE["articulation"].size),
        confidence=min(0.5 * first.agreement + 0.12 * certainty, 0.97),
        spans_s=joined_spans([span for stretch in stretches for span in stretch.spans_s]),
        candidate_spans_s=joined_spans(
            [span for stretch in stretches for span in stretch.candidate_spans_s]
        ),
        band_hz=(min(band[0] for band in bands), max(band[1] for band in bands)) if bands else None,
        cause=(Cause.weighing(0.0, 0.1, 0.9) if same_take else Cause.weighing(0.9, 0.05, 0.05)),
        text=text,
        advice=_advice(names if group[0].written else None, detached, same_take),
    )


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}"


def _advice(names: str | None, detached: bool, same_take: bool) -> tuple[str, ...]:
    if same_take:
        return (
            "Both are one take: look for a gate, an expander or an edit that"
            f" {'shortens' if detached else 'lengthens'} the notes.",
        )
    whom, where = names or "whoever leads", names or "the theme"
    if detached:
        return (
            f"Ask {whom} to hold every note up to the next.",
            f"In the parts: tenuto marks or slurs under {where}.",
        )
    return (
        f"Ask {whom} to lift before every note.",
        f"In the parts: dots or a word such as 'detached' over {where}.",
    )
