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
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]

OCTAVES_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0, 4000.0)
_NOISE_HEADROOM_DB = 10.0
_EARLY_S = 0.08


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
