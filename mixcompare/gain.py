"""Overall level: taken out before anything else is judged.

Matched by what did not change, not by integrated loudness: one element that is far too loud
would otherwise make everything else look weak. The gain is the mode of the level differences
of all audible cells (semitone by 50 ms), weighted by a loudness-like power of their level.
"""

from __future__ import annotations

import numpy as np

from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.results import Level
from mixcompare.spectra import RATE_HZ, PairSpectra, pair_spectra
from mixcompare.statistics import block_bootstrap, interval, robust_mode, weighted_quantile

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
    # Both estimates are mirror images under exchange of the recordings.
    width = 0.5 if match.same_take else 2.0
    steps = max(int(RATE_HZ), 1)
    seconds = max(len(difference) // steps, 1)
    cells = [slice(k * steps, (k + 1) * steps) for k in range(seconds)]

    def gain_of(index: np.ndarray) -> float:
        chosen = np.concatenate([difference[cells[k]].ravel() for k in index])
        weights = np.concatenate([weight[cells[k]].ravel() for k in index])
        return robust_mode(chosen, weights, width)

    gain = robust_mode(difference, weight, width)
    draws = block_bootstrap(seconds, gain_of, draws=40, block_length=2)
    low, high = interval(draws)
    spread = weighted_quantile(np.abs(difference - gain), weight, 0.5)
    if spread < 1e-3:
        low = high = gain
    return Level(gain, (min(low, gain), max(high, gain)), _METHOD)


def cell_weights(pair: PairSpectra) -> np.ndarray:
    """Weight of every cell: its softer side's power, compressed as loudness is."""
    softer = np.minimum(pair.reference, pair.candidate)
    return np.asarray(np.where(pair.audible, softer, 0.0) ** _LOUDNESS_EXPONENT)
