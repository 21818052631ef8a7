"""One take with something cut out or put in: the stretches that lie at offsets of their own.

What the one offset of the whole leaves over is laid over the candidate again, stretch by stretch.
Between two stretches the moment of the edit is where the short-time correlation of the waveforms
changes from one offset to the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment import coarse, exact
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.windows import samples
from mixcompare.features import ANALYSIS_RATE_HZ

FloatArray = npt.NDArray[np.float64]

_SHORTEST_S = 2.5  # shorter stretches hold too few windows of two seconds to be sure of
_SURE_S = 0.2  # beyond the middle of the last window that agrees
_FEWEST_WINDOWS = 4  # our judgement, not measured
_MOST_STRETCHES = 24  # cost: the search ends there
_LEAST_SHARE = 0.6  # of the shorter recording, for two recordings to be one edited take
_STEP_S = 0.02  # resolution of the edit's moment
_WINDOW_STEPS = 10  # of the short-time correlation
_NO_MATCH = 0.3  # halfway between chance (under 0.2 in two takes) and another mix (above 0.4)
_ABOUT_S = 3.0  # either side of the gap, where the edit is looked for; our judgement, not measured


@dataclass(frozen=True)
class Stretch:
    """A part of the reference that the candidate holds at one offset.

    Attributes
    ----------
    start_s, end_s : float
        On the reference's clock.
    offset_s : float
        Candidate time of reference time 0, were the stretch to go on so far.
    """

    start_s: float
    end_s: float
    offset_s: float

    @property
    def middle_s(self) -> float:
        """Its middle on the reference's clock."""
        return (self.start_s + self.end_s) / 2


def stretches(
    reference: Representation, candidate: Representation, take: exact.SameTake
) -> list[Stretch]:
    """Stretches that go forward on both clocks, in order; one of them where nothing was edited.

    Empty where they cover too little for the two to be one take.
    """
    if not take.clear.any():
        return []
    chain = [_longest_run(take, take.drift_ppm)]
    tried: list[tuple[float, float]] = []
    while len(chain) < _MOST_STRETCHES:
        left = [span for span in _left_over(reference, candidate, chain) if span not in tried]
        if not left:
            break
        tried.append(left[0])
        one = _located(reference, candidate, left[0], chain, take.drift_ppm)
        if one is not None:
            chain = sorted([*chain, one], key=lambda each: each.start_s)
    chain = _merged(chain)
    covered_s = sum(stretch.end_s - stretch.start_s for stretch in chain)
    if covered_s < _LEAST_SHARE * min(reference.duration_s, candidate.duration_s):
        return []
    return _with_sharp_ends(reference, candidate, chain, take.drift_ppm)


def _longest_run(part: exact.SameTake, drift_ppm: float) -> Stretch:
    """The longest stretch of windows that agree, short disturbances left in."""
    middles_s = part.local_s[:, 0]
    agreeing_s = middles_s[part.clear]
    usual_s = float(np.diff(middles_s).min()) if len(middles_s) > 1 else 0.0
    breaks = np.flatnonzero(np.diff(agreeing_s) > max(_SHORTEST_S, 2.5 * usual_s)) + 1
    run_s = max(np.split(agreeing_s, breaks), key=np.ptp)
    half_s = _SURE_S  # a window agrees where little more than half of it does
    moved_s = (part.drift_ppm - drift_ppm) * 1e-6 * float(run_s.mean())
    return Stretch(float(run_s[0]) - half_s, float(run_s[-1]) + half_s, part.offset_s + moved_s)


def longest(chain: list[Stretch]) -> tuple[float, float]:
    """Span of the longest stretch, seconds of the reference."""
    return max(((one.start_s, one.end_s) for one in chain), key=np.ptp)


def _left_over(
    reference: Representation, candidate: Representation, chain: list[Stretch]
) -> list[tuple[float, float]]:
    """Parts of the reference without a place, where the candidate has some left as well."""
    ends = [(0.0, 0.0), *((one.end_s, one.end_s + one.offset_s) for one in chain)]
    starts = [
        *((one.start_s, one.start_s + one.offset_s) for one in chain),
        (reference.duration_s, candidate.duration_s),
    ]
    return [
        (end[0], start[0])
        for end, start in zip(ends, starts, strict=True)
        if min(start[0] - end[0], start[1] - end[1]) > _SHORTEST_S
    ]


def _located(
    reference: Representation,
    candidate: Representation,
    span_s: tuple[float, float],
    chain: list[Stretch],
    drift_ppm: float,
) -> Stretch | None:
    """The longest run of agreeing windows in a span of the reference, if it fits the others."""
    offsets = [one.offset_s for one in chain]
    offsets += coarse.find_offset_s(reference, candidate, span_s)
    part = exact.locate(reference, candidate, offsets, span_s)
    if part is None or not part.is_prominent or part.clear.sum() < _FEWEST_WINDOWS:
        return None
    found = _longest_run(part, drift_ppm)
    found = Stretch(max(found.start_s, span_s[0]), min(found.end_s, span_s[1]), found.offset_s)
    fits = found.end_s - found.start_s >= _SHORTEST_S and all(
        (found.middle_s > other.middle_s)
        == (found.middle_s + found.offset_s > other.middle_s + other.offset_s)
        for other in chain
    )
    return found if fits else None


def _merged(chain: list[Stretch]) -> list[Stretch]:
    """Neighbours at one offset are one stretch: something else only covered the place."""
    out: list[Stretch] = []
    for one in chain:
        if out and abs(out[-1].offset_s - one.offset_s) < 2e-3:
            one = Stretch(out[-1].start_s, one.end_s, out.pop().offset_s)
        out.append(one)
    return out


def _with_sharp_ends(
    reference: Representation, candidate: Representation, chain: list[Stretch], drift_ppm: float
) -> list[Stretch]:
    """Move the ends between neighbours to where the waveforms change from one to the other."""
    out = list(chain)
    for at in range(len(chain) - 1):
        before, after = out[at], out[at + 1]
        times = np.arange(
            max(before.start_s, before.end_s - _ABOUT_S),
            min(after.end_s, max(after.start_s, before.end_s) + _ABOUT_S),
            _STEP_S,
        )
        gains = [
            _match(reference, candidate, times, one.offset_s, drift_ppm) - _NO_MATCH
            for one in (before, after)
        ]
        # The best end of the one and start of the other, the start late enough on both clocks.
        first = np.concatenate([[0.0], np.cumsum(gains[0])])
        last = np.concatenate([np.cumsum(gains[1][::-1])[::-1], [0.0]])
        later = round(max(0.0, before.offset_s - after.offset_s) / _STEP_S)
        later = min(later, len(times))
        best = np.maximum.accumulate(last[::-1])[::-1]
        end = int(np.argmax(first[: len(first) - later] + best[later:]))
        start = end + later + int(np.argmax(last[end + later :]))
        out[at] = Stretch(before.start_s, float(times[0] + end * _STEP_S), before.offset_s)
        out[at + 1] = Stretch(float(times[0] + start * _STEP_S), after.end_s, after.offset_s)
    return out


def _match(
    reference: Representation,
    candidate: Representation,
    times_s: FloatArray,
    offset_s: float,
    drift_ppm: float,
) -> FloatArray:
    """Size of the short-time correlation of both waveforms, of every step of the reference."""
    step = round(_STEP_S * ANALYSIS_RATE_HZ)
    count = step * len(times_s)
    shift_s = offset_s + drift_ppm * 1e-6 * float(times_s.mean())
    starts = (float(times_s[0]), float(times_s[0]) + shift_s)
    one, other = (
        samples(each, round(start * ANALYSIS_RATE_HZ), count).astype(np.float64)
        for each, start in zip((reference, candidate), starts, strict=True)
    )
    one, other = (np.diff(each, prepend=0.0) for each in (one, other))  # the bass is slow to tell

    def smooth(product: FloatArray) -> FloatArray:
        per_step = product.reshape(len(times_s), step).mean(axis=1)
        return np.asarray(ndimage.uniform_filter1d(per_step, _WINDOW_STEPS, mode="nearest"))

    power = smooth(one * one) * smooth(other * other)
    return np.asarray(np.abs(smooth(one * other)) / np.sqrt(power + 1e-12 * power.max() + 1e-30))
