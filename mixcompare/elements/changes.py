"""Elements whose level changed against everything else, with their sizes.

Two regimes. In one take the difference of every cell is exact, so the difference of both
spectrograms *is* the changed element's own spectrogram, scaled: where it dominates, the level
difference settles at its gain. Between two performances every cell scatters, so groups of
components are fitted (see :mod:`mixcompare.elements.groups`) from several random starts and
reported only where they agree.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.factorisation import Factors, factorise
from mixcompare.elements.groups import (
    Cells,
    GroupFit,
    component_weights,
    fit_groups,
    make_cells,
)
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import effective_number, robust_mode, weighted_quantile

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
_LEAST_CHANGE_DB = 1.0
_FEWEST_MOMENTS = 3.0
"""A note lasts longer than 0.15 s; one moment is what is left where a gain moved fast."""
EXACT_SCATTER_DB = 0.85
"""Up to this scatter, one take's difference is one element's own spectrogram."""
_SUREST_DB, _DOUBLED = 0.3, 0.12
"""Least half width; and how much of its size is hidden in an element that others double. Intervals
without them held 91 of 108 changes of whole sections (8 scores), 41 of 43 of three others."""
_DILUTION = 0.5  # of the size, per share of cells that don't agree on it
_EVEN_SHARE = 0.35  # of two groups: which of them changed can't be told
_SAME_SIZE = 0.2
_ALIKE_DB, _FILTERED = 0.25, 0.6
"""Of the cells in a region: 0.70 stay so near to a shelf beside an oboe (one score)."""
_STILL_DB, _SLOPING = 0.6, 0.08
"""Half of a band's moments within this; and how much of a region down to the lowest note such bands
hold, part of the way to the element's size: a low cut beside a lossy codec {CUT} on {N} scores, a
bass line that never rests {BASS}."""
_SAME_CELLS = 0.6  # overlap from which on two changes are one
_SOUNDS, _NEXT_CELLS = 0.03, (13, 3)  # share of a cell; frames and bands
_BEATING = 0.2  # of the stronger change: what a weaker one of the other sign may be by beating
_LEAST_SECOND = 0.1  # of the first one's strength; our judgement, not measured
_SAME_SECOND = 0.3  # of its size
_SHAPED_DB = 1.0  # a filter, of which a rest may have been left
_ALWAYS = 0.8
"""Of the cells in an element's bands: 0.95 move under the rest of a shelf, at most 0.7 under an
element (sample score)."""
_FEWEST_BANDS = 33.0  # standing waves of another room lift single pitches


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
    against : bool
        True where the sound falls into two halves of about equal weight, so that "this one
        up" and "the other one down" are the same statement.
    """

    difference_db: float
    interval: tuple[float, float]
    agreeing: float
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
    one_tail : bool
        Whether another tail was taken off first: then nothing is known of single passages.
    hidden : ndarray of bool, shape (n, bands), or None
        Cells that were not asked: what was panned elsewhere sounds in them.
    """

    changes: tuple[Change, ...]
    tone_db: FloatArray
    scatter_db: float
    one_tail: bool = False
    hidden: npt.NDArray[np.bool_] | None = None


def split_difference(spectra: PairSpectra, same_take: bool) -> Split:
    """Take the level difference of a pair apart.

    Parameters
    ----------
    spectra : PairSpectra
        With the pair's gain taken out.
    same_take : bool
        Whether both are one performance.
    """
    if len(spectra.times_s) < 3 * RATE_HZ:
        return Split((), np.zeros(len(spectra.centre_hz)), float("nan"))
    if float(np.abs(spectra.difference_db[spectra.audible]).max(initial=0.0)) < 0.05:
        return Split((), np.zeros(len(spectra.centre_hz)), 0.0)
    if same_take:
        exact = exact_split(spectra)
        # Another room or heavy processing moves every cell; then the difference is no longer
        # one element's own spectrogram, and groups of components have to agree instead.
        if exact.scatter_db < EXACT_SCATTER_DB:
            return exact
    found: list[Change] = []
    tone, scatter = np.zeros(len(spectra.centre_hz)), float("nan")
    while len(found) < _MOST_CHANGES:
        tried = [_fit(spectra, seed) for seed in SEEDS]
        fits = [fit for fit in tried if fit is not None]
        if not fits:
            break
        tone = np.median([fit.group.tone_db for fit in fits], axis=0)
        scatter = float(np.median([fit.group.noise_db for fit in fits]))
        change = _agreed(spectra, fits)
        if change is None:
            break
        if found and overlap(found[0].energy, change.energy) > _SAME_CELLS:
            break  # the first one was not all of it; no second thing
        found.append(change)
        spectra = without_change(spectra, change)
    return Split(tuple(found), tone, scatter)


# --- one take ------------------------------------------------------------------------------


def exact_split(spectra: PairSpectra) -> Split:
    """Both signs separately: what came up, and what went down."""
    softer = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)
    tone = _persistent(spectra, softer**0.3)
    changes = _side_by_side(spectra, tone, softer)
    better = _without_own(spectra.difference_db, softer**0.3, tone, changes)
    if (better != tone).any():
        tone = better
        changes = _side_by_side(spectra, tone, softer)
    levels = np.array([0.0, *(change.difference_db for change in changes)])
    rest = spectra.difference_db - tone
    nearest = np.abs(rest[:, :, None] - levels).min(axis=2)
    scatter = 1.4826 * weighted_quantile(nearest, np.sqrt(softer), 0.5)
    return Split(tuple(changes), tone, max(scatter, 0.05))


def _side_by_side(spectra: PairSpectra, tone: FloatArray, softer: FloatArray) -> list[Change]:
    """What came up and what went down, without what is only one of them beating with the rest.

    Where partials of an element and of the others meet, their phases may cancel: the level falls
    although the element rose. Such cells lie inside the element and are few; a second element has
    cells of its own.
    """
    changes = _above_tone(spectra, tone, softer, softer)
    if len(changes) < 2:
        return changes
    first, second = sorted(changes, key=lambda change: change.strength, reverse=True)
    if second.strength >= _BEATING * first.strength:
        shaped = float(np.abs(tone).max()) > _SHAPED_DB
        held = shaped and not _rests(second, spectra.difference_db - tone, softer)
        return [first] if held else [first, second]
    if second.strength < _LEAST_SECOND * first.strength:
        return [first]
    away = np.where(_near(first, spectra), 0.0, softer)
    apart = [
        change
        for change in _above_tone(spectra, tone, softer, away)
        if change.difference_db * second.difference_db > 0
        and abs(change.difference_db / second.difference_db - 1) < _SAME_SECOND
        and _rests(change, spectra.difference_db - tone, away)
    ]
    return [first, second] if apart else [first]


def _rests(change: Change, rest_db: FloatArray, left: FloatArray) -> bool:
    """Whether its bands are left alone now and then: what always moves them is a tone's rest."""
    size = change.difference_db
    weight = left**0.3
    sounds = np.where(change.energy > 0, weight, 0.0).sum(axis=0)
    weight = weight * sounds / np.maximum(weight.sum(axis=0), 1e-30)
    moved = weight[rest_db * np.sign(size) > 0.4 * abs(size)].sum()
    return bool(moved < _ALWAYS * weight.sum())


def _near(change: Change, spectra: PairSpectra) -> npt.NDArray[np.bool_]:
    """Cells in which an element sounds, and those next to them."""
    sounds = change.energy > _SOUNDS * spectra.reference
    near: npt.NDArray[np.bool_] = ndimage.binary_dilation(sounds, np.ones(_NEXT_CELLS))
    return near


def _above_tone(
    spectra: PairSpectra, tone: FloatArray, softer: FloatArray, left: FloatArray
) -> list[Change]:
    """What came up and what went down, in the cells that are left."""
    expected = spectra.reference * 10 ** (tone / 10)
    floor = 1e-9 * max(spectra.reference.max(), spectra.candidate.max())
    rest = 10 * np.log10((spectra.candidate + floor) / (expected + floor))
    whitened = left / (spectra.reference.mean(axis=0) ** 0.5 + floor)
    noise = max(1.4826 * weighted_quantile(np.abs(rest), np.sqrt(softer), 0.5), 0.05)
    found = (
        _one_sign(spectra, sign * rest, sign, whitened, noise, expected) for sign in (1.0, -1.0)
    )
    return [change for change in found if change is not None]


def _without_own(
    difference_db: FloatArray, weight: FloatArray, tone: FloatArray, changes: list[Change]
) -> FloatArray:
    """The tone without bands whose static difference is an element's that never rests there.

    A bass line may be such. A shelf moves every cell up to the top alike; beside an element others
    sound now and then. A low cut takes more from every lower band; an element one amount.
    """
    alike = np.where(np.abs(difference_db - tone) < _ALIKE_DB, weight, 0.0).sum(axis=0)
    whole = weight.sum(axis=0)
    middle_db, still = _standing(difference_db, weight)
    out = tone.copy()
    for change in changes:
        size = abs(change.difference_db)
        along = np.sign(change.difference_db) * tone
        part = np.sign(change.difference_db) * middle_db / size
        between = still & (part > _SAME_SIZE) & (part < 1 - _SAME_SIZE)
        labels, count = ndimage.label(along > 0.05 * size)
        for index in range(1, count + 1):
            region = labels == index
            if region[0] and whole[region & between].sum() > _SLOPING * whole[region].sum():
                # So steep that what its neighbours lost says too little of a band.
                out[region] = middle_db[region]
                continue
            of_one_size = abs(along[region].max() - size) < _SAME_SIZE * size
            to_the_top = bool(region[-1])  # where nothing plays that never rests
            filtered = to_the_top and alike[region].sum() > _FILTERED * whole[region].sum()
            if of_one_size and not filtered:
                out[region] = 0.0
    return out


def _standing(
    difference_db: FloatArray, weight: FloatArray
) -> tuple[FloatArray, npt.NDArray[np.bool_]]:
    """Median difference of every band, and whether half of its moments lie close to it."""
    low, middle, high = (
        np.array(
            [
                weighted_quantile(column, heavy, q) if heavy.any() else 0.0
                for column, heavy in zip(difference_db.T, weight.T, strict=True)
            ]
        )
        for q in (0.25, 0.5, 0.75)
    )
    return middle, high - low < _STILL_DB


def _persistent(spectra: PairSpectra, weight: FloatArray) -> FloatArray:
    """Static difference per band: what remains of it in nearly every moment.

    An equaliser acts whatever plays; an element leaves its bands alone while it rests. So the
    difference that four fifths of a band's moments exceed, on the same side of zero, is tone;
    half an octave's median keeps a band that one element holds all the time from deciding.
    """
    difference = spectra.difference_db
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
    octave = np.log2(spectra.centre_hz)
    smooth = np.full(bands, np.nan)
    for band in range(bands):
        near = known & (np.abs(octave - octave[band]) <= 0.5)
        smooth[band] = np.median(tone[near]) if near.any() else np.nan
    # A band in which nothing sounds goes on as its neighbours do: zero would bend them.
    told = np.isfinite(smooth)
    smooth = np.interp(octave, octave[told], smooth[told])
    return np.asarray(ndimage.gaussian_filter1d(smooth, 2.0), np.float64)


def _one_sign(
    spectra: PairSpectra,
    raised: FloatArray,
    sign: float,
    weight: FloatArray,
    noise_db: float,
    expected: FloatArray,
) -> Change | None:
    threshold = max(0.6, 4 * noise_db)
    strong = (raised > threshold) & (weight > 0)
    added = np.where(strong, np.abs(spectra.candidate - expected), 0.0)
    share = float(added.sum() / (np.where(weight > 0, expected, 0).sum() + 1e-20))
    if strong.sum() < 40 or share < 1e-4:
        return None
    pull = np.where(strong, weight * np.abs(1 - 10 ** (-raised / 10)), 0.0)
    if effective_number(pull.sum(axis=1)) < _FEWEST_MOMENTS:
        return None
    # Where the element dominates, the difference settles at its gain. An element that never quite
    # does reads too small in its typical cells, and the highest ones come nearest to it.
    typical, high, highest = (weighted_quantile(raised, pull, q) for q in (0.8, 0.9, 0.97))
    upper = np.where(raised > 0.6 * highest, pull, 0.0)
    mode = robust_mode(raised, upper, max(0.25, noise_db))
    agreeing = float(pull[np.abs(raised - mode) < max(0.5, 0.12 * mode)].sum() / pull.sum())
    clear = float(np.clip((agreeing - 0.3) / 0.3, 0, 1))
    size = clear * typical + (1 - clear) * (high + highest) / 2
    if size < _LEAST_CHANGE_DB:
        return None
    deviation = weighted_quantile(np.abs(raised - mode), upper, 0.5)
    half = clear * max(_SUREST_DB, min(deviation, 1.5)) + (1 - clear) * (0.3 + 0.1 * size)
    hidden = size * (_DOUBLED + _DILUTION * max(0.0, 0.5 - agreeing))
    near, far = sign * (size - half), sign * (size + half + hidden)
    factor = abs(10 ** (sign * size / 10) - 1)
    before_tone = spectra.reference / np.maximum(expected, 1e-30)
    energy = np.where(raised > 0.25 * threshold, added * before_tone, 0.0) / factor
    return Change(
        difference_db=sign * size,
        interval=(min(near, far), max(near, far)),
        agreeing=min(2 * agreeing, 1.0),
        energy=energy,
        against=_holds_much(spectra, raised, size, weight),
        strength=float(pull.sum() / weight.sum()),
    )


def _holds_much(spectra: PairSpectra, raised: FloatArray, size: float, weight: FloatArray) -> bool:
    """Whether the changed cells are about as many as those left alone."""
    loud = np.where(weight > 0, np.minimum(spectra.reference, spectra.candidate), 0.0) ** 0.3
    changed = float(loud[np.abs(raised - size) < 0.3 * size].sum())
    unchanged = float(loud[np.abs(raised) < 0.3 * size].sum())
    return changed > _EVEN_SHARE * (changed + unchanged)


# --- two performances ----------------------------------------------------------------------


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


def without_change(spectra: PairSpectra, change: Change) -> PairSpectra:
    """The pair as if that element had not changed."""
    share = np.clip(change.energy / (spectra.reference + 1e-20), 0, 1)
    gain = 10 ** (change.difference_db / 10)
    return replace(spectra, candidate=spectra.candidate / (1 + (gain - 1) * share))


def overlap(one: FloatArray, other: FloatArray) -> float:
    """How far two elements lie in the same cells: cosine of their amplitudes, 0 to 1."""
    first, second = np.sqrt(one).ravel(), np.sqrt(other).ravel()
    return float(first @ second) / max(float(np.linalg.norm(first) * np.linalg.norm(second)), 1e-30)


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
    reference = ndimage.uniform_filter1d(spectra.reference, 5, axis=0)[::2]
    candidate = ndimage.uniform_filter1d(spectra.candidate, 5, axis=0)[::2]
    share = mask[::2]
    floor = 1e-9 * max(reference.max(), candidate.max())
    difference = 10 * np.log10((candidate + floor) / (reference + floor)) - group.tone_db
    softer = np.maximum(np.minimum(reference, candidate), 0.0)
    softer /= spectra.reference.mean(axis=0) + floor
    weight = np.where(spectra.audible[::2], np.sqrt(softer), 0.0)
    rest = share < 0.12
    for least in (0.75, 0.6):
        own = share > least
        if min((weight[own] > 0).sum(), (weight[rest] > 0).sum()) >= 60:
            inside = robust_mode(difference[own], weight[own] * share[own] ** 2, 1.2)
            return _MIXED * float(inside - robust_mode(difference[rest], weight[rest], 1.2))
    return _MIXED * group.change_db


def _agreed(spectra: PairSpectra, fits: list[_Fit]) -> Change | None:
    """The change that several starts find independently, or none.

    A start may end without any group where its components mix elements: that says nothing.
    Starts that find a group where nothing changed are rare and seldom agree.
    """
    weight = np.sqrt(spectra.reference / (spectra.reference.mean(axis=0) + 1e-20))
    flat = [(fit.mask * weight).ravel() for fit in fits]
    flat = [row / (np.linalg.norm(row) + 1e-12) for row in flat]
    found = [
        index
        for index, fit in enumerate(fits)
        if fit.score > _LEAST_FIT_SCORE and abs(fit.size_db) >= _LEAST_AGREED_DB
    ]

    def total(cluster: list[int]) -> float:
        return sum(fits[index].score for index in cluster)

    best: list[int] = []
    for first in found:
        cluster = [
            other
            for other in found
            if flat[first] @ flat[other] > 0.45
            and fits[first].size_db * fits[other].size_db > 0
            and abs(fits[first].size_db - fits[other].size_db) < 3
        ]
        best = max(best, cluster, key=total)
    score = total(best) / len(fits)
    if len(best) < 2 or score < _LEAST_SCORE:
        return None
    chosen = [fits[index] for index in best]
    share = np.mean([fit.mask for fit in chosen], axis=0)
    energy = share * spectra.reference
    amplitude = (weight * np.sqrt(share)).sum(axis=0)
    if effective_number(amplitude) < _FEWEST_BANDS:
        return None
    size = float(np.median([fit.size_db for fit in chosen]))
    noise = float(np.median([fit.group.noise_db for fit in chosen]))
    spread = float(np.std([fit.size_db for fit in chosen]))
    half = 1.96 * float(np.hypot(spread, np.hypot(0.4 + 0.4 * noise, 0.1 * size)))
    return Change(
        difference_db=size,
        interval=(size - half, size + half),
        agreeing=float(1 - np.exp(-score / 3)),
        energy=energy,
        against=2 * sum(fit.doubtful for fit in chosen) > len(chosen),
    )
