"""Broad shapes in a tone curve: its tilt, and the few bells and shelves that describe it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.tone.filters import BELL, HIGH_SHELF, LOW_SHELF, Filter, band_response_db
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.statistics import interval

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

TILT_RANGE_HZ = (90.0, 11_000.0)
"""Third-octave bands from 100 Hz to 10 kHz."""

MOST_FILTERS = 5  # our choice
SMALLEST_GAIN_DB = 0.7
"""A filter with less gain is left out: half the just-noticeable difference of tone."""

_FREQUENCY_RANGE_HZ = {
    BELL: (40.0, 10_000.0),
    LOW_SHELF: (30.0, 800.0),
    HIGH_SHELF: (1200.0, 16_000.0),
}
_Q_RANGE = {BELL: (0.35, 4.0), LOW_SHELF: (0.4, 1.4), HIGH_SHELF: (0.4, 1.4)}
_USUAL_Q = {BELL: 1.0, LOW_SHELF: 0.71, HIGH_SHELF: 0.71}
_Q_SPREAD = 0.7  # natural logarithm; only holds Q where the bands don't tell it
_GAIN_LIMIT_DB = 24.0  # range of the fit, our choice
_GAIN_SPREAD_DB = 6.0  # keeps two filters from working against each other
_LEVEL_SPREAD_DB = 0.5  # how far the level match may be off
FLOOR_DB = 0.3  # what a response averaged over a band leaves open, however steady the difference
_PER_PARAMETER = 2.0  # times ln(bands): twice the criterion of Schwarz (1978)
_TILT_SHARE = 0.6  # of the curve, before it is called a tilt
# Cost: so many filters are tried in all combinations, each kind of mixture from so many starts.
_EXHAUSTIVE, _STARTS = 3, 3
_OCTAVES = np.log2(THIRD_OCTAVE_CENTRES_HZ / 1000.0)


@dataclass(frozen=True)
class Line:
    """A robust straight line through band levels against octaves."""

    slope: float
    weight: FloatArray  # of each band, Huber's included

    @classmethod
    def through(cls, level: FloatArray, deviation: FloatArray) -> Line | None:
        """Iteratively reweighted least squares (Huber 1964); None for under seven bands."""
        low, high = TILT_RANGE_HZ
        centre = THIRD_OCTAVE_CENTRES_HZ
        inside = (centre > low) & (centre < high)
        inside &= np.isfinite(deviation) & np.isfinite(level)
        if inside.sum() < 7:
            return None
        # No band may rule the fit by being measured more finely than the ear hears.
        base = np.where(inside, 1 / np.hypot(np.where(inside, deviation, 1.0), 0.5) ** 2, 0.0)
        level = np.where(inside, level, 0.0)
        weight = base
        for _ in range(20):
            slope, offset = _weighted_line(level, weight)
            away = np.abs(level - offset - slope * _OCTAVES)
            spread = max(1.4826 * float(np.median(away[inside])), 0.05)
            weight = base * np.minimum(1.0, 1.5 * spread / np.maximum(away, 1e-9))
        return cls(slope, weight)

    def slopes(self, draws: FloatArray) -> FloatArray:
        """Slope of each draw, shape (draws,), with this line's weights."""
        centred = _OCTAVES - np.average(_OCTAVES, weights=self.weight)
        denominator = float(np.sum(self.weight * centred**2))
        return np.asarray(draws @ (self.weight * centred) / denominator)

    def scattered(self, deviations: FloatArray, scatter_db: float) -> tuple[float, float]:
        """Interval around the slope when the bands scatter; neighbours scatter alike."""
        used = self.weight > 0
        share = np.sqrt(2.0) / (np.std(_OCTAVES[used]) * np.sqrt(used.sum()))
        extra = 1.96 * scatter_db * float(share)
        low, high = interval(deviations)
        return -math.hypot(low, extra), math.hypot(high, extra)

    @staticmethod
    def clipped(slope: float, curve: FloatArray, heard: BoolArray) -> FloatArray:
        """The line over all bands, level outside the range of the fit."""
        low, high = np.log2(np.array(TILT_RANGE_HZ) / 1000)
        line = slope * np.clip(_OCTAVES, low, high)
        return np.asarray(line + np.median((curve - line)[heard]))


def _weighted_line(level: FloatArray, weight: FloatArray) -> tuple[float, float]:
    middle = np.average(_OCTAVES, weights=weight)
    mean = np.average(level, weights=weight)
    slope = np.sum(weight * (_OCTAVES - middle) * (level - mean)) / np.sum(
        weight * (_OCTAVES - middle) ** 2
    )
    return float(slope), float(mean - slope * middle)


@dataclass(frozen=True)
class Shaping:
    """Filters that turn one curve into another.

    Attributes
    ----------
    filters : tuple of Filter
        In order of frequency.
    level_db : float
        What is left to a change of level.
    residual_db : ndarray, shape (bands,)
        What the filters and the level don't explain.
    misfit : float
        Sum of squares in standard deviations, with the price of unusual values.
    """

    filters: tuple[Filter, ...]
    level_db: float
    residual_db: FloatArray
    misfit: float = 0.0


def fit(centre_hz: FloatArray, curve_db: FloatArray, deviation_db: FloatArray) -> Shaping:
    """Fit at most five bells and shelves to a curve, each only where it clearly helps.

    Parameters
    ----------
    centre_hz, curve_db, deviation_db : ndarray, shape (bands,)
        Third-octave bands, the curve, and its standard deviation.

    Returns
    -------
    Shaping
        A filter is added while the misfit falls by twice the criterion of Schwarz (1978,
        Annals of Statistics 6, 461-464). Up to three are looked for together, further ones each
        on top of those before.
    """
    problem = _Problem(centre_hz, curve_db, np.hypot(deviation_db, FLOOR_DB))
    (best,) = problem.refined([()])
    for count in range(1, MOST_FILTERS + 1):
        if len(curve_db) < 3 * count + 3:
            break
        starts = problem.sets(count) if count <= _EXHAUSTIVE else problem.extensions(best)
        better = min(problem.refined(starts), key=lambda found: found.misfit)
        if best.misfit - better.misfit < price(len(curve_db)):
            break
        best = better
    kept = tuple(entry for entry in best.filters if abs(entry.gain_db) >= SMALLEST_GAIN_DB)
    if len(kept) < len(best.filters):
        (best,) = problem.refined([kept])
    ordered = tuple(sorted(best.filters, key=lambda entry: entry.frequency_hz))
    return Shaping(ordered, best.level_db, best.residual_db, best.misfit)


def price(bands: int) -> float:
    """By how much the misfit must fall for one filter more: it has three values."""
    return float(3 * _PER_PARAMETER * np.log(max(bands, 2)))


def is_tilt(
    centre_hz: FloatArray, curve_db: FloatArray, deviation_db: FloatArray, slope: float
) -> bool:
    """Whether a straight slope says most of a curve, and says it better than bells and shelves.

    Parameters
    ----------
    centre_hz, curve_db, deviation_db : ndarray, shape (bands,)
        Mid-band frequencies, the curve there, and its standard deviation.
    slope : float
        dB per octave.

    Returns
    -------
    bool
        By the criterion of Schwarz (1978), which sets misfit against the number of parameters.
    """
    deviation = np.hypot(deviation_db, FLOOR_DB)
    weight = deviation**-2
    line = slope * np.log2(np.clip(centre_hz, *TILT_RANGE_HZ))
    left = curve_db - line
    left = left - np.average(left, weights=weight)
    away = curve_db - np.average(curve_db, weights=weight)
    misfit = float(np.sum(weight * left**2))
    if misfit > (1 - _TILT_SHARE) * float(np.sum(weight * away**2)):
        return False
    filtered = fit(centre_hz, curve_db, deviation_db)
    parameters = 3 * len(filtered.filters) - 1  # more than the line has, besides the level
    return bool(misfit < filtered.misfit + parameters * np.log(len(curve_db)))


class _Problem:
    """A curve to be fitted, with the weights of its bands."""

    def __init__(self, centre: FloatArray, curve: FloatArray, deviation: FloatArray) -> None:
        self._centre, self._curve, self._weight = centre, curve, 1 / deviation
        self._shapes = [
            Filter(kind, float(frequency), 1.0, float(q))
            for kind, (least, most) in _FREQUENCY_RANGE_HZ.items()
            for frequency in np.exp(np.arange(np.log(least), np.log(most), np.log(2) / 2))
            for q in ((0.7, 1.5) if kind == BELL else (0.71,))
        ]
        self._kinds = np.array([shape.kind for shape in self._shapes])
        values = np.array([shape.logs for shape in self._shapes])
        self._responses = band_response_db(self._kinds, values, centre) * self._weight

    def sets(self, count: int) -> list[tuple[Filter, ...]]:
        """Of every mixture of kinds, the sets of so many filters that take away the most.

        All sets of a coarse grid of filters are tried, their gains taken as linear.
        """
        chosen = np.array(list(combinations(range(len(self._shapes)), count)))
        low, high = ((self._kinds == kind)[chosen].sum(axis=1) for kind in (LOW_SHELF, HIGH_SHELF))
        allowed = (low <= 1) & (high <= 1)
        chosen, mixture = chosen[allowed], (2 * low + high)[allowed]
        gram = self._responses @ self._responses.T
        gram += np.eye(len(gram)) / _GAIN_SPREAD_DB**2
        along = (self._responses @ (self._curve * self._weight))[chosen]
        gains = np.linalg.solve(gram[chosen[:, :, None], chosen[:, None, :]], along[..., None])
        taken = np.sum(along * gains[..., 0], axis=1)
        out = []
        for one in np.unique(mixture):
            same = np.flatnonzero(mixture == one)
            for top in same[np.argsort(-taken[same])[:_STARTS]]:
                shapes = [self._shapes[index] for index in chosen[top]]
                out.append(
                    tuple(
                        replace(shape, gain_db=float(np.clip(gain, -12, 12)))
                        for shape, gain in zip(shapes, gains[top, :, 0], strict=True)
                    )
                )
        return out

    def extensions(self, known: Shaping) -> list[tuple[Filter, ...]]:
        """The known filters and one more: of each kind the one that takes away the most."""
        taken_kinds = {entry.kind for entry in known.filters} - {BELL}
        along = self._responses @ (known.residual_db * self._weight)
        energy = np.sum(self._responses**2, axis=1) + 1 / _GAIN_SPREAD_DB**2
        out = []
        for kind in sorted(set(_Q_RANGE) - taken_kinds):
            worth = [
                along[index] ** 2 / energy[index] if shape.kind == kind else -1.0
                for index, shape in enumerate(self._shapes)
            ]
            top = int(np.argmax(worth))
            start = replace(self._shapes[top], gain_db=float(along[top] / energy[top]))
            out.append((*known.filters, start))
        return out

    def refined(self, starts: Sequence[tuple[Filter, ...]]) -> list[Shaping]:
        """From every start, all of as many filters, these and the level fitted together.

        Levenberg (1944) and Marquardt (1963), all starts at once, each at its own pace; values
        that leave their range are put back.
        """
        count = len(starts[0])
        kinds = np.array([[entry.kind for entry in start] for start in starts], "U10")
        values = np.zeros((len(starts), 1 + 3 * count))
        low, high = np.full_like(values, -30.0), np.full_like(values, 30.0)
        for row, start in enumerate(starts):
            for index, entry in enumerate(start):
                least, most = np.log([_FREQUENCY_RANGE_HZ[entry.kind], _Q_RANGE[entry.kind]]).T
                at = slice(1 + 3 * index, 4 + 3 * index)
                values[row, at] = entry.logs
                low[row, at] = least[0], -_GAIN_LIMIT_DB, least[1]
                high[row, at] = most[0], _GAIN_LIMIT_DB, most[1]
        values = np.clip(values, low, high)
        left, slopes = self._linearised(kinds, values)
        damping = np.full(len(starts), 0.01)
        on = np.arange(len(starts))  # those that still move
        for _ in range(40):
            across = slopes[on].swapaxes(1, 2)
            square = across @ slopes[on]
            unit = np.eye(values.shape[1])
            damped = square + (damping[on, None, None] * square + 1e-9) * unit
            step = np.linalg.solve(damped, across @ left[on, :, None])[..., 0]
            moved = np.clip(values[on] - step, low[on], high[on])
            left_there, slopes_there = self._linearised(kinds[on], moved)
            gained = np.sum(left[on] ** 2, axis=1) - np.sum(left_there**2, axis=1)
            better = gained > 0
            to = on[better]
            values[to], left[to], slopes[to] = (
                each[better] for each in (moved, left_there, slopes_there)
            )
            damping[on] = np.where(better, np.maximum(damping[on] / 4, 1e-6), 5 * damping[on])
            on = on[np.where(better, gained >= 1e-3, damping[on] <= 1e4)]
            if len(on) == 0:
                break
        return [self._shaping(*each) for each in zip(kinds, values, left, strict=True)]

    def _shaping(
        self, kinds: npt.NDArray[np.str_], values: FloatArray, left: FloatArray
    ) -> Shaping:
        built = tuple(
            Filter(str(kind), float(np.exp(row[0])), float(row[1]), float(np.exp(row[2])))
            for kind, row in zip(kinds, values[1:].reshape(-1, 3), strict=True)
        )
        residual = left[: len(self._curve)] / self._weight
        return Shaping(built, float(values[0]), residual, float(left @ left))

    def _linearised(
        self, kinds: npt.NDArray[np.str_], values: FloatArray
    ) -> tuple[FloatArray, FloatArray]:
        """What is left in standard deviations, unusual values included, and its derivative.

        Of every row of kinds and values.
        """
        (rows, count), bands = kinds.shape, len(self._curve)
        each = values[:, 1:].reshape(rows, count, 3)
        around = each[:, :, None] + np.vstack([np.zeros(3), 1e-5 * np.eye(3)])
        responses = band_response_db(kinds, around, self._centre)
        rise = (responses[:, :, 1:] - responses[:, :, :1]) / 1e-5 * self._weight
        model = values[:, :1] + responses[:, :, 0].sum(axis=1)
        slopes = np.zeros((rows, bands + 2 * count + 1, values.shape[1]))
        slopes[:, :bands, 0] = -self._weight
        slopes[:, :bands, 1:] = -rise.reshape(rows, 3 * count, bands).swapaxes(1, 2)
        one = np.arange(count)
        slopes[:, bands + one, 3 + 3 * one] = 1 / _Q_SPREAD
        slopes[:, bands + count + one, 2 + 3 * one] = 1 / _GAIN_SPREAD_DB
        slopes[:, -1, 0] = 1 / _LEVEL_SPREAD_DB
        usual = np.where(kinds == BELL, np.log(_USUAL_Q[BELL]), np.log(_USUAL_Q[LOW_SHELF]))
        left = [
            (self._curve - model) * self._weight,
            (each[..., 2] - usual) / _Q_SPREAD,
            each[..., 1] / _GAIN_SPREAD_DB,
            values[:, :1] / _LEVEL_SPREAD_DB,
        ]
        return np.concatenate(left, axis=1), slopes
