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

from mixcompare.features.grid import ANALYSIS_RATE_HZ, SEMITONE_FFT
from mixcompare.pair.spectra import PairSpectra
from mixcompare.parts.apart import with_second_opinion
from mixcompare.parts.fit import CELLS_PER_NOTE, Cells, Fitted, fit
from mixcompare.parts.laid import Played, cells_over

FloatArray = npt.NDArray[np.float64]

_SHARES = (0.8, 0.65, 0.5, 0.35, 0.25)  # of the written length; resolution
_SHORTEST_UNSEEN = 0.5  # of that, which may go unseen: detached; shorter is rare; our choice
_WINDOW_S = SEMITONE_FFT / ANALYSIS_RATE_HZ
_NOT_DISPROVED = 1.92  # half of chi-squared's 95 %
_LEVELS_DB = np.arange(-8, 8.1, 0.5)  # resolution
_LEAST_GAIN = 3.0
_OF_THE_SUREST = 0.5  # what others' shorter notes leave in a part's cells is theirs; our choice
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
    louder_db : float
        How much louder the part then is in that recording.
    """

    part: int
    side: int
    share: float
    gain: float
    louder_db: float


@dataclass(frozen=True)
class Alike:
    """Cells in which notes are held in both recordings or in neither, and the fit to them.

    Attributes
    ----------
    cells : Cells
    fitted : Fitted
    unseen_db : ndarray, shape (2, parts)
        By how much a part may be softer than is read, or louder: were its notes shorter in the
        reference, or in the candidate, and too short for that to be seen.
    """

    cells: Cells
    fitted: Fitted
    unseen_db: FloatArray


def held_alike(spectra: PairSpectra, played: Played, cells: Cells, fitted: Fitted) -> Alike:
    """Have every part's notes as long as either recording plays them.

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
    while True:
        asked = sorted(set(range(len(played.full))) - {one.part for one in shorter})
        tried = tried_in(cells, fitted, played, asked)
        found = surely_shorter(tried)
        if not found:
            break
        shorter += found
        templates = played.full.copy(), played.full.copy()
        for one in shorter:
            templates[one.side][one.part] = played.held(one.share)[one.part]
        cells = cells_over(spectra, *templates)
        cells = replace(cells, heard=cells.heard & ~_ended(cells, fitted, played.full, shorter))
        fitted = with_second_opinion(cells, fit(cells))
    unseen_db = np.zeros((2, len(played.full)))
    for one in tried:
        if one.share >= _SHORTEST_UNSEEN and one.gain >= -_NOT_DISPROVED:
            before = unseen_db[one.side, one.part]
            # Of a note within one window its length is read as its level.
            within = played.lengths_s[one.part] < _WINDOW_S
            louder_db = -10 * np.log10(one.share) if within else one.louder_db
            unseen_db[one.side, one.part] = max(before, louder_db)
    return Alike(cells, fitted, unseen_db)


def tried_in(
    cells: Cells, fitted: Fitted, played: Played, asked: Sequence[int]
) -> tuple[Shorter, ...]:
    """Every part with every share of its length in either recording."""
    out = []
    for side in (_REFERENCE, _CANDIDATE):
        as_held = {part: _likelihood(cells, fitted, part, side, None) for part in asked}
        for share in _SHARES:
            left = _left(cells, played.held(share), side)
            for part in asked:
                likely, level_db = _likelihood(cells, fitted, part, side, left[part])
                before, before_db = as_held[part]
                gain, louder_db = likely - before, level_db - before_db
                out.append(Shorter(part, side, share, gain, louder_db))
    return tuple(out)


def surely_shorter(tried: Sequence[Shorter]) -> tuple[Shorter, ...]:
    """Parts that one recording plays shorter, without those that may only lie in their cells."""
    best: dict[int, Shorter] = {}
    for one in tried:
        if one.part not in best or one.gain > best[one.part].gain:
            best[one.part] = one
    least = max([_LEAST_GAIN, *(_OF_THE_SUREST * one.gain for one in best.values())])
    return tuple(one for one in best.values() if one.gain >= least)


def _left(cells: Cells, shorter: FloatArray, side: int) -> FloatArray:
    """What shorter notes leave of every part's power in every cell of a recording."""
    whole = (cells.in_reference, cells.in_candidate)[side]
    worn = cells.rooms[side].worn(shorter, cells.centre_hz)
    return np.asarray(np.clip(worn / np.maximum(whole, 1e-12), 0, 1))


def _likelihood(
    cells: Cells, fitted: Fitted, part: int, side: int, left: FloatArray | None
) -> tuple[float, float]:
    """Of the cells' differences, with so much left of a part, as loud as is likeliest.

    Student's t, as for sizes. Also returned: how much louder than it was fitted that is.
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
    best = int(np.argmax(likely))
    return float(likely[best]) / CELLS_PER_NOTE, float(_LEVELS_DB[best])


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
