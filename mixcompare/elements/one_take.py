"""Elements that changed between two mixes of one take: what came up, and what went down.

The difference of every cell is exact there, so the difference of both spectrograms *is* the changed
element's own spectrogram, scaled: where it dominates, the level difference settles at its gain.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.change import Change, Split
from mixcompare.elements.filters import MORE_ON_IT, any_filter_in, filter_in, on_curve
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import (
    effective_number,
    quantiles_by_column,
    robust_mode,
    weighted_medians,
    weighted_quantile,
    weighted_quantiles,
)

FloatArray = npt.NDArray[np.float64]
_Told = tuple[FloatArray, list[Change], FloatArray]  # tone, elements, and filters in the tone

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
_AS_MUCH, _STRAIGHTER = 0.01, 0.3  # of the sound, and of a bend; our judgement
_LEAST_ON_IT = 0.004
"""Of the sound, which what persists must put on the tone: up to 0.0036 a violin that is alone at
the top does in 27 pairs without a filter, 0.01 and more a filter (three scores)."""
_STILL_DB, _SLOPING = 0.6, 0.08
"""Half of a band's moments within this; and how much of a region down to the lowest note such bands
hold, part of the way to the element's size: a low cut beside a lossy codec 0.16 to 0.42, a bass
line 0.00 (three and six pairs of five scores)."""
_HALF, _FAR_MORE = 0.5, 0.15
"""Of the sound, on one curve of any shape; and how much more than on what filters of usual shapes,
what persists and elements do. Three bells: 0.95, 0.25 more; a measured room of short decay at -12
to +1.4 dB: 0.52 to 0.85, 0.2 to 0.5 more; one section changed: no more in 26 pairs; every section
by its own: 0.21 to 0.46 (three scores)."""
_LEAST_BESIDE_DB, _AGREE = 3.0, 0.5
"""Beside a measured room of short decay 1.2 to 1.8 dB are left over, or cells that don't agree
(the real take)."""
_STEEP_DB = 1.0
"""From one of the highest bands to the next: a high cut's fall; a shelf has settled there."""
_ELSEWHERE_DB, _MISSED = 1.0, 0.6
"""From the tone; and of what is told, what such a curve may leave untold there: 0.39 to 0.48 under
high cuts beside another width, 0.81 and more with one or two sections changed, 0.68 and more with
all of them (three scores)."""
_DEEP_SHARE = 0.12
"""Of what a band has lost: so far a steep filter scatters the cells of a third octave, 0.7 dB in 6
and 0.9 in 21 under a high cut (the real take)."""
_SOUNDS, _NEXT_CELLS = 0.03, (13, 3)  # share of a cell; frames and bands
BEATING = 0.2  # of the stronger change: what a weaker one of the other sign may be by beating
_LEAST_SECOND = 0.1  # of the first one's strength; our judgement, not measured
_SAME_SECOND = 0.3  # of its size
_SHAPED_DB, _LEFT = 1.0, 0.3
"""A filter, of which a rest may have been left; and how much of it such a rest may be: 1.2 of 13 dB
of a high cut (the real take)."""
_FEW, _SMALL_DB = 0.005, 2.0
"""Of the sound, and by how much at least so few cells move: what a compressor's ride and steep cuts
leave over of two real takes held 0.002 to 0.003 and moved by up to 1.9 dB, single instruments that
move by so little hold 0.012 and more."""
_ALWAYS = 0.8
"""Of the cells in an element's bands: 0.95 move under the rest of a shelf, at most 0.7 under an
element (sample score)."""


def exact_split(spectra: PairSpectra) -> Split:
    """Both signs separately: what came up, and what went down."""
    return spectra.kept(exact_split, _split)


def _split(spectra: PairSpectra) -> Split:
    softer = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)
    weight = softer**0.3
    none = np.zeros(len(spectra.centre_hz))
    tone, changes = _around(spectra, none, softer)
    filtered = filter_in(spectra, weight)
    if filtered.any():
        around = _around(spectra, filtered, softer)
        gained = float(
            (on_curve(spectra, weight, around[0]) - on_curve(spectra, weight, tone)).sum()
        )
        # Beside what all of the upper voices did, a shelf would make another element of the rest.
        more = len(around[1]) > max(len(changes), 1)
        if more or gained < -MORE_ON_IT:
            filtered = none
        elif gained > MORE_ON_IT or _not_bent(around[1], changes, gained):
            tone, changes = around
    beside = _beside(spectra, softer, (tone, changes, filtered))
    if beside is not None:
        tone, changes, filtered = beside
    shaped = _of_any_shape(spectra, weight, tone, changes)
    if shaped is not None:
        tone, changes = _around(spectra, shaped, softer)
        changes, filtered = _sure_beside_any(changes), shaped
    rest = spectra.difference_db - tone
    levels = (0.0, *(change.difference_db for change in changes))
    nearest = np.min([np.abs(rest - level) for level in levels], axis=0)
    scatter = 1.4826 * weighted_quantile(nearest, np.sqrt(softer), 0.5)
    return Split(tuple(changes), tone, max(scatter, 0.05), filter_db=filtered)


def _beside(spectra: PairSpectra, softer: FloatArray, now: _Told) -> _Told | None:
    """Tone, changes and what filters do, where those show on an element's own cells as well.

    An element that is alone in its bands, under a shelf or a bell, lies on the filter's curve and
    its own size further. None where that tells no more than is told; with fewer elements, or where
    nothing else bends the tone, it need not tell more.
    """
    weight = softer**0.3
    tone, changes, before = now
    if not changes:
        return None
    filtered = filter_in(spectra, weight, [change.difference_db for change in changes])
    if not filtered.any():
        return None
    around = _around(spectra, filtered, softer)
    told = _explained(spectra, weight, tone, changes)
    gained = float((_explained(spectra, weight, *around) - told).sum())
    straighter = np.abs(around[0] - filtered).max() < _STRAIGHTER * np.abs(tone - before).max()
    fewer = len(around[1]) < len(changes) and gained > -_AS_MUCH
    more = len(around[1]) == len(changes) and gained > (0.0 if straighter else MORE_ON_IT)
    return (*around, filtered) if fewer or more else None


def _of_any_shape(
    spectra: PairSpectra, weight: FloatArray, tone: FloatArray, changes: list[Change]
) -> FloatArray | None:
    """What filters do together, shape (bands,), where one curve tells far more than is told.

    Asked are bands that it moves elsewhere: what a curve gains by following every band's own
    scatter is no filter.
    """
    curve_db, on_it = any_filter_in(spectra, weight)
    told = _explained(spectra, weight, tone, changes)
    if on_it.sum() > max(_HALF, told.sum() + _FAR_MORE):
        return curve_db
    elsewhere = np.abs(curve_db - tone) > _ELSEWHERE_DB
    whole = weight.sum(axis=0) / max(weight.sum(), 1e-30)
    gained = float((on_it - told)[elsewhere].sum())
    missed = [float((whole - share)[elsewhere].sum()) for share in (on_it, told)]
    return curve_db if gained > _LEAST_ON_IT and missed[0] < _MISSED * missed[1] else None


def _sure_beside_any(changes: list[Change]) -> list[Change]:
    """Elements that are more than what a curve of any shape leaves over.

    Where an element has a band to itself the curve holds what it did, and the others seem to have
    moved by as much the other way: of such two neither is told.
    """
    sure = [
        change
        for change in changes
        if abs(change.difference_db) > _LEAST_BESIDE_DB and change.agreeing > _AGREE
    ]
    sizes = [change.difference_db for change in sure]
    mirrored = len(sizes) == 2 and abs(sum(sizes)) < _SAME_SECOND * max(map(abs, sizes))
    return [] if mirrored else sure


def _explained(
    spectra: PairSpectra, weight: FloatArray, tone: FloatArray, changes: list[Change]
) -> FloatArray:
    """Share of the sound that lies on the tone, or an element's size from it; shape (bands,)."""
    sizes = (0.0, *(change.difference_db for change in changes))
    return np.asarray(sum(on_curve(spectra, weight, tone + size) for size in sizes))


def _not_bent(around: list[Change], changes: list[Change], gained: float) -> bool:
    """Whether a filter beside elements tells as much as what persists, and no more elements.

    What persists bends where an element hardly rests, and makes another one of its bend.
    """
    return 0 < len(around) < len(changes) or (len(around) == len(changes) and gained > 0)


def _around(
    spectra: PairSpectra, filtered: FloatArray, softer: FloatArray
) -> tuple[FloatArray, list[Change]]:
    """Tone and changes where what filters do is taken for granted."""
    weight = softer**0.3
    rest = spectra.difference_db - filtered
    known = (weight > 0).sum(axis=0) >= RATE_HZ
    spread = quantiles_by_column(rest, weight, (0.2, 0.25, 0.5, 0.75, 0.8))
    tone = _persistent(spectra.centre_hz, known, spread[0], spread[-1])
    on_it, without = (
        on_curve(spectra, weight, curve).sum() for curve in (filtered + tone, filtered)
    )
    if on_it < without + _LEAST_ON_IT:
        tone = np.zeros_like(tone)  # what only its own band's element shows
    changes = _side_by_side(spectra, filtered + tone, softer)
    better = _without_own(rest, weight, tone, changes, spread[1:-1], told=bool(filtered.any()))
    if (better != tone).any():
        tone = better
        changes = _side_by_side(spectra, filtered + tone, softer)
    return filtered + tone, changes


def _side_by_side(spectra: PairSpectra, tone: FloatArray, softer: FloatArray) -> list[Change]:
    """What came up and what went down, without what is only one of them beating with the rest.

    Where partials of an element and of the others meet, their phases may cancel: the level falls
    although the element rose. Such cells lie inside the element and are few; a second element has
    cells of its own.
    """
    rest_db, most_db = spectra.difference_db - tone, float(np.abs(tone).max())
    changes = [
        change
        for change in _above_tone(spectra, tone, softer, softer)
        if abs(change.difference_db) > _LEFT * most_db or _rests(change, rest_db, softer)
    ]
    if len(changes) < 2:
        return changes
    first, second = sorted(changes, key=lambda change: change.strength, reverse=True)
    if second.strength >= BEATING * first.strength:
        held = most_db > _SHAPED_DB and not _rests(second, rest_db, softer)
        return [first] if held else [first, second]
    if second.strength < _LEAST_SECOND * first.strength:
        return [first]
    away = np.where(_near(first, spectra), 0.0, softer)
    apart = [
        change
        for change in _above_tone(spectra, tone, softer, away)
        if change.difference_db * second.difference_db > 0
        and abs(change.difference_db / second.difference_db - 1) < _SAME_SECOND
        and _rests(change, rest_db, away)
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


def change_among(
    spectra: PairSpectra, tone_db: FloatArray, sign: float, cells: npt.NDArray[np.bool_]
) -> Change | None:
    """What came up (sign 1) or went down (-1), in some of the cells only."""
    softer = np.where(spectra.audible, np.minimum(spectra.reference, spectra.candidate), 0.0)
    found = _above_tone(spectra, tone_db, softer, np.where(cells, softer, 0.0), (sign,))
    return found[0] if found else None


def _above_tone(
    spectra: PairSpectra,
    tone: FloatArray,
    softer: FloatArray,
    left: FloatArray,
    signs: tuple[float, ...] = (1.0, -1.0),
) -> list[Change]:
    """What came up and what went down, in the cells that are left."""
    expected = spectra.reference * 10 ** (tone / 10)
    floor = 1e-9 * max(spectra.reference.max(), spectra.candidate.max())
    rest = 10 * np.log10((spectra.candidate + floor) / (expected + floor))
    whitened = left / (spectra.reference.mean(axis=0) ** 0.5 + floor)
    noise = max(1.4826 * weighted_quantile(np.abs(rest), np.sqrt(softer), 0.5), 0.05)
    found = (_one_sign(spectra, sign * rest, sign, whitened, noise, expected) for sign in signs)
    return [change for change in found if change is not None]


def _without_own(
    difference_db: FloatArray,
    weight: FloatArray,
    tone: FloatArray,
    changes: list[Change],
    quartiles_db: FloatArray,
    told: bool,
) -> FloatArray:
    """The tone without bands whose static difference is an element's that never rests there.

    A bass line may be such. A shelf moves every cell up to the top alike; beside an element others
    sound now and then, or the shelf is told already. A cut takes more from every further band; an
    element one amount.
    """
    alike = np.where(np.abs(difference_db - tone) < _ALIKE_DB, weight, 0.0).sum(axis=0)
    whole = weight.sum(axis=0)
    low, middle_db, high = quartiles_db
    still = high - low < np.maximum(_STILL_DB, _DEEP_SHARE * np.abs(middle_db))
    out = tone.copy()
    for change in changes:
        size = abs(change.difference_db)
        along = np.sign(change.difference_db) * tone
        part = np.sign(change.difference_db) * middle_db / size
        between = still & (part > _SAME_SIZE) & (part < 1 - _SAME_SIZE)
        labels, count = ndimage.label((along > 0.05 * size) | (still & (part > 0.05)))
        for index in range(1, count + 1):
            region = labels == index
            falls = np.diff(part[region & still][-3:] * size)
            at_end = region[0] or (region[-1] and len(falls) == 2 and falls.min() > _STEEP_DB)
            if at_end and whole[region & between].sum() > _SLOPING * whole[region].sum():
                # So steep that what its neighbours lost says too little of a band.
                out[region] = middle_db[region]
                continue
            region &= along > 0.05 * size
            if not region.any():
                continue
            beyond = along[region].max() / size - 1
            of_one_size = abs(beyond) < _SAME_SIZE or (told and beyond > 0)
            to_the_top = bool(region[-1]) and not told  # where nothing plays that never rests
            filtered = to_the_top and alike[region].sum() > _FILTERED * whole[region].sum()
            if of_one_size and not filtered:
                out[region] = 0.0
    return out


def _persistent(
    centre_hz: FloatArray, known: npt.NDArray[np.bool_], low: FloatArray, high: FloatArray
) -> FloatArray:
    """Static difference per band: what remains of it in nearly every moment.

    An equaliser acts whatever plays; an element leaves its bands alone while it rests. So the
    difference that four fifths of a band's moments exceed, on the same side of zero, is tone;
    half an octave's median keeps a band that one element holds all the time from deciding.
    """
    if not known.any():
        return np.zeros(len(known))
    tone = np.maximum(low, 0.0) + np.minimum(high, 0.0)
    octave = np.log2(centre_hz)
    near = known[:, None] & (np.abs(octave[:, None] - octave) <= 0.5)
    smooth = weighted_medians(np.repeat(tone[:, None], len(tone), axis=1), near.astype(np.float64))
    # A band in which nothing sounds goes on as its neighbours do: zero would bend them.
    told = near.any(axis=0)
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
    typical, high, highest = weighted_quantiles(raised, pull, (0.8, 0.9, 0.97)).tolist()
    upper = np.where(raised > 0.6 * highest, pull, 0.0)
    mode = robust_mode(raised, upper, max(0.25, noise_db))
    agreeing = float(pull[np.abs(raised - mode) < max(0.5, 0.12 * mode)].sum() / pull.sum())
    clear = float(np.clip((agreeing - 0.3) / 0.3, 0, 1))
    size = clear * typical + (1 - clear) * (high + highest) / 2
    if size < _LEAST_CHANGE_DB:
        return None
    strength = float(pull.sum() / weight.sum())
    if size < _SMALL_DB and strength < _FEW * (1 - 10 ** (-size / 10)):
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
        strength=strength,
    )


def _holds_much(spectra: PairSpectra, raised: FloatArray, size: float, weight: FloatArray) -> bool:
    """Whether the changed cells are about as many as those left alone."""
    loud = np.where(weight > 0, np.minimum(spectra.reference, spectra.candidate), 0.0) ** 0.3
    changed = float(loud[np.abs(raised - size) < 0.3 * size].sum())
    unchanged = float(loud[np.abs(raised) < 0.3 * size].sum())
    return changed > _EVEN_SHARE * (changed + unchanged)
