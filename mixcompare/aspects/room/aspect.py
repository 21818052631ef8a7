"""Room: how long the sound dies away, and how wet one recording is against another.

Conventions
-----------
What is heard       length and amount of reverberation
decay_time_s        60 dB decay time, mean of the 500 and 1000 Hz octaves (ISO 3382-1:2009)
early_decay_time_s  the same from the first 10 dB; clarity_c80_db likewise only from an impulse
wetness_db          change of reverberant energy, see :mod:`mixcompare.pair.wetness`
tail_level_db ...   of two mixes of one take, see :mod:`mixcompare.pair.reverberation`
Sign                candidate minus reference: positive = the candidate is wetter, rings longer
Source              ISO 3382-1:2009; just-noticeable differences in its Table A.1

Music hides the room. A decay time is given where the music stops and the sound falls freely by
35 dB; a fall that is no slower than instruments may die away by themselves (1.4 s) only says
"at most". Between two recordings the amount of reverberation can be compared all the time.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.room.about import ABOUT
from mixcompare.aspects.room.borne_out import borne_out, not_denied
from mixcompare.aspects.room.freedecay import (
    MID_OCTAVES_HZ,
    Fall,
    bent,
    even_time,
    fall_of,
    free_falls,
    impulse_start,
    mid_time,
    octave_decays,
    part_of,
)
from mixcompare.aspects.room.heard import Heard, across_channels, heard_in, told_tail
from mixcompare.aspects.room.values import Interval, RoomDifference, RoomMeasurement
from mixcompare.aspects.room.words import decay_finding, wetness_finding
from mixcompare.features import Features
from mixcompare.findings import (
    Finding,
    Span,
)
from mixcompare.pair.pair import Pair
from mixcompare.pair.wetness import MOST_DB, SHORTEST_S, Wetness
from mixcompare.standards.iso3382 import OCTAVES_HZ

FloatArray = npt.NDArray[np.float64]

_INSTRUMENTS_S = 1.4  # may die away as slowly by themselves; our judgement, not measured
_UNCERTAINTY = {True: 0.042, False: 0.15}
"""Relative, of a tail of noise that takes 1 s and of a tail of music."""
_BOUND = 1.25  # the instruments' end makes a fall look up to a seventh shorter, and it scatters

_TWO_SLOPES = "The sound falls fast at first and slowly afterwards: one decay time doesn't say it."
_ONE_TIME = "Whether a second, shorter reverberation sounds along can't be told from music."
_ONLY_IMPULSES = "Early decay and clarity can't be told from music."

_MOST_UNPROVEN_DB = 6.5  # beyond, it may be other note lengths; our judgement, not measured
_UNPROVEN = (
    "So large a difference in reverberation may as well be one in how long the notes are held;"
    " neither a tail of the music nor the image decides."
)
_DENIED = (
    "What looks like reverberation left the width of the image as it was: rather other note lengths"
    " than another room."
)
_SYSTEMATIC_DB = {True: 0.3, False: 1.0}  # same take; other performance; our judgement
_RELATIVE = 0.4  # the drier recording's own reverberation makes the fit read a fifth low
_TEMPO_DB = 25.0  # per unit of ln(tempo ratio): a stretched clock stretches the decay


class Room:
    """Analyzer of reverberation."""

    aspect = "room"
    about = ABOUT

    def measure(self, features: Features) -> RoomMeasurement:
        """Measure the decay where the music of one recording stops."""
        impulse = impulse_start(features)
        if impulse is not None:
            return _of_impulse(features, impulse)
        tails = free_falls(features)
        if not tails:
            return _unknown("The music never stops for long enough to hear the room die away.")
        falls = [fall for fall in (fall_of(features, tail) for tail in tails) if fall is not None]
        used = tuple(tails)
        if not falls:
            reason = (
                "Where the music stops, the sound doesn't fall long or evenly enough to time it."
            )
            return _unknown(reason, tails_s=used)
        return _of_falls([fall for fall in falls if fall.is_noise] or falls, used)

    def compare(self, pair: Pair) -> RoomDifference:
        """Fit the relative wetness, and compare the decay times where both are known."""
        match = pair.match
        of_reference, of_candidate = pair.alone(self)
        heard = heard_in(pair)
        span = match.time_map.span_s
        candidate_span = match.time_map.candidate_span_s
        tempo = (candidate_span[1] - candidate_span[0]) / (span[1] - span[0])
        percent, percent_interval = _percent(of_reference, of_candidate)
        if heard is None:
            heard = _fitted(pair, tempo, percent)
        mono = pair.reference.is_mono, pair.candidate.is_mono
        heard = across_channels(heard, mono, told_tail(pair))
        reasons = list(heard.reasons)
        if percent is None:
            one = of_reference.decay_time_s or of_candidate.decay_time_s
            which = "reference" if of_reference.decay_time_s else "candidate"
            only = f"of the {which} only" if one else "of neither recording"
            reasons.append(f"The decay time can be told {only}.")
        return RoomDifference(
            decay_time_s=_minus(of_candidate.decay_time_s, of_reference.decay_time_s),
            decay_time_percent=percent,
            decay_time_percent_interval=percent_interval,
            early_decay_time_s=_minus(
                of_candidate.early_decay_time_s, of_reference.early_decay_time_s
            ),
            clarity_c80_db=_minus(of_candidate.clarity_c80_db, of_reference.clarity_c80_db),
            reference_decay_time_s=of_reference.decay_time_s,
            candidate_decay_time_s=of_candidate.decay_time_s,
            reference_decay_time_at_most_s=of_reference.decay_time_at_most_s,
            candidate_decay_time_at_most_s=of_candidate.decay_time_at_most_s,
            **(vars(heard) | {"reasons": tuple(reasons)}),
        )

    def findings(self, difference: RoomDifference, pair: Pair) -> list[Finding]:
        """Wetter or drier; else longer or shorter."""
        wetness = wetness_finding(difference, pair)
        if wetness is not None:
            return [wetness]
        decay = decay_finding(difference, pair)
        return [] if decay is None else [decay]


analyzer = Room()


def _minus(candidate: float | None, reference: float | None) -> float | None:
    return None if candidate is None or reference is None else candidate - reference


def _unknown(
    *reasons: str, at_most_s: float | None = None, tails_s: tuple[Span, ...] = ()
) -> RoomMeasurement:
    return RoomMeasurement(None, None, at_most_s, None, None, tails_s=tails_s, reasons=reasons)


def _of_falls(falls: list[Fall], tails_s: tuple[Span, ...]) -> RoomMeasurement:
    """What tails tell that are all of noise or all of music."""
    times = [fall.time_s for fall in falls]
    time = float(np.median(times))
    is_noise = falls[0].is_noise
    if not is_noise and (time < _INSTRUMENTS_S or any(fall.is_bound for fall in falls)):
        most = _BOUND * max(times)
        reason = (
            f"The sound falls as in {time:.1f} s, most of which instruments alone may take:"
            f" the room's decay time is at most about {most:.1f} s."
        )
        return _unknown(reason, _ONLY_IMPULSES, at_most_s=most, tails_s=tails_s)
    # A longer decay of noise holds more independent values (ISO 3382-2:2008, 7.1, from memory).
    share = _UNCERTAINTY[is_noise] / (np.sqrt(time) if is_noise else 1.0)
    spread = max(float(np.ptp(times)) / 2, float(share) * time)
    early = [fall.early_s for fall in falls if fall.early_s is not None]
    late = [fall.late_s for fall in falls if fall.late_s is not None]
    bends = len(early) == len(falls)
    reasons: tuple[str, ...] = (_ONLY_IMPULSES, _ONE_TIME)
    if is_noise:
        reasons = (_TWO_SLOPES,) if bends else ()
    return RoomMeasurement(
        decay_time_s=time,
        decay_time_interval=(time - spread, time + spread),
        decay_time_at_most_s=None,
        early_decay_time_s=None,
        clarity_c80_db=None,
        decay_time_early_s=float(np.median(early)) if bends else None,
        decay_time_late_s=float(np.median(late)) if bends else None,
        octave_centre_hz=OCTAVES_HZ,
        octave_decay_time_s=_per_octave([fall.octave_s for fall in falls]),
        tails_s=tails_s,
        reasons=reasons,
    )


def _of_impulse(features: Features, start_s: float) -> RoomMeasurement:
    response = part_of(features, (start_s, features.duration_s))
    decays = octave_decays(response)
    mid = [decays[OCTAVES_HZ.index(octave)] for octave in MID_OCTAVES_HZ]
    early = [decay.edt_s for decay in mid if decay.edt_s is not None]
    clarity = [decay.c80_db for decay in mid if decay.c80_db is not None]
    time = mid_time(decays)
    two = bent(response)
    return RoomMeasurement(
        decay_time_s=time,
        decay_time_interval=None if time is None else (0.95 * time, 1.05 * time),
        decay_time_at_most_s=None,
        early_decay_time_s=float(np.mean(early)) if early else None,
        clarity_c80_db=float(np.mean(clarity)) if clarity else None,
        decay_time_early_s=two[0] if two else None,
        decay_time_late_s=two[1] if two else None,
        octave_centre_hz=OCTAVES_HZ,
        octave_decay_time_s=_per_octave([tuple(map(even_time, decays))]),
        tails_s=((start_s, features.duration_s),),
        reasons=(_TWO_SLOPES,) if two else (),
    )


def _per_octave(tails: list[tuple[float | None, ...]]) -> tuple[float | None, ...]:
    result: list[float | None] = []
    for octave in zip(*tails, strict=True):
        times = [time for time in octave if time is not None]
        result.append(float(np.median(times)) if times else None)
    return tuple(result)


def _fitted(pair: Pair, tempo: float, decay_percent: float | None) -> Heard:
    """The relative wetness that is fitted to both recordings' powers."""
    fit = pair.wetness
    wetness, limits, reasons = _verdict(fit, pair, tempo, decay_percent)
    something_added = limits is not None and limits[0] * limits[1] > 0 and not reasons
    return Heard(
        wetness_db=wetness,
        wetness_db_interval=limits,
        kernel_time_s=fit.kernel_time_s if fit and something_added else None,
        register_wetness_db=fit.register_db if fit else (),
        explained=fit.gain if fit else None,
        reasons=tuple(reasons),
    )


def _verdict(
    fit: Wetness | None, pair: Pair, tempo: float, decay_percent: float | None
) -> tuple[float | None, Interval | None, list[str]]:
    """Wetness with its interval, or None with the reason."""
    if fit is None:
        return None, None, [f"Less than {SHORTEST_S:.0f} s, or too few registers, in common."]
    value, same_take = fit.wetness_db, pair.same_take
    systematic = _SYSTEMATIC_DB[same_take] + _TEMPO_DB * abs(float(np.log(tempo)))
    systematic = float(np.hypot(systematic, _RELATIVE * value))
    low = value - float(np.hypot(value - fit.scatter_db[0], systematic))
    high = value + float(np.hypot(fit.scatter_db[1] - value, systematic))
    if abs(value) >= MOST_DB:
        # The end of what is tried: the truth may lie beyond.
        low, high = (low, high + MOST_DB / 2) if value > 0 else (low - MOST_DB / 2, high)
    # Likelier than the other sign, but not told from no change at all.
    open_limits = (min(low, -abs(value)), max(high, abs(value)))
    if not fit.is_told:
        return value, open_limits, []
    if fit.even_db * value <= 0:
        return None, None, ["What looks like reverberation goes with the momentary level."]
    if not fit.everywhere:
        reason = (
            "What looks like reverberation concerns part of the registers only: rather other note"
            " lengths or another balance than another room."
        )
        return value, open_limits, [reason]
    if same_take:
        return value, (low, high), []
    if abs(value) > _MOST_UNPROVEN_DB or fit.may_be_note_lengths:
        proven = borne_out(pair, value, (low, high), decay_percent)
        return (value, open_limits, [_UNPROVEN]) if proven is None else (value, proven, [])
    proven = not_denied(pair, value, (low, high), decay_percent)
    return value, proven, [] if proven == (low, high) or proven[0] * proven[1] > 0 else [_DENIED]


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
