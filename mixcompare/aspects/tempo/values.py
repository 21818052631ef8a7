"""What tempo measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare.alignment.timemap import TimeMap
from mixcompare.fields import (
    BARE,
    INVERSE,
    KEPT,
    MOMENT,
    NOT_IN_REPORT,
    PAIR,
    PERCENT,
    RATIO,
    SIGNED,
    UNTABLED,
    along,
    labelled,
    stretched,
)

CURVE_RATE_HZ = 5.0  # resolution of the curve
SHORTEST_LOCAL_S = 1.0  # a stretch that is told by itself; our judgement, not measured
CLEAR = 3.0  # standard deviations of the map's error


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
    tempo_percent, tempo_percent_interval
        The same of the tempo: negative = slower.
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

    ratio: float = field(
        metadata=labelled("Duration, candidate over reference")
        | BARE
        | RATIO
        | UNTABLED
        | stretched(0.001)
    )
    ratio_interval: tuple[float, float]
    percent: float = field(
        metadata=labelled("Time taken, candidate against reference", "%")
        | PERCENT
        | UNTABLED
        | stretched(0.05)
    )
    percent_interval: tuple[float, float]
    tempo_percent: float = field(
        metadata=labelled("Tempo, candidate against reference", "%") | PERCENT | stretched(0.05)
    )
    tempo_percent_interval: tuple[float, float]
    spread_percent: float | None = field(
        metadata=labelled("How far places typically stray from that", "%") | KEPT | stretched(0.6)
    )
    own_spread_percent: tuple[float, float] | None = field(
        default=None, metadata=PAIR | stretched(0.5)
    )
    own_spread_difference_percent: float | None = field(
        default=None, metadata=labelled("Freedom of tempo, difference") | SIGNED | stretched(0.5)
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
    time_map: TimeMap = field(kw_only=True, metadata=NOT_IN_REPORT | INVERSE)


def as_tempo(percent: float, around: tuple[float, float]) -> tuple[float, tuple[float, float]]:
    """Difference in duration as one in tempo, which falls as the duration grows."""
    value, low, high = (
        100 * (100 / max(100 + part, 1.0) - 1) for part in (percent, around[1], around[0])
    )
    return value, (low, high)
