"""Noise that one recording of a take has, given to the other: nothing is then judged by it.

Conventions
-----------
As in :mod:`mixcompare.pair.noise`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.features import (
    BAND_RATE_HZ,
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    SEMITONE_RATE_HZ,
    Features,
)
from mixcompare.features.grid import (
    HIGHEST_ONSET,
    LOW_FFT,
    LOWEST_ONSET,
    ONSET_FFT,
    ONSET_RATE_HZ,
    SEMITONE_FFT,
)
from mixcompare.pair.clean_and_noisy import Ordered
from mixcompare.pair.hiss import Hiss
from mixcompare.pair.hum import Hum, reached
from mixcompare.pair.match import Match
from mixcompare.pair.noise import Noise
from mixcompare.pair.spectra import THIRDS_ABOVE_HZ, PairSpectra
from mixcompare.pair.steady_power import steady_noise
from mixcompare.pair.thirds import BANDS
from mixcompare.standards import bs1770
from mixcompare.standards.iec61260 import (
    THIRD_OCTAVE_CENTRES_HZ,
    THIRD_OCTAVE_EDGES_HZ,
    semitone_edges_hz,
)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_K_RATE_HZ = 100.0  # steps of the K-weighted power
_CLEAR_DB = 10.0
"""So far over the noise a cell is judged: noise widened by 6 dB moves it by 0.6 dB there."""
_BEATS_DB, _BEATS_SEMITONES = 10.0, 2.0
"""So much further over a line: it does not add its power, it beats with what lies beside it (by
0.9 dB at most at 20 dB, by 2 to 4 dB at 10 dB)."""
_GRIDS = {
    "semitone": (LOWEST_SEMITONE, HIGHEST_SEMITONE, SEMITONE_RATE_HZ, SEMITONE_FFT),
    "onset": (LOWEST_ONSET, HIGHEST_ONSET, ONSET_RATE_HZ, ONSET_FFT),
}


def shared(
    reference: Features, candidate: Features, match: Match, noise: Noise
) -> tuple[Features, Features]:
    """Both recordings with the noise of the other given to each.

    Returns
    -------
    reference, candidate : Features
    """
    forth = [one for one in noise if one.in_candidate]
    back = [one for one in noise if not one.in_candidate]
    noisier = reference, candidate
    if forth:
        noisier = _given(Ordered(reference, candidate, match, True), forth), noisier[1]
    if back:
        ordered = Ordered(candidate, reference, match.mirrored(), False)
        noisier = noisier[0], _given(ordered, back)
    return noisier


def ruled_by(spectra: PairSpectra, of_reference: FloatArray, of_candidate: FloatArray) -> BoolArray:
    """Cells in which the noise is so loud that its own scatter, or what was done to it, decides.

    Parameters
    ----------
    spectra : PairSpectra
        Of recordings that share the noise.
    of_reference, of_candidate : ndarray, shape (bands,)
        How much each was given; zero where it was none.
    """
    limit = 10 ** (_CLEAR_DB / 10)
    return np.asarray(
        (spectra.reference < limit * of_reference) | (spectra.candidate < limit * of_candidate)
    )


def hidden_by(
    noise: Noise, of_reference: FloatArray, of_candidate: FloatArray, gain_db: float
) -> BoolArray:
    """Third octaves that lie so near hiss in either recording that it decides what they differ by.

    Hiss does not end where the music begins to hide it: below the bands in which it shows it is
    taken to be as dense.

    Parameters
    ----------
    noise : tuple of Hiss or Hum
        What one of them had and the other had not; it was given to both.
    of_reference, of_candidate : ndarray, shape (n, 31)
        Power of both channels.
    gain_db : float
        Of the candidate's whole against the reference's.
    """
    gain = 10 ** (gain_db / 10)
    quieter = np.minimum(of_reference * gain, of_candidate)  # at the candidate's level
    hidden = np.zeros(of_reference.shape, bool)
    widths_hz = np.diff(THIRD_OCTAVE_EDGES_HZ)
    for one in noise:
        if isinstance(one, Hiss):
            lowest = int(np.argmax(one.bands))
            below = np.arange(BANDS) < lowest
            dense = np.where(below, one.power[lowest] / widths_hz[lowest] * widths_hz, 0.0)
            limit = 10 ** (_CLEAR_DB / 10) * np.maximum(one.power, dense)
            hidden |= quieter < limit * (1.0 if one.in_candidate else gain)
    return hidden


def given_to(spectra: PairSpectra, noisier: PairSpectra, noise: Noise) -> FloatArray:
    """How much noise is reckoned with in every band of the reference: given, or hidden by music.

    Parameters
    ----------
    spectra, noisier : PairSpectra
        Before and after.
    noise : tuple of Hiss or Hum
        What was given.

    Returns
    -------
    ndarray, shape (bands,)
    """
    given = np.maximum((noisier.reference - spectra.reference).mean(axis=0), 0.0)
    lines_hz = np.concatenate([np.zeros(0), *(o.lines_hz for o in noise if isinstance(o, Hum))])
    near = np.abs(12 * np.log2(spectra.centre_hz[:, None] / lines_hz)) < _BEATS_SEMITONES
    given = np.where(near.any(axis=1), 10 ** (_BEATS_DB / 10) * given, given)
    if not any(isinstance(one, Hiss) for one in noise):
        return np.asarray(given)
    # Hiss does not end where the music begins to hide it. Further down it is taken to be as dense,
    # but never more than there is: its cells are left out, it is not given to anybody.
    thirds = spectra.centre_hz > THIRDS_ABOVE_HZ  # four semitones each
    density = given / (spectra.centre_hz * np.where(thirds, 4.0, 1.0))
    first = int(np.argmax(density > 0.1 * np.median(density[density > 0])))
    floor = np.percentile(spectra.candidate[:, :first], 2, axis=0)
    given[:first] = np.maximum(
        given[:first], np.minimum(density[first] * spectra.centre_hz[:first], floor)
    )
    return np.asarray(given)


def _given(pair: Ordered, noise: list[Hiss | Hum]) -> Features:
    """The clean recording with the other's noise added, as it would be at its own level."""
    clean = pair.clean
    hiss = sum((one.power for one in noise if isinstance(one, Hiss)), np.zeros(BANDS))
    lines = [one.lines_hz for one in noise if isinstance(one, Hum)]
    lines_hz = np.concatenate(lines) if lines else np.zeros(0)
    thirds_reached = (hiss > 0) | reached(THIRD_OCTAVE_EDGES_HZ, lines_hz, LOW_FFT)
    by_channel, cross = _of_thirds(pair, thirds_reached)
    total = by_channel.sum(axis=1) + 1e-30
    image = np.column_stack([by_channel[:, 1] - by_channel[:, 0], 2 * cross, 0 * cross])
    across = image / total[:, None]
    density = np.where(hiss > 0, total, 0.0) / np.diff(THIRD_OCTAVE_EDGES_HZ)
    semitone, thirds = _columns(pair, "semitone", density, lines_hz)

    def with_added(
        power: npt.NDArray[Any], rate_hz: float, added: npt.NDArray[Any]
    ) -> npt.NDArray[Any]:
        """At its own level, which the noise would have kept while the music was ridden."""
        of_moments = 1 / pair.ridden_at(np.arange(len(power)) / rate_hz)
        given = np.multiply.outer(of_moments, added).astype(power.real.dtype)
        return np.asarray(power + given)

    return replace(
        clean,
        band_power=with_added(clean.band_power, BAND_RATE_HZ, by_channel),
        band_cross=with_added(clean.band_cross, BAND_RATE_HZ, cross),
        semitone_power=with_added(clean.semitone_power, SEMITONE_RATE_HZ, semitone),
        semitone_image=with_added(
            clean.semitone_image, SEMITONE_RATE_HZ, semitone[:, None] * across[thirds]
        ),
        onset_power=with_added(
            clean.onset_power, ONSET_RATE_HZ, _columns(pair, "onset", density, lines_hz)[0]
        ),
        k_power=with_added(
            clean.k_power, _K_RATE_HZ, _k_weighted(by_channel, clean.k_power.shape[1])
        ),
    )


def _of_thirds(pair: Ordered, reached: BoolArray) -> tuple[FloatArray, FloatArray]:
    """Noise of left and right in third octaves, (31, 2), and what they share, (31,)."""
    found = steady_noise(*pair.powers("band_power", BAND_RATE_HZ))
    by_channel = np.where(reached.repeat(2), found.noise / found.gain, 0.0).reshape(BANDS, 2)
    clean, noisy = pair.powers("band_cross", BAND_RATE_HZ)
    gain = found.gain.reshape(BANDS, 2).mean(axis=1)
    over = np.median(noisy - gain * clean, axis=0) / gain
    most = np.sqrt(by_channel.prod(axis=1))
    return by_channel, np.where(reached, np.clip(over, -most, most), 0.0)


def _columns(
    pair: Ordered, grid: str, density: FloatArray, lines_hz: FloatArray
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.intp]]:
    """What noise of a density and lines add to every semitone of a grid, and its third octave."""
    lowest, highest, rate_hz, size = _GRIDS[grid]
    edges_hz = semitone_edges_hz(lowest, highest, pair.clean.grid_tuning_cents)
    thirds = np.searchsorted(THIRD_OCTAVE_EDGES_HZ, np.sqrt(edges_hz[1:] * edges_hz[:-1])) - 1
    added = density[thirds] * np.diff(edges_hz)
    in_reach = reached(edges_hz, lines_hz, size)
    if in_reach.any():
        found = steady_noise(*pair.powers(f"{grid}_power", rate_hz))
        added += np.where(in_reach, found.noise / found.gain, 0.0)
    return np.asarray(added, np.float32), thirds


def _k_weighted(by_channel: FloatArray, channels: int) -> FloatArray:
    """K-weighted power that noise adds to every channel; nothing in more than two channels."""
    if channels > 2:
        return np.zeros(channels)
    weights = bs1770.k_weighting_power(THIRD_OCTAVE_CENTRES_HZ)
    power: FloatArray = (weights[:, None] * by_channel).sum(axis=0)
    return power if channels == 2 else power.mean(keepdims=True)
