"""What another hall does to an element's few pitches, between two performances.

Standing waves and other instruments lift one pitch and not its neighbours, all the time, so that
neither time nor random starts show it. How far they do is seen on what did not change: the static
level of every semitone scatters about the smooth tone, by 1.8 dB below 110 Hz, 1.0 dB from 220 Hz
and 0.4 dB from 1.8 kHz with like players in another room, by 4.5, 2.2 and 1.6 dB with another
library (24 pairs each, of three scores in three rooms). Neighbouring semitones go along: by 0.6 and
0.2 of it, one and two semitones apart below 110 Hz. An element on many pitches averages that; one
pitch is lifted whole.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.elements.beside import SMOOTH_FRAMES, heard_in_both
from mixcompare.pair.spectra import PairSpectra

FloatArray = npt.NDArray[np.float64]

OWN, OTHERS = 0.6, 0.12
"""Share of a cell that is the element's own, or not its: sizes are read from those."""
_AROUND = 12  # bands to either side, by whose scatter a band's is told
_FEWEST = 6  # of them, our judgement
_SOUNDS = 0.1  # of what a band holds in the middle, for its static level; our judgement
_ALONG = np.array([1.0, 2 / 3, 1 / 3])
"""How far bands go along, so many semitones apart; above 220 Hz they hardly do."""


def pitches(share: FloatArray, spectra: PairSpectra, tone_db: FloatArray) -> tuple[float, float]:
    """On how many pitches an element's level is read, and what their standing waves may add.

    Parameters
    ----------
    share : ndarray, shape (n, bands)
        Of the element in every cell's power.
    spectra : PairSpectra
        Of two performances.
    tone_db : ndarray, shape (bands,)
        The smooth static difference.

    Returns
    -------
    pitches : float
        Effective number of pitches that are the element's own; 0 where no cell is.
    deviation_db : float
        Standard deviation of their mean level by what moves single pitches; NaN where nothing is
        the element's own, or too little else sounds to tell.
    """
    smooth = spectra.over_moments(SMOOTH_FRAMES)
    heard = heard_in_both(spectra, smooth)
    own = (heard * np.where(share > OWN, share**2, 0.0)).sum(axis=0)
    others = heard * (share < OTHERS)
    scatter_db = _scatter_db(smooth.difference_db - tone_db, others)
    total = float(own.sum())
    if total <= 0:
        return 0.0, float("nan")
    return total**2 / _along(own), float(np.sqrt(_along(own * scatter_db))) / total


def _along(amounts: FloatArray) -> float:
    """Sum over all pairs of bands, as far as they go along."""
    return float(
        sum(
            (1 if apart == 0 else 2) * along * (amounts[: len(amounts) - apart] @ amounts[apart:])
            for apart, along in enumerate(_ALONG)
        )
    )


def _scatter_db(difference_db: FloatArray, weight: FloatArray) -> FloatArray:
    """Robust scatter of the bands' static levels around every band, shape (bands,)."""
    amount = weight.sum(axis=0)
    level_db = (weight * difference_db).sum(axis=0) / np.maximum(amount, 1e-30)
    heard = amount > 0
    if not heard.any():
        return np.full(len(amount), np.nan)
    told = np.flatnonzero(amount > _SOUNDS * float(np.median(amount[heard])))
    bands = np.arange(len(amount))
    scatter_db = np.full(len(amount), np.nan)
    for band in bands:
        near = level_db[told[np.abs(told - band) <= _AROUND]]
        if len(near) >= _FEWEST:
            away_db = np.abs(near - np.median(near))
            scatter_db[band] = 1.4826 * float(np.median(away_db))
    known = np.isfinite(scatter_db)
    if known.any():  # where an element has a register to itself, the nearest bands tell
        scatter_db = np.interp(bands, bands[known], scatter_db[known])
    return scatter_db
