"""Which written parts are heard through the others in either recording, and who lies over them.

A part that is heard in neither can't be told from those that lie over it: it may be soft, covered,
or not in what was played at all. One that is well heard in one recording and hardly in the other
was left out there, or nearly.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.elements.audibility import audibility
from mixcompare.parts.fit import Cells, Fitted

FloatArray = npt.NDArray[np.float64]

_UNHEARD = 0.03  # of its time
_WELL, _HARDLY, _LEAST_DB = 0.4, 0.1, 5.5
"""Of its time, and the least level difference. Of 7 sections that were left out, each of three
candidates (three movements), 18 of 21 are heard less than 0.1 of the time; of 293 that play on and
are well heard in one recording, two are heard as little in the other, by less than 5 dB."""
_COVERS, _MOST_COVERING = 0.5, 2  # of what the first covers, to be named beside it; our choice
SILENT_DB = 40.0  # how far the level of what isn't there may lie; our choice


def is_open(interval: tuple[float, float]) -> bool:
    """Whether a level is that of a part which one recording lacks."""
    return max(map(abs, interval)) >= SILENT_DB


@dataclass(frozen=True)
class Heard:
    """How much of its time every part is heard.

    Attributes
    ----------
    reference, candidate : ndarray, shape (parts,)
        Shares, 0 to 1.
    over : tuple of tuple of int
        For every part who has most of the sound in its own cells of the candidate, the most first.
    """

    reference: FloatArray
    candidate: FloatArray
    over: tuple[tuple[int, ...], ...]

    def nowhere(self, part: int) -> bool:
        """Whether a part is heard in neither recording."""
        return bool(max(self.reference[part], self.candidate[part]) < _UNHEARD)

    def left_out(self, parts: Sequence[int], difference_db: float) -> bool:
        """Whether parts are well heard in one recording and hardly in the softer one."""
        places = list(parts)
        if not places or abs(difference_db) < _LEAST_DB:
            return False
        loud, soft = self.reference[places], self.candidate[places]
        if difference_db > 0:
            loud, soft = soft, loud
        return bool((loud >= _WELL).all() and (soft <= _HARDLY).all())


def heard_of(cells: Cells, fitted: Fitted) -> Heard:
    """How every part is heard, by its share of either recording's cells."""
    shares, own = fitted.candidate_shares, []
    for place, share in enumerate(shares):
        there = np.tensordot(shares, share * cells.candidate, 2)
        there[place] = 0.0
        most = [one for one in np.argsort(-there) if there[one] >= _COVERS * there.max()]
        own.append(tuple(int(one) for one in most[:_MOST_COVERING]))
    return Heard(
        _audible(fitted.shares, cells.reference, cells.centre_hz),
        _audible(shares, cells.candidate, cells.centre_hz),
        tuple(own),
    )


def _audible(shares: FloatArray, whole: FloatArray, centre_hz: FloatArray) -> FloatArray:
    """How much of its time every part is heard through the rest of a recording."""
    powers = ((share * whole).T for share in shares)
    return np.array([audibility(own, whole.T - own, centre_hz).audible_share for own in powers])
