"""Level against time, and the loudness of what two recordings have in common.

Conventions
-----------
Levels are K-weighted, in LUFS; a mono recording counts in both channels here, so that it lies
beside a stereo one. Differences are candidate minus reference. A time is the middle of the window
that it names, in seconds from the start of the recording's span.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare import bs1770
from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.statistics import block_bootstrap, interval

FloatArray = npt.NDArray[np.float64]

_RANGE_BLOCK_S = 6.0
"""Two short-term windows: neighbouring short-term values share their samples."""
_RANGE_WINDOWS = 3000
"""Windows in one bootstrap draw, at most (a matter of running time)."""


def stereo_power(features: Features) -> FloatArray:
    """K-weighted power summed over both channels, mono doubled, in 10 ms steps: (steps,)."""
    power = features.k_power
    return np.asarray(power.sum(axis=1) * (2 / power.shape[1]), np.float64)


def matched_steps(
    reference: Features, candidate: Features, match: Match
) -> tuple[FloatArray, FloatArray]:
    """K-weighted steps of the music that both have, each recording on its own clock.

    Returns
    -------
    tuple of ndarray
        Shapes (steps, channels) of reference and candidate.
    """
    inverse = match.time_map.inverse()
    return (
        reference.k_power[match.time_map.covers(_step_times_s(reference))],
        candidate.k_power[inverse.covers(_step_times_s(candidate))],
    )


def short_term_lufs(features: Features, times_s: npt.ArrayLike) -> FloatArray:
    """Short-term loudness around the given times; NaN where the window is incomplete."""
    return _around(features, times_s, bs1770.SHORT_TERM_STEPS)


def momentary_lufs(features: Features, times_s: npt.ArrayLike) -> FloatArray:
    """Momentary loudness around the given times; NaN where the window is incomplete."""
    return _around(features, times_s, bs1770.MOMENTARY_STEPS)


def range_difference_lu(
    reference: Features, candidate: Features, match: Match
) -> tuple[float, tuple[float, float]] | None:
    """Difference in loudness range over the music in common, with its interval.

    The interval comes from resampling the passage in blocks of 6 s, the same in both
    recordings: it says how far the difference hangs on single moments.

    Returns
    -------
    tuple of (difference, (low, high)), or None
        None where either range cannot be told (Tech 3342: no window passes the gates).
    """
    kept_reference, kept_candidate = matched_steps(reference, candidate, match)
    from_range = bs1770.loudness_range_lu(kept_reference)
    to_range = bs1770.loudness_range_lu(kept_candidate)
    if from_range is None or to_range is None:
        return None
    rate_hz = min(10.0, _RANGE_WINDOWS / max(reference.duration_s, 1.0))
    times_s = match.grid_s(rate_hz)
    pair = np.stack(
        [
            short_term_lufs(reference, times_s),
            short_term_lufs(candidate, match.time_map.to_candidate(times_s)),
        ]
    )
    pair = pair[:, ~np.isnan(pair).any(axis=0)]
    if pair.shape[1] < 2:
        return None

    def difference(index: npt.NDArray[np.int64]) -> float:
        return _range_of(pair[1, index]) - _range_of(pair[0, index])

    block = max(round(_RANGE_BLOCK_S * rate_hz), 1)
    draws = block_bootstrap(pair.shape[1], difference, block_length=block)
    value = to_range - from_range
    low, high = interval(draws)
    return value, (min(low, value), max(high, value))


def _range_of(short_term: FloatArray) -> float:
    """Loudness range of given short-term values (EBU Tech 3342); 0 where all are gated away."""
    loud = short_term[short_term > bs1770.ABSOLUTE_GATE_LUFS]
    if len(loud) == 0:
        return 0.0
    gate = 10 * np.log10(np.mean(10 ** (loud / 10))) + bs1770.RANGE_GATE_LU
    low, high = np.percentile(loud[loud >= gate], [10, 95])
    return float(high - low)


def _step_times_s(features: Features) -> FloatArray:
    return (np.arange(len(features.k_power)) + 0.5) * bs1770.STEP_S


def _around(features: Features, times_s: npt.ArrayLike, steps: int) -> FloatArray:
    """Loudness of the window of ``steps`` 10 ms steps that lies around each time."""
    times = np.asarray(times_s, np.float64)
    windows = bs1770.to_lufs(bs1770.window_powers(features.k_power, steps))
    first = np.round(times / bs1770.STEP_S - steps / 2).astype(np.int64)
    complete = (first >= 0) & (first < len(windows))
    if len(windows) == 0:
        return np.full(times.shape, np.nan)
    around = windows[np.clip(first, 0, len(windows) - 1)]
    return np.asarray(np.where(complete, around, np.nan), np.float64)
