"""When a note of a line begins, is let go, and how it decays: envelopes of its partials.

Conventions
-----------
Times are seconds from the note's onset; levels are dB against the note's own plateau. The
envelope's window (85 ms) limits what can be told: rises under about 20 ms look alike.
"""

from __future__ import annotations

import bisect
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import LOWEST_ONSET, ONSET_RATE_HZ, Features
from mixcompare.pair.notes import (
    ATTACK_LAG_S,
    PATH_LAG_S,
    REST,
    Note,
    Sounding,
    partial_bands,
    refined_onset,
)

FloatArray = npt.NDArray[np.float64]

FEWEST_NOTES = 8
"""Fewer say nothing about a line."""

# Steepest rise after the onset: at once for a struck note, by a share of a soft attack's rise.
# Our choice, no record on what.
_LAG_AT_ONCE_S, _LAG_PER_ATTACK = -0.003, 0.4
_LEAD_S, _TRAIL_S = 0.3, 0.4  # before the onset and behind the next one, what is read; our choice
_STEP_S = 1 / ONSET_RATE_HZ
# Resolution: 60 dB in 5 s to 0.17 s, and what is left from covered notes to clear ones.
_SLOPES_DB_PER_S = np.array([12.0, 18, 27, 40, 60, 90, 140, 220, 350])
_FLOORS_DB = np.array([-8.0, -12, -17, -23, -30])
_LOWEST_DB = -32.0  # a little under the lowest of them; our choice
_LEAST_FALL_DB = 6.0  # a partial that falls less after the note belongs to others, too
MOST_RISE_DB = 5.0
"""A partial that grows so much within the note belongs to others, as well."""
_CLIP_DB = 6.0  # misfits count no further: other notes; our judgement, not measured
_MOST_POINTS = 120  # cost: longer notes are read more sparsely
_WORST_FIT_DB = 2.5  # mean misfit of a note that is followed; our judgement, not measured
_HELD, _SLOWEST_DB_PER_S = 0.75, 20.0
"""Of a note's length, portato and more; and 60 dB in 3 s: halls for music die away sooner (common
practice, no source). What sinks more slowly has not been let go: others sound on, or the tail of
what was before, or a string that rings."""
_USUAL_DB_PER_S = 30.0
"""60 dB in 2 s: where no note says how the room falls, and the slowest fall in which the end of a
note before a rest can be told (common practice)."""
_ACCENT_S = 0.15  # how much of a note counts as struck; our judgement, not measured
_COVERED_TRUST = 0.25  # weight of a note without a partial of its own; our judgement, not measured
_WINDOW_RISE_S = 0.034  # what a step's 10-90 % rise becomes under the 85 ms window (computed)


@dataclass(frozen=True)
class Envelope:
    """Mean level of a note's own partials.

    Attributes
    ----------
    time_s, level_db : ndarray, shape (n,)
    partials : int
        How many partials were used.
    clear : bool
        Whether they lie clear of what else a score has sounding.
    """

    time_s: FloatArray
    level_db: FloatArray
    partials: int
    clear: bool


@dataclass(frozen=True)
class Hinge:
    """Fitted shape of one note.

    Attributes
    ----------
    held_s : float
        From onset to note-off.
    slope_db_per_s : float
        Decay after the note-off.
    floor_db : float
        Where the decay ends.
    gap_depth_db : float
        How far the level falls before the next onset.
    attack_s : float
        From 10 to 90 % of the amplitude; NaN where the note doesn't rise from what was before.
    accent_db : float
        Peak within the first 150 ms over the median of what is held after.
    misfit_db : float
        Mean absolute distance of the envelope from the shape.
    """

    held_s: float
    slope_db_per_s: float
    floor_db: float
    gap_depth_db: float
    attack_s: float
    accent_db: float
    misfit_db: float

    def is_let_go(self, interval_s: float) -> bool:
        """Whether a note that ends before the next falls as in a hall, and does not only sink."""
        return self.held_s >= _HELD * interval_s or self.slope_db_per_s >= _SLOWEST_DB_PER_S


def note_envelope(
    features: Features,
    pitch: int,
    onset_s: float,
    interval_s: float,
    repeated: bool,
    covered: Sequence[int] = (),
) -> Envelope | None:
    """Envelope of those partials that behave as the note does.

    A partial counts if it falls by more than 6 dB after the note (between this onset and the
    next where the pitch is repeated) and doesn't grow within it; each is weighted by its fall.
    Those at ``covered`` pitches count only if there are no others. None if no partial does.
    """
    time_s = np.arange(-_LEAD_S, interval_s + _TRAIL_S, _STEP_S)
    bands = partial_bands(pitch)
    if len(bands) == 0:
        return None
    power = sample_frames(features.onset_power, ONSET_RATE_HZ, onset_s + time_s, bands)
    level = 10 * np.log10(np.maximum(power, 1e-14))
    early = (time_s > 0.04) & (time_s < max(0.3 * interval_s, 0.16))
    plateau = _quantile(level[early], 0.75)
    if repeated:
        gap = (time_s > 0.3 * interval_s) & (time_s < interval_s - 0.02)
        fall = plateau - level[gap].min(axis=0)
    else:
        after = (time_s > interval_s + 0.06) & (time_s < interval_s + 0.36)
        fall = plateau - _quantile(level[after], 0.25)
    within = (time_s > 0.04) & (time_s < max(interval_s - 0.05, 0.1))
    grows = (level[within] - plateau).max(axis=0) >= MOST_RISE_DB
    own = ~grows & (plateau > plateau.max() - 45)
    if not repeated:
        own &= fall > _LEAST_FALL_DB
    if not own.any():
        return None
    clear = own & ~np.isin(bands + LOWEST_ONSET, covered)
    own = clear if clear.any() else own
    weight = np.clip(fall[own], 1.0, 20.0)
    mean = (level[:, own] - plateau[own]) @ weight / weight.sum()
    return Envelope(time_s, np.asarray(mean, np.float64), int(own.sum()), bool(clear.any()))


def _quantile(values: FloatArray, share: float) -> FloatArray:
    """Of every column, as ``numpy.quantile`` takes it, for a tenth of its price in small arrays."""
    ordered = np.sort(values, axis=0)
    place = share * (len(ordered) - 1)
    low = int(place)
    high = min(low + 1, len(ordered) - 1)
    return np.asarray(ordered[low] + (place - low) * (ordered[high] - ordered[low]))


def fit_hinge(envelope: Envelope, interval_s: float, repeated: bool) -> Hinge | None:
    """Plateau, note-off, decay of free slope and floor, by least absolute error.

    A repeated note whose envelope doesn't dip is held throughout. None where nothing fits.
    """
    time_s, level = envelope.time_s, envelope.level_db
    end = interval_s - 0.01 if repeated else interval_s + 0.3
    inside = (time_s > 0.06) & (time_s < end)
    if inside.sum() < 8:
        return None
    sparse = int(inside.sum()) // _MOST_POINTS + 1
    t = time_s[inside][::sparse]
    y = np.maximum(level[inside], _LOWEST_DB)[::sparse]
    last = interval_s - 0.03 if repeated else interval_s + 0.12
    step_s = max(_STEP_S, interval_s / 60)
    offs = np.arange(max(0.06, 0.12 * interval_s), min(last, end - 0.04), step_s)
    misfit_db, held_s, slope_db, floor_db = _best_shape(t, y, offs)
    late = (time_s > interval_s - 0.15) & (time_s < interval_s + 0.01)
    depth = max(-float(level[late].min()), 0.0)
    if repeated and depth < _LEAST_FALL_DB:
        held_s = interval_s
    elif misfit_db > _WORST_FIT_DB:
        return None
    attack_s, accent_db = _attack_s(time_s, level), _accent_db(time_s, level, held_s)
    return Hinge(held_s, slope_db, floor_db, depth, attack_s, accent_db, misfit_db)


def _best_shape(t: FloatArray, y: FloatArray, offs: FloatArray) -> tuple[float, ...]:
    """Least misfit of all note-offs, slopes and floors, and where it lies.

    All are tried at once: a note has a few thousand shapes of a hundred points. Each is a decay up
    to where it meets its floor, and the floor from there on, so that sums of both tell them all.
    """
    if len(offs) == 0:
        return np.inf, 0.0, 0.0, 0.0
    above = (y[:, None] - _medians_before(y, np.searchsorted(t, offs)))[..., None]
    slopes = len(_SLOPES_DB_PER_S)
    sums = np.zeros((len(t) + 1, len(offs), slopes + len(_FLOORS_DB)))
    own = sums[1:]
    np.multiply(
        np.maximum(t[:, None] - offs, 0)[..., None], _SLOPES_DB_PER_S, out=own[..., :slopes]
    )
    own[..., slopes:] = -_FLOORS_DB
    own += above
    np.abs(own, out=own)
    np.minimum(own, _CLIP_DB, out=own)
    for before, with_this in zip(sums[:-1], own, strict=True):  # thrice as fast as a cumsum
        with_this += before
    meets_s = offs[:, None, None] - _FLOORS_DB / _SLOPES_DB_PER_S[:, None]
    meets = np.searchsorted(t, meets_s, side="right")
    each, falling, settled = np.ix_(*map(np.arange, meets.shape))
    after = sums[-1, :, None, slopes:] - sums[meets, each, slopes + settled]
    misfit = (sums[meets, each, falling] + after) / len(t)
    off, slope, floor = np.unravel_index(int(misfit.argmin()), misfit.shape)
    return (
        float(misfit[off, slope, floor]),
        float(offs[off]),
        float(_SLOPES_DB_PER_S[slope]),
        float(_FLOORS_DB[floor]),
    )


def _medians_before(y: FloatArray, counts: npt.NDArray[np.intp]) -> FloatArray:
    """Median of the first so many values, each count at least the last; 0 of fewer than three."""
    out = np.zeros(len(counts))
    ordered: list[float] = []
    for index, count in enumerate(counts):
        for value in y[len(ordered) : count].tolist():
            bisect.insort(ordered, value)
        if count > 2:
            out[index] = (ordered[(count - 1) // 2] + ordered[count // 2]) / 2
    return out


def _accent_db(time_s: FloatArray, level: FloatArray, held_s: float) -> float:
    edge_s = min(_ACCENT_S, 0.5 * held_s)
    struck = (time_s > 0) & (time_s <= edge_s)
    held = (time_s > edge_s) & (time_s < held_s)
    if not struck.any() or not held.any():
        return 0.0
    return float(level[struck].max() - np.median(level[held]))


def _attack_s(time_s: FloatArray, level: FloatArray) -> float:
    """Rise from 10 to 90 % of the amplitude, the window's own part taken out."""
    amplitude = 10 ** (level / 20)
    before = float(np.median(amplitude[(time_s > -0.25) & (time_s < -0.1)]))
    if before > 0.35:
        return float("nan")
    risen = (amplitude - before) / (1 - before)
    top = int(np.argmax(risen >= 0.9))
    if risen[top] < 0.9 or time_s[top] > 0.6:
        return float("nan")
    low = top
    while low > 0 and risen[low] > 0.1:
        low -= 1
    share = (0.1 - risen[low]) / max(risen[low + 1] - risen[low], 1e-9)
    start = time_s[low] + np.clip(share, 0, 1) * _STEP_S
    high = top - 1 + (0.9 - risen[top - 1]) / max(risen[top] - risen[top - 1], 1e-9)
    rise = time_s[0] + high * _STEP_S - start
    return float(np.sqrt(max(rise**2 - _WINDOW_RISE_S**2, 0.0)))


@dataclass(frozen=True)
class FollowedNote:
    """One note in one recording: time to the next onset, envelope, fitted shape."""

    interval_s: float
    envelope: Envelope
    hinge: Hinge


def note_span(note: Note, source: Sounding, frame_s: FloatArray) -> tuple[float, float] | None:
    """Onset of a note of the common clock in one recording and the time to the next onset.

    None where they lie too near for a note-off, or too far from where they are expected.
    """
    features, source_s, shift = source
    expected = np.interp([note.onset_s, note.next_s], frame_s, source_s)
    lag_s = 0.0 if note.written else PATH_LAG_S
    onset_s = refined_onset(features, note.pitch + shift, float(expected[0]), lag_s)
    next_s = (
        onset_s + float(expected[1] - expected[0])
        if note.next_pitch == REST
        else refined_onset(features, note.next_pitch + shift, float(expected[1]), lag_s)
    )
    length = next_s - onset_s
    if length < 0.2 or not 0.7 < length / (expected[1] - expected[0]) < 1.4:
        return None
    return onset_s, length


def follow_note(note: Note, source: Sounding, frame_s: FloatArray) -> FollowedNote | None:
    """Find a note of the common clock in one recording and fit its hinge."""
    features, _, shift = source
    span = note_span(note, source, frame_s)
    if span is None:
        return None
    onset_s, length = span
    covered = [pitch + shift for pitch in note.covered]
    envelope = note_envelope(features, note.pitch + shift, onset_s, length, note.repeated, covered)
    if envelope is None:
        return None
    hinge = fit_hinge(envelope, length, note.repeated)
    if hinge is None or not hinge.is_let_go(length):
        return None
    if note.next_pitch == REST and hinge.slope_db_per_s < _USUAL_DB_PER_S:
        # Nothing follows that would end the tail, and a slow one looks like the note itself.
        return None
    return FollowedNote(length, envelope, hinge)


def without_hidden_ends(
    notes: Sequence[Note], followed: Sequence[FollowedNote | None]
) -> list[FollowedNote | None]:
    """Leave out repeated notes whose end the room would hide, whether they seem held or not.

    The next note on the same pitch sets in before the tail of one let go half-way has fallen.
    """
    falls = [
        one.hinge.slope_db_per_s
        for note, one in zip(notes, followed, strict=True)
        if one is not None and not note.repeated
    ]
    fall_db_per_s = float(np.median(falls)) if len(falls) >= FEWEST_NOTES else _USUAL_DB_PER_S
    least_s = 2 * _LEAST_FALL_DB / fall_db_per_s
    return [
        None if one is not None and note.repeated and one.interval_s < least_s else one
        for note, one in zip(notes, followed, strict=True)
    ]


def sounding_ratios(followed: Sequence[FollowedNote]) -> FloatArray:
    """Sounding ratio of every note, its onset moved by what the line's typical attack says.

    A struck note rises steepest at its onset, a soft one well after it.
    """
    attack_ms = typical_attack_ms(followed)
    late_s = 0.0
    if attack_ms is not None:
        lag_s = _LAG_AT_ONCE_S + _LAG_PER_ATTACK * attack_ms / 1000
        late_s = float(np.clip(ATTACK_LAG_S - lag_s, -0.02, 0.02))
    return np.array([(one.hinge.held_s - late_s) / one.interval_s for one in followed])


def trust(followed: Sequence[FollowedNote], written: bool) -> FloatArray:
    """Weight of every note: the same error in time is a smaller part of a longer one.

    A note with no partial of its own counts less. Of a line that was only heard all count alike:
    its long notes may well be several short ones.
    """
    if not written:
        return np.ones(len(followed))
    lengths = np.array([one.interval_s for one in followed])
    clear = np.array([one.envelope.clear for one in followed])
    return np.asarray(np.clip(lengths, 0.2, 0.8) ** 2 * np.where(clear, 1.0, _COVERED_TRUST))


def typical_attack_ms(followed: Sequence[FollowedNote]) -> float | None:
    """Median attack of the notes that rise clear of what was before; None for too few."""
    rises = np.array([one.hinge.attack_s for one in followed])
    rises = rises[np.isfinite(rises)]
    return 1000 * float(np.median(rises)) if len(rises) >= FEWEST_NOTES else None
