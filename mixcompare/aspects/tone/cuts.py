"""Low-cut and high-cut filters in a tone curve: where they set in, and how steeply they fall.

Conventions
-----------
A cut has its corner where it takes 3 dB away, and falls beyond it by so many decibels an octave:
the maximally flat low- and high-pass of Butterworth (1930), 6.02 dB an octave per order, whose
order need not be whole here. The slope is negative where the candidate has the cut, positive where
the reference has it and the candidate has not: a curve is candidate minus reference.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.tone import filters, shaping
from mixcompare.fields import KEPT, NOT_IN_REPORT, SIGNED, labelled, within
from mixcompare.pair.shapes import cut_db

FloatArray = npt.NDArray[np.float64]
Interval = tuple[float, float]

LOW_CUT, HIGH_CUT = "low_cut", "high_cut"
_LEAST_DB = (6.0, 3.0)  # what the outermost band and its neighbour have lost, to look at all
_CORNERS_HZ = {LOW_CUT: (25.0, 800.0), HIGH_CUT: (1500.0, 16_000.0)}
# Resolution: a sixth of an order, coarser where steep.
_SLOPES_DB = np.concatenate([np.arange(5.5, 20.0, 1.0), np.arange(20.0, 52.0, 4.0)])
_MIDDLE_HZ = 1000.0  # between the ranges of low and high corners
_ROUNDS, _SETTLED_DB = 3, 0.05  # cost, and the change at which the fit has settled
_FINER = (0.25, 0.06)  # resolution: reach of two finer searches, natural logarithm
_STILL_DB = 0.8
"""Standard deviation of a band's difference. Where a codec put noise in the place of what a low cut
had left, it is 0.9 to 4.6, inside the music 0.0 to 0.3 (two scores)."""
_STILL_EDGE_DB = 0.4
"""The same of the outermost one: with 0.46 dB it is filled by 2 dB (one score, low cut, codec)."""
_SINGLE = 2  # bands from one still band to the next where one between them moves
_TIE = 4.0  # of misfit: two standard deviations
_HUBER_DB = 1.5  # misfits beyond count linearly; our judgement, not measured
_DEEP_SHARE = 0.08
"""Of what a band lost: at a steep slope it holds mostly what its nearer edge lets through, and
that hangs on the notes (1 dB in 12 on the sample score under known filters)."""
_LEAST_HALF = (0.03, 0.5)  # natural logarithm of the corner; dB an octave


@dataclass(frozen=True)
class Cut:
    """A filter that takes one end of the spectrum away.

    Attributes
    ----------
    kind : str
        ``"low_cut"`` or ``"high_cut"``.
    corner_hz, slope_db_per_octave : float
    corner_hz_interval, slope_db_per_octave_interval : tuple of float
        At 95 %.
    rate_hz : float
        Of the samples it was computed at, where its response is bent towards half of that by the
        bilinear transform; infinite where it is not.
    """

    kind: str
    corner_hz: float = field(metadata=labelled("Corner") | KEPT | within(0.1))
    slope_db_per_octave: float = field(
        metadata=labelled("Slope (below zero: the candidate's)") | SIGNED | within(1.5)
    )
    corner_hz_interval: Interval = (0.0, 0.0)
    slope_db_per_octave_interval: Interval = (0.0, 0.0)
    rate_hz: float = field(default=np.inf, metadata=NOT_IN_REPORT | KEPT)

    @property
    def in_candidate(self) -> bool:
        """Whether the candidate has it, or else the reference."""
        return self.slope_db_per_octave < 0

    def response_db(self, frequency_hz: npt.ArrayLike) -> FloatArray:
        """Candidate minus reference at the given frequencies."""
        corner, slope = np.array([self.corner_hz]), np.array([self.slope_db_per_octave])
        frequency = np.asarray(frequency_hz, np.float64)
        return np.asarray(_response_db(self.kind, corner, slope, frequency, self.rate_hz)[0])

    def band_response_db(self, centre_hz: FloatArray) -> FloatArray:
        """The same in third-octave bands, averaged as power."""
        inside = (centre_hz[:, None] * filters.IN_BAND).ravel()
        power = 10 ** (-abs(self.response_db(inside)) / 10).reshape(len(centre_hz), -1)
        sign = -1.0 if self.in_candidate else 1.0
        return np.asarray(-sign * 10 * np.log10(power.mean(axis=1)))


def fit(
    centre_hz: FloatArray,
    curve_db: FloatArray,
    deviation_db: FloatArray,
    rate_hz: float = np.inf,
) -> tuple[Cut, ...]:
    """Find the cuts in a curve, each only where it says more than bells and shelves.

    Parameters
    ----------
    centre_hz, curve_db, deviation_db : ndarray, shape (bands,)
        Third-octave bands, the curve, and its standard deviation from moment to moment.
    rate_hz : float
        Of the samples.

    Returns
    -------
    tuple of Cut
        At most one at either end; of fewer than two bands none.
    """
    if len(curve_db) < 2:
        return ()
    deviation = np.hypot(deviation_db, np.maximum(shaping.FLOOR_DB, _DEEP_SHARE * np.abs(curve_db)))
    kept: tuple[Cut, ...] = ()
    ends = [kind for kind in (LOW_CUT, HIGH_CUT) if _falls(kind, curve_db, deviation_db)]
    if not ends:
        return ()
    price = shaping.price(len(centre_hz))
    plain = shaping.fit(centre_hz, curve_db, deviation)
    best = _cost(plain, price)
    for kind in ends:
        rest = curve_db - total_db(kept, centre_hz)
        start = _CORNERS_HZ[kind][0], float(np.sign(rest[0 if kind == LOW_CUT else -1]))
        # What bends a filter's response towards half the sample rate is taken as the usual case.
        rates = (rate_hz, np.inf) if kind == HIGH_CUT and np.isfinite(rate_hz) else (np.inf,)
        tried = [
            _fitted(Cut(kind, *start, rate_hz=rate), centre_hz, rest, deviation, beside)
            for rate in rates
            for beside in _starts(kind, centre_hz, plain)
        ]
        costs = [_cost(found[1], price) for found in tried]
        near = [found for found, each in zip(tried, costs, strict=True) if each < min(costs) + _TIE]
        cut, shape = near[0]
        cost = _cost(shape, price) + price * 2 * (len(kept) + 1) / 3  # two values for three
        if cost < best:
            others = [found[0] for found in near[1:]]
            kept, best = (*kept, _with_intervals(cut, others, centre_hz, deviation)), cost
            plain = shape
    return kept


def steady_bands(deviation_db: FloatArray) -> npt.NDArray[np.bool_]:
    """The longest stretch of bands that stay still, at its edges and but for single ones inside.

    Beyond it lies what a codec made of the bands that a cut had left without music, and beyond
    that, where no music is, its noise may be the same in both recordings and stand still again.
    """
    still = np.flatnonzero(deviation_db < _STILL_DB)
    stretches = np.split(still, np.flatnonzero(np.diff(still) > _SINGLE) + 1)
    longest = max(stretches, key=len)
    longest = longest[deviation_db[longest] < _STILL_EDGE_DB]
    inside = np.zeros(len(deviation_db), bool)
    if len(longest):
        inside[longest[0] : longest[-1] + 1] = True
    return inside


def _falls(kind: str, curve: FloatArray, deviation: FloatArray) -> bool:
    """Whether an end of the curve falls off at all, one way or the other."""
    first, second = (0, 1) if kind == LOW_CUT else (-1, -2)
    sign = np.sign(curve[first])
    surely = abs(curve[first]) > 4 * deviation[first]
    return bool(
        surely and abs(curve[first]) >= _LEAST_DB[0] and sign * curve[second] >= _LEAST_DB[1]
    )


def _cost(shape: shaping.Shaping, price: float) -> float:
    return shape.misfit + price * len(shape.filters)


def total_db(cuts: tuple[Cut, ...], centre_hz: FloatArray) -> FloatArray:
    """What all cuts together do to third-octave bands."""
    return np.asarray(
        sum((cut.band_response_db(centre_hz) for cut in cuts), np.zeros_like(centre_hz))
    )


def _starts(kind: str, centre_hz: FloatArray, plain: shaping.Shaping) -> list[FloatArray]:
    """What may lie beside the cut, to begin with: nothing, or the filters of the other half."""
    far = [
        one.band_response_db(centre_hz)
        for one in plain.filters
        if (one.frequency_hz > _MIDDLE_HZ) == (kind == LOW_CUT)
    ]
    nothing = np.zeros_like(centre_hz)
    return [nothing, np.sum(far, axis=0)] if far else [nothing]


def _fitted(
    cut: Cut,
    centre_hz: FloatArray,
    curve: FloatArray,
    deviation: FloatArray,
    beside: FloatArray,
) -> tuple[Cut, shaping.Shaping]:
    """A cut, and the bells and shelves beside it, each fitted on what the other leaves."""
    low, high = _CORNERS_HZ[cut.kind]
    corners = np.exp(np.arange(np.log(low), np.log(high), np.log(2) / 12))
    for _ in range(_ROUNDS):
        cut = _nearest(cut, corners, _SLOPES_DB, centre_hz, curve - beside, deviation)
        for finer in _FINER:
            near = np.exp(np.linspace(-finer, finer, 11))
            slopes = abs(cut.slope_db_per_octave) * near**2
            cut = _nearest(cut, cut.corner_hz * near, slopes, centre_hz, curve - beside, deviation)
        rest = curve - cut.band_response_db(centre_hz)
        shape = shaping.fit(centre_hz, rest, deviation)
        before, beside = beside, rest - shape.residual_db
        if np.abs(beside - before).max() < _SETTLED_DB:
            break
    return cut, shape


def _nearest(
    cut: Cut,
    corners_hz: FloatArray,
    slopes_db: FloatArray,
    centre_hz: FloatArray,
    curve: FloatArray,
    deviation: FloatArray,
) -> Cut:
    """Of all corners and slopes, those with the least misfit (Huber 1964), level left free."""
    sign = np.sign(cut.slope_db_per_octave)
    slopes_db = sign * np.clip(slopes_db, _SLOPES_DB[0], _SLOPES_DB[-1])
    corner, slope = (grid.ravel() for grid in np.meshgrid(corners_hz, slopes_db))
    inside = (centre_hz[:, None] * filters.IN_BAND).ravel()
    fine = _response_db(cut.kind, corner, slope, inside, cut.rate_hz)
    power = 10 ** (-np.abs(fine) / 10).reshape(len(corner), len(centre_hz), -1).mean(axis=2)
    left = curve + sign * 10 * np.log10(power)
    left -= np.median(left, axis=1, keepdims=True)
    size = np.abs(left) / deviation
    limit = _HUBER_DB / deviation
    cost = np.where(size < limit, size**2, limit * (2 * size - limit)).sum(axis=1)
    best = int(np.argmin(cost))
    return replace(cut, corner_hz=float(corner[best]), slope_db_per_octave=float(slope[best]))


def _with_intervals(
    cut: Cut, others: list[Cut], centre_hz: FloatArray, deviation: FloatArray
) -> Cut:
    """Intervals by the curvature of the sum of squares at the fit, and by what fits as well."""
    steps = 0.01, 0.1
    moved = (
        replace(cut, corner_hz=cut.corner_hz * np.exp(steps[0])),
        replace(cut, slope_db_per_octave=cut.slope_db_per_octave + steps[1]),
    )
    here = cut.band_response_db(centre_hz)
    rise = np.array(
        [(one.band_response_db(centre_hz) - here) / step / deviation
         for one, step in zip(moved, steps, strict=True)]
    )  # fmt: skip
    spread = np.sqrt(np.diag(np.linalg.pinv(rise @ rise.T)))
    corner, slope = np.maximum(1.96 * spread, _LEAST_HALF)
    corners = [one.corner_hz for one in (cut, *others)]
    slopes = [one.slope_db_per_octave for one in (cut, *others)]
    return replace(
        cut,
        corner_hz_interval=(
            float(min(corners) * np.exp(-corner)),
            float(max(corners) * np.exp(corner)),
        ),
        slope_db_per_octave_interval=(float(min(slopes) - slope), float(max(slopes) + slope)),
    )


def _response_db(
    kind: str,
    corner_hz: FloatArray,
    slope_db: FloatArray,
    frequency_hz: FloatArray,
    rate_hz: float,
) -> FloatArray:
    """Response of every cut at every frequency, shape (cuts, frequencies)."""
    frequency, corner = frequency_hz, corner_hz
    if np.isfinite(rate_hz):
        nearest = 0.499 * rate_hz
        frequency = np.tan(np.pi * np.minimum(frequency, nearest) / rate_hz)
        corner = np.tan(np.pi * np.minimum(corner, nearest) / rate_hz)
    octaves = np.log2(frequency / corner[:, None])
    beyond = -octaves if kind == LOW_CUT else octaves
    return cut_db(beyond, slope_db[:, None])
