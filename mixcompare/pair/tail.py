"""One take under another reverberation: the candidate's tail put on the reference.

Under another tail every cell of one take scatters by a decibel or more, and single elements drown
in that. But one take is coherent: what the candidate's tail adds is a linear filter of the
reference's own past. That filter is learnt from the pair itself, frequency by frequency, by
weighted ridge regression over earlier frames (linear prediction over frames, known from
dereverberation: Nakatani et al. 2010, from memory); worn by the reference it leaves a scatter of a
few tenths, and the difference that remains is the changed element's again. The present frame takes
no part: it would swallow the element.

Conventions
-----------
From the waveforms kept in the features (mono, 12 kHz), on the reference's clock. Levels are read
coherently: the candidate's power along the reference that wears its tail, X^2 / P with
P = |Y|^2 and X = Re <C, Y>, so that what the learning missed takes no part.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft, linalg, ndimage
from scipy.linalg import blas

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import (
    ANALYSIS_RATE_HZ,
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    WAVEFORM_SCALE,
    Features,
)
from mixcompare.features.grid import LONG_WINDOW_BELOW_HZ, LOW_FFT, SEMITONE_FFT
from mixcompare.pair.match import Match
from mixcompare.pair.spectra import RATE_HZ, THIRDS_ABOVE_HZ, PairSpectra
from mixcompare.pair.undo import Ride, levelled
from mixcompare.standards.iec61260 import band_weights, hz_to_pitch, semitone_edges_hz
from mixcompare.statistics import robust_mode

FloatArray = npt.NDArray[np.float64]
Spectra = npt.NDArray[np.complex64]
Wave = npt.NDArray[np.float32]

SHORTEST_S = 8.0  # for a filter to be learnt; our judgement, not measured
_WINDOW, _HOP = 1024, 256  # 85 ms and 21 ms
_LAGS = 95  # 2.0 s; with 1.3 s more scatter is left under a long tail
_DECAY_S, _WET_DB = 2.4, 0.0  # what tails look like before anything is known of this one
_NOISE = 0.05  # of the local power: what no tail explains
_ROUNDS = 2  # cost: of weighting
_ROUNDING = 1e-4  # of the largest entry: more than single precision leaves over 95 lags
_BLOCK_S = 60.0  # cost: learnt a minute at a time
_COHERENT = 0.8  # amplitude the candidate shares with the reference; our judgement, not measured
# A rise over 43 ms that is an attack; our judgement, not measured.
_ATTACK_DB, _ATTACK_FRAMES = 6.0, 2
_ATTACK_BLOCKS = 4  # cost: of the passage's blocks, at most
_LOWEST_HZ = 80.0  # below it frames of 85 ms tell no semitones, and no filter for each, apart
_MOST_TAIL_DB = 5.0  # -1.9 to +0.4 dB in the unchanged pairs of three scores


@dataclass(frozen=True, eq=False)
class OneTail:
    """A pair whose reference wears the candidate's tail.

    Attributes
    ----------
    spectra : PairSpectra
        Semitones from 80 Hz only; cells of low coherence are silent in both.
    level_db : float
        Taken out of the candidate besides the pair's gain: that gain holds the tail's energy.
    """

    spectra: PairSpectra
    level_db: float


def under_one_tail(
    sounding: tuple[Features, Features],
    match: Match,
    spectra: PairSpectra,
    ride: Ride,
    changed: tuple[float, FloatArray] | None = None,
) -> OneTail | None:
    """Let the reference wear the candidate's tail.

    Parameters
    ----------
    sounding : tuple of Features
        Reference and candidate, one take.
    match : Match
        How they lie.
    spectra : PairSpectra
        Of the pair: whose times and bands are wanted.
    ride : Ride
        What moves the candidate's whole level, at the spectra's times.
    changed : tuple, optional
        Level and power factors of the cells, of what is known to have changed: the filter is then
        learnt from a reference with those changes, so that it does not learn them.

    Returns
    -------
    OneTail or None
        None where too little is in common.
    """
    duration_s = float(np.ptp(match.time_map.span_s))
    semitones = np.flatnonzero(spectra.centre_hz < THIRDS_ABOVE_HZ)
    if duration_s < SHORTEST_S or len(semitones) < 12 or len(spectra.times_s) < 2:
        return None
    take = _Take(sounding, match, spectra.times_s, ride)
    level_db = _direct_level_db(take) if changed is None else changed[0]
    worn = _worn(take, level_db, _factors(spectra, semitones, changed))
    cells = _read(take, worn, spectra.centre_hz[semitones], level_db)
    if spectra.judged is not None:
        judged = spectra.judged[:, semitones]
        still = np.where(judged, cells.candidate, cells.reference)
        cells = replace(cells, candidate=still, judged=judged)
    evened = levelled(cells)
    if not cells.audible.any():
        return None
    by_db = 10 * np.log10(evened.candidate.sum() / cells.candidate.sum())
    return OneTail(evened, level_db - float(by_db))


class _Take:
    """Both waveforms, read in frames at the same moments."""

    def __init__(
        self,
        sounding: tuple[Features, Features],
        match: Match,
        times_s: FloatArray,
        ride: Ride,
    ) -> None:
        self._waves = [_padded(features.waveform) for features in sounding]
        self._match, self._ride, self.times_s = match, ride, times_s
        self._polarity = 1.0
        self.grid_cents = sounding[0].grid_tuning_cents
        self.start_s, end_s = match.time_map.span_s
        self.samples = int((end_s - self.start_s) * ANALYSIS_RATE_HZ)
        frames = self.samples // _HOP + 1
        self.frames_s = self.start_s + np.arange(frames) * _HOP / ANALYSIS_RATE_HZ
        count = max(round(self.samples / ANALYSIS_RATE_HZ / _BLOCK_S), 1)
        edges = np.linspace(0, frames, count + 1).astype(int)
        self.blocks = [slice(a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]
        middle = self.blocks[count // 2]
        middle_s = self.frames_s[middle]
        both = (self.of_candidate(middle_s) * self.of_reference(middle_s).conj()).real
        self._polarity = -1.0 if both.sum() < 0 else 1.0

    def of_reference(self, times_s: FloatArray, size: int = _WINDOW) -> Spectra:
        """The reference's frames at these times."""
        return _frames(self._waves[0], times_s * ANALYSIS_RATE_HZ, size)

    def of_candidate(
        self, times_s: FloatArray, size: int = _WINDOW, level_db: float = 0.0
    ) -> Spectra:
        """The candidate's at the same musical moments: its level, rides and polarity undone."""
        places = self._match.time_map.to_candidate(times_s) * ANALYSIS_RATE_HZ
        ride_db = np.interp(times_s, self.times_s, self._ride.level_db)
        gain = self._polarity * 10 ** (-(self._match.gain_db + level_db + ride_db) / 20)
        found = _frames(self._waves[1], places, size)
        found *= gain[:, None].astype(np.float32)
        return found

    def covers(self, times_s: FloatArray) -> npt.NDArray[np.bool_]:
        """Which of these moments the candidate has at all."""
        return self._match.time_map.covers(times_s)


def _padded(waveform: npt.NDArray[np.float16]) -> Wave:
    return np.pad(waveform.astype(np.float32) / np.float32(WAVEFORM_SCALE), LOW_FFT)


def _frames(wave: Wave, centres: FloatArray, size: int) -> Spectra:
    """Spectra of windows about places between samples, which a turn of their phases reaches."""
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    whole = np.floor(centres)
    first = np.clip(whole.astype(np.int64) + LOW_FFT - size // 2, 0, len(wave) - size)
    view = np.lib.stride_tricks.sliding_window_view(wave, size)
    turn = 2j * np.pi * np.fft.rfftfreq(size)
    out = np.empty((len(centres), size // 2 + 1), np.complex64)
    for start in range(0, len(centres), 256):
        batch = slice(start, start + 256)
        between = (centres - whole)[batch, None]
        out[batch] = fft.rfft(view[first[batch]] * window, axis=1)
        if between.any():
            out[batch] *= np.exp(turn * between).astype(np.complex64)
    return out


# --- the direct level ----------------------------------------------------------------------


def _direct_level_db(take: _Take) -> float:
    """Level on which most attacks agree: a tail has not come yet when a note begins.

    One value for all frequencies: a smooth curve would swallow a changed bass. Attacks further
    from the pair's gain than a tail can lift it are a changed element's own.
    """
    step = max(len(take.blocks) // _ATTACK_BLOCKS, 1)
    values, weights = [], []
    for block in take.blocks[::step]:
        times_s = take.frames_s[block]
        before, after = (
            np.square(np.abs(frames[:, 4 : _highest_bin()]))
            for frames in (take.of_reference(times_s), take.of_candidate(times_s))
        )
        level_db = 10 * np.log10(before + 1e-12 * before.max() + 1e-30)
        rise = np.zeros(before.shape, bool)
        rise[_ATTACK_FRAMES:] = level_db[_ATTACK_FRAMES:] - level_db[:-_ATTACK_FRAMES] > _ATTACK_DB
        loud = before > np.maximum(1e-3 * np.percentile(before, 98, axis=0), 1e-6 * before.max())
        difference_db = 10 * np.log10((after + 1e-30) / (before + 1e-30))
        struck = rise & loud & (np.abs(difference_db) < _MOST_TAIL_DB)
        values.append(difference_db[struck])
        weights.append(before[struck] ** 0.15)
    found = np.concatenate(values)
    return robust_mode(found, np.concatenate(weights), 1.0) if len(found) > 1000 else 0.0


# --- the tail ------------------------------------------------------------------------------


def _highest_bin() -> int:
    return int(THIRDS_ABOVE_HZ / ANALYSIS_RATE_HZ * _WINDOW) + 1


def _factors(
    spectra: PairSpectra,
    semitones: npt.NDArray[np.int64],
    changed: tuple[float, FloatArray] | None,
) -> tuple[FloatArray, FloatArray, npt.NDArray[np.int64]] | None:
    """Amplitude factors of the cells, their times, and each bin's column."""
    if changed is None:
        return None
    frequency_hz = np.maximum(np.arange(_WINDOW // 2 + 1) * ANALYSIS_RATE_HZ / _WINDOW, 20.0)
    octaves = np.log2(spectra.centre_hz[semitones])
    column = np.interp(np.log2(frequency_hz), octaves, np.arange(len(semitones)))
    return np.sqrt(changed[1]), spectra.times_s, np.round(column).astype(np.int64)


def _worn(
    take: _Take,
    level_db: float,
    factors: tuple[FloatArray, FloatArray, npt.NDArray[np.int64]] | None,
) -> Wave:
    """The reference's waveform with the candidate's tail on it, from the span's beginning."""
    out = np.zeros(len(take.frames_s) * _HOP + _WINDOW, np.float32)
    window = np.hanning(_WINDOW + 1)[:-1].astype(np.float32)
    for block in take.blocks:
        # Every block but the first has a past.
        past = slice(max(block.start - _LAGS, 0), block.stop)
        times_s = take.frames_s[past]
        plain = take.of_reference(times_s)
        learnt_from = plain
        if factors is not None:
            by, by_s, column = factors
            learnt_from = plain * sample_frames(by, RATE_HZ, times_s - by_s[0])[:, column]
            learnt_from = learnt_from.astype(np.complex64)
        candidate = take.of_candidate(take.frames_s[block], level_db=level_db)
        told = take.covers(take.frames_s[block])
        spectra = _with_tail(plain, learnt_from, candidate, told)
        pieces = fft.irfft(spectra, _WINDOW, axis=1).astype(np.float32) * window
        begin = block.start * _HOP
        for offset in range(_WINDOW // _HOP):  # frames that do not overlap, laid end to end
            row = pieces[offset :: _WINDOW // _HOP].ravel()
            at = begin + offset * _HOP
            out[at : at + len(row)] += row
    out /= 1.5  # what squared windows at three quarters of overlap add up to
    return out[_WINDOW // 2 : _WINDOW // 2 + take.samples]


def _with_tail(
    plain: Spectra, learnt_from: Spectra, candidate: Spectra, told: npt.NDArray[np.bool_]
) -> Spectra:
    """Learn the filter of every bin where both sound, and let the plain frames wear it."""
    frames = len(candidate)
    missing = frames + _LAGS - len(plain)  # of the past, where there is none
    lagged = [
        np.ascontiguousarray(np.pad(part, ((missing, 0), (0, 0))).T)
        for part in (learnt_from, plain)
    ]
    now = learnt_from[-frames:]
    rest = np.ascontiguousarray((candidate - now).T)
    power = ndimage.uniform_filter1d(np.square(np.abs(now)), 9, axis=0)
    noise = np.ascontiguousarray((_NOISE * (power + 1e-4 * power.mean(axis=0) + 1e-20)).T)
    noise[:, ~told] *= 1e6
    out = plain[-frames:].copy()
    windows = np.lib.stride_tricks.sliding_window_view
    for index in range(2, _highest_bin()):
        past, own = (windows(part[index], frames)[:_LAGS] for part in lagged)
        out[:, index] += _learnt(past, rest[index], noise[index]) @ own
    return out


def _prior() -> npt.NDArray[np.float32]:
    """Expected energy of the filter at every lag, the longest first: a decaying tail."""
    lag_s = np.arange(_LAGS, 0, -1) * _HOP / ANALYSIS_RATE_HZ
    decay = 10 ** (-6 * lag_s / _DECAY_S)
    return np.asarray(10 ** (_WET_DB / 10) * decay / decay.sum(), np.float32)


def _learnt(past: Spectra, rest: Spectra, noise: Wave) -> Any:
    """Weighted ridge regression of what the candidate has beside the reference on its past.

    Frames that fit badly count less in the next round: there an element changed.
    """
    variance = noise
    for last in range(_ROUNDS):
        weight = 1 / np.sqrt(variance)
        weighted = past * weight
        gram = blas.cherk(1.0, weighted.T, trans=2)  # its upper half; half the work of a product
        gram[np.diag_indices(_LAGS)] += 1 / _PRIOR
        factor = _factored(gram)
        found = linalg.cho_solve(factor, weighted.conj() @ (rest * weight), check_finite=False)
        if last < _ROUNDS - 1:
            missed = np.square(np.abs(rest - found @ past))
            variance = ndimage.uniform_filter1d(missed, 5) + 0.2 * noise
    return found


def _factored(gram: Any) -> Any:
    """Cholesky factor; where single precision leaves none, of a matrix a little further from it."""
    try:
        return linalg.cho_factor(gram, lower=False, check_finite=False)
    except linalg.LinAlgError:
        diagonal = np.diag_indices(len(gram))
        gram[diagonal] += _ROUNDING * np.abs(gram[diagonal]).max()
        return linalg.cho_factor(gram, lower=False, check_finite=False)


_PRIOR = _prior()


# --- levels --------------------------------------------------------------------------------


def _read(take: _Take, worn: Wave, centre_hz: FloatArray, level_db: float) -> PairSpectra:
    """Powers of the worn reference, and the candidate's along it, in semitones."""
    rows = np.round((take.times_s - take.times_s[0]) * 2 * RATE_HZ).astype(np.int64)
    twice = int(rows[-1]) + 1
    times_s = take.times_s[0] + np.arange(twice) / (2 * RATE_HZ)
    padded = np.pad(worn, LOW_FFT)
    columns = np.round(hz_to_pitch(centre_hz)).astype(np.int64) - LOWEST_SEMITONE
    edges_hz = semitone_edges_hz(LOWEST_SEMITONE, HIGHEST_SEMITONE, take.grid_cents)
    sums = np.zeros((3, twice, len(columns)))
    for size, mine in (
        (LOW_FFT, centre_hz < LONG_WINDOW_BELOW_HZ),
        (SEMITONE_FFT, centre_hz >= LONG_WINDOW_BELOW_HZ),
    ):
        weights = band_weights(edges_hz, ANALYSIS_RATE_HZ / size, size // 2 + 1)[:, columns[mine]]
        scale = 2 / (size * np.square(np.hanning(size + 1)[:-1]).sum())
        for start in range(0, twice, 512):
            batch = slice(start, start + 512)
            places = (times_s[batch] - take.start_s) * ANALYSIS_RATE_HZ
            wearing = _frames(padded, places, size)
            candidate = take.of_candidate(times_s[batch], size, level_db)
            for which, product in enumerate(
                (
                    np.square(np.abs(wearing)),
                    np.square(np.abs(candidate)),
                    (candidate * wearing.conj()).real,
                )
            ):
                sums[which][batch, mine] = product @ weights * scale
    wearing, candidate, along = np.maximum(ndimage.uniform_filter1d(sums, 5, axis=1)[:, rows], 0.0)
    coherent = along > _COHERENT * np.sqrt(wearing * candidate)
    coherent &= centre_hz >= _LOWEST_HZ
    level = np.where(coherent, np.square(along) / np.maximum(wearing, 1e-30), 0.0)
    return PairSpectra(take.times_s, centre_hz, np.where(coherent, wearing, 0.0), level)
