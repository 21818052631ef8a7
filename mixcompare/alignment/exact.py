"""The same take: sub-sample offset, clock drift, polarity.

Short windows of both waveforms are cross-correlated. A robust line through the local offsets
gives offset and drift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.representation import Representation
from mixcompare.alignment.windows import Whitened, Windows, samples
from mixcompare.features import ANALYSIS_RATE_HZ

FloatArray = npt.NDArray[np.float64]

WINDOW_S = 2.0  # resolution of the offset in time
AGREEING_S = 1e-3  # from the line
_ARRIVALS_S = 0.05  # to either side other arrivals are looked for; our judgement, not measured
_ARRIVAL_WINDOWS = 60  # cost: spread over the whole
_NEAREST_ARRIVAL_S = 0.0008  # nearer lies what an equaliser does
_LEAST_ARRIVAL = 0.18  # other rooms and masters of one take stay under 0.08 there
_MOST_WINDOWS = 400  # cost: spread over the whole
_FEWEST_WINDOWS = 5  # our judgement, not measured
_MOSTLY = 0.75  # of the windows, for the others to be taken as scatter
LEAST_PROMINENCE = 1.3  # highest peak over the next one; our judgement, not measured
_LARGEST_DRIFT = 1e-3  # clocks of consumer gear differ by some 100 ppm; more is another speed


@dataclass(frozen=True)
class SameTake:
    """How the windows of both recordings lie against each other.

    Attributes
    ----------
    offset_s : float
        Candidate time at reference time 0.
    drift_ppm : float
    polarity : int
    scatter_s : float
        Scaled median absolute deviation of the local offsets about the line.
    prominence : float
        Median height of the correlation peak over the next highest, 3 ms away or more.
    agreeing : float
        Share of windows within 1 ms of the line.
    windows : int
    local_s : ndarray, shape (windows, 2)
        Reference time and offset from the line of every window.
    clear : ndarray, shape (windows,)
        Whether a window agrees by a peak that stands out, and not by chance.
    """

    offset_s: float
    drift_ppm: float
    polarity: int
    scatter_s: float
    prominence: float
    agreeing: float
    windows: int
    local_s: FloatArray
    clear: npt.NDArray[np.bool_]

    @property
    def is_prominent(self) -> bool:
        """Whether the windows that agree have one peak, and not one as high as the next."""
        return self.prominence > LEAST_PROMINENCE

    @property
    def may_be_same(self) -> bool:
        """Whether so much agrees that the rest may only lie elsewhere (something was cut)."""
        return self.windows >= _FEWEST_WINDOWS and self.agreeing > 0.15 and self.is_prominent

    @property
    def is_same(self) -> bool:
        """Whether two recordings that correlate like this are one take.

        Two takes give one peak as high as the next (ratio up to 1.1) and scatter over tens of
        milliseconds; one take gives peaks above 1.5 and scatters under a millisecond.
        """
        return self.windows >= _FEWEST_WINDOWS and self.agreeing > 0.5 and self.is_prominent


def locate(
    reference: Representation,
    candidate: Representation,
    offsets_s: list[float],
    within_s: tuple[float, float] | None = None,
) -> SameTake | None:
    """Try the given rough offsets and follow the best one to the sub-sample.

    Parameters
    ----------
    reference, candidate : Representation
        The two recordings; the candidate is held against the reference.
    offsets_s : list of float
        Rough candidate times of reference time 0.
    within_s : tuple of float, optional
        Part of the reference to look at; the whole of it.

    Returns
    -------
    SameTake or None
        None when no window of both is loud enough to correlate.
    """
    windows = Windows(reference, candidate, int(WINDOW_S * ANALYSIS_RATE_HZ))
    best: SameTake | None = None
    for offset in offsets_s:
        rough = _measure(windows, _Search(offset, 0.0, 0.35, 24, within_s))
        if rough is not None and (best is None or _merit(rough) > _merit(best)):
            best = rough
    if best is None or _merit(best) < 0.2:
        return best
    for largest_lag in (0.08, 0.02, 0.01):
        search = _Search(best.offset_s, best.drift_ppm, largest_lag, _MOST_WINDOWS, within_s)
        finer = _measure(windows, search)
        if finer is None:
            break
        best = finer
    return best


def second_arrival_s(
    reference: Representation,
    candidate: Representation,
    take: SameTake,
    within_s: tuple[float, float],
) -> float | None:
    """Find stems or microphones that were moved against the rest of one take.

    The whitened cross-correlation, averaged over windows spread over the take, has one peak; a
    second one that neither recording has in its own autocorrelation (echoes, pitch) is sound
    that came at another time. An equaliser smears the peak by under half a millisecond.

    Parameters
    ----------
    reference, candidate : Representation
        The two recordings; the candidate is held against the reference.
    take : SameTake
        How the whole was found to lie.
    within_s : tuple of float
        Part of the reference in which nothing was cut out or put in.

    Returns
    -------
    float or None
        How much later than the rest it comes in the candidate; negative = earlier.
    """
    cross = _mean_correlation(
        reference, candidate, take.offset_s, take.drift_ppm, within_s, take.polarity
    )
    if cross is None or _beside_the_peak(cross).max() < _LEAST_ARRIVAL:
        return None
    own = [
        _mean_correlation(each, each, 0.0, 0.0, (within_s[0] + at, within_s[1] + at))
        for each, at in ((reference, 0.0), (candidate, take.offset_s))
    ]
    if own[0] is None or own[1] is None:
        return None
    excess = _beside_the_peak(cross - np.maximum(np.abs(own[0]), np.abs(own[1])))
    middle = len(excess) // 2
    peak = int(excess.argmax())
    if excess[peak] < _LEAST_ARRIVAL:
        return None
    return (peak - middle) / ANALYSIS_RATE_HZ


def _beside_the_peak(correlation: FloatArray) -> FloatArray:
    """Correlation without what lies too near its middle to be told from an equaliser's smear."""
    middle, guard = len(correlation) // 2, round(_NEAREST_ARRIVAL_S * ANALYSIS_RATE_HZ)
    out = correlation.copy()
    out[middle - guard + 1 : middle + guard] = 0.0
    return out


def _mean_correlation(
    of_reference: Representation,
    of_candidate: Representation,
    offset_s: float,
    drift_ppm: float,
    span_s: tuple[float, float],
    polarity: int = 1,
) -> FloatArray | None:
    """Whitened correlation within 50 ms of the line, its middle scaled to one."""
    rate = ANALYSIS_RATE_HZ
    size, reach = int(WINDOW_S * rate), int(_ARRIVALS_S * rate)
    spectrum = Whitened(size)
    total = np.zeros(2 * reach + 1)
    last_s = max(span_s[1] - WINDOW_S, span_s[0])
    for start in np.round(np.linspace(span_s[0], last_s, _ARRIVAL_WINDOWS) * rate).astype(int):
        shift = (offset_s + drift_ppm * 1e-6 * (start + size / 2) / rate) * rate
        first = second = samples(of_reference, start, size)
        if of_candidate is not of_reference or shift:
            second = samples(of_candidate, start + round(shift), size)
        cross = spectrum.cross(first, second)
        if cross is None:
            continue
        between = shift - round(shift)
        if between:
            cross = cross * np.exp(2j * np.pi * spectrum.frequency_hz / rate * between)
        near = spectrum.correlation(cross, reach)
        total += near / np.abs(near).max()
    if polarity * total[reach] <= 0:
        return None
    return np.asarray(total / total[reach], np.float64)


def _merit(take: SameTake) -> float:
    return take.agreeing * min(take.prominence - 1, 1.0)


@dataclass(frozen=True)
class _Search:
    """Where windows are laid, and how far around a line their peaks are looked for."""

    offset_s: float
    drift_ppm: float
    largest_lag_s: float
    windows: int
    within_s: tuple[float, float] | None

    def starts(self, reference: Representation, candidate: Representation) -> FloatArray | None:
        """First samples of the windows in the reference; None for an overlap that is too short."""
        slope = 1 + self.drift_ppm * 1e-6
        first = max(0.0, -self.offset_s / slope)
        last = min(reference.duration_s, (candidate.duration_s - self.offset_s) / slope) - WINDOW_S
        shorter = min(reference.duration_s, candidate.duration_s)
        if self.within_s is not None:
            first, last = max(first, self.within_s[0]), min(last, self.within_s[1] - WINDOW_S)
            shorter = min(shorter, self.within_s[1] - self.within_s[0])
        if last - first + WINDOW_S < max(0.3 * shorter, min(4.0, 0.8 * shorter)):
            return None  # an overlap so short would fit anything
        count = int(np.clip((last - first) / (WINDOW_S / 4) + 1, _FEWEST_WINDOWS, self.windows))
        return np.round(np.linspace(first, last, count) * ANALYSIS_RATE_HZ)

    def shift(self, middle_s: float) -> int:
        """Samples by which the candidate's window lies later."""
        return round((self.offset_s + self.drift_ppm * 1e-6 * middle_s) * ANALYSIS_RATE_HZ)


def _measure(windows: Windows, search: _Search) -> SameTake | None:
    starts = search.starts(*windows.pair)
    if starts is None:
        return None
    size = int(WINDOW_S * ANALYSIS_RATE_HZ)
    reach = int(search.largest_lag_s * ANALYSIS_RATE_HZ)
    rows = []
    for start in starts.astype(np.int64):
        middle_s = (start + size / 2) / ANALYSIS_RATE_HZ
        shift = search.shift(middle_s)
        peak = windows.peak(int(start), shift, reach)
        if peak is not None:
            rows.append((middle_s, (peak[0] + shift) / ANALYSIS_RATE_HZ, peak[1], peak[2]))
    if len(rows) < _FEWEST_WINDOWS:
        return None
    table = np.array(rows)
    offset, slope_found, scatter = _line_of_most(table)
    rest = table[:, 1] - offset - slope_found * table[:, 0]
    good = np.abs(rest) < AGREEING_S
    chosen = good if good.any() else np.ones(len(table), bool)
    return SameTake(
        # To the picosecond: sums that were rounded must not begin a map after the first frame.
        offset_s=round(float(offset), 12) + 0.0,
        drift_ppm=float(slope_found * 1e6),
        polarity=1 if table[chosen, 3].sum() >= 0 else -1,
        scatter_s=float(scatter),
        prominence=float(np.median(table[chosen, 2])),
        agreeing=float(good.mean()),
        windows=len(table),
        local_s=np.stack([table[:, 0], rest], axis=1),
        clear=good & (table[:, 2] > LEAST_PROMINENCE),
    )


def _line_of_most(table: FloatArray) -> tuple[float, float, float]:
    """Line through the local offsets, or through the most that agree where they fall apart."""
    times, offsets, weights = table[:, 0], table[:, 1], np.minimum(table[:, 2], 5.0) ** 2
    whole = robust_line(times, offsets, weights)
    apart_s = np.abs(offsets[:, None] - offsets[None, :])
    crowd = apart_s[np.argmax((apart_s < AGREEING_S).sum(axis=1))] < AGREEING_S
    agreeing = np.abs(offsets - whole[0] - whole[1] * times) < AGREEING_S
    most = max((agreeing, crowd), key=np.sum)
    if most.mean() > _MOSTLY:
        return whole
    return robust_line(times[most], offsets[most], weights[most])


def robust_line(x: FloatArray, y: FloatArray, weights: FloatArray) -> tuple[float, float, float]:
    """Fit y = offset + slope x with Tukey's biweight, started from a median of slopes.

    Returns
    -------
    offset, slope, scatter : float
        Scatter is 1.4826 times the median absolute deviation.
    """
    middle = x.mean()
    rng = np.random.default_rng(0)
    first, second = rng.integers(0, len(x), (2, 4000))
    far = np.abs(x[first] - x[second]) > 0.3 * np.ptp(x)
    slopes = (y[first] - y[second])[far] / (x[first] - x[second])[far]
    slope = float(np.median(slopes)) if far.any() else 0.0
    slope = float(np.clip(slope, -_LARGEST_DRIFT, _LARGEST_DRIFT))
    level = float(np.median(y - slope * (x - middle)))
    scatter = 0.0
    for _ in range(30):
        rest = y - level - slope * (x - middle)
        scatter = 1.4826 * float(np.median(np.abs(rest))) + 1e-9
        kept = np.clip(1 - (rest / (4.7 * scatter)) ** 2, 0, None) ** 2 * weights
        if kept.sum() <= 0:
            break
        mean_x = (kept * x).sum() / kept.sum()
        mean_y = (kept * y).sum() / kept.sum()
        variance = (kept * (x - mean_x) ** 2).sum()
        slope = float((kept * (x - mean_x) * (y - mean_y)).sum() / variance) if variance else 0.0
        slope = float(np.clip(slope, -_LARGEST_DRIFT, _LARGEST_DRIFT))
        level = float(mean_y + slope * (middle - mean_x))
    return level - slope * middle, slope, scatter
