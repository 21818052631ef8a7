"""Which components changed together, and by how much: the level anchor.

Every cell is a component in a band, where that component dominates; its value y is the
weighted median of the level difference over the moments in which both recordings play it.
The model is

    y = c + tone(f) + u(band) + z(component) * m + noise

with a smooth tone curve, a sparse offset per band, one common level change m of the changed
group (z = 1), and Laplace noise with outliers, fitted by expectation maximisation. Without
the tone curve an equaliser would read as an element. Which of the two groups is "unchanged"
is a question of definition: the one that the most of the sound belongs to.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.factorisation import Factors
from mixcompare.spectra import PairSpectra
from mixcompare.statistics import weighted_quantile

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

_DOMINANT = 0.6
_FEWEST_MOMENTS = 6
_OUTLIER_SHARE = 0.03
_OUTLIER_RANGE_DB = 30.0
_KNOT_OCTAVES = 1.0
_STARTS_DB = (-8.0, -5.0, -3.0, 3.0, 5.0, 8.0)
_LARGEST_DB = 20.0


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
        Probability that a component belongs to the changed group.
    tone_db : ndarray, shape (bands,)
        Static curve: constant, smooth part and band offsets.
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


def make_cells(pair: PairSpectra, factors: Factors) -> Cells:
    """Collect the cells of a factorised pair."""
    difference = pair.difference_db.T
    heard = pair.audible.T
    frames = difference.shape[1]
    reference = ndimage.uniform_filter1d(pair.reference, 5, axis=0).T
    candidate = ndimage.uniform_filter1d(pair.candidate, 5, axis=0).T
    floor = 1e-9 * max(reference.max(), candidate.max())
    difference = 10 * np.log10((candidate + floor) / (reference + floor))
    mean_level = np.sqrt(pair.reference.mean(axis=0) + floor)
    softer = np.maximum(np.minimum(reference, candidate), 0)
    amplitude = np.sqrt(softer) / mean_level[:, None] ** 0.8
    activity = np.minimum(factors.reference, factors.candidate)
    mean = np.sqrt(factors.reference * factors.candidate) + 1e-6
    total = np.square(factors.templates) @ np.square(mean) + 1e-20
    columns: list[tuple[int, int, float, float, float]] = []
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
        for row in rows:
            moments = active[dominant[row]]
            values = difference[row, moments]
            weights = amplitude[row, moments]
            low, middle, high = (
                weighted_quantile(values, weights, quantile) for quantile in (0.25, 0.5, 0.75)
            )
            columns.append((index, int(row), middle, float(weights.sum()), (high - low) / 1.35))
    table = np.array(columns, np.float64).reshape(-1, 5)
    return Cells(
        component=table[:, 0].astype(np.int64),
        band=table[:, 1].astype(np.int64),
        value_db=table[:, 2],
        weight=table[:, 3] / frames,
        spread_db=table[:, 4],
        likeness=_likeness(factors, pair.centre_hz),
        components=factors.templates.shape[1],
        centre_hz=pair.centre_hz,
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


def fit_group(cells: Cells, smallest_noise_db: float) -> GroupFit:
    """Find the changed group that explains the cells best, from several starts.

    Parameters
    ----------
    cells : Cells
    smallest_noise_db : float
        Floor of the noise scale: about 0.15 dB for one take, 0.6 dB for two performances.
    """
    model = _Model(cells, smallest_noise_db)
    rest = model.fit(0.0, tau=4.0)
    offsets = np.abs(rest.offsets)[model.band_weight > 0]
    tau = float(
        np.clip(weighted_quantile(offsets, model.band_weight[model.band_weight > 0], 0.5), 0.2, 4.0)
    )
    rest = model.fit(0.0, tau)
    tries = [model.fit(start, tau) for start in _STARTS_DB]
    best = max(tries, key=lambda attempt: attempt.likelihood)
    bands = model.tone(best)
    return GroupFit(
        change_db=best.change,
        membership=best.membership,
        tone_db=bands,
        noise_db=best.noise,
        evidence=best.likelihood - rest.likelihood,
    )


@dataclass
class _State:
    change: float
    constant: float
    curve: FloatArray
    offsets: FloatArray
    noise: float
    membership: FloatArray
    likelihood: float


class _Model:
    """Expectation maximisation of the model in the module's docstring."""

    def __init__(self, cells: Cells, smallest_noise_db: float) -> None:
        self.cells = cells
        self.smallest_noise = smallest_noise_db
        self.bands = len(cells.centre_hz)
        count = cells.components
        weight_of = np.bincount(cells.component, cells.weight, count)
        self.has = weight_of > 0
        damped = np.sqrt(weight_of)
        self.component_weight = np.where(
            self.has, damped / max(damped[self.has].mean(), 1e-12) if self.has.any() else 0, 0
        )
        within = cells.weight / np.maximum(weight_of[cells.component], 1e-12)
        steady = 1 / (1 + (cells.spread_db / 4) ** 2)
        self.weight = within * self.component_weight[cells.component] * steady
        self.band_weight = np.bincount(cells.band, self.weight, self.bands)
        octave = np.log2(cells.centre_hz)
        knots = np.arange(octave[0] - 0.5, octave[-1] + 1.0, _KNOT_OCTAVES)
        self.basis = np.maximum(1 - np.abs(octave[:, None] - knots[None]) / _KNOT_OCTAVES, 0)
        self.basis /= self.basis.sum(axis=1, keepdims=True)
        size = len(knots)
        second = np.diff(np.eye(size), 2, axis=0)
        first = np.diff(np.eye(size), axis=0)
        self.roughness = 4 * second.T @ second + 0.3 * np.eye(size) + 0.5 * first.T @ first

    def tone(self, state: _State) -> FloatArray:
        return np.asarray(state.constant + self.basis @ state.curve + state.offsets)

    def fit(self, change: float, tau: float) -> _State:
        cells = self.cells
        y, component, band = cells.value_db, cells.component, cells.band
        state = _State(
            change=change,
            constant=weighted_quantile(y, self.weight, 0.5),
            curve=np.zeros(self.basis.shape[1]),
            offsets=np.zeros(self.bands),
            noise=2.0,
            membership=np.zeros(cells.components),
            likelihood=0.0,
        )
        prior = np.full(cells.components, 0.25)
        for _ in range(22):
            rest = y - self.tone(state)[band]
            if change != 0:
                gain = _log_density(rest - state.change, state.noise) - _log_density(
                    rest, state.noise
                )
                evidence = 2 * np.bincount(component, self.weight * gain, cells.components)
                logit = evidence + np.log(prior / (1 - prior))
                state.membership = self.has / (1 + np.exp(-np.clip(logit, -30, 30)))
                prior = self._prior(state.membership)
            self._update(state, rest, tau)
        rest = y - self.tone(state)[band]
        unchanged = np.bincount(
            component, self.weight * _log_density(rest, state.noise), cells.components
        )
        changed = np.bincount(
            component,
            self.weight * _log_density(rest - state.change, state.noise),
            cells.components,
        )
        penalty = state.curve @ self.roughness @ state.curve / 2 / state.noise**2
        penalty += 0.5 * (np.abs(state.offsets) / tau)[self.band_weight > 0].sum()
        if change == 0:
            state.likelihood = float(unchanged[self.has].sum() - penalty)
        else:
            both = np.logaddexp(np.log(1 - prior) + unchanged, np.log(prior) + changed)
            state.likelihood = float(both[self.has].sum() - penalty)
        return state

    def _prior(self, membership: FloatArray) -> FloatArray:
        """A component belongs to the group as its like neighbours do."""
        weight = self.component_weight
        overall = float(np.clip((membership * weight).sum() / weight.sum(), 0.03, 0.9))
        near = self.cells.likeness * weight[None]
        mixed = 0.7 * (near @ membership) / near.sum(axis=1) + 0.3 * overall
        return np.asarray(np.clip(mixed, 0.02, 0.95), np.float64)

    def _update(self, state: _State, rest: FloatArray, tau: float) -> None:
        cells = self.cells
        y, component, band = cells.value_db, cells.component, cells.band
        member = state.membership[component]
        plain = self.weight * (1 - member) * _pull(rest, state.noise)
        moved = self.weight * member * _pull(rest - state.change, state.noise)
        weight = plain + moved + 1e-12
        target = (plain * y + moved * (y - state.change)) / weight
        design = np.hstack([np.ones((len(y), 1)), self.basis[band]])
        penalty = np.zeros((design.shape[1], design.shape[1]))
        penalty[1:, 1:] = self.roughness / state.noise**2
        solved = np.linalg.solve(
            design.T @ (weight[:, None] * design) / state.noise
            + penalty
            + 1e-9 * np.eye(len(penalty)),
            design.T @ (weight * (target - state.offsets[band])) / state.noise,
        )
        state.constant, state.curve = float(solved[0]), solved[1:]
        smooth = design @ solved
        pulled = np.bincount(band, weight * (target - smooth), self.bands) / state.noise
        held = np.bincount(band, weight, self.bands) / state.noise
        sparse = 0.5 / tau / np.maximum(np.abs(state.offsets), 0.2 * tau)
        state.offsets = pulled / (held + sparse)
        rest = y - self.tone(state)[band]
        if state.change != 0 and (self.weight * member).sum() > 1e-3:
            middle = weighted_quantile(rest, self.weight * member, 0.5)
            state.change = float(np.clip(middle, -_LARGEST_DB, _LARGEST_DB))
        distance = np.abs(np.where(member > 0.5, rest - state.change, rest))
        scale = (self.weight * np.minimum(distance, 4 * state.noise)).sum() / self.weight.sum()
        state.noise = max(self.smallest_noise, float(scale))


def _log_density(rest: FloatArray, noise: float) -> FloatArray:
    """Laplace density with a thin uniform share of outliers."""
    inside = np.log(1 - _OUTLIER_SHARE) - np.abs(rest) / noise - np.log(2 * noise)
    return np.asarray(np.logaddexp(inside, np.log(_OUTLIER_SHARE / _OUTLIER_RANGE_DB)))


def _pull(rest: FloatArray, noise: float) -> FloatArray:
    """Weight of a cell in the least-squares step that mimics the Laplace density."""
    distance = np.abs(rest)
    near = 1 / np.maximum(distance, 0.3 * noise)
    return np.asarray(near * np.exp(-np.maximum(0, distance / noise - 4)))
