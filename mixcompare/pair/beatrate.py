"""Onsets in one recording, how its own tempo wanders, and whether a clock runs wrong.

Conventions
-----------
Onset strength is the rise of the log-compressed semitone energies over 30 ms, averaged over the
bands. A recording's own tempo is found without naming a beat: the autocorrelation of the onset
strength over logarithmic lag keeps its shape and slides when the tempo changes (as in the tempo
features of Peeters 2005 and others), so each moment's slide against the recording's typical
shape is its tempo against its mean. Positive slide = longer periods = slower.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

from mixcompare.features import ONSET_RATE_HZ
from mixcompare.pair.match import Match

FloatArray = npt.NDArray[np.float64]

WINDOW_S, HOP_S = 8.0, 0.5
"""Autocorrelation window, and the steps of the tempo curve."""

_RANGE_DB = 30.0  # energies further below a band's loud moments make no onset
_RISE_FRAMES = 3  # 30 ms, over which an onset rises; our choice
_SEPARATION_S = 0.06  # nearer onsets are one; our judgement, not measured
_LOW_SHARE, _HIGH_SHARE = 0.15, 0.35  # of the strong onsets: a soft and a strict threshold
_STABLE_RATIO = 1.35  # soft count over strict; our judgement, not measured
_LEAST_CONTRAST = 6.0  # strong onsets against the typical wavering; steady noise has 3 to 4
# Resolution: 500 to 20 a minute, on a logarithmic scale.
_LAG_S = (0.12, 3.0)
_LAGS = 400
_MOST_SLIDE = 0.25  # natural logarithm
_STIFFNESS = 40.0  # price of a change of tempo: 0.4 of a full match for 10 % within one step
_ROUNDS = 4  # cost: of sliding and averaging by turns
# Speed that counts, pitch against speed, scatter of the map. Our judgement, not measured.
_LEAST_CENTS, _SAME_CENTS, _STRAIGHT_MS = 1.0, 8.0, 30.0


def onset_strength(onset_power: npt.NDArray[np.floating]) -> FloatArray:
    """Rise of log energy, shape (frames,)."""
    power = onset_power.astype(np.float32, copy=False)
    least = np.percentile(power, 95, axis=0) * 10 ** (-0.1 * _RANGE_DB)
    least = (np.maximum(least, least.max() * 1e-3) + 1e-12).astype(np.float32)
    level = np.log10(1 + power / least)
    rise = np.zeros(len(level))
    rise[_RISE_FRAMES:] = np.maximum(level[_RISE_FRAMES:] - level[:-_RISE_FRAMES], 0).mean(axis=1)
    return rise


def events_per_minute(onset_power: npt.NDArray[np.floating]) -> tuple[float, float] | None:
    """Onsets a minute, counted strictly and softly; None where the two counts disagree.

    Parameters
    ----------
    onset_power : ndarray, shape (frames, bands)
        Energy per semitone with a short window.

    Returns
    -------
    (strict, soft) : tuple of float, or None
        The soft count is the better estimate. Slow attacks and dense textures give no stable
        count: then None.
    """
    strength = ndimage.gaussian_filter1d(onset_strength(onset_power), 1.0)
    strength = strength - ndimage.percentile_filter(strength, 50, int(ONSET_RATE_HZ))
    reach = int(_SEPARATION_S * ONSET_RATE_HZ)
    peak = ndimage.maximum_filter1d(strength, 2 * reach + 1) == strength
    strong = float(np.percentile(strength, 98))
    if strong < _LEAST_CONTRAST * float(np.median(np.abs(strength))):
        return None
    rates = []
    for share in (_HIGH_SHARE, _LOW_SHARE):
        at_s = np.flatnonzero(peak & (strength > share * strong)) / ONSET_RATE_HZ
        rates.append(60 * (len(at_s) - 1) / float(np.ptp(at_s)) if len(at_s) > 3 else 0.0)
    strict, soft = sorted(rates)
    if strict <= 0 or soft > _STABLE_RATIO * strict:
        return None
    return strict, soft


def tempo_curve(onset_power: npt.NDArray[np.floating]) -> tuple[FloatArray, FloatArray]:
    """How a recording's own tempo wanders about its mean.

    Parameters
    ----------
    onset_power : ndarray, shape (frames, bands)
        Energy per semitone with a short window.

    Returns
    -------
    times_s : ndarray, shape (n,)
        Middles of the windows; empty for less than two windows of music.
    log_period : ndarray, shape (n,)
        Natural logarithm of the period against the typical one. Whether it can be believed only
        shows against a second recording of the same passage.
    """
    strength = ndimage.gaussian_filter1d(onset_strength(onset_power), 2.0)
    strength -= ndimage.uniform_filter1d(strength, int(ONSET_RATE_HZ))
    shapes, times = _shapes(strength)
    if len(times) < 2:
        return np.zeros(0), np.zeros(0)
    step = math.log(_LAG_S[1] / _LAG_S[0]) / (_LAGS - 1)
    most = int(_MOST_SLIDE / step)
    slides = np.arange(-most, most + 1)
    slide = np.zeros(len(times), np.int64)
    for _ in range(_ROUNDS):
        typical = np.mean(
            [np.roll(shape, -by) for shape, by in zip(shapes, slide, strict=True)], axis=0
        )
        moved = np.array([_moved(typical, int(by)) for by in slides])
        match = shapes @ moved.T
        match /= np.maximum(np.abs(match).max(axis=1, keepdims=True), 1e-12)
        slide = slides[
            _best_path(-match, _STIFFNESS * np.subtract.outer(slides, slides) ** 2 * step**2)
        ]
    return times, np.asarray(slide * step, np.float64)


def is_playback_speed(match: Match) -> bool:
    """Whether pitch and tempo differ by one factor, evenly: a clock, not the players.

    The pitch must follow the ratio of the durations (1200 lb of it) within eight cents or
    eight hundredths, and the time map must be as straight as it can be told.
    """
    time_map = match.time_map
    reference, candidate = time_map.reference_s, time_map.candidate_s
    # Slopes over half the passage each (Theil 1950, thinned): the ends of a map are its worst part.
    half = len(reference) // 2
    slopes = (candidate[half:] - candidate[:-half]) / (reference[half:] - reference[:-half])
    ratio = float(np.median(slopes))
    speed_cents = -1200 * math.log2(ratio)
    pitch_cents = 100 * match.transposition_semitones + match.tuning_cents
    if abs(speed_cents) < _LEAST_CENTS:
        return False
    if abs(pitch_cents - speed_cents) > max(_SAME_CENTS, 0.08 * abs(speed_cents)):
        return False
    away = candidate - ratio * reference
    away_ms = 1000 * float(np.median(np.abs(away - np.median(away))))
    return away_ms <= max(_STRAIGHT_MS, 2 * match.uncertainty_ms)


def _shapes(strength: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Autocorrelations over logarithmic lag, shape (windows, lags), and the windows' middles."""
    size, hop = int(WINDOW_S * ONSET_RATE_HZ), int(HOP_S * ONSET_RATE_HZ)
    if len(strength) < size + hop:
        return np.zeros((0, _LAGS)), np.zeros(0)
    window = np.hanning(size)
    frames = np.lib.stride_tricks.sliding_window_view(strength, size)[::hop] * window
    spectra = np.abs(fft.rfft(frames, 2 * size, axis=1)) ** 2
    correlation = fft.irfft(spectra, axis=1)[:, :size]
    taper = fft.irfft(np.abs(fft.rfft(window, 2 * size)) ** 2)[:size]
    correlation /= np.maximum(taper, 0.05 * taper[0])
    correlation /= np.maximum(correlation[:, :1], 1e-12)
    lags = np.geomspace(*_LAG_S, _LAGS) * ONSET_RATE_HZ
    left = lags.astype(np.int64)
    weight = lags - left
    shapes = correlation[:, left] * (1 - weight) + correlation[:, left + 1] * weight
    times = np.asarray((np.arange(len(frames)) * hop + size / 2) / ONSET_RATE_HZ, np.float64)
    return np.asarray(shapes - shapes.mean(axis=1, keepdims=True)), times


def _moved(shape: FloatArray, by: int) -> FloatArray:
    """The shape slid towards longer lags, with nothing coming in."""
    out = np.roll(shape, by)
    if by > 0:
        out[:by] = 0
    elif by < 0:
        out[by:] = 0
    return out


def _best_path(cost: FloatArray, change: FloatArray) -> npt.NDArray[np.int64]:
    """Cheapest sequence of states (Viterbi 1967); cost (steps, states), change (states, states)."""
    total = cost[0].copy()
    back = np.zeros(cost.shape, np.int64)
    for step in range(1, len(cost)):
        through = total[None, :] + change
        back[step] = np.argmin(through, axis=1)
        total = through[np.arange(len(total)), back[step]] + cost[step]
    path = np.zeros(len(cost), np.int64)
    path[-1] = int(np.argmin(total))
    for step in range(len(cost) - 1, 0, -1):
        path[step - 1] = back[step, path[step]]
    return path
