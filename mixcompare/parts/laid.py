"""A score's parts and a pair on common cells, on a clock of their own."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.knowledge.notes import PartNotes
from mixcompare.pair.spectra import RATE_HZ, THIRDS_ABOVE_HZ, PairSpectra
from mixcompare.parts.fit import Cells, cells_of
from mixcompare.parts.separate import misfit
from mixcompare.parts.templates import mean_energy, power_of

FloatArray = npt.NDArray[np.float64]

STEP, _SMOOTH_S = 3, 0.06  # frames of the pair's clock, cost; our choice
_MOST_FRAMES = 2400  # cost: six minutes, then coarser
_SHIFTS_S = (-0.06, -0.04, -0.02, 0.0, 0.02, 0.04)  # of the whole score; resolution


class Played:
    """The parts' templates on the cells' clock, moved as a whole to where the reference has them.

    Plain tones speak at once: instruments that do not were heard as later than they are.

    Attributes
    ----------
    full : ndarray, shape (parts, bands, n)
        Notes held as long as they are written.
    lengths_s : tuple of float
        How long most of every part's notes are written.
    """

    def __init__(self, spectra: PairSpectra, parts: Sequence[PartNotes]) -> None:
        semitones = spectra.centre_hz < THIRDS_ABOVE_HZ
        self._parts, self._centre_hz = parts, spectra.centre_hz[semitones]
        every = coarseness(len(spectra.times_s))
        self.lengths_s = tuple(
            float(np.median(part.notes[:, 1] - part.notes[:, 0])) for part in parts
        )
        self._times_s = spectra.times_s[::every]
        reference = coarser(spectra.reference[:, semitones].T, every)
        power = power_of(parts, self._times_s, self._centre_hz)
        self._energy, smooth = mean_energy(power, self._centre_hz), coarser(power, 1, step=1)
        tried = [
            (misfit(reference, _later(smooth, by), self._centre_hz), by)
            for by in (np.array(_SHIFTS_S) * RATE_HZ / every).tolist()
        ]
        self._by: float = min(tried)[1]
        self.full = _later(smooth, self._by) / self._energy

    def held(self, share: float) -> FloatArray:
        """The same with notes held for a share of their written length."""
        power = power_of(self._parts, self._times_s, self._centre_hz, share)
        return _later(coarser(power, 1, step=1), self._by) / self._energy


def _later(power: FloatArray, by: float) -> FloatArray:
    """Every so manieth frame of what comes so many frames later, between frames linearly."""
    last = power.shape[-1] - 1
    place = np.clip(np.arange(0, last + 1, STEP) - by, 0, last)
    before = np.floor(place).astype(int)
    part = place - before
    ahead = np.minimum(before + 1, last)
    return np.asarray(power[..., before] * (1 - part) + power[..., ahead] * part)


def cells_over(
    spectra: PairSpectra, played: FloatArray, in_candidate: FloatArray | None = None
) -> Cells:
    """The pair's semitones and the parts' templates, on a clock of their own.

    Those of the candidate are the same where no others are given.
    """
    semitones = spectra.centre_hz < THIRDS_ABOVE_HZ
    every = coarseness(len(spectra.times_s))
    step = STEP * every
    judged = None if spectra.judged is None else spectra.judged[:, semitones].T[:, ::step]
    reference, candidate = (
        coarser(power[:, semitones].T, every) for power in (spectra.reference, spectra.candidate)
    )
    centre_hz = spectra.centre_hz[semitones]
    both = played, played if in_candidate is None else in_candidate
    return cells_of(reference, candidate, both, centre_hz, RATE_HZ / step, judged)


def coarser(power: FloatArray, every: int, step: int = STEP) -> FloatArray:
    """Power on the cells' clock, from one that is so many times finer than usual."""
    smooth = ndimage.gaussian_filter1d(power, _SMOOTH_S * RATE_HZ * every, axis=-1)
    return np.asarray(smooth[..., :: step * every])


def coarseness(frames: int) -> int:
    """How many times coarser than usual the clock of so many frames is."""
    return max(1, -(-frames // (STEP * _MOST_FRAMES)))
