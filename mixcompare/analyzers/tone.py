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
with the gains reversed they bring the candidate to the reference.

Intervals: block bootstrap over time (Politis and Romano 1992), widened by how much the curve
scatters from band to band (few notes in a band, resonances). Between two performances they are
widened further: instruments and playing make the curve scatter over octaves as well as from band
to band.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare import shaping, steady
from mixcompare.analyzers.base import NOT_IN_REPORT
from mixcompare.bands import NOMINAL_HZ, THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ
from mixcompare.features import BAND_RATE_HZ, Features, common_bands
from mixcompare.findings import JUST_NOTICEABLE, Cause, Finding, Span, signed, size_in_jnd
from mixcompare.match import Match
from mixcompare.mirror import KEPT, SIGNED, exchanged_with, stretched, within
from mixcompare.perband import (
    BANDS,
    CENTRES_HZ,
    NOTHING,
    BandIntervals,
    BandValues,
    pairs,
    spoken_hz,
    values,
)
from mixcompare.timemap import sample_frames

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
_FINEST_DB = 0.1
_SMOOTH_S = {True: 0.2, False: 0.6}  # same take; other performance, whose onsets scatter
_MANY_PARTIALS_HZ = 450.0  # below, a band holds few partials and scatters by itself
# Neighbours scatter partly together, which their differences hide; below, standing waves of the
# room move whole bands.
_LOCAL_SCATTER = np.where(THIRD_OCTAVE_CENTRES_HZ > _MANY_PARTIALS_HZ, 1.5, 2.2)
_OTHER_INSTRUMENTS_DB = 0.6  # typical scatter from which on other instruments are likely
_BALANCE_DB = 0.8  # voices change places by a decibel between performances, and tilt the whole
_HIGHS_HZ = 1800.0
_REGION_NAMES = (
    (60.0, "the lowest octave"),
    (130.0, "the bass"),
    (260.0, "the upper bass"),
    (520.0, "the low mids"),
    (2100.0, "the mids"),
    (5200.0, "the upper mids"),
    (10_500.0, "the treble"),
    (1e9, "the top octave"),
)


@dataclass(frozen=True)
class ToneMeasurement:
    """Tone of one recording: mean third-octave levels against the broadband level."""

    band_centre_hz: tuple[float, ...]
    band_level_db: BandValues
    tilt_db_per_octave: float | None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class ToneDifference:
    """Static spectral difference, level-matched; candidate minus reference.

    Attributes
    ----------
    band_centre_hz, band_level_db, band_level_db_interval
        Per third-octave band, None where it can't be told.
    tilt_db_per_octave, tilt_db_per_octave_interval
    shaping_kind, shaping_frequency_hz, shaping_gain_db, shaping_q
        Filters from the reference's tone to the candidate's.
    residual_db : float or None
        Root mean square over the bands of what they leave.
    scatter_db : float or None
        How far a band above 450 Hz typically lies from what its neighbours lead to expect.
    explained_db : tuple of float, shape (31,)
        How much of each band another finding explains (see :meth:`explained_by`).
    audible : tuple of bool, shape (31,)
        Whether the band is above the threshold of hearing in either recording.
    """

    band_centre_hz: tuple[float, ...] = field(metadata=KEPT)
    band_level_db: BandValues = field(metadata=SIGNED | within(0.1) | stretched(0.2))
    band_level_db_interval: BandIntervals
    tilt_db_per_octave: float | None = field(metadata=SIGNED | within(0.02))
    tilt_db_per_octave_interval: tuple[float, float] | None
    shaping_kind: tuple[str, ...] = field(metadata=KEPT)
    shaping_frequency_hz: tuple[float, ...] = field(metadata=KEPT | within(0.05))
    shaping_gain_db: tuple[float, ...] = field(metadata=SIGNED | within(0.05))
    shaping_q: tuple[float, ...] = field(metadata=KEPT | within(0.05))
    residual_db: float | None = field(metadata=KEPT | within(0.02))
    scatter_db: float | None = field(default=None, metadata=KEPT | stretched(0.03))
    explained_db: tuple[float, ...] = field(default=(0.0,) * BANDS, metadata=SIGNED)
    reasons: tuple[str, ...] = ()
    audible: tuple[bool, ...] = field(default=(True,) * BANDS, metadata=NOT_IN_REPORT | KEPT)
    same_take: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)
    span_s: Span = field(
        default=(0.0, 0.0), metadata=NOT_IN_REPORT | exchanged_with("candidate_span_s")
    )
    candidate_span_s: Span = field(
        default=(0.0, 0.0), metadata=NOT_IN_REPORT | exchanged_with("span_s")
    )

    def explained_by(self, band_db: npt.ArrayLike, reason: str) -> ToneDifference:
        """The same difference, part of which is known to be something else.

        Parameters
        ----------
        band_db : array_like, shape (31,)
            What the other finding contributes to each band.
        reason : str
            One sentence, added to ``reasons``.
        """
        total = np.asarray(self.explained_db) + np.asarray(band_db, np.float64)
        explained = tuple(float(value) for value in total)
        return replace(self, explained_db=explained, reasons=(*self.reasons, reason))


class ToneAnalyzer:
    """Measures and compares tone."""

    aspect = "tone"

    def measure(self, features: Features) -> ToneMeasurement:
        """Mean third-octave levels and their tilt."""
        power = features.band_power.sum(axis=2, dtype=np.float64).mean(axis=0)
        usable = features.usable_bands & (power > 0)
        level = 10 * np.log10(np.maximum(power, 1e-30) / power.sum())
        line = shaping.Line.through(level, np.where(usable, 1.0, np.inf))
        slope = None if line is None else line.slope
        reasons = () if line else ("Too few usable bands for a tilt.",)
        return ToneMeasurement(CENTRES_HZ, values(level, usable), slope, reasons)

    def compare(self, reference: Features, candidate: Features, match: Match) -> ToneDifference:
        """Static difference per band, tilt, and the broad filters that describe it."""
        span_s, candidate_span_s = match.time_map.span_s, match.time_map.candidate_span_s
        times = match.grid_s(BAND_RATE_HZ)
        if len(times) < steady.SHORTEST_S * BAND_RATE_HZ:
            return ToneDifference(
                CENTRES_HZ, NOTHING, NOTHING, None, None, (), (), (), (), None,
                reasons=(f"Less than {steady.SHORTEST_S:.0f} s in common: too short for tone.",),
                span_s=span_s, candidate_span_s=candidate_span_s,
            )  # fmt: skip
        before, after = _paired_power(reference, candidate, match, times)
        difference = 10 * np.log10(np.maximum(after, 1e-30) / np.maximum(before, 1e-30))
        difference -= match.gain_db
        weight = np.minimum(
            *(
                steady.cell_weights(power, _CELL_RANGE_DB, _FRAME_RANGE_DB)
                for power in (before, after)
            )
        )
        weight[:, ~common_bands(reference, candidate)] = 0
        curve, draws = steady.agreed(difference, weight, BAND_RATE_HZ, _FINEST_DB)
        known = np.isfinite(curve)
        local = steady.local_scatter(curve)
        upper = known & (THIRD_OCTAVE_CENTRES_HZ > _MANY_PARTIALS_HZ)
        typical = float(np.median(local[upper])) if upper.any() else 0.0
        broad = 0.0 if match.same_take else _broad_scatter_db(typical)
        low, high = steady.intervals(curve, draws, np.hypot(_LOCAL_SCATTER * local, broad))
        deviation = np.where(known, (high - low) / (2 * 1.96), np.inf)
        line = shaping.Line.through(curve, deviation)
        tilt, tilt_interval = None, None
        if line is not None:
            tilt = line.slope
            slopes = line.slopes(np.where(known, draws, 0.0))
            balance = 0.0 if match.same_take else _BALANCE_DB
            spread = max(float(np.hypot(broad, balance)), typical)
            around = line.scattered(slopes - np.mean(slopes), spread)
            tilt_interval = (tilt + around[0], tilt + around[1])
        fitted = shaping.Shaping((), 0.0, np.zeros(0))
        if known.sum() >= 6:
            centres = THIRD_OCTAVE_CENTRES_HZ[known]
            # The filters describe the curve that is there, whoever made it.
            near = steady.intervals(curve, draws, _LOCAL_SCATTER * local)
            fitted = shaping.fit(centres, curve[known], ((near[1] - near[0]) / (2 * 1.96))[known])
        left = fitted.residual_db
        return ToneDifference(
            band_centre_hz=CENTRES_HZ,
            band_level_db=values(curve, known),
            band_level_db_interval=pairs(low, high, known),
            tilt_db_per_octave=tilt,
            tilt_db_per_octave_interval=tilt_interval,
            shaping_kind=tuple(entry.kind for entry in fitted.filters),
            shaping_frequency_hz=tuple(entry.frequency_hz for entry in fitted.filters),
            shaping_gain_db=tuple(entry.gain_db for entry in fitted.filters),
            shaping_q=tuple(entry.q for entry in fitted.filters),
            scatter_db=typical,
            residual_db=float(np.sqrt(np.mean(left**2))) if len(left) else None,
            reasons=() if line else ("Too few bands in common for a tilt.",),
            audible=tuple(bool(value) for value in _audible(before) | _audible(after)),
            same_take=match.same_take,
            span_s=span_s,
            candidate_span_s=candidate_span_s,
        )

    def findings(self, difference: ToneDifference) -> list[Finding]:
        """A tilt, or the broad regions that stand out; never both for the same bands."""
        known = np.array([value is not None for value in difference.band_level_db])
        curve = np.array([value or 0.0 for value in difference.band_level_db])
        # An explanation takes off what is there; it never turns into a difference of its own.
        explained = np.asarray(difference.explained_db)
        curve -= np.clip(explained, np.minimum(curve, 0), np.maximum(curve, 0))
        half = np.array(
            [
                (pair[1] - pair[0]) / 2 if pair else np.inf
                for pair in difference.band_level_db_interval
            ]
        )
        heard = known & np.asarray(difference.audible)
        out = []
        tilt = _tilt_finding(difference, curve, np.where(heard, half / 1.96, np.inf))
        if tilt is not None:
            out.append(tilt)
            curve = curve - shaping.Line.clipped(tilt.difference, curve, heard)
        for bands in _regions(curve, half, heard):
            out.append(_region_finding(difference, curve, half, bands, heard))
        return out


def _paired_power(
    reference: Features, candidate: Features, match: Match, times: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Power of both on the reference's clock, smoothed a little, shape (frames, 31)."""
    size = max(round(_SMOOTH_S[match.same_take] * BAND_RATE_HZ), 1)
    before, after = (
        ndimage.uniform_filter1d(
            features.band_power.sum(axis=2, dtype=np.float64), size, axis=0, mode="nearest"
        )
        for features in (reference, candidate)
    )
    return (
        sample_frames(before, BAND_RATE_HZ, times),
        match.time_map.warp(after, BAND_RATE_HZ, times),
    )


def _broad_scatter_db(typical_db: float) -> float:
    """How much players and instruments differ over whole octaves, from band-to-band scatter.

    The same instruments played again scatter by 0.2 to 0.3 dB from band to band and three times
    that over octaves; other instruments by 0.8 to 2 dB and up to five times that (measured on
    rendered performances).
    """
    return typical_db * (3 + 2 * typical_db)


def _audible(power: FloatArray) -> BoolArray:
    """Which bands rise above the threshold of hearing in their loud moments, shape (31,)."""
    whole = float(power.sum(axis=1).mean())
    loud = np.percentile(power, 95, axis=0)
    heard_db = PLAYBACK_DB_SPL + 10 * np.log10(np.maximum(loud, 1e-30) / whole)
    audible: BoolArray = heard_db > HEARING_THRESHOLD_DB_SPL
    return audible


# --- findings -----------------------------------------------------------------------------------


def _tilt_finding(
    difference: ToneDifference, curve: FloatArray, deviation: FloatArray
) -> Finding | None:
    """One finding for the whole tilt, if a straight line says most of it."""
    around, whole = difference.tilt_db_per_octave_interval, difference.tilt_db_per_octave
    line = shaping.Line.through(curve, deviation)
    if line is None or around is None or whole is None:
        return None
    heard = np.isfinite(deviation)
    low, high = around[0] - whole + line.slope, around[1] - whole + line.slope
    size = size_in_jnd(line.slope, (low, high), JUST_NOTICEABLE["tone_tilt"].size)
    centres = THIRD_OCTAVE_CENTRES_HZ[heard]
    if size < 1 or not shaping.is_tilt(centres, curve[heard], deviation[heard], line.slope):
        return None
    brighter = line.slope > 0
    span_db = abs(line.slope) * math.log2(100)
    text = (
        f"The candidate is {'brighter' if brighter else 'darker'} throughout:"
        f" {signed(line.slope, 'dB per octave', 2)} (between {low:+.2f} and {high:+.2f}),"
        f" about {span_db:.0f} dB from 100 Hz to 10 kHz."
    )
    advice = (
        f"{'Less' if brighter else 'More'} treble and {'more' if brighter else 'less'} bass by a"
        f" gentle slope over the whole range, about {span_db / 2:.0f} dB at either end.",
    )
    return Finding(
        aspect="tone", kind="tone_brighter" if brighter else "tone_darker",
        subject="the overall tone", difference=line.slope, interval=(low, high),
        unit="dB/octave", jnd=size,
        confidence=steady.confidence(line.slope, (low, high), _most_sure(difference)),
        spans_s=(difference.span_s,), candidate_spans_s=(difference.candidate_span_s,),
        band_hz=(100.0, 10_000.0), cause=_cause(difference), text=text, advice=advice,
    )  # fmt: skip


def _regions(curve: FloatArray, half: FloatArray, heard: BoolArray) -> list[list[int]]:
    """Runs of bands around each peak that differ in one direction, two thirds of an octave up."""
    limit = JUST_NOTICEABLE["tone"].size
    clear = heard & (np.abs(curve) >= limit) & (np.abs(curve) > half)
    free = heard.copy()
    out = []
    while (clear & free).any():
        peak = int(np.argmax(np.where(clear & free, np.abs(curve), 0)))
        alike = free & (curve * np.sign(curve[peak]) >= 0.5 * abs(curve[peak]))
        first, last = peak, peak
        while first > 0 and alike[first - 1]:
            first -= 1
        while last < BANDS - 1 and alike[last + 1]:
            last += 1
        bands = list(range(first, last + 1))
        free[bands] = False
        _spend_skirts(free, np.abs(np.where(curve * curve[peak] > 0, curve, 0.0)), first, last)
        if clear[bands].sum() >= 2 and abs(np.mean(curve[bands])) > np.mean(half[bands]):
            out.append(bands)
    return sorted(out)


def _spend_skirts(free: BoolArray, size: FloatArray, first: int, last: int) -> None:
    """What only leads down from a peak belongs to it."""
    while first > 0 and 0 < size[first - 1] <= size[first]:
        first -= 1
        free[first] = False
    while last < BANDS - 1 and 0 < size[last + 1] <= size[last]:
        last += 1
        free[last] = False


def _region_finding(
    difference: ToneDifference,
    curve: FloatArray,
    half: FloatArray,
    bands: list[int],
    heard: BoolArray,
) -> Finding:
    value = float(np.mean(curve[bands]))
    reach = float(np.mean(half[bands]))
    around = (value - reach, value + reach)
    peak = bands[int(np.argmax(np.abs(curve[bands])))]
    low, high = float(THIRD_OCTAVE_EDGES_HZ[bands[0]]), float(THIRD_OCTAVE_EDGES_HZ[bands[-1] + 1])
    to_the_top = bands[-1] >= np.flatnonzero(heard)[-1] - 1
    more = value > 0
    if low > _HIGHS_HZ and to_the_top:
        kind = "tone_brighter" if more else "tone_darker"
        where, shape = f"the highs above {spoken_hz(low)}", "a high shelf"
    else:
        kind = "tone_band_louder" if more else "tone_band_weaker"
        where = f"{_region_name(peak)} around {_nominal(peak)}"
        shape = "a broad bell"
        if bands[0] <= np.flatnonzero(heard)[0] + 1:
            where, shape = f"the low end below {spoken_hz(high)}", "a low shelf"
    amount = f"{abs(value):.1f} dB {'more' if more else 'less'}"
    text = (
        f"The candidate has {amount} than the reference in {where}"
        f" (between {around[0]:+.1f} and {around[1]:+.1f} dB; {spoken_hz(low)} to"
        f" {spoken_hz(high)})."
    )
    if abs(float(np.mean(np.asarray(difference.explained_db)[bands]))) >= 0.5:
        text += " What a single element adds there is already taken off."
    advice = (
        f"Try a broad {'cut' if more else 'boost'} of about {abs(curve[peak]):.0f} dB in {where}"
        f" ({shape}).",
    )
    return Finding(
        aspect="tone", kind=kind, subject=where, difference=value, interval=around, unit="dB",
        jnd=size_in_jnd(value, around, JUST_NOTICEABLE["tone"].size),
        confidence=steady.confidence(value, around, _most_sure(difference)),
        spans_s=(difference.span_s,), candidate_spans_s=(difference.candidate_span_s,),
        band_hz=(low, high), cause=_cause(difference), text=text, advice=advice,
    )  # fmt: skip


def _cause(difference: ToneDifference) -> Cause:
    """One take: the mix, or room added in it. Else the mix, the room, or other instruments."""
    if difference.same_take:
        return Cause.weighing(players=0.0, room=0.1, mix=0.9)
    if (difference.scatter_db or 0.0) > _OTHER_INSTRUMENTS_DB:
        return Cause.weighing(players=0.3, room=0.3, mix=0.4)
    return Cause.weighing(players=0.1, room=0.35, mix=0.55)


def _most_sure(difference: ToneDifference) -> float:
    return 0.99 if difference.same_take else 0.9


def _nominal(band: int) -> str:
    """Name of a band: ``315 Hz``, ``1.25 kHz``."""
    name = NOMINAL_HZ[band]
    return f"{name / 1000:g} kHz" if name >= 1000 else f"{name:g} Hz"


def _region_name(band: int) -> str:
    centre = THIRD_OCTAVE_CENTRES_HZ[band]
    return next(name for limit, name in _REGION_NAMES if centre < limit)


analyzer = ToneAnalyzer()
"""Instance for the list of analyzers."""
