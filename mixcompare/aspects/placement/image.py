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
_SCALE_SPREAD = 0.5  # how far the image's width may change before the fit resists


@dataclass(frozen=True)
class Image:
    """What happens to all positions alike: first a scale, then a turn."""

    turn_db: float
    scale: float
    told: bool = True

    @classmethod
    def fitted(cls, start: FloatArray, moved: FloatArray) -> Image:
        """Robust fit over bands, each counting alike; a register that moves is an outlier."""
        if len(start) < LEAST_BANDS:
            return cls(0.0, 1.0, told=False)

        def residual(values: FloatArray) -> FloatArray:
            image = cls(float(values[0]) * 10, math.exp(float(values[1])))
            return np.append(image.moves(start) - moved, SPREAD * values[1] / _SCALE_SPREAD)

        first = turn_of(start, moved)
        solved = optimize.least_squares(
            residual, [first / 10, 0.0], loss="cauchy", f_scale=SPREAD, max_nfev=100
        )
        return cls(float(solved.x[0]) * 10, math.exp(float(solved.x[1])))

    def moves(self, start: FloatArray) -> FloatArray:
        """Move that this image change gives a band lying at ``start``."""
        scaled = np.clip(self.scale * start, -0.99, 0.99)
        turn = math.tanh(self.turn_db * math.log(10) / 40)
        return np.asarray((scaled + turn) / (1 + scaled * turn) - start)


def turn_of(start: FloatArray, moved: FloatArray) -> float:
    """Median change of the level between the channels, dB."""
    of_reference = np.arctanh(np.clip(start, -0.98, 0.98))
    of_candidate = np.arctanh(np.clip(start + moved, -0.98, 0.98))
    if len(start) == 0:
        return 0.0
    return float(np.median(of_candidate - of_reference) * 40 / math.log(10))
