"""One take: the tail that one mix has and the other lacks, as an engineer sets it.

Conventions
-----------
Read from the response between both mixes (:mod:`mixcompare.pair.response`), of whichever is the
wetter one. ``level_db`` is the tail's energy against the direct sound's as this music excites it,
both channels together; ``predelay_s`` when it sets in; ``decay_s`` its time for 60 dB in the
middle registers; ``gaps_db`` by how much it lifts what it is heard in: the twentieth of all
audible cells (third octave by 40 ms) that it lifts most, which are the music's gaps and decays.

A response has no memory of who is the wetter one: a tail added and one left out look alike, and a
section of the orchestra that stands in the room may look like either. So a tail counts only where
the wetter mix has the energy that it foretells, in the moments where the music leaves it free; and
where next to no cell stands still, for a tail lies over everything and adds to it by chance in
phase or against it. A section that was raised leaves the cells of the others as they were.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.features import Features
from mixcompare.pair.added_tail import Reading, Tail, mid_side
from mixcompare.pair.match import Match
from mixcompare.pair.response import cross_spectra
from mixcompare.pair.spectra import PairSpectra
from mixcompare.statistics import weighted_medians, weighted_quantile

FloatArray = npt.NDArray[np.float64]

_READABLE = 6.0
"""Under it both mixes have a room of their own, and what is read is the ratio of the two: it
answers before the sound as well, and its level says little. (Two such rooms: 4; a tail added to a
real take, with compression besides: 30 and more.)"""
_QUARTILE_DB = 20 / np.log(10) * np.cos(3 * np.pi / 8)
"""Of how far a cell moves, by a tail as loud as itself in any phase; small tails: in proportion."""
_LEAST_MOVED = 0.025
"""Of that, for a tail as it is read: added ones reach 0.07 to 0.28 (14 made-up pieces and the real
take), what looks like one where a melody was raised or lowered at most 0.001 (8 such)."""
_MUCH_CLEARER = 2.0  # chosen on the real take (``tests.benchmarks.added_tails``)


@dataclass(frozen=True)
class Reverberation:
    """What the response between two mixes says of the room.

    Attributes
    ----------
    tail : Tail or None
        None where neither mix has one that the other lacks.
    hidden_db : float
        Level of a tail that would have stayed under the floor; infinite where something answers
        behind the sound that is no tail.
    """

    tail: Tail | None
    hidden_db: float


def reverberation_between(
    reference: Features,
    candidate: Features,
    match: Match,
    gain_db: FloatArray | None = None,
    moved_db: float = np.inf,
) -> Reverberation | None:
    """Read the tail that one mix of a take has and the other lacks.

    Parameters
    ----------
    reference, candidate : Features
        Of one take.
    match : Match
        How they lie.
    gain_db : ndarray, shape (n, 2), optional
        Reference times and level of the whole at them, which is taken off.
    moved_db : float
        How far all but a quarter of the cells moved at least, see :func:`least_moved_db`.

    Returns
    -------
    Reverberation or None
        None where too little is in common.
    """
    spectra = cross_spectra(reference, candidate, match, gain_db)
    if spectra is None:
        return None
    powers = mid_side(reference, candidate, match, gain_db)
    ways = ((spectra, powers, True), (spectra.mirrored(), powers.mirrored(), False))
    # A louder tail would not leave so many cells in their place.
    most_db = 20 * np.log10(max(moved_db, 1e-6) / (_QUARTILE_DB * _LEAST_MOVED))
    hidden_db, answers = [], []
    for one, of_them, added in ways:
        read = Reading(one, of_them)
        hidden_db.append(read.hidden_db)
        if read.is_clear:
            answers.append((read, added))
    if not answers:
        return Reverberation(None, min(max(hidden_db), most_db))
    told = [(read, added) for read, added in answers if read.gaps.bear_it_out]
    if not any(read.gaps.are_put_to_test for read, _ in answers):
        # Undone, a tail leaves echoes of itself behind and before: the clearer way is the true one.
        answers.sort(key=lambda one: one[0].clearness)
        alone = len(answers) == 1
        if alone or answers[1][0].clearness > _MUCH_CLEARER * answers[0][0].clearness:
            told = answers[-1:]
    # Borne out both ways: each has a tail where the other has a dip, and neither is the wetter.
    if len(told) != 1 or told[0][0].clearness < _READABLE or told[0][0].gaps.outdo_it:
        return Reverberation(None, most_db)
    read, added = told[0]
    tail = read.tail(added)
    return (
        Reverberation(None, most_db)
        if tail.level_db > most_db
        else Reverberation(tail, read.hidden_db)
    )


def least_moved_db(spectra: PairSpectra) -> float:
    """How far all but a quarter of the sound moved at least, beside each band's own median.

    Parameters
    ----------
    spectra : PairSpectra
        Of one take, without what was done to the whole.
    """
    softer = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)
    weight = softer**0.3
    if not weight.any():
        return np.inf
    moved = spectra.difference_db - weighted_medians(spectra.difference_db, weight)
    return weighted_quantile(np.abs(moved), weight, 0.25)
