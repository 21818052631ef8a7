"""Another performance: follow the remaining lag, finer and finer.

A hidden Markov model whose states are lags on a fixed grid. The candidate is first warped by
the map so far; each step of 0.1 s gives every lag a likelihood from how well chroma and
attacks agree; the lag drifts by a normal step between neighbours. Forward-backward gives the
posterior mean and spread, which become the next map. Time and memory grow linearly.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import sample_frames

Float32Array = npt.NDArray[np.float32]
FloatArray = npt.NDArray[np.float64]

STEP_S = 0.1  # resolution: ten steps a second
_CHUNK_STEPS = 600  # cost: a minute of features at a time
_END_STEPS = 40  # four seconds give the pace that goes on
_LAST_ATTACK_S = 0.3  # the path is read so far behind the last attack; our judgement, not measured
_END_DOUBT = 0.05  # seconds of spread per second without an attack


@dataclass(frozen=True)
class Tracker:
    """Settings of one pass of the lag tracker.

    Attributes
    ----------
    largest_lag_s, lag_step_s : float
        The grid of lags.
    drift_s : float
        Standard deviation of the lag's change per step of 0.1 s.
    sharpness : float
        Weight of the features' distance in the log likelihood, per step.
    """

    largest_lag_s: float
    lag_step_s: float
    drift_s: float
    sharpness: float


# From coarse to fine. Our choice, no record on what.
WIDE = Tracker(largest_lag_s=2.4, lag_step_s=0.04, drift_s=0.03, sharpness=2.0)
MIDDLE = Tracker(largest_lag_s=0.6, lag_step_s=0.01, drift_s=0.012, sharpness=12.0)
FINE = Tracker(largest_lag_s=0.3, lag_step_s=0.005, drift_s=0.012, sharpness=12.0)
ATTACKS = Tracker(largest_lag_s=0.25, lag_step_s=0.005, drift_s=0.012, sharpness=8.0)


@dataclass(frozen=True)
class Track:
    """A map on a grid of 0.1 s, with the tracker's own spread and fit at each step."""

    reference_s: FloatArray
    candidate_s: FloatArray
    spread_s: FloatArray
    likelihood: FloatArray

    @property
    def is_any(self) -> bool:
        """Whether anything is left of it: a second, for what is joined."""
        return len(self.reference_s) > 1 / STEP_S

    def between(self, first_s: float, last_s: float) -> Track:
        """Its part between two reference times."""
        inside = (self.reference_s >= first_s) & (self.reference_s <= last_s)
        rows = (self.reference_s, self.candidate_s, self.spread_s, self.likelihood)
        return Track(*(row[inside] for row in rows))

    def mirrored(self) -> Track:
        """The track on a grid of the other clock, its ends where they were."""
        first, last = float(self.candidate_s[0]), float(self.candidate_s[-1])
        grid = np.linspace(first, last, round((last - first) / STEP_S) + 1)
        rows = (self.reference_s, self.spread_s, self.likelihood)
        return Track(grid, *(np.interp(grid, self.candidate_s, row) for row in rows))


def grid_of(reference_s: FloatArray, candidate_s: FloatArray, smooth_s: float) -> Track:
    """Put a rough path on the 0.1 s grid, smoothed over the given time."""
    times, first = np.unique(reference_s, return_inverse=True)
    places = np.bincount(first, candidate_s) / np.bincount(first)
    grid = np.arange(times[0], times[-1] + 1e-9, STEP_S)
    path = np.interp(grid, times, places)
    if smooth_s > 0 and len(grid) > 3:
        slope = (path[-1] - path[0]) / (grid[-1] - grid[0])
        rest = path - slope * grid
        path = slope * grid + ndimage.gaussian_filter1d(rest, smooth_s / STEP_S, mode="nearest")
    none = np.zeros(len(grid))
    return Track(grid, increasing(path), none, none)


def increasing(path: FloatArray, smallest_slope: float = 0.2) -> FloatArray:
    """Force a path to rise by at least a fifth of the reference's pace."""
    floor = np.arange(len(path)) * smallest_slope * STEP_S
    return np.asarray(np.maximum.accumulate(path - floor) + floor)


def with_even_ends(track: Track, attacks_s: FloatArray) -> Track:
    """Go on evenly before the first attack and after the last, ever less sure.

    A held last chord and the reverberation after it tell nothing about the tempo.
    """
    inside = attacks_s[(attacks_s >= track.reference_s[0]) & (attacks_s <= track.reference_s[-1])]
    if len(inside) == 0 or len(track.reference_s) < 2 * _END_STEPS:
        return track
    first = int(np.searchsorted(track.reference_s, inside[0]))
    last = int(np.searchsorted(track.reference_s, inside[-1] + _LAST_ATTACK_S))
    first = min(first, len(track.reference_s) - _END_STEPS)
    last = max(min(last, len(track.reference_s) - 1), _END_STEPS)
    path, spread = track.candidate_s.copy(), track.spread_s.copy()
    slope = (path[first + _END_STEPS - 1] - path[first]) / ((_END_STEPS - 1) * STEP_S)
    away = track.reference_s[:first] - track.reference_s[first]
    path[:first] = path[first] + slope * away
    spread[:first] += _END_DOUBT * np.abs(away)
    slope = (path[last] - path[last - _END_STEPS + 1]) / ((_END_STEPS - 1) * STEP_S)
    away = track.reference_s[last + 1 :] - track.reference_s[last]
    path[last + 1 :] = path[last] + slope * away
    spread[last + 1 :] += _END_DOUBT * away
    return Track(track.reference_s, increasing(path), spread, track.likelihood)


def follow(
    reference: Float32Array,
    candidate: Float32Array,
    rate_hz: float,
    track: Track,
    tracker: Tracker,
) -> Track:
    """Refine a map by one pass of the tracker.

    Parameters
    ----------
    reference, candidate : ndarray, shape (frames, k)
        Feature rows at ``rate_hz``.
    rate_hz : float
        Frames a second.
    track : Track
        The map so far.
    tracker : Tracker
        Settings of this pass.

    Returns
    -------
    Track
        Same grid; ``spread_s`` is the posterior standard deviation of the lag.
    """
    log_likelihood = _log_likelihood(reference, candidate, rate_hz, track, tracker)
    mean, spread, fit = _forward_backward(log_likelihood, tracker)
    moved = np.interp(
        track.reference_s + mean,
        track.reference_s,
        track.candidate_s,
        left=np.nan,
        right=np.nan,
    )
    slope_first = (track.candidate_s[1] - track.candidate_s[0]) / STEP_S
    slope_last = (track.candidate_s[-1] - track.candidate_s[-2]) / STEP_S
    target = track.reference_s + mean
    before = track.candidate_s[0] + (target - track.reference_s[0]) * slope_first
    after = track.candidate_s[-1] + (target - track.reference_s[-1]) * slope_last
    moved = np.where(target < track.reference_s[0], before, moved)
    moved = np.where(target > track.reference_s[-1], after, moved)
    return Track(track.reference_s, increasing(moved), spread, fit)


def _log_likelihood(
    reference: Float32Array,
    candidate: Float32Array,
    rate_hz: float,
    track: Track,
    tracker: Tracker,
) -> Float32Array:
    """Log likelihood of every lag at every step, shape (steps, lags)."""
    count = round(tracker.largest_lag_s / tracker.lag_step_s)
    lags = np.arange(-count, count + 1)
    per_frame = max(round(1 / (rate_hz * tracker.lag_step_s)), 1)
    if 1 / (per_frame * tracker.lag_step_s) < rate_hz * 0.99:
        per_frame = 1
    frame_s = per_frame * tracker.lag_step_s
    per_step = max(round(STEP_S / frame_s), 1)
    steps = len(track.reference_s)
    out = np.empty((steps, len(lags)), np.float32)
    for first in range(0, steps, _CHUNK_STEPS):
        last = min(first + _CHUNK_STEPS, steps)
        start = track.reference_s[first] - STEP_S / 2
        frames = (last - first) * per_step
        times = start + (np.arange(frames) + 0.5) * frame_s
        a = sample_frames(reference, rate_hz, times).astype(np.float32)
        fine = (
            start
            + 0.5 * frame_s
            + np.arange(-count, frames * per_frame + count) * (tracker.lag_step_s)
        )
        b = sample_frames(candidate, rate_hz, _extended(fine, track)).astype(np.float32)
        norm_b = np.einsum("ik,ik->i", b, b)
        norm_a = np.einsum("ik,ik->i", a, a)
        for index in range(len(lags)):
            shifted = slice(index, index + (frames - 1) * per_frame + 1, per_frame)
            dot = np.einsum("ik,ik->i", a, b[shifted])
            distance = norm_a + norm_b[shifted] - 2 * dot
            out[first:last, index] = distance.reshape(-1, per_step).mean(axis=1)
    return -tracker.sharpness * out


def _extended(times: FloatArray, track: Track) -> FloatArray:
    inside = np.interp(times, track.reference_s, track.candidate_s)
    slope = (track.candidate_s[-1] - track.candidate_s[0]) / (
        track.reference_s[-1] - track.reference_s[0]
    )
    early = np.minimum(times - track.reference_s[0], 0)
    late = np.maximum(times - track.reference_s[-1], 0)
    return np.asarray(inside + slope * (early + late))


def _forward_backward(
    log_likelihood: Float32Array, tracker: Tracker
) -> tuple[FloatArray, FloatArray, FloatArray]:
    steps, states = log_likelihood.shape
    lags = (np.arange(states) - states // 2) * tracker.lag_step_s
    change = (lags[:, None] - lags[None]) / tracker.drift_s
    # A normal step with a thin uniform share, so that the lag can catch up after a hold.
    moves = np.exp(-0.5 * change**2)
    moves /= moves.sum(axis=0, keepdims=True)
    moves = 0.999 * moves + 0.001 / states
    likelihood = np.exp(log_likelihood - log_likelihood.max(axis=1, keepdims=True)).astype(
        np.float64
    )
    forward = np.empty((steps, states))
    state = np.exp(-0.5 * (lags / (tracker.largest_lag_s / 2)) ** 2)
    for step in range(steps):
        state = (moves @ state if step else state) * likelihood[step]
        state /= state.sum()
        forward[step] = state
    backward = np.ones(states)
    mean, spread, fit = np.empty(steps), np.empty(steps), np.empty(steps)
    for step in range(steps - 1, -1, -1):
        posterior = forward[step] * backward
        posterior /= posterior.sum()
        mean[step] = posterior @ lags
        spread[step] = np.sqrt(max(posterior @ (lags - mean[step]) ** 2, 0.0))
        fit[step] = posterior @ log_likelihood[step]
        backward = moves.T @ (backward * likelihood[step])
        backward /= backward.sum()
    return mean, spread, fit
