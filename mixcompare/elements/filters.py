"""Filters on one of two mixes of a take, told beside an element that has most of its register.

A filter moves every cell of a band alike, whoever plays. An element that has a band nearly to
itself leaves few cells that show so; but those of all bands lie on one curve of a usual shape, and
of such curves the one that goes through the most sound is the filter's.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import product

import numpy as np
import numpy.typing as npt
from scipy import ndimage, optimize

from mixcompare.pair.shapes import bell_db, high_shelf_db, low_shelf_db
from mixcompare.pair.spectra import PairSpectra

FloatArray = npt.NDArray[np.float64]
Range = tuple[float, float]

_STEP_DB, _FURTHEST_DB, _ON_IT_DB, _BLUR_DB = 0.1, 15.0, 0.25, 0.8
"""Grid of level differences, and how near to a curve a cell counts as on it: cells of one take
that nothing but a filter touched scatter by less; and how near at first."""
_GAINS_DB, _PLACES = (-8.0, -6.0, -4.0, -2.5, -1.5, 1.5, 2.5, 4.0, 6.0, 8.0), 12
_MOST_DB, _LEVEL_DB = 12.0, 1.0  # of a filter; how far the level may have been taken beside it
_LEAST_DB = 1.0  # told as tone from here on
_MOST_FILTERS, _STARTS, _BEYOND = 2, 2, 1.3  # and how far beyond the steepness that is tried first
MORE_ON_IT = 0.02
"""Share of the sound that a filter must put on the tone. Without one it puts less than 0.003 there
in 46 pairs with a changed section of three scores; with a shelf or a bell 0.08 to 0.37, or what
persists had told it."""


@dataclass(frozen=True)
class Shape:
    """A filter's usual shape, and which of it are tried.

    Attributes
    ----------
    level_db : callable
        Of centre frequencies, gain in dB, frequency in Hz and steepness; shape (bands,).
    place_hz : tuple of float
        Lowest and highest frequency. A bass line has the lowest bands to itself.
    steepness : tuple of float
        Tried first.
    """

    level_db: Callable[[FloatArray, float, float, float], FloatArray]
    place_hz: Range
    steepness: tuple[float, ...]

    def curve_db(
        self,
        centre_hz: FloatArray,
        gain_db: float,
        place: float,
        steepness: float,
        beside_db: float,
    ) -> FloatArray:
        """One of them, of logarithms of its frequency and steepness; and the level beside it."""
        shaped = self.level_db(centre_hz, gain_db, math.exp(place), math.exp(steepness))
        return np.asarray(beside_db + shaped)


SHAPES = (
    Shape(high_shelf_db, (300.0, 8000.0), (0.7, 1.0, 1.5)),
    Shape(low_shelf_db, (150.0, 800.0), (0.7, 1.0)),
    Shape(bell_db, (200.0, 6000.0), (0.5, 1.0, 2.0)),
)


def filter_in(
    spectra: PairSpectra, weight: FloatArray, beside_db: Sequence[float] = ()
) -> FloatArray:
    """What filters of usual shapes do to the most sound, shape (bands,); zero where none is.

    Parameters
    ----------
    spectra : PairSpectra
        Of one take.
    weight : ndarray, shape (n, bands)
        Of every cell.
    beside_db : sequence of float
        By how much elements changed: their cells lie so far from what filters do, on the same
        curve. An element that is alone in its bands tells the filter's shape there.
    """
    curve_db = np.zeros_like(spectra.centre_hz)
    heard = weight.any(axis=0)
    for _ in range(_MOST_FILTERS):
        left_db = spectra.difference_db - curve_db
        sized_db = [left_db - size for size in (0.0, *beside_db)]
        density = np.sum([_density(one, weight, _ON_IT_DB) for one in sized_db], axis=0)
        # Beside elements many a curve goes through more of the blurred cells: cost.
        if beside_db and max(_gains(density, spectra.centre_hz, one).max() for one in SHAPES) <= 0:
            break
        blurred = np.sum([_density(one, weight, _BLUR_DB) for one in sized_db], axis=0)
        found = [_fitted(blurred, density, spectra.centre_hz, shape) for shape in SHAPES]
        fits = [fit for fit in found if fit is not None]
        if not fits:
            break
        further_db = max(fits, key=lambda fit: float(_along(density, fit)))
        gained = _along(density, further_db) - _along(density, np.zeros_like(curve_db))
        if gained < MORE_ON_IT or np.ptp(further_db[heard]) < _LEAST_DB:
            break
        curve_db = curve_db + further_db
    return curve_db


def any_filter_in(spectra: PairSpectra, weight: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Where most sound of every band lies, and the share of all that lies there; shape (bands,).

    What several filters do together, or reflections close at hand, has no usual shape; but it moves
    every cell of a band alike, so that nearly all of them lie on some curve. What elements change
    leaves the others where they were.
    """
    density = _density(spectra.difference_db, weight, _ON_IT_DB)
    heard = np.flatnonzero(weight.any(axis=0))
    if not len(heard):
        return np.zeros_like(spectra.centre_hz), np.zeros_like(spectra.centre_hz)
    most_db = _STEP_DB * density[heard].argmax(axis=1) - _FURTHEST_DB
    octave = np.log2(spectra.centre_hz)
    curve_db = np.interp(octave, octave[heard], most_db)
    return curve_db, np.asarray(density.max(axis=1))


def on_curve(spectra: PairSpectra, weight: FloatArray, curve_db: FloatArray) -> FloatArray:
    """Share of the sound that lies on a curve, nearly so counting for less; shape (bands,)."""
    away = (spectra.difference_db - curve_db) / _ON_IT_DB
    share = (weight * np.exp(-0.5 * away**2)).sum(axis=0) / max(weight.sum(), 1e-30)
    return np.asarray(share)


def _fitted(
    blurred: FloatArray, density: FloatArray, centre_hz: FloatArray, shape: Shape
) -> FloatArray | None:
    """The curve of one shape that goes through the most sound, and the level beside it.

    Looked for in the blurred cells first, as curves are tried too far apart for the others. None
    where none of those tried goes through more of them than no filter does.
    """

    def curve(logs: FloatArray) -> FloatArray:
        return shape.curve_db(centre_hz, *logs.tolist())

    gains = _gains(blurred, centre_hz, shape)
    if gains.max() <= 0:
        return None
    tried, _ = _tried(shape, tuple(centre_hz.tolist()))
    lowest, highest = map(math.log, shape.place_hz)
    flattest, steepest = shape.steepness[0] / _BEYOND, shape.steepness[-1] * _BEYOND
    bounds = (
        (-_MOST_DB, _MOST_DB),
        (lowest, highest),
        (math.log(flattest), math.log(steepest)),
        (-_LEVEL_DB, _LEVEL_DB),
    )

    def better(start: FloatArray, cells: FloatArray) -> FloatArray:
        found = optimize.minimize(
            lambda logs: -_along(cells, curve(logs)),
            start,
            method="Nelder-Mead",
            bounds=bounds,
            options={"xatol": 0.01, "fatol": 1e-5},
        )
        return np.asarray(found.x)

    starts = [better(tried[i], blurred) for i in np.argsort(gains)[-_STARTS:]]
    start = max(starts, key=lambda logs: float(_along(blurred, curve(logs))))
    return curve(better(start, density))


def _gains(density: FloatArray, centre_hz: FloatArray, shape: Shape) -> FloatArray:
    """How much more of the sound curves that are tried go through than no filter, (tries,)."""
    _, curves_db = _tried(shape, tuple(centre_hz.tolist()))
    return _along(density, curves_db) - _along(density, np.zeros_like(centre_hz))


@lru_cache(maxsize=16)
def _tried(shape: Shape, centre_hz: tuple[float, ...]) -> tuple[FloatArray, FloatArray]:
    """What is tried at first and its curves, (tries, 4) and (tries, bands): the same every time."""
    lowest, highest = map(math.log, shape.place_hz)
    places = np.linspace(lowest, highest, _PLACES).tolist()
    tried = np.array([*product(_GAINS_DB, places, map(math.log, shape.steepness), (0.0,))])
    bands_hz = np.array(centre_hz)
    return tried, np.array([shape.curve_db(bands_hz, *logs) for logs in tried.tolist()])


def _density(difference_db: FloatArray, weight: FloatArray, width_db: float) -> FloatArray:
    """Share of the sound by band and level difference, blurred; shape (bands, levels)."""
    bands = difference_db.shape[1]
    levels = 2 * round(_FURTHEST_DB / _STEP_DB) + 1
    place = np.rint((difference_db + _FURTHEST_DB) / _STEP_DB).astype(np.int64)
    inside = (place >= 0) & (place < levels) & (weight > 0)
    index = (place + levels * np.arange(bands))[inside]
    counts = np.bincount(index, weight[inside], bands * levels).reshape(bands, levels)
    width = width_db / _STEP_DB
    blurred = ndimage.gaussian_filter1d(counts / max(weight.sum(), 1e-30), width, axis=1)
    return np.asarray(np.sqrt(2 * np.pi) * width * blurred)  # a cell on the curve counts whole


def _along(density: FloatArray, curve_db: FloatArray) -> FloatArray:
    """Share of the sound on curves of shape (..., bands), between two levels in proportion."""
    last = density.shape[1] - 1
    place = np.clip((curve_db + _FURTHEST_DB) / _STEP_DB, 0, last - 1e-6)
    below = place.astype(np.int64)
    bands, part = np.arange(len(density)), place - below
    shares = (1 - part) * density[bands, below] + part * density[bands, below + 1]
    return np.asarray(shares.sum(axis=-1))
