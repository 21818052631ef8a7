"""Swings that are smaller or larger, in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mixcompare.aspects.dynamics.about import CLIPPED, LEVEL_OF_THE_WHOLE, PASSAGE, SWING
from mixcompare.aspects.dynamics.slope import Slope
from mixcompare.aspects.dynamics.values import DynamicsDifference, Move
from mixcompare.features.clipping import FRAME_S
from mixcompare.findings import Finding, places, size_in_jnd, steps_of_dynamics
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import Evidence, evidence
from mixcompare.findings.noticeable import JustNoticeable
from mixcompare.findings.size import Size
from mixcompare.pair.pair import Pair

STEEPEST_ALONE = 3.0
"""Above a level alone, swings that grow further come from something else that enters there
(common practice, no source)."""


def finding(
    difference: DynamicsDifference, pair: Pair, slope: Slope, above: Slope | None, only_loud: bool
) -> Finding:
    """What is said of swings that differ, over the whole range or above a level alone."""
    low, high = slope.interval
    smaller = slope.value < 1
    proof = _proof(slope, pair)
    return Finding(
        aspect="dynamics",
        kind="dynamics_smaller" if smaller else "dynamics_larger",
        subject="swings between soft and loud" if not only_loud else "loud passages",
        difference=slope.value - 1,
        interval=(low - 1, high - 1),
        unit="dB/dB",
        jnd=_jnd(slope),
        noticeable=SWING,
        evidence=proof,
        spans_s=difference.loud_spans_s if only_loud else difference.spans_s,
        band_hz=None,
        cause=weighed(
            Differs.SWING,
            *([Seen.ABOVE_A_LEVEL_ONLY] if above is not None else []),
            same_take=pair.same_take,
        ),
        text=_sentence(difference, slope, above, only_loud),
        advice=_advice(difference, pair, slope, only_loud),
    )


def move_finding(move: Move, pair: Pair) -> Finding:
    """What is said of a whole that was ridden or faded."""
    louder = move.level_db > 0
    size, more = f"{abs(move.level_db):.1f} dB", "louder" if louder else "softer"
    back = f"{abs(move.level_db):.0f} dB {'down' if louder else 'up'}"
    if move.is_fade:
        kind = "whole_swells" if louder else "whole_fades"
        text = f"The whole grows {more} by {size} from start to end, whatever plays."
        advice = f"Take the fader move out: {back} by the end."
    else:
        kind = f"whole_{more}"
        text = f"The whole is {size} {more} at {places(move.spans_s)}, whatever plays."
        advice = f"Ride the whole back there: about {back}."
    subject = "the level of the whole"
    found = _of_level(move, pair, kind, subject, LEVEL_OF_THE_WHOLE, (text, advice))
    return replace(found, apart=("balance", "width", "placement", "room", "tone"))


def passage_finding(move: Move, pair: Pair) -> Finding:
    """What is said of a passage that another performance plays louder or softer."""
    louder = move.level_db > 0
    size = abs(move.level_db)
    around = _around(move)
    steps = steps_of_dynamics(size)
    more = "louder" if louder else "softer"
    where = places(move.spans_s)
    text = (
        f"At {where} the candidate is {size:.1f} dB {more} than the reference, beside how loud both"
        f" are on the whole (between {min(map(abs, around)):.1f} and {max(map(abs, around)):.1f}"
        f" dB): {steps}."
    )
    back = "less" if louder else "more"
    advice = (
        f"Ask for {back} there, {steps}.",
        f"Or ride the whole there: about {size:.0f} dB {'down' if louder else 'up'}.",
    )
    found = _of_level(move, pair, f"passage_{more}", "one passage", PASSAGE, (text, *advice))
    return replace(found, apart=("balance", "tone"))


def _around(move: Move) -> tuple[float, float]:
    return move.level_db - move.within_db, move.level_db + move.within_db


def _of_level(
    move: Move,
    pair: Pair,
    kind: str,
    subject: str,
    noticeable: JustNoticeable,
    words: tuple[str, ...],
) -> Finding:
    size = Size(move.level_db, _around(move), noticeable)
    proof = size.evidence(pair.same_take)
    text, *advice = words
    return Finding(
        aspect="dynamics",
        kind=kind,
        subject=subject,
        difference=size.value,
        interval=size.around,
        unit="dB",
        jnd=size.jnd,
        noticeable=noticeable,
        evidence=proof,
        spans_s=move.spans_s,
        band_hz=None,
        cause=weighed(Differs.SWING, same_take=pair.same_take),
        text=text,
        advice=tuple(advice),
    )


def clipped_finding(difference: DynamicsDifference, pair: Pair) -> Finding:
    """What is said of tops that are cut off in one recording and not in the other."""
    share = difference.clipped_percent
    whose = "candidate" if share > 0 else "reference"
    frames = abs(share) / 100 * pair.duration_s / FRAME_S
    # So many frames might by chance have been so many more or fewer (Poisson).
    reach = abs(share) * 1.96 / max(frames, 1.0) ** 0.5
    around = (share - reach, share + reach)
    spans_s = difference.clipped_spans_s or (pair.span_s,)
    text = (
        f"The {whose} is clipped: its tops are cut off in {abs(share):.1f} % of the time"
        f" ({frames * FRAME_S:.1f} s in all), at {places(spans_s)}. What else differs there was"
        " left out of the judgement."
    )
    advice = (
        "Go back to before the stage that was driven too far and take its input down; lowering the"
        " level afterwards does not bring the tops back."
        if share > 0
        else "Nothing to do: the candidate's tops are whole."
    )
    proof = evidence(share, around, pair.same_take)
    return Finding(
        aspect="dynamics",
        kind=f"clipping_{'added' if share > 0 else 'removed'}",
        subject="clipped tops",
        difference=share,
        interval=around,
        unit="%",
        jnd=size_in_jnd(share, around, CLIPPED.size),
        noticeable=CLIPPED,
        evidence=proof,
        apart=("balance", "width", "placement", "room", "tone"),
        spans_s=spans_s,
        band_hz=None,
        cause=weighed(Differs.SWING, Seen.ABOVE_A_LEVEL_ONLY, same_take=pair.same_take),
        text=text,
        advice=(advice,),
    )


def sticks_out(slope: Slope) -> bool:
    """Whether even the nearest end of the interval is a just-noticeable difference away from 1."""
    low, high = slope.interval
    least = 1 + SWING.size
    return low > least or high < 1 / least


def _against(above: Slope, whole: Slope) -> Slope:
    """The slope above the knee over that of the whole range."""
    low, high = above.interval
    return Slope(above.value / whole.value, (low / whole.value, high / whole.value))


def _jnd(slope: Slope) -> float:
    """Size by the ratio of the swings, so that exchanging the recordings leaves it as it is."""
    low, high = np.log(slope.interval)
    size = SWING.size
    return size_in_jnd(float(np.log(slope.value)), (float(low), float(high)), size)


def _proof(slope: Slope, pair: Pair) -> Evidence:
    low, high = np.log(slope.interval)
    return evidence(float(np.log(slope.value)), (float(low), float(high)), pair.same_take)


def _sentence(
    difference: DynamicsDifference, slope: Slope, above: Slope | None, only_loud: bool
) -> str:
    level = f"{difference.knee_lufs:.0f} LUFS" if difference.knee_lufs is not None else ""
    rises = f"where the reference rises by 10 dB, the candidate rises by {_per_ten(slope)}"
    if only_loud:
        opening = "Loud passages are held back" if slope.value < 1 else "Loud passages tower more"
        return f"{opening}: above about {level}, {rises}."
    extent = "smaller" if slope.value < 1 else "larger"
    sentence = f"Swings between soft and loud are {extent}: {rises}"
    if above is not None and sticks_out(above) and sticks_out(_against(above, slope)):
        sentence += f"; mainly above about {level}, where it is {_per_ten(above)}"
    return f"{sentence}."


def _per_ten(slope: Slope) -> str:
    """A slope as what becomes of 10 dB."""
    low, high = (10 * limit for limit in slope.interval)
    return f"about {10 * slope.value:.1f} dB ({low:.1f} to {high:.1f})"


def _advice(
    difference: DynamicsDifference, pair: Pair, slope: Slope, only_loud: bool
) -> tuple[str, ...]:
    where = f" above about {difference.knee_lufs:.0f} LUFS" if only_loud else ""
    ratio = max(slope.value, 1 / slope.value)
    extent = "about 10:1 or more" if ratio >= 10 else f"about {ratio:.1f}:1"
    if slope.value < 1:
        desk = f"If the bus is compressed, ease it: {extent}{where} would explain this."
        loud, soft = "up", "down"
        podium = "Ask for more contrast: softer in the soft bars rather than louder in the loud."
    else:
        # Another orchestra is asked to play so, not pressed to it.
        desk = f"Compress the bus by {extent}{where}." if pair.same_take else ""
        loud, soft = "down", "up"
        podium = "Ask for less contrast: fuller in the soft bars, held back in the loud ones."
    advice = [] if pair.same_take else [podium]
    advice += [desk] if desk else []
    rides = _rides_db(difference, slope)
    if rides >= 1 and not only_loud:
        advice.append(
            f"Or ride the faders: about {rides:.0f} dB {loud} in the loudest bars"
            f" and {soft} in the softest."
        )
    return tuple(advice)


def _rides_db(difference: DynamicsDifference, slope: Slope) -> float:
    """Fader movement either way that gives the candidate the reference's swing."""
    if difference.level_range_db is None:
        return 0.0
    reference_range_db = 2 * difference.level_range_db / (1 + slope.value)
    return abs(1 - slope.value) * reference_range_db / 2


def slope_of(value: float | None, interval: tuple[float, float] | None) -> Slope | None:
    """A slope with its interval, where both are known."""
    return None if value is None or interval is None else Slope(value, interval)
