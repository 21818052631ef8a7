"""Tuning: the pitch that an orchestra (or a playback) stands at.

Conventions
-----------
What is heard: one recording higher or lower in pitch. ``cents_against_440`` is the distance of
the tuning from A4 = 440 Hz (ISO 16:1975, from memory), 1200 lb(f / 440) cents; ``a4_hz`` the same
as a frequency. A recording alone only tells its distance from the nearest semitone: within a
quarter tone of 440 Hz. Positive difference = the candidate is higher.

The estimate is the mean direction of the deviations of spectral peaks from equal-tempered
semitones. Harmonics pull it down, the fifth by 13.7 cents and the seventh by 31.2: on chords of
tones with four to twenty harmonics it read 0.2 above to 1.1 cents below the truth, the mean of
which is corrected here and the rest kept in the interval. Intervals: block bootstrap over time
(Politis and Romano 1992). Two mixes of one take can only differ by playback speed, which the
time map tells exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare import units
from mixcompare.features import LOWEST_SEMITONE, SEMITONE_RATE_HZ, Features
from mixcompare.fields import PAIR, PERCENT, SIGNED, labelled, stretched
from mixcompare.findings import Finding, Span, between, signed, size_in_jnd
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.findings.description import Description
from mixcompare.findings.noticeable import JustNoticeable
from mixcompare.pair import beatrate
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.standards.iec61260 import A4_HZ
from mixcompare.statistics import block_counts, few_blocks, interval

FloatArray = npt.NDArray[np.float64]
Phasors = npt.NDArray[np.complex128]

HARMONIC_BIAS_CENTS = -0.4
"""Typical reading of tones that are in tune; measured on synthetic chords."""

SYSTEMATIC_CENTS = 0.5
"""Standard deviation of that reading over kinds of tone."""

_BLOCK_S = 4  # of the bootstrap: notes hang together; our judgement, not measured
_WIDEST_CENTS = 15.0  # half an interval beyond which nothing can be told
_SAME_CENTS = 8.0  # two estimates this close agree
_NO_PITCHES = "There are no steady pitches to tell the tuning from."
_TONAL_DB = 6.0  # noise stays under 2, the orchestral recordings tried reach 14 and more
_TONAL_SEMITONES = slice(45 - LOWEST_SEMITONE, 99 - LOWEST_SEMITONE)  # 110 Hz to 2.5 kHz
_LEAST_CENTS, _STRETCHED_CENTS = 0.5, 2.0  # one take whose pitch does not follow its speed


@dataclass(frozen=True)
class TuningMeasurement:
    """Tuning of one recording, within a quarter tone of A4 = 440 Hz."""

    a4_hz: float | None = field(metadata=labelled("A4", units.OF_TUNING))
    cents_against_440: float | None = field(
        metadata=labelled("Tuning against A4 = 440 Hz", "cents")
    )
    cents_against_440_interval: tuple[float, float] | None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class TuningDifference:
    """Candidate's tuning against the reference's.

    Attributes
    ----------
    tuning_cents, tuning_cents_interval
        After transposition; None where two estimates contradict each other.
    transposition_semitones : int
    total_cents : float or None
        Transposition and tuning together.
    speed_percent : float or None
        How much faster the candidate runs, where the pitch went with the speed evenly: a clock
        or a sample rate.
    a4_hz : tuple of (float or None)
        Of the reference and of the candidate.
    """

    tuning_cents: float | None = field(metadata=SIGNED | stretched(0.001))
    tuning_cents_interval: tuple[float, float] | None
    transposition_semitones: int = field(metadata=SIGNED)
    total_cents: float | None = field(
        metadata=labelled("Transposition and tuning together, difference") | SIGNED
    )
    speed_percent: float | None = field(
        default=None, metadata=labelled("Playback speed, difference") | PERCENT
    )
    reasons: tuple[str, ...] = ()
    a4_hz: tuple[float | None, float | None] = field(
        default=(None, None), metadata=labelled("A4", units.OF_TUNING) | PAIR
    )


TUNING = JustNoticeable(
    "tuning",
    5.0,
    "cents",
    "Marmel 2008 uses 9 cents as near threshold; 5 for overall tuning, proposal",
)
ABOUT = Description(
    title="Tuning",
    meaning="The pitch that the ensemble is tuned to, in cents (hundredths of a semitone).",
    method="Deviation of the steady partials from equal temperament at A = 440 Hz.",
    noticeable=(TUNING,),
    figure="mixcompare.plots.tempo:draw_tuning",
    key=("tuning_cents", "cents_against_440"),
)


class TuningAnalyzer:
    """Measures and compares tuning."""

    aspect = "tuning"
    about = ABOUT

    def measure(self, features: Features) -> TuningMeasurement:
        """Tuning against A4 = 440 Hz."""
        cents, draws = _cents(features.tuning_phasor)
        low, high = interval(draws)
        below, above = (
            math.hypot(reach, 1.96 * SYSTEMATIC_CENTS) for reach in (cents - low, high - cents)
        )
        if max(below, above) > _WIDEST_CENTS or not _has_pitches(features):
            return TuningMeasurement(None, None, None, (_NO_PITCHES,))
        return TuningMeasurement(A4_HZ * 2 ** (cents / 1200), cents, (cents - below, cents + above))

    def compare(self, pair: Pair) -> TuningDifference:
        """Difference in tuning: from the speed in one take, else from pitches and alignment."""
        reference, candidate, match = pair.reference, pair.candidate, pair.match
        spans = match.time_map.span_s, match.time_map.candidate_span_s
        alone = pair.alone(self)
        a4 = alone[0].a4_hz, alone[1].a4_hz
        cents: float | None = None
        around: tuple[float, float] | None = None
        speed_percent: float | None = None
        reasons: tuple[str, ...] = ()
        by_clock = beatrate.is_playback_speed(match)
        if match.same_take:
            cents, around = _from_speed(match, by_clock)
        elif a4[0] is None or a4[1] is None:
            reasons = (_NO_PITCHES,)
        else:
            phasors = [
                _within(features.tuning_phasor, span)
                for features, span in zip((reference, candidate), spans, strict=True)
            ]
            cents, around, reasons = _from_pitches(phasors, match.tuning_cents)
        total = None if cents is None else 100 * match.transposition_semitones + cents
        if by_clock and total is not None:
            speed_percent = 100 * (2 ** (total / 1200) - 1)
        return TuningDifference(
            tuning_cents=cents,
            tuning_cents_interval=around,
            transposition_semitones=match.transposition_semitones,
            total_cents=total,
            speed_percent=speed_percent,
            reasons=reasons,
            a4_hz=a4,
        )

    def findings(self, difference: TuningDifference, pair: Pair) -> list[Finding]:
        """One finding from five cents up."""
        total, cents = difference.total_cents, difference.tuning_cents
        around = difference.tuning_cents_interval
        if total is None or cents is None or around is None:
            return []
        around = (around[0] + total - cents, around[1] + total - cents)
        size = size_in_jnd(total, around, TUNING.size)
        if size < 1:
            return []
        higher = total > 0
        by_machine = pair.same_take or difference.speed_percent is not None
        clock = [Seen.PITCH_GOES_WITH_THE_CLOCK] if by_machine else []
        text, advice, consequences = _words(difference, pair, total, around)
        proof = evidence(total, around, pair.same_take)
        return [
            Finding(
                aspect="tuning", kind="tuned_higher" if higher else "tuned_lower",
                subject="the tuning", difference=total, interval=around, unit="cents",
                jnd=size, noticeable=TUNING, evidence=proof,
                spans_s=(pair.span_s,),
                band_hz=None, cause=weighed(Differs.TUNING, *clock, same_take=pair.same_take),
                text=text, advice=advice, consequences=consequences,
            )
        ]  # fmt: skip


def _wrapped(cents: npt.ArrayLike) -> FloatArray:
    """Cents against the nearest semitone, -50 to 50."""
    return np.asarray((np.asarray(cents, np.float64) + 50) % 100 - 50)


def _has_pitches(features: Features) -> bool:
    """Whether single semitones stand out of their neighbourhood in a typical second."""
    per = int(SEMITONE_RATE_HZ)
    seconds = len(features.semitone_power) // per
    power = features.semitone_power[: seconds * per].astype(np.float64)
    power = power.reshape(seconds, per, -1).mean(axis=1)
    whole = power.sum(axis=1)
    level = 10 * np.log10(power[whole > whole.max() * 1e-3] + 1e-20)
    above = level - ndimage.median_filter(level, size=(1, 13))
    return bool(np.median(above[:, _TONAL_SEMITONES].max(axis=1)) > _TONAL_DB)


def _within(phasors: Phasors, span_s: Span) -> Phasors:
    """Seconds that lie in the span; everything if the span holds less than two."""
    first, behind = math.floor(span_s[0]), math.ceil(span_s[1])
    inside = phasors[max(first, 0) : behind]
    return inside if len(inside) >= 2 else phasors


def _cents(phasors: Phasors) -> tuple[float, FloatArray]:
    """Tuning in cents, the bias of harmonics taken off, and its bootstrap draws."""
    size = np.abs(phasors)
    # A few loud seconds shall not decide alone.
    even = phasors / np.maximum(size, 1e-12) * np.sqrt(size)
    middle = complex(even.sum())
    centre = math.degrees(math.atan2(middle.imag, middle.real)) / 3.6
    turned = even * np.conj(middle) / max(abs(middle), 1e-12)

    block = min(_BLOCK_S, max(len(phasors) // 5, 1))
    drawn = np.angle(block_counts(len(phasors), block_length=block) @ turned)
    draws = few_blocks(len(phasors) / block) * np.degrees(drawn) / 3.6
    cents = float(_wrapped(centre - HARMONIC_BIAS_CENTS))
    return cents, cents + draws


def _from_speed(match: Match, by_clock: bool) -> tuple[float, tuple[float, float]]:
    """The pitch that follows from the playback speed; else what alignment found in one take."""
    if not by_clock:
        cents = match.tuning_cents
        open_cents = 0.0 if abs(cents) < _LEAST_CENTS else _STRETCHED_CENTS
        return cents, (cents - open_cents, cents + open_cents)
    start, end = match.time_map.span_s
    there = match.time_map.candidate_span_s
    ratio = (there[1] - there[0]) / (end - start)
    cents = -1200 * math.log2(ratio) - 100 * match.transposition_semitones
    error = 1200 * math.log2(1 + 2e-3 * match.uncertainty_ms / (end - start))
    return cents, (cents - error, cents + error)


def _from_pitches(
    phasors: list[Phasors], aligned_cents: float
) -> tuple[float | None, tuple[float, float] | None, tuple[str, ...]]:
    """Two performances: difference of their tunings, checked against what alignment found."""
    of_reference, before_draws = _cents(phasors[0])
    of_candidate, after_draws = _cents(phasors[1])
    apart = float(_wrapped(of_candidate - of_reference - aligned_cents))
    spread = (after_draws - of_candidate) - (before_draws - of_reference)
    low, high = interval(spread)
    reach = 1.96 * SYSTEMATIC_CENTS * math.sqrt(2)
    below, above = math.hypot(low, reach), math.hypot(high, reach)
    if max(below, above) > _WIDEST_CENTS:
        return None, None, (_NO_PITCHES,)
    if abs(apart) > _SAME_CENTS + max(below, above):
        text = (
            f"The pitches say {float(_wrapped(of_candidate - of_reference)):+.0f} cents, the"
            f" alignment {aligned_cents:+.0f}: the difference in tuning can't be told."
        )
        return None, None, (text,)
    cents = aligned_cents + apart
    return cents, (cents - below, cents + above), ()


def _words(
    difference: TuningDifference, pair: Pair, total: float, around: tuple[float, float]
) -> tuple[str, tuple[str, ...], tuple[str, ...]]:
    """Sentence, advice, and what else follows."""
    word = "higher" if total > 0 else "lower"
    semitones = difference.transposition_semitones
    size = f"{abs(total):.1f} cents"
    by_machine = pair.same_take or difference.speed_percent is not None
    if semitones and not by_machine:
        name = "a semitone" if abs(semitones) == 1 else f"{abs(semitones)} semitones"
        rest = total - 100 * semitones
        more = f" and {signed(rest, 'cents')}" if abs(rest) >= 1 else ""
        size = f"{size} ({name}{more})"
    text = f"The candidate sounds {size} {word} than the reference ({between(around)})"
    of_reference, of_candidate = difference.a4_hz
    if of_reference is not None and of_candidate is not None and not semitones:
        text += f": A4 near {of_candidate:.1f} Hz against {of_reference:.1f} Hz"
    text += "."
    if not by_machine:
        if semitones:
            return text, ("Check whether the other key is meant.",), ()
        return text, ("Agree on the tuning note before the next take.",), ()
    advice = "Check playback speed and sample rate: the pitch went with the clock."
    if difference.speed_percent is None:
        return text, ("Check whether the candidate was pitch-shifted.",), ()
    speed = f"it also runs {abs(difference.speed_percent):.1f} %" + (
        " faster" if difference.speed_percent > 0 else " slower"
    )
    return text, (advice,), (speed,)


analyzer = TuningAnalyzer()
"""Instance for the list of analyzers."""
