"""In which part of the passage the notes' lengths differ, and how surely."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import log

import numpy as np
import numpy.typing as npt
from scipy.stats import binom, norm

from mixcompare.aspects.articulation.about import SHARE_HELD
from mixcompare.aspects.articulation.courses import Ends
from mixcompare.aspects.articulation.values import Stretch
from mixcompare.findings import Span, joined_spans, size_in_jnd
from mixcompare.pair.match import Match
from mixcompare.pair.notes import Note
from mixcompare.statistics import block_picks, interval, weighted_medians, weighted_quantile

FloatArray = npt.NDArray[np.float64]
LONGEST_GAP_S = 3.0  # between notes of one stretch
_BLOCK_NOTES = 2  # of the bootstrap: neighbours hang together; our judgement, not measured
SYSTEMATIC = 0.08  # shared by all notes of a recording: room, attacks
SYSTEMATIC_WET = 0.1  # a strong reverberation makes detached notes read longer
_SYSTEMATIC_AVERAGE = 0.12
"""Of ends read off average courses: they lay 0.07 to 0.12 around the truth, 0.1 beside another room
(95 parts of three scores whose notes were held for 95 or for 50 %)."""
_PER_ROOM_DB = 0.025  # of the sounding ratio per dB of wetness; our judgement, not measured
_LEAST_AGREEMENT = 0.7  # of the notes, in the direction of the change; our judgement, not measured
MOST_SPREAD = 0.4  # between the quartiles of one recording's ratios; more is no one manner
_PHRASE_NOTES, _FEWEST_OF_A_HALF = 6, 6  # notes; our judgement, not measured
_HALVES_WITHIN = 0.2
"""Of the sounding ratio: 0.01 to 0.14 where 26 notes and more scatter between quartiles by 0.5 to
0.6 and nothing changed (two scores, two real orchestras)."""
_MOST_CHANGE, _NO_CHANGE = 0.7, 0.05  # legato against staccatissimo; nothing
# A part of the passage needs more proof than the whole. Our judgement, not measured: notes in it,
# change a note must exceed to count, error shared by all, change, agreement, spread.
_PART_NOTES = 12
_PART_LEVEL = 0.12
_PART_SYSTEMATIC = 0.15
_PART_CHANGE = 0.25
_PART_AGREEMENT = 0.8
_PART_SPREAD = 0.35
_MOVED, _BY_CHANCE = 0.25, 0.01
"""Of a line that was only heard some notes are others': a change that counts as one (our choice,
half of what lies between legato and detached), and how seldom so many go one way by chance."""
_FEWEST_MOVED, _BOTH_BY_CHANCE = 4, 0.02
"""Fewer notes have no size (our choice); and how seldom so many go one way, and all notes sink
that way, by chance: of 63 minutes in which no note ends elsewhere none went under 0.05 (three
scores)."""
_LEAST_SURE = 0.75
"""Of an average course that goes where single notes of a heard line go: half the least in fifteen
minutes in which these told rightly, 1.5 (three scores)."""
_TO_THE_ROOM, _ROOM_DB = 0.25, 4.0
"""Of notes misread beside another room, seven of ten go its way (123 of 173 in 24 such minutes);
where it is told from here on."""
_SURE_BY_CHANCE, _SURE_BESIDE_ROOM = 0.6, 1.0
"""Standard deviation of what average courses say of lines whose notes end alike: 0.5 in 24 minutes
in like rooms, 0.9 in 24 beside another room (three scores)."""


def median_interval(
    values: FloatArray, weights: FloatArray, systematic: float
) -> tuple[float, float]:
    """Interval of the median from the notes' scatter, widened by what all of them share."""
    picks = block_picks(len(values), block_length=_BLOCK_NOTES).T
    low, high = interval(weighted_medians(values[picks], weights[picks]))
    middle = weighted_quantile(values, weights, 0.5)
    return (
        middle - float(np.hypot(middle - low, systematic)),
        middle + float(np.hypot(high - middle, systematic)),
    )


def stretch(
    notes: Sequence[Note],
    ratios: FloatArray,
    weights: FloatArray,
    match: Match,
    systematic: float,
    room_db: float,
) -> Stretch:
    """How much longer or shorter a run of notes is held, and how surely."""
    changes = ratios[:, 1] - ratios[:, 0]
    middle = weighted_quantile(changes, weights, 0.5)
    low, high = median_interval(changes, weights, systematic)
    low, high = _with_room(low, high, room_db)
    of_reference, of_candidate = (
        weighted_quantile(ratios[:, side], weights, 0.5) for side in (0, 1)
    )
    if not notes[0].written:
        # Notes that are not the line's own stay as they are and draw the difference to zero.
        low, high = (
            min(low, of_candidate - of_reference - systematic),
            max(high, of_candidate - of_reference + systematic),
        )
        scatters = max(spread(ratios[:, side], weights) for side in (0, 1)) > MOST_SPREAD
        if scatters and not halves_agree(changes, weights, (low, high)):
            low = min(low, -_MOST_CHANGE) if middle < _NO_CHANGE else low
            high = max(high, _MOST_CHANGE) if middle > -_NO_CHANGE else high
    reference_share, candidate_share = _typical(ratios, weights, middle)
    return Stretch(
        sounding_ratio=middle,
        sounding_ratio_interval=(low, high),
        reference_ratio=reference_share,
        candidate_ratio=candidate_share,
        agreement=float(weights @ (changes * middle > 0) / weights.sum()),
        notes=len(notes),
        spans_s=_spans(notes),
    )


def on_average(ends: Ends, room_db: float) -> Stretch | None:
    """What average courses say of all notes of a part; None where nothing is clear."""
    if not ends.is_sure:
        return None
    change = ends.ratios[1] - ends.ratios[0]
    low, high = (
        change + float(np.copysign(np.hypot(limit - change, _SYSTEMATIC_AVERAGE), side))
        for limit, side in zip(ends.change_interval, (-1, 1), strict=True)
    )
    found = Stretch(
        sounding_ratio=change,
        sounding_ratio_interval=_with_room(low, high, room_db),
        reference_ratio=ends.ratios[0],
        candidate_ratio=ends.ratios[1],
        agreement=ends.agreement,
        notes=len(ends.notes),
        spans_s=_spans(ends.notes),
    )
    return found if is_clear(found) else None


def _with_room(low: float, high: float, room_db: float) -> tuple[float, float]:
    """A wetter room can only make notes look longer: that much may be the room's."""
    return low - _PER_ROOM_DB * max(room_db, 0.0), high - _PER_ROOM_DB * min(room_db, 0.0)


def _typical(ratios: FloatArray, weights: FloatArray, middle: float) -> tuple[float, float]:
    """Both ratios of the notes whose change is a usual one, the middle half of all.

    Medians of either recording alone need not lie apart by the median of the changes; these do,
    in whole per cent, which is more than is known of them.
    """
    away = np.abs(ratios[:, 1] - ratios[:, 0] - middle)
    usual = weights * (away <= weighted_quantile(away, weights, 0.5))
    between = 200 * float(usual @ ratios.mean(axis=1) / usual.sum())
    apart = round(100 * middle)
    odd = apart % 2
    total = 2 * round((between - odd) / 2) + odd
    return (total - apart) / 200, (total + apart) / 200


def clear_stretch(
    whole: Stretch,
    notes: Sequence[Note],
    ratios: FloatArray,
    weights: FloatArray,
    match: Match,
    room_db: float,
    ends: Ends | None,
) -> Stretch | None:
    """The whole passage if the change runs through it, else the part where it does, else None.

    ``ends``: what the line's notes say on average, if they were asked.
    """
    if is_clear(whole) and whole.agreement >= _LEAST_AGREEMENT and _borne_out(whole, ends):
        return whole
    part = _in_a_part(notes, ratios, weights, match, room_db)
    if part is not None and _borne_out(part, ends):
        return part
    return _of_the_line(notes, ratios, weights, match, room_db, ends)


def _borne_out(found: Stretch, ends: Ends | None) -> bool:
    """Whether the line's notes go there on average, too, where they were asked."""
    return ends is None or ends.towards(found.sounding_ratio) >= _LEAST_SURE


def _in_a_part(
    notes: Sequence[Note], ratios: FloatArray, weights: FloatArray, match: Match, room_db: float
) -> Stretch | None:
    """Where one run of notes changed."""
    first, behind = _densest(ratios[:, 1] - ratios[:, 0])
    if behind - first < _PART_NOTES:
        return None
    inside = slice(first, behind)
    own = weights[inside]
    part = stretch(notes[inside], ratios[inside], own, match, _PART_SYSTEMATIC, room_db)
    strong = abs(part.sounding_ratio) >= _PART_CHANGE and part.agreement >= _PART_AGREEMENT
    even = max(spread(ratios[inside, side], own) for side in (0, 1)) <= _PART_SPREAD
    return part if strong and even and is_clear(part) else None


def _of_the_line(
    notes: Sequence[Note],
    ratios: FloatArray,
    weights: FloatArray,
    match: Match,
    room_db: float,
    ends: Ends | None,
) -> Stretch | None:
    """Those notes of a line that moved, where far more of them went one way than the other.

    Notes of others that the line took along stay, and misread ones go either way, more of them the
    room's. A score tells whose notes they are, and one take has one way of playing. All notes are
    asked whether they sink sooner on average, those whose end is hidden, too.
    """
    if notes[0].written or match.same_take:
        return None
    longer_by = ratios[:, 1] - ratios[:, 0]
    most, least = _moved(longer_by)
    moved = len(most) + len(least)
    if len(most) < _FEWEST_MOVED:
        return None
    sign = float(np.sign(longer_by[most[0]]))
    with_room = sign * float(np.clip(room_db / _ROOM_DB, -1, 1))
    share = 0.5 + _TO_THE_ROOM * with_room
    chance = min(2 * float(binom.sf(len(most) - 1, moved, share)), 1.0)
    if ends is not None:
        towards = ends.towards(sign)
        if towards <= 0:
            return None  # all of them say otherwise
        chance = _both(chance, _sure_by_chance(towards, with_room))
    if chance >= (_BY_CHANCE if ends is None else _BOTH_BY_CHANCE):
        return None
    inside = [notes[int(place)] for place in most]
    part = stretch(inside, ratios[most], weights[most], match, _PART_SYSTEMATIC, room_db)
    return replace(part, agreement=len(most) / moved) if is_clear(part) else None


def _sure_by_chance(sureness: float, with_room: float) -> float:
    """How seldom notes of which none ends elsewhere sink so surely to that side, either way."""
    usual = _SURE_BESIDE_ROOM if with_room > 0 else _SURE_BY_CHANCE
    return 2 * float(norm.sf(sureness / usual))


def _moved(longer_by: FloatArray) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Notes that moved to the side to which most did, and those that moved to the other."""
    sides = [np.flatnonzero(sign * longer_by >= _MOVED) for sign in (-1, 1)]
    most, least = sorted(sides, key=len, reverse=True)
    return most, least


def some_moved(ratios: FloatArray) -> bool:
    """Whether so many notes went elsewhere than most did that they may be the line's own."""
    longer_by = ratios[:, 1] - ratios[:, 0]
    return len(_moved(longer_by - np.median(longer_by))[0]) >= _FEWEST_MOVED


def _both(one: float, other: float) -> float:
    """How seldom two independent chances are so small together (Fisher 1925, from memory)."""
    product = one * other
    return product * (1 - log(product)) if product > 0 else 0.0


def spread(ratios: FloatArray, weights: FloatArray) -> float:
    """Distance of the quartiles."""
    low, high = (weighted_quantile(ratios, weights, quantile) for quantile in (0.25, 0.75))
    return high - low


def halves_agree(changes: FloatArray, weights: FloatArray, around: tuple[float, float]) -> bool:
    """Whether halves of the notes say the same, and the same as all, within the interval.

    Notes of all lengths scatter widely; the same notes, held against each other, need not. Halves
    are the first and the second, and every other phrase.
    """
    number = np.arange(len(changes))
    first, odd = 2 * number < len(changes), (number // _PHRASE_NOTES) % 2 == 0
    halves = (first, ~first, odd, ~odd)
    if min(int(half.sum()) for half in halves) < _FEWEST_OF_A_HALF:
        return False
    middles = [weighted_quantile(changes[half], weights[half], 0.5) for half in halves]
    alike = all(
        abs(one - other) <= _HALVES_WITHIN
        for one, other in zip(middles[::2], middles[1::2], strict=True)
    )
    return alike and all(around[0] <= middle <= around[1] for middle in middles)


def is_clear(stretch: Stretch) -> bool:
    """Whether it lies surely beyond what is just noticeable."""
    jnd = SHARE_HELD.size
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


def during(notes: Sequence[Note], spans_s: Sequence[Span]) -> list[Note]:
    """Notes that begin within the spans."""
    return [note for note in notes if any(a <= note.onset_s < b for a, b in spans_s)]


def _spans(notes: Sequence[Note]) -> tuple[Span, ...]:
    """Where the notes lie, short gaps closed."""
    return joined_spans([(note.onset_s, note.next_s) for note in notes], LONGEST_GAP_S)
