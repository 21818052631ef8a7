"""Room: how long the sound dies away, and how wet one recording is against another.

Conventions
-----------
What is heard       length and amount of reverberation
decay_time_s        60 dB decay time, mean of the 500 and 1000 Hz octaves (ISO 3382-1:2009)
early_decay_time_s  the same from the first 10 dB; clarity_c80_db likewise only from an impulse
wetness_db          change of reverberant energy, see :mod:`mixcompare.wetness`
Sign                candidate minus reference: positive = the candidate is wetter, rings longer
Source              ISO 3382-1:2009; just-noticeable differences in its Table A.1

Music hides the room. A decay time is given where the music stops and the sound falls freely by
35 dB; a fall that is no slower than instruments die away by themselves (about 1.7 s) only says
"at most". Between two recordings the amount of reverberation can be compared all the time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from mixcompare.analyzers.base import NOT_IN_REPORT
from mixcompare.features import Features
from mixcompare.findings import (
    JUST_NOTICEABLE,
    Cause,
    Finding,
    Span,
    signed,
    size_in_jnd,
)
from mixcompare.iso3382 import OCTAVES_HZ, Decay
from mixcompare.match import Match
from mixcompare.tails import even_time, free_falls, impulse_start, octave_decays, part_of
from mixcompare.wetness import LEAST_GAIN, MOST_DB, Wetness, wetness_between

FloatArray = npt.NDArray[np.float64]
Interval = tuple[float, float]

_MID_OCTAVES_HZ = (500.0, 1000.0)
_INSTRUMENTS_S = 1.7
_TAIL_UNCERTAINTY = 0.15

_MOST_UNPROVEN_DB = 6.5
_SYSTEMATIC_DB = {True: 0.3, False: 1.0}
_TEMPO_DB = 25.0  # per unit of ln(tempo ratio): a stretched clock stretches the decay


@dataclass(frozen=True)
class RoomMeasurement:
    """One recording's reverberation, as far as its own pauses tell.

    Attributes
    ----------
    decay_time_s : float or None
        Mid octaves, median over the tails.
    decay_time_interval : tuple of float or None
    decay_time_at_most_s : float or None
        Where only an upper bound can be told.
    early_decay_time_s, clarity_c80_db : float or None
        From an impulse response only.
    octave_centre_hz, octave_decay_time_s : tuple
        Decay time per octave; None where that octave shows no clean decay.
    tails_s : tuple of (start, end)
        Where the music stops and the sound dies away.
    reasons : tuple of str
    """

    decay_time_s: float | None
    decay_time_interval: Interval | None
    decay_time_at_most_s: float | None
    early_decay_time_s: float | None
    clarity_c80_db: float | None
    octave_centre_hz: tuple[float, ...] = ()
    octave_decay_time_s: tuple[float | None, ...] = ()
    tails_s: tuple[Span, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class RoomDifference:
    """Reverberation of the candidate against the reference.

    Attributes
    ----------
    wetness_db : float or None
        Change of reverberant energy (see the module's table).
    wetness_db_interval : tuple of float or None
    kernel_time_s : float or None
        Decay time of what the wetter recording has more.
    decay_time_s, decay_time_percent : float or None
        Only where both decay times could be measured.
    decay_time_percent_interval : tuple of float or None
    early_decay_time_s, clarity_c80_db : float or None
    register_wetness_db : tuple of float
        Each register by itself: below 280 Hz, to 900 Hz, to 2.8 kHz, above.
    explained : float or None
        Share of the momentary differences that the fit explains.
    same_take : bool
    span_s, candidate_span_s : (start, end)
    reference_decay_time_s, candidate_decay_time_s : float or None
    reasons : tuple of str
    """

    wetness_db: float | None
    wetness_db_interval: Interval | None
    kernel_time_s: float | None
    decay_time_s: float | None
    decay_time_percent: float | None
    decay_time_percent_interval: Interval | None
    early_decay_time_s: float | None
    clarity_c80_db: float | None
    register_wetness_db: tuple[float, ...]
    explained: float | None
    same_take: bool
    span_s: Span
    candidate_span_s: Span
    reference_decay_time_s: float | None = field(default=None, metadata=NOT_IN_REPORT)
    candidate_decay_time_s: float | None = field(default=None, metadata=NOT_IN_REPORT)
    reasons: tuple[str, ...] = ()


class Room:
    """Analyzer of reverberation."""

    aspect = "room"

    def measure(self, features: Features) -> RoomMeasurement:
        """Measure the decay where the music of one recording stops."""
        impulse = impulse_start(features)
        if impulse is not None:
            return _of_impulse(features, impulse)
        tails = free_falls(features)
        if not tails:
            reason = "The music never stops for long enough to hear the room die away."
            return RoomMeasurement(None, None, None, None, None, reasons=(reason,))
        decays = [octave_decays(part_of(features, tail)) for tail in tails]
        times = [time for time in map(_mid_time, decays) if time is not None]
        used = tuple(tails)
        if not times:
            reason = "Where the music stops, the sound doesn't fall evenly enough to time it."
            return RoomMeasurement(None, None, None, None, None, tails_s=used, reasons=(reason,))
        time = float(np.median(times))
        only_impulses = "Early decay and clarity can't be told from music."
        if time < _INSTRUMENTS_S:
            reason = (
                f"The sound falls as in {time:.1f} s, which instruments alone may take:"
                f" the room's decay time is at most {time:.1f} s."
            )
            return RoomMeasurement(
                None, None, time, None, None, tails_s=used, reasons=(reason, only_impulses)
            )
        spread = max(float(np.ptp(times)) / 2, _TAIL_UNCERTAINTY * time)
        return RoomMeasurement(
            decay_time_s=time,
            decay_time_interval=(time - spread, time + spread),
            decay_time_at_most_s=None,
            early_decay_time_s=None,
            clarity_c80_db=None,
            octave_centre_hz=OCTAVES_HZ,
            octave_decay_time_s=_per_octave(decays),
            tails_s=used,
            reasons=(only_impulses,),
        )

    def compare(self, reference: Features, candidate: Features, match: Match) -> RoomDifference:
        """Fit the relative wetness, and compare the decay times where both are known."""
        ours, theirs = self.measure(reference), self.measure(candidate)
        fit = wetness_between(reference, candidate, match)
        span = match.time_map.span_s
        candidate_span = match.time_map.candidate_span_s
        tempo = (candidate_span[1] - candidate_span[0]) / (span[1] - span[0])
        percent, percent_interval = _percent(ours, theirs)
        wetness, limits, reasons = _verdict(fit, match.same_take, tempo, percent)
        if percent is None:
            reasons.append("The decay time can't be told in both recordings.")
        return RoomDifference(
            wetness_db=wetness,
            wetness_db_interval=limits,
            kernel_time_s=fit.kernel_time_s if fit and wetness else None,
            decay_time_s=_minus(theirs.decay_time_s, ours.decay_time_s),
            decay_time_percent=percent,
            decay_time_percent_interval=percent_interval,
            early_decay_time_s=_minus(theirs.early_decay_time_s, ours.early_decay_time_s),
            clarity_c80_db=_minus(theirs.clarity_c80_db, ours.clarity_c80_db),
            register_wetness_db=fit.register_db if fit else (),
            explained=fit.gain if fit else None,
            same_take=match.same_take,
            span_s=span,
            candidate_span_s=candidate_span,
            reference_decay_time_s=ours.decay_time_s,
            candidate_decay_time_s=theirs.decay_time_s,
            reasons=tuple(reasons),
        )

    def findings(self, difference: RoomDifference) -> list[Finding]:
        """Wetter or drier; else longer or shorter."""
        wetness = _wetness_finding(difference)
        if wetness is not None:
            return [wetness]
        decay = _decay_finding(difference)
        return [] if decay is None else [decay]


analyzer = Room()


def _minus(candidate: float | None, reference: float | None) -> float | None:
    return None if candidate is None or reference is None else candidate - reference


def _of_impulse(features: Features, start_s: float) -> RoomMeasurement:
    decays = octave_decays(part_of(features, (start_s, features.duration_s)))
    mid = [decays[OCTAVES_HZ.index(octave)] for octave in _MID_OCTAVES_HZ]
    times = [decay.t30_s or decay.t20_s for decay in mid]
    known = [time for time in times if time is not None]
    early = [decay.edt_s for decay in mid if decay.edt_s is not None]
    clarity = [decay.c80_db for decay in mid if decay.c80_db is not None]
    time = float(np.mean(known)) if known else None
    return RoomMeasurement(
        decay_time_s=time,
        decay_time_interval=None if time is None else (0.95 * time, 1.05 * time),
        decay_time_at_most_s=None,
        early_decay_time_s=float(np.mean(early)) if early else None,
        clarity_c80_db=float(np.mean(clarity)) if clarity else None,
        octave_centre_hz=OCTAVES_HZ,
        octave_decay_time_s=_per_octave([decays]),
        tails_s=((start_s, features.duration_s),),
    )


def _mid_time(decays: list[Decay]) -> float | None:
    times = [even_time(decays[OCTAVES_HZ.index(octave)]) for octave in _MID_OCTAVES_HZ]
    known = [time for time in times if time is not None]
    return float(np.mean(known)) if len(known) == len(times) else None


def _per_octave(tails: list[list[Decay]]) -> tuple[float | None, ...]:
    result: list[float | None] = []
    for octave in zip(*tails, strict=True):
        times = [time for time in map(even_time, octave) if time is not None]
        result.append(float(np.median(times)) if times else None)
    return tuple(result)


def _verdict(
    fit: Wetness | None, same_take: bool, tempo: float, decay_percent: float | None
) -> tuple[float | None, Interval | None, list[str]]:
    """Wetness with its interval, or None with the reason."""
    if fit is None:
        return None, None, ["Less than 8 s, or too few registers, in common."]
    systematic = _SYSTEMATIC_DB[same_take] + _TEMPO_DB * abs(float(np.log(tempo)))
    value = fit.wetness_db
    low = value - float(np.hypot(value - fit.scatter_db[0], systematic))
    high = value + float(np.hypot(fit.scatter_db[1] - value, systematic))
    if abs(value) >= MOST_DB:
        # The end of what is tried: the truth may lie beyond.
        low, high = (low, high + MOST_DB / 2) if value > 0 else (low - MOST_DB / 2, high)
    if not fit.is_told:
        # Not told from no change at all.
        return value, (min(low, -abs(value)), max(high, abs(value))), []
    if fit.even_db * value <= 0:
        return None, None, ["What looks like reverberation goes with the momentary level."]
    if not fit.everywhere:
        return (
            None,
            None,
            [
                "What looks like reverberation concerns part of the registers only: rather other"
                " note lengths or another balance than another room."
            ],
        )
    tails_agree = decay_percent is not None and decay_percent * value > 0
    doubtful = abs(value) > _MOST_UNPROVEN_DB or fit.may_be_note_lengths
    if doubtful and not same_take and not tails_agree:
        return (
            None,
            None,
            [
                "So large a difference in reverberation may as well be one in how long the notes"
                " are held; no tail of the music decides."
            ],
        )
    return value, (low, high), []


def _percent(
    reference: RoomMeasurement, candidate: RoomMeasurement
) -> tuple[float | None, Interval | None]:
    if reference.decay_time_s is None or candidate.decay_time_s is None:
        return None, None
    change = 100 * (candidate.decay_time_s / reference.decay_time_s - 1)
    width = 0.0
    for one in (reference, candidate):
        if one.decay_time_s is not None and one.decay_time_interval is not None:
            low, high = one.decay_time_interval
            width = float(np.hypot(width, (high - low) / 2 / one.decay_time_s))
    spread = width * (100 + change)
    return change, (change - spread, change + spread)


def _cause(same_take: bool) -> Cause:
    return Cause.weighing(0.0, 0.25, 0.75) if same_take else Cause.weighing(0.05, 0.65, 0.3)


def _wetness_finding(difference: RoomDifference) -> Finding | None:
    value, limits = difference.wetness_db, difference.wetness_db_interval
    if value is None or limits is None:
        return None
    size = size_in_jnd(value, limits, JUST_NOTICEABLE["wetness"].size)
    if size < 1:
        return None
    wetter = value > 0
    text = (
        f"The candidate is {'wetter' if wetter else 'drier'}: as if its reverberation were"
        f" {'at least ' if abs(value) >= MOST_DB else ''}{abs(value):.0f} dB"
        f" {'stronger' if wetter else 'weaker'}"
        f" ({limits[0]:+.1f} to {limits[1]:+.1f} dB)"
    )
    longer = difference.decay_time_percent
    if longer is not None and difference.reference_decay_time_s is not None:
        text += (
            f"; it dies away in {difference.candidate_decay_time_s:.1f} s against"
            f" {difference.reference_decay_time_s:.1f} s"
        )
    return Finding(
        aspect="room",
        kind="wetter" if wetter else "drier",
        subject="the reverberation",
        difference=value,
        interval=limits,
        unit="dB",
        jnd=size,
        confidence=_confidence(difference.explained or 0.0),
        spans_s=(difference.span_s,),
        candidate_spans_s=(difference.candidate_span_s,),
        band_hz=None,
        cause=_cause(difference.same_take),
        text=text + ".",
        advice=_advice(value, difference.same_take),
    )


def _confidence(explained: float) -> float:
    return float(np.clip(0.7 + 3 * (explained - LEAST_GAIN), 0.7, 0.97))


def _advice(value: float, same_take: bool) -> tuple[str, ...]:
    way, other = ("down", "shorter") if value > 0 else ("up", "longer")
    advice = [
        f"Bring the ambience microphones or the reverb return {way} by about"
        f" {max(round(abs(value)), 1)} dB, then judge by ear."
    ]
    if same_take:
        advice.append(f"If the tail still differs, try a {other} reverb.")
    else:
        advice.append(
            "If the recordings were made in different halls, expect the mix to mend only part."
        )
    return tuple(advice)


def _decay_finding(difference: RoomDifference) -> Finding | None:
    value, limits = difference.decay_time_percent, difference.decay_time_percent_interval
    if value is None or limits is None or difference.reference_decay_time_s is None:
        return None
    size = size_in_jnd(value, limits, JUST_NOTICEABLE["decay"].size)
    if size < 1:
        return None
    longer = value > 0
    return Finding(
        aspect="room",
        kind="decay_longer" if longer else "decay_shorter",
        subject="the decay of the sound",
        difference=value,
        interval=limits,
        unit="%",
        jnd=size,
        confidence=0.8,
        spans_s=(difference.span_s,),
        candidate_spans_s=(difference.candidate_span_s,),
        band_hz=None,
        cause=_cause(difference.same_take),
        text=(
            f"The sound dies away in {difference.candidate_decay_time_s:.1f} s against"
            f" {difference.reference_decay_time_s:.1f} s in the reference"
            f" ({signed(value, '%', 0)})."
        ),
        advice=(f"Try a {'shorter' if longer else 'longer'} reverb.",),
    )
