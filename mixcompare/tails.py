"""Where a recording dies away freely: its last tail, full stops, or a whole impulse response.

Conventions
-----------
Times are seconds from the start of the recording. Decays are evaluated by
:mod:`mixcompare.iso3382` in octaves from 125 Hz to 4 kHz of the 12 kHz waveform.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfilt

from mixcompare.features import ANALYSIS_RATE_HZ, BAND_RATE_HZ, WAVEFORM_SCALE, Features
from mixcompare.iso3382 import OCTAVES_HZ, Decay, decay_of

FloatArray = npt.NDArray[np.float64]
Span = tuple[float, float]

FALL_DB = 35.0
"""ISO 3382-1, 5.3.3: down to -25 dB, and 10 dB between that and the noise."""

_MID_BANDS = slice(13, 22)  # 400 Hz to 2.5 kHz
_STRAIGHT = 0.965


def impulse_start(features: Features) -> float | None:
    """Time of the direct sound if the recording is one impulse response, else None."""
    power = features.k_power.sum(axis=1)
    if len(power) > 1500 or power.max() <= 0:
        return None
    peak = int(power.argmax())
    before = power[: max(peak - 2, 0)]
    if len(before) and before.max() > 1e-3 * power[peak]:
        return None
    smooth = np.convolve(power[peak:], np.ones(8) / 8, mode="valid")
    lowest = np.minimum.accumulate(smooth)
    floor = 10 ** (-FALL_DB / 10) * smooth[0]
    if len(smooth) < 20 or lowest[-1] > floor or np.any(smooth > 4 * np.maximum(lowest, floor)):
        return None
    samples = np.abs(features.waveform.astype(np.float64))
    first = int(np.argmax(samples > 0.2 * samples.max()))
    return first / ANALYSIS_RATE_HZ


def free_falls(features: Features) -> list[Span]:
    """Places where the mid bands fall by 35 dB without coming back."""
    power = features.band_power[:, _MID_BANDS].sum(axis=(1, 2), dtype=np.float64)
    level = 10 * np.log10(power + 1e-14)
    tails: list[Span] = []
    start = 0
    while start < len(level) - 10:
        lowest = np.minimum.accumulate(level[start:])
        back = np.flatnonzero(level[start:] > lowest + 3)
        end = start + (int(back[0]) if len(back) else len(lowest))
        recent = level[max(start - 50, 0) : start + 1].max()
        if level[start] > recent - 6 and level[start] - lowest[end - start - 1] > FALL_DB:
            # Begin where the fall has begun: 4 dB under the last loud moment.
            top = level[start : start + 25].max()
            begun = start + int(np.flatnonzero(level[start:end] > top - 4)[-1])
            tails.append((begun / BAND_RATE_HZ, end / BAND_RATE_HZ))
            start = end
        else:
            start += 1
    return tails


def part_of(features: Features, span: Span) -> FloatArray:
    first, last = (int(time * ANALYSIS_RATE_HZ) for time in span)
    return np.asarray(features.waveform[first:last], np.float64) / WAVEFORM_SCALE


def octave_decays(samples: FloatArray) -> list[Decay]:
    """Decay in every octave; filtered backwards, so that the filter's own ringing is no decay."""
    decays = []
    for octave in OCTAVES_HZ:
        edges = [octave / np.sqrt(2), min(octave * np.sqrt(2), 0.48 * ANALYSIS_RATE_HZ)]
        sections = butter(3, edges, "bandpass", fs=ANALYSIS_RATE_HZ, output="sos")
        decays.append(decay_of(sosfilt(sections, samples[::-1])[::-1], ANALYSIS_RATE_HZ))
    return decays


def even_time(decay: Decay) -> float | None:
    """Decay time if the fall is straight; fades and second notes bend it."""
    if decay.t20_s is None or decay.straightness < _STRAIGHT:
        return None
    if decay.t30_s is None:
        return decay.t20_s
    return decay.t30_s if 0.8 < decay.t30_s / decay.t20_s < 1.25 else None
