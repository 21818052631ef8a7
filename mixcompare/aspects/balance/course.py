"""By how much an element stands further forward, from moment to moment: for pictures alone."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.change import Change
from mixcompare.elements.describe import own_cells
from mixcompare.pair.spectra import PairSpectra

FloatArray = npt.NDArray[np.float64]
Course = tuple[float | None, ...]

_RATE_HZ = 4.0  # of the course: resolution of the picture
_SMOOTHED_S = 0.5
_LEAST = 0.1  # of the element's level where it plays: below, it rests
_TOLD = 0.05  # of what sounds in its cells: less that is left is a guess


def course_of(
    change: Change, spectra: PairSpectra, tone_db: FloatArray
) -> tuple[tuple[float, ...], Course]:
    """Times in s, and the level of an element's own part of its cells; None where it rests.

    What else sounds in those cells is taken to be in the candidate as it is in the reference, but
    for the tone.
    """
    times_s = spectra.times_s
    step_s = float(np.ptp(times_s)) / max(len(times_s) - 1, 1)
    own = np.minimum(own_cells(change.energy, spectra), spectra.reference)
    inside = own > 0
    rest = ((spectra.reference - own) * inside).sum(axis=1)
    there = (spectra.candidate * 10 ** (-tone_db / 10) * inside).sum(axis=1)
    width = _SMOOTHED_S / max(step_s, 1e-9)
    was, beside, became = (
        ndimage.gaussian_filter1d(power, width) for power in (own.sum(axis=1), rest, there)
    )
    plays = (was > _LEAST * np.percentile(was, 95)) & (became - beside > _TOLD * became)
    level_db = 10 * np.log10(np.where(plays, became - beside, 1.0) / np.where(plays, was, 1.0))
    every = max(round(1 / (_RATE_HZ * max(step_s, 1e-9))), 1)
    told = zip(level_db[::every].tolist(), plays[::every].tolist(), strict=True)
    return (
        tuple(times_s[::every].tolist()),
        tuple(value if playing else None for value, playing in told),
    )
