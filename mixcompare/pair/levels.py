"""Level against time, and the loudness of what two recordings have in common.

Conventions
-----------
Levels are K-weighted, in LUFS. Contours count a mono recording in both channels, so that it lies
beside a stereo one; loudness counts it in one (BS.1770). Differences are candidate minus
reference. A time is the middle of the window that it names, in seconds from the start of the
recording's span.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import BAND_RATE_HZ, Features, common_bands
from mixcompare.pair.match import Match
from mixcompare.standards import bs1770, tech3342
from mixcompare.statistics import block_picks, few_blocks

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

CONTOUR_WINDOW_S = 1.0
"""Width of the raised cosine that smooths a level contour: between momentary and short-term."""

MUSIC_GATE_LU = -25.0
"""Moments further under the mean power count as rests (Tech 3342 has -20; our choice)."""

_AUDIBLE_BAND_DB = 30.0
"""A third octave counts at a moment when it lies no further under the strongest one."""

_BAND_SHARE = 0.3
"""Share of the music in which a third octave must count to be used at all."""

_FLOOR = 1e-12  # guard: -120 dB of mean square

_RANGE_BLOCK_S = 12.0
"""About a phrase: shorter stretches hang together (with 6 s, 80 % of the intervals were right)."""
_RANGE_WINDOWS = 3000
"""Windows in one bootstrap draw, at most (a matter of running time)."""


def stereo_power(features: Features) -> FloatArray:
    """K-weighted power summed over all channels, mono doubled, in 10 ms steps: (steps,)."""
    power = features.k_power
    return np.asarray(power.sum(axis=1) * (2 if power.shape[1] == 1 else 1), np.float64)


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


def short_term_lufs(
    features: Features, times_s: npt.ArrayLike, as_stereo: bool = False
) -> FloatArray:
    """Short-term loudness around the given times; NaN where the window is incomplete."""
    return _around(features, times_s, bs1770.SHORT_TERM_STEPS, as_stereo)


def momentary_lufs(features: Features, times_s: npt.ArrayLike) -> FloatArray:
    """Momentary loudness around the given times; NaN where the window is incomplete."""
    return _around(features, times_s, bs1770.MOMENTARY_STEPS, as_stereo=False)


def extremes(
    passages_lufs: FloatArray, music: BoolArray, rate_hz: float
) -> tuple[int | None, int | None]:
    """Indices of the loudest and the softest short-term passage without a rest in it.

    Where there is a rest in every one, a passage that is loud enough as a whole will do.

    Parameters
    ----------
    passages_lufs : ndarray, shape (n,)
        Short-term loudness; NaN where incomplete.
    music : ndarray of bool, shape (n,)
        Which moments are music.
    rate_hz : float
        Passages a second.
    """
    told = np.nan_to_num(passages_lufs, nan=-np.inf, neginf=-np.inf)
    size = 2 * round(bs1770.SHORT_TERM_STEPS * bs1770.STEP_S * rate_hz / 2) + 1
    unbroken = ndimage.minimum_filter1d(music.astype(np.uint8), size, mode="nearest") > 0
    chosen = unbroken & np.isfinite(told)
    if not chosen.any():
        chosen = is_music(told, told)
    if not chosen.any():
        return None, None
    loudest = np.argmax(np.where(chosen, told, -np.inf))
    return int(loudest), int(np.argmin(np.where(chosen, told, np.inf)))


def range_difference_lu(
    reference: Features, candidate: Features, match: Match
) -> tuple[float, tuple[float, float]] | None:
    """Difference in loudness range over the music in common, with its interval.

    The interval comes from resampling the passage in blocks of 12 s, the same in both
    recordings: it says how far the difference hangs on single moments.

    Returns
    -------
    tuple of (difference, (low, high)), or None
        None where either range cannot be told (Tech 3342: no window passes the gates).
    """
    kept_reference, kept_candidate = matched_steps(reference, candidate, match)
    from_range = tech3342.loudness_range_lu(kept_reference)
    to_range = tech3342.loudness_range_lu(kept_candidate)
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

    block = max(round(_RANGE_BLOCK_S * rate_hz), 1)
    picks = block_picks(pair.shape[1], block_length=block)
    ranges = [np.nan_to_num(tech3342.ranges_of(each[picks].T)) for each in pair]
    draws = ranges[1] - ranges[0]
    value = to_range - from_range
    reach = 1.96 * float(draws.std()) * few_blocks(pair.shape[1] / block)
    return value, (value - reach, value + reach)


def contour_lufs(features: Features, times_s: npt.ArrayLike) -> FloatArray:
    """K-weighted level, smoothed over a second, at the given times."""
    smooth = _smoothed(stereo_power(features), 1 / bs1770.STEP_S)
    middle_s = np.asarray(times_s, np.float64) - bs1770.STEP_S / 2
    power = sample_frames(smooth, 1 / bs1770.STEP_S, middle_s)
    return bs1770.to_lufs(np.maximum(power, _FLOOR))


def is_music(mean_lufs: FloatArray, *contours_lufs: FloatArray) -> BoolArray:
    """Which moments are music rather than rests: by a level that both recordings share."""
    loud = np.min(contours_lufs, axis=0) > bs1770.ABSOLUTE_GATE_LUFS
    if not loud.any():
        return np.zeros(mean_lufs.shape, np.bool_)
    gate = 10 * np.log10(np.mean(10 ** (mean_lufs[loud] / 10))) + MUSIC_GATE_LU
    return np.asarray(loud & (mean_lufs > gate), np.bool_)


def common_change_db(
    reference: Features, candidate: Features, match: Match, times_s: FloatArray, music: BoolArray
) -> FloatArray:
    """Change of level that all registers share, at the given moments of the reference.

    Every third octave's difference is taken against its own median over time, so that a change of
    tone does not count, and the median over the octaves that are audible in both recordings, so
    that one louder element does not.

    Returns
    -------
    ndarray, shape (times,)
        Candidate minus reference, around zero; NaN outside the music.
    """
    change = np.full(len(times_s), np.nan)
    if not music.any():
        return change
    pair = [
        _band_contours_db(reference, times_s[music]),
        _band_contours_db(candidate, match.time_map.to_candidate(times_s[music])),
    ]
    audible = np.logical_and(
        *(levels >= levels.max(axis=1, keepdims=True) - _AUDIBLE_BAND_DB for levels in pair)
    )
    audible &= common_bands(reference, candidate)
    used = audible.mean(axis=0) > _BAND_SHARE
    moments = audible[:, used].any(axis=1)
    if not moments.any():
        return change
    single = np.where(audible, pair[1] - pair[0], np.nan)[moments][:, used]
    single -= np.nanmedian(single, axis=0)
    change[np.flatnonzero(music)[moments]] = np.nanmedian(single, axis=1)
    return change


def _band_contours_db(features: Features, times_s: FloatArray) -> FloatArray:
    """Third-octave levels of both channels together, smoothed over a second: (times, 31)."""
    smooth = _smoothed(features.band_power.sum(axis=2, dtype=np.float64), BAND_RATE_HZ)
    return np.asarray(10 * np.log10(sample_frames(smooth, BAND_RATE_HZ, times_s) + _FLOOR))


def _smoothed(power: FloatArray, rate_hz: float) -> FloatArray:
    """Raised-cosine average along the first axis; at the ends, of what there is."""
    size = 2 * round(CONTOUR_WINDOW_S * rate_hz / 2) + 1
    window = np.hanning(size + 2)[1:-1]
    total = ndimage.convolve1d(power, window, axis=0, mode="constant")
    weight = ndimage.convolve1d(np.ones(len(power)), window, mode="constant")
    return np.asarray(total / weight.reshape((-1,) + (1,) * (power.ndim - 1)), np.float64)


def _step_times_s(features: Features) -> FloatArray:
    return np.asarray((np.arange(len(features.k_power)) + 0.5) * bs1770.STEP_S, np.float64)


def _around(features: Features, times_s: npt.ArrayLike, steps: int, as_stereo: bool) -> FloatArray:
    """Loudness of the window of ``steps`` 10 ms steps that lies around each time."""
    times = np.asarray(times_s, np.float64)
    power = stereo_power(features)[:, np.newaxis] if as_stereo else features.k_power
    windows = bs1770.to_lufs(bs1770.window_powers(power, steps))
    first = np.round(times / bs1770.STEP_S - steps / 2).astype(np.int64)
    complete = (first >= 0) & (first < len(windows))
    if len(windows) == 0:
        return np.full(times.shape, np.nan)
    around = windows[np.clip(first, 0, len(windows) - 1)]
    return np.asarray(np.where(complete, around, np.nan), np.float64)
