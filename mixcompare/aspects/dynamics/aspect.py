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
regression with errors in both variables, see ``mixcompare.aspects.dynamics.slope``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.dynamics import slope
from mixcompare.aspects.dynamics.about import ABOUT
from mixcompare.aspects.dynamics.moves import made_by, moves_of, shares_a_swing
from mixcompare.aspects.dynamics.passages import passages_of
from mixcompare.aspects.dynamics.values import Contour, DynamicsDifference, DynamicsMeasurement
from mixcompare.aspects.dynamics.words import (
    STEEPEST_ALONE,
    clipped_finding,
    finding,
    move_finding,
    passage_finding,
    slope_of,
    sticks_out,
)
from mixcompare.features import Features
from mixcompare.features.clipping import FRAME_S
from mixcompare.findings import Finding, Span
from mixcompare.pair import levels
from mixcompare.pair.pair import Pair
from mixcompare.standards import bs1770, tech3342

FloatArray = npt.NDArray[np.float64]

CONTOUR_RATE_HZ = 5.0  # resolution: the contour is smoothed over 1 s
PASSAGE_S = 3.0
"""Length of the loudest and softest passages: one short-term window."""

_LOUD_GAP_S = 2.0  # loud moments nearer than this are one place; our judgement, not measured
_CLIPPED_GAP_S = 1.0  # the same of clipped frames; our judgement, not measured


class DynamicsAnalyzer:
    """Swings between soft and loud, peaks, loudness range and the level against time."""

    aspect = "dynamics"
    about = ABOUT

    def measure(self, features: Features) -> DynamicsMeasurement:
        """Measure one recording alone."""
        times_s = np.arange(0.0, features.duration_s, 1 / CONTOUR_RATE_HZ)
        contour = levels.contour_lufs(features, times_s)
        passages = levels.short_term_lufs(features, times_s)
        music = levels.is_music(contour, contour)
        loudest, softest = levels.extremes(passages, music, CONTOUR_RATE_HZ)
        loudness_range = tech3342.loudness_range_lu(features.k_power)
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
            clipped_percent=100 * float(features.clipped_frames.mean())
            if len(features.clipped_frames)
            else 0.0,
            reasons=tuple(reasons),
        )

    def compare(self, pair: Pair) -> DynamicsDifference:
        """Compare two recordings on the reference's clock."""
        reference, candidate, match = pair.reference, pair.candidate, pair.match
        times_s = match.grid_s(CONTOUR_RATE_HZ)
        places_s = match.time_map.to_candidate(times_s)
        of_reference = levels.contour_lufs(reference, times_s)
        of_candidate = levels.contour_lufs(candidate, places_s) - match.gain_db
        music = levels.is_music(
            (of_reference + of_candidate) / 2, of_reference, of_candidate + match.gain_db
        )
        clipped = pair.clipped(times_s)
        change = levels.common_change_db(reference, candidate, match, times_s, music & ~clipped)
        moves = moves_of(pair)
        change -= made_by(moves, times_s)
        told = np.isfinite(change)
        swings = slope.swings(
            (of_reference + of_candidate)[told] / 2, change[told], CONTOUR_RATE_HZ
        )
        if not match.same_take:
            moves = passages_of(_besides(swings, of_reference, of_candidate, change), times_s)
        peaks = [_peak_to_short_term_db(features) for features in (reference, candidate)]
        range_difference = pair.loudness_range
        passages = levels.short_term_lufs(reference, times_s)
        loudest, softest = levels.extremes(passages, music, CONTOUR_RATE_HZ)
        against = levels.short_term_lufs(candidate, places_s, as_stereo=True) - match.gain_db
        against -= levels.short_term_lufs(reference, times_s, as_stereo=True)
        loud = (
            music & (of_reference >= swings.knee.level_db) if swings.knee else np.zeros_like(music)
        )
        loud_spans_s = _spans(times_s[loud])
        spans_s = _spans(times_s)
        knee = swings.knee
        return DynamicsDifference(
            crest_db=_crest_db(candidate) - _crest_db(reference),
            peak_to_short_term_db=(
                None if peaks[0] is None or peaks[1] is None else peaks[1] - peaks[0]
            ),
            loudness_range_lu=None if range_difference is None else range_difference[0],
            loudness_range_lu_interval=None if range_difference is None else range_difference[1],
            swing_db_per_db=None if swings.slope is None else swings.slope.value,
            swing_db_per_db_interval=None if swings.slope is None else swings.slope.interval,
            level_range_db=swings.range_db,
            knee_lufs=None if knee is None else knee.level_db,
            above_knee_db_per_db=None if knee is None else knee.above.value,
            above_knee_db_per_db_interval=None if knee is None else knee.above.interval,
            loudest_s=_passage(times_s, loudest),
            loudest_difference_db=_at(against, loudest),
            softest_s=_passage(times_s, softest),
            softest_difference_db=_at(against, softest),
            contour_s=tuple(times_s.tolist()),
            contour_db=_contour(of_candidate - of_reference, music),
            spans_s=spans_s,
            loud_spans_s=loud_spans_s,
            reasons=swings.reasons,
            clipped_percent=pair.clipped_percent[1] - pair.clipped_percent[0],
            clipped_spans_s=_clipped_spans(pair),
            moves=moves,
            of_the_whole=_of_the_whole(swings, pair),
        )

    def findings(self, difference: DynamicsDifference, pair: Pair) -> list[Finding]:
        """Clipping; and swings over the whole range, or above a level alone, or moves of it all."""
        clipped = [clipped_finding(difference, pair)] if difference.clipped_percent else []
        tell = move_finding if pair.same_take else passage_finding
        moved = [tell(move, pair) for move in difference.moves]
        return clipped + self._swings(difference, pair) + moved

    def _swings(self, difference: DynamicsDifference, pair: Pair) -> list[Finding]:
        found = self._swing(difference, pair)
        if found is None:
            return []
        whole = difference.of_the_whole
        return [replace(found, apart=("balance", "room")) if whole else found]

    def _swing(self, difference: DynamicsDifference, pair: Pair) -> Finding | None:
        whole = slope_of(difference.swing_db_per_db, difference.swing_db_per_db_interval)
        above = slope_of(difference.above_knee_db_per_db, difference.above_knee_db_per_db_interval)
        if whole is not None and sticks_out(whole):
            return finding(difference, pair, whole, above, only_loud=False)
        if above is not None and sticks_out(above) and above.value < STEEPEST_ALONE:
            return finding(difference, pair, above, above, only_loud=True)
        return None


def _of_the_whole(swings: slope.Swings, pair: Pair) -> bool:
    told = [one for one in (swings.slope, swings.knee.above if swings.knee else None) if one]
    return pair.same_take and any(
        sticks_out(one) and shares_a_swing(pair, one.value - 1) for one in told
    )


def _besides(
    swings: slope.Swings, of_reference: FloatArray, of_candidate: FloatArray, change: FloatArray
) -> FloatArray:
    """The change of level that a general difference of the swings leaves."""
    told = slope_of(swings.slope.value, swings.slope.interval) if swings.slope else None
    if told is None or not sticks_out(told):
        return change
    mean_db = (of_reference + of_candidate) / 2
    per_db = 2 * (told.value - 1) / (told.value + 1)
    left: FloatArray = change - per_db * (mean_db - np.nanmedian(mean_db[np.isfinite(change)]))
    return left


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


def _clipped_spans(pair: Pair) -> tuple[Span, ...]:
    """Where one recording alone is clipped; places less than a second apart as one."""
    times_s = pair.grid_s(1 / FRAME_S)
    clipped = np.flatnonzero(pair.clipped(times_s))
    if len(clipped) == 0:
        return ()
    runs = np.split(clipped, np.flatnonzero(np.diff(clipped) > _CLIPPED_GAP_S / FRAME_S) + 1)
    return tuple((float(times_s[run[0]]), float(times_s[run[-1]])) for run in runs)


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


analyzer = DynamicsAnalyzer()
