"""Width: how far the image spreads, from the sum and the difference of the channels.

Conventions
-----------
What is heard: a narrow or a wide stereo image. Mid = (L + R) / 2, side = (L - R) / 2.
``side_to_mid_db`` is their ratio of power, dB: minus infinity for equal channels (reported as
None), 0 for independent ones or for one channel alone. ``correlation`` is that at zero lag,
-1 to +1: None where a channel is silent. At equal channel levels side/mid = (1 - c) / (1 + c).
``mono_fold_down_loss_db`` is what the level loses when both channels are summed: 0 for equal
channels, 3.01 for independent ones. Positive difference = the candidate has more.

Differences are values on which most moments agree, with block bootstrap intervals. Exchanging
the channels changes none of them. All values are those of ordinary signal theory, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare import steady
from mixcompare.analyzers.base import NOT_IN_REPORT, once
from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.features import BAND_RATE_HZ, Features, common_bands
from mixcompare.findings import JUST_NOTICEABLE, Cause, Finding, Span, signed, size_in_jnd
from mixcompare.match import Match
from mixcompare.mirror import KEPT, PAIR, SIGNED, exchanged_with, stretched
from mixcompare.perband import BANDS, CENTRES_HZ, NOTHING, BandIntervals, BandValues, pairs, values
from mixcompare.statistics import weighted_quantile
from mixcompare.timemap import sample_frames

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
FLOOR = 1e-6
"""Side or mid less than 60 dB under the other is taken as 60 dB under it."""

_SILENT_CHANNEL = 1e-8
_SMOOTH_S = {True: 0.4, False: 2.0}  # same take; other performance
_CELL_RANGE_DB = 35.0
_FINEST_DB, _FINEST_CORRELATION = 0.1, 0.01
_AGREEING_SHARE = 0.6
_BAND_SHARE = 0.25  # other performances: as if sixteen bands were independent
_LOW_HZ = (60.0, 500.0)
_INVERTED = 0.3  # correlation of the low bands beyond which a sign can be told
_JND_CORRELATION = 0.1  # Cox, Davies and Lam 1993, as in the table of findings
_JND_NEAR_ONE = 0.04  # Gabriel and Colburn 1981, JASA 69, 1394 (from memory)
_DECAY_DB, _DIRECT_DB, _LOOK_BACK_S = -8.0, -3.0, 1.0


@dataclass(frozen=True)
class WidthMeasurement:
    """Width of one recording; None throughout for mono."""

    side_to_mid_db: float | None
    correlation: float | None
    mono_fold_down_loss_db: float | None
    band_centre_hz: tuple[float, ...]
    band_side_to_mid_db: BandValues
    band_correlation: BandValues
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class WidthDifference:
    """Difference in width; candidate minus reference.

    Attributes
    ----------
    side_to_mid_db, correlation, mono_fold_down_loss_db
        Of the whole, each with its interval.
    band_centre_hz, band_side_to_mid_db, band_correlation
        Per third-octave band.
    side_to_mid_direct_db, side_to_mid_decay_db : float or None
        The first one from loud moments and attacks, and from moments that die away.
    agreeing_share : float or None
        Share of the bands (by the root of their power) that differ in the same direction.
    low_correlation : tuple of float or None
        Correlation from 60 to 500 Hz in the reference and in the candidate.
    mono : tuple of bool
        Whether the reference is mono, and the candidate.
    """

    side_to_mid_db: float | None = field(metadata=SIGNED | stretched(0.02))
    side_to_mid_db_interval: tuple[float, float] | None
    correlation: float | None = field(metadata=SIGNED | stretched(0.01))
    correlation_interval: tuple[float, float] | None
    mono_fold_down_loss_db: float | None = field(metadata=SIGNED)
    band_centre_hz: tuple[float, ...] = field(metadata=KEPT)
    band_side_to_mid_db: BandValues = field(metadata=SIGNED | stretched(0.2))
    band_side_to_mid_db_interval: BandIntervals
    band_correlation: BandValues = field(metadata=SIGNED | stretched(0.01))
    side_to_mid_direct_db: float | None = field(default=None, metadata=SIGNED | stretched(0.02))
    side_to_mid_decay_db: float | None = field(default=None, metadata=SIGNED | stretched(0.02))
    agreeing_share: float | None = field(default=None, metadata=KEPT | stretched(0.05))
    low_correlation: tuple[float, float] | None = field(
        default=None, metadata=PAIR | stretched(0.001)
    )
    mono: tuple[bool, bool] = field(default=(False, False), metadata=PAIR)
    reasons: tuple[str, ...] = ()
    whole_correlation: tuple[float, float] | None = field(
        default=None, metadata=NOT_IN_REPORT | PAIR
    )
    same_take: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)
    span_s: Span = field(
        default=(0.0, 0.0), metadata=NOT_IN_REPORT | exchanged_with("candidate_span_s")
    )
    candidate_span_s: Span = field(
        default=(0.0, 0.0), metadata=NOT_IN_REPORT | exchanged_with("span_s")
    )


class WidthAnalyzer:
    """Measures and compares width."""

    aspect = "width"

    @once
    def measure(self, features: Features) -> WidthMeasurement:
        """Side to mid, correlation and fold-down loss, whole and per band."""
        if features.is_mono:
            reasons = (f"{features.name} is mono: it has no width.",)
            return WidthMeasurement(None, None, None, CENTRES_HZ, NOTHING, NOTHING, reasons)
        power = features.band_power.sum(axis=0, dtype=np.float64)
        cross = features.band_cross.real.sum(axis=0, dtype=np.float64)
        usable = features.usable_bands & (power.sum(axis=1) > 0)
        ratio = 10 * np.log10(_side_to_mid(power.sum(axis=1), cross))
        correlation = _correlation(power, cross)
        whole, both = power.sum(axis=0), np.array(cross.sum())
        whole_ratio = float(_side_to_mid(np.array(whole.sum()), both))
        whole_correlation = float(_correlation(whole, both))
        silent = math.isnan(whole_correlation)
        return WidthMeasurement(
            side_to_mid_db=10 * math.log10(whole_ratio),
            correlation=None if silent else whole_correlation,
            mono_fold_down_loss_db=10 * math.log10(1 + whole_ratio),
            band_centre_hz=CENTRES_HZ,
            band_side_to_mid_db=values(ratio, usable),
            band_correlation=values(correlation, usable & np.isfinite(correlation)),
            reasons=(f"One channel of {features.name} is silent.",) if silent else (),
        )

    def compare(self, reference: Features, candidate: Features, match: Match) -> WidthDifference:
        """Differences in side to mid and correlation on which most moments agree."""
        span_s, candidate_span_s = match.time_map.span_s, match.time_map.candidate_span_s
        mono = (reference.is_mono, candidate.is_mono)
        times = match.grid_s(BAND_RATE_HZ)
        whole = (self.measure(reference).correlation, self.measure(candidate).correlation)
        reasons = _reasons(mono, whole, len(times))
        if reasons:
            heard = tuple(1.0 if value is None else value for value in whole)
            return WidthDifference(
                None, None, None, None, None, CENTRES_HZ, NOTHING, NOTHING, NOTHING,
                mono=mono, reasons=reasons, whole_correlation=(heard[0], heard[1]),
                same_take=match.same_take, span_s=span_s, candidate_span_s=candidate_span_s,
            )  # fmt: skip
        smooth_s = _SMOOTH_S[match.same_take]
        before = _Moments.of(reference, times, smooth_s)
        after = _Moments.of(candidate, match.time_map.to_candidate(times), smooth_s)
        usable = np.append(common_bands(reference, candidate), True)
        weight = np.where(usable, np.minimum(before.weights(), after.weights()), 0.0)
        ratio, ratio_draws = steady.agreed(
            after.ratio_db() - before.ratio_db(), weight, BAND_RATE_HZ, _FINEST_DB
        )
        shift, shift_draws = steady.agreed(
            after.correlation() - before.correlation(), weight, BAND_RATE_HZ, _FINEST_CORRELATION
        )
        total = np.sqrt(before.total() * after.total())  # of both recordings alike
        local = np.append(1.5 * steady.local_scatter(ratio[:BANDS]), 0.0)
        if not match.same_take:
            local[BANDS] = _BAND_SHARE * _spread_db(ratio, total)
        low, high = steady.intervals(ratio, ratio_draws, local)
        shift_low, shift_high = steady.intervals(shift, shift_draws)
        known = np.isfinite(ratio)
        told = bool(known[BANDS])
        quick = _quick(reference, candidate, match, times)
        loss = after.fold_down_loss_db() - before.fold_down_loss_db()
        return WidthDifference(
            side_to_mid_db=float(ratio[BANDS]) if told else None,
            side_to_mid_db_interval=(float(low[BANDS]), float(high[BANDS])) if told else None,
            correlation=float(shift[BANDS]) if np.isfinite(shift[BANDS]) else None,
            correlation_interval=(
                (float(shift_low[BANDS]), float(shift_high[BANDS]))
                if np.isfinite(shift[BANDS])
                else None
            ),
            mono_fold_down_loss_db=loss,
            band_centre_hz=CENTRES_HZ,
            band_side_to_mid_db=values(ratio, known[:BANDS]),
            band_side_to_mid_db_interval=pairs(low, high, known),
            band_correlation=values(shift, np.isfinite(shift[:BANDS])),
            side_to_mid_direct_db=quick[0],
            side_to_mid_decay_db=quick[1],
            agreeing_share=_agreeing_share(ratio, total) if told else None,
            low_correlation=(before.low_correlation(), after.low_correlation()),
            same_take=match.same_take,
            span_s=span_s,
            candidate_span_s=candidate_span_s,
        )

    def findings(self, difference: WidthDifference) -> list[Finding]:
        """One of: collapsed to mono, one channel inverted, wider or narrower."""
        if difference.mono[0] != difference.mono[1]:
            return _mono_finding(difference)
        low = difference.low_correlation
        if low is not None and low[0] * low[1] < 0 and min(abs(low[0]), abs(low[1])) > _INVERTED:
            return [_inverted_finding(difference, low)]
        return _width_finding(difference)


@dataclass(frozen=True)
class _Moments:
    """Smoothed channel powers and real cross power per band, the whole as a last column."""

    left: FloatArray  # (frames, 32)
    right: FloatArray
    cross: FloatArray

    @classmethod
    def of(cls, features: Features, times_s: FloatArray, smooth_s: float) -> _Moments:
        size = max(round(smooth_s * BAND_RATE_HZ), 1)
        columns = []
        for rows in (
            features.band_power[:, :, 0],
            features.band_power[:, :, 1],
            features.band_cross.real,
        ):
            smooth = ndimage.uniform_filter1d(rows.astype(np.float64), size, axis=0, mode="nearest")
            sampled = sample_frames(smooth, BAND_RATE_HZ, times_s)
            columns.append(np.column_stack([sampled, sampled.sum(axis=1)]))
        return cls(np.maximum(columns[0], 0), np.maximum(columns[1], 0), columns[2])

    def total(self) -> FloatArray:
        return self.left + self.right

    def ratio_db(self) -> FloatArray:
        return np.asarray(10 * np.log10(_side_to_mid(self.total(), self.cross)))

    def correlation(self) -> FloatArray:
        return _correlation(np.stack([self.left, self.right], axis=-1), self.cross)

    def weights(self) -> FloatArray:
        return steady.cell_weights(self.total(), _CELL_RANGE_DB, math.inf)

    def fold_down_loss_db(self) -> float:
        total, cross = self.total()[:, BANDS].sum(), self.cross[:, BANDS].sum()
        return float(10 * np.log10(1 + _side_to_mid(np.array(total), np.array(cross))))

    def low_correlation(self) -> float:
        low, high = _LOW_HZ
        centre = np.append(THIRD_OCTAVE_CENTRES_HZ, 0.0)
        inside = (centre > low) & (centre < high)
        power = np.array([self.left[:, inside].sum(), self.right[:, inside].sum()])
        found = float(_correlation(power, np.array(self.cross[:, inside].sum())))
        return 0.0 if math.isnan(found) else found


def _side_to_mid(total: FloatArray, cross: FloatArray) -> FloatArray:
    """Ratio of side to mid power, held within 60 dB."""
    mid = np.maximum(total + 2 * cross, 1e-30)
    side = np.maximum(total - 2 * cross, 1e-30)
    return np.asarray(np.maximum(side, FLOOR * mid) / np.maximum(mid, FLOOR * side))


def _correlation(power: FloatArray, cross: FloatArray) -> FloatArray:
    """Correlation at zero lag; NaN where a channel is silent. Channels in the last axis."""
    left, right = power[..., 0], power[..., 1]
    silent = np.minimum(left, right) <= _SILENT_CHANNEL * np.maximum(left, right)
    root = np.sqrt(np.where(silent, 1.0, left * right))
    return np.where(silent, np.nan, np.clip(cross / root, -1, 1))


def _quick(
    reference: Features, candidate: Features, match: Match, times: FloatArray
) -> tuple[float | None, float | None]:
    """Difference in side to mid in direct and in decaying moments of both recordings."""
    before = _Moments.of(reference, times, 0.2)
    after = _Moments.of(candidate, match.time_map.to_candidate(times), 0.2)
    difference = (after.ratio_db() - before.ratio_db())[:, BANDS]
    weight = np.minimum(before.weights(), after.weights())[:, BANDS]
    falls = []
    for moments in (before, after):
        level = 10 * np.log10(np.maximum(moments.total()[:, BANDS], 1e-30))
        back = round(_LOOK_BACK_S * BAND_RATE_HZ)
        recent = ndimage.maximum_filter1d(level, back, origin=back // 2, mode="nearest")
        falls.append(level - recent)
    direct = (falls[0] > _DIRECT_DB) & (falls[1] > _DIRECT_DB)
    decay = (falls[0] < _DECAY_DB) & (falls[1] < _DECAY_DB)
    out = []
    for chosen in (direct & (weight > 0), decay & (weight > 0)):
        enough = chosen.sum() >= BAND_RATE_HZ
        out.append(weighted_quantile(difference[chosen], weight[chosen], 0.5) if enough else None)
    return out[0], out[1]


def _spread_db(ratio: FloatArray, total: FloatArray) -> float:
    """How far the bands typically lie from the whole: root mean square, by the root of power."""
    weight = np.sqrt(total[:, :BANDS].mean(axis=0)) * np.isfinite(ratio[:BANDS])
    away = np.where(np.isfinite(ratio[:BANDS]), ratio[:BANDS], 0.0) - ratio[BANDS]
    return float(np.sqrt((weight * away**2).sum() / max(weight.sum(), 1e-30)))


def _agreeing_share(ratio: FloatArray, total: FloatArray) -> float:
    """Share of the bands that differ as the whole does, by at least half as much."""
    whole, bands = float(ratio[BANDS]), ratio[:BANDS]
    weight = np.sqrt(total[:, :BANDS].mean(axis=0)) * np.isfinite(bands)
    agrees = np.where(np.isfinite(bands), bands, 0.0) * np.sign(whole) >= 0.5 * abs(whole)
    return float((weight * agrees).sum() / max(weight.sum(), 1e-30))


def _reasons(
    mono: tuple[bool, bool], correlation: tuple[float | None, float | None], frames: int
) -> tuple[str, ...]:
    reasons = []
    for index, name in enumerate(("reference", "candidate")):
        if mono[index]:
            reasons.append(f"The {name} is mono: width can't be compared.")
        elif correlation[index] is None:
            reasons.append(f"One channel of the {name} is silent: width can't be compared.")
    if frames < steady.SHORTEST_S * BAND_RATE_HZ:
        reasons.append(f"Less than {steady.SHORTEST_S:.0f} s in common: too short for width.")
    return tuple(reasons)


# --- findings -----------------------------------------------------------------------------------


def _finding(
    difference: WidthDifference,
    kind: str,
    value: float,
    around: tuple[float, float],
    size: float,
    words: tuple[str, str, str],
    cause: Cause,
    band_hz: tuple[float, float] | None = None,
) -> Finding:
    sure = steady.confidence(value, around, 0.99 if difference.same_take else 0.9)
    unit, text, advice = words
    return Finding(
        aspect="width", kind=kind, subject="the stereo image", difference=value, interval=around,
        unit=unit, jnd=size, confidence=sure,
        spans_s=(difference.span_s,), candidate_spans_s=(difference.candidate_span_s,),
        band_hz=band_hz, cause=cause, text=text, advice=(advice,),
    )  # fmt: skip


def _width_finding(difference: WidthDifference) -> list[Finding]:
    value, around = difference.side_to_mid_db, difference.side_to_mid_db_interval
    if value is None or around is None:
        return []
    size = size_in_jnd(value, around, JUST_NOTICEABLE["width"].size)
    if size < 1 or (difference.agreeing_share or 0.0) < _AGREEING_SHARE:
        return []
    wider = value > 0
    direct, decay = difference.side_to_mid_direct_db, difference.side_to_mid_decay_db
    only_decays = direct is not None and decay is not None and abs(direct) < 0.5 * abs(decay)
    text = (
        f"The candidate's stereo image is {'wider' if wider else 'narrower'}:"
        f" {signed(value, 'dB')} of side against mid"
        f" (between {around[0]:+.1f} and {around[1]:+.1f})"
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
    words = ("dB", text, advice)
    return [_finding(difference, kind, value, around, size, words, _cause(difference, only_decays))]


def _cause(difference: WidthDifference, only_decays: bool) -> Cause:
    """A change in loud direct sound is panning or the microphones; in decays, the room."""
    if difference.same_take:
        return Cause.weighing(0.0, 0.5, 0.5) if only_decays else Cause.weighing(0.0, 0.1, 0.9)
    return Cause.weighing(0.05, 0.75, 0.2) if only_decays else Cause.weighing(0.05, 0.4, 0.55)


def _mono_finding(difference: WidthDifference) -> list[Finding]:
    """One recording is mono and the other isn't: in correlation, since side to mid is infinite."""
    if difference.whole_correlation is None:
        return []
    before, after = difference.whole_correlation
    value = after - before
    around = (value - 0.02, value + 0.02)
    size = size_in_jnd(value, around, _JND_NEAR_ONE)
    name, other = ("candidate", "reference") if value > 0 else ("reference", "candidate")
    text = (
        f"The {name} is mono; the {other} is stereo with a correlation of"
        f" {before if value > 0 else after:.2f}."
    )
    words = ("", text, f"Check the {name}: both channels carry the same signal.")
    kind = "narrower" if value > 0 else "wider"
    cause = Cause.weighing(0.0, 0.0, 1.0)
    return [_finding(difference, kind, value, around, size, words, cause)]


def _inverted_finding(difference: WidthDifference, low: tuple[float, float]) -> Finding:
    value = low[1] - low[0]
    around = (value - 0.1, value + 0.1)
    size = size_in_jnd(value, around, _JND_CORRELATION)
    name = "candidate" if value < 0 else "reference"
    text = (
        f"In the {name} one channel is inverted: from 60 to 500 Hz the channels correlate at"
        f" {low[0]:+.2f} in the reference and at {low[1]:+.2f} in the candidate."
    )
    words = ("", text, f"Invert the polarity of one channel of the {name}.")
    cause = Cause.weighing(0.0, 0.0, 1.0)
    return _finding(difference, "polarity_inverted", value, around, size, words, cause, _LOW_HZ)


analyzer = WidthAnalyzer()
"""Instance for the list of analyzers."""
