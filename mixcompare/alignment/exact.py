"""The same take: sub-sample offset, clock drift, polarity.

Short windows of both waveforms are cross-correlated with a partly whitened spectrum (phase
transform, Knapp and Carter 1976, exponent 0.8) and the peak is placed between samples by
interpolation. A robust line through the local offsets gives offset and drift.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import fft

from mixcompare.alignment.representation import Representation
from mixcompare.features import ANALYSIS_RATE_HZ, WAVEFORM_SCALE

FloatArray = npt.NDArray[np.float64]

_WINDOW_S = 2.0
_BAND_HZ = (150.0, 5000.0)
_WHITENING = 0.8
_UPSAMPLING = 8
_MOST_WINDOWS = 400
_FEWEST_WINDOWS = 5
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
    span_s : tuple of float
        Part of the reference covered by agreeing windows.
    """

    offset_s: float
    drift_ppm: float
    polarity: int
    scatter_s: float
    prominence: float
    agreeing: float
    windows: int
    local_s: FloatArray
    span_s: tuple[float, float]

    @property
    def is_same(self) -> bool:
        """Whether two recordings that correlate like this are one take.

        Two takes give one peak as high as the next (ratio up to 1.1) and scatter over tens of
        milliseconds; one take gives peaks above 1.5 and scatters under a millisecond.
        """
        return self.windows >= _FEWEST_WINDOWS and self.agreeing > 0.5 and self.prominence > 1.3


def locate(
    reference: Representation, candidate: Representation, offsets_s: list[float]
) -> SameTake | None:
    """Try the given rough offsets and follow the best one to the sub-sample.

    Parameters
    ----------
    reference, candidate : Representation
    offsets_s : list of float
        Rough candidate times of reference time 0.

    Returns
    -------
    SameTake or None
        None when no window of both is loud enough to correlate.
    """
    best: SameTake | None = None
    for offset in offsets_s:
        rough = _measure(reference, candidate, offset, 0.0, largest_lag_s=0.35, windows=24)
        if rough is not None and (best is None or _merit(rough) > _merit(best)):
            best = rough
    if best is None or _merit(best) < 0.2:
        return best
    for largest_lag in (0.08, 0.02, 0.01):
        finer = _measure(
            reference, candidate, best.offset_s, best.drift_ppm, largest_lag, _MOST_WINDOWS
        )
        if finer is None:
            break
        best = finer
    return best


def _merit(take: SameTake) -> float:
    return take.agreeing * min(take.prominence - 1, 1.0)


def _samples(recording: Representation, first: int, count: int) -> npt.NDArray[np.float32]:
    part = recording.waveform[max(first, 0) : max(first + count, 0)].astype(np.float32)
    before = min(max(-first, 0), count)
    out = np.zeros(count, np.float32)
    out[before : before + len(part)] = part
    return out


def _measure(
    reference: Representation,
    candidate: Representation,
    offset_s: float,
    drift_ppm: float,
    largest_lag_s: float,
    windows: int,
) -> SameTake | None:
    rate = ANALYSIS_RATE_HZ
    size = int(_WINDOW_S * rate)
    slope = 1 + drift_ppm * 1e-6
    first = max(0.0, -offset_s / slope)
    last = min(reference.duration_s, (candidate.duration_s - offset_s) / slope) - _WINDOW_S
    shorter = min(reference.duration_s, candidate.duration_s)
    if last - first + _WINDOW_S < max(0.3 * shorter, min(4.0, 0.8 * shorter)):
        return None  # an overlap so short would fit anything
    count = int(np.clip((last - first) / (_WINDOW_S / 4) + 1, _FEWEST_WINDOWS, windows))
    starts = np.round(np.linspace(first, last, count) * rate).astype(np.int64)
    length = fft.next_fast_len(2 * size, real=True)
    frequency = np.arange(length // 2 + 1) * rate / length
    low, high = _BAND_HZ
    band = np.clip((frequency - low) / low, 0, 1) * np.clip(
        (high - frequency) / (0.25 * high), 0, 1
    )
    taper = np.hanning(size).astype(np.float32)
    reach = int(largest_lag_s * rate)
    rows = []
    for start in starts:
        a = _samples(reference, start, size)
        middle_s = (start + size / 2) / rate
        shift = round((offset_s + drift_ppm * 1e-6 * middle_s) * rate)
        b = _samples(candidate, start + shift, size)
        level = np.sqrt(min(np.mean(a * a), np.mean(b * b))) / WAVEFORM_SCALE
        if level < 3e-5:
            continue
        cross = np.conj(fft.rfft(a * taper, length)) * fft.rfft(b * taper, length)
        magnitude = np.abs(cross)
        cross = cross / (magnitude**_WHITENING + 1e-6 * magnitude.max() ** _WHITENING) * band
        correlation = fft.irfft(cross, length)
        near = np.concatenate([correlation[-reach:], correlation[: reach + 1]])
        height = np.abs(near)
        peak = int(height[1:-1].argmax()) + 1
        guard = int(0.003 * rate)
        others = np.concatenate([height[: max(peak - guard, 0)], height[peak + guard :]])
        lag, top = _between_samples(cross, length, peak - reach)
        rival = others.max() if len(others) else abs(top)
        local = (lag + shift) / rate
        rows.append((middle_s, local, abs(top) / (rival + 1e-12), np.sign(top)))
    if len(rows) < _FEWEST_WINDOWS:
        return None
    table = np.array(rows)
    line = robust_line(table[:, 0], table[:, 1], np.minimum(table[:, 2], 5.0) ** 2)
    offset, slope_found, scatter = line
    rest = table[:, 1] - offset - slope_found * table[:, 0]
    good = np.abs(rest) < 1e-3
    span = (0.0, 0.0)
    if good.any():
        agreeing_s = table[good, 0]
        span = (float(agreeing_s.min() - _WINDOW_S / 2), float(agreeing_s.max() + _WINDOW_S / 2))
    chosen = good if good.any() else np.ones(len(table), bool)
    return SameTake(
        offset_s=float(offset),
        drift_ppm=float(slope_found * 1e6),
        polarity=1 if table[chosen, 3].sum() >= 0 else -1,
        scatter_s=float(scatter),
        prominence=float(np.median(table[chosen, 2])),
        agreeing=float(good.mean()),
        windows=len(table),
        local_s=np.stack([table[:, 0], rest], axis=1),
        span_s=span,
    )


def _between_samples(
    cross: npt.NDArray[np.complex64], length: int, lag: int
) -> tuple[float, float]:
    """Place a correlation peak between samples: lag in samples, and its signed height.

    The correlation is evaluated from its spectrum on a grid eight times finer about the highest
    sample, and a parabola goes through the highest three points.
    """
    used = np.flatnonzero(cross)
    fine = lag + np.arange(-_UPSAMPLING - 1, _UPSAMPLING + 2) / _UPSAMPLING
    # exp(i w k) for evenly spaced lags: one start and one step, multiplied up.
    angle = 2 * np.pi * used / length
    step = np.exp(1j * angle / _UPSAMPLING).astype(np.complex64)
    turned = cross[used] * np.exp(1j * angle * fine[0])
    values = np.empty(len(fine))
    for index in range(len(fine)):
        values[index] = 2 * float(turned.real.sum()) / length
        turned = turned * step
    height = np.abs(values)
    peak = int(height[1:-1].argmax()) + 1
    left, top, right = height[peak - 1 : peak + 2]
    moved = 0.5 * (left - right) / min(left - 2 * top + right, -1e-15)
    return float(fine[peak] + moved / _UPSAMPLING), float(values[peak])


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
