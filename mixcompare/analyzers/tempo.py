"""Tempo: how much slower or faster, and where one holds back or pushes on.

Conventions
-----------
What is heard: one performance slower, freer, or dwelling on a moment. ``ratio`` is the
candidate's duration over the reference's for the matched music, ``percent`` the same as
100 (ratio - 1): positive = the candidate takes longer = slower. Findings speak of the tempo as a
person does: negative = slower. The tempo over time is the slope
of the time map, which knows only the two against each other; how free each of them is by itself
is told only where their own onsets explain that slope. ``events_per_minute`` counts onsets; dense
or soft textures give None.

Uncertainty: the map's half widths (90 %) at both ends of whatever is measured.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from mixcompare import pulse, steady
from mixcompare.analyzers.base import NOT_IN_REPORT
from mixcompare.features import Features
from mixcompare.findings import (
    JUST_NOTICEABLE,
    Cause,
    Finding,
    Span,
    clock,
    signed,
    size_in_jnd,
)
from mixcompare.match import Match
from mixcompare.mirror import INVERSE, KEPT, MOMENT, PAIR, PERCENT, RATIO, SIGNED, along, stretched
from mixcompare.statistics import block_bootstrap, interval
from mixcompare.timemap import TimeMap

FloatArray = npt.NDArray[np.float64]

CURVE_RATE_HZ = 5.0
LOCAL_WINDOW_S, WIDE_WINDOW_S = 2.0, 4.0
LOCAL_JND_PERCENT = 6.0
"""Change of a single interval that is just noticed (Drake and Botte 1993)."""
SPREAD_JND_PERCENT = 3.0
"""Slow change of tempo that is just noticed: 60 to 62 per minute (from memory)."""

_SURE = 1.2  # times the usual half width
_DEVIATIONS_90 = 1.645
_SHORTEST_LOCAL_S = 1.0
_CLEAR = 3.0  # standard deviations of the map's error
_EXPLAINED = (0.75, 1.25)  # share of the map's slope that the recordings' own tempi give


@dataclass(frozen=True)
class TempoMeasurement:
    """Tempo of one recording alone."""

    events_per_minute: float | None
    events_per_minute_interval: tuple[float, float] | None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class TempoDifference:
    """Tempo of the candidate against the reference.

    Attributes
    ----------
    ratio, ratio_interval
        Candidate duration over reference duration.
    percent, percent_interval
        The same as a difference; positive = slower.
    spread_percent : float or None
        How far the local ratio typically lies from its mean, the map's error taken off.
    own_spread_percent : tuple of float or None
        How far the tempo of the reference, and of the candidate, wanders by itself.
    own_spread_difference_percent, own_spread_difference_percent_interval
        Candidate minus reference; positive = the candidate is freer.
    playback_speed : bool
        Whether the pitch went with the tempo, evenly: a clock or sample rate, not the players.
    curve_s, curve_percent, curve_half_width_percent : tuple of float
        Local tempo over time (reference clock), against the mean; positive = slower there.
    """

    ratio: float = field(metadata=RATIO | stretched(0.001))
    ratio_interval: tuple[float, float]
    percent: float = field(metadata=PERCENT | stretched(0.05))
    percent_interval: tuple[float, float]
    spread_percent: float | None = field(metadata=KEPT | stretched(0.6))
    own_spread_percent: tuple[float, float] | None = field(
        default=None, metadata=PAIR | stretched(0.5)
    )
    own_spread_difference_percent: float | None = field(
        default=None, metadata=SIGNED | stretched(0.5)
    )
    own_spread_difference_percent_interval: tuple[float, float] | None = None
    reasons: tuple[str, ...] = ()
    curve_s: tuple[float, ...] = field(
        default=(), metadata=NOT_IN_REPORT | MOMENT | stretched(0.25)
    )
    curve_percent: tuple[float, ...] = field(
        default=(), metadata=NOT_IN_REPORT | PERCENT | along("curve_s") | stretched(0.3)
    )
    curve_half_width_percent: tuple[float, ...] = field(
        default=(), metadata=NOT_IN_REPORT | KEPT | along("curve_s") | stretched(0.3)
    )
    playback_speed: bool = field(default=False, metadata=KEPT)
    same_take: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)
    time_map: TimeMap = field(kw_only=True, metadata=NOT_IN_REPORT | INVERSE)


class TempoAnalyzer:
    """Measures and compares tempo."""

    aspect = "tempo"

    def measure(self, features: Features) -> TempoMeasurement:
        """Onsets a minute, where they can be counted."""
        counts = pulse.events_per_minute(features.onset_power)
        if counts is None:
            reason = "The onsets are too soft or too dense to be counted."
            return TempoMeasurement(None, None, (reason,))
        return TempoMeasurement(counts[1], (counts[0], counts[1]))

    def compare(self, reference: Features, candidate: Features, match: Match) -> TempoDifference:
        """Overall ratio, local tempo, and how free each recording is."""
        time_map = match.time_map
        ratio, deviation = _overall(time_map)
        around = (ratio - 1.96 * deviation, ratio + 1.96 * deviation)
        times, local, error = _local(time_map, LOCAL_WINDOW_S)
        spread = _spread_percent(time_map)
        own = None if match.same_take else _own_spread(reference, candidate, time_map)
        reasons = () if own else ("How free each recording is by itself can't be told.",)
        return TempoDifference(
            ratio=ratio,
            ratio_interval=around,
            percent=100 * (ratio - 1),
            percent_interval=(100 * (around[0] - 1), 100 * (around[1] - 1)),
            spread_percent=spread,
            own_spread_percent=own[0] if own else None,
            own_spread_difference_percent=own[0][1] - own[0][0] if own else None,
            own_spread_difference_percent_interval=own[1] if own else None,
            reasons=() if match.same_take else reasons,
            curve_s=tuple(times.tolist()),
            curve_percent=tuple((100 * (local / ratio - 1)).tolist()),
            curve_half_width_percent=tuple((100 * 1.96 * error / ratio).tolist()),
            playback_speed=pulse.is_playback_speed(match),
            same_take=match.same_take,
            time_map=time_map,
        )

    def findings(self, difference: TempoDifference) -> list[Finding]:
        """Overall tempo, freedom, and the one place that stands out most."""
        out = [_overall_finding(difference)]
        if not (difference.same_take or difference.playback_speed):
            out += [_freedom_finding(difference), _local_finding(difference)]
        return [entry for entry in out if entry is not None]


def _matched(time_map: TimeMap) -> npt.NDArray[np.bool_]:
    """Which segments between nodes are matched (both ends without a counterpart = a gap)."""
    told = np.isfinite(time_map.half_width_ms)
    matched: npt.NDArray[np.bool_] = told[:-1] | told[1:]
    return matched


def _overall(time_map: TimeMap) -> tuple[float, float]:
    """Ratio of the matched durations and its standard deviation.

    Each matched stretch counts between its first and last sure places: before the first attack
    and in the last chord's decay the map only goes on evenly.
    """
    matched = _matched(time_map)
    padded = np.concatenate([[False], matched, [False]])
    changes = np.flatnonzero(padded[1:] != padded[:-1])
    width_ms = np.where(np.isfinite(time_map.half_width_ms), time_map.half_width_ms, np.inf)
    sure = width_ms <= _SURE * np.median(width_ms[np.isfinite(width_ms)])
    reference = candidate = square = 0.0
    for begin, end in zip(changes[::2], changes[1::2], strict=True):
        inside = begin + np.flatnonzero(sure[begin : end + 1])
        if len(inside) > 1:
            begin, end = inside[0], inside[-1]
        reference += float(time_map.reference_s[end] - time_map.reference_s[begin])
        candidate += float(time_map.candidate_s[end] - time_map.candidate_s[begin])
        ends = width_ms[[begin, end]]
        square += float(np.sum(ends[np.isfinite(ends)] ** 2))
    return candidate / reference, np.sqrt(square) / 1000 / _DEVIATIONS_90 / reference


def _local(time_map: TimeMap, window_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Local ratio over windows without gaps: times, ratio, its standard deviation."""
    start, end = time_map.span_s
    half = window_s / 2
    times = np.arange(start + half, end - half + 1e-9, 1 / CURVE_RATE_HZ)
    early, late = times - half, times + half
    matched = _matched(time_map)
    missing = np.concatenate([[0.0], np.cumsum(np.diff(time_map.reference_s) * ~matched)])
    gap = np.interp(late, time_map.reference_s, missing) - np.interp(
        early, time_map.reference_s, missing
    )
    keep = gap < 1e-9
    times, early, late = times[keep], early[keep], late[keep]
    ratio = (time_map.to_candidate(late) - time_map.to_candidate(early)) / window_s
    widths = [time_map.uncertainty_ms(at) for at in (early, late)]
    widths = [np.where(np.isfinite(width), width, 0.0) for width in widths]
    error = np.hypot(*widths) / 1000 / _DEVIATIONS_90 / window_s
    return times, np.asarray(ratio), np.asarray(error)


def _spread_percent(time_map: TimeMap) -> float | None:
    """Robust standard deviation of the log ratio over 4 s windows, the map's error taken off."""
    _, ratio, error = _local(time_map, WIDE_WINDOW_S)
    if len(ratio) < 5 * CURVE_RATE_HZ:
        return None
    away = np.log(ratio) - np.median(np.log(ratio))
    seen = (1.4826 * float(np.median(np.abs(away)))) ** 2
    return 100 * math.sqrt(max(seen - float(np.mean((error / ratio) ** 2)), 0.0))


def _own_spread(
    reference: Features, candidate: Features, time_map: TimeMap
) -> tuple[tuple[float, float], tuple[float, float]] | None:
    """How far each tempo wanders by itself, percent, and the interval of the difference.

    Told only where the two, each from its own onsets, together give the slope of the map.
    """
    curves = [pulse.tempo_curve(features.onset_power) for features in (reference, candidate)]
    if min(len(times) for times, _ in curves) < 2:
        return None
    times, ratio, _ = _local(time_map, WIDE_WINDOW_S)
    there = time_map.to_candidate(times)
    inside = (times >= curves[0][0][0]) & (times <= curves[0][0][-1])
    inside &= (there >= curves[1][0][0]) & (there <= curves[1][0][-1])
    if inside.sum() < 3 * pulse.WINDOW_S * CURVE_RATE_HZ:
        return None
    slope = np.log(ratio[inside])
    own = [np.interp(at[inside], *curve) for at, curve in zip((times, there), curves, strict=True)]
    slope, before, after = (values - values.mean() for values in (slope, *own))
    seen = float(np.mean(slope**2))
    given = float(np.mean(slope * (after - before)))
    if seen <= 0 or not _EXPLAINED[0] <= given / seen <= _EXPLAINED[1]:
        return None
    spreads = (100 * float(before.std()), 100 * float(after.std()))
    block = int(pulse.WINDOW_S * CURVE_RATE_HZ)
    draws = block_bootstrap(
        len(slope),
        lambda index: 100 * (after[index].std() - before[index].std()),
        block_length=block,
    )
    return spreads, interval(draws)


# --- findings -----------------------------------------------------------------------------------


def _finding(
    difference: TempoDifference,
    kind: str,
    subject: str,
    value: float,
    around: tuple[float, float],
    jnd: float,
    text: str,
    advice: str,
    span_s: Span | None = None,
) -> Finding:
    time_map = difference.time_map
    whole = span_s or time_map.span_s
    first, last = (float(at) for at in time_map.to_candidate(np.array(whole)))
    players = 0.0 if difference.same_take else 1.0
    return Finding(
        aspect="tempo", kind=kind, subject=subject, difference=value, interval=around, unit="%",
        jnd=size_in_jnd(value, around, jnd), confidence=steady.confidence(value, around, 0.99),
        spans_s=(whole,), candidate_spans_s=((first, last),), band_hz=None,
        cause=Cause.weighing(players, 0.0, 1.0 - players), text=text, advice=(advice,),
    )  # fmt: skip


def _overall_finding(difference: TempoDifference) -> Finding | None:
    value, around = difference.percent, difference.percent_interval
    if difference.playback_speed:
        return None  # then the tuning says it
    if size_in_jnd(value, around, JUST_NOTICEABLE["tempo"].size) < 1:
        return None
    value, around = _as_tempo(value, around)
    slower = value < 0
    text = (
        f"The candidate is {abs(value):.0f} % {'slower' if slower else 'faster'} than the"
        f" reference (tempo {signed(value, '%')}, between {around[0]:+.1f} and"
        f" {around[1]:+.1f})."
    )
    if difference.same_take:
        advice = "Check whether the candidate was stretched in time; its pitch did not follow."
    else:
        advice = (
            f"Take the beat about {100 * abs(1 - difference.ratio):.0f} %"
            f" {'faster' if slower else 'slower'}, if the tempo of the reference is wanted."
        )
    kind = "slower" if slower else "faster"
    jnd = JUST_NOTICEABLE["tempo"].size
    return _finding(difference, kind, "the tempo", value, around, jnd, text, advice)


def _as_tempo(percent: float, around: tuple[float, float]) -> tuple[float, tuple[float, float]]:
    """Difference in duration as one in tempo, which falls as the duration grows."""
    value, low, high = (
        100 * (100 / max(100 + part, 1.0) - 1) for part in (percent, around[1], around[0])
    )
    return value, (low, high)


def _freedom_finding(difference: TempoDifference) -> Finding | None:
    value, own = difference.own_spread_difference_percent, difference.own_spread_percent
    around = difference.own_spread_difference_percent_interval
    if value is None or own is None or around is None:
        return None
    if size_in_jnd(value, around, SPREAD_JND_PERCENT) < 1:
        return None
    freer = value > 0
    text = (
        f"The candidate's tempo is {'freer' if freer else 'steadier'}: it wanders by"
        f" {own[1]:.0f} % about its mean, the reference's by {own[0]:.0f} %."
    )
    advice = f"{'Less' if freer else 'More'} give and take within the phrases."
    kind = "tempo_freer" if freer else "tempo_steadier"
    return _finding(
        difference, kind, "the give and take of the tempo", value, around, SPREAD_JND_PERCENT,
        text, advice,
    )  # fmt: skip


def _local_finding(difference: TempoDifference) -> Finding | None:
    """The stretch of at least a second that leaves the mean tempo furthest behind."""
    times = np.array(difference.curve_s)
    away = np.array(difference.curve_percent)
    half = np.array(difference.curve_half_width_percent)
    if len(times) < 2:
        return None
    clear = (np.abs(away) >= LOCAL_JND_PERCENT) & (np.abs(away) > _CLEAR * half / 1.96)
    state = np.where(clear, np.sign(away), 0).astype(np.int64)
    state[1:][np.diff(times) > 1.5 / CURVE_RATE_HZ] = 0
    changes = np.flatnonzero(np.diff(state)) + 1
    best: tuple[float, int, int] | None = None
    for first, behind in zip(
        np.concatenate([[0], changes]), np.concatenate([changes, [len(state)]]), strict=True
    ):
        length_s = (behind - first) / CURVE_RATE_HZ
        if state[first] == 0 or length_s < _SHORTEST_LOCAL_S:
            continue
        moved_s = float(np.abs(away[first:behind]).mean()) * math.sqrt(length_s)
        if best is None or moved_s > best[0]:
            best = (moved_s, int(first), int(behind))
    if best is None:
        return None
    chosen = slice(best[1], best[2])
    longer, reach = float(away[chosen].mean()), float(half[chosen].mean())
    value, around = _as_tempo(longer, (longer - reach, longer + reach))
    span = (float(times[chosen][0]), float(times[chosen][-1]))
    holds = value < 0
    text = (
        f"At {clock(span[0])}-{clock(span[1])} the candidate"
        f" {'holds back' if holds else 'pushes on'}: against the reference it is there"
        f" {abs(value):.0f} % {'slower' if holds else 'faster'} than on average"
        f" (tempo {signed(value, '%', 0)}, between {around[0]:+.0f} and {around[1]:+.0f})."
    )
    advice = f"{'Keep moving' if holds else 'Take more time'} at {clock(span[0])}."
    return _finding(
        difference, "holds_back" if holds else "pushes_on", "one moment", value, around,
        LOCAL_JND_PERCENT, text, advice, span,
    )  # fmt: skip


analyzer = TempoAnalyzer()
"""Instance for the list of analyzers."""
