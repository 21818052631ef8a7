"""Trims where the reference's own stems are at hand too: levels, stem by stem.

Conventions
-----------
A stem's level in a mix is its own (K-weighted, ITU-R BS.1770-5, over what both recordings have of
the passage) and the gain of its direct sound into that mix. A trim is the level in the reference
against the level in the candidate; the tone that all gains have in common is taken off, as in one
take. Stems are paired by name; capitals and signs between words do not count.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.audio.resampled import resampled
from mixcompare.standards.bs1770 import STEP_S, KWeightedPower
from mixcompare.statistics import block_counts
from mixcompare.stems.explained import SOUNDS, Making, making_of
from mixcompare.stems.take import trims_of

FloatArray = npt.NDArray[np.float64]

_CELL_S = 0.1  # resolution of what both have in common
_BLOCKS, _DRAWS = 16, 200


@dataclass(frozen=True)
class Paired:
    """Trims of the stems that have a partner, up to one common shift.

    Attributes
    ----------
    trim_db, deviation_db : ndarray, shape (stems,)
        NaN where there is no partner.
    partner : tuple of str or None
        The reference's stem that each was compared with.
    notes : tuple of str
        Who has no partner.
    """

    trim_db: FloatArray
    deviation_db: FloatArray
    partner: tuple[str | None, ...]
    notes: tuple[str, ...]


def partners(names: Iterable[str], others: Iterable[str]) -> dict[str, str]:
    """Which of the others has each one's name; without those that none has."""
    known = {_plain(other): other for other in others}
    return {name: known[_plain(name)] for name in names if _plain(name) in known}


def _plain(name: str) -> str:
    return re.sub(r"[\W_]+", " ", name.casefold()).strip()


def levels_between(
    time_map: TimeMap,
    reference: tuple[Recording, Mapping[str, Recording]],
    candidate: tuple[Recording, Mapping[str, Recording]],
    making: Making,
) -> Paired:
    """Compare levels stem by stem.

    Parameters
    ----------
    time_map : TimeMap
        Between the two mixes.
    reference, candidate : tuple of Recording and mapping of str to Recording
        Each mix with its stems, on the clock of its file.
    making : Making
        How the candidate is made of its stems.
    """
    mix, stems = reference
    names = list(stems)
    starts = [0.0, *(mix.span_s[0] for _ in names)]
    other = making_of(mix, list(stems.values()), starts, mix.duration_s)
    silent = {name for name, sounds in zip(names, other.sounds, strict=True) if sounds <= SOUNDS}
    of = partners(candidate[1], (name for name in names if name not in silent))
    own = [place for place, name in enumerate(candidate[1]) if name in of]
    trim_db, deviation_db = np.full((2, len(candidate[1])), np.nan)
    if own:
        theirs = [names.index(name) for name in of.values()]
        gains = trims_of(other.of(theirs), making.of(own))
        louder = [
            _louder(time_map, (stems[of[name]], mix), (candidate[1][name], candidate[0]))
            for name in of
        ]
        level_db, doubt_db = np.array(louder).T
        trim_db[own] = gains.trim_db + level_db
        deviation_db[own] = np.hypot(gains.deviation_db, doubt_db)
    notes = _notes(list(candidate[1]), names, of, silent)
    return Paired(trim_db, deviation_db, tuple(map(of.get, candidate[1])), notes)


def _louder(
    time_map: TimeMap,
    reference: tuple[Recording, Recording],
    candidate: tuple[Recording, Recording],
) -> tuple[float, float]:
    """By how much the reference's stem is louder, in dB, and how much that varies with the music.

    The standard deviation is that of resampled blocks of the passage (Efron and Tibshirani 1993,
    *An Introduction to the Bootstrap*, chapter 8).
    """
    edges_s = np.arange(*time_map.span_s, _CELL_S)
    shared = time_map.covers(edges_s[:-1] + _CELL_S / 2)
    there_s = time_map.to_candidate(edges_s)
    energy = np.array(
        [
            np.diff(_energy_up_to(times_s, *one))[shared] / np.diff(times_s)[shared]
            for times_s, one in ((edges_s, reference), (there_s, candidate))
        ]
    )
    starts = np.linspace(0, energy.shape[1], _BLOCKS, endpoint=False).astype(int)
    if energy.shape[1] < _BLOCKS or not energy.any(axis=1).all():
        return np.nan, np.nan
    blocks = np.add.reduceat(energy, starts, axis=1)
    drawn = np.array([blocks @ count for count in block_counts(_BLOCKS, _DRAWS)])
    some = drawn[(drawn > 0).all(axis=1)]
    varies = np.std(10 * np.log10(some[:, 0] / some[:, 1]), ddof=1)
    whole = blocks.sum(axis=1)
    return float(10 * np.log10(whole[0] / whole[1])), float(varies)


def _energy_up_to(times_s: FloatArray, stem: Recording, mix: Recording) -> FloatArray:
    """K-weighted energy of a stem until each moment on the clock of its mix's span."""
    meter = KWeightedPower(stem.sample_rate_hz)
    for block in resampled(stem, stem.sample_rate_hz, mix.span_s[0]):
        meter.push(block)
    heap = np.concatenate([[0.0], STEP_S * np.cumsum(meter.result().sum(axis=1))])
    return np.asarray(np.interp(times_s, STEP_S * np.arange(len(heap)), heap))


def _notes(
    names: Sequence[str], others: Sequence[str], of: Mapping[str, str], silent: set[str]
) -> tuple[str, ...]:
    """Who has no partner, and why."""
    notes = [
        f"The reference's stem {name} does not sound in the reference where it lies: check that it"
        " is of this mix and starts where the mix does."
        for name in others
        if name in silent
    ]
    alone = [name for name in names if name not in of]
    if alone:
        notes.append(
            f"No stem of the reference is called like {', '.join(alone)}: told from the mixes."
        )
    left = [name for name in others if name not in of.values() and name not in silent]
    if left:
        notes.append(f"No stem of the candidate is called like the reference's {', '.join(left)}.")
    return tuple(notes)
