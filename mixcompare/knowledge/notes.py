"""The written notes of a part, laid over the reference."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

FloatArray = npt.NDArray[np.float64]


@dataclass(frozen=True)
class PartNotes:
    """The written notes of one part, where they fall in the reference.

    Attributes
    ----------
    name : str
    notes : ndarray, shape (n, 3)
        Onset and end in seconds on the reference's clock, MIDI pitch; sorted by onset.
    others : ndarray, shape (m, 3)
        The same of all other parts.
    """

    name: str
    notes: FloatArray
    others: FloatArray
