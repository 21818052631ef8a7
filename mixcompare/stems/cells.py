"""The stems' powers in the cells of a pair, with what they add to each other where they overlap.

Conventions
-----------
A mix is a sum of sounds, not of powers: two stems in one cell add up to more or less than their
powers say. So every pair of stems has its cross power beside every stem's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.features.grid import (
    ANALYSIS_RATE_HZ,
    LONG_WINDOW_BELOW_HZ,
    LOW_FFT,
    SEMITONE_FFT,
)
from mixcompare.features.together import RATE_HZ, ComplexArray
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


class CellSums:
    """Cells that are filled batch by batch."""

    def __init__(self, making: Making, centre_hz: FloatArray, count: int) -> None:
        """Make room.

        Parameters
        ----------
        making : Making
            How the candidate is made of its stems.
        centre_hz : ndarray, shape (bands,)
            Semitones on the candidate's own tuning.
        count : int
            Frames that there are.
        """
        number = len(making.sounds)
        self._step = STEP * max(1, -(-count // (STEP * _MOST_CELLS)))
        self._rows = count // self._step
        self._centre_hz = centre_hz
        self._pairs = np.array([(i, j) for i in range(number) for j in range(i, number)])
        self._cross = np.zeros((len(self._pairs), self._rows, len(centre_hz)), np.float32)
        self._powers = np.zeros((4, self._rows, len(centre_hz)), np.float32)
        low = centre_hz < LONG_WINDOW_BELOW_HZ
        self._bands = {
            size: _bands(centre_hz, np.flatnonzero(which), size)
            for size, which in ((LOW_FFT, low), (SEMITONE_FFT, ~low))
        }
        self._responses = {size: making.responses(size)[:, :, None] for size in self._bands}

    def push(self, size: int, first: int, spectra: ComplexArray) -> None:
        """Add frames.

        Parameters
        ----------
        size : int
            Of their windows.
        first : int
            Number of the first frame.
        spectra : ndarray, shape (1 + stems, 2, frames, bins)
            Of the mix and of all stems.
        """
        groups = np.arange(first, first + spectra.shape[2] - STEP + 1, STEP)
        rows = groups // self._step
        rows = rows[rows < self._rows]
        if not len(rows):
            return
        made = spectra[:, :, : STEP * len(rows)].copy()
        made[1:] *= self._responses[size]
        # Real and imaginary parts side by side: their products add up to the cross power.
        parts = made.view(np.float32).reshape(len(made), 2, len(rows), STEP, -1, 2)
        for band, bins, amplitude in self._bands[size]:
            inside = np.moveaxis(parts[..., bins, :] * amplitude, 2, 0)
            flat = inside.reshape(len(rows), len(made), -1)
            self._add(rows, band, flat @ flat.swapaxes(1, 2))

    def _add(self, rows: npt.NDArray[np.int64], band: int, products: Float32Array) -> None:
        """Add the products of mix and stems in groups of frames to the cells that they lie in."""
        starts = np.flatnonzero(np.diff(rows, prepend=-1))
        inside, rows = np.add.reduceat(products, starts, axis=0), rows[starts]
        first, second = self._pairs.T + 1
        twice = np.where(first == second, 1.0, 2.0)
        self._cross[:, rows, band] += (twice * inside[:, first, second]).T
        mixed = inside[:, 0, 0]
        along, whole = inside[:, 0, 1:].sum(axis=1), inside[:, 1:, 1:].sum(axis=(1, 2))
        left = np.maximum(mixed - 2 * along + whole, 0.0)
        self._powers[:, rows, band] += (mixed, left, whole, along)

    def result(self) -> StemCells:
        """All that was added."""
        rate_hz = RATE_HZ / self._step
        return StemCells(self._centre_hz, rate_hz, self._pairs, self._cross, *self._powers)


def _bands(
    centre_hz: FloatArray, which: npt.NDArray[np.intp], size: int
) -> list[tuple[int, slice, Float32Array]]:
    """Number, bins and their amplitudes of some bands."""
    edges_hz = np.append(centre_hz / _SEMITONE, centre_hz[-1:] * _SEMITONE)
    weights = band_weights(edges_hz, ANALYSIS_RATE_HZ / size, size // 2 + 1)
    # A window twice as long gathers four times the power of a tone in its bin.
    amplitudes = np.sqrt(weights) * np.float32(SEMITONE_FFT / size)
    out = []
    for band in which.tolist():
        bins = np.flatnonzero(weights[:, band])
        inside = slice(bins[0], bins[-1] + 1) if len(bins) else slice(0, 0)
        out.append((band, inside, amplitudes[inside, band, None]))
    return out
