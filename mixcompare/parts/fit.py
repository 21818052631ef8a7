"""The level of every part in both recordings, fitted together.

Conventions
-----------
Both recordings' cells are taken as sums of the same parts' templates. Unknown, in dB: the gain of
every part in every octave of the reference; how much louder it is in the candidate, as a whole and
(where other instruments play) octave by octave; the tone between both. What a template gets wrong
is wrong in both recordings alike: so the difference of what is left in either is trusted far more
than their mean. Most parts are taken to have one difference: the price of a part's own grows with
its size, not with the square (a reweighted ridge). Parts are taken to be about as loud against each
other as they are written.

All derivatives are shares: of a cell, the share that a part has in it.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import signal, sparse

from mixcompare.parts.separate import BACKGROUND, DB, hats, misfit, separate
from mixcompare.standards.bs1770 import k_weighting_power
from mixcompare.statistics import block_counts

FloatArray = npt.NDArray[np.float64]

_DECAY_S = 1.8  # of the tail that is laid on the templates; the share of it is fitted
_TAIL_SHARES = (0.12, 0.3, 0.7, 1.5)
_HEARD_DB = 52.0  # below the loudest cell; our judgement, not measured
_NOT_CARRIED_DB = 15.0
"""Difference of the lowest bands by which one recording, or its basses' lowest octave, lacks them;
our choice: no player makes so much of one."""
_START, _STEPS = 25, 14  # updates, steps
_MOST_STEP_DB = 6.0
_SCATTER_FROM = 5  # step from which the scatter is the residuals' own
CELLS_PER_NOTE = 25.0
"""Neighbouring cells are one note: so many tell what one would."""
# Priors, standard deviations in dB: chosen on three movements.
_STEP_DB, _OWN_STEP_DB, _TONE_STEP_DB, _CHANGE_DB = 6.0, 2.0, 3.0, 6.0
_SCATTER_DB, _SHAPE_DB = 3.0, 6.0
_LEAST_OWN_DB, LEAST_SCATTER_DB = 1.0, 0.05
_AS_WRITTEN_DB = 8.0
"""How far parts stand from how loud they are written: where two play one line, neither has all."""
_BLOCKS, _DRAWS = 16, 60
OTHER_INSTRUMENTS_DB = 3.0
"""Scatter about the fit: the same players stay below, others lie above (60 pairs)."""


@dataclass(frozen=True)
class Room:
    """The tail that is laid on templates.

    Attributes
    ----------
    share : float
        Of its energy against what it is laid on.
    rate_hz : float
        Frames a second.
    """

    share: float = 0.0
    rate_hz: float = 1.0

    def worn(self, templates: FloatArray, centre_hz: FloatArray) -> FloatArray:
        """Templates with the tail, at the level of cells of equal mean."""
        dry = templates * templates.shape[2]
        return np.asarray(dry + self.share * _with_decay(dry, centre_hz, self.rate_hz))


@dataclass(frozen=True)
class Cells:
    """Both recordings and the parts' templates on common cells.

    Attributes
    ----------
    centre_hz : ndarray, shape (bands,)
    reference, candidate : ndarray, shape (bands, n)
        Powers, of equal mean.
    in_reference, in_candidate : ndarray, shape (parts, bands, n)
        Templates, each recording's tail laid on.
    heard : ndarray of bool, shape (bands, n)
    rooms : tuple of Room
        What was laid on either's.
    """

    centre_hz: FloatArray
    reference: FloatArray
    candidate: FloatArray
    in_reference: FloatArray
    in_candidate: FloatArray
    heard: npt.NDArray[np.bool_]
    rooms: tuple[Room, Room] = field(default_factory=lambda: (Room(), Room()))


@dataclass(frozen=True)
class Fitted:
    """What the fit found.

    Attributes
    ----------
    difference_db : ndarray, shape (parts,)
        Candidate minus reference, up to one common shift.
    covariance : ndarray, shape (parts, parts)
    energy : ndarray, shape (parts,)
        Share of the reference's K-weighted energy.
    shares, candidate_shares : ndarray, shape (parts, bands, n)
        Of every cell of either recording.
    left_db : ndarray, shape (bands, n)
        Candidate minus reference in every cell, as far as the model does not explain it.
    scatter_db : float
        Of a cell's difference about the model.
    """

    difference_db: FloatArray
    covariance: FloatArray
    energy: FloatArray
    shares: FloatArray
    candidate_shares: FloatArray
    left_db: FloatArray
    scatter_db: float

    @property
    def other_instruments(self) -> bool:
        """Whether other instruments play than in the reference, by the scatter."""
        return self.scatter_db >= OTHER_INSTRUMENTS_DB


def cells_of(
    reference: FloatArray,
    candidate: FloatArray,
    templates: tuple[FloatArray, FloatArray],
    centre_hz: FloatArray,
    rate_hz: float,
    judged: npt.NDArray[np.bool_] | None = None,
) -> Cells:
    """Choose each recording's tail and lay it on the templates.

    Parameters
    ----------
    reference, candidate : ndarray, shape (bands, n)
        Powers at the same musical moments.
    templates : (ndarray, ndarray), shape (parts, bands, n)
        Of reference and candidate; see :mod:`mixcompare.parts.templates`.
    centre_hz : ndarray, shape (bands,)
        Of the bands.
    rate_hz : float
        Frames a second.
    judged : ndarray of bool, shape (bands, n), optional
        Cells that say something.
    """
    reference, candidate = (
        reference / reference.sum(axis=0).mean(),
        candidate / candidate.sum(axis=0).mean(),
    )
    (one, here), (other, there) = (
        _in_room(power, dry, centre_hz, rate_hz)
        for power, dry in zip((reference, candidate), templates, strict=True)
    )
    floor = 10 ** (-_HEARD_DB / 10)
    heard = (reference > floor * reference.max()) & (candidate > floor * candidate.max())
    heard &= _carried_by_both(reference, candidate)[:, None]
    if judged is not None:
        heard &= judged
    return Cells(centre_hz, reference, candidate, one, other, heard, (here, there))


def _carried_by_both(reference: FloatArray, candidate: FloatArray) -> npt.NDArray[np.bool_]:
    """Bands from the lowest that both recordings carry: what lies below is no part's doing."""
    level_db = DB * np.log((candidate.mean(axis=1) + 1e-12) / (reference.mean(axis=1) + 1e-12))
    alike = np.abs(level_db - np.median(level_db)) < _NOT_CARRIED_DB
    return np.asarray(np.logical_or.accumulate(alike))


def _with_decay(templates: FloatArray, centre_hz: FloatArray, rate_hz: float) -> FloatArray:
    """Templates convolved with an exponential tail of unit energy, shorter for the treble."""
    octaves = np.log2(centre_hz / 1000)
    decay_s = _DECAY_S * np.interp(octaves, [-4, 0, 1, 2, 3], [1.1, 1.0, 0.92, 0.8, 0.6])
    out = np.empty_like(templates)
    for band, time_s in enumerate(decay_s):
        keep = np.exp(-6 * np.log(10) / (rate_hz * time_s))
        out[:, band] = signal.lfilter([0, 1 - keep], [1, -keep], templates[:, band], axis=-1)
    return out


def _in_room(
    power: FloatArray, templates: FloatArray, centre_hz: FloatArray, rate_hz: float
) -> tuple[FloatArray, Room]:
    """Templates with as much tail as fits a recording best, and how much that is."""
    rooms = [Room(share, rate_hz) for share in _TAIL_SHARES]
    tried = [(room.worn(templates, centre_hz), room) for room in rooms]
    return min(tried, key=lambda one: misfit(power, one[0], centre_hz))


def fit(cells: Cells) -> Fitted:
    """Fit all unknowns by Gauss-Newton steps."""
    return _Problem(cells).solved()


class _Problem:
    """The unknowns of :func:`fit` in one vector: gains, differences, own differences, tone."""

    def __init__(self, cells: Cells) -> None:
        self.cells = cells
        self.hats = hats(cells.centre_hz)
        parts, knots = len(cells.in_reference), self.hats.shape[1]
        self.parts = parts
        grid = np.arange(parts * knots).reshape(parts, knots)
        self.gain = grid
        self.change = parts * knots + np.arange(parts)
        self.own = parts * (knots + 1) + grid
        self.tone = parts * (2 * knots + 1) + np.arange(knots)
        self.size = parts * (2 * knots + 1) + knots
        powers = cells.reference, cells.candidate
        self.as_written = self._as_written()
        self.floors = [BACKGROUND * float(power.max()) for power in powers]
        self.logs = [
            DB * np.log(power + floor) for power, floor in zip(powers, self.floors, strict=True)
        ]
        self.blocks = np.arange(cells.reference.shape[1]) * _BLOCKS // cells.reference.shape[1]
        # Each band hangs on a few unknowns: the larger of two products leaves the zeros out.
        self.difference, self.mean = (
            (directions, sparse.csr_array(directions.reshape(-1, self.size)))
            for directions in self._directions()
        )

    def _as_written(self) -> FloatArray:
        """Inverse variances of how far each part's mean gain lies from that of all."""
        weight = k_weighting_power(self.cells.centre_hz)
        energy = np.einsum("pft,f,fk->pk", self.cells.in_reference, weight, self.hats)
        mean = np.zeros((self.parts, self.size))
        mean[np.arange(self.parts)[:, None], self.gain] = energy / np.maximum(
            energy.sum(axis=1, keepdims=True), 1e-30
        )
        away = mean - mean.mean(axis=0)
        return np.asarray(away.T @ away / _AS_WRITTEN_DB**2)

    def _directions(self) -> tuple[FloatArray, FloatArray]:
        """How difference and mean of the model hang on the unknowns, through the shares.

        Shape (bands, parts of the reference, of the candidate and one for the tone, unknowns).
        """
        count = self.parts
        of_reference = np.zeros((len(self.hats), 2 * count + 1, self.size))
        of_candidate = np.zeros_like(of_reference)
        for part in range(count):
            of_reference[:, part, self.gain[part]] = self.hats
            of_candidate[:, count + part, self.gain[part]] = self.hats
            of_candidate[:, count + part, self.own[part]] = self.hats
            of_candidate[:, count + part, self.change[part]] = 1
        of_candidate[:, 2 * count, self.tone] = self.hats
        return of_candidate - of_reference, (of_candidate + of_reference) / 2

    def solved(self) -> Fitted:
        """Start from each part's gains in the reference, step, and tell how sure it is."""
        cells, values = self.cells, np.zeros(self.size)
        gains = separate(cells.reference, cells.in_reference, cells.centre_hz, _START)
        start = DB * np.log(np.maximum(gains, 1e-9))
        middle = np.median(start, axis=1, keepdims=True)
        values[self.gain] = np.clip(start, middle - 15, middle + 15)
        scatter, shape, own = _SCATTER_DB, _SHAPE_DB, _OWN_STEP_DB
        for step in range(_STEPS):
            if step == _SCATTER_FROM:
                scatter = self._scatter(values)
                shape, own = max(shape, 1.2 * scatter), max(_LEAST_OWN_DB, 0.6 * scatter)
            prior = self._prior(values, own)
            square, along = self._normal(values, scatter, shape)
            move = np.linalg.solve(square + prior, along - prior @ values)
            most = float(np.abs(move).max())
            values = values + move * min(1.0, _MOST_STEP_DB / most)
            if step > _SCATTER_FROM and most < 0.05:
                break
        return self._result(values, scatter, shape, own)

    def _prior(self, values: FloatArray, own_db: float) -> FloatArray:
        """Inverse variances of all unknowns; a difference's own is reweighted by its size."""
        out = np.zeros((self.size, self.size))
        steps = np.diff(np.eye(self.hats.shape[1]), axis=0)
        smooth = steps.T @ steps
        level = np.eye(len(smooth))
        for part in range(self.parts):
            out[np.ix_(self.gain[part], self.gain[part])] = smooth / _STEP_DB**2 + 1e-4 * level
            out[np.ix_(self.own[part], self.own[part])] = level / own_db**2
        out += self.as_written
        out[np.ix_(self.tone, self.tone)] = smooth / _TONE_STEP_DB**2 + 1e-5 * level
        out[self.change, self.change] = 1 / (
            _CHANGE_DB * np.maximum(np.abs(values[self.change]), 1)
        )
        return out

    def _shares(self, values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """Shares of all parts in both recordings' cells, and what the model leaves there."""
        gains = self.hats @ values[self.gain].T
        there = gains + self.hats @ values[self.own].T + values[self.change]
        tone = (self.hats @ values[self.tone])[:, None]
        one, other = (
            np.exp(gain / DB).T[:, :, None] * template
            for gain, template in (
                (gains, self.cells.in_reference),
                (there, self.cells.in_candidate),
            )
        )
        whole = one.sum(axis=0) + self.floors[0]
        whole_there = other.sum(axis=0) + self.floors[1]
        left = self.logs[0] - DB * np.log(whole)
        left_there = self.logs[1] - DB * np.log(whole_there) - tone
        return one / whole, other / whole_there, left, left_there

    def _scatter(self, values: FloatArray) -> float:
        """Of the cells' differences about the model."""
        _, _, left, left_there = self._shares(values)
        away = np.abs(left_there - left)[self.cells.heard]
        return max(1.4826 * float(np.median(away)), LEAST_SCATTER_DB)

    def _normal(
        self, values: FloatArray, scatter: float, shape: float, blocks: bool = False
    ) -> tuple[FloatArray, FloatArray]:
        """Normal equations of all cells, or those of every block of time."""
        one, other, left, left_there = self._shares(values)
        shares = np.concatenate([one, other, np.ones((1, *left.shape))])
        kinds = (
            (self.difference, left_there - left, scatter),
            (self.mean, (left_there + left) / 2, shape),
        )
        squares, alongs = [], []
        for block in range(_BLOCKS) if blocks else (None,):
            inside = slice(None) if block is None else self.blocks == block
            share = shares[:, :, inside].transpose(1, 0, 2)
            square, along = np.zeros((self.size, self.size)), np.zeros(self.size)
            for (directions, flat), away, deviation in kinds:
                # A cell that lies far off counts less (Huber-like: soft L1).
                weight = self.cells.heard / np.sqrt(1 + (away / deviation) ** 2)
                weight = (weight / (deviation**2 * CELLS_PER_NOTE))[:, None, inside]
                weighted = share * weight
                gram = weighted @ share.transpose(0, 2, 1)
                pull = weighted @ away[:, inside, None]
                square += flat.T @ (gram @ directions).reshape(-1, self.size)
                along += flat.T @ pull.ravel()
            squares.append(square)
            alongs.append(along)
        if blocks:
            return np.array(squares), np.array(alongs)
        return squares[0], alongs[0]

    def _result(self, values: FloatArray, scatter: float, shape: float, own: float) -> Fitted:
        """Differences with their covariance: of the fit, and of resampled blocks of time."""
        prior = self._prior(values, own)
        squares, alongs = self._normal(values, scatter, shape, blocks=True)
        covariance = np.linalg.inv(squares.sum(axis=0) + prior)
        draws = []
        for count in block_counts(_BLOCKS, _DRAWS):
            square, along = np.tensordot(count, squares, 1), count @ alongs
            draws.append(np.linalg.solve(square + prior, along - prior @ values))
        gains = np.exp(self.hats @ values[self.gain].T / DB).T
        weight = k_weighting_power(self.cells.centre_hz)
        energy = np.einsum("pf,pft,f->pf", gains, self.cells.in_reference, weight)
        heavy = energy / np.maximum(energy.sum(axis=1, keepdims=True), 1e-30)
        told = np.zeros((self.parts, self.size))
        told[np.arange(self.parts), self.change] = 1
        for part in range(self.parts):
            told[part, self.own[part]] = heavy[part] @ self.hats
        spread = told @ (covariance + np.cov(np.array(draws).T)) @ told.T
        whole = energy.sum(axis=1)
        shares, candidate_shares, left, left_there = self._shares(values)
        return Fitted(
            difference_db=told @ values,
            covariance=spread,
            energy=whole / whole.sum(),
            shares=shares,
            candidate_shares=candidate_shares,
            left_db=left_there - left,
            scatter_db=scatter,
        )
