"""Elements that changed between two performances: groups of components on which starts agree.

Every cell scatters there, so groups of components are fitted (:mod:`mixcompare.elements.groups`)
from several random starts and reported only where they agree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.elements.agreement import confirmed
from mixcompare.elements.beside import SMOOTH_FRAMES, heard_in_both
from mixcompare.elements.change import Change, Split, overlap, without_change
from mixcompare.elements.factorisation import Factors, factorise
from mixcompare.elements.groups import (
    Cells,
    GroupFit,
    component_weights,
    fit_groups,
    make_cells,
)
from mixcompare.elements.standing import OTHERS, OWN, pitches
from mixcompare.pair.spectra import PairSpectra
from mixcompare.statistics import effective_number, robust_mode

FloatArray = npt.NDArray[np.float64]

SEEDS = tuple(range(4))  # cost: random starts that have to agree
_SMALLEST_NOISE_DB = 0.8  # between performances
_MOST_CHANGES = 2  # of one pair, between performances; our choice
_LEAST_SCORE = 0.8  # of 168 unchanged pairs one reaches more
_LEAST_FIT_SCORE = 0.5  # of one start; chosen on the elements benchmark's tuning set
_CLEAR_DB = 2.5  # a group this far from the rest counts fully
_LEAST_AGREED_DB = 1.5  # chosen on the elements benchmark's tuning set
_RIVAL = 0.33  # of the evidence: the opposite reading is not excluded
_MIXED = 1.22  # sizes read a fifth low: no cell belongs to one element alone
SAME_CELLS = 0.6  # overlap from which on two changes are one
_FEWEST_BANDS = 33.0  # standing waves of another room lift single pitches
_FEWEST_PITCHES = 2.0  # and of one alone nothing else is known


def performances_split(spectra: PairSpectra) -> Split:
    """Groups on which several starts agree, and both directions of the comparison.

    Parameters
    ----------
    spectra : PairSpectra
        Of two performances, or of a take in which every cell scatters.
    """
    split = _one_way(spectra)
    if not split.changes:
        return split
    back = _one_way(spectra.mirrored()).changes
    return confirmed(split, back, spectra)


def _one_way(spectra: PairSpectra) -> Split:
    """Groups of the one direction, one after the other, each taken off before the next."""
    found: list[Change] = []
    tone, scatter = np.zeros(len(spectra.centre_hz)), float("nan")
    while len(found) < _MOST_CHANGES:
        tried = [_fit(spectra, seed) for seed in SEEDS]
        fits = [fit for fit in tried if fit is not None]
        if not fits:
            break
        tone = np.median([fit.group.tone_db for fit in fits], axis=0)
        scatter = float(np.median([fit.group.noise_db for fit in fits]))
        change = _agreed(spectra, fits, tone)
        if change is None:
            break
        if found and overlap(found[0].energy, change.energy) > SAME_CELLS:
            break  # the first one was not all of it; no second thing
        found.append(change)
        spectra = without_change(spectra, change)
    return Split(tuple(found), tone, scatter)


@dataclass(frozen=True)
class _Fit:
    """One start's group, turned so that it is the smaller part of the sound."""

    group: GroupFit
    mask: FloatArray
    size_db: float
    doubtful: bool
    apart_db: float

    @property
    def score(self) -> float:
        """Evidence, which counts less for small changes: tiny ones are always there."""
        clear = min(1.0, (self.apart_db / _CLEAR_DB) ** 3)
        sensible = self.size_db * self.group.change_db > 0
        return self.group.evidence * clear if sensible else 0.0


def _fit(spectra: PairSpectra, seed: int) -> _Fit | None:
    factors = factorise(spectra, seed)
    cells = make_cells(spectra, factors)
    if len(cells.value_db) < 20:
        return None
    fits = fit_groups(cells, _SMALLEST_NOISE_DB)
    group, rival = (_as_smaller_part(fit, factors, cells) for fit in fits)
    near = rival.evidence > _RIVAL * group.evidence
    mask = _mask(factors, group.membership)
    size = _size(spectra, mask, group)
    doubtful = near and rival.change_db * group.change_db < 0
    return _Fit(group, mask, size, doubtful, _apart_db(fits[0], cells))


def _apart_db(group: GroupFit, cells: Cells) -> float:
    """How far the group's typical member stands apart; half members count for what they move."""
    weight = component_weights(cells) * group.membership
    typical = float((weight * group.membership).sum() / max(weight.sum(), 1e-12))
    return abs(group.change_db) * typical


def _as_smaller_part(group: GroupFit, factors: Factors, cells: Cells) -> GroupFit:
    """A group that holds more than half of the sound is the unchanged one."""
    share = _share_of_sound(factors, group.membership)
    if share <= 0.5:
        return group
    has = np.bincount(cells.component, minlength=cells.components) > 0
    return GroupFit(
        change_db=-group.change_db,
        membership=(1 - group.membership) * has,
        tone_db=group.tone_db + group.change_db,
        noise_db=group.noise_db,
        evidence=group.evidence,
    )


def _share_of_sound(factors: Factors, member: FloatArray) -> float:
    """How much of the sound belongs to a group: energy, whitened amplitude and voices.

    Energy alone fails: a leading line that came up by 6 dB may hold more than half of it.
    """
    activation = np.sqrt(factors.reference * factors.candidate)
    energy = (np.square(factors.templates).sum(axis=0)) * np.square(activation).sum(axis=1)
    amplitude = activation.sum(axis=1)
    peak = np.percentile(activation, 95, axis=1, keepdims=True) + 1e-12
    playing = activation > 0.2 * peak
    voices = float((playing * member[:, None]).sum() / max(playing.sum(), 1))
    by_energy = float((energy * member).sum() / energy.sum())
    by_amplitude = float((amplitude * member).sum() / amplitude.sum())
    return (by_energy + by_amplitude + 2 * voices) / 4


def _mask(factors: Factors, member: FloatArray) -> FloatArray:
    """Share of the group in every cell, shape (n, bands), in the domain of power."""
    mean = np.sqrt(factors.reference * factors.candidate) + 1e-6
    inside = np.square((factors.templates * member) @ mean)
    outside = np.square((factors.templates * (1 - member)) @ mean)
    return np.asarray((inside / (inside + outside + 1e-20)).T, np.float64)


def _size(spectra: PairSpectra, mask: FloatArray, group: GroupFit) -> float:
    """Level of the group's own cells against the rest's, by the modes of both."""
    smooth = spectra.over_moments(SMOOTH_FRAMES)
    share, weight = mask[::2], heard_in_both(spectra, smooth)[::2]
    difference = smooth.difference_db[::2] - group.tone_db
    rest = share < OTHERS
    for least in (0.75, OWN):
        own = share > least
        if min((weight[own] > 0).sum(), (weight[rest] > 0).sum()) >= 60:
            inside = robust_mode(difference[own], weight[own] * share[own] ** 2, 1.2)
            return _MIXED * float(inside - robust_mode(difference[rest], weight[rest], 1.2))
    return _MIXED * group.change_db


def _agreed(spectra: PairSpectra, fits: list[_Fit], tone_db: FloatArray) -> Change | None:
    """The change that several starts find independently, or none.

    A start may end without any group where its components mix elements: that says nothing.
    Starts that find a group where nothing changed are rare and seldom agree.
    """
    weight = np.sqrt(spectra.reference / (spectra.reference.mean(axis=0) + 1e-20))
    chosen = _of_one_mind(fits, weight)
    score = sum(fit.score for fit in chosen) / len(fits)
    if len(chosen) < 2 or score < _LEAST_SCORE:
        return None
    share = np.mean([fit.mask for fit in chosen], axis=0)
    amplitude = (weight * np.sqrt(share)).sum(axis=0)
    if effective_number(amplitude) < _FEWEST_BANDS:
        return None
    number, lifted_db = pitches(share, spectra, tone_db)
    if number < _FEWEST_PITCHES or not np.isfinite(lifted_db):
        return None
    size = float(np.median([fit.size_db for fit in chosen]))
    noise = float(np.median([fit.group.noise_db for fit in chosen]))
    spread = float(np.std([fit.size_db for fit in chosen]))
    doubts = (spread, 0.4 + 0.4 * noise, 0.1 * size, _MIXED * lifted_db)
    half = 1.96 * float(np.linalg.norm(doubts))
    return Change(
        difference_db=size,
        interval=(size - half, size + half),
        agreeing=float(1 - np.exp(-score / 3)),
        energy=share * spectra.reference,
        against=2 * sum(fit.doubtful for fit in chosen) > len(chosen),
    )


def _of_one_mind(fits: list[_Fit], weight: FloatArray) -> list[_Fit]:
    """The starts whose groups lie in the same cells and moved alike: those with most evidence."""
    flat = [(fit.mask * weight).ravel() for fit in fits]
    flat = [row / (np.linalg.norm(row) + 1e-12) for row in flat]
    found = [
        index
        for index, fit in enumerate(fits)
        if fit.score > _LEAST_FIT_SCORE and abs(fit.size_db) >= _LEAST_AGREED_DB
    ]
    best: list[_Fit] = []
    for first in found:
        cluster = [
            fits[other]
            for other in found
            if flat[first] @ flat[other] > 0.45
            and fits[first].size_db * fits[other].size_db > 0
            and abs(fits[first].size_db - fits[other].size_db) < 3
        ]
        best = max(best, cluster, key=lambda starts: sum(fit.score for fit in starts))
    return best
