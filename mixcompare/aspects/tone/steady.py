"""What acts on one recording throughout, in words: noise, hum, and filters that cut an end off."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.tone.about import NOISE, TONE
from mixcompare.aspects.tone.cuts import LOW_CUT, Cut
from mixcompare.aspects.tone.values import SteadyNoise
from mixcompare.findings import Finding, listed, size_in_jnd
from mixcompare.findings.cause import Differs, weighed
from mixcompare.findings.confidence import evidence
from mixcompare.pair.hiss import HISS_FROM_HZ
from mixcompare.pair.hum import Hum
from mixcompare.pair.pair import Pair
from mixcompare.pair.shapes import PER_ORDER_DB
from mixcompare.pair.thirds import spoken_hz
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_NOISE_WITHIN_DB = 0.5
"""Steady within 1 dB over all quiet moments (:mod:`mixcompare.pair.steady_power`)."""
_SHOWS_DB = 1.0  # a band that lost less does not tell of the cut; our judgement, not measured
_EVEN_DB = 2.0  # this near to 6 dB per order the slope is called that; our judgement, not measured
_APART = ("balance", "width", "placement", "room", "dynamics", "tone")


def noise_of(pair: Pair, threshold: FloatArray) -> tuple[SteadyNoise, ...]:
    """Steady noise of one recording alone, as plain values.

    Parameters
    ----------
    pair : Pair
        With its noise.
    threshold : ndarray, shape (2, 31)
        Power that can just be heard, of reference and candidate.
    """
    out = []
    for one in pair.noise:
        least = threshold[int(one.in_candidate)]
        sign = 1.0 if one.in_candidate else -1.0
        if isinstance(one, Hum):
            lines_hz = one.lines_hz
            band = np.searchsorted(THIRD_OCTAVE_EDGES_HZ, lines_hz) - 1
            heard, kind = bool((one.power > least[band]).any()), "hum"
            band_hz = float(lines_hz[0]), float(lines_hz[-1])
        else:
            heard = bool((one.power > least)[one.bands].any())
            lines_hz, band_hz = np.zeros(0), one.band_hz
            kind = "hiss" if band_hz[1] > HISS_FROM_HZ else "rumble"
        out.append(
            SteadyNoise(
                kind, sign * one.over_db, one.level_dbfs, one.below_music_db, band_hz,
                tuple(lines_hz.tolist()), heard,
            )
        )  # fmt: skip
    return tuple(out)


def noise_finding(noise: SteadyNoise, pair: Pair) -> Finding:
    """What is said of noise that one recording has throughout."""
    added = noise.over_db > 0
    whose, other = ("candidate", "reference") if added else ("reference", "candidate")
    around = (noise.over_db - _NOISE_WITHIN_DB, noise.over_db + _NOISE_WITHIN_DB)
    if noise.kind == "hum":
        lines = f"{listed([f'{hz:.0f}' for hz in noise.lines_hz])} Hz"
        where, subject = f"at {lines}", f"hum at {lines}"
        advice = (
            f"Look for a ground loop or a mains cable beside a signal cable, or take {lines} out"
            " with narrow notches."
        )
        band_hz = noise.lines_hz[0] / 1.06, noise.lines_hz[-1] * 1.06
    else:
        band_hz = noise.band_hz
        where = f"from {spoken_hz(band_hz[0])} to {spoken_hz(band_hz[1])}"
        subject = noise.kind
        advice = (
            "Look for a microphone amplifier or a converter that is set too low and raised later,"
            " or take the noise off."
        )
    if not added:
        advice = f"Nothing to do: the candidate is free of the reference's {noise.kind}."
    text = (
        f"The {whose} has {noise.kind} that the {other} has not: steady at {noise.level_dbfs:.0f}"
        f" dBFS, {noise.below_music_db:.0f} dB under the music, {where}; there its quiet moments"
        f" lie {abs(noise.over_db):.1f} dB over the {other}'s."
    )
    proof = evidence(noise.over_db, around, pair.same_take)
    return Finding(
        aspect="tone", kind=f"{noise.kind}_{'added' if added else 'removed'}", subject=subject,
        difference=noise.over_db, interval=around, unit="dB",
        jnd=size_in_jnd(noise.over_db, around, NOISE.size), noticeable=NOISE,
        evidence=proof, apart=_APART, spans_s=(pair.span_s,),
        band_hz=band_hz, cause=weighed(Differs.TONE, same_take=pair.same_take),
        text=text, advice=(advice,),
    )  # fmt: skip


def cut_finding(cut: Cut, lost_db: FloatArray, heard: BoolArray, pair: Pair) -> Finding | None:
    """What is said of a filter that cuts an end off; nothing where no band of it can be heard.

    Parameters
    ----------
    cut : Cut
        The filter.
    lost_db : ndarray, shape (31,)
        Candidate minus reference in third octaves, of the cut alone.
    heard : ndarray of bool, shape (31,)
        Bands that can be heard in either recording.
    pair : Pair
        The pair.
    """
    bands = np.flatnonzero(heard & (np.abs(lost_db) >= _SHOWS_DB))
    if len(bands) == 0:
        return None
    value = float(lost_db[bands].mean())
    reach = _reach_db(cut, bands)
    around = (value - reach, value + reach)
    low = cut.kind == LOW_CUT
    name, side = ("low-cut", "below") if low else ("high-cut", "above")
    corner, (least, most) = cut.corner_hz, cut.corner_hz_interval
    slope = abs(cut.slope_db_per_octave)
    flattest, steepest = sorted(abs(edge) for edge in cut.slope_db_per_octave_interval)
    usual = 6 * max(round(slope / PER_ORDER_DB), 1)
    about = usual if abs(slope - usual) < max((steepest - flattest) / 2, _EVEN_DB) else round(slope)
    whose, other = ("candidate", "reference") if cut.in_candidate else ("reference", "candidate")
    text = (
        f"The {whose} has a {name} filter that the {other} has not: corner at {spoken_hz(corner)}"
        f" (between {spoken_hz(least)} and {spoken_hz(most)}), {about} dB an octave"
        f" ({flattest:.0f} to {steepest:.0f}); {side} it the candidate has {abs(value):.1f} dB"
        f" {'less' if value < 0 else 'more'} on average."
    )
    beyond = spoken_hz(corner / 3 if low else corner * 2)
    if cut.in_candidate:
        advice = f"Take the {name} out, or move it {side} {beyond}."
    else:
        advice = (
            f"A {name} at {spoken_hz(corner)}, {about} dB an octave, would make the candidate"
            " like the reference."
        )
    proof = evidence(value, around, pair.same_take)
    edges = THIRD_OCTAVE_EDGES_HZ[bands[0]], THIRD_OCTAVE_EDGES_HZ[bands[-1] + 1]
    return Finding(
        aspect="tone", kind=f"{cut.kind}_{'added' if cut.in_candidate else 'removed'}",
        subject=f"{name} at {spoken_hz(corner)}, {about} dB an octave",
        difference=value, interval=around, unit="dB",
        jnd=size_in_jnd(value, around, TONE.size), noticeable=TONE,
        evidence=proof, spans_s=(pair.span_s,),
        band_hz=(float(edges[0]), float(edges[1])),
        cause=weighed(Differs.TONE, same_take=pair.same_take), text=text, advice=(advice,),
    )  # fmt: skip


def _reach_db(cut: Cut, bands: npt.NDArray[np.intp]) -> float:
    """Half the width of what the mean over these bands may be, by corner and slope."""
    centre_hz = THIRD_OCTAVE_CENTRES_HZ[bands]
    here = cut.band_response_db(centre_hz).mean()
    ends = [
        Cut(cut.kind, corner_hz, slope, rate_hz=cut.rate_hz).band_response_db(centre_hz).mean()
        for corner_hz, slope in (
            (cut.corner_hz_interval[1], cut.slope_db_per_octave),
            (cut.corner_hz, cut.slope_db_per_octave_interval[1]),
        )
    ]
    return float(np.hypot(*(end - here for end in ends)))
