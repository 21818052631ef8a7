"""Where a recording dies away freely: its last tail, full stops, or a whole impulse response.

Conventions
-----------
Times are seconds from the start of the recording. Decays are evaluated by
:mod:`mixcompare.standards.iso3382`: impulse responses in octaves from 125 Hz to 4 kHz of the 12 kHz
waveform; the end of music in third octaves of both channels together, from -5 dB down.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.signal import butter, sosfilt

from mixcompare.features import ANALYSIS_RATE_HZ, BAND_RATE_HZ, WAVEFORM_SCALE, Features
from mixcompare.standards.iso3382 import OCTAVES_HZ, Decay, Slopes, decay_of, slopes_of

FloatArray = npt.NDArray[np.float64]
Span = tuple[float, float]

FALL_DB = 35.0
"""ISO 3382-1, 5.3.3: down to -25 dB, and 10 dB between that and the noise."""

MID_OCTAVES_HZ = (500.0, 1000.0)  # ISO 3382-1:2009: its single figure is their mean
_MID_BANDS = slice(13, 22)  # 400 Hz to 2.5 kHz
_MID_OCTAVES = slice(13, 19)  # 400 Hz to 1.25 kHz: third octaves of both mid octaves
_MUSIC_RANGE_DB = (-5.0, -60.0)  # from 5 dB down as in ISO 3382-1:2009; down to 60 dB, our choice
_STRAIGHT = 0.965  # squared correlation with a line; our judgement, not measured
_PLATEAU_DB = 3.0  # above the straight line from the start; our judgement, not measured
_ENDING_S = 1.2
"""Instruments have ended by then: a bend whose first part is slower is the decay's scatter."""
_CLEAR_RATIO = 2.2  # late over early time for two decays to be clear; our judgement, not measured
_STOPPING_S = 0.3
"""Time music takes to stop; after it the fall must be followed for 30 dB, as for T30."""
_STEP_S = 0.01  # resolution of a decay with two slopes
_EARLIEST_FRAMES = 10  # 0.1 s in steps of 10 ms: a reflection may be stronger than the direct sound
_FLAT = 0.25  # under a room's noise (0.56 squared), far above tones (see below)
_STEADY_FRAMES = 14  # 0.56 s in frames of 40 ms; our judgement, not measured
_STEADY_DB = 1.5  # standard deviation of noise before it stops; our judgement, not measured


def impulse_start(features: Features) -> float | None:
    """Time of the direct sound if the recording is one impulse response, else None."""
    power = features.k_power.sum(axis=1)
    if len(power) > 1500 or power.max() <= 0:
        return None
    peak = int(power.argmax())
    # A reflection may be stronger than the direct sound before it.
    before = power[: max(peak - _EARLIEST_FRAMES, 0)]
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
        end = _comes_back(level, start)
        recent = level[max(start - 50, 0) : start + 1].max()
        if level[start] > recent - 6 and level[start] - level[start:end].min() > FALL_DB:
            # Begin where the fall has begun: 4 dB under the last loud moment.
            top = level[start:end][:25].max()
            begun = start + int(np.flatnonzero(level[start:end] > top - 4)[-1])
            begun += _plateau_end(level[begun:end])
            tails.append((begun / BAND_RATE_HZ, end / BAND_RATE_HZ))
            start = end
        else:
            start += 1
    return tails


def _comes_back(level: FloatArray, start: int) -> int:
    """Frame at which the level stands 3 dB over the lowest since ``start``; else the end."""
    length = 256  # frames; doubled until the fall ends within them
    while True:
        part = level[start : start + length]
        back = np.flatnonzero(part > np.minimum.accumulate(part) + 3)
        if len(back):
            return start + int(back[0])
        if start + length >= len(level):
            return len(level)
        length *= 2


def _plateau_end(level: FloatArray) -> int:
    """Frame at which a held sound that fades a little starts to fall in earnest.

    It lies clear above the straight line through the fall's first 30 dB.
    """
    last = int(np.argmax(level < level[0] - 30))
    if last < 2:
        return 0
    above = level[: last + 1] - np.linspace(level[0], level[last], last + 1)
    return int(above.argmax()) if above.max() > _PLATEAU_DB else 0


@dataclass(frozen=True)
class Fall:
    """How one tail dies away.

    Attributes
    ----------
    time_s : float
        60 dB decay time of the mid octaves; the long part where there are two.
    octave_s : tuple of float or None
        The same for each octave by itself.
    early_s, late_s : float or None
        Both parts of a two-slope decay, where noise stops and no instrument hides the first.
    is_noise : bool
        Whether steady noise stops (the interrupted noise of ISO 3382-2), no music.
    is_bound : bool
        Whether the room's part can't be parted cleanly from how the instruments end.
    """

    time_s: float
    octave_s: tuple[float | None, ...]
    early_s: float | None
    late_s: float | None
    is_noise: bool
    is_bound: bool


def fall_of(features: Features, tail: Span) -> Fall | None:
    """Evaluate one free fall, None where it is cut short or doesn't fall evenly.

    Where noise stops the fall is the room's, evaluated as an impulse response. Where music
    stops, it is at first that of the instruments and of the direct sound; the whole is
    described, and its late part counts.
    """
    if _is_noise(features, tail):
        return _fall_of_noise(part_of(features, tail))
    first, last = (round(time * BAND_RATE_HZ) for time in tail)
    power = features.band_power[first : last + 1].astype(np.float64)

    def slopes(bands: slice) -> Slopes | None:
        return slopes_of(power[:, bands].reshape(len(power), -1), BAND_RATE_HZ, _MUSIC_RANGE_DB)

    mid = slopes(_MID_OCTAVES)
    time = _late(mid)
    if mid is None or time is None:
        return None
    if tail[1] - tail[0] < _STOPPING_S + 0.5 * time:
        return None
    # The three third octaves of every octave; 100 Hz is the first of them all.
    octaves = tuple(_late(slopes(slice(at, at + 3))) for at in range(7, 25, 3))
    close = mid.early_s is not None and time < _CLEAR_RATIO * mid.early_s
    return Fall(time, octaves, None, None, False, close)


def _fall_of_noise(samples: FloatArray) -> Fall | None:
    decays = octave_decays(samples)
    time = mid_time(decays)
    if time is None:
        return None
    early, late = bent(samples) or (None, None)
    return Fall(time, tuple(map(even_time, decays)), early, late, True, False)


def mid_time(decays: list[Decay]) -> float | None:
    """Mean T30 of the octaves at 500 and 1000 Hz, T20 where there is no T30."""
    times = [decays[OCTAVES_HZ.index(octave)] for octave in MID_OCTAVES_HZ]
    known = [time for time in (decay.t30_s or decay.t20_s for decay in times) if time is not None]
    return float(np.mean(known)) if known else None


def _late(slopes: Slopes | None) -> float | None:
    if slopes is None or slopes.grows_steeper:
        return None
    if slopes.early_s is None or slopes.early_s > _ENDING_S:
        return slopes.single_s
    return slopes.late_s


def bent(samples: FloatArray) -> Span | None:
    """Early and late decay time of a decay with two slopes in the mid octaves, else None."""
    step = round(_STEP_S * ANALYSIS_RATE_HZ)
    power = []
    for octave in MID_OCTAVES_HZ:
        energy = in_octave(samples, octave) ** 2
        power.append(energy[: len(energy) // step * step].reshape(-1, step).mean(axis=1))
    slopes = slopes_of(np.stack(power, axis=1), ANALYSIS_RATE_HZ / step, (0.0, -60.0))
    if slopes is None or slopes.early_s is None or slopes.late_s is None:
        return None
    return slopes.early_s, slopes.late_s


def _is_noise(features: Features, tail: Span) -> bool:
    """Whether what stops has the flat spectrum of noise, and was steady before.

    The geometric over the arithmetic mean of a noise's periodogram is exp(-0.577) = 0.56, and
    its square where a room's response scatters as much; tones leave thousandths.
    """
    first = round(tail[0] * BAND_RATE_HZ)
    before = features.band_power[max(first - _STEADY_FRAMES, 0) : max(first - 2, 0), _MID_BANDS]
    if len(before) < _STEADY_FRAMES - 2:
        return False
    level = 10 * np.log10(before.sum(axis=(1, 2), dtype=np.float64) + 1e-14)
    samples = part_of(features, (tail[0] - 0.5, tail[0]))
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)))) ** 2
    frequency_hz = np.fft.rfftfreq(len(samples), 1 / ANALYSIS_RATE_HZ)
    mid = spectrum[(frequency_hz > 400) & (frequency_hz < 1250)] + 1e-20
    flatness = float(np.exp(np.log(mid).mean()) / mid.mean())
    return flatness > _FLAT and float(level.std()) < _STEADY_DB


def part_of(features: Features, span: Span) -> FloatArray:
    """Waveform of a span, mono at 12 kHz."""
    first, last = (int(time * ANALYSIS_RATE_HZ) for time in span)
    return np.asarray(features.waveform[first:last], np.float64) / WAVEFORM_SCALE


def in_octave(samples: FloatArray, octave_hz: float) -> FloatArray:
    """Filter one octave backwards, so that the filter's own ringing is no decay."""
    edges = [octave_hz / np.sqrt(2), min(octave_hz * np.sqrt(2), 0.48 * ANALYSIS_RATE_HZ)]
    sections = butter(3, edges, "bandpass", fs=ANALYSIS_RATE_HZ, output="sos")
    return np.asarray(sosfilt(sections, samples[::-1])[::-1])


def octave_decays(samples: FloatArray) -> list[Decay]:
    """Decay in every octave."""
    return [decay_of(in_octave(samples, octave), ANALYSIS_RATE_HZ) for octave in OCTAVES_HZ]


def even_time(decay: Decay) -> float | None:
    """Decay time of an impulse response or of noise in one octave if the fall is straight."""
    if decay.t20_s is None or decay.straightness < _STRAIGHT:
        return None
    if decay.t30_s is None:
        return decay.t20_s
    return decay.t30_s if 0.8 < decay.t30_s / decay.t20_s < 1.25 else None
