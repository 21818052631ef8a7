"""Wetter, drier, longer, shorter: in words."""

from __future__ import annotations

from mixcompare.aspects.room.about import DECAY, WETNESS
from mixcompare.aspects.room.values import RoomDifference
from mixcompare.findings import Cause, Finding, signed, size_in_jnd
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.pair.pair import Pair
from mixcompare.pair.wetness import LEAST_GAIN, MOST_DB


def _cause(pair: Pair, difference: RoomDifference) -> Cause:
    """A tail of the music that dies away otherwise speaks for another room."""
    tails = [Seen.A_TAIL_AGREES] if difference.decay_time_percent is not None else []
    return weighed(Differs.REVERBERATION, *tails, same_take=pair.same_take)


def wetness_finding(difference: RoomDifference, pair: Pair) -> Finding | None:
    """What is said of more or less reverberation."""
    value, limits = difference.wetness_db, difference.wetness_db_interval
    if value is None or limits is None:
        return None
    size = size_in_jnd(value, limits, WETNESS.size)
    if size < 1:
        return None
    wetter = value > 0
    text = (
        f"The candidate is {'wetter' if wetter else 'drier'}: as if its reverberation were"
        f" {'at least ' if abs(value) >= MOST_DB else ''}{abs(value):.0f} dB"
        f" {'stronger' if wetter else 'weaker'}"
        f" ({limits[0]:+.1f} to {limits[1]:+.1f} dB)"
    )
    decays = _decays(difference)
    if decays is not None:
        text += f"; {decays[0]}"
    share = (difference.explained or 0.0) / (2 * LEAST_GAIN)
    proof = evidence(value, limits, pair.same_take, explained=share)
    return Finding(
        aspect="room",
        kind="wetter" if wetter else "drier",
        subject="the reverberation",
        difference=value,
        interval=limits,
        unit="dB",
        jnd=size,
        noticeable=WETNESS,
        confidence=proof.confidence,
        evidence=proof,
        spans_s=(pair.span_s,),
        band_hz=None,
        cause=_cause(pair, difference),
        text=text + ".",
        advice=_advice(value, pair.same_take, decays is not None and decays[1] == wetter),
    )


def _decays(difference: RoomDifference) -> tuple[str, bool] | None:
    """How both die away, in words, and whether the candidate takes longer; None if untold."""
    of_reference, of_candidate = (
        difference.reference_decay_time_s,
        difference.candidate_decay_time_s,
    )
    if (
        of_reference is not None
        and of_candidate is not None
        and difference.decay_time_percent is not None
    ):
        return (
            f"it dies away in {of_candidate:.1f} s against {of_reference:.1f} s",
            of_candidate > of_reference,
        )
    bound = difference.reference_decay_time_at_most_s
    if of_candidate is not None and bound is not None and of_candidate > 1.1 * bound:
        return f"it dies away in {of_candidate:.1f} s, the reference in at most {bound:.1f} s", True
    bound = difference.candidate_decay_time_at_most_s
    if of_reference is not None and bound is not None and of_reference > 1.1 * bound:
        return (
            f"it dies away in at most {bound:.1f} s, the reference in {of_reference:.1f} s",
            False,
        )
    return None


def _advice(value: float, same_take: bool, tail_differs: bool) -> tuple[str, ...]:
    way, other = ("down", "shorter") if value > 0 else ("up", "longer")
    advice = [
        f"Bring the ambience microphones or the reverb return {way} by about"
        f" {max(round(abs(value)), 1)} dB, then judge by ear."
    ]
    if same_take:
        start = "Take" if tail_differs else "If the tail still differs, try"
        advice.append(f"{start} a {other} reverb.")
    else:
        advice.append(
            "If the recordings were made in different halls, expect the mix to mend only part."
        )
    return tuple(advice)


def decay_finding(difference: RoomDifference, pair: Pair) -> Finding | None:
    """What is said of a longer or shorter decay."""
    value, limits = difference.decay_time_percent, difference.decay_time_percent_interval
    if value is None or limits is None or difference.reference_decay_time_s is None:
        return None
    size = size_in_jnd(value, limits, DECAY.size)
    if size < 1:
        return None
    longer = value > 0
    proof = evidence(value, limits, pair.same_take, agreeing=_agreeing(difference, pair))
    return Finding(
        aspect="room",
        kind="decay_longer" if longer else "decay_shorter",
        subject="the decay of the sound",
        difference=value,
        interval=limits,
        unit="%",
        jnd=size,
        noticeable=DECAY,
        confidence=proof.confidence,
        evidence=proof,
        spans_s=(pair.span_s,),
        band_hz=None,
        cause=_cause(pair, difference),
        text=(
            f"The sound dies away in {difference.candidate_decay_time_s:.1f} s against"
            f" {difference.reference_decay_time_s:.1f} s in the reference"
            f" ({signed(value, '%', 0)})."
        ),
        advice=(f"Try a {'shorter' if longer else 'longer'} reverb.",),
    )


def _agreeing(difference: RoomDifference, pair: Pair) -> float:
    """Other players' last notes end otherwise in the same room: then the wetness has to agree."""
    limits, percent = difference.wetness_db_interval, difference.decay_time_percent
    if pair.same_take:
        return 1.0
    if limits is None or percent is None:
        return 0.0
    return 0.8 if (limits[0] > 0 if percent > 0 else limits[1] < 0) else 0.0
