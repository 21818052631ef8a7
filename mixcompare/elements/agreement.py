"""Whether a change between two performances is there from whichever side one looks.

Groups of components (:mod:`mixcompare.elements.performances`) are found where starts agree; that is
not enough: a few bars that lie badly over each other make a group too. A change counts where both
directions of the comparison find it, and where either half of the element's playing, its loud
moments and its soft ones, and most of six pieces say the same.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from mixcompare.elements.beside import SMOOTH_FRAMES, heard_in_both
from mixcompare.elements.change import Change, Split, share_of
from mixcompare.pair.spectra import PairSpectra

FloatArray = npt.NDArray[np.float64]

# Of 20 groups found on three movements in three renderings 8 are left, of 12 wrong ones one.
_SAME = 0.5  # overlap of what both directions find
_LEAST_OF_SIZE = 0.4  # that a half, or the loud or soft moments, must show
_PIECES, _FEWEST_PIECES, _AGREEING = 6, 3, 0.75
_PLAYING = 0.1  # of its loud moments; our choice
_BESIDE = 0.1  # of its own weight in a band, for others to be there; our choice
_OWN, _OTHERS = 0.55, 0.15  # share of an element in a cell that is its own, or not its


def confirmed(split: Split, mirrored: Sequence[Change], spectra: PairSpectra) -> Split:
    """The changes on which all looks agree, sized by both directions; the others are doubtful.

    Parameters
    ----------
    split : Split
        Of candidate against reference.
    mirrored : sequence of Change
        Of reference against candidate.
    spectra : PairSpectra
        Candidate against reference.
    """
    sure, doubtful = [], []
    for change in split.changes:
        back = next((one for one in mirrored if opposite(change, one, spectra)), None)
        both = None if back is None else _of_both(change, back)
        if both is not None and both.is_clear and _throughout(change, spectra, split.tone_db):
            sure.append(both)
        else:
            doubtful.append(change)
    return replace(split, changes=tuple(sure), doubtful=tuple(doubtful))


def opposite(change: Change, back: Change, spectra: PairSpectra, same: float = _SAME) -> bool:
    """Whether the other direction's change is the same cells moved the other way, as much.

    Parameters
    ----------
    change, back : Change
        Of candidate against reference, and of reference against candidate.
    spectra : PairSpectra
        Candidate against reference.
    same : float
        Least overlap of both.
    """
    low, high = change.interval
    if change.difference_db * back.difference_db >= 0 or not (
        low <= -back.interval[0] and -back.interval[1] <= high
    ):
        return False
    one, other = (
        np.sqrt(energy / (power.mean(axis=0) + 1e-20)).ravel()
        for energy, power in (
            (change.energy, spectra.reference),
            (back.energy, spectra.candidate),
        )
    )
    length = float(np.linalg.norm(one) * np.linalg.norm(other))
    return float(one @ other) >= same * max(length, 1e-30)


def _of_both(change: Change, back: Change) -> Change:
    """The mean of both directions' sizes, with an interval that holds both."""
    size = (change.difference_db - back.difference_db) / 2
    half = (
        max(
            (change.interval[1] - change.interval[0]) / 2,
            (back.interval[1] - back.interval[0]) / 2,
        )
        + abs(change.difference_db + back.difference_db) / 2
    )
    agreeing = min(change.agreeing, back.agreeing)
    return replace(
        change, difference_db=size, interval=(size - half, size + half), agreeing=agreeing
    )


def _throughout(change: Change, spectra: PairSpectra, tone_db: FloatArray) -> bool:
    """Whether halves, loud and soft moments, and most of six pieces of an element agree."""
    plays = np.cumsum(np.sqrt(change.energy.sum(axis=1)))
    place = plays / max(float(plays[-1]), 1e-30)
    level = spectra.reference.sum(axis=1)
    own = change.energy.sum(axis=1)
    loud = level >= np.median(level[own >= _PLAYING * np.percentile(own, 98)])
    looks = _Looks(change, spectra, tone_db)
    halves = looks.at([place < 0.5, place >= 0.5, loud, ~loud])
    least = _LEAST_OF_SIZE * abs(looks.at([np.ones(len(loud), bool)])[0])
    sign = np.sign(change.difference_db)
    if not (sign * halves >= least)[np.isfinite(halves)].all():
        return False
    edges = np.linspace(0, 1, _PIECES + 1)
    pieces = looks.beside(
        [(place > low) & (place <= high) for low, high in itertools.pairwise(edges)]
    )
    told = pieces[np.isfinite(pieces)]
    return len(told) >= _FEWEST_PIECES and float((sign * told > 0).mean()) >= _AGREEING


class _Looks:
    """Level of an element's own cells against the others', at chosen moments."""

    def __init__(self, change: Change, spectra: PairSpectra, tone_db: FloatArray) -> None:
        smooth = spectra.over_moments(SMOOTH_FRAMES)
        self.difference_db = smooth.difference_db - tone_db
        weight = heard_in_both(spectra, smooth)
        share = share_of(change.energy, spectra)
        self.own, self.others = weight * (share > _OWN), weight * (share < _OTHERS)

    def at(self, moments: Sequence[npt.NDArray[np.bool_]]) -> FloatArray:
        """A value for each set of moments, all cells together; NaN where nothing can be said."""
        return np.array([self._level(those) for those in moments])

    def beside(self, moments: Sequence[npt.NDArray[np.bool_]]) -> FloatArray:
        """The same, band by band: no tone is to blame for what is left."""
        return np.array([self._beside(those) for those in moments])

    def _level(self, moments: npt.NDArray[np.bool_]) -> float:
        own, others = self.own[moments], self.others[moments]
        if own.sum() <= 0 or others.sum() <= 0:
            return float("nan")
        difference = self.difference_db[moments]
        return float(np.average(difference, weights=own) - np.average(difference, weights=others))

    def _beside(self, moments: npt.NDArray[np.bool_]) -> float:
        own, others = self.own[moments].sum(axis=0), self.others[moments].sum(axis=0)
        both = (own > 0) & (others > _BESIDE * own)
        if not both.any():
            return float("nan")
        apart = [
            (kind[moments] * self.difference_db[moments]).sum(axis=0)[both]
            / kind[moments].sum(axis=0)[both]
            for kind in (self.own, self.others)
        ]
        return float(np.average(apart[0] - apart[1], weights=np.minimum(own, others)[both]))
