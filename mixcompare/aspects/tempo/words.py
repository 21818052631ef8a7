"""Faster, slower, freer, holding back: in words."""

from __future__ import annotations

import math

import numpy as np

from mixcompare.aspects.tempo.about import FREEDOM, MOMENT_OF_TEMPO, TEMPO
from mixcompare.aspects.tempo.values import (
    CLEAR,
    CURVE_RATE_HZ,
    SHORTEST_LOCAL_S,
    TempoDifference,
    as_tempo,
)
from mixcompare.findings import Finding, Span, between, clock, size_in_jnd
from mixcompare.findings.cause import Differs, weighed
from mixcompare.findings.size import Size
from mixcompare.pair.pair import Pair

_MOMENT_S = 4.0  # a longer stretch is no moment any more; our judgement


def _finding(
    pair: Pair,
    kind: str,
    subject: str,
    size: Size,
    words: tuple[str, str],
    span_s: Span | None = None,
) -> Finding:
    proof = size.evidence(pair.same_take)
    text, advice = words
    return Finding(
        aspect="tempo", kind=kind, subject=subject, difference=size.value,
        interval=size.around, unit="%", jnd=size.jnd, noticeable=size.noticeable,
        evidence=proof,
        spans_s=(span_s or pair.span_s,), band_hz=None,
        cause=weighed(Differs.TEMPO, same_take=pair.same_take), text=text, advice=(advice,),
    )  # fmt: skip


def overall_finding(difference: TempoDifference, pair: Pair) -> Finding | None:
    """What is said of the tempo as a whole."""
    value, around = difference.tempo_percent, difference.tempo_percent_interval
    if difference.playback_speed:
        return None  # then the tuning says it
    if size_in_jnd(value, around, TEMPO.size) < 1:
        return None
    slower = value < 0
    text = (
        f"The candidate is {abs(value):.1f} % {'slower' if slower else 'faster'} than the"
        f" reference ({between(around)} %){_in_quarters(pair, value)}."
    )
    if pair.same_take:
        advice = "Check whether the candidate was stretched in time; its pitch did not follow."
    else:
        advice = (
            f"Take the beat {'faster' if slower else 'slower'} by as much, if the tempo of the"
            " reference is wanted."
        )
    kind = "slower" if slower else "faster"
    return _finding(pair, kind, "the tempo", Size(value, around, TEMPO), (text, advice))


def _in_quarters(pair: Pair, tempo_percent: float) -> str:
    """The same in quarters a minute, where a score tells how long its bars are written."""
    bars = pair.match.bars
    if bars is None or bars.quarters is None:
        return ""
    start, end = pair.span_s
    inside = (bars.start_s >= start) & (bars.end_s <= end)
    lasting_s = float((bars.end_s - bars.start_s)[inside].sum())
    if lasting_s <= 0:
        return ""
    a_minute = 60 * float(bars.quarters[inside].sum()) / lasting_s
    candidate = a_minute * (1 + tempo_percent / 100)
    return f": about {candidate:.0f} quarters a minute against {a_minute:.0f}"


def freedom_finding(difference: TempoDifference, pair: Pair) -> Finding | None:
    """What is said of a tempo that is freer or steadier."""
    value, own = difference.own_spread_difference_percent, difference.own_spread_percent
    around = difference.own_spread_difference_percent_interval
    if value is None or own is None or around is None:
        return None
    if size_in_jnd(value, around, FREEDOM.size) < 1:
        return None
    freer = value > 0
    text = (
        f"The candidate's tempo is {'freer' if freer else 'steadier'}: it wanders by"
        f" {own[1]:.0f} % about its mean, the reference's by {own[0]:.0f} %."
    )
    advice = f"{'Less' if freer else 'More'} give and take within the phrases."
    kind = "tempo_freer" if freer else "tempo_steadier"
    size = Size(value, around, FREEDOM)
    return _finding(pair, kind, "the give and take of the tempo", size, (text, advice))


def local_finding(difference: TempoDifference, pair: Pair) -> Finding | None:
    """The stretch of at least a second that leaves the mean tempo furthest behind."""
    times = np.array(difference.curve_s)
    away = np.array(difference.curve_percent)
    half = np.array(difference.curve_half_width_percent)
    if len(times) < 2:
        return None
    clear = (np.abs(away) >= MOMENT_OF_TEMPO.size) & (np.abs(away) > CLEAR * half / 1.96)
    state = np.where(clear, np.sign(away), 0).astype(np.int64)
    state[1:][np.diff(times) > 1.5 / CURVE_RATE_HZ] = 0
    changes = np.flatnonzero(np.diff(state)) + 1
    best: tuple[float, int, int] | None = None
    for first, behind in zip(
        np.concatenate([[0], changes]), np.concatenate([changes, [len(state)]]), strict=True
    ):
        length_s = (behind - first) / CURVE_RATE_HZ
        if state[first] == 0 or length_s < SHORTEST_LOCAL_S:
            continue
        moved_s = float(np.abs(away[first:behind]).mean()) * math.sqrt(length_s)
        if best is None or moved_s > best[0]:
            best = (moved_s, int(first), int(behind))
    if best is None:
        return None
    chosen = slice(best[1], best[2])
    longer, reach = float(away[chosen].mean()), float(half[chosen].mean())
    value, around = as_tempo(longer, (longer - reach, longer + reach))
    span = (float(times[chosen][0]), float(times[chosen][-1]))
    holds = value < 0
    text = (
        f"At {clock(span[0])}-{clock(span[1])} the candidate"
        f" {'holds back' if holds else 'pushes on'}: against the reference it is there"
        f" {abs(value):.0f} % {'slower' if holds else 'faster'} than on average"
        f" ({between(around, 0)} %)."
    )
    brief = span[1] - span[0] < _MOMENT_S
    where = f"at {clock(span[0])}" if brief else f"from {clock(span[0])} to {clock(span[1])}"
    advice = f"{'Keep moving' if holds else 'Take more time'} {where}."
    kind, size = "holds_back" if holds else "pushes_on", Size(value, around, MOMENT_OF_TEMPO)
    subject = "one moment" if brief else "the tempo of one stretch"
    return _finding(pair, kind, subject, size, (text, advice), span)
