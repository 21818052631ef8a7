"""What a tail foretells of the music's gaps, and whether it is there.

A tail lifts most what the music leaves free: gaps and decays. The twentieth of all audible cells
(third octave by 40 ms) that it lifts most stand for them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import signal

from mixcompare.features import BAND_RATE_HZ
from mixcompare.pair.response import STEP_S, TAIL_REGISTERS_HZ
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

FloatArray = npt.NDArray[np.float64]

REGISTER = (np.searchsorted(TAIL_REGISTERS_HZ, THIRD_OCTAVE_CENTRES_HZ) - 1).clip(0, 3)
KNOWN = (TAIL_REGISTERS_HZ[0] < THIRD_OCTAVE_CENTRES_HZ) & (
    TAIL_REGISTERS_HZ[-1] > THIRD_OCTAVE_CENTRES_HZ
)
# Percentiles of what is foretold, in the gaps and elsewhere.
_MOST, _GAPS, _HIGH, _LOW = 99, 95, 90, 50
_LEAST_CELLS = 50  # of a band, chosen on the real take (``tests.benchmarks.added_tails``)
_LEAST_CONTRAST_DB = 0.2  # between gaps and the rest, chosen likewise
_LEAST_BORNE_OUT, _MOST_BORNE_OUT = 0.4, 1.3  # of what is foretold, chosen likewise
# Below a band's loud moments and a moment's loudest band; our judgement, not measured.
_BAND_RANGE, _MOMENT_RANGE = 10**-4.5, 1e-5


@dataclass(frozen=True)
class Gaps:
    """The cells that a tail lifts most, foretold and found.

    Attributes
    ----------
    lift_db : float
        By how much it lifts them.
    band_lift_db : ndarray, shape (bands, 2)
        By how much it lifts each third octave as a whole, and the hundredth of its cells most.
    borne_out : float
        By how much louder they are than what surrounds them, over what is foretold.
    contrast_db : float
        How much louder they would be.
    """

    lift_db: float
    band_lift_db: FloatArray
    borne_out: float
    contrast_db: float

    @property
    def are_put_to_test(self) -> bool:
        """Whether the gaps would show the tail; one that ends with the sound lifts all alike."""
        return self.contrast_db >= _LEAST_CONTRAST_DB

    @property
    def bear_it_out(self) -> bool:
        """Whether they show it."""
        return self.are_put_to_test and self.borne_out >= _LEAST_BORNE_OUT

    @property
    def outdo_it(self) -> bool:
        """Whether they are louder than foretold: it joins a room that was there already."""
        return self.are_put_to_test and self.borne_out > _MOST_BORNE_OUT


def gaps_of(excess: FloatArray, direct: FloatArray, heard: FloatArray) -> Gaps:
    """What the tail adds to every cell, and whether it is there.

    Parameters
    ----------
    excess : ndarray, shape (registers, delays)
        Energy of the tail.
    direct, heard : ndarray, shape (frames, 31)
        Power without it, and power of the wetter mix.
    """
    by_frame = _in_frames(excess)[REGISTER].T
    tail = np.maximum(signal.fftconvolve(direct, by_frame, axes=0)[: len(direct)], 0)
    foretold = 10 * np.log10(1 + tail / (direct + 1e-14))
    whole = 10 * np.log10(1 + tail.sum(axis=0) / (direct.sum(axis=0) + 1e-14))
    most = np.percentile(foretold, _MOST, axis=0)
    found = 10 * np.log10((heard + 1e-14) / (direct + 1e-14))
    audible = (heard > _BAND_RANGE * np.percentile(heard, 95, axis=0)) & (
        heard > _MOMENT_RANGE * heard.max(axis=1, keepdims=True)
    )
    audible &= KNOWN
    borne_out, contrast_db = _borne_out(foretold, found, audible)
    return Gaps(
        lift_db=float(np.percentile(foretold[audible], _GAPS)) if audible.any() else 0.0,
        band_lift_db=np.column_stack([whole, most])[KNOWN],
        borne_out=borne_out,
        contrast_db=contrast_db,
    )


def _in_frames(excess: FloatArray) -> FloatArray:
    """Energy by delay, in frames of the bands."""
    frame = np.round((np.arange(excess.shape[1]) + 0.5) * STEP_S * BAND_RATE_HZ).astype(int)
    out = np.zeros((len(excess), frame[-1] + 1))
    for register, energy in enumerate(excess):
        np.add.at(out[register], frame, energy)
    return out


def _borne_out(
    foretold: FloatArray, found: FloatArray, audible: npt.NDArray[np.bool_]
) -> tuple[float, float]:
    """By how much louder the gaps are, over what is foretold, and how much that is.

    Each band against its own rest, so that its tone does not count.
    """
    steps = []
    for band in np.flatnonzero(KNOWN):
        ours, theirs = (each[audible[:, band], band] for each in (foretold, found))
        if len(ours) < _LEAST_CELLS:
            continue
        free, covered = ours >= np.percentile(ours, _HIGH), ours <= np.percentile(ours, _LOW)
        steps.append([np.median(each[free]) - np.median(each[covered]) for each in (ours, theirs)])
    if not steps:
        return 0.0, 0.0
    ours, theirs = np.array(steps).T
    power = float((ours**2).mean())
    return float((ours * theirs).mean() / max(power, 1e-12)), float(np.sqrt(power))
