"""Elements whose level changed against everything else, with their sizes.

Two regimes. In one take the difference of every cell is exact, so the difference of both
spectrograms *is* the changed element's own spectrogram, scaled: where it dominates, the level
difference settles at its gain. Between two performances every cell scatters, so groups of
components are fitted (see :mod:`mixcompare.elements.groups`) from several random starts and
reported only where they agree.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.factorisation import Factors, factorise
from mixcompare.elements.groups import Cells, GroupFit, fit_group, make_cells
from mixcompare.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import robust_mode, weighted_quantile

FloatArray = npt.NDArray[np.float64]

SEEDS = tuple(range(8))
_LEAST_EVIDENCE = 0.12  # of one start; unchanged pairs reach 0.1 in two of 320
_LEAST_SUM = 0.4
_LEAST_AGREED_DB = 1.5
_LEAST_CHANGE_DB = 1.0
_LARGEST_EXACT_SCATTER_DB = 0.6
_DILUTION = 1.6  # of the size, per share of cells that don't agree on it
_SIZES_DB = np.arange(-15.0, 15.01, 0.25)


@dataclass(frozen=True)
class Change:
    """One element that stands elsewhere than in the reference.

    Attributes
    ----------
    difference_db : float
        Level of the element against the rest, candidate minus reference.
    interval : tuple of float
    confidence : float in [0, 1]
    energy : ndarray, shape (n, bands)
        The element's own power in the reference, estimated.
    strength : float
        Loudness-weighted amount of the change, for comparing two changes of one pair.
    against : bool
        True where the sound falls into two halves of about equal weight, so that "this one
        up" and "the other one down" are the same statement.
    """

    difference_db: float
    interval: tuple[float, float]
    confidence: float
    energy: FloatArray
    against: bool = False
    strength: float = 0.0


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
    """

    changes: tuple[Change, ...]
    tone_db: FloatArray
    scatter_db: float


def split_difference(pair: PairSpectra, same_take: bool) -> Split:
    """Take the level difference of a pair apart.

    Parameters
    ----------
    pair : PairSpectra
        With the pair's gain taken out.
    same_take : bool
    """
    if len(pair.times_s) < 3 * RATE_HZ:
        return Split((), np.zeros(len(pair.centre_hz)), float("nan"))
    if float(np.abs(pair.difference_db[pair.audible]).max(initial=0.0)) < 0.05:
        return Split((), np.zeros(len(pair.centre_hz)), 0.0)
    if same_take:
        exact = _exact(pair)
        # Another room or heavy processing moves every cell; then the difference is no longer
        # one element's own spectrogram, and groups of components have to agree instead.
        if exact.scatter_db < _LARGEST_EXACT_SCATTER_DB:
            return exact
    tried = [_fit(pair, seed, 0.6) for seed in SEEDS]
    fits = [fit for fit in tried if fit is not None]
    if not fits:
        return Split((), np.zeros(len(pair.centre_hz)), float("nan"))
    tone = np.median([fit.group.tone_db for fit in fits], axis=0)
    scatter = float(np.median([fit.group.noise_db for fit in fits]))
    change = _agreed(pair, fits, tone)
    return Split((change,) if change is not None else (), tone, scatter)


# --- one take ------------------------------------------------------------------------------


def _exact(pair: PairSpectra) -> Split:
    """Both signs separately: what came up, and what went down."""
    heard = pair.audible
    softer = np.where(heard, np.minimum(pair.reference, pair.candidate), 0.0)
    tone = _persistent(pair, softer**0.3)
    expected = pair.reference * 10 ** (tone / 10)
    floor = 1e-9 * max(pair.reference.max(), pair.candidate.max())
    rest = 10 * np.log10((pair.candidate + floor) / (expected + floor))
    whitened = softer / (pair.reference.mean(axis=0) ** 0.5 + floor)
    noise = max(1.4826 * weighted_quantile(np.abs(rest), np.sqrt(softer), 0.5), 0.05)
    changes = []
    for sign in (1.0, -1.0):
        change = _one_sign(pair, sign * rest, sign, whitened, noise, expected)
        if change is not None:
            changes.append(change)
    return Split(tuple(_without_interference(changes)), tone, noise)


def _persistent(pair: PairSpectra, weight: FloatArray) -> FloatArray:
    """Static difference per band: what remains of it in nearly every moment.

    An equaliser acts whatever plays; an element leaves its bands alone while it rests. So the
    difference that four fifths of a band's moments exceed, on the same side of zero, is tone;
    half an octave's median keeps a band that one element holds all the time from deciding.
    """
    difference = pair.difference_db
    bands = difference.shape[1]
    tone = np.zeros(bands)
    known = np.zeros(bands, bool)
    for band in range(bands):
        if (weight[:, band] > 0).sum() < RATE_HZ:
            continue
        low, high = (weighted_quantile(difference[:, band], weight[:, band], q) for q in (0.2, 0.8))
        tone[band] = low if low > 0 else high if high < 0 else 0.0
        known[band] = True
    if not known.any():
        return tone
    octave = np.log2(pair.centre_hz)
    smooth = np.zeros(bands)
    for band in range(bands):
        near = known & (np.abs(octave - octave[band]) <= 0.5)
        smooth[band] = np.median(tone[near]) if near.any() else 0.0
    return np.asarray(ndimage.gaussian_filter1d(smooth, 2.0), np.float64)


def _without_interference(changes: list[Change]) -> list[Change]:
    """Drop what is only the changed element beating against the rest.

    Where partials of the element and of the others meet, their phases may cancel: the level
    falls although the element rose. Such cells lie inside the element and are few.
    """
    if len(changes) < 2:
        return changes
    first, second = sorted(changes, key=lambda change: change.strength, reverse=True)
    return [first] if second.strength < 0.2 * first.strength else [first, second]


def _one_sign(
    pair: PairSpectra,
    raised: FloatArray,
    sign: float,
    weight: FloatArray,
    noise_db: float,
    expected: FloatArray,
) -> Change | None:
    threshold = max(0.6, 4 * noise_db)
    strong = (raised > threshold) & (weight > 0)
    added = np.where(strong, np.abs(pair.candidate - expected), 0.0)
    share = float(added.sum() / (np.where(weight > 0, expected, 0).sum() + 1e-20))
    if strong.sum() < 40 or share < 1e-4:
        return None
    pull = np.where(strong, weight * np.abs(1 - 10 ** (-raised / 10)), 0.0)
    # Where the element dominates, the difference settles at its gain: the highest mode counts.
    high = weighted_quantile(raised, pull, 0.97)
    upper = np.where(raised > 0.6 * high, pull, 0.0)
    size = robust_mode(raised, upper, max(0.25, noise_db))
    if size < _LEAST_CHANGE_DB:
        return None
    agreeing = float(pull[np.abs(raised - size) < max(0.5, 0.12 * size)].sum() / pull.sum())
    deviation = weighted_quantile(np.abs(raised - size), upper, 0.5)
    half = max(0.15, min(deviation, 1.5))
    # An element that never quite dominates reads too small: the rest dilutes its change.
    hidden = _DILUTION * size * max(0.0, 0.5 - agreeing)
    near, far = sign * (size - half), sign * (size + half + hidden)
    factor = abs(10 ** (sign * size / 10) - 1)
    energy = np.clip(np.where(raised > 0.25 * threshold, added, 0.0) / factor, 0, None)
    confidence = float(np.clip(0.5 + agreeing, 0.5, 0.99))
    return Change(
        difference_db=sign * size,
        interval=(min(near, far), max(near, far)),
        confidence=confidence,
        energy=energy,
        strength=float(pull.sum()),
    )


# --- two performances ----------------------------------------------------------------------


@dataclass(frozen=True)
class _Fit:
    factors: Factors
    cells: Cells
    group: GroupFit
    mask: FloatArray
    share: float
    size_db: float


def _fit(pair: PairSpectra, seed: int, smallest_noise_db: float) -> _Fit | None:
    factors = factorise(pair, seed)
    cells = make_cells(pair, factors)
    if len(cells.value_db) < 20:
        return None
    group = fit_group(cells, smallest_noise_db)
    member = group.membership
    share = _share_of_sound(factors, member, cells)
    change = group.change_db
    if share > 0.5:
        member = (1 - member) * (np.bincount(cells.component, minlength=len(member)) > 0)
        change, share = -change, 1 - share
        moved = group.tone_db + group.change_db
        group = GroupFit(change, member, moved, group.noise_db, group.evidence)
    mask = _mask(factors, member)
    size = _size_by_power(pair, mask, group.tone_db, change)
    return _Fit(factors, cells, group, mask, share, size)


def _share_of_sound(factors: Factors, member: FloatArray, cells: Cells) -> float:
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


def _size_by_power(
    pair: PairSpectra, mask: FloatArray, tone_db: FloatArray, start_db: float
) -> float:
    """Gain that explains mixed cells too: D = 10 lg(1 + (g - 1) share)."""
    if abs(start_db) < 0.3:
        return start_db
    reference = ndimage.uniform_filter1d(pair.reference, 7, axis=0)[::3]
    candidate = ndimage.uniform_filter1d(pair.candidate, 7, axis=0)[::3]
    share = mask[::3]
    heard = pair.audible[::3]
    floor = 1e-9 * max(reference.max(), candidate.max())
    difference = 10 * np.log10((candidate + floor) / (reference + floor)) - tone_db
    softer = np.maximum(np.minimum(reference, candidate), 0)
    weight = np.sqrt(softer / (pair.reference.mean(axis=0) + floor))
    weight = np.where(heard, weight, 0.0)
    rest = share < 0.15
    if rest.sum() > 50:
        difference = difference - weighted_quantile(difference[rest], weight[rest], 0.5)
    chosen = (share > 0.3) & heard
    if chosen.sum() < 50:
        return start_db
    share, difference, weight = share[chosen], difference[chosen], weight[chosen]
    costs = []
    for size in _SIZES_DB:
        expected = 10 * np.log10(1 + (10 ** (size / 10) - 1) * share)
        costs.append(float((weight * np.abs(expected - difference)).sum()))
    return float(_SIZES_DB[int(np.argmin(costs))])


def _agreed(pair: PairSpectra, fits: list[_Fit], tone_db: FloatArray) -> Change | None:
    """The change that several starts find independently, or none.

    A start may end without any group where its components mix elements: that says nothing.
    Starts that find a group where nothing changed are rare and never agree.
    """
    weight = np.sqrt(pair.reference / (pair.reference.mean(axis=0) + 1e-20))
    flat = [(fit.mask * weight).ravel() for fit in fits]
    flat = [row / (np.linalg.norm(row) + 1e-12) for row in flat]
    found = [
        index
        for index, fit in enumerate(fits)
        if fit.group.evidence > _LEAST_EVIDENCE and abs(fit.size_db) >= _LEAST_AGREED_DB
    ]
    best: list[int] = []
    for first in found:
        cluster = [
            other
            for other in found
            if flat[first] @ flat[other] > 0.45
            and np.sign(fits[first].size_db) == np.sign(fits[other].size_db)
            and abs(fits[first].size_db - fits[other].size_db) < 3
        ]
        if sum(fits[k].group.evidence for k in cluster) > sum(fits[k].group.evidence for k in best):
            best = cluster
    evidence = float(sum(fits[k].group.evidence for k in best))
    if len(best) < 2 or len(best) < 0.6 * len(found) or evidence < _LEAST_SUM:
        return None
    size = float(np.median([fits[k].size_db for k in best]))
    noise = float(np.median([fits[k].group.noise_db for k in best]))
    half = float(np.hypot(np.std([fits[k].size_db for k in best]), 0.8 * noise + 0.4)) * 1.5
    mask = np.mean([fits[k].mask for k in best], axis=0)
    share = float(np.median([fits[k].share for k in best]))
    confidence = float(min(1 - 0.5 ** len(best) * np.exp(-evidence / len(best)), 0.98))
    return Change(
        difference_db=size,
        interval=(size - half, size + half),
        confidence=confidence,
        energy=mask * pair.reference,
        against=0.42 < share < 0.58,
    )
