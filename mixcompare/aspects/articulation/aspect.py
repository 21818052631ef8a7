"""Articulation: for how much of its length the leading line's notes are held.

Conventions
-----------
What is heard       legato against detached or staccato playing of the leading line
sounding_ratio      (note-off - onset) / (next onset - onset); 1 = held until the next note. Where a
                    score has a rest, that counts as the next onset
gap_depth_db        how far a note's partials fall before the next onset; more = more detached
attack_ms           rise from 10 to 90 % of the amplitude
Sign                candidate minus reference: negative ratio = more detached in the candidate
Source              Bresin and Battel 2000 (J. New Music Research 29, 211-224) for the ratio

Method: the line is found in both recordings jointly (:mod:`mixcompare.pair.lines`); the note-off is
the bend of a hinge through the envelope of the note's own partials (``noteoff``). Because the
hinge's slope is free, a longer reverberation flattens the decay and leaves the note-off where it
was. Where few notes of a line that was only heard say so, their average course is asked whether
they sink sooner; where single notes of a written part tell nothing, where they end (``courses``).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.articulation.about import ABOUT
from mixcompare.aspects.articulation.anyone import of_any_part
from mixcompare.aspects.articulation.average import with_average
from mixcompare.aspects.articulation.courses import Ends, average_ends
from mixcompare.aspects.articulation.noteoff import (
    FEWEST_NOTES,
    FollowedNote,
    follow_note,
    sounding_ratios,
    trust,
    typical_attack_ms,
    without_hidden_ends,
)
from mixcompare.aspects.articulation.stretch import (
    MOST_SPREAD,
    SYSTEMATIC,
    SYSTEMATIC_WET,
    clear_stretch,
    halves_agree,
    median_interval,
    some_moved,
    spread,
    stretch,
)
from mixcompare.aspects.articulation.told import ends_told, is_told
from mixcompare.aspects.articulation.values import (
    BASS,
    HEARD,
    LEAD,
    SOME,
    ArticulationDifference,
    ArticulationMeasurement,
    NoteShape,
    Stretch,
    VoiceArticulation,
)
from mixcompare.aspects.articulation.words import finding, playing_alike
from mixcompare.elements.take import split_pair
from mixcompare.features import SEMITONE_RATE_HZ, Features
from mixcompare.findings import (
    Finding,
)
from mixcompare.findings.manner import manner_of
from mixcompare.pair.lines import lead_notes, part_notes
from mixcompare.pair.match import Match
from mixcompare.pair.notes import Note, Sounding
from mixcompare.pair.pair import Pair
from mixcompare.standards.iec61260 import pitch_hz
from mixcompare.statistics import weighted_quantile

FloatArray = npt.NDArray[np.float64]
Both = tuple[Note, FollowedNote, FollowedNote]

_ANOTHER_ROOM_DB = 3.0  # of wetness; our judgement, not measured
_SHOWN_NOTES = 3  # for the eye: as many as the figure draws
_SYSTEMATIC_OTHERS = 0.12  # between performances: instruments and the map, too
_SYSTEMATIC_WRITTEN = 0.05  # where a score tells the notes and what covers them
_SLOW_DECAY_DB_PER_S = 30.0  # 60 dB in 2 s; chosen on the articulation benchmark's tuning movements
_MOST_SPREAD_ALONE = 0.3  # one recording alone cannot tell whose notes it heard
_FASTEST_ATTACK_MS = 25.0  # rises under about 20 ms look alike (noteoff); the margin is our choice
_NO_ATTACK = (
    f"Attacks are faster than {_FASTEST_ATTACK_MS:.0f} ms, or too few rise clear of the note"
    " before."
)
_UNEVEN = (
    "The notes are too quick or too much covered; their lengths scatter widely, and one half of"
    " them says something else than the other."
)
_UNEVEN_ALONE = (
    "One recording alone does not tell whose notes lead: they are too quick or too much covered."
)
_DOUBLED = (
    "Other parts double most of the notes in unison or octaves, and sound on where one part alone"
    " lets go sooner."
)
_SOME_MOVED = (
    "Some notes end sooner or later than in the reference, too few to tell whether they are the"
    " line's own or those of others."
)
_WHOSE_OPEN = (
    "Some notes end sooner or later than in the reference; whether they are the line's own can't be"
    " told."
)
_TOO_FEW = "Fewer than eight notes could be followed to their end."


class Articulation:
    """Analyzer of the leading line's articulation."""

    aspect = "articulation"
    about = ABOUT

    def measure(self, features: Features) -> ArticulationMeasurement:
        """Find the leading line of one recording and measure how long its notes are held."""
        frame_s = np.arange(len(features.semitone_power)) / SEMITONE_RATE_HZ
        source: Sounding = (features, frame_s, 0)
        notes = lead_notes(features)
        found = [follow_note(note, source, frame_s) for note in notes]
        followed = [one for one in without_hidden_ends(notes, found) if one is not None]
        if len(followed) < FEWEST_NOTES:
            return ArticulationMeasurement(None, None, None, None, len(followed), (_TOO_FEW,))
        ratios = sounding_ratios(followed)
        weights = trust(followed, written=False)
        if spread(ratios, weights) > _MOST_SPREAD_ALONE:
            return ArticulationMeasurement(None, None, None, None, len(followed), (_UNEVEN_ALONE,))
        attack_ms = typical_attack_ms(followed)
        too_fast = attack_ms is None or attack_ms < _FASTEST_ATTACK_MS
        return ArticulationMeasurement(
            sounding_ratio=weighted_quantile(ratios, weights, 0.5),
            sounding_ratio_interval=median_interval(ratios, weights, SYSTEMATIC),
            gap_depth_db=float(np.median([one.hinge.gap_depth_db for one in followed])),
            attack_ms=None if too_fast else attack_ms,
            notes=len(followed),
            reasons=(_NO_ATTACK,) if too_fast else (),
        )

    def compare(self, pair: Pair) -> ArticulationDifference:
        """Follow the same notes in both recordings."""
        match = pair.match
        fit = pair.wetness
        room_db = fit.wetness_db if fit is not None and fit.is_told and fit.everywhere else 0.0

        def followed(notes: Sequence[Note], leads: bool = False) -> ArticulationDifference:
            return _followed(notes, pair, room_db, leads)

        lead, bass = pair.lines
        found = {
            LEAD: followed(lead, leads=True),
            BASS: followed(bass),
            **{
                part.name: with_average(followed(notes), notes, pair, room_db)
                for part in match.parts
                for notes in (part_notes(part),)
            },
        }
        found |= _whoever_plays(found, pair, room_db)
        shown = _most_telling(found)
        voices = tuple(_voice(name, one) for name, one in found.items())
        return replace(
            found[LEAD],
            voices=voices,
            ends_told=ends_told(voices, pair),
            shown=shown,
            note_s=found[shown].note_s,
            note_pitch=found[shown].note_pitch,
            note_reference_ratio=found[shown].note_reference_ratio,
            note_candidate_ratio=found[shown].note_candidate_ratio,
            examples=found[shown].examples,
        )

    def findings(self, difference: ArticulationDifference, pair: Pair) -> list[Finding]:
        """One finding for every voice that is clearly more detached or more connected.

        Where a score tells the parts, they speak for the lines that were only heard.
        """
        told = [voice for voice in difference.voices if is_told(voice, pair)]
        parts = [voice for voice in told if voice.written]
        groups = playing_alike(parts) if parts else [[voice] for voice in told]
        return [finding(group, pair.same_take) for group in groups]


analyzer = Articulation()


def _followed(
    notes: Sequence[Note], pair: Pair, room_db: float, leads: bool
) -> ArticulationDifference:
    """Follow a voice's notes in both recordings and compare what both tell.

    Only notes that lead are asked where they end on average: low ones ring on as their instruments
    and their room let them.
    """
    match, frames_s = pair.match, pair.note_frames_s
    of_reference, of_candidate = (
        without_hidden_ends(notes, [follow_note(note, one, frames_s) for note in notes])
        for one in pair.sounding
    )
    pairs = list(zip(notes, of_reference, of_candidate, strict=True))
    both = [
        (note, of_reference, of_candidate)
        for note, of_reference, of_candidate in pairs
        if of_reference is not None and of_candidate is not None
    ]
    one_only = sum(
        (of_reference is None) != (of_candidate is None) for _, of_reference, of_candidate in pairs
    )
    if len(both) < FEWEST_NOTES:
        return ArticulationDifference.untold(_TOO_FEW, len(both), one_only)
    only_heard = not notes[0].written and not match.same_take
    ends = average_ends(notes, pair.sounding, frames_s) if only_heard and leads else None
    found = _difference(both, one_only, match, room_db, ends)
    read = found.sounding_ratio is not None and found.stretch is None
    if only_heard and read and some_moved(_ratios(both)):
        return ArticulationDifference.untold(_SOME_MOVED, len(both), one_only)
    own = [one for one in both if not one[0].doubled]
    if 2 * len(own) > len(both):
        return found
    if found.stretch is not None or _nothing_ended(pair):
        return replace(found, doubled=True)
    # A note that several parts play ends with the last of them: that none is heard to change does
    # not say that none did.
    if len(own) < FEWEST_NOTES:
        return ArticulationDifference.untold(_DOUBLED, len(both), one_only)
    return _difference(own, one_only, match, room_db, ends)


def _whoever_plays(
    found: Mapping[str, ArticulationDifference], pair: Pair, room_db: float
) -> dict[str, ArticulationDifference]:
    """Notes that end sooner or later, where no voice tells it of its own, and what that leaves.

    Another room changes what rings on after all notes: what goes its way may be its own.
    """
    if pair.same_take or pair.match.parts or any(one.stretch for one in found.values()):
        return {}
    some = of_any_part(pair)
    if some is None or room_db * np.sign(some.sounding_ratio) >= _ANOTHER_ROOM_DB:
        return {}
    lead = found[LEAD]
    return {
        SOME: ArticulationDifference.untold("", some.notes, 0).telling(some),
        LEAD: ArticulationDifference.untold(_WHOSE_OPEN, lead.notes, lead.notes_left_out),
    }


def _nothing_ended(pair: Pair) -> bool:
    """Whether cell by cell no note ends elsewhere: in one take of one room any would be seen."""
    if not pair.same_take:
        return False
    split = split_pair(pair)
    return not split.ended and not split.one_tail


def _most_telling(found: Mapping[str, ArticulationDifference]) -> str:
    """The voice to show: written parts first, then the one with the most change in its notes."""

    def size(name: str) -> tuple[bool, float]:
        stretch = found[name].stretch
        if stretch is None or not found[name].note_s:
            return False, 0.0
        return name not in HEARD, stretch.notes * abs(stretch.sounding_ratio)

    return max(found, key=size)


def _voice(name: str, found: ArticulationDifference) -> VoiceArticulation:
    manner = ""
    limits = found.sounding_ratio_interval
    if found.reference_ratio is not None and found.candidate_ratio is not None and limits:
        of_reference, of_candidate = (
            manner_of(found.reference_ratio),
            manner_of(found.candidate_ratio),
        )
        differs = of_reference != of_candidate and not limits[0] <= 0 <= limits[1]
        manner = f"{of_candidate} against {of_reference}" if differs else of_reference
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
        written=name not in HEARD,
        reasons=found.reasons,
        stretch=found.stretch,
        band_hz=found.band_hz,
        doubled=found.doubled,
    )


def _sides(both: Sequence[Both]) -> tuple[list[FollowedNote], list[FollowedNote]]:
    return [one for _, one, _ in both], [other for _, _, other in both]


def _ratios(both: Sequence[Both]) -> FloatArray:
    """Of every note in both recordings."""
    return np.column_stack([sounding_ratios(side) for side in _sides(both)])


def _difference(
    both: Sequence[Both], one_only: int, match: Match, room_db: float, ends: Ends | None
) -> ArticulationDifference:
    """What the notes that could be followed in both recordings tell."""
    notes = [note for note, _, _ in both]
    sides, ratios = _sides(both), _ratios(both)
    written = notes[0].written
    weights = np.sqrt(trust(sides[0], written) * trust(sides[1], written))
    pitches = np.array([note.pitch for note in notes])
    low, high = pitch_hz([pitches.min() - 0.5, pitches.max() + 0.5])
    systematic = _systematic(sides, written, match.same_take)
    whole = stretch(notes, ratios, weights, match, systematic, room_db)
    if min(spread(ratios[:, side], weights) for side in (0, 1)) > MOST_SPREAD:
        changes = ratios[:, 1] - ratios[:, 0]
        if not halves_agree(changes, weights, median_interval(changes, weights, systematic)):
            return ArticulationDifference.untold(_UNEVEN, len(both), one_only)
    attacks_s = _changes(both, lambda note: note.hinge.attack_s)
    attacks_s = attacks_s[np.isfinite(attacks_s)]
    attacks_told = len(attacks_s) >= FEWEST_NOTES
    return ArticulationDifference(
        sounding_ratio=whole.sounding_ratio,
        sounding_ratio_interval=whole.sounding_ratio_interval,
        reference_ratio=whole.reference_ratio,
        candidate_ratio=whole.candidate_ratio,
        gap_depth_db=float(np.median(_changes(both, lambda note: note.hinge.gap_depth_db))),
        attack_ms=1000 * float(np.median(attacks_s)) if attacks_told else None,
        agreement=whole.agreement,
        notes=len(both),
        notes_left_out=one_only,
        accent_db=float(np.median(_changes(both, lambda note: note.hinge.accent_db))),
        release_ms=1000 * float(np.median(_changes(both, _release_s))),
        band_hz=(float(low), float(high)),
        stretch=clear_stretch(whole, notes, ratios, weights, match, room_db, ends),
        note_s=tuple(note.onset_s for note in notes),
        note_pitch=tuple(int(pitch) for pitch in pitches),
        note_reference_ratio=tuple(float(value) for value in ratios[:, 0]),
        note_candidate_ratio=tuple(float(value) for value in ratios[:, 1]),
        examples=tuple(_shape(*both[index]) for index in _typical(notes, ratios, whole)),
    )


def _changes(both: Sequence[Both], value: Callable[[FollowedNote], float]) -> FloatArray:
    """Candidate minus reference, note by note."""
    return np.array([value(candidate) - value(reference) for _, reference, candidate in both])


def _systematic(sides: Sequence[Sequence[FollowedNote]], written: bool, same_take: bool) -> float:
    """What an interval holds besides scatter."""
    if not written:
        return SYSTEMATIC if same_take else _SYSTEMATIC_OTHERS
    slopes = [float(np.median([one.hinge.slope_db_per_s for one in side])) for side in sides]
    return SYSTEMATIC_WET if min(slopes) < _SLOW_DECAY_DB_PER_S else _SYSTEMATIC_WRITTEN


def _typical(notes: Sequence[Note], ratios: FloatArray, whole: Stretch) -> npt.NDArray[np.intp]:
    """Which notes to show: typical ones, and long enough for the eye."""
    lengths = np.array([note.interval_s for note in notes])
    short = lengths < np.median(lengths)
    far = np.abs(ratios - [whole.reference_ratio, whole.candidate_ratio]).max(axis=1)
    return np.sort(np.argsort(far + short, kind="stable")[:_SHOWN_NOTES])


def _release_s(note: FollowedNote) -> float:
    """Time to fall by 10 dB."""
    return 10.0 / max(note.hinge.slope_db_per_s, 1.0)


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
