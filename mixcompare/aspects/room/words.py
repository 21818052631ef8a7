"""Wetter, drier, longer, shorter: in words."""

from __future__ import annotations

import numpy as np

from mixcompare.aspects.room.about import DECAY, GAPS, WETNESS
from mixcompare.aspects.room.borne_out import borne_out
from mixcompare.aspects.room.values import Interval, RoomDifference
from mixcompare.findings import Cause, Finding, Foretold, between, signed, size_in_jnd
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.pair.pair import Pair
from mixcompare.pair.wetness import LEAST_GAIN, MOST_DB

_UNTESTED = 0.6  # a tail that lifts everything alike is not seen in the gaps
_TONE_DB = 2.0  # from which a tail is called dark or bright: a little more than is just noticed


def _cause(pair: Pair, difference: RoomDifference) -> Cause:
    """A tail of the music that dies away otherwise speaks for another room."""
    tails = [Seen.A_TAIL_AGREES] if difference.decay_time_percent is not None else []
    return weighed(Differs.REVERBERATION, *tails, same_take=pair.same_take)


def wetness_finding(difference: RoomDifference, pair: Pair) -> Finding | None:
    """What is said of more or less reverberation."""
    value, limits, noticeable = difference.wetness_db, difference.wetness_db_interval, WETNESS
    if difference.gaps_db is not None and difference.gaps_db_interval is not None:
        # A tail is heard where the music leaves it free, long before it weighs against the whole.
        value, limits, noticeable = difference.gaps_db, difference.gaps_db_interval, GAPS
    if value is None or limits is None:
        return None
    size = size_in_jnd(value, limits, noticeable.size)
    if size < 1:
        return None
    wetter = value > 0
    decays = _decays(difference)
    if difference.tail_level_db is None:
        share = (difference.explained or 0.0) / (2 * LEAST_GAIN)
        proof = evidence(value, limits, pair.same_take, explained=share)
        text = (
            f"The candidate is {'wetter' if wetter else 'drier'}: as if its reverberation were"
            f" {'at least ' if abs(value) >= MOST_DB else ''}{abs(value):.1f} dB"
            f" {'stronger' if wetter else 'weaker'}"
            f" ({between(limits)} dB)"
        )
        advice = _advice(value, pair.same_take, decays is not None and decays[1] == wetter)
    else:
        borne_out = difference.tail_borne_out
        agreeing = _UNTESTED if borne_out is None else borne_out
        proof = evidence(value, limits, pair.same_take, agreeing=agreeing)
        text = _tail_in_words(difference, wetter)
        advice = _tail_advice(difference, wetter)
    if decays is not None:
        text += f"; {decays[0]}"
    return Finding(
        aspect="room",
        kind="wetter" if wetter else "drier",
        subject="the reverberation",
        difference=value,
        interval=limits,
        unit="dB",
        jnd=size,
        noticeable=noticeable,
        evidence=proof,
        spans_s=(pair.span_s,),
        band_hz=None,
        cause=_cause(pair, difference),
        text=text + ".",
        advice=advice,
        foretold=_foretold(pair) if difference.tail_level_db is not None else (),
        apart=_apart(difference, limits, pair),
    )


def _apart(difference: RoomDifference, limits_db: Interval, pair: Pair) -> tuple[str, ...]:
    """Other players' notes do not explain what the tail of the music or the image bears out."""
    value = difference.wetness_db
    if pair.same_take or value is None:
        return ()
    proven = borne_out(pair, value, limits_db, difference.decay_time_percent)
    return () if proven is None else ("articulation",)


def _tail_in_words(difference: RoomDifference, wetter: bool) -> str:
    """The tail as an engineer sets it, each figure with its interval."""
    level_db, limits_db = difference.tail_level_db or 0.0, difference.tail_level_db_interval
    late_ms, decay_s = difference.tail_predelay_ms, difference.kernel_time_s
    words = "a tail"
    if decay_s is not None:
        words += f" of about {decay_s:.1f} s"
        if difference.kernel_time_s_interval is not None:
            words += " ({:.1f} to {:.1f} s)".format(*difference.kernel_time_s_interval)
    side = "under" if level_db < 0 else "over"
    words += f", {abs(level_db):.0f} dB {side} the direct sound"
    if limits_db is not None:
        words += f" ({limits_db[0]:+.0f} to {limits_db[1]:+.0f} dB)"
    if late_ms is not None:
        words += f", {late_ms:.0f} ms late"
    tone = _tone_of(difference)
    if tone:
        words += f", {tone} above 2.8 kHz"
    gaps_db, around_db = difference.gaps_db or 0.0, difference.gaps_db_interval
    start = "wetter: it has" if wetter else "drier: it lacks"
    way = "up" if wetter else "down"
    text = (
        f"The candidate is {start} {words}. Gaps and decays of the music come {way} by as much as"
        f" {abs(gaps_db):.1f} dB"
    )
    if around_db is not None:
        low, high = sorted(map(abs, around_db))
        text += f" ({low:.1f} to {high:.1f} dB)"
    return text


def _foretold(pair: Pair) -> tuple[Foretold, ...]:
    """What the tail does to levels of bands, and to their moments where both interfere."""
    response = pair.reverberation if pair.reference is not None else None
    if response is None or response.tail is None:
        return ()
    tail = response.tail
    sign = 1 if tail.added else -1
    out = []
    for centre_hz, (whole_db, most_db) in zip(tail.lift_hz, tail.lift_db, strict=True):
        # Tones that the tail lays over themselves add up as pressures, by chance in phase.
        share = 2 * (10 ** (most_db / 10) - 1)
        out.append(
            Foretold(
                float(centre_hz), sign * float(whole_db), float(20 * np.log10(1 + np.sqrt(share)))
            )
        )
    return tuple(out)


def _tone_of(difference: RoomDifference) -> str:
    """Whether the tail is dark or bright, where that is sure."""
    limits_db = difference.tail_top_db_interval
    if limits_db is None:
        return ""
    if limits_db[1] < -_TONE_DB:
        return "dark"
    return "bright" if limits_db[0] > _TONE_DB else ""


def _tail_advice(difference: RoomDifference, wetter: bool) -> tuple[str, ...]:
    """What takes the tail off again, or puts it on."""
    if wetter:
        return (
            "Take the added reverb or ambience out, or bring its return down until the gaps"
            " between the notes are as still as in the reference.",
        )
    set_as = [f"return {-(difference.tail_level_db or 0.0):.0f} dB under the direct sound"]
    if difference.kernel_time_s is not None:
        set_as.insert(0, f"decay {difference.kernel_time_s:.1f} s")
    if difference.tail_predelay_ms is not None:
        set_as.append(f"pre-delay {difference.tail_predelay_ms:.0f} ms")
    tone = _tone_of(difference)
    if tone:
        set_as.append(f"{'cut' if tone == 'dark' else 'raised'} above 2.8 kHz")
    return (
        f"Bring the ambience microphones up, or add a reverb: {', '.join(set_as)};"
        " then judge by ear.",
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
