"""Wider, narrower, mono, inverted: in words."""

from __future__ import annotations

from dataclasses import replace

from mixcompare.aspects.width.about import CORRELATION, NEAR_MONO, WIDTH
from mixcompare.aspects.width.values import AGREEING_SHARE, LOW_HZ, WidthDifference
from mixcompare.findings import Cause, Finding, between
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.size import Size
from mixcompare.pair.diffuse import least_wetness_db, side_to_mid_db
from mixcompare.pair.pair import Pair

_MADE_WITHIN_DB = 0.3  # side against mid, of most cells alike
INVERTED = 0.3  # correlation of the low bands beyond which a sign can be told


def _finding(
    pair: Pair,
    kind: str,
    size: Size,
    words: tuple[str, str],
    cause: Cause,
    band_hz: tuple[float, float] | None = None,
) -> Finding:
    proof = size.evidence(pair.same_take)
    text, advice = words
    return Finding(
        aspect="width", kind=kind, subject="the stereo image",
        difference=size.value, interval=size.around, unit=size.noticeable.unit, jnd=size.jnd,
        noticeable=size.noticeable, evidence=proof,
        spans_s=(pair.span_s,),
        band_hz=band_hz, cause=cause, text=text, advice=(advice,),
    )  # fmt: skip


def width_finding(difference: WidthDifference, pair: Pair) -> list[Finding]:
    """What is said of a wider or narrower image."""
    value, around = difference.side_to_mid_db, difference.side_to_mid_db_interval
    if value is None or around is None:
        return []
    made = difference.whole_side_db
    if made is not None:
        # What was done to the side signal as a whole is known; the rest are single elements.
        value, around = made, (made - _MADE_WITHIN_DB, made + _MADE_WITHIN_DB)
    share = 1.0 if made is not None else difference.agreeing_share or 0.0
    size = Size(value, around, WIDTH, share)
    if size.jnd < 1 or share < AGREEING_SHARE:
        return []
    if _may_be_the_room(around, pair):
        return []
    wider = value > 0
    direct, decay = difference.side_to_mid_direct_db, difference.side_to_mid_decay_db
    only_decays = direct is not None and decay is not None and abs(direct) < 0.5 * abs(decay)
    text = (
        f"The candidate's stereo image is {'wider' if wider else 'narrower'}:"
        f" its side is {abs(value):.1f} dB {'louder' if wider else 'softer'} against the mid"
        f" ({between(around)})"
        f"{', mostly where sounds die away' if only_decays else ''}."
    )
    less = "less" if wider else "more"
    if only_decays:
        advice = f"Try {less} reverberation or ambience microphones, or a different width of them."
    else:
        advice = (
            f"Bring the side signal {'down' if wider else 'up'} by about {abs(value):.0f} dB,"
            f" or pan with {less} spread."
        )
    kind = "wider" if wider else "narrower"
    words = (text, advice)
    cause = _cause(pair, only_decays)
    found = _finding(pair, kind, size, words, cause)
    return [found if made is None else replace(found, apart=("balance", "placement", "room"))]


def _may_be_the_room(around: tuple[float, float], pair: Pair) -> bool:
    """Whether other players' room may be as wide as that, where it can't be told by itself.

    Where it is told, it explains the image; one take's response says what its room does.
    """
    room = pair.differences.get("room")
    if pair.same_take or room is None or room.wetness_db_interval is None:
        return False
    low, high = room.wetness_db_interval
    if low * high > 0:
        return False
    wider = around[0] > 0
    drier = pair.reference if wider else pair.candidate
    needed_db = least_wetness_db(side_to_mid_db(drier), min(map(abs, around)))
    return needed_db <= float(high if wider else -low)


def _cause(pair: Pair, only_decays: bool) -> Cause:
    """A change in loud direct sound is panning or the microphones; in decays, the room."""
    where = [Seen.IN_DECAYS_ONLY] if only_decays else []
    return weighed(Differs.WIDTH, *where, same_take=pair.same_take)


def mono_finding(difference: WidthDifference, pair: Pair) -> list[Finding]:
    """One take that became mono: in correlation, since side to mid is infinite."""
    if difference.whole_correlation is None:
        return []
    of_reference, of_candidate = difference.whole_correlation
    value = of_candidate - of_reference
    around = (value - 0.02, value + 0.02)
    text = (
        f"The candidate is mono; the reference is stereo with a correlation of {of_reference:.2f}."
    )
    words = (text, "Check the candidate: both channels carry the same signal.")
    cause = weighed(Differs.WIDTH, Seen.ON_ONE_CHANNEL, same_take=pair.same_take)
    found = _finding(pair, "narrower", Size(value, around, NEAR_MONO), words, cause)
    subject = "the stereo image (the candidate is mono)"
    return [replace(found, subject=subject, apart=("balance", "placement", "room"))]


def inverted_finding(difference: WidthDifference, pair: Pair, low: tuple[float, float]) -> Finding:
    """What is said where one channel is inverted in one of the two."""
    value = low[1] - low[0]
    around = (value - 0.1, value + 0.1)
    name = "candidate" if value < 0 else "reference"
    text = (
        f"In the {name} one channel is inverted: from 60 to 500 Hz the channels correlate at"
        f" {low[0]:+.2f} in the reference and at {low[1]:+.2f} in the candidate."
    )
    words = (text, f"Invert the polarity of one channel of the {name}.")
    cause = weighed(Differs.WIDTH, Seen.ON_ONE_CHANNEL, same_take=pair.same_take)
    size = Size(value, around, CORRELATION)
    return _finding(pair, "polarity_inverted", size, words, cause, LOW_HZ)
