"""What is found: elements that changed, and what else the difference of a pair is made of."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.pair.spectra import PairSpectra

FloatArray = npt.NDArray[np.float64]

_CLEAR_DB = 0.5
"""Half of what is just noticed in balance: an interval that comes nearer to nothing claims nothing.
Our choice."""


@dataclass(frozen=True)
class Change:
    """One element that stands elsewhere than in the reference.

    Attributes
    ----------
    difference_db : float
        Level of the element against the rest, candidate minus reference.
    interval : tuple of float
    agreeing : float in [0, 1]
    energy : ndarray, shape (n, bands)
        The element's own power in the reference, estimated.
    strength : float
        Loudness-weighted amount of the change, as a share of the whole; in one take only.
    repeats : bool
        True where the element was found by coming again and again: a repeating figure.
    against : bool
        True where the sound falls into two halves of about equal weight, so that "this one
        up" and "the other one down" are the same statement.
    seat : float or None
        Where it sits, -1 left to 1 right, if that is what told it from another element.
    """

    difference_db: float
    interval: tuple[float, float]
    agreeing: float
    energy: FloatArray
    against: bool = False
    strength: float = 0.0
    repeats: bool = False
    seat: float | None = None

    @property
    def is_clear(self) -> bool:
        """Whether its interval stays clear of nothing."""
        low, high = self.interval
        return low >= _CLEAR_DB or high <= -_CLEAR_DB


@dataclass(frozen=True)
class Split:
    """A pair's difference taken apart: elements, static tone, and what is left.

    Attributes
    ----------
    changes : tuple of Change
    tone_db : ndarray, shape (bands,)
        Static difference, whatever plays.
    scatter_db : float
        Typical difference from cell to cell that neither explains.
    one_tail : bool
        Whether another tail was taken off first: then nothing is known of single passages.
    hidden : ndarray of bool, shape (n, bands), or None
        Cells that were not asked: what was panned elsewhere sounds in them.
    doubtful : tuple of Change
        What not all looks agree on, or a hall may have done: too little to be listed.
    ended : tuple of Change
        What looks like a level and is none: notes that end sooner or later, and are as loud.
    filter_db : ndarray, shape (bands,), or None
        Of the static difference, what filters of usual shapes make; in one take's cells only.
    """

    changes: tuple[Change, ...]
    tone_db: FloatArray
    scatter_db: float
    one_tail: bool = False
    hidden: npt.NDArray[np.bool_] | None = None
    doubtful: tuple[Change, ...] = ()
    ended: tuple[Change, ...] = ()
    filter_db: FloatArray | None = None


def without_change(spectra: PairSpectra, change: Change) -> PairSpectra:
    """The pair as if that element had not changed."""
    share = share_of(change.energy, spectra)
    gain = 10 ** (change.difference_db / 10)
    return replace(spectra, candidate=spectra.candidate / (1 + (gain - 1) * share))


def share_of(energy: FloatArray, spectra: PairSpectra) -> FloatArray:
    """Of an element in every cell's power, 0 to 1; in as many bands as its energy has."""
    whole = np.maximum(spectra.reference[:, : energy.shape[1]], 1e-30)
    return np.asarray(np.clip(energy / whole, 0, 1))


def overlap(one: FloatArray, other: FloatArray) -> float:
    """How far two elements lie in the same cells: cosine of their amplitudes, 0 to 1."""
    first, second = np.sqrt(one).ravel(), np.sqrt(other).ravel()
    return float(first @ second) / max(float(np.linalg.norm(first) * np.linalg.norm(second)), 1e-30)
