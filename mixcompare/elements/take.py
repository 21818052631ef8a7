"""Elements of a pair, in one take under another tail as well.

Where a take's two mixes carry different tails, every cell scatters and the difference is no longer
one element's own spectrogram. Then the reference is let wear the candidate's tail (see
:mod:`mixcompare.pair.tail`) and the difference that is left is taken apart as in one room. What the
tail's filter learnt of the element itself is given back by learning once more with the element in
the place it was found in.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.elements.audibility import can_be_heard, stands
from mixcompare.elements.change import Change, Split, share_of
from mixcompare.elements.changes import split_difference
from mixcompare.elements.ended import cells_of, ends_apart
from mixcompare.elements.lowest import down_to_its_lowest
from mixcompare.elements.one_take import EXACT_SCATTER_DB, exact_split
from mixcompare.elements.panned import find_panned, touched
from mixcompare.elements.seats import told_apart
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.tail import OneTail
from mixcompare.pair.undo import not_judged
from mixcompare.statistics import quantiles_by_column

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_LEAST_MOVED, _MOVED_DB = 0.0275, 1.0
"""Share of the sound that a change moves by a decibel, cells within their scatter left out. Of 30
unchanged pairs of three scores under another tail one, much wetter, reaches 0.023, the others stay
below 0.015; of 35 sections changed there by 4 to 6 dB two have less, 0.019 both."""
_ALSO = 0.35
"""Of the first one's share, for a change of the other sign: beating reaches 0.21 of it there."""
_LEFT_BESIDE_TAIL = 0.7
"""Of what an element adds to its cells: the tail's filter learns the rest. With it nine of nine
sections are found when raised half as much again as is said, and none when raised half of it (two
passages of a score, two rooms); with 0.5 four of six are found at half of it."""
_SIDE = 0.1  # quantile of the side that moves less, a pitch's scatter; our judgement, not measured
_TIMES_SCATTER = 3.0  # within this a cell is unchanged; our judgement, not measured
_HALF_WIDTH_DB = 0.8  # least half width: learning takes of it or leaves to it; no record on what


def split_pair(pair: Pair) -> Split:
    """Take the level difference of a pair apart, under one tail where it has two."""
    return pair.of_elements.kept(split_pair, lambda spectra: _split_pair(pair, spectra))


def _split_pair(pair: Pair, spectra: PairSpectra) -> Split:
    one = _one_tail(pair) if pair.same_take and spectra.audible.any() else None
    if one is not None:
        return _split(pair, *one)
    panned = find_panned(pair)
    hidden = touched(panned, pair) if panned else None
    if hidden is not None:
        spectra = not_judged(spectra, hidden)
    split = split_difference(spectra, pair.same_take)
    if pair.same_take:
        split = _without_ends(split, spectra)
        split = told_apart(split, spectra, pair.right_less_left, pair.gain_db)
    return split if hidden is None else replace(split, hidden=_both(hidden, split.hidden))


def _without_ends(split: Split, spectra: PairSpectra) -> Split:
    """The elements that are left where notes that end sooner are not asked.

    What can't be heard in the whole does not tell of anybody's notes.
    """
    heard = [one for one in split.changes if can_be_heard(*stands(one, spectra, split.tone_db))]
    split = replace(split, changes=tuple(heard))
    ended = ends_apart(split, spectra).ended
    if not ended:
        return split
    hidden = cells_of(ended)
    spectra = not_judged(spectra, hidden)
    split = replace(split_difference(spectra, same_take=True), ended=ended)
    return replace(ends_apart(split, spectra), hidden=hidden)


def _both(one: BoolArray, other: BoolArray | None) -> BoolArray:
    return one if other is None else one | other


def ground(pair: Pair) -> tuple[PairSpectra, Callable[[PairSpectra], Split], float]:
    """Where elements of a take are sought, what finds them there, and how much is left of one."""
    one = _one_tail(pair)
    if one is None:
        return pair.of_elements, exact_split, 1.0
    return one[0].spectra, proven_split, _LEFT_BESIDE_TAIL


def _one_tail(pair: Pair) -> tuple[OneTail, float] | None:
    """The pair under one tail and the scatter left; None where it needs none, or too much is."""
    if exact_split(pair.of_elements).scatter_db < EXACT_SCATTER_DB:
        return None
    one = pair.under_one_tail
    if one is None:
        return None
    scatter_db = exact_split(one.spectra).scatter_db
    return (one, scatter_db) if scatter_db < EXACT_SCATTER_DB else None


def _split(pair: Pair, one: OneTail, scatter_db: float) -> Split:
    """The changed elements on the pair's own cells."""
    spectra = pair.of_elements
    split = ends_apart(proven_split(one.spectra), one.spectra, one_tail=True)
    ended = tuple(_on_own_cells(change, one.spectra, spectra) for change in split.ended)
    changes = [_on_own_cells(change, one.spectra, spectra) for change in split.changes]
    changes = [down_to_its_lowest(change, spectra, one.level_db) for change in changes]
    again = pair.relearnt(_factors(one.spectra, split.changes)) if changes else None
    if again is not None:
        sized = [
            replace(change, interval=_interval(change))
            for change in exact_split(_evened(again.spectra)).changes
        ]
        changes = [_sized(change, sized) for change in changes]
    tone_db = np.zeros(len(spectra.centre_hz))
    tone_db[: len(split.tone_db)] = split.tone_db
    return Split(tuple(changes), tone_db, scatter_db, one_tail=True, ended=ended)


def _on_own_cells(change: Change, worn: PairSpectra, spectra: PairSpectra) -> Change:
    """An element found on cells with another tail, on the pair's own; nothing above semitones."""
    share = share_of(change.energy, worn)
    energy = np.zeros_like(spectra.reference)
    energy[:, : share.shape[1]] = share * spectra.reference[:, : share.shape[1]]
    return replace(change, energy=energy, interval=_interval(change))


def _interval(change: Change) -> tuple[float, float]:
    """With what the learning takes from an element, or leaves to it."""
    size = change.difference_db
    low, high = (float(np.hypot(edge - size, _HALF_WIDTH_DB)) for edge in change.interval)
    return size - low, size + high


def proven_split(spectra: PairSpectra) -> Split:
    """Only what moves too much of the sound for a tail that was not learnt quite right.

    Parameters
    ----------
    spectra : PairSpectra
        Of a reference that wears the candidate's tail.
    """
    still = _evened(spectra)
    plain, evened = exact_split(spectra), exact_split(still)
    better = [_of_its_sign(change, evened.changes) for change in plain.changes]
    moved = [0.0 if one is None else _moved_share(still, one) for one in better]
    least = max(_LEAST_MOVED, _ALSO * max(moved, default=0.0))
    kept = [
        replace(one, energy=change.energy)
        for change, one, share in zip(plain.changes, better, moved, strict=True)
        if one is not None and share > least
    ]
    return replace(evened, changes=tuple(kept))


def _of_its_sign(change: Change, others: Sequence[Change]) -> Change | None:
    """The one that moved to the same side, if there is."""
    return next((one for one in others if one.difference_db * change.difference_db > 0), None)


def _sized(change: Change, better: Sequence[Change]) -> Change:
    """An element's cells with the size of one of its sign, if there is: surer without scatter."""
    other = _of_its_sign(change, better)
    return change if other is None else replace(other, energy=change.energy)


def _moved_share(spectra: PairSpectra, change: Change) -> float:
    """Share of the sound, weighted by loudness, that a change moves by a decibel or more."""
    softer = np.minimum(spectra.reference, spectra.candidate)
    weight = np.where(spectra.audible, softer, 0.0) ** 0.3
    factors = np.maximum(_factors(spectra, (change,)), 1e-3)
    moved = np.abs(10 * np.log10(factors)) > _MOVED_DB
    return float(weight[moved].sum() / max(weight.sum(), 1e-30))


def _evened(spectra: PairSpectra) -> PairSpectra:
    """Cells that lie within their pitch's scatter are taken to be unchanged.

    Standing waves and a tail not learnt quite right move a pitch up and down; an element moves it
    to one side. So the side that moves less tells the scatter.
    """
    softer = np.minimum(spectra.reference, spectra.candidate)
    weight = np.where(spectra.audible, softer, 0.0) ** 0.3
    difference = spectra.difference_db
    low, high = quantiles_by_column(difference, weight, (_SIDE, 1 - _SIDE))
    heard = (weight > 0).sum(axis=0) > 10
    scatter = np.where(heard, np.maximum(np.minimum(-low, high), 0.0), 0.0)
    still = np.abs(difference) < _TIMES_SCATTER * scatter
    return replace(spectra, candidate=np.where(still, spectra.reference, spectra.candidate))


def _factors(spectra: PairSpectra, changes: tuple[Change, ...]) -> FloatArray:
    """Power of every cell after the changes, over before."""
    factors = np.ones_like(spectra.reference)
    for change in changes:
        share = share_of(change.energy, spectra)
        factors *= 1 + share * (10 ** (change.difference_db / 10) - 1)
    return factors
