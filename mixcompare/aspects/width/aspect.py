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
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.aspects.width.about import ABOUT
from mixcompare.aspects.width.values import LOW_HZ, WidthDifference, WidthMeasurement
from mixcompare.aspects.width.words import INVERTED, inverted_finding, mono_finding, width_finding
from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.findings import Finding
from mixcompare.pair import agreement
from mixcompare.pair.channels import channel_powers, cross_power, side_to_mid
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.pair.points import moved_point
from mixcompare.pair.thirds import (
    BANDS,
    CENTRES_HZ,
    NOTHING,
    pairs,
    values,
)
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import weighted_quantile

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
_SILENT_CHANNEL = 1e-8  # power against the other channel: 80 dB below, our choice
_SMOOTH_S = {True: 0.4, False: 2.0}  # same take; other performance
_CELL_RANGE_DB = 35.0  # below a band's loud moments; our judgement, not measured
_FINEST_DB, _FINEST_CORRELATION = 0.1, 0.01  # resolution: a tenth of what is noticeable, or less
_BAND_SHARE = 0.25  # other performances: as if sixteen bands were independent
_LEAST_DIRECT_DB = 1.0  # a direct part that changed by less stayed; our judgement, not measured
# A moment so far under the loudest one of the time before it is a decay, or direct. Our judgement,
# not measured.
_DECAY_DB, _DIRECT_DB, _LOOK_BACK_S = -8.0, -3.0, 1.0


class WidthAnalyzer:
    """Measures and compares width."""

    aspect = "width"
    about = ABOUT

    def measure(self, features: Features) -> WidthMeasurement:
        """Side to mid, correlation and fold-down loss, whole and per band."""
        if features.is_mono:
            reasons = (f"{features.name} is mono: it has no width.",)
            return WidthMeasurement(None, None, None, CENTRES_HZ, NOTHING, NOTHING, reasons)
        power = features.band_power.sum(axis=0, dtype=np.float64)
        cross = features.band_cross.real.sum(axis=0, dtype=np.float64)
        usable = features.usable_bands & (power.sum(axis=1) > 0)
        ratio = 10 * np.log10(side_to_mid(power.sum(axis=1), cross))
        correlation = _correlation(power, cross)
        whole, both = power.sum(axis=0), np.array(cross.sum())
        whole_ratio = float(side_to_mid(np.array(whole.sum()), both))
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

    def compare(self, pair: Pair) -> WidthDifference:
        """Differences in side to mid and correlation on which most moments agree."""
        reference, candidate, match = pair.reference, pair.candidate, pair.match
        mono = (reference.is_mono, candidate.is_mono)
        times = match.grid_s(BAND_RATE_HZ)
        alone = pair.alone(self)
        whole = (alone[0].correlation, alone[1].correlation)
        reasons = _reasons(mono, whole, len(times))
        if reasons:
            # One channel late, or turned: a point is as narrow as mono is.
            points = any(mono) and moved_point(pair) is not None
            heard = tuple(1.0 if value is None or points else value for value in whole)
            return WidthDifference(
                None, None, None, None, None, CENTRES_HZ, NOTHING, NOTHING, NOTHING,
                mono=mono, reasons=reasons, whole_correlation=(heard[0], heard[1]),
            )  # fmt: skip
        smooth_s = _SMOOTH_S[match.same_take]
        of_reference = _Moments.of(reference, times, smooth_s)
        of_candidate = _Moments.of(candidate, match.time_map.to_candidate(times), smooth_s)
        usable = np.append(pair.usable_bands, True)
        weight = np.where(usable, np.minimum(of_reference.weights(), of_candidate.weights()), 0.0)
        ratio, ratio_draws = agreement.agreed(
            of_candidate.ratio_db() - of_reference.ratio_db(), weight, BAND_RATE_HZ, _FINEST_DB
        )
        shift, shift_draws = agreement.agreed(
            of_candidate.correlation() - of_reference.correlation(),
            weight,
            BAND_RATE_HZ,
            _FINEST_CORRELATION,
        )
        total = np.sqrt(of_reference.total() * of_candidate.total())  # of both recordings alike
        local = np.append(1.5 * agreement.local_scatter(ratio[:BANDS]), 0.0)
        if not match.same_take:
            local[BANDS] = _BAND_SHARE * _spread_db(ratio, total)
        low, high = agreement.intervals(ratio, ratio_draws, local)
        shift_low, shift_high = agreement.intervals(shift, shift_draws)
        known = np.isfinite(ratio)
        told = bool(known[BANDS])
        quick = _quick(reference, candidate, match, times)
        loss = of_candidate.fold_down_loss_db() - of_reference.fold_down_loss_db()
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
            low_correlation=(of_reference.low_correlation(), of_candidate.low_correlation()),
            whole_side_db=pair.image.side_db if pair.image.told else _direct_side_db(pair),
        )

    def findings(self, difference: WidthDifference, pair: Pair) -> list[Finding]:
        """One of: collapsed to mono, one channel inverted, wider or narrower.

        A mono recording has no image to judge. That one take lost its image is told all the same;
        that another recording never had one, or that this one has gained one, is no difference.
        """
        if any(difference.mono):
            lost = difference.mono == (False, True) and pair.same_take
            return mono_finding(difference, pair) if lost else []
        low = difference.low_correlation
        if low is not None and low[0] * low[1] < 0 and min(abs(low[0]), abs(low[1])) > INVERTED:
            return [inverted_finding(difference, pair, low)]
        return width_finding(difference, pair)


@dataclass(frozen=True)
class _Moments:
    """Smoothed channel powers and real cross power per band, the whole as a last column."""

    left: FloatArray  # (frames, 32)
    right: FloatArray
    cross: FloatArray

    @classmethod
    def of(cls, features: Features, times_s: FloatArray, smooth_s: float) -> _Moments:
        size = max(round(smooth_s * BAND_RATE_HZ), 1)
        power = channel_powers(features, times_s, size)
        cross = cross_power(features, times_s, size).real
        return cls(*(_with_sum(column) for column in (power[..., 0], power[..., 1], cross)))

    def total(self) -> FloatArray:
        return self.left + self.right

    def ratio_db(self) -> FloatArray:
        return np.asarray(10 * np.log10(side_to_mid(self.total(), self.cross)))

    def correlation(self) -> FloatArray:
        return _correlation(np.stack([self.left, self.right], axis=-1), self.cross)

    def weights(self) -> FloatArray:
        return agreement.cell_weights(self.total(), _CELL_RANGE_DB, math.inf)

    def fold_down_loss_db(self) -> float:
        total, cross = self.total()[:, BANDS].sum(), self.cross[:, BANDS].sum()
        return float(10 * np.log10(1 + side_to_mid(np.array(total), np.array(cross))))

    def low_correlation(self) -> float:
        low, high = LOW_HZ
        centre = np.append(THIRD_OCTAVE_CENTRES_HZ, 0.0)
        inside = (centre > low) & (centre < high)
        power = np.array([self.left[:, inside].sum(), self.right[:, inside].sum()])
        found = float(_correlation(power, np.array(self.cross[:, inside].sum())))
        return 0.0 if math.isnan(found) else found


def _with_sum(bands: FloatArray) -> FloatArray:
    """The whole as a last column."""
    return np.column_stack([bands, bands.sum(axis=1)])


def _correlation(power: FloatArray, cross: FloatArray) -> FloatArray:
    """Correlation at zero lag; NaN where a channel is silent. Channels in the last axis."""
    left, right = power[..., 0], power[..., 1]
    silent = np.minimum(left, right) <= _SILENT_CHANNEL * np.maximum(left, right)
    root = np.sqrt(np.where(silent, 1.0, left * right))
    return np.where(silent, np.nan, np.clip(cross / root, -1, 1))


def _direct_side_db(pair: Pair) -> float | None:
    """What was done to the side of the direct sound, where a tail covers it; None for nothing."""
    response = pair.reverberation
    if response is None or response.tail is None:
        return None
    side_db = response.tail.direct_side_db * (1 if response.tail.added else -1)
    return side_db if abs(side_db) >= _LEAST_DIRECT_DB else None


def _quick(
    reference: Features, candidate: Features, match: Match, times: FloatArray
) -> tuple[float | None, float | None]:
    """Difference in side to mid in direct and in decaying moments of both recordings."""
    of_reference = _Moments.of(reference, times, 0.2)
    of_candidate = _Moments.of(candidate, match.time_map.to_candidate(times), 0.2)
    difference = (of_candidate.ratio_db() - of_reference.ratio_db())[:, BANDS]
    weight = np.minimum(of_reference.weights(), of_candidate.weights())[:, BANDS]
    falls = []
    for moments in (of_reference, of_candidate):
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
            reasons.append(f"The {name} is mono: nothing can be said about width.")
        elif correlation[index] is None:
            reasons.append(f"One channel of the {name} is silent: width can't be compared.")
    if frames < agreement.SHORTEST_S * BAND_RATE_HZ:
        reasons.append(f"Less than {agreement.SHORTEST_S:.0f} s in common: too short for width.")
    return tuple(reasons)


analyzer = WidthAnalyzer()
"""Instance for the list of analyzers."""
