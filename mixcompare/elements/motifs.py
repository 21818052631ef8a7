"""What comes again in two performances: motifs, their lags, and in which bands they do.

A motif is the lag at which the envelopes of many bands resemble themselves, followed as the tempo
breathes. In the bands that come again, a recording's own neighbouring periods foretell what the
figure does at a moment; what does not repeat is in few of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import weighted_medians

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# Chosen on the tuning set of the benchmark of repeating figures, where no other is named.
_LOWEST_HZ = 350.0  # a high figure; its fundamentals may lie an octave lower
_STRETCH_S, _EVERY_S = 8.0, 4.0  # stretches of time that are judged one by one
_SLOW_S = 1.25  # what changes more slowly is no note of a figure
_MOTIF_S = (0.3, 4.25)
_MOTIFS = 8  # cost: lags that are tried
_ALIKE = 0.03  # likeness of all bands at a motif's lag
_SAME_LAG = 0.1  # lags nearer than this share are one
_DRIFT = 0.07  # of the lag, as the tempo breathes
_LIKENESS_S = 6.0  # over which a lag is followed, smoothed over half of it
_AT_ONCE = 1000  # moments; memory
_OTHER_LAGS = (0.62, 0.79, 1.27, 1.41)  # of the motif's: no simple fractions of it
AGAIN = 0.4  # autocorrelation at the motif's lag beyond that at others, of a band that repeats


@dataclass(frozen=True)
class Envelopes:
    """Both recordings' envelopes, each band by its mean level, without their slow course.

    ``amplitude`` and ``power``: shape (2, n, bands), reference first; ``whole``: powers as they
    are; ``level``: of every band, shape (bands,); ``high``: bands in which a figure is sought.
    """

    amplitude: FloatArray
    power: FloatArray
    whole: FloatArray
    level: FloatArray
    high: BoolArray


def envelopes_of(spectra: PairSpectra) -> Envelopes:
    """Envelopes of both recordings of a pair."""
    both = np.maximum(np.stack([spectra.reference, spectra.candidate]), 0.0)
    level = np.sqrt(both[0].mean(axis=0) * both[1].mean(axis=0)) + 1e-30
    smooth = np.maximum(ndimage.uniform_filter1d(both, 2, axis=1), 0.0) / level
    return Envelopes(
        amplitude=_quick(np.sqrt(smooth)),
        power=_quick(smooth),
        whole=smooth,
        level=level,
        high=spectra.centre_hz > _LOWEST_HZ,
    )


def _quick(course: FloatArray) -> FloatArray:
    """Without its slow course, along the axis of time, the last but one."""
    slow = ndimage.uniform_filter1d(course, round(_SLOW_S * RATE_HZ), axis=-2)
    return np.asarray(course - slow)


def _later(course: FloatArray, lag: FloatArray) -> FloatArray:
    """The course some frames later, zero beyond its ends; the lag may change with time."""
    frames = course.shape[-2]
    places = np.round(np.arange(frames) + lag).astype(np.int64)
    there = np.take(course, np.clip(places, 0, frames - 1), axis=-2)
    return np.asarray(there * ((places >= 0) & (places < frames))[:, None])


def _starts(frames: int) -> npt.NDArray[np.int64]:
    length, step = round(_STRETCH_S * RATE_HZ), round(_EVERY_S * RATE_HZ)
    return np.arange(0, frames - length + 1, step)


def by_stretch(course: FloatArray) -> FloatArray:
    """Mean over every stretch of time, along the last axis but one."""
    length = round(_STRETCH_S * RATE_HZ)
    starts = _starts(course.shape[-2])
    total = np.cumsum(course, axis=-2)
    total = np.concatenate([np.zeros_like(total[..., :1, :]), total], axis=-2)
    return np.asarray((total[..., starts + length, :] - total[..., starts, :]) / length)


def motif_lags(envelopes: Envelopes) -> Iterator[FloatArray]:
    """Lags after which the high bands resemble themselves, as they go through time, frames."""
    first, last = (round(limit * RATE_HZ) for limit in _MOTIF_S)
    lags = np.arange(first, last + 1)
    window = round(_LIKENESS_S * RATE_HZ)
    high = envelopes.amplitude[..., envelopes.high]
    high = high / np.sqrt((high**2).mean(axis=(0, 1)) + 1e-9)
    frames = high.shape[1]
    alike = np.zeros((len(lags), frames))
    for row, lag in zip(alike, lags, strict=True):
        row[: frames - lag] = np.einsum("rtb,rtb->t", high[:, :-lag], high[:, lag:])
    alike = ndimage.uniform_filter1d(alike, window, axis=1, mode="constant")
    energy = np.einsum("rtb,rtb->t", high, high)
    alike /= ndimage.uniform_filter1d(energy, window, mode="constant") + 1e-9
    profile = np.zeros(len(lags))
    for index, lag in enumerate(lags):
        reach = max(1, round(lag / 20))
        profile[index] = alike[max(0, index - reach) : index + reach + 1].max(axis=0).mean()
    inner = profile[1:-1]
    peak = (inner >= profile[:-2]) & (inner >= profile[2:]) & (inner > _ALIKE)
    peaks = 1 + np.flatnonzero(peak)
    kept: list[int] = []
    for index in peaks[np.argsort(-profile[peaks], kind="stable")]:
        if all(abs(lags[index] / lags[other] - 1) > _SAME_LAG for other in kept):
            kept.append(int(index))
    for index in kept[:_MOTIFS]:
        near = np.abs(lags - lags[index]) <= max(1.0, _DRIFT * lags[index])
        path = lags[near][alike[near].argmax(axis=0)]
        yield ndimage.median_filter(path, window // 2 + 1).astype(np.float64)


@dataclass(frozen=True)
class Motif:
    """What comes again after a lag.

    Attributes
    ----------
    again : ndarray, shape (2, stretches, bands)
        How much more a band resembles itself after the lag than after others, by recording.
    slope : ndarray, shape (2, 2, stretches, bands)
        Of a recording's power (second axis) along what the neighbouring periods of each recording
        (first axis) foretell.
    lag : ndarray, shape (n,)
        Frames until it comes again.
    """

    again: FloatArray
    slope: FloatArray
    lag: FloatArray

    @classmethod
    def at(cls, envelopes: Envelopes, lag: FloatArray) -> Motif:
        """What comes again after a lag, frames, shape (n,)."""
        energy = by_stretch(envelopes.amplitude**2) + 1e-9

        def alike(lag: FloatArray) -> FloatArray:
            near = (_later(envelopes.amplitude, lag) + _later(envelopes.amplitude, -lag)) / 2
            return np.asarray(by_stretch(envelopes.amplitude * near) / energy)

        usual = np.mean([alike(np.maximum(lag * share, 4)) for share in _OTHER_LAGS], axis=0)
        near = _later(envelopes.power, lag) + _later(envelopes.power, -lag)
        far = _later(envelopes.power, 2 * lag) + _later(envelopes.power, -2 * lag)
        foretold = (near + 0.5 * far) / 3
        slope = np.stack([by_stretch(one * envelopes.power) for one in foretold])
        return cls(alike(lag) - np.maximum(usual, 0), slope, lag)

    def repeats(self, envelopes: Envelopes) -> BoolArray:
        """Bands that come again, by recording, shape (2, stretches, bands)."""
        own = np.stack([self.slope[0, 0], self.slope[1, 1]])
        found: BoolArray = (self.again > AGAIN) & (own > 0) & envelopes.high
        return found

    def share(self, envelopes: Envelopes) -> FloatArray:
        """Share of the figure in every cell, shape (n, bands)."""
        frames = envelopes.power.shape[1]
        centre = _starts(frames) + round(_STRETCH_S * RATE_HZ) // 2
        nearest = np.abs(np.arange(frames)[:, None] - centre).argmin(axis=1)
        both = np.sqrt(envelopes.whole[0] * envelopes.whole[1])
        again = np.minimum(_middle_of_periods(both, self.lag), both)
        above = again - ndimage.minimum_filter1d(again, round(_SLOW_S * RATE_HZ), axis=0)
        share = np.clip(above / (both + 1e-12), 0, 1)
        return np.asarray(share * self.repeats(envelopes)[:, nearest].any(axis=0))


def _middle_of_periods(course: FloatArray, lag: FloatArray) -> FloatArray:
    """Median of the two periods before and the two after: what does not repeat is in few of them.

    Shape (n, bands); of those within the recording.
    """
    frames = len(course)
    there = np.stack([np.arange(frames) + np.round(times * lag) for times in (-2, -1, 1, 2)])
    inside = ((there >= 0) & (there < frames)).astype(np.float64)
    periods = [_later(course, times * lag) for times in (-2, -1, 1, 2)]
    out = np.empty_like(course)
    for first in range(0, frames, _AT_ONCE):
        some = slice(first, first + _AT_ONCE)
        values = np.stack([one[some] for one in periods])
        weights = np.repeat(inside[:, some, None], course.shape[1], axis=2).reshape(4, -1)
        out[some] = weighted_medians(values.reshape(4, -1), weights).reshape(values.shape[1:])
    return out
