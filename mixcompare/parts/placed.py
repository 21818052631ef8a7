"""Where every part sits between left and right in either recording, left and right fitted apart.

In a cell that several parts fill, right less left over the whole is the mean of the parts' own, by
their shares of its power. The shares are known from the fit of the levels, so that every part's own
is a linear regression over all cells. In one take and room the regression is of the cells' moves,
which are exact where nothing was moved.

Conventions
-----------
Positions are those of :mod:`mixcompare.aspects.placement`, with the room's sound.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.elements.panned import Panned, find_panned, find_panned_and_raised, position_of
from mixcompare.knowledge.notes import PartNotes
from mixcompare.pair.pair import Pair
from mixcompare.parts.changed import doubles
from mixcompare.parts.fit import CELLS_PER_NOTE, Cells, Fitted
from mixcompare.parts.laid import coarseness, coarser
from mixcompare.parts.values import Levels, PartLevel, Place, Players
from mixcompare.statistics import block_counts

FloatArray = npt.NDArray[np.float64]
Images = tuple[FloatArray, FloatArray]

_BLOCKS, _DRAWS = 16, 100  # cost: of the bootstrap over time
_ROUNDS, _FAR_OFF = 5, 0.3  # of weights; what lies so far off counts less
_LOUDER = 0.45
"""Exponent of a cell's power: soft cells are the room's (42 pairs of three movements, as all
constants here that say no other source)."""
_APART, _LEAST_SCATTER = 0.5, 0.02
"""How far parts lie from the middle of all, and the least a cell scatters; our choice."""
_OF_NOISE = 0.3
"""Of a part's deviation by the scatter of cells, which the draws hold already."""
_WIDEST = 0.2  # half an interval: beyond, nothing is told; twice what is just noticeable
_FEWEST = 6.0  # notes' worth of cells that a part fills, by its share squared; our choice
_FLOORS = {True: 0.03, False: 0.06}
"""What the shares get wrong besides, a standard deviation: in one take and room, and else."""
_READ_SMALL = 0.6  # of a move, by which the truth may lie farther
_MOVES_ALIKE = 0.35
"""Cosine of a part's cells and those that moved: of nine panned sections of two movements the true
one, or one that it doubles, has 0.37 and more."""
_NOTES_OF = 0.6  # of a part's notes that another has too, for it to double that one; our choice
_ALSO = 0.5  # of the best one's cosine, for another that doubles it; our choice
_AS_FAR = 0.6
"""Of an element's move, that the interval of a part has to reach to be it: the true ones reach 0.66
and more, one that another doubles reaches 0.56."""


def with_places(
    levels: Levels,
    pair: Pair,
    cells: Cells,
    fitted: Fitted,
    parts: Sequence[PartNotes],
    one_tail: bool,
) -> Levels:
    """The same with every part's place, and with who plays what was panned elsewhere.

    Parameters
    ----------
    levels : Levels
        What is known without.
    pair : Pair
        Both recordings.
    cells : Cells
        The pair on the fit's clock.
    fitted : Fitted
        What explains them.
    parts : sequence of PartNotes
        The score.
    one_tail : bool
        Whether another tail was taken off: then every cell moved.
    """
    images = _on_the_fit(pair, cells)
    if images is None:
        return levels
    exact = pair.same_take and not one_tail
    places = places_of(cells, fitted, images, exact)
    found = list(levels.parts)
    panned = (*find_panned(pair), *find_panned_and_raised(pair)) if pair.same_take else ()
    players = []
    for one in panned:
        members = movers(one, cells, fitted, images, parts, places)
        for member in members:
            places[member] = Place(one.from_position, one.to_position, one.interval)
        players.append(Players(tuple(parts[member].name for member in members)))
    found = [_placed(part, place) for part, place in zip(levels.parts, places, strict=True)]
    return replace(levels, parts=tuple(found), movers=tuple(players))


def _placed(part: PartLevel, place: Place | None) -> PartLevel:
    if place is None:
        return part
    return replace(
        part,
        reference_position=place.reference,
        candidate_position=place.candidate,
        position=place.difference,
        position_interval=place.interval,
    )


def _on_the_fit(pair: Pair, cells: Cells) -> Images | None:
    """Right less left over the whole, on the fit's cells; None where there is no image."""
    lies, spectra = pair.lies, pair.spectra
    if lies is None:
        return None
    bands, every = len(cells.centre_hz), coarseness(len(spectra.times_s))
    one, other = (
        coarser((share * power)[:, :bands].T, every)
        / np.maximum(coarser(power[:, :bands].T, every), 1e-30)
        for share, power in zip(lies, (spectra.reference, spectra.candidate), strict=True)
    )
    return one, other


def places_of(cells: Cells, fitted: Fitted, images: Images, exact: bool) -> list[Place | None]:
    """Every part's place; None where it fills too little to tell.

    Parameters
    ----------
    cells : Cells
        The pair.
    fitted : Fitted
        What explains it.
    images : (ndarray, ndarray), shape (bands, n)
        Right less left over the whole of every cell, of reference and candidate.
    exact : bool
        Whether every cell that nothing moved lies where it lay.
    """
    heard = cells.heard
    frames = np.arange(heard.shape[1]) * _BLOCKS // heard.shape[1]
    blocks = np.broadcast_to(frames, heard.shape)[heard]
    weight = _weight(cells)
    shares = fitted.shares[:, heard], fitted.candidate_shares[:, heard]
    lies = images[0][heard], images[1][heard]
    first = _Regression(shares[0], lies[0], weight, blocks)
    if exact:
        # A part that was raised draws its cells to its own place.
        moves_of_cells = lies[1] - lies[0] - first.value @ (shares[1] - shares[0])
        moves = _Regression(shares[1], moves_of_cells, weight, blocks, 0.0)
        start, end, filled = first.value, first.value + moves.value, first.filled
        noise, draws = moves.noise, position_of(start + moves.draws) - position_of(start)
    else:
        second = _Regression(shares[1], lies[1], weight, blocks)
        start, end, filled = first.value, second.value, np.minimum(first.filled, second.filled)
        noise = np.hypot(first.noise, second.noise)
        draws = position_of(second.draws) - position_of(first.draws)
    half = 1.96 * np.sqrt(draws.var(axis=0) + (_OF_NOISE * noise) ** 2 + _FLOORS[exact] ** 2)
    return [
        _told(float(before), float(after), float(around)) if notes >= _FEWEST else None
        for before, after, around, notes in zip(
            position_of(start), position_of(end), half, filled, strict=True
        )
    ]


def _told(reference: float, candidate: float, half: float) -> Place | None:
    """A place with the interval of its move; None where that is too wide."""
    if half > _WIDEST:
        return None
    move = candidate - reference
    low, high = min(move, (1 + _READ_SMALL) * move), max(move, (1 + _READ_SMALL) * move)
    return Place(reference, candidate, (low - half, high + half))


def movers(
    panned: Panned,
    cells: Cells,
    fitted: Fitted,
    images: Images,
    parts: Sequence[PartNotes],
    places: Sequence[Place | None],
) -> tuple[int, ...]:
    """Who plays what was panned elsewhere; no one where that can't be told.

    The part whose cells moved, and those that play its notes in cells that moved too, without those
    of them that are known to have stayed, or to have moved by less.
    """
    heard, weight = cells.heard, _weight(cells)
    side = np.sign(panned.to_position - panned.from_position)
    moved = np.maximum(side * (images[1] - images[0])[heard], 0)
    shares = (fitted.shares[:, heard] + fitted.candidate_shares[:, heard]) / 2
    length = np.sqrt((shares**2 @ weight) * (moved**2 @ weight))
    alike = shares @ (weight * moved) / np.maximum(length, 1e-30)
    best = int(alike.argmax())
    if alike[best] < _MOVES_ALIKE:
        return ()
    move = panned.to_position - panned.from_position
    free = np.array([place is None or _goes_along(place, move) for place in places])
    doubling = free & doubles(parts, _NOTES_OF)[:, best]
    return tuple(np.flatnonzero(doubling & (alike >= _ALSO * alike[best])).tolist())


def _goes_along(place: Place, move: float) -> bool:
    """Whether a part may have moved as far: where another moves in its cells, it does by less."""
    return max(edge * float(np.sign(move)) for edge in place.interval) >= _AS_FAR * abs(move)


def _weight(cells: Cells) -> FloatArray:
    """What cells count: those that are heard, by the softer recording's power."""
    weight = np.minimum(cells.reference, cells.candidate)[cells.heard] ** _LOUDER
    return np.asarray(weight / max(float(weight.mean()), 1e-30))


class _Regression:
    """Parts' own values from those of all cells, with draws by blocks of time.

    Attributes
    ----------
    value, noise, filled : ndarray, shape (parts,)
        Their own, its deviation by the scatter of the cells, and how many notes' cells each fills.
    draws : ndarray, shape (draws, parts)
    """

    def __init__(
        self,
        shares: FloatArray,
        cells: FloatArray,
        weight: FloatArray,
        blocks: npt.NDArray[np.int64],
        middle: float | None = None,
    ) -> None:
        middle = float(np.average(cells, weights=weight)) if middle is None else middle
        prior = np.eye(len(shares)) / _APART**2
        self.value = np.full(len(shares), middle)
        for _ in range(_ROUNDS):
            left = cells - self.value @ shares
            scatter = max(float(np.sqrt(np.average(left**2, weights=weight))), _LEAST_SCATTER)
            heavy = weight / np.sqrt(1 + (left / _FAR_OFF) ** 2) / (scatter**2 * CELLS_PER_NOTE)
            weighted = shares * heavy
            along = weighted @ cells + middle * prior.sum(axis=1)
            self.value = np.linalg.solve(weighted @ shares.T + prior, along)
        inside = [blocks == block for block in range(_BLOCKS)]
        squares = np.array([weighted[:, one] @ shares[:, one].T for one in inside])
        alongs = np.array([weighted[:, one] @ cells[one] for one in inside])
        self.noise = np.sqrt(np.diag(np.linalg.inv(squares.sum(axis=0) + prior)))
        self.filled = shares**2 @ weight / CELLS_PER_NOTE
        self.draws = np.array(
            [
                np.linalg.solve(
                    np.tensordot(many, squares, 1) + prior,
                    many @ alongs + middle * prior.sum(axis=1),
                )
                for many in block_counts(_BLOCKS, _DRAWS)
            ]
        )
