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

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy import fft, linalg, ndimage
from scipy.linalg import blas

from mixcompare.features import (
    ANALYSIS_RATE_HZ,
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    Features,
)
from mixcompare.features.grid import LONG_WINDOW_BELOW_HZ, LOW_FFT, SEMITONE_FFT
from mixcompare.pair.match import Match
from mixcompare.pair.spectra import RATE_HZ, THIRDS_ABOVE_HZ, PairSpectra
from mixcompare.pair.tail_direct import Direct, direct_level
from mixcompare.pair.tail_filters import LowCut
from mixcompare.pair.tail_frames import (
    HIGHEST_BIN,
    HOP,
    WINDOW,
    Added,
    Changed,
    Spectra,
    Take,
    Wave,
    frames_about,
    taking_off,
)
from mixcompare.pair.undo import Ride, levelled
from mixcompare.standards.iec61260 import (
    THIRD_OCTAVE_CENTRES_HZ,
    band_weights,
    hz_to_pitch,
    semitone_edges_hz,
)

FloatArray = npt.NDArray[np.float64]

SHORTEST_S = 8.0  # for a filter to be learnt; our judgement, not measured
_LAGS = 95  # 2.0 s; with 1.3 s more scatter is left under a long tail
_DECAY_S, _WET_DB = 2.4, 0.0  # what tails look like before anything is known of this one
_NOISE = 0.05  # of the local power: what no tail explains
_ROUNDS = 2  # cost: of weighting
_ROUNDING = 1e-4  # of the largest entry: more than single precision leaves over 95 lags
_IN_THIRD = 10 ** (0.1 * np.linspace(-0.45, 0.45, 9))  # resolution
_COHERENT = 0.8  # amplitude the candidate shares with the reference; our judgement, not measured
LOWEST_HZ = 80.0
"""Below it frames of 85 ms tell no semitones, and no filter for each, apart."""


@dataclass(frozen=True, eq=False)
class OneTail:
    """A pair whose reference wears the candidate's tail.

    Attributes
    ----------
    spectra : PairSpectra
        Semitones from 80 Hz only; cells of low coherence are silent in both.
    level_db : float
        Taken out of the candidate besides the pair's gain: that gain holds the tail's energy.
    filter_db : ndarray, shape (31,)
        What attacks show of a filter, in third octaves; zero where there is none.
    low_cut : LowCut or None
        The one that is in it.
    attacks_db : ndarray, shape (31,)
        What attacks show in third octaves, whoever made it; NaN where too little begins.
    worn : ndarray
        The reference's waveform (mono, 12 kHz) with the candidate's tail.
    start_s : float
        Where it begins on the reference's clock.
    """

    spectra: PairSpectra
    level_db: float
    filter_db: FloatArray = field(default_factory=lambda: np.zeros(len(THIRD_OCTAVE_CENTRES_HZ)))
    low_cut: LowCut | None = None
    attacks_db: FloatArray = field(
        default_factory=lambda: np.full(len(THIRD_OCTAVE_CENTRES_HZ), np.nan)
    )
    worn: Wave = field(default_factory=lambda: np.zeros(0, np.float32))
    start_s: float = 0.0


def under_one_tail(
    sounding: tuple[Features, Features],
    match: Match,
    spectra: PairSpectra,
    ride: Ride,
    changed: tuple[float, FloatArray] | Added | None = None,
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
    changed : tuple or Added, optional
        Level and power factors of the cells, of what is known to have changed, or its sound: the
        filter is then learnt from a reference with those changes, so that it does not learn them.

    Returns
    -------
    OneTail or None
        None where too little is in common.
    """
    duration_s = float(np.ptp(match.time_map.span_s))
    semitones = np.flatnonzero(spectra.centre_hz < THIRDS_ABOVE_HZ)
    if duration_s < SHORTEST_S or len(semitones) < 12 or len(spectra.times_s) < 2:
        return None
    take = Take(sounding, match, spectra.times_s, ride)
    known = changed if isinstance(changed, Added) else _known(spectra, semitones, changed)
    direct = direct_level(take, known)
    # With the changes made its attacks tell the level anew.
    level_db = known.level_db if isinstance(known, Changed) else direct.level_db
    # What surely is a filter is taken off first: the tail would be learnt to hold it. What else
    # attacks show may be an element that is alone in its register, and stays.
    # So is its turn of phase: a quarter at the corner of a low cut of 12 dB an octave.
    beside = level_db + direct.filter_db, direct.turn
    worn = _worn(take, taking_off(*beside), known)
    cells = _read(take, worn, spectra.centre_hz[semitones], beside)
    if spectra.judged is not None:
        judged = spectra.judged[:, semitones]
        still = np.where(judged, cells.candidate, cells.reference)
        cells = replace(cells, candidate=still, judged=judged)
    evened = levelled(cells)
    if not cells.audible.any():
        return None
    by_db = 10 * np.log10(evened.candidate.sum() / cells.candidate.sum())
    return OneTail(
        evened,
        level_db - float(by_db),
        _in_thirds_db(direct),
        direct.low_cut,
        direct.thirds_db,
        worn,
        take.start_s,
    )


def _in_thirds_db(direct: Direct) -> FloatArray:
    """What a filter does to whole third octaves, which a comb's teeth lie within."""
    hz = THIRD_OCTAVE_CENTRES_HZ[:, None] * _IN_THIRD
    return np.asarray(10 * np.log10((10 ** (direct.filter_at_db(hz) / 10)).mean(axis=1)))


# --- the tail ------------------------------------------------------------------------------


def _known(
    spectra: PairSpectra,
    semitones: npt.NDArray[np.int64],
    changed: tuple[float, FloatArray] | None,
) -> Changed | None:
    """What is known to have changed, for every bin of a frame."""
    if changed is None:
        return None
    frequency_hz = np.maximum(np.arange(WINDOW // 2 + 1) * ANALYSIS_RATE_HZ / WINDOW, 20.0)
    octaves = np.log2(spectra.centre_hz[semitones])
    column = np.interp(np.log2(frequency_hz), octaves, np.arange(len(semitones)))
    level_db, factors = changed
    return Changed(level_db, np.sqrt(factors), spectra.times_s, np.round(column).astype(np.int64))


def _worn(take: Take, factor: Spectra, changed: Changed | Added | None) -> Wave:
    """The reference's waveform with the candidate's tail on it, from the span's beginning."""
    out = np.zeros(len(take.frames_s) * HOP + WINDOW, np.float32)
    window = np.hanning(WINDOW + 1)[:-1].astype(np.float32)
    for block in take.blocks:
        # Every block but the first has a past.
        past = slice(max(block.start - _LAGS, 0), block.stop)
        times_s = take.frames_s[past]
        plain = take.of_reference(times_s)
        learnt_from = changed.made(plain, times_s) if changed else plain
        candidate = take.of_candidate(take.frames_s[block])
        candidate *= factor
        told = take.covers(take.frames_s[block])
        spectra = _with_tail(plain, learnt_from, candidate, told)
        pieces = fft.irfft(spectra, WINDOW, axis=1).astype(np.float32) * window
        begin = block.start * HOP
        for offset in range(WINDOW // HOP):  # frames that do not overlap, laid end to end
            row = pieces[offset :: WINDOW // HOP].ravel()
            at = begin + offset * HOP
            out[at : at + len(row)] += row
    out /= 1.5  # what squared windows at three quarters of overlap add up to
    return out[WINDOW // 2 : WINDOW // 2 + take.samples]


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
    for index in range(2, HIGHEST_BIN):
        past, own = (windows(part[index], frames)[:_LAGS] for part in lagged)
        out[:, index] += _learnt(past, rest[index], noise[index]) @ own
    return out


def _prior() -> npt.NDArray[np.float32]:
    """Expected energy of the filter at every lag, the longest first: a decaying tail."""
    lag_s = np.arange(_LAGS, 0, -1) * HOP / ANALYSIS_RATE_HZ
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


def _read(
    take: Take, worn: Wave, centre_hz: FloatArray, beside: tuple[FloatArray, FloatArray]
) -> PairSpectra:
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
        finer = np.linspace(0, WINDOW // 2, size // 2 + 1)
        factor = taking_off(*(np.interp(finer, np.arange(WINDOW // 2 + 1), one) for one in beside))
        for start in range(0, twice, 512):
            batch = slice(start, start + 512)
            places = (times_s[batch] - take.start_s) * ANALYSIS_RATE_HZ
            wearing = frames_about(padded, places, size)
            candidate = take.of_candidate(times_s[batch], size) * factor
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
    coherent &= centre_hz >= LOWEST_HZ
    level = np.where(coherent, np.square(along) / np.maximum(wearing, 1e-30), 0.0)
    return PairSpectra(take.times_s, centre_hz, np.where(coherent, wearing, 0.0), level)
