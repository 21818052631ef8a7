"""Whether notes end sooner or later, whoever plays them.

Conventions
-----------
As in :mod:`mixcompare.aspects.articulation.courses`. An attack is a rise of one semitone's level in
both recordings; what follows it, up to the next attack near it, is taken as a note.

A line that leads is often not the one that is followed, and where a third of the notes that were
followed are its own, their median does not move. Whose notes they are is not asked here: where some
part's notes end sooner, many attacks all over the range are followed by a fall that the same
attacks of the other recording do not have, and hardly any the other way round. Another balance
leaves that alone, as every attack is held against its own early level. Another room does not: it
changes what rings on after every note, also before those notes that did not move.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import sample_frames
from mixcompare.aspects.articulation.courses import (
    BEFORE,
    EARLY,
    LATE,
    MOST_DB,
    SHARES,
    WITHIN,
    ends_of,
)
from mixcompare.aspects.articulation.stretch import LONGEST_GAP_S, is_clear
from mixcompare.aspects.articulation.values import Stretch
from mixcompare.features import ONSET_RATE_HZ
from mixcompare.findings import joined_spans
from mixcompare.pair.lines import stretches
from mixcompare.pair.notes import Sounding
from mixcompare.pair.pair import Pair

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Levels = tuple[FloatArray, FloatArray]

_RISE_DB, _RISE_FRAMES = 6.0, 6  # between so long before and so long behind; our judgement
_NEAR_SEMITONES = 5  # so near a next attack ends a note; our judgement, not measured
_SHORTEST_S, _LONGEST_S = 0.2, 2.5  # our judgement, not measured
_LOUD = 60.0  # percentile of all levels, which an attack must reach; our judgement
_GROWS_DB = 6.0  # a level that rises so far within a note is another's; our judgement
_MOVED_DB, _HELD_DB = 6.0, 8.0
"""By how much a note sinks further than in the other recording, and no further there. Of 4 to 8 dB
and 3 dB to any these tell best what is due from what is not (90 half minutes of three scores)."""
_FEWEST, _FEWEST_MOVED = 60, 12  # attacks; our judgement, not measured
_ONE_SIDED = 0.15
"""Standard deviation of the share by which one side outweighs the other in other hands though all
notes are held alike, beside chance: with it 72 half minutes of three scores scatter by 0.9 and 1.0,
played by the same instruments or others, their lead 6 dB up or down."""
_STILL_DB, _PER_ROOM_DB = 3.0, 1.0
"""Notes that sink alike within so much did not move; and how much less sure it is for every dB by
which the level before them went the same way. What is left was 2.3 at most where another room was
heard and no note ended elsewhere, in 60 half minutes of three scores, and 2.0 in the 72."""
_SURE, _MOST_ROOM_DB = 2.6, 1.6
"""A room that moves the level before notes by more is another: 1.7 dB and more in 48 half minutes
of three scores; where notes end elsewhere, 1.4 and less in 23 of 24."""
_LEAST_SHARE = 0.03
"""Of all attacks, by which one side outweighs the other: 0.04 to 0.13 where a theme was held
otherwise (half minutes of three scores); what a phase vocoder smears is 0.02 at most (a real string
orchestra)."""
_MOST_FOR_ALL = 0.23
"""How far all notes sink, against how far they differ in it (between their quartiles): 0.11 to 0.21
where some were held otherwise, 0.25 to 0.34 in a hall that was added to a real string orchestra
though all were held alike."""
_QUARTERS = 3  # of the four of a passage have to say the same; our judgement, not measured
_SHORTER_READS, _LONGER_READS = 0.1, -0.05
"""What is added to where the shorter notes end, and the longer ones: the onset lies before the
steepest rise, and what lets go begins to sink before (14 half minutes of three scores)."""
_SYSTEMATIC = 0.2  # of eleven of eight other scores all lay within 0.12


def of_any_part(pair: Pair) -> Stretch | None:
    """By how much longer notes of some part or other are held; None where nothing is sure.

    Parameters
    ----------
    pair : Pair
        Two performances.
    """
    frames_s = pair.note_frames_s
    found = []
    for part in stretches(len(frames_s)):
        times_s = np.arange(frames_s[part][0], frames_s[part][-1], 1 / ONSET_RATE_HZ)
        reference, candidate = (_levels(one, frames_s, times_s) for one in pair.sounding)
        found.append(_courses((reference, candidate), times_s))
    begin_s, end_s = (np.concatenate([one[which] for one in found]) for which in (0, 1))
    courses = np.concatenate([one[2] for one in found], axis=1)
    if len(begin_s) < _FEWEST:
        return None
    differences = np.clip(courses[1] - courses[0], -MOST_DB, MOST_DB)
    sinks = differences[:, LATE].mean(axis=1)
    held = courses[:, :, LATE].mean(axis=2) > -_HELD_DB
    sooner, later = (sinks < -_MOVED_DB) & held[0], (sinks > _MOVED_DB) & held[1]
    shorter = bool(sooner.sum() > later.sum())
    sides = (sooner, later) if shorter else (later, sooner)
    before_db = differences[np.abs(sinks) < _STILL_DB][:, BEFORE].mean(axis=1)
    room_db = (-1 if shorter else 1) * float(np.median(before_db)) if len(before_db) else 0.0
    if sides[0].sum() < _FEWEST_MOVED or not _is_sure(*sides, begin_s, room_db):
        return None
    if np.mean(sides[0]) - np.mean(sides[1]) < _LEAST_SHARE or _goes_for_all(sinks, shorter):
        return None
    longer = courses[0 if shorter else 1]
    first, last = (
        float(one[0])
        for one in ends_of(
            differences[sides[0]].mean(axis=0)[None], longer[sides[0]].mean(axis=0)[None]
        )
    )
    ratios = min(first + _SHORTER_READS, last + _LONGER_READS), last + _LONGER_READS
    of_reference, of_candidate = ratios[::-1] if shorter else ratios
    change = of_candidate - of_reference
    places_s = zip(begin_s[sides[0]].tolist(), end_s[sides[0]].tolist(), strict=True)
    out = Stretch(
        sounding_ratio=change,
        sounding_ratio_interval=(change - _SYSTEMATIC, change + _SYSTEMATIC),
        reference_ratio=of_reference,
        candidate_ratio=of_candidate,
        agreement=float(sides[0].sum() / (sooner.sum() + later.sum())),
        notes=int(sides[0].sum()),
        spans_s=joined_spans(list(places_s), LONGEST_GAP_S),
    )
    return out if is_clear(out) else None


def _is_sure(most: BoolArray, least: BoolArray, begin_s: FloatArray, room_db: float) -> bool:
    """Whether far more notes went one way than a room explains, all through the passage."""
    quarters = np.array_split(np.argsort(begin_s), 4)
    alike = sum(int(most[part].sum() > least[part].sum()) for part in quarters)
    sure = sureness(int(most.sum()), int(least.sum())) - _PER_ROOM_DB * max(room_db, 0.0)
    return sure >= _SURE and alike >= _QUARTERS and room_db <= _MOST_ROOM_DB


def _goes_for_all(sinks: FloatArray, shorter: bool) -> bool:
    """Whether notes sink as a whole, as a room makes them: not some that are held otherwise."""
    low, middle, high = np.percentile(-sinks if shorter else sinks, [25, 50, 75])
    return bool(middle > _MOST_FOR_ALL * (high - low))


def sureness(most: int, least: int) -> float:
    """How many times its doubt one side outweighs the other."""
    moved = max(most + least, 1)
    return (most - least) / moved / math.hypot(moved**-0.5, _ONE_SIDED)


def _levels(source: Sounding, frames_s: FloatArray, times_s: FloatArray) -> FloatArray:
    """Level of every semitone at the common times, shape (times, semitones)."""
    features, own_s, shift = source
    bands = np.arange(features.onset_power.shape[1]) + shift
    inside = np.clip(bands, 0, len(bands) - 1)
    own = np.interp(times_s, frames_s, own_s)
    power = sample_frames(features.onset_power, ONSET_RATE_HZ, own, inside)
    power[:, inside != bands] = 0.0
    return np.asarray(10 * np.log10(np.maximum(power, 1e-14)))


def _attacks(levels: Levels) -> BoolArray:
    """Where a semitone's level rises in both, shape (times, semitones)."""
    rises = []
    for level in levels:
        smooth = ndimage.uniform_filter1d(level, 5, axis=0)
        rise = np.zeros_like(smooth)
        rise[_RISE_FRAMES:-_RISE_FRAMES] = smooth[2 * _RISE_FRAMES :] - smooth[: -2 * _RISE_FRAMES]
        rises.append(rise)
    both = (rises[0] + rises[1]) / 2
    top = both == ndimage.maximum_filter1d(both, 21, axis=0)
    mean = (levels[0] + levels[1]) / 2
    loud = ndimage.maximum_filter1d(mean, 15, axis=0) > np.percentile(mean, _LOUD)
    return np.asarray(top & loud & (both > _RISE_DB))


def _courses(levels: Levels, times_s: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Begin and end of every note, and its courses in both, shape (2, notes, shares)."""
    attacks = _attacks(levels)
    near = ndimage.maximum_filter1d(attacks.astype(np.uint8), 2 * _NEAR_SEMITONES + 1, axis=1)
    begins, lengths, bands = [], [], []
    for semitone in range(attacks.shape[1]):
        own, following = np.flatnonzero(attacks[:, semitone]), np.flatnonzero(near[:, semitone])
        place = np.searchsorted(following, own + round(_SHORTEST_S * ONSET_RATE_HZ))
        own, place = own[place < len(following)], place[place < len(following)]
        begins.append(own)
        lengths.append(following[place] - own)
        bands.append(np.full(len(own), semitone))
    begin, length, band = (np.concatenate(one) for one in (begins, lengths, bands))
    kept = length <= _LONGEST_S * ONSET_RATE_HZ
    begin, length, band = begin[kept], length[kept], band[kept]
    places = np.round(begin[:, None] + length[:, None] * SHARES).astype(np.intp)
    places = np.clip(places, 0, len(times_s) - 1)
    courses = []
    for level in levels:
        course = level[places, band[:, None]]
        courses.append(course - np.median(course[:, EARLY], axis=1, keepdims=True))
    steady = np.maximum(*(one[:, WITHIN].max(axis=1) for one in courses)) < _GROWS_DB
    begin_s, length_s = times_s[begin[steady]], length[steady] / ONSET_RATE_HZ
    return begin_s, begin_s + length_s, np.array(courses)[:, steady]
