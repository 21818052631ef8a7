"""Two elements of one take that changed to the same side, told apart by where they sit.

Of two mixes of a take, the difference of both spectrograms is that of all elements that came up
(or went down), and says nothing of how many there are. But its image does: what a note adds to a
cell as it begins comes straight from the player's place, before the room answers, so that the
attacks of one element gather about one place and those of two about two. A cell belongs to the
element whose attack it follows; where that is known, each element is sized by its own cells.
Elements that sit side by side, and those of a mono pair, stay one.

Conventions
-----------
``seat`` is right less left over the whole, as powers: -1 left, 1 right.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.attacks import place_of_rise, risen
from mixcompare.elements.change import Change, Split
from mixcompare.elements.one_take import change_among
from mixcompare.pair.spectra import PairSpectra
from mixcompare.statistics import effective_number, weighted_quantiles

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
Shares = tuple[FloatArray, FloatArray]

_LEAST_DB, _LEAST_PART = 1.0, 0.2  # of a cell, and of the change's size, for an attack; our choice
_FEWEST_ATTACKS = 60
_LEAST_SIZE_DB = 2.0  # of a change: less may be the rest of something else. Our judgement
_STRAY = 0.1  # attacks anywhere: room and beating. Our judgement, not measured
_SPREAD = (0.08, 0.3)
"""Least and most spread of one element's attacks: 0.11 to 0.3 of 21 sections alone in a hall, whose
notes spread by 0.4 and more while they are held (three scores)."""
_OF_ONE = 0.35  # most spread of one element alone: 0.37 once, of 21
_APART, _SURER = 0.5, 8.0
"""Least distance of two seats, and by how much two foretell the attacks better than one (natural
logarithm, by moments). Of 21 sections alone (three scores) none has both: those that look two have
seats under 0.4 apart, and the one with two seats 0.57 apart gains 3.4; of 24 pairs those
with seats 0.7 and more apart gain 17 and more."""
_CLOSER, _LESS_SURE = 0.3, 4.0
"""The same where their sizes differ beyond doubt: of those 21 sections two reach both, each with
one size on either side; of the pairs two more are told so."""
_LEAST_OF_TWO = 0.1  # of the attacks; our judgement, not measured
_SURE = 1.0  # natural logarithm of the odds for one of the two, for a cell to count; our choice
_LEAST_SHARE = 0.08
"""Of the whole change's cells: less is what strays from one element. Our judgement."""
_LEAST_OF_OTHER, _NO_PLACE = 0.1, 0.29
"""Of the stronger one's strength, and a spread: what strays from one element beside a shelf has
0.02 and 0.06 of it, and no place of its own; of 14 pairs the weaker has 0.14 and more (three
scores), of the sample's basses beside its clarinets 0.05, in one place."""
_MOVED_DB, _STAYED_DB = 1.0, 1.0
"""A gain, and how near to it a change is that all that stayed would show; our choice."""
_MIDDLE = 0.25  # right less left over the whole: 2.2 dB between the channels; our choice
_STEPS = 100
_BEGIN = ((0.15, 0.85), (0.02, 0.5), (0.5, 0.98))  # quantiles of the attacks, to begin with


@dataclass(frozen=True)
class _Seats:
    """One place or two and how attacks gather about them, each of shape (seats,)."""

    share: FloatArray
    seat: FloatArray
    spread: FloatArray

    def odds(self, seats: FloatArray) -> FloatArray:
        """Natural logarithm of the odds for the right one of the two."""
        left, right = _likely(seats, self)
        return np.asarray(np.log((right + _STRAY / 2) / (left + _STRAY / 2)))


def told_apart(
    split: Split, spectra: PairSpectra, shares: Shares | None, gain_db: float = 0.0
) -> Split:
    """The same split, with two elements where one change is made of two.

    Of two halves the one that is said to have changed may be all that stayed, wherever it sits:
    such a change is left as it is, and so is one that only undoes the pair's gain.

    Parameters
    ----------
    split : Split
        Of one take in one room.
    spectra : PairSpectra
        The cells in which it was found.
    shares : (ndarray, ndarray) or None, shape (n, bands)
        Right less left of both recordings' cells, over the whole; None for a mono pair.
    gain_db : float
        What was taken out of the pair.
    """
    if shares is None:
        return split
    changes: list[Change] = []
    for change in split.changes:
        stayed = abs(gain_db) > _MOVED_DB and abs(change.difference_db + gain_db) < _STAYED_DB
        whole = change.against or stayed
        two = None if whole else _two(change, split.tone_db, spectra, shares)
        changes += two or [change]
    return replace(split, changes=tuple(changes))


def _two(
    change: Change, tone_db: FloatArray, spectra: PairSpectra, shares: Shares
) -> list[Change] | None:
    """Both elements of a change, the left one first; None where it is one."""
    size = change.difference_db
    if abs(size) < _LEAST_SIZE_DB:
        return None
    softer = np.minimum(spectra.reference, spectra.candidate)
    weight = np.where(spectra.audible & (change.energy > 0), softer**0.3, 0.0)
    moved_db = np.sign(size) * (spectra.difference_db - tone_db)
    plain = replace(spectra, candidate=spectra.candidate * 10 ** (-tone_db / 10))
    begun, seats = _attacks(plain, shares, np.sign(size))
    begun &= (moved_db > max(_LEAST_DB, _LEAST_PART * abs(size))) & (weight > 0)
    if begun.sum() < _FEWEST_ATTACKS:
        return None
    attacks = np.where(begun, weight, 0.0)
    found = _seats(seats[begun], attacks[begun], effective_number(attacks.sum(axis=1)))
    if found is None:
        return None
    seats_of, clearly = found
    odds = _odds_of_cells(np.where(begun, seats_of.odds(seats), 0.0), attacks, begun)
    whole = weight.sum()
    out = []
    for seat, own in zip(seats_of.seat, (odds < -_SURE, odds > _SURE), strict=True):
        share = float(weight[own].sum() / whole)
        one = change_among(spectra, tone_db, float(np.sign(size)), own)
        if one is None or share < _LEAST_SHARE:
            return None
        out.append(replace(one, against=False, strength=share * one.strength, seat=float(seat)))
    return together(out, seats_of.spread, clearly)


def together(two: list[Change], spread: FloatArray, clearly: bool) -> list[Change] | None:
    """Both halves of a change; None where they are one element, or would be told as one.

    Parameters
    ----------
    two : list of Change
        Each sized by its own cells.
    spread : ndarray, shape (2,)
        Of their attacks.
    clearly : bool
        Whether their seats alone tell two.
    """
    strength = np.array([one.strength for one in two])
    weaker = int(strength.argmin())
    if strength[weaker] < _LEAST_OF_OTHER * strength.max() and spread[weaker] > _NO_PLACE:
        return None
    alike = side_of(two[0].seat or 0.0) == side_of(two[1].seat or 0.0)
    return two if _differ(*two) or (clearly and not alike) else None


def side_of(seat: float) -> int:
    """Where a seat is said to be: 1 on the right, -1 on the left, 0 in the middle."""
    return int(np.sign(seat)) if abs(seat) > _MIDDLE else 0


def _differ(one: Change, other: Change) -> bool:
    """Whether two changes differ by more than their intervals."""
    first, second = (sorted(map(abs, each.interval)) for each in (one, other))
    return first[0] > second[1] or second[0] > first[1]


def _attacks(spectra: PairSpectra, shares: Shares, sign: float) -> tuple[BoolArray, FloatArray]:
    """Cells in which the change has just set in, and from where, shape (n, bands) each.

    Of cells without the tone: what a filter adds comes from where everybody sits.
    """
    changed = sign * (spectra.candidate - spectra.reference)
    right_less_left = sign * (spectra.candidate * shares[1] - spectra.reference * shares[0])
    begun = risen(changed)
    return begun, place_of_rise(changed, right_less_left, begun)


def _seats(seats: FloatArray, weight: FloatArray, moments: float) -> tuple[_Seats, bool] | None:
    """Two places about which the attacks gather, and whether clearly; None where one will do."""
    one = _fitted(seats, weight, weighted_quantiles(seats, weight, (0.5,)), _OF_ONE)
    twos = (
        _fitted(seats, weight, weighted_quantiles(seats, weight, begin), _SPREAD[1])
        for begin in _BEGIN
    )
    two = max(twos, key=lambda each: _foretold(seats, weight, each))
    surer = moments * (_foretold(seats, weight, two) - _foretold(seats, weight, one))
    apart = float(np.ptp(two.seat))
    if two.share.min() < _LEAST_OF_TWO or apart < _CLOSER or surer < _LESS_SURE:
        return None
    return two, bool(apart > _APART and surer > _SURER)


def _likely(seats: FloatArray, about: _Seats) -> FloatArray:
    """Density of attacks about each seat, one after the other along the first axis."""
    shape = (-1, *[1] * seats.ndim)
    share, seat, spread = (each.reshape(shape) for each in (about.share, about.seat, about.spread))
    height = (1 - _STRAY) * share / spread / np.sqrt(2 * np.pi)
    return np.asarray(height * np.exp(-(((seats - seat) / spread) ** 2) / 2))


def _fitted(seats: FloatArray, weight: FloatArray, begin: FloatArray, most: float) -> _Seats:
    """Normal densities among evenly strayed attacks, by expectation and maximisation."""
    about = _Seats(np.full(len(begin), 1 / len(begin)), begin, np.full(len(begin), 0.2))
    for _ in range(_STEPS):
        likely = _likely(seats, about)
        own = weight * likely / (likely.sum(axis=0) + _STRAY / 2)
        amount = np.maximum(own.sum(axis=1), 1e-30)
        seat = own @ seats / amount
        spread = np.sqrt((own * (seats - seat[:, None]) ** 2).sum(axis=1) / amount)
        about = _Seats(amount / amount.sum(), seat, np.clip(spread, _SPREAD[0], most))
    order = np.argsort(about.seat)
    return _Seats(about.share[order], about.seat[order], about.spread[order])


def _foretold(seats: FloatArray, weight: FloatArray, about: _Seats) -> float:
    """Mean logarithm of the density with which the attacks were foretold."""
    density = _likely(seats, about).sum(axis=0) + _STRAY / 2
    return float(weight @ np.log(density) / weight.sum())


def _odds_of_cells(odds: FloatArray, attacks: FloatArray, begun: BoolArray) -> FloatArray:
    """Of every cell, by the attack that it follows and by what its band mostly holds."""
    out = np.zeros_like(odds)
    latest = np.zeros(odds.shape[1])
    for row in range(len(odds)):
        again = begun[row] & ~(begun[row - 1] if row else np.zeros_like(begun[row]))
        latest = np.where(again, 0.0, latest) + odds[row]
        out[row] = latest
    of_band = (odds * attacks).sum(axis=0) / np.maximum(attacks.sum(axis=0), 1e-30)
    return np.asarray(out + ndimage.gaussian_filter1d(of_band, 1.0))
