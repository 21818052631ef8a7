"""Brighter, darker, fuller, thinner: in words."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.aspects.tone import shaping
from mixcompare.aspects.tone.about import TILT, TONE
from mixcompare.aspects.tone.values import ToneDifference
from mixcompare.findings import Cause, Finding, between, size_in_jnd
from mixcompare.findings.cause import Differs, Seen, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.pair.pair import Pair
from mixcompare.pair.thirds import BANDS, spoken_hz
from mixcompare.standards.iec61260 import NOMINAL_HZ, THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ

OTHER_INSTRUMENTS_DB = 0.6  # typical scatter from which on other instruments are likely
BoolArray = npt.NDArray[np.bool_]

FloatArray = npt.NDArray[np.float64]
_HIGHS_HZ = 1700.0  # a region above it that reaches the top is called the highs; our words
_LEVEL_AT_END = 0.7  # of its peak: what a shelf still does at the top, a bell does not
_BROAD_BANDS = 1.0  # standard deviation in third octaves: half of the weight within an octave
_INDEPENDENT = 2.0  # of three bands side by side; our judgement, not measured
_LEVEL_WITHIN_DB = 0.6
"""Half width of what was taken out as level: of all bands alike."""
_LEAST_TURN_DB = 1.0  # a broad filter that does less is hardly heard; our judgement
_OPEN = " Instruments, hall or microphones: which of them makes it can't be told apart here."
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


def tilt_finding(
    difference: ToneDifference, pair: Pair, curve: FloatArray, deviation: FloatArray
) -> Finding | None:
    """One finding for the whole tilt, if a straight line says most of it."""
    around, whole = difference.tilt_db_per_octave_interval, difference.tilt_db_per_octave
    line = shaping.Line.through(curve, deviation)
    if line is None or around is None or whole is None:
        return None
    heard = np.isfinite(deviation)
    low, high = around[0] - whole + line.slope, around[1] - whole + line.slope
    size = size_in_jnd(line.slope, (low, high), TILT.size)
    centres = THIRD_OCTAVE_CENTRES_HZ[heard]
    if size < 1 or not shaping.is_tilt(centres, curve[heard], deviation[heard], line.slope):
        return None
    brighter = line.slope > 0
    span_db = abs(line.slope) * math.log2(100)
    text = (
        f"The candidate is {'brighter' if brighter else 'darker'} throughout, by"
        f" {abs(line.slope):.2f} dB per octave ({between((low, high), 2)}):"
        f" about {span_db:.0f} dB from 100 Hz to 10 kHz."
    )
    text += "" if pair.same_take else _OPEN
    half_span = math.log2(100) / 2
    amount = _gain(half_span * line.slope, (half_span * low, half_span * high), pair.same_take)
    advice = (
        f"{'Less' if brighter else 'More'} treble and {'more' if brighter else 'less'} bass by a"
        f" gentle slope over the whole range, at either end {amount}.",
    )
    proof = evidence(line.slope, (low, high), pair.same_take)
    return Finding(
        aspect="tone", kind="tone_brighter" if brighter else "tone_darker",
        subject="the overall tone", difference=line.slope, interval=(low, high),
        unit="dB/octave", jnd=size, noticeable=TILT,
        evidence=proof,
        spans_s=(pair.span_s,),
        band_hz=(100.0, 10_000.0), cause=_cause(difference, pair), text=text, advice=advice,
    )  # fmt: skip


def broadly(curve: FloatArray, half: FloatArray, heard: BoolArray) -> tuple[FloatArray, FloatArray]:
    """The same curve over about an octave, of the bands that are heard.

    Of two performances single bands stand out by the few notes they hold; an octave holds many.
    """
    share = ndimage.gaussian_filter1d(heard.astype(np.float64), _BROAD_BANDS, mode="constant")
    share = np.maximum(share, 1e-6)
    smooth = ndimage.gaussian_filter1d(
        np.where(heard, curve, 0.0), _BROAD_BANDS, mode="constant"
    ) / share  # fmt: skip
    square = ndimage.gaussian_filter1d(
        np.where(heard, np.square(np.minimum(half, 99.0)), 0.0), _BROAD_BANDS, mode="constant"
    ) / share  # fmt: skip
    # Neighbours scatter partly together: three bands are two.
    around = np.hypot(np.sqrt(square / _INDEPENDENT), _LEVEL_WITHIN_DB)
    return np.where(heard, smooth, curve), np.where(heard, around, half)


def regions(curve: FloatArray, half: FloatArray, heard: BoolArray) -> list[list[int]]:
    """Runs of bands around each peak that differ in one direction, two thirds of an octave up."""
    limit = TONE.size
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


def region_finding(
    difference: ToneDifference,
    pair: Pair,
    curve: FloatArray,
    half: FloatArray,
    bands: list[int],
    heard: BoolArray,
) -> Finding:
    """What is said of a run of bands that stands out."""
    value = float(np.mean(curve[bands]))
    reach = float(np.mean(half[bands]))
    around = (value - reach, value + reach)
    peak = bands[int(np.argmax(np.abs(curve[bands])))]
    low, high = float(THIRD_OCTAVE_EDGES_HZ[bands[0]]), float(THIRD_OCTAVE_EDGES_HZ[bands[-1] + 1])
    to_the_top = bands[-1] >= np.flatnonzero(heard)[-1] - 1
    more = value > 0
    shelf = to_the_top and abs(curve[bands[-1]]) > _LEVEL_AT_END * abs(curve[peak])
    if to_the_top and (low > _HIGHS_HZ or shelf):
        kind = "tone_brighter" if more else "tone_darker"
        all_above = "the highs" if low > _HIGHS_HZ else "everything"
        where, shape = f"{all_above} above {spoken_hz(low)}", "a high shelf"
    else:
        kind = "tone_band_louder" if more else "tone_band_weaker"
        where = f"{_region_name(peak)} around {_nominal(peak)}"
        shape = "a broad bell"
        if bands[0] <= np.flatnonzero(heard)[0] + 1:
            where, shape = f"the low end below {spoken_hz(high)}", "a low shelf"
    amount = f"{abs(value):.1f} dB {'more' if more else 'less'}"
    open_cause = "" if pair.same_take else _OPEN
    text = (
        f"The candidate has {amount} than the reference in {where}"
        f" ({between(around)} dB; {spoken_hz(low)} to"
        f" {spoken_hz(high)}).{open_cause}"
    )
    if abs(float(np.mean(np.asarray(difference.explained_db)[bands]))) >= 0.5:
        text += " What a single element adds there is already taken off."
    advice = (
        f"Try a broad {'cut' if more else 'boost'} in {where} ({shape}):"
        f" {_gain(value, around, pair.same_take)}.",
    )
    proof = evidence(value, around, pair.same_take)
    return Finding(
        aspect="tone", kind=kind, subject=where, difference=value, interval=around, unit="dB",
        jnd=size_in_jnd(value, around, TONE.size), noticeable=TONE,
        evidence=proof,
        spans_s=(pair.span_s,),
        band_hz=(low, high), cause=_cause(difference, pair), text=text, advice=advice,
    )  # fmt: skip


def _gain(size_db: float, around_db: tuple[float, float], same_take: bool) -> str:
    """How far to turn a filter that undoes a difference: never further than the difference.

    Between two performances the difference may be the music's own: what is sure of it first.
    """
    most = _to_half_db(abs(size_db))
    if same_take:
        return f"about {most:g} dB"
    sure = _to_half_db(min(map(abs, around_db))) if around_db[0] * around_db[1] > 0 else 0.0
    return f"up to {most:g} dB" if sure < _LEAST_TURN_DB else f"{sure:g} dB first, {most:g} at most"


def _to_half_db(size_db: float) -> float:
    """Down to half a decibel, of what is printed with one decimal."""
    return math.floor(2 * round(size_db, 1)) / 2


def _cause(difference: ToneDifference, pair: Pair) -> Cause:
    """A curve that scatters from band to band speaks for other instruments."""
    others = (
        [Seen.OTHER_INSTRUMENTS] if (difference.scatter_db or 0.0) > OTHER_INSTRUMENTS_DB else []
    )
    return weighed(Differs.TONE, *others, same_take=pair.same_take)


def _nominal(band: int) -> str:
    """Name of a band: ``315 Hz``, ``1.25 kHz``."""
    name = NOMINAL_HZ[band]
    return f"{name / 1000:g} kHz" if name >= 1000 else f"{name:g} Hz"


def _region_name(band: int) -> str:
    centre = THIRD_OCTAVE_CENTRES_HZ[band]
    return next(name for limit, name in _REGION_NAMES if centre < limit)
