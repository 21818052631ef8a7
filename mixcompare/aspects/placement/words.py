"""What moved, turned or changed sides, in words."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from mixcompare.aspects.placement.about import DELAY, PLACE
from mixcompare.aspects.placement.values import (
    LOWEST_PLACED_HZ,
    SILENT_DB,
    MovedElement,
    PlacementDifference,
)
from mixcompare.findings import Cause, Finding, size_in_jnd
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.findings.size import Size
from mixcompare.pair.pair import Pair
from mixcompare.pair.thirds import spoken_hz
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ

_FEWEST_TIMED = 4  # bands
# Largest scatter between bands of one delay, and the least that is believed of it. Intervals of a
# real delay were 20 to 26 us either way, 86 to 92 where elements had turned the bands.
_SPREAD_US, _TIMED_WITHIN_US = 30.0, 10.0
_CONSISTENT = 0.7  # of the time with a move, in the direction of the move


def _degrees(position: float) -> float:
    """Heard angle between loudspeakers at +-30 degrees."""
    return math.degrees(math.atan(position * math.tan(math.radians(30))))


def _finding(
    pair: Pair,
    kind: str,
    subject: str,
    size: Size,
    words: tuple[str, str],
    cause: Cause,
) -> Finding:
    proof = size.evidence(pair.same_take)
    text, advice = words
    return Finding(
        aspect="placement", kind=kind, subject=subject,
        difference=size.value, interval=size.around, unit="", jnd=size.jnd, noticeable=PLACE,
        evidence=proof,
        spans_s=(pair.span_s,), band_hz=None, cause=cause, text=text, advice=(advice,),
    )  # fmt: skip


def swap_finding(difference: PlacementDifference, pair: Pair) -> Finding:
    """How far the bands were thrown across: twice their distance from the centre."""
    told = [value for value in difference.reference_position if value is not None]
    far = 2 * float(np.percentile(np.abs(told), 75)) if told else 0.0
    value = max(far, PLACE.size)  # a fact, however centred the music
    text = (
        "Left and right are exchanged in the candidate; everything else is compared with the"
        " channels put right."
    )
    advice = "Exchange the candidate's channels; check the patching of the main array."
    around = (0.9 * value, 1.1 * value)
    cause = weighed(Differs.PLACE, Seen.ON_ONE_CHANNEL, same_take=pair.same_take)
    subject = "the whole image"
    size = Size(value, around, PLACE)
    return _finding(pair, "channels_swapped", subject, size, (text, advice), cause)


def turn_finding(difference: PlacementDifference, pair: Pair) -> Finding | None:
    """What is said where the whole image lies further to one side."""
    turn, around_db = difference.turn_db, difference.turn_db_interval
    if turn is None or around_db is None:
        return None
    value, low, high = (
        math.tanh(level * math.log(10) / 40) for level in (turn, around_db[0], around_db[1])
    )
    size = Size(value, (low, high), PLACE)
    if size.jnd < 1:
        return None
    side, other = ("right", "left") if value > 0 else ("left", "right")
    softer, louder = sorted(abs(level) for level in around_db)
    text = (
        f"The whole image of the candidate lies further {side}: the {side} channel is"
        f" {abs(turn):.1f} dB louder against the {other} one than in the reference"
        f" (between {softer:.1f} and {louder:.1f} dB), about {_spoken_angle(_degrees(value))}"
        f" between loudspeakers ({value:+.2f}, -1 left to +1 right)."
    )
    advice = f"Bring the {side} channel down by about {abs(turn):.0f} dB, or turn the balance."
    if abs(turn) > SILENT_DB:
        text = (
            f"One channel is missing: between left and right the level differs by"
            f" {abs(turn):.0f} dB more to the {side} than in the reference."
        )
        advice = "Check the cabling and the export: one channel is silent or nearly so."
    cause = weighed(Differs.PLACE, same_take=pair.same_take)
    kind, subject = f"moved_{side}", "the whole image"
    found = _finding(pair, kind, subject, size, (text, advice), cause)
    made = difference.whole_turn_db
    whole = made is not None and abs(turn - made) < 1.0
    return replace(found, apart=("balance", "width", "placement")) if whole else found


def late_finding(difference: PlacementDifference, pair: Pair) -> Finding | None:
    """What is said where one channel comes later against the other than in the reference.

    Of one take only: other players' microphones stand elsewhere.
    """
    late = _late_us(difference) if pair.same_take else None
    if late is None:
        return None
    value, around = late
    if size_in_jnd(value, around, DELAY.size) < 1:
        return None
    side = "right" if value > 0 else "left"
    proof = evidence(value, around, pair.same_take)
    return Finding(
        aspect="placement", kind=f"{side}_later", subject=f"the {side} channel", difference=value,
        interval=around, unit=DELAY.unit, jnd=size_in_jnd(value, around, DELAY.size),
        noticeable=DELAY, evidence=proof, spans_s=(pair.span_s,),
        band_hz=None,
        cause=weighed(Differs.PLACE, Seen.ON_ONE_CHANNEL, same_take=pair.same_take),
        text=(
            f"The {side} channel comes {abs(value) / 1000:.2f} ms later against the other one than"
            f" in the reference (between {min(map(abs, around)) / 1000:.2f} and"
            f" {max(map(abs, around)) / 1000:.2f} ms)."
        ),
        advice=(f"Delay the other channel by {abs(value) / 1000:.2f} ms, or take the delay out.",),
    )  # fmt: skip


def _late_us(difference: PlacementDifference) -> tuple[float, tuple[float, float]] | None:
    """Delay of the right channel and its interval: of the whole image, or where bands agree."""
    value, around = difference.whole_later_us, difference.whole_later_us_interval
    if value is not None and around is not None:
        return value, around
    told = np.array([value for value in difference.time_difference_us if value is not None])
    if len(told) < _FEWEST_TIMED:
        return None
    value = float(np.median(told))
    spread = 1.4826 * float(np.median(np.abs(told - value)))
    if spread > max(_SPREAD_US, 0.1 * abs(value)):
        return None
    reach = 1.96 * max(spread, _TIMED_WITHIN_US) / math.sqrt(len(told) / 2)
    return value, (value - reach, value + reach)


def ranges(difference: PlacementDifference) -> list[list[int]]:
    """Runs of neighbouring bands that moved the same way, beyond turn and scale."""
    limit = PLACE.size
    moves: list[int] = []
    for centre, value, pair, share in zip(
        THIRD_OCTAVE_CENTRES_HZ, difference.own_position, difference.own_position_interval,
        difference.consistency, strict=True,
    ):  # fmt: skip
        sure = value is not None and pair is not None and not pair[0] <= 0 <= pair[1]
        sure = sure and centre > LOWEST_PLACED_HZ
        large = sure and abs(value or 0.0) >= limit and (share or 0.0) >= _CONSISTENT
        moves.append(int(np.sign(value or 0.0)) if large else 0)
    runs: list[list[int]] = []
    for band, direction in enumerate(moves):
        if direction == 0:
            continue
        if runs and runs[-1][-1] == band - 1 and moves[band - 1] == direction:
            runs[-1].append(band)
        else:
            runs.append([band])
    return [run for run in runs if len(run) >= 2]


def range_finding(difference: PlacementDifference, pair: Pair, bands: list[int]) -> Finding:
    """What is said of a range of bands that moved by itself."""
    weight = np.array([difference.weight[band] for band in bands])
    weight = weight / weight.sum() if weight.sum() > 0 else np.full(len(bands), 1 / len(bands))

    def mean(values: list[float]) -> float:
        return float(np.dot(weight, values))

    pairs = [difference.own_position_interval[band] or (0.0, 0.0) for band in bands]
    value = mean([difference.own_position[band] or 0.0 for band in bands])
    around = mean([pair[0] for pair in pairs]), mean([pair[1] for pair in pairs])
    start = mean([difference.reference_position[band] or 0.0 for band in bands])
    end = start + mean([difference.position[band] or 0.0 for band in bands])
    low, high = float(THIRD_OCTAVE_EDGES_HZ[bands[0]]), float(THIRD_OCTAVE_EDGES_HZ[bands[-1] + 1])
    side = "right" if value > 0 else "left"
    where = f"what sounds from {spoken_hz(low)} to {spoken_hz(high)}"
    text = (
        f"In the candidate {where} lies further {side}: {_place(end)} instead of {_place(start)}"
        f" ({value:+.2f}, between {around[0]:+.2f} and {around[1]:+.2f}, -1 left to +1 right)."
    )
    back = "left" if value > 0 else "right"
    advice = f"Pan it about {_spoken_angle(_degrees(end) - _degrees(start))} back to the {back}."
    cause = weighed(Differs.PLACE, Seen.IN_ONE_PART_ONLY, same_take=pair.same_take)
    agreeing = mean([difference.consistency[band] or 0.0 for band in bands])
    size = Size(value, around, PLACE, agreeing)
    found = _finding(pair, f"moved_{side}", where, size, (text, advice), cause)
    return replace(found, band_hz=(low, high))


def element_finding(element: MovedElement, pair: Pair) -> Finding:
    """What is said of an element that lies elsewhere."""
    value, around = element.position, element.position_interval
    side, back = ("right", "left") if value > 0 else ("left", "right")
    turn = _degrees(element.candidate_position) - _degrees(element.reference_position)
    start, end = _place(element.reference_position), _place(element.candidate_position)
    level = "stayed" if element.level_db == 0 else f"changed by {element.level_db:+.1f} dB"
    lies, its = ("lie", "their") if len(element.players) > 1 else ("lies", "its")
    text = (
        f"In the candidate the {element.name} {lies} further {side}: {end} instead of {start}"
        f" ({value:+.2f}, between {around[0]:+.2f} and {around[1]:+.2f}, -1 left to +1 right);"
        f" {its} level {level}."
    )
    it = "them" if len(element.players) > 1 else "it"
    advice = f"Pan the spots that carry {it} about {_spoken_angle(turn)} back to the {back}."
    cause = weighed(Differs.PLACE, Seen.IN_ONE_PART_ONLY, same_take=pair.same_take)
    size = Size(value, around, PLACE)
    found = _finding(pair, f"moved_{side}", element.name, size, (text, advice), cause)
    return replace(
        found,
        band_hz=element.band_hz,
        spans_s=element.spans_s,
        apart=("width", "balance", "tone"),
    )


def carries(element: MovedElement, bands: list[int]) -> bool:
    """Whether a run of bands lies where an element sounds, or above: there are its partials."""
    return float(THIRD_OCTAVE_EDGES_HZ[bands[-1] + 1]) > element.band_hz[0]


def _place(position: float) -> str:
    """Where a position is heard: ``8 degrees left``."""
    angle = _degrees(position)
    if abs(angle) < 1:
        return "in the centre"
    return f"{_spoken_angle(angle)} {'right' if angle > 0 else 'left'}"


def _spoken_angle(degrees: float) -> str:
    rounded = round(abs(degrees))
    return "1 degree" if rounded == 1 else f"{rounded} degrees"
