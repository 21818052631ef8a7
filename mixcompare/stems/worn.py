"""One take in two rooms: the reference with the candidate's tail on it, for stems to be laid under.

Under another tail a stem's gains in both mixes scatter by decibels, each by its own hall's standing
waves; where both mixes wear one tail these are in both and cancel. The tail is learnt from the pair
(:mod:`mixcompare.pair.tail`), and would be learnt to hold some of a stem that moved; so it is
learnt once more from a reference in which what moved has been moved.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import signal

from mixcompare.audio.recording import Recording
from mixcompare.audio.resampled import resampled
from mixcompare.elements.one_take import EXACT_SCATTER_DB, exact_split
from mixcompare.features.grid import ANALYSIS_RATE_HZ
from mixcompare.pair.pair import Pair
from mixcompare.pair.tail import OneTail
from mixcompare.stems.explained import Laid, Making

FloatArray = npt.NDArray[np.float64]


def wearing(pair: Pair, reference: Laid) -> Laid | None:
    """The reference with the candidate's tail; None where both have the same, or none is learnt."""
    scatter_db = exact_split(pair.of_elements).scatter_db
    if scatter_db < EXACT_SCATTER_DB or pair.under_one_tail is None:
        return None
    one = pair.under_one_tail
    # Where much moved, more is left than elements could be told from, but less than without.
    return _laid(one, reference) if exact_split(one.spectra).scatter_db < scatter_db else None


def wearing_moved(
    pair: Pair,
    reference: Laid,
    making: Making,
    trims_db: FloatArray,
    stems: Sequence[Recording],
    starts_s: Sequence[float],
) -> Laid | None:
    """The same, the tail learnt from a reference whose stems stand as they do in the candidate.

    Parameters
    ----------
    pair : Pair
        One take in two rooms.
    reference : Laid
        On the common clock.
    making : Making
        How it is made of the stems.
    trims_db : ndarray, shape (stems,)
        From the candidate to the reference; 0 where nothing is to be moved.
    stems, starts_s
        Files, and where the common clock begins in each.
    """
    added = np.zeros(len(pair.reference.waveform), np.float32)
    for place in np.flatnonzero(trims_db).tolist():
        begins_s = starts_s[place] - reference.start_s
        filters = making.filters[place] * (10 ** (-trims_db[place] / 20) - 1)
        _add(added, stems[place], begins_s, filters, making.first_tap)
    one = pair.relearnt_with(added)
    return None if one is None else _laid(one, reference)


def _laid(one: OneTail, reference: Laid) -> Laid:
    wave = Recording.from_array(one.worn.astype(np.float64), ANALYSIS_RATE_HZ)
    return replace(reference, mix=wave, start_s=reference.start_s - one.start_s)


def _add(
    out: npt.NDArray[np.float32],
    stem: Recording,
    begins_s: float,
    filters: FloatArray,
    first_tap: int,
) -> None:
    """Add a stem, from a moment on, through its filters: the mean of both channels."""
    first = first_tap
    for block in resampled(stem, ANALYSIS_RATE_HZ, begins_s):
        if len(block):
            sound = signal.oaconvolve(block, filters.T, axes=0).mean(axis=1)
            start, end = max(first, 0), min(first + len(sound), len(out))
            out[start:end] += sound[start - first : end - first]
            first += len(block)
