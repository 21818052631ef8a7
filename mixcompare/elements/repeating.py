"""A figure that repeats, between two performances: its level from what comes again a motif later.

Another hall, other players and another tempo move every cell by decibels, and a high figure holds
few cells alone. But it comes again, note for note, one motif later, and little else does. Its
motif is the lag at which the envelopes of many bands resemble themselves, followed as the tempo
breathes. In the bands that come again, a recording's own neighbouring periods foretell what the
figure does at a moment; both recordings' powers are regressed on that. What does not come again
has no part in it: powers of independent sounds add, and the regression is linear in power. The
ratio of both slopes is the figure's level, held against how far the powers of what does not
repeat swing (another room or distance smears the envelopes of both alike).

That is a size, and no proof: what foretells may be more than the figure. The proof is another look:
in each band the figure's own moments are held against the others' there
(:mod:`mixcompare.elements.beside`), where room and instruments cancel. Both have to say the same,
and so has what the slopes say without any anchor; after one motif, after a second one (a multiple
of the first, as a rule), and from both directions of the comparison. The size is the middle of
several: foretold by the reference and by the candidate, against the neighbouring bands and all
bands, by the middle of the bands and by the sum of their powers. The interval comes from their
spread and from resampling stretches of time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.agreement import opposite
from mixcompare.elements.beside import Beside
from mixcompare.elements.change import Change
from mixcompare.elements.motifs import (
    AGAIN,
    Envelopes,
    Motif,
    by_stretch,
    envelopes_of,
    motif_lags,
)
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import (
    block_counts,
    few_blocks,
    weighted_medians,
    weighted_quantile,
)

FloatArray = npt.NDArray[np.float64]

# Chosen on the tuning set of the benchmark of repeating figures, where no other is named.
_SHORTEST_S = 20.0  # of a passage: four stretches; our judgement, not measured
_STILL = 0.1  # likeness at the motif's lag beyond that at others, of a band that does not repeat
_FEWEST = 12  # band stretches that repeat in either recording
_AROUND = 4  # semitones to either side that say how neighbouring bands swing
_HEARD = 0.3  # of a stretch, for a band that is compared
_OF_SIZE = 3.5
"""Size over what the figure's own moments stand beside the others': two to five on the tuning set,
for a share that is foretold is not the figure's alone."""
_PART = 3.0  # and over what it is beside the neighbouring bands, and alone: timbre hides some
_ANCHORS_APART_DB = 2.2  # neighbours' and all bands'; tone or timbre moves more than the figure
_LEAST_PART = 0.3  # of its size; our choice: the figures of the tuning set show a third and more
_LEAST_DB = 2.0  # of all, after two motifs: 105 unchanged pairs of like players reach 1.8
_SAME = 0.4  # overlap of what both directions find: a soft figure shows in fewer cells; our choice
_ONE_MOTIF = 0.5  # what a motif without a second one counts
_ONE_DEVIATION = (0.16, 0.84)  # of a normal spread: a slope near nothing has wild draws
_LEARNT_DB = 0.8  # least half width: no band is the figure's alone; our judgement, not measured
_FIRM_DB = 1.2  # on which all looks agree, that is agreement by two thirds


def repeating_change(spectra: PairSpectra) -> Change | None:
    """The repeating figure whose level differs, where all looks agree that one does.

    Parameters
    ----------
    spectra : PairSpectra
        Of two performances.
    """
    if len(spectra.times_s) < _SHORTEST_S * RATE_HZ:
        return None
    change = _one_way(spectra)
    back = _one_way(spectra.mirrored()) if change is not None else None
    if change is None or back is None or not opposite(change, back, spectra, _SAME):
        return None
    (low, high), (back_low, back_high) = change.interval, back.interval
    both = replace(
        change,
        difference_db=(change.difference_db - back.difference_db) / 2,
        interval=(min(low, -back_high), max(high, -back_low)),
        agreeing=min(change.agreeing, back.agreeing),
    )
    return both if both.is_clear else None


def _one_way(spectra: PairSpectra) -> Change | None:
    """What the one direction of the comparison says."""
    envelopes = envelopes_of(spectra)
    rest = _Rest.of(spectra, envelopes)
    beside = Beside(spectra)
    once = np.ones((1, rest.stretches))
    found: list[_Told] = []
    for lag in motif_lags(envelopes):
        motif = Motif.at(envelopes, lag)
        looks = _looks(motif, envelopes, rest, once)
        if looks is not None:
            share = motif.share(envelopes)
            size_db = float(_size_db(looks)[0])
            # A share has as many cells as the recording: only the one that is told is kept.
            found.append(_Told(motif, looks[:, 0], size_db, *beside.level_db(share)))
    if not found:
        return None
    firm, told = _of_two_motifs(found)
    if firm < _LEAST_DB:
        return None
    counts = block_counts(rest.stretches, block_length=2)
    drawn = _looks(told.motif, envelopes, rest, counts)
    assert drawn is not None
    return Change(
        difference_db=told.size_db,
        interval=_interval(told, _size_db(drawn), rest.stretches),
        agreeing=float(1 - np.exp(-firm / _FIRM_DB)),
        energy=told.motif.share(envelopes) * spectra.reference,
        repeats=True,
    )


@dataclass(frozen=True)
class _Told:
    """What one motif says: how large, and how the figure's own moments stand beside the others'."""

    motif: Motif
    looks: FloatArray
    size_db: float
    stands_db: float
    deviation_db: float

    @property
    def agreed_db(self) -> float:
        """The least that the looks agree on, by either proof; zero where they differ.

        Beside a melody that moved a figure stands elsewhere and is as loud as it was; beside the
        neighbouring bands a shelf moves nothing, and beside all bands it does. A figure that plays
        on and on has few moments without it: then all looks along what it foretells must agree, and
        those few not speak against it.
        """
        near, all_bands, alone = _both(self.looks)
        sign = float(np.sign(self.size_db))
        if abs(near - all_bands) > _ANCHORS_APART_DB:
            return 0.0
        least = np.array([self.size_db, _OF_SIZE * self.stands_db, _PART * near, _PART * alone])
        proven = float((sign * least).min()) if np.isfinite(self.stands_db) else 0.0
        said = np.array([near, all_bands, alone, *self.looks[[6, 8, 9]]])
        foretold = self.looks[[0, 1, 3, 4]]
        alike = (sign * foretold).min() >= 0 and not self._speaks_against
        along = float((sign * said).min()) if alike else 0.0
        return sign * max(proven, along, 0.0)

    @property
    def _speaks_against(self) -> bool:
        """Whether its own moments stand beside the others' by too little for such a size."""
        most = np.sign(self.size_db) * self.stands_db + 1.96 * self.deviation_db
        return bool(most < _LEAST_PART * abs(self.size_db))


def _interval(told: _Told, drawn_db: FloatArray, stretches: int) -> tuple[float, float]:
    """95 % of a size: of its looks and of resampled stretches; it is beyond what is proven."""
    low, high = np.quantile(drawn_db - told.size_db, _ONE_DEVIATION)
    apart = float(np.std(_sizes_db(told.looks[:, None]))) / 2
    few = few_blocks(stretches / 2)
    below, above = (
        float(np.hypot(1.96 * np.hypot(few * edge, apart), _LEARNT_DB)) for edge in (low, high)
    )
    edges = [told.size_db - below, told.size_db + above]
    sign = float(np.sign(told.size_db))
    proven = abs(told.stands_db) - 1.96 * told.deviation_db
    near = 0 if sign > 0 else 1
    edges[near] = sign * max(sign * edges[near], min(proven, abs(told.size_db) - _LEARNT_DB))
    return edges[0], edges[1]


def _of_two_motifs(found: Sequence[_Told]) -> tuple[float, _Told]:
    """How firmly the two firmest motifs agree, and the firmer of them.

    A motif comes again after its multiples, too: what one lag alone says may be some other thing.
    A long one's multiples are not tried.
    """
    told = max(found, key=lambda one: abs(one.agreed_db))
    sign, best = np.sign(told.agreed_db), abs(told.agreed_db)
    agreed = sorted((max(sign * one.agreed_db, 0.0) for one in found), reverse=True)
    second = agreed[1] if len(agreed) > 1 else 0.0
    return max(float(np.sqrt(best * second)), _ONE_MOTIF * best), told


@dataclass(frozen=True)
class _Rest:
    """How far powers swing about their slow course, candidate over reference.

    Attributes
    ----------
    swing_db, weight : ndarray, shape (stretches, bands)
        Level of the swings, and how much each says.
    """

    swing_db: FloatArray
    weight: FloatArray

    @classmethod
    def of(cls, spectra: PairSpectra, envelopes: Envelopes) -> _Rest:
        reference, candidate = by_stretch(envelopes.power**2) + 1e-12
        heard = by_stretch(spectra.audible.astype(np.float64)) > _HEARD
        weight = np.where(heard, (reference * candidate) ** 0.25, 0.0)
        return cls(5 * np.log10(candidate / reference), weight)

    @property
    def stretches(self) -> int:
        return len(self.weight)


def _looks(
    motif: Motif, envelopes: Envelopes, rest: _Rest, counts: FloatArray
) -> FloatArray | None:
    """What independent looks say of the figure's level, dB, shape (10, draws).

    Parameters
    ----------
    motif, envelopes, rest
        What repeats, both recordings, and what does not repeat in them.
    counts : ndarray, shape (draws, stretches)
        How often each stretch counts.

    Returns
    -------
    ndarray or None
        Foretold by the reference, then by the candidate: against the neighbouring bands, against
        all, and against the pair's own level; then the powers' sum, its middle over the stretches,
        the sum of amplitudes, and this against the neighbouring bands. None where too little comes
        again.
    """
    repeats = motif.repeats(envelopes)
    still = np.where((motif.again < _STILL).all(axis=0), rest.weight, 0.0)
    if repeats.sum(axis=(1, 2)).min() < _FEWEST or not (still > 0).any():
        return None
    everywhere = weighted_quantile(rest.swing_db, still, 0.5)
    around = _around_db(rest.swing_db, still, everywhere)
    rows: list[FloatArray] = []
    for side in range(2):
        stretch, band = np.nonzero(repeats[side])
        reference, candidate = motif.slope[side][:, stretch, band]
        floor = 0.03 * np.maximum(reference, candidate)  # 15 dB apart at most
        slopes = np.maximum(candidate, floor) / np.maximum(reference, floor)
        level_db = 10 * np.log10(slopes)
        weight = (motif.again[side, stretch, band] - AGAIN + 0.05) * rest.weight[stretch, band]
        weights = (weight * counts[:, stretch]).T
        for anchor in (around[band], np.full(len(band), everywhere), np.zeros(len(band))):
            values = np.broadcast_to((level_db - anchor)[:, None], weights.shape)
            rows.append(weighted_medians(values, weights))
    either = repeats.any(axis=0)
    own = np.sqrt(np.maximum(np.stack([motif.slope[0, 0], motif.slope[1, 1]]), 0.0))
    powers = own * envelopes.level * either
    amplitudes = np.sqrt(powers)
    near = ndimage.gaussian_filter1d((amplitudes[0] * amplitudes[1]).sum(axis=0), 3)
    beside = weighted_quantile(rest.swing_db, still * near, 0.5)
    ratio_db = _ratio_db(powers.sum(axis=2))
    middle = weighted_medians(np.repeat(ratio_db[:, None], len(counts), axis=1), counts.T)
    total = _ratio_db(powers.sum(axis=2) @ counts.T)
    root = 2 * _ratio_db(amplitudes.sum(axis=2) @ counts.T)
    rows += [total - everywhere, middle - everywhere, root - everywhere, root - beside]
    return np.stack(rows)


def _ratio_db(powers: FloatArray) -> FloatArray:
    """Candidate over reference, along the first axis; 30 dB at most."""
    floor = 1e-3 * powers.max(axis=0) + 1e-30
    reference, candidate = np.maximum(powers, floor)
    return np.asarray(10 * np.log10(candidate / reference))


def _around_db(swing_db: FloatArray, weight: FloatArray, otherwise_db: float) -> FloatArray:
    """Median swing of each band's neighbourhood, shape (bands,)."""
    reach = 2 * _AROUND + 1
    padded = (np.pad(each, ((0, 0), (_AROUND, _AROUND))) for each in (swing_db, weight))
    values, weights = (
        np.lib.stride_tricks.sliding_window_view(each, reach, axis=1)
        .transpose(0, 2, 1)
        .reshape(-1, swing_db.shape[1])
        for each in padded
    )
    enough = (weights > 0).sum(axis=0) > 6
    return np.where(enough, weighted_medians(values, weights), otherwise_db)


def _both(looks: FloatArray) -> FloatArray:
    """Mean of what either recording foretells, shape (3, draws): timbre shifts them apart."""
    return np.asarray((looks[:3] + looks[3:6]) / 2)


def _sizes_db(looks: FloatArray) -> FloatArray:
    """All sizes, with those foretold by the recording in which the figure is louder."""
    both = _both(looks)[:2]
    louder = np.where(both[0] > 0, looks[3:5], looks[:2])
    return np.concatenate([both, louder, looks[6:9]])


def _size_db(looks: FloatArray) -> FloatArray:
    return np.asarray(np.median(_sizes_db(looks), axis=0))
