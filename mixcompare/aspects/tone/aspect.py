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
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.tone import cuts, shaping
from mixcompare.aspects.tone.about import ABOUT
from mixcompare.aspects.tone.curve import Curve, agreed_curve, cells_of
from mixcompare.aspects.tone.hearing import threshold_power
from mixcompare.aspects.tone.steady import cut_finding, noise_finding, noise_of
from mixcompare.aspects.tone.values import ToneDifference, ToneMeasurement
from mixcompare.aspects.tone.words import broadly, region_finding, regions, tilt_finding
from mixcompare.elements.take import split_pair
from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.findings import Finding
from mixcompare.pair import agreement
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import THIRDS_ABOVE_HZ
from mixcompare.pair.tail import OneTail
from mixcompare.pair.thirds import (
    CENTRES_HZ,
    NOTHING,
    pairs,
    values,
)
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import weighted_quantile

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

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
_EXACT_DEVIATIONS = 8.0
"""By so many standard deviations a filter of one take differs from nothing. Chosen on made-up pairs
(``tests.benchmarks.confidence``, seeds under 100): partials of a louder melody 2.5 to 3.9, filters
beside an element 26 to 60."""
_COMES_AND_GOES_DB = 0.25
"""Of single moments about what they agree on: beside a shelf 0.01 to 0.25 dB, where an element's
upper partials are left 0.3 to 0.65 (three scores of the benchmark's tuning set)."""

_OF_A_SHELF = 0.5
"""Of a region's difference, at the highest notes that attacks are read of: beside a first violin
5 dB louder they show 0.3 to 0.4 dB there, under a shelf of 4 dB 2.1 to 2.5 dB (three scores)."""

_ATTACKS_WITHIN_DB, _LAID_WITHIN_DB = 0.8, 0.5
"""How far attacks may misread a band under another tail: a bell of 3.9 dB reads 3.4, bands without
a filter 0.2 (two scores); and the level that moments are laid by: 0.1 to 0.4 dB in ten pairs with a
shelf (two scores)."""
_ATTACKS_CORNER, _ATTACKS_SLOPE_DB = 1.17, 3.3
"""How far they may misread a low cut: 120 Hz and 12 dB an octave read 117 to 138 Hz and 8.7 to
11.4 dB in ten pairs with another tail (two scores)."""
_CORNER_DB, _HALF_OF_IT = 3.0, 0.5  # of a cut, in attacks; our judgement, not measured
_ON_THE_CURVE_DB = 0.5  # a filter's, beside an element; our judgement
_OF_A_FILTER = 0.5  # of a region's difference, in the cells of one take; our judgement

_TAKEN_OFF = "What single elements contribute is taken off before tone is judged."

_FEWEST_BANDS = 6  # for a filter; our judgement, not measured
_TOO_SHORT = ToneDifference(
    CENTRES_HZ, NOTHING, NOTHING, None, None, (), (), (), (), None,
    reasons=(f"Less than {agreement.SHORTEST_S:.0f} s in common: too short for tone.",),
)  # fmt: skip


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
        one = pair.under_one_tail if balance is not None and balance.one_tail else None
        if balance is not None and not any(balance.explained_tone_db):
            balance = None
        exact = balance is not None and pair.same_take and not balance.one_tail
        made = (balance.times_s, balance.explained_moments_db) if balance and exact else None
        times_s = pair.match.grid_s(BAND_RATE_HZ)
        if len(times_s) < agreement.SHORTEST_S * BAND_RATE_HZ:
            return _TOO_SHORT
        cells = cells_of(pair, times_s)
        curve = agreed_curve(cells, pair, made)
        noise = noise_of(pair, threshold_power(pair))
        difference = replace(_compared(pair, curve, cells.audible, one), noise=noise)
        if one is not None:
            difference = replace(
                difference,
                filter_db=tuple(one.filter_db.tolist()),
                attacks_db=values(one.attacks_db, np.isfinite(one.attacks_db)),
            )
        if balance is None:
            return difference
        if exact:
            difference = replace(difference, filter_db=_filter_db(pair))
        explained = curve.explained_db
        if explained is None:
            explained = balance.explained_tone_db
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
        filter_db = np.asarray(difference.filter_db)
        # At the highest notes, above which attacks tell nothing more.
        shelf_db = 0.0 if exact else float(filter_db[-1])
        half = np.array(
            [
                (pair[1] - pair[0]) / 2 if pair else np.inf
                for pair in difference.band_level_db_interval
            ]
        )
        if exact and filter_db.any():
            # Of moments and of the curve through all cells, either may be right. What an element
            # leaves of moments is as unsure as its size, but that curve goes on beside it.
            sure = np.where(explained != 0, np.minimum(half, _ON_THE_CURVE_DB), half)
            half = np.maximum(sure, np.abs(curve - filter_db))
        elif filter_db.any():
            curve, half = _with_attacks(curve, half, _of_attacks(difference))
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
        if not filter_db.any():
            # A tail tilts the whole, and no attacks; single bands it scatters.
            curve, half = _with_attacks(curve, half, _of_attacks(difference))
        shape = curve
        if not pair.same_take:
            shape, half = broadly(curve, half, heard)
        for bands in regions(shape, half, heard):
            out.append(region_finding(difference, pair, curve, half, bands, heard))
        if exact:
            most_db = _largest_db(pair)
            out = [_beside_elements(one, difference, most_db) for one in out]
        out = [_as_filtered(one, filter_db) for one in out]
        return [_in_attacks(one, shelf_db) for one in out]


def _largest_db(pair: Pair) -> float:
    """The most that any element may have changed by; nothing else moves a cell as far as that."""
    found = pair.differences.get("balance")
    sizes = [abs(edge) for one in found.elements for edge in one.interval] if found else []
    return max(sizes, default=math.inf)


def _beside_elements(found: Finding, difference: ToneDifference, most_db: float) -> Finding:
    """Not the elements' doing, unless it may be what is left of them.

    A filter acts whatever plays, so that its size is known closely. What is left of an element's
    upper partials comes and goes, or its size is uncertain, and it moves the bands in the sense in
    which the element moved them. With what the element is known to do there, it moves none further
    than the element itself moved.
    """
    low, high = found.band_hz or (0.0, math.inf)
    bands = (low < THIRD_OCTAVE_CENTRES_HZ) & (high > THIRD_OCTAVE_CENTRES_HZ)
    explained = float(np.asarray(difference.explained_db)[bands].sum())
    spread = float(np.median(np.asarray(difference.moments_spread_db)[bands]))
    beyond = bands.any() and abs(found.difference + explained / bands.sum()) > most_db
    loose = spread >= _COMES_AND_GOES_DB or found.evidence.deviations < _EXACT_DEVIATIONS
    if loose and explained * found.difference > 0 and not (found.unit == "dB" and beyond):
        return found
    return replace(found, apart=(*found.apart, "balance"))


def _filter_db(pair: Pair) -> tuple[float, ...]:
    """What filters do to third octaves, as the cells of one take show it."""
    spectra, filter_db = pair.of_elements, split_pair(pair).filter_db
    if filter_db is None:
        return (0.0,) * len(CENTRES_HZ)
    of_bands, bands = (
        spectra.in_third_octaves(power[None])[0]
        for power in (10 ** (filter_db / 10), np.ones_like(filter_db))
    )
    held = np.flatnonzero(bands)
    level_db = 10 * np.log10(of_bands[held] / bands[held])
    return tuple(np.interp(np.arange(len(bands)), held, level_db).tolist())


def _of_attacks(difference: ToneDifference) -> FloatArray:
    """Tone as attacks show it under another tail, NaN where they don't.

    What surely is a filter, and nothing where they show nothing. What else they show may be an
    element that is alone in beginning there.
    """
    attacks = np.array([np.nan if value is None else value for value in difference.attacks_db])
    filter_db = np.asarray(difference.filter_db)
    told = (filter_db != 0) | (np.abs(attacks) < _ATTACKS_WITHIN_DB)
    return np.where(told & (THIRD_OCTAVE_CENTRES_HZ < THIRDS_ABOVE_HZ), filter_db, np.nan)


def _with_attacks(
    curve: FloatArray, half: FloatArray, attacks_db: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Of what moments and what attacks show, each as it is sure.

    A curve is known but for a level; that of moments holds the tail, so that it is laid where the
    surest bands of both agree.
    """
    told = np.isfinite(attacks_db) & np.isfinite(half)
    if not told.any():
        return curve, half
    moments, attacks = 1 / np.square(half[told]), 1 / _ATTACKS_WITHIN_DB**2
    away = attacks_db[told] - curve[told]
    laid_db = weighted_quantile(away, moments, 0.5)
    share = attacks / (moments + attacks)
    out, sure = curve + laid_db, np.hypot(half, _LAID_WITHIN_DB)
    out[told] += share * (away - laid_db)
    sure[told] = np.minimum(
        half[told], np.maximum(1 / np.sqrt(moments + attacks), np.abs(away - laid_db) / 2)
    )
    return out, sure


def _as_filtered(found: Finding, filter_db: FloatArray) -> Finding:
    """Not an element's doing where one curve through all cells shows the filter."""
    if found.unit != "dB" or found.band_hz is None:
        return found
    inside = (found.band_hz[0] < THIRD_OCTAVE_CENTRES_HZ) & (
        found.band_hz[1] > THIRD_OCTAVE_CENTRES_HZ
    )
    of_it = float(np.mean(filter_db[inside])) if inside.any() else 0.0
    if of_it * found.difference <= 0 or abs(of_it) < _OF_A_FILTER * abs(found.difference):
        return found
    return replace(found, apart=(*found.apart, "balance"))


def _in_attacks(found: Finding, shelf_db: float) -> Finding:
    """Not an element's doing where attacks of all notes up there show the filter."""
    if found.difference * shelf_db <= 0 or (found.band_hz or (0.0, 0.0))[1] < THIRDS_ABOVE_HZ:
        return found
    if found.unit == "dB" and abs(shelf_db) < _OF_A_SHELF * abs(found.difference):
        return found
    return replace(found, apart=(*found.apart, "balance"))


def _compared(pair: Pair, curve: Curve, audible: BoolArray, one: OneTail | None) -> ToneDifference:
    """Cuts, tilt and broad filters of the curve, with the scatter that its intervals hold."""
    found, known = _cuts(pair, curve)
    if one is not None:
        found = _as_attacked(found, one)
    rest = curve.level_db - cuts.total_db(found, THIRD_OCTAVE_CENTRES_HZ)
    local = agreement.local_scatter(rest)
    upper = known & (THIRD_OCTAVE_CENTRES_HZ > _MANY_PARTIALS_HZ)
    typical = float(np.median(local[upper])) if upper.any() else 0.0
    scatter = _LOCAL_SCATTER * local
    if not pair.same_take:
        scatter = np.hypot(_OTHERS_SHARE * local, _OTHER_PERFORMANCE_DB)
    low, high = agreement.intervals(curve.level_db, curve.draws, np.hypot(scatter, curve.unsure_db))
    line = shaping.Line.through(rest, np.where(known, _deviation(low, high), np.inf))
    tilt, tilt_interval = _tilt(line, np.where(known, curve.draws, 0.0), typical, pair)
    fitted = shaping.Shaping((), 0.0, np.zeros(0))
    if known.sum() >= _FEWEST_BANDS:
        # The filters describe the curve that is there, whoever made it.
        near = agreement.intervals(curve.level_db, curve.draws, scatter)
        fitted = shaping.fit(
            THIRD_OCTAVE_CENTRES_HZ[known],
            (rest + curve.moved_db)[known],
            _deviation(*near)[known],
        )
    left = fitted.residual_db
    return ToneDifference(
        band_centre_hz=CENTRES_HZ,
        band_level_db=values(curve.whole_db, known),
        band_level_db_interval=pairs(low + curve.moved_db, high + curve.moved_db, known),
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
        audible=tuple(audible.tolist()),
        moments_spread_db=tuple(curve.spread_db.tolist()),
    )


def _cuts(pair: Pair, curve: Curve) -> tuple[tuple[cuts.Cut, ...], BoolArray]:
    """Low- and high-cut filters, which are told of one take only; and the bands known beside."""
    known = curve.known
    if not pair.same_take or known.sum() < _FEWEST_BANDS:
        return (), known
    steady = agreement.intervals(curve.level_db, curve.draws)
    rate_hz = float(min(pair.reference.sample_rate_hz, pair.candidate.sample_rate_hz))
    still_db = _deviation(*steady)
    inside = known.copy()
    inside[known] = cuts.steady_bands(still_db[known])
    found = cuts.fit(
        THIRD_OCTAVE_CENTRES_HZ[inside], curve.level_db[inside], still_db[inside], rate_hz
    )
    return found, inside if found else known


def _as_attacked(found: tuple[cuts.Cut, ...], one: OneTail) -> tuple[cuts.Cut, ...]:
    """The low cut that attacks show in place of what moments do, which the tail blurs.

    Moments alone tell of cuts where attacks tell nothing, or agree.
    """
    if one.low_cut is not None:
        corner_hz, slope_db = one.low_cut.corner_hz, one.low_cut.slope_db_per_octave
        shown = cuts.Cut(
            cuts.LOW_CUT,
            corner_hz,
            slope_db,
            (corner_hz / _ATTACKS_CORNER, corner_hz * _ATTACKS_CORNER),
            (slope_db - _ATTACKS_SLOPE_DB, slope_db + _ATTACKS_SLOPE_DB),
        )
        return (shown, *(cut for cut in found if cut.kind != cuts.LOW_CUT))
    return tuple(cut for cut in found if _borne_out(cut, one.attacks_db))


def _borne_out(cut: cuts.Cut, attacks_db: FloatArray) -> bool:
    """Whether attacks that tell of the bands beyond its corner show half of it, or none tells."""
    lost_db = cut.band_response_db(THIRD_OCTAVE_CENTRES_HZ)
    beyond = (np.abs(lost_db) > _CORNER_DB) & np.isfinite(attacks_db)
    return not beyond.any() or bool(np.median((attacks_db / lost_db)[beyond]) > _HALF_OF_IT)


def _deviation(low: FloatArray, high: FloatArray) -> FloatArray:
    """Standard deviation by a 95 % interval."""
    return (high - low) / (2 * 1.96)


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


analyzer = ToneAnalyzer()
"""Instance for the list of analyzers."""
