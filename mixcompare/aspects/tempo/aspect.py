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

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import DEVIATIONS_90, TimeMap
from mixcompare.aspects.tempo.about import ABOUT
from mixcompare.aspects.tempo.values import (
    CURVE_RATE_HZ,
    TempoDifference,
    TempoMeasurement,
    as_tempo,
)
from mixcompare.aspects.tempo.words import freedom_finding, local_finding, overall_finding
from mixcompare.features import Features
from mixcompare.findings import (
    Finding,
)
from mixcompare.pair import beatrate
from mixcompare.pair.pair import Pair
from mixcompare.statistics import block_bootstrap, interval

FloatArray = npt.NDArray[np.float64]

LOCAL_WINDOW_S, WIDE_WINDOW_S = 2.0, 4.0  # resolution: of a moment, and of the freedom

_EXPLAINED = (0.75, 1.25)  # share of the map's slope that the recordings' own tempi give


class TempoAnalyzer:
    """Measures and compares tempo."""

    aspect = "tempo"
    about = ABOUT

    def measure(self, features: Features) -> TempoMeasurement:
        """Onsets a minute, where they can be counted."""
        counts = beatrate.events_per_minute(features.onset_power)
        if counts is None:
            reason = "The onsets are too soft or too dense to be counted."
            return TempoMeasurement(None, None, (reason,))
        return TempoMeasurement(counts[1], (counts[0], counts[1]))

    def compare(self, pair: Pair) -> TempoDifference:
        """Overall ratio, local tempo, and how free each recording is."""
        reference, candidate, match = pair.reference, pair.candidate, pair.match
        time_map = match.time_map
        ratio, deviation = time_map.pace()
        around = (ratio - 1.96 * deviation, ratio + 1.96 * deviation)
        times, local, error = _local(time_map, LOCAL_WINDOW_S)
        spread = _spread_percent(time_map)
        own = None if match.same_take else _own_spread(reference, candidate, time_map)
        reasons = () if own else ("How free each recording is by itself can't be told.",)
        percent = 100 * (ratio - 1)
        percent_around = (100 * (around[0] - 1), 100 * (around[1] - 1))
        tempo, tempo_around = as_tempo(percent, percent_around)
        return TempoDifference(
            ratio=ratio,
            ratio_interval=around,
            percent=percent,
            percent_interval=percent_around,
            tempo_percent=tempo,
            tempo_percent_interval=tempo_around,
            spread_percent=spread,
            own_spread_percent=own[0] if own else None,
            own_spread_difference_percent=own[0][1] - own[0][0] if own else None,
            own_spread_difference_percent_interval=own[1] if own else None,
            reasons=() if match.same_take else reasons,
            curve_s=tuple(times.tolist()),
            curve_percent=tuple((100 * (local / ratio - 1)).tolist()),
            curve_half_width_percent=tuple((100 * 1.96 * error / ratio).tolist()),
            playback_speed=beatrate.is_playback_speed(match),
            time_map=time_map,
        )

    def findings(self, difference: TempoDifference, pair: Pair) -> list[Finding]:
        """Overall tempo, freedom, and the one place that stands out most."""
        out = [overall_finding(difference, pair)]
        if not (pair.same_take or difference.playback_speed):
            out += [freedom_finding(difference, pair), local_finding(difference, pair)]
        return [entry for entry in out if entry is not None]


def _local(time_map: TimeMap, window_s: float) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Local ratio over windows without gaps: times, ratio, its standard deviation."""
    start, end = time_map.span_s
    half = window_s / 2
    times = np.arange(start + half, end - half + 1e-9, 1 / CURVE_RATE_HZ)
    early, late = times - half, times + half
    missing = np.concatenate([[0.0], np.cumsum(np.diff(time_map.reference_s) * ~time_map.matched)])
    gap = np.interp(late, time_map.reference_s, missing) - np.interp(
        early, time_map.reference_s, missing
    )
    keep = gap < 1e-9
    times, early, late = times[keep], early[keep], late[keep]
    ratio = (time_map.to_candidate(late) - time_map.to_candidate(early)) / window_s
    widths = [time_map.uncertainty_ms(at) for at in (early, late)]
    widths = [np.where(np.isfinite(width), width, 0.0) for width in widths]
    error = np.hypot(*widths) / 1000 / DEVIATIONS_90 / window_s
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
    curves = [beatrate.tempo_curve(features.onset_power) for features in (reference, candidate)]
    if min(len(times) for times, _ in curves) < 2:
        return None
    times, ratio, _ = _local(time_map, WIDE_WINDOW_S)
    there = time_map.to_candidate(times)
    inside = (times >= curves[0][0][0]) & (times <= curves[0][0][-1])
    inside &= (there >= curves[1][0][0]) & (there <= curves[1][0][-1])
    if inside.sum() < 3 * beatrate.WINDOW_S * CURVE_RATE_HZ:
        return None
    slope = np.log(ratio[inside])
    own = [np.interp(at[inside], *curve) for at, curve in zip((times, there), curves, strict=True)]
    slope, before, after = (values - values.mean() for values in (slope, *own))
    seen = float(np.mean(slope**2))
    given = float(np.mean(slope * (after - before)))
    if seen <= 0 or not _EXPLAINED[0] <= given / seen <= _EXPLAINED[1]:
        return None
    spreads = (100 * float(before.std()), 100 * float(after.std()))
    block = int(beatrate.WINDOW_S * CURVE_RATE_HZ)
    draws = block_bootstrap(
        len(slope),
        lambda index: 100 * (after[index].std() - before[index].std()),
        block_length=block,
    )
    return spreads, interval(draws)


analyzer = TempoAnalyzer()
"""Instance for the list of analyzers."""
