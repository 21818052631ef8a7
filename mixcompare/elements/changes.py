"""Elements whose level changed against everything else, with their sizes.

Two regimes: one take, in which every cell is exact (:mod:`mixcompare.elements.one_take`), and two
performances, in which every cell scatters: a repeating figure
(:mod:`mixcompare.elements.repeating`), and groups of components
(:mod:`mixcompare.elements.performances`).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mixcompare.elements.change import Split, overlap, without_change
from mixcompare.elements.one_take import EXACT_SCATTER_DB, exact_split
from mixcompare.elements.performances import SAME_CELLS, performances_split
from mixcompare.elements.repeating import repeating_change
from mixcompare.pair.spectra import RATE_HZ, PairSpectra


def split_difference(spectra: PairSpectra, same_take: bool) -> Split:
    """Take the level difference of a pair apart.

    Parameters
    ----------
    spectra : PairSpectra
        With the pair's gain taken out.
    same_take : bool
        Whether both are one performance.
    """
    if len(spectra.times_s) < 3 * RATE_HZ:
        return Split((), np.zeros(len(spectra.centre_hz)), float("nan"))
    if float(np.abs(spectra.difference_db[spectra.audible]).max(initial=0.0)) < 0.05:
        return Split((), np.zeros(len(spectra.centre_hz)), 0.0)
    if same_take:
        exact = exact_split(spectra)
        # Another room or heavy processing moves every cell; then the difference is no longer
        # one element's own spectrogram, and groups of components have to agree instead.
        if exact.scatter_db < EXACT_SCATTER_DB:
            return exact
        return performances_split(spectra)
    figure = repeating_change(spectra)
    if figure is None:
        return performances_split(spectra)
    split = performances_split(without_change(spectra, figure))
    others = (one for one in split.changes if overlap(figure.energy, one.energy) <= SAME_CELLS)
    return replace(split, changes=(figure, *others))
