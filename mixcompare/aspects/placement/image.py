"""What the whole image does: it turns, and it narrows or widens."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import optimize

SPREAD = 0.03  # residual of the image model that is still taken as no move
LEAST_BANDS = 6  # for turn and scale
FloatArray = npt.NDArray[np.float64]
_SCALES_TRIED = 0.4, 2.5  # narrower or wider than that is no start; our choice
_SCALE_SPREAD = 0.5  # how far the image's width may change before the fit resists


@dataclass(frozen=True)
class Image:
    """What happens to all positions alike: first a scale, then a turn."""

    turn_db: float
    scale: float
    told: bool = True

    @classmethod
    def fitted(
        cls, start: FloatArray, moved: FloatArray, back: bool = False, first_scale: float = 1.0
    ) -> Image:
        """Robust fit over bands, each counting alike; a register that moves is an outlier.

        ``back``: so that it leads from the candidate's bands to the reference's, not the other way.
        ``first_scale``: where the search begins, which may end in another place.
        """
        if len(start) < LEAST_BANDS:
            return cls(0.0, 1.0, told=False)

        def residual(values: FloatArray) -> FloatArray:
            image = cls(float(values[0]) * 10, math.exp(float(values[1])))
            away = image.came_from(start + moved) - start if back else image.moves(start) - moved
            return np.append(away, SPREAD * values[1] / _SCALE_SPREAD)

        first = turn_of(first_scale * start, start + moved - first_scale * start)
        solved = optimize.least_squares(
            residual,
            [first / 10, math.log(first_scale)],
            loss="cauchy",
            f_scale=SPREAD,
            max_nfev=100,
        )
        return cls(float(solved.x[0]) * 10, math.exp(float(solved.x[1])))

    def came_from(self, end: FloatArray) -> FloatArray:
        """Where a band lay that this image change brought to ``end``."""
        return np.asarray((end - self._turn) / (1 - end * self._turn) / self.scale)

    def moves(self, start: FloatArray) -> FloatArray:
        """Move that this image change gives a band lying at ``start``."""
        scaled = np.clip(self.scale * start, -0.99, 0.99)
        return np.asarray((scaled + self._turn) / (1 + scaled * self._turn) - start)

    @property
    def _turn(self) -> float:
        """Where the turn brings the centre."""
        return math.tanh(self.turn_db * math.log(10) / 40)


@dataclass(frozen=True)
class BothWays:
    """The change of the whole image, of two performances fitted there and back.

    A scale and a turn can hardly be told apart where most bands lie on one side, and which of them
    a fit prefers depends on the recording and on the scale it starts from. One take has no such
    doubt.

    Attributes
    ----------
    there : Image
        From the reference's bands.
    turn_db, scale : float
        Between all fits.
    doubt_db : float
        How far their turns lie from it at most.
    moves, doubt : ndarray, shape (bands,)
        What the image does to every band, and how far the fits lie from it at most.
    """

    there: Image
    turn_db: float
    scale: float
    doubt_db: float
    moves: FloatArray
    doubt: FloatArray

    @classmethod
    def fitted(cls, start: FloatArray, moved: FloatArray, same_take: bool) -> BothWays:
        """Over bands of which some may be NaN: not known."""
        known = np.isfinite(start) & np.isfinite(moved)
        there = Image.fitted(start[known], moved[known])
        moves = there.moves(start)
        if same_take or not there.told:
            return cls(there, there.turn_db, there.scale, 0.0, moves, np.zeros(len(start)))
        wider = _wider(start[known], (start + moved)[known])
        fits = [there] + [
            Image.fitted(start[known], moved[known], back, scale)
            for back, scale in ((True, 1.0), (False, wider), (True, wider))
        ]
        turns_db = [one.turn_db for one in fits]
        scales = [one.scale for one in fits]
        moves = np.array([one.moves(start) for one in fits])
        lowest, highest = moves.min(axis=0), moves.max(axis=0)
        return cls(
            there=there,
            turn_db=(min(turns_db) + max(turns_db)) / 2,
            scale=math.sqrt(min(scales) * max(scales)),
            doubt_db=(max(turns_db) - min(turns_db)) / 2,
            moves=(lowest + highest) / 2,
            doubt=(highest - lowest) / 2,
        )


def _wider(start: FloatArray, end: FloatArray) -> float:
    """By how much further apart the bands lie."""
    before, after = (float(np.subtract(*np.percentile(one, [90, 10]))) for one in (start, end))
    return float(np.clip(after / max(before, SPREAD), *_SCALES_TRIED))


def turn_of(start: FloatArray, moved: FloatArray) -> float:
    """Median change of the level between the channels, dB."""
    of_reference = np.arctanh(np.clip(start, -0.98, 0.98))
    of_candidate = np.arctanh(np.clip(start + moved, -0.98, 0.98))
    if len(start) == 0:
        return 0.0
    return float(np.median(of_candidate - of_reference) * 40 / math.log(10))
