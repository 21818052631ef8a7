"""A figure that repeats, between two performances: its level from what comes again a motif later.

Another hall, other players and another tempo move every cell by decibels, and a high figure holds
few cells alone. But it comes again, note for note, one motif later, and little else does. Its
motif is the lag at which the envelopes of many bands resemble themselves, followed as the tempo
breathes. In the bands that come again, a recording's own neighbouring periods foretell what the
figure does at a moment; both recordings' powers are regressed on that. What does not come again
has no part in it: powers of independent sounds add, and the regression is linear in power. The
ratio of both slopes is the figure's level, held against how far the powers of what does not
repeat swing (another room or distance smears the envelopes of both alike).

Independent looks have to agree: foretold by the reference and by the candidate, against the
neighbouring bands, all bands and the pair's own level, by the middle of the bands and by the sum
of their powers, and after a second motif (a multiple of the first, as a rule). The interval comes
from their spread and from resampling stretches of time.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.change import Change
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import (
    block_counts,
    few_blocks,
    interval,
    weighted_medians,
    weighted_quantile,
)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

# Chosen on the tuning set of the benchmark of repeating figures, where no other is named.
_LOWEST_HZ = 350.0  # a high figure; its fundamentals may lie an octave lower
_STRETCH_S, _EVERY_S = 8.0, 4.0  # stretches of time that are judged one by one
_SHORTEST_S = 20.0  # of a passage: four stretches; our judgement, not measured
_SLOW_S = 1.25  # what changes more slowly is no note of a figure
_MOTIF_S = (0.3, 4.25)
_MOTIFS = 8  # cost: lags that are tried
_ALIKE = 0.03  # likeness of all bands at a motif's lag
_SAME_LAG = 0.1  # lags nearer than this share are one
_DRIFT = 0.07  # of the lag, as the tempo breathes
_LIKENESS_S = 6.0  # over which a lag is followed, smoothed over half of it
_OTHER_LAGS = (0.62, 0.79, 1.27, 1.41)  # of the motif's: no simple fractions of it
_AGAIN = 0.4  # autocorrelation at the motif's lag beyond that at others, of a band that repeats
_STILL = 0.1  # of one that does not
_FEWEST = 12  # band stretches that repeat in either recording
_AROUND = 4  # semitones to either side that say how neighbouring bands swing
_HEARD = 0.3  # of a stretch, for a band that is compared
_LEAST_DB = 2.0  # on which all looks agree; the tuning set's 132 unchanged pairs reach 1.8
_ANCHORS_APART_DB = 2.2  # neighbours' and all bands'; tone or timbre moves more than the figure
_LEARNT_DB = 0.8  # least half width: no band is the figure's alone; our judgement, not measured
_FIRM_DB = 2.0  # the smallest of the looks that is agreement by two thirds


def repeating_change(spectra: PairSpectra) -> Change | None:
    """The repeating figure whose level differs, where all looks agree that one does.

    Parameters
    ----------
    spectra : PairSpectra
        Of two performances.
    """
    if len(spectra.times_s) < _SHORTEST_S * RATE_HZ:
        return None
    envelopes = _envelopes(spectra)
    rest = _Rest.of(spectra, envelopes)
    once = np.ones((1, rest.stretches))
    found: list[tuple[float, _Motif, FloatArray]] = []
    for lag in _motif_lags(envelopes):
        motif = _Motif.at(envelopes, lag)
        looks = _looks(motif, envelopes, rest, once)
        if looks is not None:
            found.append((_agreed_db(looks[:, 0]), motif, looks[:, 0]))
    if not found:
        return None
    firm, motif, looks = _of_two_motifs(found)
    if firm < _LEAST_DB:
        return None
    size = float(_size_db(looks[:, None])[0])
    counts = block_counts(rest.stretches, block_length=2)
    drawn = _looks(motif, envelopes, rest, counts)
    assert drawn is not None
    widths = np.array(interval(_size_db(drawn) - size)) * few_blocks(rest.stretches / 2)
    apart = 1.96 * float(np.std(_sizes_db(looks[:, None]))) / 2
    low, high = (float(np.sqrt(w**2 + apart**2 + _LEARNT_DB**2)) for w in widths)
    return Change(
        difference_db=size,
        interval=(size - low, size + high),
        agreeing=float(1 - np.exp(-firm / _FIRM_DB)),
        energy=motif.share(envelopes) * spectra.reference,
        repeats=True,
    )


def _of_two_motifs(
    found: list[tuple[float, _Motif, FloatArray]],
) -> tuple[float, _Motif, FloatArray]:
    """How firmly the two firmest motifs agree, and the firmer of them.

    A motif comes again after its multiples, too: what one lag alone says is some other thing.
    """
    best, motif, looks = max(found, key=lambda one: abs(one[0]))
    sign = np.sign(best)
    agreed = sorted((max(sign * one[0], 0.0) for one in found), reverse=True)
    second = agreed[1] if len(agreed) > 1 else 0.0
    return float(np.sqrt(abs(best) * second)), motif, looks


@dataclass(frozen=True)
class _Envelopes:
    """Both recordings' envelopes, each band by its mean level, without their slow course.

    ``amplitude`` and ``power``: shape (2, n, bands), reference first; ``whole``: powers as they
    are; ``level``: of every band, shape (bands,); ``high``: bands in which a figure is sought.
    """

    amplitude: FloatArray
    power: FloatArray
    whole: FloatArray
    level: FloatArray
    high: BoolArray


def _envelopes(spectra: PairSpectra) -> _Envelopes:
    both = np.maximum(np.stack([spectra.reference, spectra.candidate]), 0.0)
    level = np.sqrt(both[0].mean(axis=0) * both[1].mean(axis=0)) + 1e-30
    smooth = np.maximum(ndimage.uniform_filter1d(both, 2, axis=1), 0.0) / level
    return _Envelopes(
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


def _by_stretch(course: FloatArray) -> FloatArray:
    """Mean over every stretch of time, along the last axis but one."""
    length = round(_STRETCH_S * RATE_HZ)
    starts = _starts(course.shape[-2])
    total = np.cumsum(course, axis=-2)
    total = np.concatenate([np.zeros_like(total[..., :1, :]), total], axis=-2)
    return np.asarray((total[..., starts + length, :] - total[..., starts, :]) / length)


@dataclass(frozen=True)
class _Rest:
    """How far powers swing about their slow course, candidate over reference.

    Attributes
    ----------
    swing_db, weight : ndarray, shape (stretches, bands)
        Level of the swings, and how much each says.
    """

    swing_db: FloatArray
    weight: FloatArray

    @classmethod
    def of(cls, spectra: PairSpectra, envelopes: _Envelopes) -> _Rest:
        reference, candidate = _by_stretch(envelopes.power**2) + 1e-12
        heard = _by_stretch(spectra.audible.astype(np.float64)) > _HEARD
        weight = np.where(heard, (reference * candidate) ** 0.25, 0.0)
        return cls(5 * np.log10(candidate / reference), weight)

    @property
    def stretches(self) -> int:
        return len(self.weight)


def _motif_lags(envelopes: _Envelopes) -> Iterator[FloatArray]:
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
class _Motif:
    """What comes again after a lag.

    Attributes
    ----------
    again : ndarray, shape (2, stretches, bands)
        How much more a band resembles itself after the lag than after others, by recording.
    foretold : ndarray, shape (2, n, bands)
        Power as the neighbouring periods of the same recording foretell it.
    slope : ndarray, shape (2, 2, stretches, bands)
        Of a recording's power (second axis) along what each recording (first axis) foretells.
    """

    again: FloatArray
    foretold: FloatArray
    slope: FloatArray

    @classmethod
    def at(cls, envelopes: _Envelopes, lag: FloatArray) -> _Motif:
        energy = _by_stretch(envelopes.amplitude**2) + 1e-9

        def alike(lag: FloatArray) -> FloatArray:
            near = (_later(envelopes.amplitude, lag) + _later(envelopes.amplitude, -lag)) / 2
            return np.asarray(_by_stretch(envelopes.amplitude * near) / energy)

        usual = np.mean([alike(np.maximum(lag * share, 4)) for share in _OTHER_LAGS], axis=0)
        near = _later(envelopes.power, lag) + _later(envelopes.power, -lag)
        far = _later(envelopes.power, 2 * lag) + _later(envelopes.power, -2 * lag)
        foretold = (near + 0.5 * far) / 3
        slope = np.stack([_by_stretch(one * envelopes.power) for one in foretold])
        return cls(alike(lag) - np.maximum(usual, 0), foretold, slope)

    def repeats(self, envelopes: _Envelopes) -> BoolArray:
        """Bands that come again, by recording, shape (2, stretches, bands)."""
        own = np.stack([self.slope[0, 0], self.slope[1, 1]])
        found: BoolArray = (self.again > _AGAIN) & (own > 0) & envelopes.high
        return found

    def share(self, envelopes: _Envelopes) -> FloatArray:
        """Share of the figure in every cell, shape (n, bands)."""
        frames = envelopes.power.shape[1]
        centre = _starts(frames) + round(_STRETCH_S * RATE_HZ) // 2
        nearest = np.abs(np.arange(frames)[:, None] - centre).argmin(axis=1)
        size = round(_SLOW_S * RATE_HZ)
        above = self.foretold - ndimage.minimum_filter1d(self.foretold, size, axis=1)
        share = np.clip(above / (envelopes.whole + 1e-12), 0, 1)
        return np.asarray((share * self.repeats(envelopes)[:, nearest]).max(axis=0))


def _looks(
    motif: _Motif, envelopes: _Envelopes, rest: _Rest, counts: FloatArray
) -> FloatArray | None:
    """What independent looks say of the figure's level, dB, shape (10, draws).

    Parameters
    ----------
    motif, envelopes, rest
        What repeats, both recordings, and what does not repeat in them.
    counts : ndarray, shape (draws, stretches)
        How often each stretch counts.

    Returns
    -------
    ndarray or None
        Foretold by the reference, then by the candidate: against the neighbouring bands, against
        all, and against the pair's own level; then the powers' sum, its middle over the stretches,
        the sum of amplitudes, and this against the neighbouring bands. None where too little comes
        again.
    """
    repeats = motif.repeats(envelopes)
    still = np.where((motif.again < _STILL).all(axis=0), rest.weight, 0.0)
    if repeats.sum(axis=(1, 2)).min() < _FEWEST or not (still > 0).any():
        return None
    everywhere = weighted_quantile(rest.swing_db, still, 0.5)
    around = _around_db(rest.swing_db, still, everywhere)
    rows: list[FloatArray] = []
    for side in range(2):
        stretch, band = np.nonzero(repeats[side])
        reference, candidate = motif.slope[side][:, stretch, band]
        floor = 0.03 * np.maximum(reference, candidate)  # 15 dB apart at most
        slopes = np.maximum(candidate, floor) / np.maximum(reference, floor)
        level_db = 10 * np.log10(slopes)
        weight = (motif.again[side, stretch, band] - _AGAIN + 0.05) * rest.weight[stretch, band]
        weights = (weight * counts[:, stretch]).T
        for anchor in (around[band], np.full(len(band), everywhere), np.zeros(len(band))):
            values = np.broadcast_to((level_db - anchor)[:, None], weights.shape)
            rows.append(weighted_medians(values, weights))
    either = repeats.any(axis=0)
    own = np.sqrt(np.maximum(np.stack([motif.slope[0, 0], motif.slope[1, 1]]), 0.0))
    powers = own * envelopes.level * either
    amplitudes = np.sqrt(powers)
    near = ndimage.gaussian_filter1d((amplitudes[0] * amplitudes[1]).sum(axis=0), 3)
    beside = weighted_quantile(rest.swing_db, still * near, 0.5)
    ratio_db = _ratio_db(powers.sum(axis=2))
    middle = weighted_medians(np.repeat(ratio_db[:, None], len(counts), axis=1), counts.T)
    total = _ratio_db(powers.sum(axis=2) @ counts.T)
    root = 2 * _ratio_db(amplitudes.sum(axis=2) @ counts.T)
    rows += [total - everywhere, middle - everywhere, root - everywhere, root - beside]
    return np.stack(rows)


def _ratio_db(powers: FloatArray) -> FloatArray:
    """Candidate over reference, along the first axis; 30 dB at most."""
    floor = 1e-3 * powers.max(axis=0) + 1e-30
    reference, candidate = np.maximum(powers, floor)
    return np.asarray(10 * np.log10(candidate / reference))


def _around_db(swing_db: FloatArray, weight: FloatArray, otherwise_db: float) -> FloatArray:
    """Median swing of each band's neighbourhood, shape (bands,)."""
    reach = 2 * _AROUND + 1
    padded = (np.pad(each, ((0, 0), (_AROUND, _AROUND))) for each in (swing_db, weight))
    values, weights = (
        np.lib.stride_tricks.sliding_window_view(each, reach, axis=1)
        .transpose(0, 2, 1)
        .reshape(-1, swing_db.shape[1])
        for each in padded
    )
    enough = (weights > 0).sum(axis=0) > 6
    return np.where(enough, weighted_medians(values, weights), otherwise_db)


def _both(looks: FloatArray) -> FloatArray:
    """Mean of what either recording foretells, shape (3, draws): timbre shifts them apart."""
    return np.asarray((looks[:3] + looks[3:6]) / 2)


def _agreed_db(looks: FloatArray) -> float:
    """The smallest of the looks, zero where they differ in sign or the anchors stand apart.

    Timbre makes either recording foretell itself better: the mean of both is right, and each of
    them may lie near zero, but not beyond.
    """
    near, all_bands, alone = _both(looks[:, None])[:, 0]
    if abs(near - all_bands) > _ANCHORS_APART_DB:
        return 0.0
    said = np.array([near, all_bands, alone, *looks[[6, 8, 9]]])
    sign = float(np.sign(said[0]))
    if (sign * looks[[0, 1, 3, 4]]).min() < 0:
        return 0.0
    return sign * max(float((sign * said).min()), 0.0)


def _sizes_db(looks: FloatArray) -> FloatArray:
    """All sizes, with those foretold by the recording in which the figure is louder."""
    both = _both(looks)[:2]
    louder = np.where(both[0] > 0, looks[3:5], looks[:2])
    return np.concatenate([both, louder, looks[6:9]])


def _size_db(looks: FloatArray) -> FloatArray:
    return np.asarray(np.median(_sizes_db(looks), axis=0))
