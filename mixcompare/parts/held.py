"""Parts whose notes end sooner in one recording than in the other, for their levels to be read.

The joint fit takes notes to be held alike. Where one recording plays a part shorter, the end of
its notes is missing there, and the part was read softer. So for every part it is asked whether its
cells are likelier with shorter notes in one of the recordings, whatever its level; if so that
recording's templates get them, and the cells in which only the other still holds a note say nothing
of levels: these are read from the attack to the earlier of both note-offs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.pair.spectra import PairSpectra
from mixcompare.parts.apart import with_second_opinion
from mixcompare.parts.fit import CELLS_PER_NOTE, Cells, Fitted, fit
from mixcompare.parts.laid import Played, cells_over

FloatArray = npt.NDArray[np.float64]

_SHARES = (0.8, 0.6, 0.4, 0.25)  # of the written length; resolution
_LEVELS_DB = np.arange(-8, 8.1, 1.0)  # resolution
_LEAST_GAIN = 3.0
_OF_THE_SUREST = 0.5  # what others' shorter notes leave in a part's cells is theirs; our choice
_ROUNDS = 3  # cost
_OWN = 0.05  # of a cell, to be asked; cost
_ENDED, _STILL = 0.5, 0.15
"""Of a note, what is left where it has ended, and of a cell, what has to go on to be missed."""
_REFERENCE, _CANDIDATE = 0, 1


@dataclass(frozen=True)
class Shorter:
    """A part that one recording plays shorter.

    Attributes
    ----------
    part : int
    side : int
        0 = reference, 1 = candidate.
    share : float
        Of the written length.
    gain : float
        Logarithm of how much likelier the cells are so.
    """

    part: int
    side: int
    share: float
    gain: float


def held_alike(
    spectra: PairSpectra, played: Played, cells: Cells, fitted: Fitted
) -> tuple[Cells, Fitted]:
    """The cells in which notes are held in both recordings or in neither, and the fit to them.

    Parameters
    ----------
    spectra : PairSpectra
        Of two performances.
    played : Played
        The score.
    cells, fitted : Cells and Fitted
        With all notes held as written.
    """
    shorter: list[Shorter] = []
    for _ in range(_ROUNDS):
        asked = sorted(set(range(len(played.full))) - {one.part for one in shorter})
        found = shorter_in(cells, fitted, played, asked)
        if not found:
            break
        shorter += found
        templates = played.full.copy(), played.full.copy()
        for one in shorter:
            templates[one.side][one.part] = played.held(one.share)[one.part]
        cells = cells_over(spectra, *templates)
        cells = replace(cells, heard=cells.heard & ~_ended(cells, fitted, played.full, shorter))
        fitted = with_second_opinion(cells, fit(cells))
    return cells, fitted


def shorter_in(
    cells: Cells, fitted: Fitted, played: Played, asked: Sequence[int]
) -> tuple[Shorter, ...]:
    """Parts that one recording plays shorter, without those that may only lie in their cells."""
    best: dict[int, Shorter] = {}
    for side in (_REFERENCE, _CANDIDATE):
        as_held = {part: _likelihood(cells, fitted, part, side, None) for part in asked}
        for share in _SHARES:
            left = _left(cells, played.held(share), side)
            for part in asked:
                gain = _likelihood(cells, fitted, part, side, left[part]) - as_held[part]
                if part not in best or gain > best[part].gain:
                    best[part] = Shorter(part, side, share, gain)
    least = max([_LEAST_GAIN, *(_OF_THE_SUREST * one.gain for one in best.values())])
    return tuple(one for one in best.values() if one.gain >= least)


def _left(cells: Cells, shorter: FloatArray, side: int) -> FloatArray:
    """What shorter notes leave of every part's power in every cell of a recording."""
    whole = (cells.in_reference, cells.in_candidate)[side]
    worn = cells.rooms[side].worn(shorter, cells.centre_hz)
    return np.asarray(np.clip(worn / np.maximum(whole, 1e-12), 0, 1))


def _likelihood(
    cells: Cells, fitted: Fitted, part: int, side: int, left: FloatArray | None
) -> float:
    """Of the cells' differences, with so much left of a part, as loud as is likeliest.

    Student's t, as for sizes.
    """
    share = (fitted.shares, fitted.candidate_shares)[side][part]
    own = cells.heard & (share > _OWN)
    away = (fitted.left_db if side == _CANDIDATE else -fitted.left_db)[own]
    held = share[own] if left is None else (share * left)[own]
    others = 1 - share[own]
    likely = []
    for gain in 10 ** (_LEVELS_DB / 10):
        moved = 10 * np.log10(np.maximum(others + held * gain, 1e-3))
        likely.append(-1.5 * np.log1p(((away - moved) / fitted.scatter_db) ** 2).sum())
    return float(max(likely)) / CELLS_PER_NOTE


def _ended(
    cells: Cells, fitted: Fitted, full: FloatArray, shorter: Sequence[Shorter]
) -> npt.NDArray[np.bool_]:
    """Cells in which only one of the recordings still holds a note, shape (bands, n)."""
    out = np.zeros_like(cells.heard)
    for one in shorter:
        whole = cells.rooms[one.side].worn(full[[one.part]], cells.centre_hz)[0]
        there = (cells.in_reference, cells.in_candidate)[one.side][one.part]
        goes_on = (fitted.candidate_shares, fitted.shares)[one.side][one.part]
        out |= (there < _ENDED * whole) & (goes_on > _STILL)
    return out
