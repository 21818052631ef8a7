"""The pair as two aligned spectrograms on one clock: the ground on which elements are found."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import (
    BAND_RATE_HZ,
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    SEMITONE_RATE_HZ,
    Features,
    common_bands,
)
from mixcompare.pair.match import Match
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ, pitch_hz

FloatArray = npt.NDArray[np.float64]
_Value = TypeVar("_Value")

RATE_HZ = 20.0  # resolution: the elements' clock
THIRDS_ABOVE_HZ = 5600.0  # the semitones end below; further up the columns are third octaves
_LOWEST_HZ = 40.0  # just under E1, the double bass's lowest string
_AUDIBLE_DB = 50.0  # below its loudest moments a cell is not heard; our judgement, not measured
_EDGE_S = 0.2  # frames nearer to an end reach over it, where one of a take may go on


@dataclass(frozen=True)
class PairSpectra:
    """Both recordings' band powers at the same musical moments.

    Attributes
    ----------
    times_s : ndarray, shape (n,)
        Reference clock.
    centre_hz : ndarray, shape (bands,)
        Semitones up to 5 kHz, third octaves above.
    reference, candidate : ndarray, shape (n, bands)
        Powers; the candidate's with the pair's gain taken out.
    judged : ndarray of bool, shape (n, bands), or None
        Cells whose difference says something; None: all.
    """

    times_s: FloatArray
    centre_hz: FloatArray
    reference: FloatArray
    candidate: FloatArray
    judged: npt.NDArray[np.bool_] | None = None

    @cached_property
    def difference_db(self) -> FloatArray:
        """Level difference of every cell, shape (n, bands)."""
        return np.asarray(
            10 * np.log10((self.candidate + self.floor) / (self.reference + self.floor))
        )

    @cached_property
    def floor(self) -> float:
        """Power that is added to every cell before levels are taken: 90 dB under the loudest."""
        return max(1e-9 * float(max(self.reference.max(), self.candidate.max())), 1e-30)

    def in_third_octaves(self, power: FloatArray) -> FloatArray:
        """Power of cells as power in third octaves, shape (..., bands) to (..., 31)."""
        into = np.zeros((len(self.centre_hz), len(THIRD_OCTAVE_CENTRES_HZ)))
        into[np.arange(len(into)), self._third_octave] = 1.0
        return power @ into

    @property
    def third_octaves(self) -> npt.NDArray[np.bool_]:
        """Third octaves in which cells lie, shape (31,)."""
        return np.isin(np.arange(len(THIRD_OCTAVE_CENTRES_HZ)), self._third_octave)

    @property
    def _third_octave(self) -> npt.NDArray[np.intp]:
        return np.searchsorted(THIRD_OCTAVE_EDGES_HZ, self.centre_hz, side="right") - 1

    @cached_property
    def audible(self) -> npt.NDArray[np.bool_]:
        """Cells that are judged and in which either recording sounds.

        A recording sounds near its band's and its moment's loudest.
        """
        louder = np.maximum(self.reference, self.candidate)
        band = np.percentile(louder, 98, axis=0, keepdims=True)
        moment = louder.max(axis=1, keepdims=True)
        limit = 10 ** (-_AUDIBLE_DB / 10)
        heard: npt.NDArray[np.bool_] = (
            (louder > 1e-3 * band) & (louder > limit * moment) & (louder > 1e-7 * louder.max())
        )
        return heard if self.judged is None else heard & self.judged

    def kept(self, key: object, compute: Callable[[PairSpectra], _Value]) -> _Value:
        """What was computed from these cells under a key, computed now if it was not."""
        store: dict[object, _Value] = self.__dict__.setdefault("_kept", {})
        if key not in store:
            store[key] = compute(self)
        return store[key]

    def raised(self, by_db: float) -> PairSpectra:
        """The same cells with the candidate louder throughout."""
        return replace(self, candidate=self.candidate * 10 ** (by_db / 10))

    def over_moments(self, frames: int) -> PairSpectra:
        """The same cells, each the mean of so many moments around."""
        reference, candidate = (
            ndimage.uniform_filter1d(power, frames, axis=0)
            for power in (self.reference, self.candidate)
        )
        return replace(self, reference=reference, candidate=candidate)

    def mirrored(self) -> PairSpectra:
        """The same cells with the roles exchanged."""
        return replace(self, reference=self.candidate, candidate=self.reference)


def pair_spectra(reference: Features, candidate: Features, match: Match) -> PairSpectra:
    """Lay both spectrograms over each other.

    A transposed candidate is read at its own pitches, so that the same written notes meet.
    """
    times = _times_s(match)
    pitches, upper, shift = _columns(reference, candidate, match)
    of_reference, of_candidate = _read(
        (reference.semitone_power, candidate.semitone_power), SEMITONE_RATE_HZ, times, match
    )
    a_upper, b_upper = _read(
        (
            reference.band_power.sum(axis=2)[:, upper],
            candidate.band_power.sum(axis=2)[:, upper],
        ),
        BAND_RATE_HZ,
        times,
        match,
    )
    gain = 10 ** (-match.gain_db / 10)
    centre_hz = pitch_hz(pitches + LOWEST_SEMITONE)
    return PairSpectra(
        times_s=times,
        centre_hz=np.concatenate([centre_hz, THIRD_OCTAVE_CENTRES_HZ[upper]]),
        reference=np.concatenate([of_reference[:, pitches], a_upper], axis=1),
        candidate=gain * np.concatenate([of_candidate[:, pitches + shift], b_upper], axis=1),
    )


def images(reference: Features, candidate: Features, match: Match) -> tuple[FloatArray, FloatArray]:
    """Image of both recordings' cells of :func:`pair_spectra`.

    Returns
    -------
    reference, candidate : ndarray, shape (n, bands, 3)
        Right less left, and twice the cross power's real and imaginary part, as powers of the
        recording itself: the pair's gain is not taken out.
    """
    times = _times_s(match)
    pitches, upper, shift = _columns(reference, candidate, match)
    lower = _read(
        (reference.semitone_image, candidate.semitone_image), SEMITONE_RATE_HZ, times, match
    )
    above = _read(
        (_upper_image(reference, upper), _upper_image(candidate, upper)),
        BAND_RATE_HZ,
        times,
        match,
    )
    return (
        np.concatenate([lower[0][:, pitches], above[0]], axis=1),
        np.concatenate([lower[1][:, pitches + shift], above[1]], axis=1),
    )


def _upper_image(features: Features, bands: npt.NDArray[np.int64]) -> npt.NDArray[np.float32]:
    power = features.band_power[:, bands]
    cross = 2 * features.band_cross[:, bands]
    return np.stack([power[..., 1] - power[..., 0], cross.real, cross.imag], axis=2)


def _times_s(match: Match) -> FloatArray:
    times = match.grid_s(RATE_HZ)
    if match.same_take:
        start, end = match.time_map.span_s
        whole = times[(times >= start + _EDGE_S) & (times <= end - _EDGE_S)]
        times = whole if len(whole) else times
    return times


def _columns(
    reference: Features, candidate: Features, match: Match
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64], int]:
    """Columns of semitones and of third octaves above them; the candidate's semitones' shift."""
    usable = common_bands(reference, candidate)
    edges = THIRD_OCTAVE_EDGES_HZ
    low = max(_LOWEST_HZ, float(edges[:-1][usable].min(initial=20_000)))
    high = float(edges[1:][usable].max(initial=0))
    shift = _grid_shift(reference, candidate, match)
    pitches = np.arange(LOWEST_SEMITONE, HIGHEST_SEMITONE + 1)
    inside = (pitch_hz(pitches) >= low) & (pitch_hz(pitches) <= min(high, 5_500))
    inside &= (pitches + shift >= LOWEST_SEMITONE) & (pitches + shift <= HIGHEST_SEMITONE)
    upper = np.flatnonzero(usable & (THIRD_OCTAVE_CENTRES_HZ > THIRDS_ABOVE_HZ))
    return np.flatnonzero(inside), upper, shift


def _read(
    powers: tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]],
    rate_hz: float,
    times_s: FloatArray,
    match: Match,
) -> tuple[FloatArray, FloatArray]:
    """Both recordings' frames at the same moments."""
    first, second = (
        _read_at(power, rate_hz, places_s)
        for power, places_s in zip(powers, _moments(times_s, rate_hz, match), strict=True)
    )
    return first, second


def _moments(times_s: FloatArray, rate_hz: float, match: Match) -> tuple[FloatArray, FloatArray]:
    """The moments on either clock.

    Interpolation blurs by how far from a frame it reads. In one take the moments are moved a
    little, so that they lie as far before a frame of one recording as after one of the other:
    read unevenly, every attack of the same sound would differ.
    """
    if match.same_take:
        frames = (match.time_map.to_candidate(times_s) - times_s) * rate_hz
        times_s = times_s - (frames - np.round(frames)) / 2 / rate_hz
    return times_s, match.time_map.to_candidate(times_s)


def _read_at(frames: npt.NDArray[np.float32], rate_hz: float, places_s: FloatArray) -> FloatArray:
    return sample_frames(_smooth(frames, 0.3 * rate_hz / RATE_HZ), rate_hz, places_s)


def _grid_shift(reference: Features, candidate: Features, match: Match) -> int:
    """Semitone columns by which the candidate's grid lies higher."""
    total = 100 * match.transposition_semitones + match.tuning_cents
    grids = candidate.grid_tuning_cents - reference.grid_tuning_cents
    return round((total - grids) / 100)


def _smooth(power: npt.NDArray[np.float32], width: float) -> npt.NDArray[np.float32]:
    return np.asarray(ndimage.gaussian_filter1d(power, width, axis=0, mode="nearest"), np.float32)
