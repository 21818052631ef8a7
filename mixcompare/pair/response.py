"""One take in two mixes: how the candidate answers to the reference, by delay.

Two mixes of one take are coherent, so whatever was added to one of them that hangs on - a hall, a
reverb, an echo - stands in the response from one to the other: cross-spectra over the reference's
auto-spectra (Bendat and Piersol, Random Data, from memory), of mid and side together, in long
segments. What arrives together with the music is the direct part; it is taken off before anything
behind it is read, else the gaps of the music's own spectrum would smear it over all delays.

Conventions
-----------
Delays are seconds of the candidate behind the reference. Energies are shares of the direct part's
in the same register. What changes a level - a section, a compressor, noise, a codec - answers as
much before the sound as behind it; a room only behind. So what is read before the sound is the
``floor`` of what is read behind it.
"""

from __future__ import annotations

import functools
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np
import numpy.typing as npt
from scipy import fft, signal
from scipy.ndimage import uniform_filter1d

from mixcompare.features import ANALYSIS_RATE_HZ, WAVEFORM_SCALE, Features
from mixcompare.pair.match import Match
from mixcompare.standards.iec61260 import THIRD_OCTAVE_EDGES_HZ

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]
ComplexArray = npt.NDArray[np.complexfloating]
_Array = TypeVar("_Array", FloatArray, ComplexArray)

TAIL_REGISTERS_HZ = (70.8, 281.8, 891.3, 2818.4, 5500.0)
"""Edges of the registers in which a response is read: the room's four, as far as 12 kHz carry."""

STEP_S = 0.0025
"""Width of the delays' bins."""

_SEGMENT = 6 * ANALYSIS_RATE_HZ
_HOP = _SEGMENT // 4
_BINS = round(_SEGMENT / ANALYSIS_RATE_HZ / STEP_S)
_FREQUENCY_HZ = np.arange(_SEGMENT // 2 + 1) * ANALYSIS_RATE_HZ / _SEGMENT
_TAPER = np.hanning(_SEGMENT)
_SINGLE_TAPER = _TAPER.astype(np.float32)  # far below what the waveforms are kept with
_MOST_SEGMENTS = 400  # ten minutes
_BLOCKS, _FEWEST = 12, 6  # cost: blocks of the jackknife, and fewest segments
_STRAIGHT_S = 2e-4  # a segment over which the map bends by more holds an edit
_DIRECT_HZ = 100.0  # smoother than this over frequency: what arrives within 2 ms
# Width over which power is smoothed, and what is added to it there and everywhere where the
# reference has next to nothing. Our judgement, not measured.
_NOTCH_HZ, _NOTCH, _LEAST = 150.0, 1e-2, 1e-5
_SPARE = 1e-6  # where there is no side at all


@dataclass(frozen=True)
class CrossSpectra:
    """Auto- and cross-spectra of both recordings' mid and side, summed over blocks of segments.

    Attributes
    ----------
    reference, candidate : ndarray, shape (blocks, 2, 2, bins), complex
        Auto-spectra: of mid, of side, and what they share.
    cross : ndarray, shape (blocks, 2, 2, bins), complex
        The candidate's mid and side (rows) against the reference's (columns).
    """

    reference: ComplexArray
    candidate: ComplexArray
    cross: ComplexArray

    @property
    def blocks(self) -> int:
        """How many blocks of time there are."""
        return len(self.cross)

    def mirrored(self) -> CrossSpectra:
        """The same with the roles exchanged."""
        return CrossSpectra(self.candidate, self.reference, self.cross.swapaxes(1, 2).conj())

    def without(self, block: int) -> Response:
        """Response of the candidate to the reference with one block of time left out."""
        return _response(*(each.sum(axis=0) - each[block] for each in (self.reference, self.cross)))

    @cached_property
    def response(self) -> Response:
        """Response of the candidate to the reference."""
        return _response(self.reference.sum(axis=0), self.cross.sum(axis=0))


@dataclass(frozen=True)
class Response:
    """Energy by delay.

    Attributes
    ----------
    energy, floor : ndarray, shape (4, 1200)
        Of each register, both channels, at delays from 0 to 3 s and as far before the sound.
    in_mid, floor_in_mid : ndarray, shape (4, 1200)
        The part of them that answers in the mid.
    direct : ndarray, shape (31, 2)
        Power gain of the reference's mid and side on their direct way, in third octaves; the
        nearest known one at either end.
    """

    energy: FloatArray
    floor: FloatArray
    in_mid: FloatArray
    floor_in_mid: FloatArray
    direct: FloatArray


def cross_spectra(
    reference: Features, candidate: Features, match: Match, gain_db: FloatArray | None = None
) -> CrossSpectra | None:
    """Sum up the spectra of what both recordings have in common.

    Parameters
    ----------
    reference, candidate : Features
        Of one take; their 12 kHz waveforms are read.
    match : Match
        How they lie.
    gain_db : ndarray, shape (n, 2), optional
        Reference times and level of the whole at them: half is taken off the candidate, half put on
        the reference, so that neither is preferred.

    Returns
    -------
    CrossSpectra or None
        None for less than some 9 s in common, or silence.
    """
    start_s, end_s = match.time_map.span_s
    half = _SEGMENT // 2
    first, behind = (round(time_s * ANALYSIS_RATE_HZ) - half for time_s in (start_s, end_s))
    starts = np.arange(first, behind, _HOP)
    if len(starts) > _MOST_SEGMENTS:
        starts = starts[np.linspace(0, len(starts) - 1, _MOST_SEGMENTS).round().astype(int)]
    chosen = [start for start in starts.tolist() if _is_straight(match, start)]
    if len(chosen) < _FEWEST:
        return None
    blocks = min(_BLOCKS, len(chosen))
    block = np.arange(len(chosen)) * blocks // len(chosen)
    shape = (blocks, 2, 2, len(_FREQUENCY_HZ))
    sums = CrossSpectra(*(np.zeros(shape, np.complex64) for _ in range(3)))
    for index, start in zip(block, chosen, strict=True):
        raised = _factor(start + np.arange(float(_SEGMENT)), gain_db, 0.5)
        ours = fft.rfft(_cut(reference, start, _SEGMENT) * _SINGLE_TAPER * raised)
        theirs = _matched_spectrum(candidate, match, start, gain_db)
        for into, one, other in (
            (sums.reference, ours, ours),
            (sums.candidate, theirs, theirs),
            (sums.cross, theirs, ours),
        ):
            into[index] += one[:, None] * other.conj()
    silent = any(not each.any() for each in (sums.reference, sums.candidate))
    return None if silent else sums


def _is_straight(match: Match, start: int) -> bool:
    times_s = (start + np.array([0, _SEGMENT / 2, _SEGMENT])) / ANALYSIS_RATE_HZ
    times_s = np.clip(times_s, *match.time_map.span_s)
    first, middle, last = match.time_map.to_candidate(times_s)
    share = (times_s[1] - times_s[0]) / max(times_s[2] - times_s[0], 1e-9)
    return bool(abs(middle - first - share * (last - first)) < _STRAIGHT_S)


def _cut(features: Features, first: int, count: int) -> Float32Array:
    """So many samples of mid and side from a place on, (2, count); silence where there are none."""
    out = np.zeros((2, count), np.float32)
    before = min(max(-first, 0), count)
    for row, whole in zip(out, (features.waveform, features.side_waveform), strict=True):
        part = whole[max(first, 0) : max(first + count, 0)]
        row[before : before + len(part)] = part
    out /= WAVEFORM_SCALE
    return out


def _factor(place: FloatArray, gain_db: FloatArray | None, share: float) -> Float32Array:
    """What a share of a course of level comes to at places of the reference, in samples."""
    if gain_db is None:
        return np.ones(1, np.float32)
    at_s = place / ANALYSIS_RATE_HZ
    gain = 10 ** (share * np.interp(at_s, gain_db[:, 0], gain_db[:, 1]) / 20)
    return np.asarray(gain, np.float32)


def _matched_spectrum(
    candidate: Features, match: Match, start: int, gain_db: FloatArray | None
) -> ComplexArray:
    """Spectrum of the candidate's part that lies beside a segment, on the reference's clock.

    Where its clock runs at another speed, its spectrum is read at as many other frequencies
    (chirp z-transform): that is resampling without a filter.
    """
    times_s = (start + np.array([0, _SEGMENT])) / ANALYSIS_RATE_HZ
    edges = match.time_map.to_candidate(times_s) * ANALYSIS_RATE_HZ
    speed = float(np.ptp(edges)) / _SEGMENT
    first = int(np.floor(edges[0]))
    if abs(speed - 1) * _SEGMENT < 0.02:
        first, speed = round(float(edges[0])), 1.0
    late = float(edges[0]) - first
    count = int(np.ceil(_SEGMENT * speed)) + (speed != 1.0)
    part = _cut(candidate, first, count)
    place = np.asarray((np.arange(count) - (late if speed != 1.0 else 0.0)) / speed)
    part = part * _factor(start + place, gain_db, -0.5)
    bins = np.arange(len(_FREQUENCY_HZ))
    if speed == 1.0:
        spectrum = fft.rfft(part * _SINGLE_TAPER)
    else:
        part = part * np.interp(place, np.arange(_SEGMENT), _TAPER, left=0.0, right=0.0)
        spectrum = _read_at_speed(count, round(speed, 12))(part)
    phase = (2 * np.pi * late / (speed * _SEGMENT) * bins).astype(np.float32)
    return np.asarray(spectrum * (np.cos(phase) + 1j * np.sin(phase)), np.complex64)


@functools.lru_cache(maxsize=4)
def _read_at_speed(count: int, speed: float) -> signal.CZT:
    """Spectrum of so many samples, which a clock of another speed made of one segment."""
    turn = np.exp(-2j * np.pi / (speed * _SEGMENT))
    return signal.CZT(count, len(_FREQUENCY_HZ), turn)


def _response(auto: ComplexArray, cross: ComplexArray) -> Response:
    # Between the partials the reference has next to nothing to divide by.
    power = np.array([auto[0, 0].real, auto[1, 1].real], np.float64)
    broad = _smooth(power, _NOTCH_HZ)
    spare = _NOTCH * broad.sum(axis=0) + _LEAST * power.sum(axis=0).mean()
    unit = np.eye(2)[:, :, None]
    inverse = _inverse(auto + spare * unit)
    known, ratio = _product(auto, inverse), _product(cross, inverse)
    direct = _product(
        _smooth(ratio, _DIRECT_HZ), _inverse(_smooth(known, _DIRECT_HZ) + _SPARE * unit)
    )
    behind = _product(cross - _product(direct, auto), inverse)
    together = _product(direct, known)
    # Each way and frequency counts by the power that this music sends along it.
    sent = np.sqrt(broad)
    energies = []
    for low_hz, high_hz in zip(TAIL_REGISTERS_HZ[:-1], TAIL_REGISTERS_HZ[1:], strict=True):
        inside = _between(low_hz, high_hz)
        energies.append(
            _by_delay(*(each[..., inside] * sent[:, inside] for each in (behind, together)))
        )
    (in_mid, floor_in_mid), (energy, floor) = np.array(energies).transpose(1, 2, 0, 3)
    return Response(
        energy, floor, in_mid, floor_in_mid, _in_third_octaves(_power(direct).sum(axis=0), power)
    )


def _product(one: ComplexArray, other: ComplexArray) -> ComplexArray:
    """Product of many matrices of two rows, which lie along the last axis."""
    return np.asarray(one[:, :1] * other[:1] + one[:, 1:] * other[1:])


def _inverse(matrix: ComplexArray) -> ComplexArray:
    """Inverse of many matrices of two rows."""
    (a, b), (c, d) = matrix
    return np.asarray(np.array([[d, -b], [-c, a]]) / (a * d - b * c))


def _power(values: ComplexArray) -> FloatArray:
    return np.asarray(np.square(values.real) + np.square(values.imag), np.float64)


def _between(low_hz: float, high_hz: float) -> slice:
    first, behind = np.searchsorted(_FREQUENCY_HZ, (low_hz, high_hz))
    return slice(int(first), max(int(behind), int(first) + 1))


def _smooth(values: _Array, width_hz: float) -> _Array:
    """Nearly a Gaussian of that standard deviation over frequency."""
    bins = round(2 * width_hz * _SEGMENT / ANALYSIS_RATE_HZ) | 1
    for _ in range(3):
        values = uniform_filter1d(values, bins, mode="nearest")
    return values


def _by_delay(behind: ComplexArray, direct: ComplexArray) -> FloatArray:
    """Energy of a register against its direct part: behind the sound, and before it.

    Of the mid, and of mid and side, shape (2, 2, delays).
    """
    fine = -(-behind.shape[-1] // _BINS)
    count = _BINS * fine
    energy = np.cumsum(_power(fft.ifft(behind, count)).sum(axis=1), axis=0) * count
    energy /= max(float(_power(direct).sum()), 1e-30)
    by_bin = energy.reshape(2, _BINS, fine).sum(axis=2)
    half = _BINS // 2
    return np.stack([by_bin[:, :half], by_bin[:, ::-1][:, :half]], axis=1) / _overlap()


@functools.cache
def _overlap() -> FloatArray:
    """Share of the energy at a delay that two tapers of one segment leave."""
    whole = np.fft.irfft(np.abs(np.fft.rfft(_TAPER, 2 * _SEGMENT)) ** 2)
    middles = (np.arange(_BINS // 2) + 0.5) * _SEGMENT / _BINS
    return np.asarray((whole[middles.astype(int)] / whole[0]) ** 2)


def _in_third_octaves(gain: FloatArray, power: FloatArray) -> FloatArray:
    low, high = TAIL_REGISTERS_HZ[0] / 2, TAIL_REGISTERS_HZ[-1]
    out = []
    edges = THIRD_OCTAVE_EDGES_HZ.clip(low, high)
    for first, last in zip(edges[:-1], edges[1:], strict=True):
        narrow = min(first, 0.8 * high)  # above and below what is known: the nearest band
        inside = _between(narrow, max(last, 1.25 * narrow))
        sent = power[:, inside]
        out.append((gain[:, inside] * sent).sum(axis=1) / np.maximum(sent.sum(axis=1), 1e-30))
    return np.array(out)
