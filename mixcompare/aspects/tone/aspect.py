"""Tone: the static spectral difference, whatever plays.

Conventions
-----------
What is heard: one recording brighter, darker, fuller or thinner throughout. Third-octave bands
after IEC 61260-1:2014, dB; positive = the candidate has more. Bands that either recording
doesn't carry are None. What only some moments show (an element louder while it plays) is not
tone: each band's difference is the value on which most moments agree, level-matched before.
``tilt_db_per_octave`` is a straight line through the band levels against log frequency, 100 Hz
to 10 kHz; pink noise has 0, white noise +3.01.

``shaping_...`` describes the filters that would turn the reference's tone into the candidate's;
with the gains reversed they bring the candidate to the reference. In one take low- and high-cut
filters are told apart from them, and the shaping, tilt and scatter are of the rest. So is steady
noise that one recording has: it was given to both before (``mixcompare.pair.noise``).

Intervals: block bootstrap over time (Politis and Romano 1992), widened by how much the curve
scatters from band to band (few notes in a band, resonances). Between two performances they are
widened by what another playing of the same notes makes of a band. Whether players, instruments,
hall or microphones made the difference is another question, of its cause: what is measured there
is measured.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import sample_frames
from mixcompare.aspects.tone import cuts, shaping
from mixcompare.aspects.tone.about import ABOUT
from mixcompare.aspects.tone.steady import cut_finding, noise_finding, noise_of
from mixcompare.aspects.tone.values import ToneDifference, ToneMeasurement
from mixcompare.aspects.tone.words import broadly, region_finding, regions, tilt_finding
from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.findings import Finding
from mixcompare.pair import agreement
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.pair.thirds import (
    CENTRES_HZ,
    NOTHING,
    pairs,
    values,
)
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import densest, weighted_medians

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
PLAYBACK_DB_SPL = 75.0
"""Level at which the whole is taken to be heard (common practice, no source)."""
HEARING_THRESHOLD_DB_SPL: FloatArray = np.array(
    [
        78.5, 68.7, 59.5, 51.1, 44.0, 37.5, 31.5, 26.5, 22.1, 17.9, 14.4, 11.4, 8.6, 6.2, 4.4, 3.0,
        2.2, 2.4, 3.5, 1.7, -1.3, -4.2, -6.0, -5.4, -1.5, 6.0, 12.6, 13.9, 12.3, 40.2, 73.0,
    ]
)  # fmt: skip
"""ISO 226:2003, Table 1 (threshold of hearing, 20 Hz to 12.5 kHz); above: ISO 389-7:2005, the last
one extrapolated. From memory. Bands below it can't make a finding."""

_CELL_RANGE_DB = 35.0  # a cell counts within so much of its band's loud moments ...
_FRAME_RANGE_DB = 60.0  # ... and of the whole frame
_FINEST_DB = 0.1  # resolution: under a tenth of what is just noticeable
_SMOOTH_S = {True: 0.2, False: 0.6}  # same take; other performance, whose onsets scatter
_MANY_PARTIALS_HZ = 450.0  # below, a band holds few partials and scatters by itself
# Neighbours scatter partly together, which their differences hide; below, standing waves of the
# room move whole bands.
_LOCAL_SCATTER = np.where(THIRD_OCTAVE_CENTRES_HZ > _MANY_PARTIALS_HZ, 1.5, 2.2)
_OTHER_PERFORMANCE_DB = np.where(THIRD_OCTAVE_CENTRES_HZ > _MANY_PARTIALS_HZ, 0.7, 1.8)
"""What the same instruments played again, in another room of the same length, differ by in a third
octave of half a minute: 0.6 and 1.6 dB above and below that limit (three scores of the benchmark's
tuning set, standard deviation)."""
_OTHERS_SHARE = 0.5
"""Of the scatter from band to band. Of other instruments most of it is their own, and is there in
every passage; it is no doubt about the size."""
_BALANCE_DB = 1.3
"""Voices change places between performances and tilt the whole: with 0.8 dB the tilt's interval
held 83 % of played pairs, with 1.3 dB over 90 % (tests/test_coverage.py)."""

_FAR_DOWN_DB = 10.0  # lost to a cut: what is left came through its edge; our judgement
_LEVEL_SHARE = 0.3  # of the weight: on so much the level rests
_MADE_DB = 0.3  # a moment that an element moved by so much counts half
_MOSTLY = 0.9  # of a moment's cells
_COMES_AND_GOES_DB = 0.25
"""Of single moments about what they agree on: beside a shelf 0.01 to 0.25 dB, where an element's
upper partials are left 0.3 to 0.65 (three scores of the benchmark's tuning set)."""
_UNSURE = 0.15  # of what elements explain: their sizes are known so well

_TAKEN_OFF = "What single elements contribute is taken off before tone is judged."


class ToneAnalyzer:
    """Measures and compares tone."""

    aspect = "tone"
    about = ABOUT

    def measure(self, features: Features) -> ToneMeasurement:
        """Mean third-octave levels and their tilt."""
        power = features.band_power.sum(axis=2, dtype=np.float64).mean(axis=0)
        usable = features.usable_bands & (power > 0)
        level = 10 * np.log10(np.maximum(power, 1e-30) / power.sum())
        line = shaping.Line.through(level, np.where(usable, 1.0, np.inf))
        slope = None if line is None else line.slope
        reasons = () if line else ("Too few usable bands for a tilt.",)
        return ToneMeasurement(CENTRES_HZ, values(level, usable), slope, reasons)

    def compare(self, pair: Pair) -> ToneDifference:
        """Static difference per band, tilt, and the broad filters that describe it."""
        balance = pair.differences.get("balance")
        if balance is not None and not any(balance.explained_tone_db):
            balance = None
        exact = balance is not None and pair.same_take and not balance.one_tail
        made = (balance.times_s, balance.explained_moments_db) if balance and exact else None
        difference, by_elements = _compared(pair, made)
        difference = replace(difference, noise=noise_of(pair, _threshold_power(pair)))
        if balance is None:
            return difference
        explained = balance.explained_tone_db if by_elements is None else by_elements
        return difference.explained_by(explained, _TAKEN_OFF)

    def findings(self, difference: ToneDifference, pair: Pair) -> list[Finding]:
        """A tilt, or the broad regions that stand out; never both for the same bands."""
        known = np.array([value is not None for value in difference.band_level_db])
        curve = np.array([value or 0.0 for value in difference.band_level_db])
        # An explanation takes off what is there; it never turns into a difference of its own. But
        # in one take in one room it is exact, and may have hidden one.
        explained = np.asarray(difference.explained_db)
        exact = any(difference.moments_spread_db)
        if not exact:
            explained = np.clip(explained, np.minimum(curve, 0), np.maximum(curve, 0))
        curve -= explained
        half = np.array(
            [
                (pair[1] - pair[0]) / 2 if pair else np.inf
                for pair in difference.band_level_db_interval
            ]
        )
        heard = known & np.asarray(difference.audible)
        out = [noise_finding(one, pair) for one in difference.noise if one.heard]
        for cut in difference.cuts:
            lost = cut.band_response_db(THIRD_OCTAVE_CENTRES_HZ)
            curve -= lost
            found = cut_finding(cut, lost, heard, pair)
            out += [] if found is None else [found]
            # What is left of a band that lost so much came through the filter's edge.
            heard = heard & (np.abs(lost) < _FAR_DOWN_DB)
        tilt = tilt_finding(difference, pair, curve, np.where(heard, half / 1.96, np.inf))
        if tilt is not None:
            out.append(tilt)
            curve = curve - shaping.Line.clipped(tilt.difference, curve, heard)
        shape = curve
        if not pair.same_take:
            shape, half = broadly(curve, half, heard)
        for bands in regions(shape, half, heard):
            out.append(region_finding(difference, pair, curve, half, bands, heard))
        if exact:
            out = [_beside_elements(one, difference) for one in out]
        return out


def _beside_elements(found: Finding, difference: ToneDifference) -> Finding:
    """Not the elements' doing, unless it may be what is left of them.

    A filter acts whatever plays. What is left of an element's upper partials comes and goes, and
    moves the bands in the sense in which the element moved them.
    """
    low, high = found.band_hz or (0.0, math.inf)
    bands = (low < THIRD_OCTAVE_CENTRES_HZ) & (high > THIRD_OCTAVE_CENTRES_HZ)
    explained = float(np.asarray(difference.explained_db)[bands].sum())
    spread = float(np.median(np.asarray(difference.moments_spread_db)[bands]))
    if spread >= _COMES_AND_GOES_DB and explained * found.difference > 0:
        return found
    return replace(found, apart=(*found.apart, "balance"))


def _compared(
    pair: Pair, made: tuple[Sequence[float], FloatArray] | None
) -> tuple[ToneDifference, FloatArray | None]:
    """The difference by itself, and how much of it elements explain in one take.

    Where elements changed in one take, every moment is read once more without what they did to it:
    a filter acts whatever plays. ``made`` holds times and, for every band, what they did then.
    """
    reference, candidate, match = pair.reference, pair.candidate, pair.match
    times = match.grid_s(BAND_RATE_HZ)
    if len(times) < agreement.SHORTEST_S * BAND_RATE_HZ:
        short = ToneDifference(
            CENTRES_HZ, NOTHING, NOTHING, None, None, (), (), (), (), None,
            reasons=(f"Less than {agreement.SHORTEST_S:.0f} s in common: too short for tone.",),
        )  # fmt: skip
        return short, None
    of_reference, of_candidate = _paired_power(reference, candidate, match, times)
    difference = 10 * np.log10(np.maximum(of_candidate, 1e-30) / np.maximum(of_reference, 1e-30))
    difference -= match.gain_db
    weight = np.minimum(
        *(
            agreement.cell_weights(power, _CELL_RANGE_DB, _FRAME_RANGE_DB)
            for power in (of_reference, of_candidate)
        )
    )
    weight[:, ~pair.usable_bands] = 0
    weight[pair.clipped(times)] = 0
    if pair.ride.moves:
        moments_s = pair.spectra.times_s
        difference -= np.interp(times, moments_s, pair.ride.level_db)[:, None]
        weight[np.interp(times, moments_s, pair.ride.told) < 1] = 0
        # The pair's level was taken with the ride in it.
        difference -= densest(difference, weight, _LEVEL_SHARE)[1]
    curve, draws = agreement.agreed(difference, weight, BAND_RATE_HZ, _FINEST_DB)
    known = np.isfinite(curve)
    whole = curve
    unsure = np.zeros(len(curve))
    explained: FloatArray | None = None
    spread = np.zeros(len(curve))
    if made is not None:
        then_s, every_band = made
        made_db = np.column_stack([np.interp(times, then_s, band) for band in every_band.T])
        weight = weight / (1 + np.abs(made_db) / _MADE_DB)
        weight[~_judged(pair, times)] = 0
        curve, draws = agreement.agreed(difference - made_db, weight, BAND_RATE_HZ, _FINEST_DB)
        known &= np.isfinite(curve)
        explained = np.where(known, whole - curve, 0.0)
        away_db = np.abs(difference - made_db - curve)
        spread = 1.4826 * weighted_medians(away_db, np.where(known, weight, 0.0))
        unsure = _UNSURE * np.abs(explained)
    steady = agreement.intervals(curve, draws)
    found: tuple[cuts.Cut, ...] = ()
    if match.same_take and known.sum() >= 6:
        rate_hz = float(min(reference.sample_rate_hz, candidate.sample_rate_hz))
        still_db = (steady[1] - steady[0]) / (2 * 1.96)
        inside = known.copy()
        inside[known] = cuts.steady_bands(still_db[known])
        found = cuts.fit(
            THIRD_OCTAVE_CENTRES_HZ[inside], curve[inside], still_db[inside], rate_hz
        )
        known = inside if found else known
    rest = curve - cuts.total_db(found, THIRD_OCTAVE_CENTRES_HZ)
    local = agreement.local_scatter(rest)
    upper = known & (THIRD_OCTAVE_CENTRES_HZ > _MANY_PARTIALS_HZ)
    typical = float(np.median(local[upper])) if upper.any() else 0.0
    scatter = _LOCAL_SCATTER * local
    if not match.same_take:
        scatter = np.hypot(_OTHERS_SHARE * local, _OTHER_PERFORMANCE_DB)
    low, high = agreement.intervals(curve, draws, np.hypot(scatter, unsure))
    deviation = np.where(known, (high - low) / (2 * 1.96), np.inf)
    line = shaping.Line.through(rest, deviation)
    tilt, tilt_interval = _tilt(line, np.where(known, draws, 0.0), typical, pair)
    fitted = shaping.Shaping((), 0.0, np.zeros(0))
    if known.sum() >= 6:
        centres = THIRD_OCTAVE_CENTRES_HZ[known]
        # The filters describe the curve that is there, whoever made it.
        near = agreement.intervals(curve, draws, scatter)
        there = rest if explained is None else rest + explained
        fitted = shaping.fit(centres, there[known], ((near[1] - near[0]) / (2 * 1.96))[known])
    left = fitted.residual_db
    moved = 0.0 if explained is None else explained
    compared = ToneDifference(
        band_centre_hz=CENTRES_HZ,
        band_level_db=values(whole, known),
        band_level_db_interval=pairs(low + moved, high + moved, known),
        tilt_db_per_octave=tilt,
        tilt_db_per_octave_interval=tilt_interval,
        shaping_kind=tuple(entry.kind for entry in fitted.filters),
        shaping_frequency_hz=tuple(entry.frequency_hz for entry in fitted.filters),
        shaping_gain_db=tuple(entry.gain_db for entry in fitted.filters),
        shaping_q=tuple(entry.q for entry in fitted.filters),
        scatter_db=typical,
        residual_db=float(np.sqrt(np.mean(left**2))) if len(left) else None,
        cuts=found,
        reasons=() if line else ("Too few bands in common for a tilt.",),
        audible=tuple(bool(value) for value in _audible(of_reference) | _audible(of_candidate)),
        moments_spread_db=tuple(spread.tolist()),
    )
    return compared, explained


def _judged(pair: Pair, times_s: FloatArray) -> BoolArray:
    """Moments in which it is known what elements did, shape (n,)."""
    spectra = pair.of_elements
    if spectra.judged is None:
        return np.ones(len(times_s), np.bool_)
    share = spectra.judged.mean(axis=1)
    return np.asarray(np.interp(times_s, spectra.times_s, share) > _MOSTLY)


def _tilt(
    line: shaping.Line | None, draws: FloatArray, typical: float, pair: Pair
) -> tuple[float | None, tuple[float, float] | None]:
    """Slope of the line through the curve, with its 95 % interval."""
    if line is None:
        return None, None
    slopes = line.slopes(draws)
    spread = typical if pair.same_take else max(_BALANCE_DB, _OTHERS_SHARE * typical)
    around = line.scattered(slopes - np.mean(slopes), spread)
    return line.slope, (line.slope + around[0], line.slope + around[1])


def _paired_power(
    reference: Features, candidate: Features, match: Match, times: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Power of both on the reference's clock, smoothed a little, shape (frames, 31)."""
    size = max(round(_SMOOTH_S[match.same_take] * BAND_RATE_HZ), 1)
    of_reference, of_candidate = (
        ndimage.uniform_filter1d(
            features.band_power.sum(axis=2, dtype=np.float64), size, axis=0, mode="nearest"
        )
        for features in (reference, candidate)
    )
    return (
        sample_frames(of_reference, BAND_RATE_HZ, times),
        match.time_map.warp(of_candidate, BAND_RATE_HZ, times),
    )


def _threshold_power(pair: Pair) -> FloatArray:
    """Power at the threshold of hearing in third octaves of each recording, shape (2, 31)."""
    whole = [
        float(features.band_power.sum(axis=(1, 2), dtype=np.float64).mean())
        for features in (pair.reference, pair.candidate)
    ]
    below_db = HEARING_THRESHOLD_DB_SPL - PLAYBACK_DB_SPL
    return np.multiply.outer(whole, 10 ** (below_db / 10))


def _audible(power: FloatArray) -> BoolArray:
    """Which bands rise above the threshold of hearing in their loud moments, shape (31,)."""
    whole = float(power.sum(axis=1).mean())
    loud = np.percentile(power, 95, axis=0)
    heard_db = PLAYBACK_DB_SPL + 10 * np.log10(np.maximum(loud, 1e-30) / whole)
    audible: BoolArray = heard_db > HEARING_THRESHOLD_DB_SPL
    return audible


analyzer = ToneAnalyzer()
"""Instance for the list of analyzers."""
