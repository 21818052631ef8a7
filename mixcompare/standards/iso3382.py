"""Decay times and clarity from an impulse response or a free decay: ISO 3382-1:2009.

Conventions
-----------
====== =========================================================== =============
EDT    slope of the decay curve from 0 to -10 dB, times 6           s
T20    slope from -5 to -25 dB, times 3                             s
T30    slope from -5 to -35 dB, times 2                             s
C80    energy before 80 ms over energy after, from the direct sound dB
====== =========================================================== =============

The decay curve is the squared response integrated backwards (Schroeder 1965). The noise's mean
power is subtracted, the integration stops where the decay meets the noise, and what lies behind
is added as an exponential of the late slope (5.3.3 of the standard; Lundeby et al. 1995). A range
is used only where the noise lies 10 dB below its lower end (5.3.3).

Where tones die away, one octave's decay scatters by a fifth. There several bands are described
together, by one or two exponentials above the noise and by maximum likelihood: reverberant power
scatters in proportion to its mean (for one slope in one band: Ratnam et al. 2003, from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

FloatArray = npt.NDArray[np.float64]

# The octaves of ISO 3382-1:2009 (from memory).
OCTAVES_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0)
_NOISE_HEADROOM_DB = 10.0  # ISO 3382-1:2009, 5.3.3
_EARLY_S = 0.08  # C80 of ISO 3382-1:2009
_RATE = 6 * np.log(10)  # in nepers of power: what falls by 60 dB in one decay time

_FALL_RANGE_DB = 60.0  # noise is taken to lie no deeper under the top; our choice
# Limits of several slopes: 20 dB as in T20, others our judgement, not measured.
_LEAST_RANGE_DB = 20.0
_LEAST_FRAMES = 8  # shorter decays say nothing
_STILL_FALLS = 0.7  # 1.5 dB less than just before
_LEAST_RATIO = 1.8  # late over early decay time
_LEAST_BEND_S = 0.05  # the early decay lasts at least so long
_LEAST_LATE_DB = 15.0  # of the late decay that is seen
_LEAST_EVIDENCE = 4.0
"""Gain in log likelihood per band from which a bend counts. By chance one slope more gains up to
0.3 in noise, and 1 to 3 where tones die away."""
_DECAYS_S, _LEVELS = (0.05, 20.0), (-16.0, 6.0)  # sought within these; levels as logarithms
# Of the search: it ends where a step gains too little to count, or leads nowhere however short.
_MOST_STEPS, _SETTLED, _LONGEST_STEP = 100, 1e-6, 2.0
_FIRST_DAMPING, _LEAST_DAMPING, _MOST_DAMPING, _LEAST_INFORMATION = 1e-2, 1e-6, 1e8, 1e-9


@dataclass(frozen=True)
class Decay:
    """What a decay says about the room.

    Attributes
    ----------
    edt_s, t20_s, t30_s, c80_db : float or None
        None where the range isn't clear of the noise.
    range_db : float
        From the start of the decay to the noise.
    straightness : float
        Squared correlation of the decay curve with its line between -5 and -25 dB.
    """

    edt_s: float | None
    t20_s: float | None
    t30_s: float | None
    c80_db: float | None
    range_db: float
    straightness: float


def decay_of(response: FloatArray, rate_hz: float) -> Decay:
    """Evaluate a decay that begins with the first sample.

    Parameters
    ----------
    response : ndarray, shape (samples,)
        Sound pressure; for C80 the first sample is the arrival of the direct sound.
    rate_hz : float
        Frames a second.

    Returns
    -------
    Decay
    """
    energy = np.square(np.asarray(response, np.float64))
    step = max(int(0.005 * rate_hz), 1)
    blocks = energy[: len(energy) // step * step].reshape(-1, step).mean(axis=1)
    if len(blocks) < 8 or blocks.max() <= 0:
        return Decay(None, None, None, None, 0.0, 0.0)
    noise = float(blocks[-max(len(blocks) // 10, 2) :].mean())
    knee, slope = _knee(blocks, noise)
    range_db = float(10 * np.log10(blocks[: max(knee, 1)].max() / max(noise, 1e-300)))
    stop = min(max(knee, 4) * step, len(energy))
    kept = energy[:stop] - noise
    tail = max(float(blocks[max(knee - 1, 0)]) - noise, 0.0)
    if slope < 0:
        # An exponential from its level at the knee on: power over decay rate.
        tail *= rate_hz / (-slope * np.log(10) / 10)
    curve = np.cumsum(kept[::-1])[::-1] + tail
    total = float(curve[0])
    if total <= 0:
        return Decay(None, None, None, None, range_db, 0.0)
    level = 10 * np.log10(np.maximum(curve, 1e-12 * total) / total)
    edt, _ = _time(level, rate_hz, 0.0, -10.0, range_db)
    t20, straightness = _time(level, rate_hz, -5.0, -25.0, range_db)
    t30, _ = _time(level, rate_hz, -5.0, -35.0, range_db)
    split = min(round(_EARLY_S * rate_hz), len(curve) - 1)
    late = float(curve[split])
    clarity = 10 * np.log10((total - late) / late) if total > late > 0 else None
    if range_db < 20 or clarity is None:
        clarity = None
    return Decay(edt, t20, t30, clarity, range_db, straightness)


@dataclass(frozen=True)
class Slopes:
    """Decay times that several bands have in common.

    Attributes
    ----------
    single_s : float
        60 dB decay time if one slope is to describe the whole.
    early_s, late_s : float or None
        Decay times of a short and a long part that sound together; None where one slope does.
    grows_steeper : bool
        Whether the second half falls clearly faster than the first, which rooms never do
        (fades do, and music that is still being held).
    """

    single_s: float
    early_s: float | None
    late_s: float | None
    grows_steeper: bool


def slopes_of(
    power: FloatArray, rate_hz: float, range_db: tuple[float, float] = (-5.0, -35.0)
) -> Slopes | None:
    """Fit one or two exponentials above the noise to the power of several bands at once.

    Parameters
    ----------
    power : ndarray, shape (frames, bands)
        Short-time power of a decay that reaches down to the noise.
    rate_hz : float
        Frames a second.
    range_db : tuple of float
        Part of each band's backward-integrated power that is judged; T30's unless given.

    Returns
    -------
    Slopes or None
        None where no band falls by 20 dB.
    """
    chosen = _chosen(np.asarray(power, np.float64), range_db)
    if chosen is None:
        return None
    seen, noise, keep = chosen
    time_s = np.arange(len(seen)) / rate_hz
    length_s = float(time_s[-1])
    cost, (single_s,), _ = _likeliest(seen, noise, keep, time_s, (length_s,))
    order = np.cumsum(keep, axis=0) <= 0.5 * keep.sum(axis=0)
    halves = [
        _likeliest(seen, noise, keep & part, time_s, (single_s,))[1][0] for part in (order, ~order)
    ]
    steeper = halves[1] < 0.7 * halves[0]
    fits = [
        _likeliest(seen, noise, keep, time_s, (share * length_s, length_s)) for share in (0.2, 0.5)
    ]
    two_cost, times, powers = min(fits, key=lambda fit: fit[0])
    (early_s, early), (late_s, late) = sorted(zip(times, powers, strict=True))
    evidence = (cost - two_cost) / seen.shape[1]
    above = float(np.median(np.log(early / late)))
    bend_s = above / (_RATE * (1 / early_s - 1 / late_s)) if late_s > early_s else 0.0
    late_db = 60 * (length_s - bend_s) / late_s
    if (
        evidence < _LEAST_EVIDENCE
        or late_s < _LEAST_RATIO * early_s
        or bend_s < _LEAST_BEND_S
        or late_db < _LEAST_LATE_DB
    ):
        return Slopes(single_s, None, None, steeper)
    return Slopes(single_s, early_s, late_s, steeper)


def _chosen(
    power: FloatArray, range_db: tuple[float, float]
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.bool_]] | None:
    """Power of the bands that fall far enough, their noise, and the frames to judge them by."""
    if len(power) < 2 * _LEAST_FRAMES or power.max() <= 0:
        return None
    tenth = max(len(power) // 10, 3)
    noise = power[-tenth:].mean(axis=0) + 1e-30
    # A recording that is cut while the sound still falls doesn't show its noise.
    noise[noise < _STILL_FALLS * power[-2 * tenth : -tenth].mean(axis=0)] = 1e-30
    curve = np.cumsum(np.maximum(power - noise, 0)[::-1], axis=0)[::-1]
    begun = curve <= curve[0] * 10 ** (range_db[0] / 10)
    first = begun.argmax(axis=0)
    top = np.array([power[at : at + 3, band].mean() for band, at in enumerate(first)]) + 1e-30
    noise = np.maximum(noise, top * 10 ** (-_FALL_RANGE_DB / 10))
    smooth = uniform_filter1d(power, 3, axis=0, mode="nearest")
    drowned = begun & (smooth < noise * 10**0.5)
    drowned |= curve < curve[0] * 10 ** (range_db[1] / 10)
    keep = begun & (np.cumsum(drowned, axis=0) == 0)
    good = (top > noise * 10 ** (_LEAST_RANGE_DB / 10)) & (keep.sum(axis=0) >= _LEAST_FRAMES)
    if not good.any():
        return None
    frames = np.flatnonzero(keep[:, good].any(axis=1))
    span = slice(int(frames[0]), int(frames[-1]) + 1)
    return power[span, good] / top[good], noise[good] / top[good], keep[span, good]


def _likeliest(
    seen: FloatArray,
    noise: FloatArray,
    keep: npt.NDArray[np.bool_],
    time_s: FloatArray,
    start_s: tuple[float, ...],
) -> tuple[float, tuple[float, ...], FloatArray]:
    """Cost, decay times in common, and each band's power of each, shape (slopes, bands).

    The cost is the negative log likelihood of exponentially distributed powers. Fisher scoring
    (McCullagh and Nelder 1989, 2.5), damped: each step is shortened until the cost falls.
    """
    slopes, bands = len(start_s), seen.shape[1]
    likelihood = _Likelihood(seen, noise, keep, time_s, slopes)
    at = np.concatenate([np.log(start_s), np.repeat(np.array([0.0, -2.0])[:slopes], bands)])
    low, high = (
        np.concatenate([np.full(slopes, time), np.full(slopes * bands, level)])
        for time, level in zip(np.log(_DECAYS_S), _LEVELS, strict=True)
    )
    damping, cost, moved = _FIRST_DAMPING, likelihood.at(at), True
    for _ in range(_MOST_STEPS):
        if moved:
            gradient, information = likelihood.curvature()
            free = np.flatnonzero(
                ~(((at <= low) & (gradient > 0)) | ((at >= high) & (gradient < 0)))
            )
            scale = np.sqrt(information[free, free] + _LEAST_INFORMATION)
            curved = information[free[:, None], free] / (scale[:, None] * scale)
            downhill = -gradient[free] / scale
        damped = curved.copy()
        damped.flat[:: len(scale) + 1] += damping
        tried = at.copy()
        step = np.linalg.solve(damped, downhill) / scale
        tried[free] += np.minimum(np.maximum(step, -_LONGEST_STEP), _LONGEST_STEP)
        tried = np.minimum(np.maximum(tried, low), high)
        found = likelihood.at(tried)
        gained = cost - found
        moved = gained >= 0
        if moved:
            at, cost = tried, found
            damping = max(damping / 10.0, _LEAST_DAMPING)
        else:
            damping *= 10.0
        if 0 <= gained < _SETTLED or damping > _MOST_DAMPING:
            break
    times = tuple(float(time) for time in np.exp(at[:slopes]))
    return cost, times, np.exp(at[slopes:].reshape(slopes, bands))


class _Likelihood:
    """Cost of decay times and powers, as logarithms, its gradient, and how sharply it curves."""

    def __init__(
        self,
        seen: FloatArray,
        noise: FloatArray,
        keep: npt.NDArray[np.bool_],
        time_s: FloatArray,
        slopes: int,
    ) -> None:
        self._seen, self._noise, self._keep = seen.T, noise[:, None], keep.T.astype(np.float64)
        self._fall = -_RATE * time_s[:, None]
        self._shape = slopes, seen.shape[1]

    def at(self, logs: FloatArray) -> float:
        """Negative log likelihood."""
        slopes, _ = self._shape
        power = np.exp(logs[slopes:].reshape(self._shape)).T
        self._falls = self._fall / np.exp(logs[:slopes])
        # Of every band and frame: how its expected power grows with each level.
        self._by_level = np.exp(self._falls) * power[:, None]
        self._mean = self._by_level.sum(axis=2) + self._noise
        return float(((np.log(self._mean) + self._seen / self._mean) * self._keep).sum())

    def curvature(self) -> tuple[FloatArray, FloatArray]:
        """Gradient and Fisher's information where it was asked last."""
        slopes, bands = self._shape
        # And how it grows with each decay time.
        along = np.concatenate([self._by_level * -self._falls, self._by_level], axis=2)
        kept = self._keep / np.square(self._mean)
        slope = (((self._mean - self._seen) * kept)[:, None] @ along)[:, 0]
        curve = along.transpose(0, 2, 1) @ (along * kept[..., None])
        gradient = np.concatenate([slope[:, :slopes].sum(axis=0), slope[:, slopes:].T.ravel()])
        information = np.zeros((len(gradient), len(gradient)))
        information[:slopes, :slopes] = curve[:, :slopes, :slopes].sum(axis=0)
        across = curve[:, :slopes, slopes:].transpose(1, 2, 0).reshape(slopes, -1)
        information[:slopes, slopes:], information[slopes:, :slopes] = across, across.T
        own = information[slopes:, slopes:].reshape(slopes, bands, slopes, bands)
        own[:, np.arange(bands), :, np.arange(bands)] = curve[:, slopes:, slopes:]
        return gradient, information


def _knee(blocks: FloatArray, noise: float) -> tuple[int, float]:
    """Block at which the decay comes within 5 dB of the noise, and the late slope there, dB/s."""
    smooth = np.convolve(blocks, np.ones(5) / 5, mode="same")
    above = smooth > noise * 10**0.5
    peak = int(smooth.argmax())
    below = np.flatnonzero(~above[peak:])
    knee = peak + int(below[0]) if len(below) else len(blocks)
    start = peak + (knee - peak) // 2
    if knee - start < 4:
        return knee, 0.0
    level = 10 * np.log10(np.maximum(blocks[start:knee] - noise, 1e-30))
    time_s = np.arange(knee - start) * 0.005
    return knee, float(np.polyfit(time_s, level, 1)[0])


def _time(
    level: FloatArray, rate_hz: float, top_db: float, bottom_db: float, range_db: float
) -> tuple[float | None, float]:
    """Time for 60 dB from the line through part of the decay curve, and its straightness."""
    if range_db < -bottom_db + _NOISE_HEADROOM_DB:
        return None, 0.0
    first = int(np.argmax(level <= top_db))
    last = int(np.argmax(level <= bottom_db))
    if level[last] > bottom_db or last - first < 3:
        return None, 0.0
    time_s = np.arange(first, last + 1) / rate_hz
    part = level[first : last + 1]
    slope, _ = np.polyfit(time_s, part, 1)
    straightness = float(np.corrcoef(time_s, part)[0, 1] ** 2)
    return (float(-60 / slope), straightness) if slope < 0 else (None, straightness)
