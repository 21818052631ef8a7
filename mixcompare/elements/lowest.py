"""The lowest notes of an element, where another tail lets no single ones be told apart.

Cells under one tail begin at 80 Hz (:mod:`mixcompare.pair.tail`). A bass line that was found there
by its partials has most of its power below; without it, it would be called by a register that it
only reaches into.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from mixcompare.elements.change import Change, share_of
from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.tail import LOWEST_HZ
from mixcompare.statistics import weighted_quantile

_ODD_PARTIALS = (19, 28)  # the third and the fifth, in semitones
_MORE_PARTIALS, _WITH_IT = 0.07, 0.2
"""Shares of those partials: contrabasses have 0.09 to 0.90 more when they sound, cellos, bassoons,
violas, horns and timpani at most 0.05 (41 pairs of five scores, three other tails). And how much of
its size the lowest notes moved at least, which a tail moves by some decibels besides; our choice.
"""


def down_to_its_lowest(change: Change, spectra: PairSpectra, level_db: float) -> Change:
    """An element with the notes below 80 Hz, if they are its own.

    Where one of them sounds, its third and fifth partials are the element's oftener than elsewhere
    (the even ones are also those of who doubles it an octave higher), and it moved as the element
    did. Then all of them are, as so low one instrument plays.

    Parameters
    ----------
    change : Change
        Found above 80 Hz, on cells of ``spectra``.
    spectra : PairSpectra
        Of one take under two tails.
    level_db : float
        What the pair's gain holds of the tail.
    """
    low = np.flatnonzero(spectra.centre_hz < LOWEST_HZ)
    power = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)[:, low]
    lowest = np.where(power == power.max(axis=1, keepdims=True), power, 0.0) ** 0.3
    if not lowest.any():
        return change
    moved_db = weighted_quantile(spectra.difference_db[:, low], power**0.3, 0.5)
    with_it = max(moved_db / change.difference_db, (moved_db - level_db) / change.difference_db)
    share = share_of(change.energy, spectra)
    partials = [share[:, low + step] for step in _ODD_PARTIALS]
    more = sum(float((lowest * (own - own.mean(axis=0))).sum()) for own in partials)
    if with_it < _WITH_IT or more < _MORE_PARTIALS * lowest.sum():
        return change
    energy = change.energy.copy()
    energy[:, low] = spectra.reference[:, low]
    return replace(change, energy=energy)
