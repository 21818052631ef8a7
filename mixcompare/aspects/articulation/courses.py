"""Note lengths of a written part from the average course of all its notes.

Conventions
-----------
A share is a time from a note's onset, in parts of the time to the next one. A course is the level
of a note's partials against share, in dB against their level early in the note; ``sinks`` is how
much lower it lies late in the note, candidate minus reference: negative where the candidate's notes
end sooner.

Single ends are often hidden by what others play. What others play is the same in both
recordings, though, so that it cancels in the difference of two courses, and chance averages out
over all notes of a part. Three things are read of the average difference: by how much it lies away
from zero late in the notes; where it begins to leave zero, which is where the shorter notes end;
and where it is complete, or the longer notes begin to fall, which is where those end. Another room
leaves it alone until the next onset: it changes what rings before a note and after it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import sample_frames
from mixcompare.aspects.articulation.noteoff import MOST_RISE_DB, note_span
from mixcompare.features import LOWEST_ONSET, ONSET_RATE_HZ
from mixcompare.pair.notes import Note, Sounding, partial_bands
from mixcompare.statistics import block_counts, interval

FloatArray = npt.NDArray[np.float64]

FEWEST_ASKED = 6
"""Notes, of which fewer say nothing on average (our judgement, not measured)."""

SHARES = np.arange(-0.3, 1.41, 0.05)  # resolution
EARLY = (SHARES > 0.13) & (SHARES < 0.43)
WITHIN = (SHARES > 0.08) & (SHARES < 0.97)
LATE = (SHARES > 0.78) & (SHARES < 0.97)
BEFORE, _AFTER = SHARES < -0.08, SHARES > 1.17
_FITTED = (SHARES > 0.13) & (SHARES < 1.02)
_HEARD_DB = 30.0  # under the note's loudest partial; our judgement, not measured
MOST_DB = 12.0  # of a note; what sinks further is silence. Our judgement, not measured
_BLOCK_NOTES = 2  # neighbours hang together; our judgement, not measured
_PER_ROOM = 0.35
"""Of what another room changes before notes and after them, how much reaches into their late part:
0.24 to 0.4 (half minutes of three scores, 48 pairs in which nothing but the room changed)."""
_OTHERS_DB, _OF_A_NOTE_DB = 0.4, 3.0
"""By how much an average course, and beside that a single note, sinks in other hands though all are
held alike. Where notes end elsewhere they scatter more, some silent and some covered, which is no
doubt about the average."""
_SURE, _BORNE_OUT = 2.8, 1.5
"""Times its uncertainty. Of 1208 parts of three scores whose notes did not change two reached the
first. The second bears out what single notes tell: 111 of 112 parts that told rightly reached it,
and two of twelve that told wrongly."""
_STILL_HELD_DB = 1.5  # below its plateau; our judgement, not measured
_CORNERS = tuple(
    (begin, end)
    for begin in np.arange(0.15, 0.96, 0.05)
    for end in np.arange(0.25, 1.01, 0.05)
    if end - begin > 0.07
)
_SHAPES = np.array(
    [np.clip(SHARES[_FITTED] - begin, 0, end - begin) / (end - begin) for begin, end in _CORNERS]
)


@dataclass(frozen=True)
class Ends:
    """Where a part's notes end in both recordings, by their average course.

    Attributes
    ----------
    sureness : float
        How many times its uncertainty the notes sink on average; negative where the candidate's
        notes sink further.
    ratios : tuple of float
        Sounding ratio in the reference and in the candidate.
    change_interval : tuple of float
        Of candidate minus reference, from the scatter of the notes alone.
    agreement : float
        Share of the notes that sink to the same side.
    notes : tuple of Note
        Those that were asked.
    """

    sureness: float
    ratios: tuple[float, float]
    change_interval: tuple[float, float]
    agreement: float
    notes: tuple[Note, ...]

    @property
    def is_sure(self) -> bool:
        """Whether the notes surely end elsewhere."""
        return abs(self.sureness) >= _SURE

    def towards(self, change: float) -> float:
        """How surely the notes on average go where single ones do; below zero the other way."""
        return self.sureness * (1 if change > 0 else -1)

    def bears_out(self, change: float) -> bool:
        """Whether a written part's notes on average go where single ones do."""
        return self.towards(change) >= _BORNE_OUT


def average_ends(
    notes: Sequence[Note], sounding: tuple[Sounding, Sounding], frame_s: FloatArray
) -> Ends | None:
    """Where the notes end on average; None where too few can be asked.

    Parameters
    ----------
    notes : sequence of Note
        Of a written part, with what covers them.
    sounding : tuple of Sounding
        Reference and candidate.
    frame_s : ndarray
        Times of the common frames.
    """
    asked, courses = _courses(notes, sounding, frame_s)
    if len(asked) < FEWEST_ASKED:
        return None
    differences = np.clip(courses[1] - courses[0], -MOST_DB, MOST_DB)
    draws = block_counts(len(asked), block_length=_BLOCK_NOTES) / len(asked)
    sinks = differences[:, LATE].mean(axis=1)
    shorter = bool(sinks.mean() < 0)  # the candidate's, or the reference's
    longer = courses[0 if shorter else 1]
    begin, end = ends_of(differences.mean(axis=0)[None], longer.mean(axis=0)[None])
    begins, ends = ends_of(draws @ differences, draws @ longer)
    sign = -1.0 if shorter else 1.0
    low, high = sorted(sign * limit for limit in interval(ends - begins))
    ratios = float(begin[0]), float(end[0])
    return Ends(
        sureness=sureness(differences, draws),
        ratios=ratios[::-1] if shorter else ratios,
        change_interval=(low, high),
        agreement=float((sinks * sign > 0).mean()),
        notes=tuple(asked),
    )


def sureness(differences: FloatArray, draws: FloatArray) -> float:
    """How many times its uncertainty the notes sink on average, the room's part taken off.

    Parameters
    ----------
    differences : ndarray, shape (notes, shares)
        Of the courses, candidate minus reference.
    draws : ndarray, shape (draws, notes)
        Weights of a bootstrap's means.

    Returns
    -------
    float
        Negative where the candidate's notes sink further.
    """
    sinks = differences[:, LATE].mean(axis=1)
    sign = float(np.sign(sinks.mean()))
    around = [sign * float(differences[:, some].mean()) for some in (BEFORE, _AFTER)]
    left_db = sign * float(sinks.mean()) - _PER_ROOM * max(min(around), 0.0)
    of_notes_db = _OF_A_NOTE_DB / np.sqrt(len(sinks))
    scatter_db = min(float((draws @ sinks).std()), of_notes_db)
    return sign * max(left_db, 0.0) / float(np.hypot.reduce([scatter_db, of_notes_db, _OTHERS_DB]))


def ends_of(differences: FloatArray, longer: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where the shorter and the longer notes end, for every row of average courses."""
    fitted = differences[:, _FITTED]
    match = fitted @ _SHAPES.T
    # Least squares: the size that suits each shape, and the shape that leaves least.
    best = (match**2 / (_SHAPES**2).sum(axis=1)).argmax(axis=1)
    begin, complete = np.array(_CORNERS)[best].T
    shares = SHARES[_FITTED]
    fallen = (longer[:, _FITTED] < -_STILL_HELD_DB) & (shares > 0.4)
    held = np.where(fallen.any(axis=1), shares[fallen.argmax(axis=1)], 1.0)
    return begin, np.maximum(complete, held)


def _courses(
    notes: Sequence[Note], sounding: tuple[Sounding, Sounding], frame_s: FloatArray
) -> tuple[list[Note], FloatArray]:
    """Notes with partials of their own in both, and their courses, shape (2, notes, shares)."""
    asked, courses = [], []
    spans = [_spans(notes, source, frame_s) for source in sounding]
    for note, *both in zip(notes, *spans, strict=True):
        ours, theirs = (
            None if span is None else _levels(note, source, span)
            for span, source in zip(both, sounding, strict=True)
        )
        if ours is None or theirs is None:
            continue
        partials = min(ours.shape[1], theirs.shape[1])
        levels = ours[:, :partials], theirs[:, :partials]
        own = _own(levels[0]) & _own(levels[1])
        if own.any():
            asked.append(note)
            courses.append([(level - _early(level))[:, own].mean(axis=1) for level in levels])
    return asked, np.array(courses).reshape(-1, 2, len(SHARES)).transpose(1, 0, 2)


def _spans(
    notes: Sequence[Note], source: Sounding, frame_s: FloatArray
) -> list[tuple[float, float] | None]:
    """Onset of every note in one recording and the time to the next.

    A note struck again hardly rises where the one before is held: there the score's time counts, as
    late as the other notes are found on average.
    """
    expected = np.interp([[note.onset_s, note.next_s] for note in notes], frame_s, source[1])
    found = [note_span(note, source, frame_s) for note in notes]
    late = [span[0] - at for span, (at, _) in zip(found, expected, strict=True) if span is not None]
    late_s = float(np.median(late)) if late else 0.0
    return [
        (float(at) + late_s, float(behind - at)) if note.repeated else span
        for note, span, (at, behind) in zip(notes, found, expected, strict=True)
    ]


def _levels(note: Note, source: Sounding, span: tuple[float, float]) -> FloatArray | None:
    """Level of a note's partials, NaN where others' lie; shape (shares, partials)."""
    features, _, shift = source
    bands = partial_bands(note.pitch + shift)
    if len(bands) == 0:
        return None
    times_s = span[0] + span[1] * SHARES
    power = sample_frames(features.onset_power, ONSET_RATE_HZ, times_s, bands)
    level = 10 * np.log10(np.maximum(power, 1e-14))
    covered = np.isin(bands + LOWEST_ONSET, np.array(note.covered, int) + shift)
    return np.where(covered, np.nan, level)


def _early(level: FloatArray) -> FloatArray:
    return np.asarray(np.median(level[EARLY], axis=0))


def _own(level: FloatArray) -> npt.NDArray[np.bool_]:
    """Partials that lie clear, are heard and don't grow within the note."""
    early = _early(level)
    heard = early > np.max(early, initial=-np.inf, where=np.isfinite(early)) - _HEARD_DB
    own: npt.NDArray[np.bool_] = heard & ((level[WITHIN] - early).max(axis=0) < MOST_RISE_DB)
    return own
