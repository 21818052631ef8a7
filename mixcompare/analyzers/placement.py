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
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import ndimage, optimize

from mixcompare import steady
from mixcompare.analyzers.base import NOT_IN_REPORT
from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ
from mixcompare.features import BAND_RATE_HZ, Features, common_bands
from mixcompare.findings import JUST_NOTICEABLE, Cause, Finding, Span, size_in_jnd
from mixcompare.match import Match
from mixcompare.mirror import (
    KEPT,
    RATIO,
    SIGNED,
    exchanged_with,
    moved_by,
    scaled_by,
    stretched,
    within,
)
from mixcompare.perband import (
    BANDS,
    CENTRES_HZ,
    NOTHING,
    BandIntervals,
    BandValues,
    pairs,
    spoken_hz,
    values,
)
from mixcompare.statistics import block_bootstrap
from mixcompare.timemap import sample_frames

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
LIMIT_DB = 40.0
"""A channel that much weaker than the other counts as that much weaker (position 0.98)."""

_SMOOTH_S = {True: 0.4, False: 2.0}  # same take; other performance
_CELL_RANGE_DB, _FRAME_RANGE_DB = 30.0, 55.0
_FINEST = 0.01
_SPREAD = 0.03  # residual of the image model that is still taken as no move
_SCALE_SPREAD = 0.5  # how far the image's width may change before the fit resists
_SILENT_DB = 30.0
_LEAST_BANDS = 6  # for turn and scale
_LOWEST_PLACED_HZ = 90.0
"""Below, level differences between loudspeakers give no direction (common practice, no source)."""

_HIGHEST_TIMED_HZ = 700.0
_COHERENT = 0.6
_DRAWS = 200

_CONSISTENT = 0.7  # of the time with a move, in the direction of the move


@dataclass(frozen=True)
class PlacementMeasurement:
    """Where each third-octave band lies; None throughout for mono."""

    band_centre_hz: tuple[float, ...]
    position: BandValues
    overall_position: float | None
    time_difference_us: BandValues = NOTHING
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class PlacementDifference:
    """Moves between left and right; candidate minus reference.

    Attributes
    ----------
    band_centre_hz, position, position_interval
        Per third-octave band, channels put right if they were exchanged.
    reference_position : tuple
        Where the band lies in the reference, most of the time.
    turn_db, turn_db_interval
        How much louder the right channel is throughout, against the left.
    image_scale : float or None
        Factor common to all positions: below 1 = narrower.
    own_position, own_position_interval
        What is left of each band's move after turn and scale.
    consistency : tuple
        Share of the time in which the band lies on the side its own move says.
    channels_swapped : bool
    time_difference_us, time_difference_us_interval
        Change of the time by which each band comes later on the right.
    """

    band_centre_hz: tuple[float, ...] = field(metadata=KEPT)
    position: BandValues = field(metadata=SIGNED | within(0.03))
    position_interval: BandIntervals
    reference_position: BandValues = field(metadata=moved_by("position") | within(0.2))
    turn_db: float | None = field(metadata=SIGNED | scaled_by("image_scale") | within(0.15))
    turn_db_interval: tuple[float, float] | None
    image_scale: float | None = field(metadata=RATIO | within(0.12))
    own_position: BandValues = field(metadata=SIGNED | scaled_by("image_scale") | within(0.1))
    own_position_interval: BandIntervals
    consistency: BandValues = field(metadata=KEPT | within(0.8))  # any, where nothing moved
    channels_swapped: bool = field(default=False, metadata=KEPT)
    time_difference_us: BandValues = field(default=NOTHING, metadata=SIGNED)
    time_difference_us_interval: BandIntervals = NOTHING
    reasons: tuple[str, ...] = ()
    weight: tuple[float, ...] = field(
        default=(0.0,) * BANDS, metadata=NOT_IN_REPORT | KEPT | stretched(0.001)
    )
    same_take: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)
    span_s: Span = field(
        default=(0.0, 0.0), metadata=NOT_IN_REPORT | exchanged_with("candidate_span_s")
    )
    candidate_span_s: Span = field(
        default=(0.0, 0.0), metadata=NOT_IN_REPORT | exchanged_with("span_s")
    )


class PlacementAnalyzer:
    """Measures and compares placement."""

    aspect = "placement"

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

    def compare(
        self, reference: Features, candidate: Features, match: Match
    ) -> PlacementDifference:
        """Moves per band on which most moments agree, and what the whole image does."""
        span_s, candidate_span_s = match.time_map.span_s, match.time_map.candidate_span_s
        times = match.grid_s(BAND_RATE_HZ)
        reasons = _reasons(reference, candidate, len(times))
        if reasons:
            return PlacementDifference(
                CENTRES_HZ, NOTHING, NOTHING, NOTHING, None, None, None, NOTHING, NOTHING, NOTHING,
                channels_swapped=match.channels_swapped, reasons=reasons,
                same_take=match.same_take, span_s=span_s, candidate_span_s=candidate_span_s,
            )  # fmt: skip
        smooth_s = _SMOOTH_S[match.same_take]
        before = _sampled(reference, times, smooth_s, swapped=False)
        there = match.time_map.to_candidate(times)
        after = _sampled(candidate, there, smooth_s, match.channels_swapped)
        weight = np.minimum(
            *(
                steady.cell_weights(power.sum(axis=2), _CELL_RANGE_DB, _FRAME_RANGE_DB)
                for power in (before, after)
            )
        )
        weight[:, ~common_bands(reference, candidate)] = 0
        positions = _position(before), _position(after)
        start, start_draws = steady.agreed(positions[0], weight, BAND_RATE_HZ, _FINEST)
        moved, draws = steady.agreed(positions[1] - positions[0], weight, BAND_RATE_HZ, _FINEST)
        known = np.isfinite(start) & np.isfinite(moved)
        image = _Image.fitted(start[known], moved[known])
        shifts = np.array([_turn_of(start[known], draw[known]) for draw in draws])
        turns = image.turn_db + shifts - _turn_of(start[known], moved[known])
        expected = image.moves(start)
        own = moved - expected
        turn = image.turn_db if image.told else None
        # A pan moves some bands and leaves the others where they were; a room, other players and
        # other instruments scatter them all.
        typical = 1.4826 * float(np.median(np.abs(own[known]))) if known.any() else 0.0
        local = 0.0 if match.same_take else 1.5 * steady.local_scatter(moved)
        scatter = np.hypot(local, 2 * typical)
        low, high = steady.intervals(moved, draws, scatter)
        extra = typical * 40 / math.log(10) / math.sqrt(max(known.sum() / 3, 1))
        earlier, earlier_draws = _time_difference_us(reference, match)
        later, later_draws = _time_difference_us(candidate, match.mirrored())
        if match.channels_swapped:
            later, later_draws = -later, -later_draws
        delay_us = later - earlier
        timed = np.isfinite(delay_us)
        around_us = steady.intervals(delay_us, later_draws - earlier_draws)
        return PlacementDifference(
            band_centre_hz=CENTRES_HZ,
            position=values(moved, known),
            position_interval=pairs(low, high, known),
            reference_position=values(start, known),
            turn_db=turn,
            turn_db_interval=None if turn is None else _around(turn, turns, extra),
            image_scale=image.scale if image.told else None,
            own_position=values(own, known),
            own_position_interval=pairs(low - expected, high - expected, known),
            consistency=values(_consistency(positions, image, own, weight), known),
            channels_swapped=match.channels_swapped,
            time_difference_us=values(delay_us, timed),
            time_difference_us_interval=pairs(*around_us, timed),
            weight=tuple(float(value) for value in _weight(before, after)),
            same_take=match.same_take,
            span_s=span_s,
            candidate_span_s=candidate_span_s,
        )

    def findings(self, difference: PlacementDifference) -> list[Finding]:
        """Exchanged channels, a turn of the whole image, and ranges of bands that moved."""
        out = []
        if difference.channels_swapped:
            out.append(_swap_finding(difference))
        turn = _turn_finding(difference)
        if turn is not None:
            out.append(turn)
        return out + [_range_finding(difference, bands) for bands in _ranges(difference)]


def _time_difference_us(features: Features, match: Match | None) -> tuple[FloatArray, FloatArray]:
    """How much later each band comes on the right, and bootstrap draws of it.

    Parameters
    ----------
    match : Match or None
        Leaves out what has no counterpart; None takes the whole recording.

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
    level = np.sqrt(power.sum(axis=0).prod(axis=1)) + 1e-30
    told = (np.abs(cross.sum(axis=0)) > _COHERENT * level) & features.usable_bands
    told &= THIRD_OCTAVE_CENTRES_HZ < _HIGHEST_TIMED_HZ
    turn_us = 1e6 / (2 * np.pi * THIRD_OCTAVE_CENTRES_HZ)
    draws = block_bootstrap(blocks, lambda index: np.angle(cross[index].sum(axis=0)), _DRAWS)
    value = np.where(told, np.angle(cross.sum(axis=0)) * turn_us, np.nan)
    return value, np.where(told, draws * turn_us, np.nan)


@dataclass(frozen=True)
class _Image:
    """What happens to all positions alike: first a scale, then a turn."""

    turn_db: float
    scale: float
    told: bool = True

    @classmethod
    def fitted(cls, start: FloatArray, moved: FloatArray) -> _Image:
        """Robust fit over bands, each counting alike; a register that moves is an outlier."""
        if len(start) < _LEAST_BANDS:
            return cls(0.0, 1.0, told=False)

        def residual(values: FloatArray) -> FloatArray:
            image = cls(float(values[0]) * 10, math.exp(float(values[1])))
            return np.append(image.moves(start) - moved, _SPREAD * values[1] / _SCALE_SPREAD)

        first = _turn_of(start, moved)
        solved = optimize.least_squares(
            residual, [first / 10, 0.0], loss="cauchy", f_scale=_SPREAD, max_nfev=100
        )
        return cls(float(solved.x[0]) * 10, math.exp(float(solved.x[1])))

    def moves(self, start: FloatArray) -> FloatArray:
        """Move that this image change gives a band lying at ``start``."""
        scaled = np.clip(self.scale * start, -0.99, 0.99)
        turn = math.tanh(self.turn_db * math.log(10) / 40)
        return np.asarray((scaled + turn) / (1 + scaled * turn) - start)


def _turn_of(start: FloatArray, moved: FloatArray) -> float:
    """Median change of the level between the channels, dB."""
    before = np.arctanh(np.clip(start, -0.98, 0.98))
    after = np.arctanh(np.clip(start + moved, -0.98, 0.98))
    if len(start) == 0:
        return 0.0
    return float(np.median(after - before) * 40 / math.log(10))


def _sampled(features: Features, times_s: FloatArray, smooth_s: float, swapped: bool) -> FloatArray:
    """Smoothed power of left and right at the given times, shape (frames, 31, 2)."""
    size = max(round(smooth_s * BAND_RATE_HZ), 1)
    smooth = ndimage.uniform_filter1d(
        features.band_power.astype(np.float64), size, axis=0, mode="nearest"
    )
    sampled = np.maximum(sample_frames(smooth, BAND_RATE_HZ, times_s), 0)
    return sampled[:, :, ::-1] if swapped else sampled


def _position(power: FloatArray) -> FloatArray:
    """Position by the tangent law; the channels are the last axis."""
    left, right = power[..., 0], power[..., 1]
    least = 10 ** (-0.1 * LIMIT_DB)
    left, right = np.maximum(left, least * right), np.maximum(right, least * left)
    left, right = np.sqrt(np.maximum(left, 1e-30)), np.sqrt(np.maximum(right, 1e-30))
    return np.asarray((right - left) / (right + left))


def _weight(before: FloatArray, after: FloatArray) -> FloatArray:
    """Root of each band's mean power, of both recordings alike."""
    powers = [power.sum(axis=2).mean(axis=0) for power in (before, after)]
    return np.asarray((powers[0] * powers[1]) ** 0.25)


def _consistency(
    positions: tuple[FloatArray, FloatArray], image: _Image, own: FloatArray, weight: FloatArray
) -> FloatArray:
    """Share of the weight in which a band's own move has the sign of its typical one."""
    single = positions[1] - positions[0] - image.moves(positions[0])
    agrees = single * np.sign(np.where(np.isfinite(own), own, 0.0)) > 0
    return np.asarray((weight * agrees).sum(axis=0) / np.maximum(weight.sum(axis=0), 1e-30))


def _around(value: float, draws: FloatArray, scatter: float) -> tuple[float, float]:
    low, high = steady.intervals(np.array([value]), draws[:, None], scatter)
    return float(low[0]), float(high[0])


def _reasons(reference: Features, candidate: Features, frames: int) -> tuple[str, ...]:
    reasons = [
        f"The {name} is mono: placement can't be compared."
        for name, features in (("reference", reference), ("candidate", candidate))
        if features.is_mono
    ]
    if frames < steady.SHORTEST_S * BAND_RATE_HZ:
        reasons.append(f"Less than {steady.SHORTEST_S:.0f} s in common: too short for placement.")
    return tuple(reasons)


# --- findings -----------------------------------------------------------------------------------


def _degrees(position: float) -> float:
    """Heard angle between loudspeakers at +-30 degrees."""
    return math.degrees(math.atan(position * math.tan(math.radians(30))))


def _finding(
    difference: PlacementDifference,
    kind: str,
    subject: str,
    value: float,
    around: tuple[float, float],
    text: str,
    advice: str,
    cause: Cause,
    band_hz: tuple[float, float] | None = None,
) -> Finding:
    sure = steady.confidence(value, around, 0.99 if difference.same_take else 0.9)
    return Finding(
        aspect="placement", kind=kind, subject=subject, difference=value, interval=around, unit="",
        jnd=size_in_jnd(value, around, JUST_NOTICEABLE["placement"].size),
        confidence=sure,
        spans_s=(difference.span_s,), candidate_spans_s=(difference.candidate_span_s,),
        band_hz=band_hz, cause=cause, text=text, advice=(advice,),
    )  # fmt: skip


def _swap_finding(difference: PlacementDifference) -> Finding:
    """How far the bands were thrown across: twice their distance from the centre."""
    told = [value for value in difference.reference_position if value is not None]
    far = 2 * float(np.percentile(np.abs(told), 75)) if told else 0.0
    value = max(far, JUST_NOTICEABLE["placement"].size)  # a fact, however centred the music
    text = (
        "Left and right are exchanged in the candidate; everything else is compared with the"
        " channels put right."
    )
    advice = "Exchange the candidate's channels; check the patching of the main array."
    around = (0.9 * value, 1.1 * value)
    cause = Cause.weighing(0.0, 0.0, 1.0)
    subject = "the whole image"
    return _finding(difference, "channels_swapped", subject, value, around, text, advice, cause)


def _turn_finding(difference: PlacementDifference) -> Finding | None:
    turn, around_db = difference.turn_db, difference.turn_db_interval
    if turn is None or around_db is None:
        return None
    value, low, high = (
        math.tanh(level * math.log(10) / 40) for level in (turn, around_db[0], around_db[1])
    )
    size = size_in_jnd(value, (low, high), JUST_NOTICEABLE["placement"].size)
    if size < 1:
        return None
    side, other = ("right", "left") if value > 0 else ("left", "right")
    softer, louder = sorted(abs(level) for level in around_db)
    text = (
        f"The whole image of the candidate lies further {side}: the {side} channel is"
        f" {abs(turn):.1f} dB louder against the {other} one than in the reference"
        f" (between {softer:.1f} and {louder:.1f} dB), about {_spoken_angle(_degrees(value))}"
        " between loudspeakers."
    )
    advice = f"Bring the {side} channel down by about {abs(turn):.0f} dB, or turn the balance."
    if abs(turn) > _SILENT_DB:
        text = (
            f"One channel is missing: between left and right the level differs by"
            f" {abs(turn):.0f} dB more to the {side} than in the reference."
        )
        advice = "Check the cabling and the export: one channel is silent or nearly so."
    cause = Cause.weighing(0.0, 0.1, 0.9) if difference.same_take else Cause.weighing(0.1, 0.2, 0.7)
    kind, subject = f"moved_{side}", "the whole image"
    return _finding(difference, kind, subject, value, (low, high), text, advice, cause)


def _ranges(difference: PlacementDifference) -> list[list[int]]:
    """Runs of neighbouring bands that moved the same way, beyond turn and scale."""
    limit = JUST_NOTICEABLE["placement"].size
    moves: list[int] = []
    for centre, value, pair, share in zip(
        THIRD_OCTAVE_CENTRES_HZ, difference.own_position, difference.own_position_interval,
        difference.consistency, strict=True,
    ):  # fmt: skip
        sure = value is not None and pair is not None and not pair[0] <= 0 <= pair[1]
        sure = sure and centre > _LOWEST_PLACED_HZ
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


def _range_finding(difference: PlacementDifference, bands: list[int]) -> Finding:
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
    cause = Cause.weighing(0.0, 0.1, 0.9) if difference.same_take else Cause.weighing(0.3, 0.1, 0.6)
    return _finding(
        difference, f"moved_{side}", where, value, around, text, advice, cause, (low, high)
    )


def _place(position: float) -> str:
    """Where a position is heard: ``8 degrees left``."""
    angle = _degrees(position)
    if abs(angle) < 1:
        return "in the centre"
    return f"{_spoken_angle(angle)} {'right' if angle > 0 else 'left'}"


def _spoken_angle(degrees: float) -> str:
    rounded = round(abs(degrees))
    return "1 degree" if rounded == 1 else f"{rounded} degrees"


analyzer = PlacementAnalyzer()
"""Instance for the list of analyzers."""
