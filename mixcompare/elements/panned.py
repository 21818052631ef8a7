"""Elements of one take that were moved between left and right while their level stayed.

Of two mixes of a take, right less left is as exact in every cell as the level. What was panned
elsewhere moves the cells it plays in from one place to another; where it dominates, they go from
its old place to its new one. A change of level moves cells as well, but only with their level: it
is told apart by the cells whose level stayed. What was panned and raised as well is found by its
level; where it dominates, its place is its own before and after.

Conventions
-----------
``position`` is that of :mod:`mixcompare.aspects.placement`: (g_R - g_L) / (g_R + g_L), g the
amplitudes of the channels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.attacks import place_of_rise, risen
from mixcompare.elements.change import Change
from mixcompare.elements.one_take import EXACT_SCATTER_DB, exact_split
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import PairSpectra
from mixcompare.statistics import (
    effective_number,
    weighted_quantile,
    weighted_quantiles,
)

FloatArray = npt.NDArray[np.float64]

_STAYS_DB = 0.5
"""A change of level by 6 dB that moves a cell by less than this is an eighth of the cell and moves
its place by no more than that."""
LEAST_MOVE, _TIMES_NOISE = 0.2, 4.0
_MOST_NOISE = 0.1  # between two rooms every cell moves
_FEWEST_CELLS, _FEWEST_PITCHES, _FEWEST_MOMENTS = 60, 3.0, 10.0
_LEAST_SHARE = 0.01
"""Of all that sounds: 23 sections of three scores, panned, move 0.021 and more."""
_STAYING_DB, _STAYING = 1.0, 0.38
"""Of the weight that moved, with a level that stayed beside the tone: 0.50 and more beside those,
0.64 and more beside 21 of them; at most 0.26 where they were raised or lowered by 5 dB."""
_DOMINATED = 0.75  # quantile of the moves from which on a cell is the element's own
_WITHIN, _OF_THE_WAY = 0.02, 0.15
"""Least half widths, of a place by held notes and, as a share of the way, by their attacks."""
_WHOLE_SIZE_DB, _OWN = 0.3, 0.9
"""A cell that moves by nearly all of an element's change, and of which so much is the element."""
_ONE_WAY = 0.8
"""Of these cells, moved to one side: a change of level moves them by what little else they hold.
Our judgement, not measured."""
_STIRRED = 0.02
"""A fiftieth of a cell's power may move its level by a decibel."""
_NEXT_CELLS = (13, 5)  # frames and bands
_RESTS = 0.85
"""Of the weight in the element's bands, moved one way: more is the band itself, not what plays."""


@dataclass(frozen=True)
class Panned:
    """An element at another place.

    Attributes
    ----------
    from_position, to_position : float
        -1 left to +1 right.
    interval : (low, high)
        Of their difference.
    energy : ndarray, shape (n, bands)
        The element's power in the reference, estimated.
    level_db : float
        By how much it was raised as well; zero where its level stayed.
    """

    from_position: float
    to_position: float
    interval: tuple[float, float]
    energy: FloatArray
    level_db: float = 0.0


def find_panned(pair: Pair) -> tuple[Panned, ...]:
    """What was moved to the right, and what to the left, in one take, while its level stayed."""
    shares = pair.right_less_left
    return pair.of_elements.kept(find_panned, lambda spectra: _panned(spectra, shares))


def find_panned_and_raised(pair: Pair) -> tuple[Panned, ...]:
    """What was moved and changed its level as well, in one take."""
    shares, spectra = pair.right_less_left, pair.of_elements
    # What moved at its level leaves cells behind that look like a change of level.
    if shares is None or len(spectra.times_s) < _FEWEST_MOMENTS or find_panned(pair):
        return ()
    split = exact_split(spectra)
    if split.scatter_db > EXACT_SCATTER_DB or _noise(spectra, shares) > _MOST_NOISE:
        return ()
    found = (_moved_with_level(spectra, shares, one, split.tone_db) for one in split.changes)
    return tuple(one for one in found if one is not None)


def _noise(spectra: PairSpectra, shares: tuple[FloatArray, FloatArray]) -> float:
    """How far cells move anyway: infinite where none sounds."""
    weight = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0) ** 0.3
    moved = np.abs(shares[1] - shares[0])
    return 1.4826 * weighted_quantile(moved, weight, 0.5) if weight.any() else np.inf


def _moved_with_level(
    spectra: PairSpectra,
    shares: tuple[FloatArray, FloatArray],
    change: Change,
    tone_db: FloatArray,
) -> Panned | None:
    """Where an element whose level changed lay and lies, in the cells that are nearly all its."""
    size = change.difference_db
    level_db = spectra.difference_db - tone_db
    own = spectra.audible & (np.abs(level_db - size) < _WHOLE_SIZE_DB)
    own &= change.energy > _OWN * spectra.reference
    softer = np.minimum(spectra.reference, spectra.candidate)
    weight = np.where(own, softer**0.3, 0.0)
    pitches, moments = (effective_number(weight.sum(axis=axis)) for axis in (0, 1))
    if own.sum() < _FEWEST_CELLS or pitches < _FEWEST_PITCHES or moments < _FEWEST_MOMENTS:
        return None
    start, end = (weighted_quantile(share, weight, 0.5) for share in shares)
    to_that_side = (shares[1] - shares[0]) * np.sign(end - start) > LEAST_MOVE / 2
    alike = weight[to_that_side].sum()
    if abs(end - start) < LEAST_MOVE or alike < _ONE_WAY * weight.sum():
        return None
    places = float(position_of(np.array(start))), float(position_of(np.array(end)))
    low, high = weighted_quantiles(
        position_of(shares[1]) - position_of(shares[0]), weight, (0.1, 0.9)
    )
    return Panned(*places, _around(places[1] - places[0], low, high), change.energy, size)


def _around(
    difference: float, low: float, high: float, within: float = _WITHIN
) -> tuple[float, float]:
    return min(float(low), difference - within), max(float(high), difference + within)


def _panned(
    spectra: PairSpectra, shares: tuple[FloatArray, FloatArray] | None
) -> tuple[Panned, ...]:
    if shares is None or len(spectra.times_s) < _FEWEST_MOMENTS:
        return ()
    noise = _noise(spectra, shares)
    if noise > _MOST_NOISE:
        return ()
    softer = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)
    weight = softer**0.3
    moved = shares[1] - shares[0]
    away_db = np.abs(spectra.difference_db - exact_split(spectra).tone_db)
    least = max(LEAST_MOVE, _TIMES_NOISE * noise)
    found = (_moved(spectra, shares, sign * moved, weight, away_db, least) for sign in (1.0, -1.0))
    return tuple(one for one in found if one is not None)


def _moved(
    spectra: PairSpectra,
    shares: tuple[FloatArray, FloatArray],
    moved: FloatArray,
    weight: FloatArray,
    away_db: FloatArray,
    least: float,
) -> Panned | None:
    """What moved to one side."""
    all_moved = np.where(moved > least, weight * moved, 0.0)
    if all_moved[away_db < _STAYING_DB].sum() <= _STAYING * all_moved.sum():
        return None
    weight = np.where(away_db < _STAYS_DB, weight, 0.0)
    strong = (moved > least) & (weight > 0)
    pull = np.where(strong, weight * moved, 0.0)
    if strong.sum() < _FEWEST_CELLS or pull.sum() < _LEAST_SHARE * weight.sum():
        return None
    pitches, moments = (effective_number(pull.sum(axis=axis)) for axis in (0, 1))
    if pitches < _FEWEST_PITCHES or moments < _FEWEST_MOMENTS:
        return None
    bands = np.where(strong, weight, 0.0).sum(axis=0)
    in_bands = weight * bands / np.maximum(weight.sum(axis=0), 1e-30)
    if in_bands[moved > 0.4 * least].sum() > _RESTS * in_bands.sum():
        return None
    of_own = _furthest(moved, pull)
    start, end = (weighted_quantile(share, of_own, 0.5) for share in shares)
    share = np.clip(moved / max(abs(end - start), least), 0, 1)
    energy = np.where((moved > 0.5 * least) & spectra.audible, share * spectra.reference, 0.0)
    begun = _at_attacks(spectra, shares)
    further = np.sign(end - start) * (begun[1] - begun[0])
    attacks = np.where((energy > 0) & (further > least / 2), weight * further, 0.0)
    if _enough(attacks):
        # As notes begin, before the room answers: held, they lie nearer to the middle. In a hall 21
        # sections of three scores go 0.99 of their way (0.76 to 1.11), held 0.74 of it.
        shares, of_own = begun, _furthest(further, attacks)
        start, end = (weighted_quantile(share, of_own, 0.5) for share in shares)
    low, high = weighted_quantiles(
        position_of(shares[1]) - position_of(shares[0]), of_own, (0.1, 0.9)
    )
    places = float(position_of(np.array(start))), float(position_of(np.array(end)))
    moved_by = places[1] - places[0]
    within = _OF_THE_WAY * abs(moved_by) if shares is begun else _WITHIN
    return Panned(*places, _around(moved_by, low, high, within), np.asarray(energy))


def _furthest(moved: FloatArray, pull: FloatArray) -> FloatArray:
    """The weight of the cells that moved furthest: there the element is alone."""
    return np.where(moved >= weighted_quantile(moved, pull, _DOMINATED), pull, 0.0)


def _enough(weight: FloatArray) -> bool:
    return bool(
        (weight > 0).sum() >= _FEWEST_CELLS
        and effective_number(weight.sum(axis=1)) >= _FEWEST_MOMENTS
    )


def _at_attacks(
    spectra: PairSpectra, shares: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Where what each cell gains lies as a note begins in both recordings; elsewhere zero."""
    powers = spectra.reference, spectra.candidate
    begun = risen(powers[0]) & risen(powers[1])
    of_reference, of_candidate = (
        place_of_rise(power, power * share, begun)
        for power, share in zip(powers, shares, strict=True)
    )
    return of_reference, of_candidate


def position_of(share: FloatArray) -> FloatArray:
    """Place by the amplitudes of the channels, from right less left over the whole."""
    inside = np.clip(share, -1, 1)
    left, right = np.sqrt(1 - inside), np.sqrt(1 + inside)
    return np.asarray((right - left) / (right + left))


def touched(panned: tuple[Panned, ...], pair: Pair) -> npt.NDArray[np.bool_]:
    """Cells in which what was panned sounds: their levels moved by how it adds up with the rest."""
    spectra, shares = pair.of_elements, pair.right_less_left
    cells = np.zeros(spectra.reference.shape, np.bool_)
    if shares is None:
        return cells
    for one in panned:
        cells |= ndimage.binary_dilation(one.energy > 0, np.ones(_NEXT_CELLS))
    stirred = ndimage.binary_dilation(np.abs(shares[1] - shares[0]) > _STIRRED, np.ones((3, 3)))
    return np.asarray(cells & stirred)
