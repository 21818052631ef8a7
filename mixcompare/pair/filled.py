"""What a lossy codec puts into cells far below the sound, or takes from them: no element's level.

A codec's noise lies under what masks it, some 35 dB below the loudest of the octaves around. A cell
as soft as that may rise by twenty decibels; read as an element's, that is a change of notes' ends.
It shows where one recording of a take has next to nothing and the other has some such noise: no
level of an element does that.

Conventions
-----------
Of the candidate against the reference; either may have been coded.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.pair.spectra import PairSpectra
from mixcompare.statistics import effective_number, weighted_medians

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_OCTAVES_AROUND = 2  # up and down: what masks a cell lies there; our choice
_FILLED_DB = (9.0, 12.0)  # elements change by less, or by less than the second; our choice
_FAR_DB, _FAR = 25.0, 0.98
"""So far below the loudest around nearly all filled cells lie. Of six passages of three scores
behind a codec 95 % lie 29 dB and more below; of a low cut's cells
75 % lie within 23 dB, of a tail's 5 % within 11 dB."""
_LEAST_SHARE, _LEAST_CELLS = 4e-4, 40
"""Of the audible cells: 0.002 to 0.04 behind a codec (six passages of three scores)."""
_FEWEST_BANDS = 6.0
"""Over which they are spread: 7.3 and more behind a codec, 3.8 where a low cut ends."""
_LOUDEST = 0.95  # quantile of the filled cells' level; our choice
_CLEAR_DB = 6.0
"""So far over that a cell is judged: noise moves it by 1 dB at most."""


def filled_cells(spectra: PairSpectra) -> BoolArray | None:
    """Cells that are no louder than what was put into silent ones; None where nothing was.

    Parameters
    ----------
    spectra : PairSpectra
        Of one take.

    Returns
    -------
    ndarray of bool, shape (n, bands), or None
    """
    softer = np.minimum(spectra.reference, spectra.candidate)
    louder = np.maximum(spectra.reference, spectra.candidate)
    loudest = ndimage.maximum_filter1d(louder, 2 * 12 * _OCTAVES_AROUND + 1, axis=1)
    tone_db = weighted_medians(spectra.difference_db, spectra.audible.astype(np.float64))
    moved_db = np.where(spectra.audible, spectra.difference_db - tone_db, 0.0)
    below = np.where(spectra.audible, louder, 0.0) / np.maximum(loudest, 1e-30)
    limit = max(
        _noise(below, sign * moved_db > least_db, spectra)
        for sign in (1, -1)
        for least_db in _FILLED_DB
    )
    if limit <= 0:
        return None
    return np.asarray(softer < limit * 10 ** (_CLEAR_DB / 10) * loudest)


def _noise(below: FloatArray, filled: BoolArray, spectra: PairSpectra) -> float:
    """Power of the noise against the loudest around; 0 where the filled cells are none of it."""
    if filled.sum() < max(_LEAST_CELLS, _LEAST_SHARE * spectra.audible.sum()):
        return 0.0
    if effective_number(filled.sum(axis=0).astype(np.float64)) < _FEWEST_BANDS:
        return 0.0
    if np.quantile(below[filled], _FAR) > 10 ** (-_FAR_DB / 10):
        return 0.0
    return float(np.quantile(below[filled], _LOUDEST))
