"""Overall level: taken out before anything else is judged.

Matched by what did not change, not by integrated loudness: one element that is far too loud
would otherwise make everything else look weak. The gain is the mode of the level differences
of all audible cells (semitone by 50 ms), weighted by a loudness-like power of the softer of their
two levels, once the median gain is taken out: with the whole gain in them, one recording would be
the softer in every cell, and pull the gain of two performances by up to 1 dB.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ
from mixcompare.results import Level
from mixcompare.statistics import (
    block_counts,
    few_blocks,
    interval,
    robust_mode,
    weighted_quantile,
)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_LOUDNESS_EXPONENT = 0.3  # of power (Stevens 1957)
_BLOCK_S = 4  # of the bootstrap, in seconds of music; our judgement, not measured
_FINE = 20  # steps of the histogram in one kernel width
_METHOD = (
    "mode of the level differences of all audible cells (semitone by 50 ms) of the aligned pair"
)


def match_level(pair: Pair) -> Level:
    """Find the broadband gain on which most of the sound agrees.

    Parameters
    ----------
    pair : Pair
        Its own gain is ignored.

    Returns
    -------
    Level
        Gain of the candidate over the reference, dB, with a block-bootstrap interval.
    """
    about = weighted_quantile(pair.spectra.difference_db, pair.spectra.audible, 0.5)
    spectra = pair.spectra.raised(-about)
    difference = spectra.difference_db
    weight = cell_weights(np.minimum(spectra.reference, spectra.candidate), spectra.audible)
    width = 0.5 if pair.same_take else 2.0
    mode = robust_mode(difference, weight, width)
    gain = pair.gain_db + about + mode
    rest = difference - mode
    if weighted_quantile(np.abs(rest), weight, 0.5) < 1e-3:
        return Level(gain, (gain, gain), _METHOD)
    # The softer side follows the gain, and would make it look surer than it is.
    weight = cell_weights(np.sqrt(spectra.reference * spectra.candidate), spectra.audible)
    low, high = interval(_draws(rest, weight, width))
    return Level(gain, (gain + min(low, 0.0), gain + max(high, 0.0)), _METHOD)


def _draws(rest: FloatArray, weight: FloatArray, width: float) -> FloatArray:
    """Bootstrap draws of the mode about its estimate, from one histogram per second."""
    step = width / _FINE
    edges = np.arange(-8 * width, 8 * width + step, step)
    steps = max(int(RATE_HZ), 1)
    seconds = max(len(rest) // steps, 1)
    histograms = np.stack(
        [
            np.histogram(
                rest[second * steps : (second + 1) * steps],
                edges,
                weights=weight[second * steps : (second + 1) * steps],
            )[0]
            for second in range(seconds)
        ]
    )
    kernel = np.exp(-0.5 * (np.arange(-4 * _FINE, 4 * _FINE + 1) / _FINE) ** 2)
    centre = edges[:-1] + step / 2

    totals = block_counts(seconds, block_length=_BLOCK_S) @ histograms
    density = ndimage.convolve1d(totals, kernel, axis=1, mode="constant")
    draws: FloatArray = centre[np.argmax(density, axis=1)]
    return np.asarray(few_blocks(seconds / _BLOCK_S) * draws)


def cell_weights(power: FloatArray, audible: BoolArray) -> FloatArray:
    """Weight of every cell: a power, compressed as loudness is."""
    return np.asarray(np.where(audible, power, 0.0) ** _LOUDNESS_EXPONENT)
