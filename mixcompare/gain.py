"""Overall level: taken out before anything else is judged.

Matched by what did not change, not by integrated loudness: one element that is far too loud
would otherwise make everything else look weak. The gain is the mode of the level differences
of all audible cells (semitone by 50 ms), weighted by a loudness-like power of their level.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.results import Level
from mixcompare.spectra import RATE_HZ, PairSpectra, pair_spectra
from mixcompare.statistics import block_bootstrap, interval, robust_mode, weighted_quantile

FloatArray = npt.NDArray[np.float64]

_LOUDNESS_EXPONENT = 0.3
_METHOD = (
    "mode of the level differences of all audible cells (semitone by 50 ms) of the aligned pair"
)


def match_level(reference: Features, candidate: Features, match: Match) -> Level:
    """Find the broadband gain on which most of the sound agrees.

    Parameters
    ----------
    reference, candidate : Features
    match : Match
        Its own gain is ignored.

    Returns
    -------
    Level
        Gain of the candidate over the reference, dB, with a block-bootstrap interval.
    """
    pair = pair_spectra(reference, candidate, match)
    difference = pair.difference_db + match.gain_db
    weight = cell_weights(pair)
    width = 0.5 if match.same_take else 2.0
    gain = robust_mode(difference, weight, width)
    spread = weighted_quantile(np.abs(difference - gain), weight, 0.5)
    if spread < 1e-3:
        return Level(gain, (gain, gain), _METHOD)
    low, high = interval(_draws(difference - gain, weight, width))
    return Level(gain, (gain + min(low, 0.0), gain + max(high, 0.0)), _METHOD)


def _draws(rest: FloatArray, weight: FloatArray, width: float) -> FloatArray:
    """Bootstrap draws of the mode about its estimate, from one histogram per second."""
    step = width / 10
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
    kernel = np.exp(-0.5 * (np.arange(-40, 41) / 10) ** 2)
    centre = edges[:-1] + step / 2

    def mode_of(index: npt.NDArray[np.int64]) -> float:
        density = np.convolve(histograms[index].sum(axis=0), kernel, mode="same")
        return float(centre[int(np.argmax(density))])

    return block_bootstrap(seconds, mode_of, draws=200, block_length=2)


def cell_weights(pair: PairSpectra) -> FloatArray:
    """Weight of every cell: its softer side's power, compressed as loudness is."""
    softer = np.minimum(pair.reference, pair.candidate)
    return np.asarray(np.where(pair.audible, softer, 0.0) ** _LOUDNESS_EXPONENT)
