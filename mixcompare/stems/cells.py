"""The stems' powers in the cells of a pair, with what they add to each other where they overlap.

Conventions
-----------
A mix is a sum of sounds, not of powers: two stems in one cell add up to more or less than their
powers say. So every pair of stems has its cross power beside every stem's own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.features.grid import (
    ANALYSIS_RATE_HZ,
    LONG_WINDOW_BELOW_HZ,
    LOW_FFT,
    SEMITONE_FFT,
)
from mixcompare.features.together import RATE_HZ, frames_together
from mixcompare.standards.iec61260 import band_weights
from mixcompare.stems.explained import Making

FloatArray = npt.NDArray[np.float64]
Float32Array = npt.NDArray[np.float32]

STEP = 4  # frames that make a cell: a fifth of a second
CELL_RATE_HZ = RATE_HZ / STEP
_MOST_CELLS = 2400  # cost: eight minutes, then coarser
_SEMITONE = 2 ** (1 / 24)


@dataclass(frozen=True)
class StemCells:
    """Powers on the candidate's clock.

    Attributes
    ----------
    centre_hz : ndarray, shape (bands,)
    rate_hz : float
        Cells a second; the first one is centred on half a cell.
    pairs : ndarray of int, shape (pairs, 2)
        Stems of every row of ``cross``: each with itself and with all later ones.
    cross : ndarray, shape (pairs, n, bands)
        Their cross powers, both channels together; a pair of two counts twice already.
    mix, left : ndarray, shape (n, bands)
        Power of the mix, and of what the stems do not explain of it.
    made, along : ndarray, shape (n, bands)
        Power of all stems together as they should sound, and what of it is in the mix: its cross
        power with them.
    """

    centre_hz: FloatArray
    rate_hz: float
    pairs: npt.NDArray[np.int64]
    cross: Float32Array
    mix: Float32Array
    left: Float32Array
    made: Float32Array
    along: Float32Array

    @property
    def own(self) -> Float32Array:
        """Power of every stem, shape (stems, n, bands)."""
        return np.asarray(self.cross[self.pairs[:, 0] == self.pairs[:, 1]])


def cells_of(
    mix: Recording,
    stems: Sequence[Recording],
    starts_s: Sequence[float],
    making: Making,
    centre_hz: FloatArray,
) -> StemCells:
    """Read mix and stems once more, each stem through its filter.

    Parameters
    ----------
    mix : Recording
        The candidate.
    stems : sequence of Recording
        On its clock.
    starts_s : sequence of float
        Where the common clock begins in the mix, and in each stem.
    making : Making
        How it is made of them.
    centre_hz : ndarray, shape (bands,)
        Semitones on the candidate's own tuning.
    """
    number = len(stems)
    pairs = np.array([(i, j) for i in range(number) for j in range(i, number)])
    twice = np.where(pairs[:, 0] == pairs[:, 1], 1.0, 2.0).astype(np.float32)
    count = int(mix.duration_s * RATE_HZ)
    step = STEP * max(1, -(-count // (STEP * _MOST_CELLS)))
    count = count // step * step
    low = centre_hz < LONG_WINDOW_BELOW_HZ
    cross = np.zeros((len(pairs), count // step, len(centre_hz)), np.float32)
    powers = np.zeros((4, count // step, len(centre_hz)), np.float32)
    for size, bands in ((LOW_FFT, low), (SEMITONE_FFT, ~low)):
        weights = _weights(centre_hz[bands], size)
        bins = np.flatnonzero(weights.any(axis=1))
        weights, at = weights[bins], 0
        responses = making.responses(size)[:, :, None, bins]
        for spectra in frames_together([mix, *stems], size, count, starts_s):
            batch = spectra[..., bins]
            made = batch[1:] * responses
            rows = np.arange(at, at + batch.shape[2]) // step
            for row, (first, second) in enumerate(pairs):
                both = (made[first] * made[second].conj()).real.sum(axis=0)
                _add(cross[row], rows, bands, twice[row] * (both @ weights))
            mixed, whole = batch[0], made.sum(axis=0)
            products = ((mixed, mixed), (mixed - whole,) * 2, (whole, whole), (mixed, whole))
            for store, (one, other) in zip(powers, products, strict=True):
                power = one.real * other.real + one.imag * other.imag
                _add(store, rows, bands, power.sum(axis=0) @ weights)
            at += batch.shape[2]
    return StemCells(centre_hz, RATE_HZ / step, pairs, cross, *powers)


def _weights(centre_hz: FloatArray, size: int) -> Float32Array:
    edges_hz = np.append(centre_hz / _SEMITONE, centre_hz[-1:] * _SEMITONE)
    scaled = band_weights(edges_hz, ANALYSIS_RATE_HZ / size, size // 2 + 1)
    # A window twice as long gathers four times the power of a tone in its bin.
    return np.asarray(scaled * (SEMITONE_FFT / size) ** 2, np.float32)


def _add(
    store: Float32Array,
    rows: npt.NDArray[np.int64],
    bands: npt.NDArray[np.bool_],
    power: Float32Array,
) -> None:
    """Add frames to the cells that they lie in."""
    starts = np.flatnonzero(np.diff(rows, prepend=-1))
    inside = np.add.reduceat(power, starts, axis=0)
    store[np.ix_(rows[starts], np.flatnonzero(bands))] += inside
