"""Dynamics: how far the level swings between soft and loud, and how peaks stand above it.

Conventions
-----------
What is heard: contrast. A held-in recording rises less than the other where the music rises;
``swing_db_per_db`` says by how much: 1 = the same dynamics, 0.5 = half the swing in decibels, as
compression of 2:1 over the whole range leaves it. It is read from what all registers share, so
that neither a change of tone nor one louder element counts. Where only loud passages differ, as
compression above a threshold leaves them, the slope above that level stands beside it.

Units: dB, LU for the loudness range, LUFS for levels (K-weighted), dB per dB for swings.

Sign: candidate minus reference; a swing is the candidate's over the reference's. The contour of
the difference runs on the reference's clock, with the overall gain taken out.

Sources: loudness range EBU Tech 3342 v4 (2023); K weighting and true peak ITU-R BS.1770-5 (2023);
regression with errors in both variables, see ``mixcompare.swing``.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import special

from mixcompare import bs1770, levels, swing
from mixcompare.analyzers.base import NOT_IN_REPORT
from mixcompare.features import Features
from mixcompare.findings import JUST_NOTICEABLE, Cause, Finding, Span, size_in_jnd
from mixcompare.match import Match
from mixcompare.mirror import (
    KEPT,
    MOMENT,
    OF_REFERENCE,
    RATIO,
    SIGNED,
    along,
    exchanged_with,
    stretched,
    within,
)

FloatArray = npt.NDArray[np.float64]
Contour = tuple[float | None, ...]

CONTOUR_RATE_HZ = 5.0
PASSAGE_S = 3.0
"""Length of the loudest and softest passages: one short-term window."""

_LOUD_GAP_S = 2.0


_STEEPEST_ALONE = 3.0
"""Above a level alone, swings that grow further come from something else that enters there
(common practice, no source)."""


@dataclass(frozen=True)
class DynamicsMeasurement:
    """Dynamics of one recording.

    Attributes
    ----------
    crest_db : float
        True peak above the mean power of the stronger channel (a sine has 3.0).
    loudness_range_lu : float or None
    peak_to_short_term_db : float or None
        True peak above the loudest 3 s.
    loudest_lufs, softest_lufs : float or None
        Loudest and softest 3 s of music; rests, more than 25 LU under the mean, do not count.
    loudest_s, softest_s : (start, end) or None
    contour_s, contour_db : tuple
        Times, and the K-weighted level smoothed over a second, in LUFS; None under -70.
    reasons : tuple of str
    """

    crest_db: float
    loudness_range_lu: float | None
    peak_to_short_term_db: float | None
    loudest_lufs: float | None
    loudest_s: Span | None
    softest_lufs: float | None
    softest_s: Span | None
    contour_s: tuple[float, ...]
    contour_db: Contour
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class DynamicsDifference:
    """Dynamics of the candidate against the reference, over the music in common.

    Attributes
    ----------
    crest_db, peak_to_short_term_db : float or None
    loudness_range_lu, loudness_range_lu_interval
    swing_db_per_db, swing_db_per_db_interval
        Decibels of the candidate per decibel of the reference; None with a reason where the
        passage is short or its level hardly moves.
    level_range_db : float or None
        Between the softest and the loudest twentieth, mean of both recordings.
    knee_lufs : float or None
        Level of the reference above which alone the swings differ, where there is one.
    above_knee_db_per_db, above_knee_db_per_db_interval
    loudest_s, softest_s : (start, end) or None
        Where the reference is loudest and softest.
    loudest_difference_db, softest_difference_db : float or None
        Level-matched difference there.
    contour_s, contour_db : tuple
        Level-matched difference against time; None in rests.
    same_take : bool
    spans_s, candidate_spans_s, loud_spans_s, loud_candidate_spans_s : tuple of (start, end)
        All of the music in common, and its part above the knee, on either clock.
    reasons : tuple of str
    """

    crest_db: float = field(metadata=SIGNED)
    peak_to_short_term_db: float | None = field(metadata=SIGNED)
    loudness_range_lu: float | None = field(metadata=SIGNED | stretched(0.2))
    loudness_range_lu_interval: tuple[float, float] | None
    swing_db_per_db: float | None = field(metadata=RATIO)
    swing_db_per_db_interval: tuple[float, float] | None
    level_range_db: float | None = field(metadata=KEPT | stretched(0.5))
    knee_lufs: float | None = field(metadata=OF_REFERENCE)
    above_knee_db_per_db: float | None = field(metadata=RATIO)
    above_knee_db_per_db_interval: tuple[float, float] | None
    loudest_s: Span | None = field(metadata=OF_REFERENCE)
    loudest_difference_db: float | None = field(metadata=OF_REFERENCE)
    softest_s: Span | None = field(metadata=OF_REFERENCE)
    softest_difference_db: float | None = field(metadata=OF_REFERENCE)
    contour_s: tuple[float, ...] = field(metadata=MOMENT | stretched(0.25))
    contour_db: Contour = field(metadata=SIGNED | along("contour_s") | stretched(0.05))
    same_take: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)
    spans_s: tuple[Span, ...] = field(
        default=(), metadata=NOT_IN_REPORT | exchanged_with("candidate_spans_s") | stretched(0.25)
    )
    candidate_spans_s: tuple[Span, ...] = field(
        default=(), metadata=NOT_IN_REPORT | exchanged_with("spans_s") | stretched(0.25)
    )
    loud_spans_s: tuple[Span, ...] = field(
        default=(), metadata=NOT_IN_REPORT | exchanged_with("loud_candidate_spans_s") | within(0.25)
    )
    loud_candidate_spans_s: tuple[Span, ...] = field(
        default=(), metadata=NOT_IN_REPORT | exchanged_with("loud_spans_s") | within(0.25)
    )
    reasons: tuple[str, ...] = ()


class DynamicsAnalyzer:
    """Swings between soft and loud, peaks, loudness range and the level against time."""

    aspect = "dynamics"

    def measure(self, features: Features) -> DynamicsMeasurement:
        """Measure one recording alone."""
        times_s = np.arange(0.0, features.duration_s, 1 / CONTOUR_RATE_HZ)
        contour = levels.contour_lufs(features, times_s)
        passages = levels.short_term_lufs(features, times_s)
        music = levels.is_music(contour, contour)
        loudest, softest = levels.extremes(passages, music, CONTOUR_RATE_HZ)
        loudness_range = bs1770.loudness_range_lu(features.k_power)
        reasons = []
        if loudest is None or softest is None:
            reasons.append("Loudest and softest passages need 3 s of music above -70 LUFS.")
        return DynamicsMeasurement(
            crest_db=_crest_db(features),
            loudness_range_lu=loudness_range,
            peak_to_short_term_db=_peak_to_short_term_db(features),
            loudest_lufs=None if loudest is None else float(passages[loudest]),
            loudest_s=_passage(times_s, loudest),
            softest_lufs=None if softest is None else float(passages[softest]),
            softest_s=_passage(times_s, softest),
            contour_s=tuple(times_s.tolist()),
            contour_db=_contour(contour, contour > bs1770.ABSOLUTE_GATE_LUFS),
            reasons=tuple(reasons),
        )

    def compare(self, reference: Features, candidate: Features, match: Match) -> DynamicsDifference:
        """Compare two recordings on the reference's clock."""
        times_s = match.grid_s(CONTOUR_RATE_HZ)
        places_s = match.time_map.to_candidate(times_s)
        ours = levels.contour_lufs(reference, times_s)
        theirs = levels.contour_lufs(candidate, places_s) - match.gain_db
        music = levels.is_music((ours + theirs) / 2, ours, theirs + match.gain_db)
        change = levels.common_change_db(reference, candidate, match, times_s, music)
        told = np.isfinite(change)
        moves = swing.moves((ours + theirs)[told] / 2, change[told], CONTOUR_RATE_HZ)
        peaks = [_peak_to_short_term_db(features) for features in (reference, candidate)]
        range_difference = levels.range_difference_lu(reference, candidate, match)
        passages = levels.short_term_lufs(reference, times_s)
        loudest, softest = levels.extremes(passages, music, CONTOUR_RATE_HZ)
        against = levels.short_term_lufs(candidate, places_s, as_stereo=True) - match.gain_db
        against -= levels.short_term_lufs(reference, times_s, as_stereo=True)
        loud = music & (ours >= moves.knee.level_db) if moves.knee else np.zeros_like(music)
        loud_spans_s = _spans(times_s[loud])
        spans_s = _spans(times_s)
        knee = moves.knee
        return DynamicsDifference(
            crest_db=_crest_db(candidate) - _crest_db(reference),
            peak_to_short_term_db=(
                None if peaks[0] is None or peaks[1] is None else peaks[1] - peaks[0]
            ),
            loudness_range_lu=None if range_difference is None else range_difference[0],
            loudness_range_lu_interval=None if range_difference is None else range_difference[1],
            swing_db_per_db=None if moves.slope is None else moves.slope.value,
            swing_db_per_db_interval=None if moves.slope is None else moves.slope.interval,
            level_range_db=moves.range_db,
            knee_lufs=None if knee is None else knee.level_db,
            above_knee_db_per_db=None if knee is None else knee.above.value,
            above_knee_db_per_db_interval=None if knee is None else knee.above.interval,
            loudest_s=_passage(times_s, loudest),
            loudest_difference_db=_at(against, loudest),
            softest_s=_passage(times_s, softest),
            softest_difference_db=_at(against, softest),
            contour_s=tuple(times_s.tolist()),
            contour_db=_contour(theirs - ours, music),
            same_take=match.same_take,
            spans_s=spans_s,
            candidate_spans_s=_on_candidate(spans_s, match),
            loud_spans_s=loud_spans_s,
            loud_candidate_spans_s=_on_candidate(loud_spans_s, match),
            reasons=moves.reasons,
        )

    def findings(self, difference: DynamicsDifference) -> list[Finding]:
        """One finding at most: over the whole range, or else above a level alone."""
        whole = _slope(difference.swing_db_per_db, difference.swing_db_per_db_interval)
        above = _slope(difference.above_knee_db_per_db, difference.above_knee_db_per_db_interval)
        if whole is not None and _sticks_out(whole):
            return [_finding(difference, whole, above, only_loud=False)]
        if above is not None and _sticks_out(above) and above.value < _STEEPEST_ALONE:
            return [_finding(difference, above, above, only_loud=True)]
        return []


def _finding(
    difference: DynamicsDifference, slope: swing.Slope, above: swing.Slope | None, only_loud: bool
) -> Finding:
    low, high = slope.interval
    smaller = slope.value < 1
    return Finding(
        aspect="dynamics",
        kind="dynamics_smaller" if smaller else "dynamics_larger",
        subject="swings between soft and loud" if not only_loud else "loud passages",
        difference=slope.value - 1,
        interval=(low - 1, high - 1),
        unit="dB/dB",
        jnd=_jnd(slope),
        confidence=_confidence(slope),
        spans_s=difference.loud_spans_s if only_loud else difference.spans_s,
        candidate_spans_s=(
            difference.loud_candidate_spans_s if only_loud else difference.candidate_spans_s
        ),
        band_hz=None,
        cause=_cause(difference, knee=above is not None),
        text=_sentence(difference, slope, above, only_loud),
        advice=_advice(difference, slope, only_loud),
    )


def _sticks_out(slope: swing.Slope) -> bool:
    """Whether even the nearest end of the interval is a just-noticeable difference away from 1."""
    low, high = slope.interval
    least = 1 + JUST_NOTICEABLE["dynamics"].size
    return low > least or high < 1 / least


def _against(above: swing.Slope, whole: swing.Slope) -> swing.Slope:
    """The slope above the knee over that of the whole range."""
    low, high = above.interval
    return swing.Slope(above.value / whole.value, (low / whole.value, high / whole.value))


def _jnd(slope: swing.Slope) -> float:
    """Size by the ratio of the swings, so that exchanging the recordings leaves it as it is."""
    low, high = np.log(slope.interval)
    size = JUST_NOTICEABLE["dynamics"].size
    return size_in_jnd(float(np.log(slope.value)), (float(low), float(high)), size)


def _confidence(slope: swing.Slope) -> float:
    low, high = np.log(slope.interval)
    deviation = max((high - low) / (2 * 1.96), 1e-6)
    return float(min(special.ndtr(abs(np.log(slope.value)) / deviation), 0.99))


def _cause(difference: DynamicsDifference, knee: bool) -> Cause:
    """One take: the mix. Otherwise players shape dynamics; a threshold is a compressor's mark."""
    if difference.same_take:
        return Cause(0.0, 0.0, 1.0)
    return Cause(0.3, 0.05, 0.65) if knee else Cause(0.6, 0.05, 0.35)


def _sentence(
    difference: DynamicsDifference, slope: swing.Slope, above: swing.Slope | None, only_loud: bool
) -> str:
    level = f"{difference.knee_lufs:.0f} LUFS" if difference.knee_lufs is not None else ""
    rises = f"where the reference rises by 10 dB, the candidate rises by {_per_ten(slope)}"
    if only_loud:
        opening = "Loud passages are held back" if slope.value < 1 else "Loud passages tower more"
        return f"{opening}: above about {level}, {rises}."
    extent = "smaller" if slope.value < 1 else "larger"
    sentence = f"Swings between soft and loud are {extent}: {rises}"
    if above is not None and _sticks_out(above) and _sticks_out(_against(above, slope)):
        sentence += f"; mainly above about {level}, where it is {_per_ten(above)}"
    return f"{sentence}."


def _per_ten(slope: swing.Slope) -> str:
    """A slope as what becomes of 10 dB, no finer than its interval."""
    low, high = (10 * limit for limit in slope.interval)
    decimals = 1 if high - low < 2 else 0
    value = 10 * slope.value
    return f"about {value:.{decimals}f} dB ({low:.{decimals}f} to {high:.{decimals}f})"


def _advice(difference: DynamicsDifference, slope: swing.Slope, only_loud: bool) -> tuple[str, ...]:
    where = f" above about {difference.knee_lufs:.0f} LUFS" if only_loud else ""
    ratio = max(slope.value, 1 / slope.value)
    extent = "about 10:1 or more" if ratio >= 10 else f"about {ratio:.1f}:1"
    if slope.value < 1:
        desk = f"If the bus is compressed, ease it: {extent}{where} would explain this."
        loud, soft = "up", "down"
        podium = "Ask for more contrast: softer in the soft bars rather than louder in the loud."
    else:
        desk = f"Compress the bus by {extent}{where}."
        loud, soft = "down", "up"
        podium = "Ask for less contrast: fuller in the soft bars, held back in the loud ones."
    advice = [desk]
    rides = _rides_db(difference, slope)
    if rides >= 1 and not only_loud:
        advice.append(
            f"Or ride the faders: about {rides:.0f} dB {loud} in the loudest bars"
            f" and {soft} in the softest."
        )
    if not difference.same_take:
        advice.append(podium)
    return tuple(advice)


def _rides_db(difference: DynamicsDifference, slope: swing.Slope) -> float:
    """Fader movement either way that gives the candidate the reference's swing."""
    if difference.level_range_db is None:
        return 0.0
    reference_range_db = 2 * difference.level_range_db / (1 + slope.value)
    return abs(1 - slope.value) * reference_range_db / 2


def _slope(value: float | None, interval: tuple[float, float] | None) -> swing.Slope | None:
    return None if value is None or interval is None else swing.Slope(value, interval)


def _crest_db(features: Features) -> float:
    power = features.band_power.mean(axis=0, dtype=np.float64).sum(axis=0).max()
    return float(20 * np.log10(features.true_peak) - 10 * np.log10(power))


def _peak_to_short_term_db(features: Features) -> float | None:
    windows = bs1770.window_powers(features.k_power, bs1770.SHORT_TERM_STEPS)
    if windows.max(initial=0.0) <= 0:
        return None
    return float(20 * np.log10(features.true_peak) - bs1770.to_lufs(windows.max()))


def _passage(times_s: FloatArray, index: int | None) -> Span | None:
    if index is None:
        return None
    middle = float(times_s[index])
    return round(middle - PASSAGE_S / 2, 2), round(middle + PASSAGE_S / 2, 2)


def _at(values: FloatArray, index: int | None) -> float | None:
    return None if index is None or not np.isfinite(values[index]) else float(values[index])


def _contour(values: FloatArray, told: npt.NDArray[np.bool_]) -> Contour:
    shown = np.round(values, 2).tolist()
    return tuple(value if keep else None for value, keep in zip(shown, told, strict=True))


def _spans(times_s: FloatArray) -> tuple[Span, ...]:
    """Join moments of the contour that lie close together."""
    if len(times_s) == 0:
        return ()
    breaks = np.flatnonzero(np.diff(times_s) > _LOUD_GAP_S)
    starts = times_s[np.concatenate([[0], breaks + 1])]
    ends = times_s[np.concatenate([breaks, [len(times_s) - 1]])]
    return tuple(
        (float(start), float(end)) for start, end in zip(starts, ends, strict=True) if end > start
    )


def _on_candidate(spans_s: tuple[Span, ...], match: Match) -> tuple[Span, ...]:
    if not spans_s:
        return ()
    times_s = match.time_map.to_candidate(np.array(spans_s))
    return tuple((float(start), float(end)) for start, end in times_s)


analyzer = DynamicsAnalyzer()
