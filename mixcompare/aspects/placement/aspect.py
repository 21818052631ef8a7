"""Placement: where between left and right the bands lie, from the level between the channels.

Conventions
-----------
What is heard: an instrument or a register further left or right. ``position`` runs from -1
(left) over 0 (centre) to +1 (right): (g_R - g_L) / (g_R + g_L), g the amplitudes of the channels
in the band. That is the ratio of the tangent law of stereophony (Bennett, Barker and Edeko 1985,
JAES 33, 314-321, from memory): with loudspeakers at +-30 degrees the heard angle is
atan(position * tan 30). Unrelated sound in both channels (a wide section, reverberation) pulls
it towards the centre. Positive difference = the candidate lies further right.

``time_difference_us`` is how much later a band reaches the right channel than the left (spaced
microphones carry time, not only level), from the phase of the cross spectrum. It is told below
700 Hz, where the phase of up to 0.7 ms is not ambiguous, and where both channels carry mostly the
same sound (coherence of at least 0.6); 0.65 ms is what a head makes of a source at the side.

What the whole image does is taken out of the bands first: a turn (one channel louder, the same in
every band) and a scale (narrower or wider, which belongs to width). If the channels are
exchanged, they are put right before anything is compared.

In one take an element that was panned elsewhere is found in its own cells, see
:mod:`mixcompare.elements.panned`; with a score, a part whose place moved, see
:mod:`mixcompare.parts.placed`.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.placement.about import ABOUT
from mixcompare.aspects.placement.image import BothWays, Image, turn_of
from mixcompare.aspects.placement.parts import moved_parts
from mixcompare.aspects.placement.values import (
    MovedElement,
    PlacementDifference,
    PlacementMeasurement,
)
from mixcompare.aspects.placement.words import (
    carries,
    element_finding,
    late_finding,
    range_finding,
    ranges,
    swap_finding,
    turn_finding,
)
from mixcompare.elements.describe import describe
from mixcompare.elements.panned import Panned, find_panned, find_panned_and_raised
from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.findings import Finding, parts_named
from mixcompare.pair import agreement
from mixcompare.pair.channels import channel_powers
from mixcompare.pair.image import ImageChange, without_image
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.pair.points import moved_point
from mixcompare.pair.thirds import (
    BANDS,
    CENTRES_HZ,
    NOTHING,
    pairs,
    values,
)
from mixcompare.parts.players import played_by
from mixcompare.parts.values import Players
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import block_counts

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
LIMIT_DB = 40.0
"""A channel that much weaker than the other counts as that much weaker (position 0.98)."""

_SMOOTH_S = {True: 0.4, False: 2.0}  # same take; other performance
# Below a band's loud moments, and the frame's; our judgement, not measured.
_CELL_RANGE_DB, _FRAME_RANGE_DB = 30.0, 55.0
_FINEST = 0.01  # resolution: a tenth of what is just noticeable
_EXACT = 0.02
"""Typical scatter of one take's bands up to which none moved by itself; in two rooms all do."""

_HIGHEST_TIMED_HZ = 700.0  # half a period is 0.7 ms, a little over what a head makes (see above)
_COHERENT = 0.6  # both channels carry mostly the same sound; our judgement, not measured
_DRAWS = 200  # cost: of the bootstrap


class PlacementAnalyzer:
    """Measures and compares placement."""

    aspect = "placement"
    about = ABOUT

    def measure(self, features: Features) -> PlacementMeasurement:
        """Position of each band, from the mean powers of the channels."""
        if features.is_mono:
            reasons = (f"{features.name} is mono: it has no placement.",)
            return PlacementMeasurement(CENTRES_HZ, NOTHING, None, reasons=reasons)
        power = features.band_power.sum(axis=0, dtype=np.float64)
        usable = features.usable_bands & (power.sum(axis=1) > 0)
        whole = power.sum(axis=0, keepdims=True)
        delay_us = _time_difference_us(features, match=None)[0]
        return PlacementMeasurement(
            CENTRES_HZ,
            values(_position(power), usable),
            float(_position(whole)[0]),
            values(delay_us, np.isfinite(delay_us)),
        )

    def compare(self, pair: Pair) -> PlacementDifference:
        """Moves per band on which most moments agree, and what the whole image does."""
        reference, candidate, match = pair.reference, pair.candidate, pair.match
        times = match.grid_s(BAND_RATE_HZ)
        reasons = _reasons(reference, candidate, len(times))
        if reasons:
            nothing = PlacementDifference(
                CENTRES_HZ, NOTHING, NOTHING, NOTHING, None, None, None, NOTHING, NOTHING, NOTHING,
                channels_swapped=match.channels_swapped, reasons=reasons,
            )  # fmt: skip
            point = moved_point(pair)
            if point is None:
                return nothing
            return replace(
                nothing,
                turn_db=point.turn_db,
                turn_db_interval=point.turn_db_interval,
                whole_turn_db=point.turn_db,
                whole_later_us=point.later_us,
                whole_later_us_interval=point.later_us_interval,
            )
        smooth_s = _SMOOTH_S[match.same_take]
        of_reference = _sampled(reference, times, smooth_s, swapped=False)
        there = match.time_map.to_candidate(times)
        of_candidate = _sampled(candidate, there, smooth_s, match.channels_swapped)
        weight = np.minimum(
            *(
                agreement.cell_weights(power.sum(axis=2), _CELL_RANGE_DB, _FRAME_RANGE_DB)
                for power in (of_reference, of_candidate)
            )
        )
        weight[:, ~pair.usable_bands] = 0
        positions = _position(of_reference), _position(of_candidate)
        start, start_draws = agreement.agreed(positions[0], weight, BAND_RATE_HZ, _FINEST)
        moved, draws = agreement.agreed(positions[1] - positions[0], weight, BAND_RATE_HZ, _FINEST)
        known = np.isfinite(start) & np.isfinite(moved)
        image = BothWays.fitted(start, moved, match.same_take)
        shifts = np.array([turn_of(start[known], draw[known]) for draw in draws])
        turns = image.turn_db + shifts - turn_of(start[known], moved[known])
        own = moved - image.moves
        turn = image.turn_db if image.there.told else None
        # A pan moves some bands and leaves the others where they were; a room, other players and
        # other instruments scatter them all.
        typical = 1.4826 * float(np.median(np.abs(own[known]))) if known.any() else 0.0
        exact = match.same_take and typical < _EXACT
        local = 0.0 if exact else 1.5 * agreement.local_scatter(moved)
        scatter = np.hypot(local, 2 * typical)
        low, high = agreement.intervals(moved, draws, scatter)
        extra = typical * 40 / math.log(10) / math.sqrt(max(known.sum() / 3, 1))
        delay_us, around_us = _delays_us(pair)
        timed = np.isfinite(delay_us)
        return PlacementDifference(
            band_centre_hz=CENTRES_HZ,
            position=values(moved, known),
            position_interval=pairs(low, high, known),
            reference_position=values(start, known),
            turn_db=turn,
            turn_db_interval=None if turn is None else _around(turn, turns, extra, image.doubt_db),
            image_scale=image.scale if image.there.told else None,
            own_position=values(own, known),
            own_position_interval=pairs(
                low - image.moves - image.doubt, high - image.moves + image.doubt, known
            ),
            consistency=values(_consistency(positions, image.there, own, weight), known),
            channels_swapped=match.channels_swapped,
            time_difference_us=values(delay_us, timed),
            time_difference_us_interval=pairs(*around_us, timed),
            weight=tuple(float(value) for value in _weight(of_reference, of_candidate)),
            whole_turn_db=pair.image.turn_db if pair.image.told else None,
            whole_later_us=pair.image.later_us if pair.image.is_timed else None,
            whole_later_us_interval=_later_interval_us(pair.image),
            elements=_elements(pair),
        )

    def findings(self, difference: PlacementDifference, pair: Pair) -> list[Finding]:
        """Exchanged channels, a turn of the whole image, and ranges of bands that moved."""
        out = []
        if difference.channels_swapped:
            out.append(swap_finding(difference, pair))
        late = late_finding(difference, pair)
        if late is not None:
            out.append(late)
        turn = turn_finding(difference, pair)
        if turn is not None:
            out.append(turn)
        out += [element_finding(element, pair) for element in difference.elements]
        # What an element did to the bands it sounds in is told with the element.
        return out + [
            range_finding(difference, pair, bands)
            for bands in ranges(difference)
            if not any(carries(element, bands) for element in difference.elements)
        ]


def _elements(pair: Pair) -> tuple[MovedElement, ...]:
    """What was panned elsewhere; with a score, who that is."""
    panned = (*find_panned(pair), *find_panned_and_raised(pair))
    balance = pair.differences.get("balance")
    named = balance.movers if balance is not None else ()
    players = named if len(named) == len(panned) else [Players()] * len(panned)
    found = tuple(_element(one, who, pair) for one, who in zip(panned, players, strict=True))
    if balance is None or not pair.same_take or balance.one_tail:
        return found
    taken = {name for one in found for name in one.players}
    return found + moved_parts(balance.parts, pair.match.parts, taken, pair.span_s)


def _element(panned: Panned, who: Players, pair: Pair) -> MovedElement:
    found = played_by(who, describe(panned.energy, pair.of_elements), pair.match.parts)
    return MovedElement(
        name=parts_named(who.names, who.family) or found.subject,
        players=who.names,
        band_hz=found.band_hz,
        spans_s=found.spans_s,
        reference_position=panned.from_position,
        candidate_position=panned.to_position,
        position=panned.to_position - panned.from_position,
        position_interval=panned.interval,
        level_db=panned.level_db,
    )


def _later_interval_us(image: ImageChange) -> tuple[float, float] | None:
    if not image.is_timed:
        return None
    return image.later_us - image.within_us, image.later_us + image.within_us


def _delays_us(pair: Pair) -> tuple[FloatArray, tuple[FloatArray, FloatArray]]:
    """How much later each band comes on the right than in the reference, with its interval."""
    match = pair.match
    earlier, earlier_draws = _time_difference_us(pair.reference, match)
    later, later_draws = _time_difference_us(pair.candidate, match.mirrored(), pair.image)
    later, later_draws = later + pair.image.later_us, later_draws + pair.image.later_us
    if match.channels_swapped:
        later, later_draws = -later, -later_draws
    delay_us = later - earlier
    return delay_us, agreement.intervals(delay_us, later_draws - earlier_draws)


def _time_difference_us(
    features: Features, match: Match | None, image: ImageChange | None = None
) -> tuple[FloatArray, FloatArray]:
    """How much later each band comes on the right, and bootstrap draws of it.

    Parameters
    ----------
    features : Features
        The recording.
    match : Match or None
        Leaves out what has no counterpart; None takes the whole recording.
    image : ImageChange or None
        What is taken back first: another width moves phases too.

    Returns
    -------
    value : ndarray, shape (31,)
        NaN where it can't be told.
    draws : ndarray, shape (200, 31)
    """
    frames = np.arange(len(features.band_power))
    if match is not None:
        frames = frames[match.time_map.covers(frames / BAND_RATE_HZ)]
    per = int(BAND_RATE_HZ)
    blocks = len(frames) // per
    unknown = np.full(BANDS, np.nan)
    if blocks < 2:
        return unknown, np.full((_DRAWS, BANDS), np.nan)
    frames = frames[: blocks * per]
    cross = features.band_cross[frames].reshape(blocks, per, BANDS).sum(axis=1)
    power = features.band_power[frames].reshape(blocks, per, BANDS, 2).sum(axis=1)
    if image is not None and image.is_timed:
        left, right, cross = without_image(
            power[..., 0], power[..., 1], cross, THIRD_OCTAVE_CENTRES_HZ, image
        )
        power = np.maximum(np.stack([left, right], axis=2), 0)
    level = np.sqrt(power.sum(axis=0).prod(axis=1)) + 1e-30
    told = (np.abs(cross.sum(axis=0)) > _COHERENT * level) & features.usable_bands
    told &= THIRD_OCTAVE_CENTRES_HZ < _HIGHEST_TIMED_HZ
    turn_us = 1e6 / (2 * np.pi * THIRD_OCTAVE_CENTRES_HZ)
    draws = np.angle(block_counts(blocks, _DRAWS) @ cross)
    value = np.where(told, np.angle(cross.sum(axis=0)) * turn_us, np.nan)
    return value, np.where(told, draws * turn_us, np.nan)


def _sampled(features: Features, times_s: FloatArray, smooth_s: float, swapped: bool) -> FloatArray:
    """Smoothed power of left and right at the given times, shape (frames, 31, 2)."""
    power = channel_powers(features, times_s, max(round(smooth_s * BAND_RATE_HZ), 1))
    return power[:, :, ::-1] if swapped else power


def _position(power: FloatArray) -> FloatArray:
    """Position by the tangent law; the channels are the last axis."""
    left, right = power[..., 0], power[..., 1]
    least = 10 ** (-0.1 * LIMIT_DB)
    left, right = np.maximum(left, least * right), np.maximum(right, least * left)
    left, right = np.sqrt(np.maximum(left, 1e-30)), np.sqrt(np.maximum(right, 1e-30))
    return np.asarray((right - left) / (right + left))


def _weight(of_reference: FloatArray, of_candidate: FloatArray) -> FloatArray:
    """Root of each band's mean power, of both recordings alike."""
    powers = [power.sum(axis=2).mean(axis=0) for power in (of_reference, of_candidate)]
    return np.asarray((powers[0] * powers[1]) ** 0.25)


def _consistency(
    positions: tuple[FloatArray, FloatArray], image: Image, own: FloatArray, weight: FloatArray
) -> FloatArray:
    """Share of the weight in which a band's own move has the sign of its typical one."""
    single = positions[1] - positions[0] - image.moves(positions[0])
    agrees = single * np.sign(np.where(np.isfinite(own), own, 0.0)) > 0
    return np.asarray((weight * agrees).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-30))


def _around(value: float, draws: FloatArray, scatter: float, doubt: float) -> tuple[float, float]:
    low, high = agreement.intervals(np.array([value]), draws[:, None], scatter)
    return float(low[0]) - doubt, float(high[0]) + doubt


def _reasons(reference: Features, candidate: Features, frames: int) -> tuple[str, ...]:
    reasons = [
        f"The {name} is mono: nothing can be said about placement."
        for name, features in (("reference", reference), ("candidate", candidate))
        if features.is_mono
    ]
    if frames < agreement.SHORTEST_S * BAND_RATE_HZ:
        reasons.append(
            f"Less than {agreement.SHORTEST_S:.0f} s in common: too short for placement."
        )
    return tuple(reasons)


analyzer = PlacementAnalyzer()
"""Instance for the list of analyzers."""
