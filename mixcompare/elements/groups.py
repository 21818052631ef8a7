"""Which components changed together, and by how much: the level anchor.

Every cell is a component in a band, where that component dominates; its value y is the
weighted median of the level difference over the moments in which both recordings play it.
The model is

    y = c + tone(f) + z(component) * m + noise

with a smooth tone curve, one common level change m of the changed group, and Laplace noise with
outliers, fitted by expectation maximisation. A component seldom belongs to one element alone, so
its membership z takes steps between none and all. Without the tone curve an equaliser would read
as an element; an offset for every band of its own would swallow elements, each of which sounds
in few bands. Which of the two groups is "unchanged" is a question of definition: the one that
the most of the sound belongs to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.beside import SMOOTH_FRAMES
from mixcompare.elements.factorisation import Factors
from mixcompare.pair.spectra import PairSpectra
from mixcompare.statistics import quantiles_by_column, weighted_quantile

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_DOMINANT = 0.6  # a component's share of a cell that it rules; our judgement, not measured
_FEWEST_MOMENTS = 6  # for a median of its level difference; our judgement, not measured
# Outliers among the cells: our judgement, not measured.
_OUTLIER_SHARE = 0.03
_OUTLIER_RANGE_DB = 30.0
_KNOT_OCTAVES = 1.0  # resolution of the tone curve: finer would swallow elements
_ROUGHNESS = (16.0, 0.5, 0.3)  # of the tone curve's bends, slopes and values
_STARTS_DB = (3.0, 5.0, 8.0)  # resolution: sizes from which the fit is started, either sign
_LARGEST_DB = 20.0  # range of the fit, our choice
_STEPS = np.array([0.0, 0.25, 0.5, 0.75, 1.0])  # of membership
_ROUNDS = 25  # cost: of expectation maximisation


@dataclass(frozen=True)
class Cells:
    """Level differences of components in the bands that they dominate.

    Attributes
    ----------
    component, band : ndarray of int, shape (cells,)
    value_db : ndarray, shape (cells,)
    weight : ndarray, shape (cells,)
    spread_db : ndarray, shape (cells,)
        Spread of the difference over the cell's moments.
    likeness : ndarray, shape (components, components)
        How alike components are in register, breadth, attack, density: changed elements
        consist of like components.
    """

    component: IntArray
    band: IntArray
    value_db: FloatArray
    weight: FloatArray
    spread_db: FloatArray
    likeness: FloatArray
    components: int
    centre_hz: FloatArray


@dataclass(frozen=True)
class GroupFit:
    """A changed group: its level change and what belongs to it.

    Attributes
    ----------
    change_db : float
        Level of the changed group against the rest, candidate minus reference.
    membership : ndarray, shape (components,)
        How far a component belongs to the changed group, 0 to 1, in decibels.
    tone_db : ndarray, shape (bands,)
        Static curve: constant and smooth part.
    noise_db : float
        Scale of the cells' scatter about the model.
    evidence : float
        Gain in penalised log likelihood over no changed group.
    """

    change_db: float
    membership: FloatArray
    tone_db: FloatArray
    noise_db: float
    evidence: float


def make_cells(spectra: PairSpectra, factors: Factors) -> Cells:
    """Collect the cells of a factorised pair."""
    heard = spectra.audible.T
    smooth = spectra.over_moments(SMOOTH_FRAMES)
    difference = smooth.difference_db.T
    frames = difference.shape[1]
    mean_level = np.sqrt(spectra.reference.mean(axis=0) + smooth.floor)
    softer = np.maximum(np.minimum(smooth.reference, smooth.candidate), 0).T
    amplitude = np.sqrt(softer) / mean_level[:, None] ** 0.8
    activity = np.minimum(factors.reference, factors.candidate)
    mean = np.sqrt(factors.reference * factors.candidate) + 1e-6
    total = np.square(factors.templates) @ np.square(mean) + 1e-20
    found = []
    for index in range(factors.templates.shape[1]):
        limit = 0.15 * np.percentile(
            np.maximum(factors.reference[index], factors.candidate[index]), 98
        )
        active = np.flatnonzero(activity[index] > limit)
        if len(active) < _FEWEST_MOMENTS:
            continue
        template = np.square(factors.templates[:, index])
        share = template[:, None] * np.square(mean[index, active])[None] / total[:, active]
        dominant = (share > _DOMINANT) & heard[:, active]
        rows = np.flatnonzero(dominant.sum(axis=1) >= _FEWEST_MOMENTS)
        cells = np.ix_(rows, active)
        weights = np.where(dominant[rows], amplitude[cells], 0.0).T
        low, middle, high = quantiles_by_column(difference[cells].T, weights, (0.25, 0.5, 0.75))
        of_all = np.full(len(rows), index)
        found.append(
            np.column_stack([of_all, rows, middle, weights.sum(axis=0), (high - low) / 1.35])
        )
    table = np.concatenate([np.zeros((0, 5)), *found])
    return Cells(
        component=table[:, 0].astype(np.int64),
        band=table[:, 1].astype(np.int64),
        value_db=table[:, 2],
        weight=table[:, 3] / frames,
        spread_db=table[:, 4],
        likeness=_likeness(factors, spectra.centre_hz),
        components=factors.templates.shape[1],
        centre_hz=spectra.centre_hz,
    )


def _likeness(factors: Factors, centre_hz: FloatArray) -> FloatArray:
    """Similarity of components from register, breadth, density, attacks and modulation."""
    level = (factors.reference + factors.candidate) / 2
    peak = np.percentile(level, 99, axis=1, keepdims=True) + 1e-12
    shape = np.sqrt(level / peak).clip(0, 1.2)
    octave = np.log2(centre_hz)[:, None]
    weight = factors.templates / (factors.templates.sum(axis=0, keepdims=True) + 1e-12)
    register = (weight * octave).sum(axis=0)
    breadth = np.sqrt((weight * (octave - register) ** 2).sum(axis=0))
    density = shape.mean(axis=1)
    attacks = np.maximum(np.diff(shape, axis=1), 0).sum(axis=1) / (shape.sum(axis=1) + 1e-9)
    slow = ndimage.uniform_filter1d(shape, 20, axis=1)
    modulation = ((shape - slow) ** 2).mean(axis=1) / ((shape**2).mean(axis=1) + 1e-9)
    traits = np.stack(
        [
            register,
            breadth / 0.5,
            np.log(density + 0.01) / 0.5,
            np.log(attacks + 0.005) / 0.4,
            modulation / 0.15,
        ],
        axis=1,
    )
    distance = ((traits[:, None] - traits[None]) ** 2).sum(axis=2)
    likeness = np.exp(-distance / (2 * 1.2**2))
    np.fill_diagonal(likeness, 0)
    return np.asarray(likeness + 1e-3)


def fit_groups(cells: Cells, smallest_noise_db: float) -> tuple[GroupFit, GroupFit]:
    """Find the group that came up and the one that went down, each from several starts.

    Parameters
    ----------
    cells : Cells
        The cells that say something.
    smallest_noise_db : float
        Floor of the noise scale.

    Returns
    -------
    tuple of GroupFit
        The one that explains the cells better comes first.
    """
    model = _Model(cells, smallest_noise_db)
    rest = model.fit(0.0)
    fits = []
    for sign in (1.0, -1.0):
        tries = (model.fit(sign * start) for start in _STARTS_DB)
        best = max(tries, key=lambda state: state.likelihood)
        fits.append(
            GroupFit(
                change_db=best.change,
                membership=best.belongs @ best.steps,
                tone_db=np.asarray(best.constant + model.basis @ best.curve),
                noise_db=best.noise,
                evidence=best.likelihood - rest.likelihood,
            )
        )
    first, second = sorted(fits, key=lambda fit: fit.evidence, reverse=True)
    return first, second


def component_weights(cells: Cells) -> FloatArray:
    """How much every component counts: by the root of its cells' weight, 1 on average."""
    damped = np.sqrt(np.bincount(cells.component, cells.weight, cells.components))
    return np.asarray(np.clip(damped / max(damped[damped > 0].mean(), 1e-12), 0, 3))


@dataclass
class _State:
    change: float
    constant: float
    curve: FloatArray
    noise: float
    steps: FloatArray
    prior: FloatArray
    belongs: FloatArray
    likelihood: float = 0.0


class _Model:
    """Expectation maximisation of the model in the module's docstring."""

    def __init__(self, cells: Cells, smallest_noise_db: float) -> None:
        self.cells = cells
        self.smallest_noise = smallest_noise_db
        count = cells.components
        weight_of = np.bincount(cells.component, cells.weight, count)
        self.has = weight_of > 0
        self.component_weight = component_weights(cells)
        within = cells.weight / np.maximum(weight_of[cells.component], 1e-12)
        # A component's cells share its partials: they say more than one, less than their number.
        bands = 1 / np.maximum(np.bincount(cells.component, within**2, count), 1e-9)
        said = self.component_weight * np.sqrt(np.maximum(bands, 1))
        steady = 1 / (1 + (cells.spread_db / 4) ** 2)
        self.weight = within * said[cells.component] * steady
        octave = np.log2(cells.centre_hz)
        knots = np.arange(octave[0] - 0.5, octave[-1] + 1.0, _KNOT_OCTAVES)
        self.basis = np.maximum(1 - np.abs(octave[:, None] - knots[None]) / _KNOT_OCTAVES, 0)
        self.basis /= self.basis.sum(axis=1, keepdims=True)
        self.at_cells = self.basis[cells.band]
        size = len(knots)
        bends, slopes = (np.diff(np.eye(size), order, axis=0) for order in (2, 1))
        bend, slope, value = _ROUGHNESS
        self.roughness = bend * bends.T @ bends + slope * slopes.T @ slopes + value * np.eye(size)

    def fit(self, change: float) -> _State:
        """Fit from a starting change; 0 keeps all components unchanged."""
        count = self.cells.components
        steps = _STEPS if change else _STEPS[:1]
        prior = np.full((count, len(steps)), 0.1)
        prior[:, 0] = 1 - 0.1 * (len(steps) - 1)
        state = _State(
            change=change,
            constant=weighted_quantile(self.cells.value_db, self.weight, 0.5),
            curve=np.zeros(self.basis.shape[1]),
            noise=2.0,
            steps=steps,
            prior=prior,
            belongs=prior,
        )
        for _ in range(_ROUNDS):
            rest = self._rest(state)
            log = self._log_likelihood(state, rest) + np.log(state.prior)
            state.belongs = np.exp(log - log.max(axis=1, keepdims=True))
            state.belongs /= state.belongs.sum(axis=1, keepdims=True)
            if change:
                state.prior = self._prior(state.belongs)
            self._update(state, rest)
        log = self._log_likelihood(state, self._rest(state)) + np.log(state.prior)
        penalty = state.curve @ self.roughness @ state.curve / 2 / state.noise**2
        state.likelihood = float(np.logaddexp.reduce(log, axis=1)[self.has].sum() - penalty)
        return state

    def _rest(self, state: _State) -> FloatArray:
        return np.asarray(self.cells.value_db - state.constant - self.at_cells @ state.curve)

    def _log_likelihood(self, state: _State, rest: FloatArray) -> FloatArray:
        """Of every component at every step of membership, shape (components, steps)."""
        cells = self.cells
        columns = [
            np.bincount(
                cells.component,
                self.weight * _log_density(rest - step * state.change, state.noise),
                cells.components,
            )
            for step in state.steps
        ]
        return np.stack(columns, axis=1)

    def _prior(self, belongs: FloatArray) -> FloatArray:
        """A component belongs to the group as its like neighbours do."""
        weight = self.component_weight
        overall = weight @ belongs / weight.sum()
        near = self.cells.likeness * weight[None]
        mixed = 0.6 * (near @ belongs) / near.sum(axis=1, keepdims=True) + 0.4 * overall
        mixed = np.clip(mixed, 0.01, 1)
        return np.asarray(mixed / mixed.sum(axis=1, keepdims=True))

    def _update(self, state: _State, rest: FloatArray) -> None:
        y = self.cells.value_db
        weights = self.weight[:, None] * state.belongs[self.cells.component]
        offsets = state.steps * state.change
        distance = rest[:, None] - offsets
        pull = weights * _pull(distance, state.noise)
        total = pull.sum(axis=1) + 1e-12
        target = y - (pull @ offsets) / total
        held = self.at_cells * (total / state.noise)[:, None]
        state.curve = np.linalg.solve(
            self.at_cells.T @ held + self.roughness / state.noise**2,
            held.T @ (target - state.constant),
        )
        state.constant = float(np.average(target - self.at_cells @ state.curve, weights=total))
        near = (weights * np.minimum(np.abs(distance), 4 * state.noise)).sum()
        if state.change:
            rest = self._rest(state)
            pull = weights * _pull(rest[:, None] - offsets, state.noise)
            amount = float((pull @ state.steps**2).sum())
            if amount > 1e-6:
                change = float(((pull @ state.steps) * rest).sum()) / amount
                state.change = float(np.clip(change, -_LARGEST_DB, _LARGEST_DB))
        state.noise = max(self.smallest_noise, float(near) / float(self.weight.sum()))


def _log_density(rest: FloatArray, noise: float) -> FloatArray:
    """Laplace density with a thin uniform share of outliers."""
    inside = np.log(1 - _OUTLIER_SHARE) - np.abs(rest) / noise - np.log(2 * noise)
    return np.asarray(np.logaddexp(inside, np.log(_OUTLIER_SHARE / _OUTLIER_RANGE_DB)))


def _pull(rest: FloatArray, noise: float) -> FloatArray:
    """Weight of a cell in the least-squares step that mimics the Laplace density."""
    distance = np.abs(rest)
    near = 1 / np.maximum(distance, 0.3 * noise)
    return np.asarray(near * np.exp(-np.maximum(0, distance / noise - 4)))
