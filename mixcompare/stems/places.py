"""Where in the passage a stem's level changes: a fader ride, told with its span. One take only.

Conventions
-----------
Every stem, through the direct part of its filter of the whole passage, gets the gains with which
all of them together come nearest to each mix in stretches of two seconds (least squares). What both
mixes have in common of hall and leakage cancels in the difference; a place is a span in which it
stands away from what it is in most of the time. Times are the common clock's.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.features.grid import ANALYSIS_RATE_HZ, SEMITONE_FFT
from mixcompare.features.together import RATE_HZ, ComplexArray
from mixcompare.stems.explained import EDGES_HZ, Making

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_STEP = 10  # frames of a cell: half a second
_CELL_S = _STEP / RATE_HZ
_WINDOW = 4  # cells that are solved together
_DIRECT_S = 0.002
"""Of the filters: with 8 ms, which holds more of what the fit took from other stems, 4 dB read 1.9
to 4.0 in eight rides of two movements; with 2 ms 2.8 to 4.0."""
_PULL = 0.001  # of a stem's energy: so much draws its gain to the usual one
_PLAYS = 0.02  # of a stem's usual energy
_LEAST_DB = 2.0  # up to 1.3 dB is seen where another stem moved
_CLEARLY, _SURELY = 4.0, 5.0
"""Times the scatter, and times the doubt of a span: with 4 of it two of 21 unchanged pairs under
another tail had a place, of three movements."""
_LEAST_SCATTER_DB = 0.1
_INSIDE, _OUTSIDE = 3, 6  # cells in which the stem plays
_MOST = 3  # places a stem
_LOW_BY = 0.3
"""Of the size: by so much rides are read too small (see above). With it the intervals of 33 of 35
rides of three movements hold, half of them under another tail; with 0.17 31."""
_FAR_DB = 12.0  # what a moment may say at most


@dataclass(frozen=True)
class Change:
    """One place of one stem.

    Attributes
    ----------
    cells : tuple of int
        The first, and the one after the last.
    by_db, deviation_db : float
        Trim there against the trim in most of the time.
    """

    cells: tuple[int, int]
    by_db: float
    deviation_db: float

    @property
    def span_s(self) -> tuple[float, float]:
        """On the common clock."""
        return self.cells[0] * _CELL_S, self.cells[1] * _CELL_S


@dataclass(frozen=True)
class Course:
    """What is known of one stem's trim over time.

    Attributes
    ----------
    changes : tuple of Change
        In the order of time.
    base_db : float
        Trim in the rest of the time against that of the whole.
    scatter_db : float
    """

    changes: tuple[Change, ...]
    base_db: float
    scatter_db: float


class Products:
    """Products of a mix and its stems with one another, filled batch by batch."""

    def __init__(self, making: Making, gain: FloatArray, folded: bool = False) -> None:
        """Make room.

        Parameters
        ----------
        making : Making
            Of the mix.
        gain : ndarray, shape (frames,)
            Amplitude that it is given, of :class:`~mixcompare.stems.explained.Laid`.
        folded : bool
            Whether both channels are heard as one.
        """
        self._folded = folded
        bins_hz = np.arange(SEMITONE_FFT // 2 + 1) * ANALYSIS_RATE_HZ / SEMITONE_FFT
        self._bins = np.flatnonzero((bins_hz >= EDGES_HZ[0]) & (bins_hz < EDGES_HZ[-1]))
        bins, number = self._bins, len(making.sounds)
        direct = making.near(_DIRECT_S).responses(SEMITONE_FFT)[..., bins]
        # Music falls by about 6 dB an octave: so all octaves count alike.
        filters = np.concatenate([np.ones((1, 2, len(bins))), direct]) * np.sqrt(bins_hz[bins])
        self._through = filters[:, :, None].astype(np.complex64)
        self._gain = gain.astype(np.float32)
        self._out = np.zeros((-(-len(gain) // _STEP), number + 1, number + 1))

    def push(self, first: int, spectra: ComplexArray) -> None:
        """Add frames from a number on, shape (1 + stems, 2, frames, bins)."""
        made = spectra[..., self._bins[0] : self._bins[-1] + 1] * self._through
        if self._folded:
            made = made.mean(axis=1, keepdims=True)
        gain = self._gain[first : first + made.shape[2]]
        made[0] *= gain[:, None]
        made[1:, :, gain == 0] = 0
        place = np.arange(first, first + made.shape[2]) // _STEP
        for cell in range(place[0], place[-1] + 1):
            flat = made[:, :, place == cell].reshape(len(made), -1).view(np.float32)
            self._out[cell] += flat @ flat.T

    def result(self) -> FloatArray:
        """All that was added, shape (cells, 1 + stems, 1 + stems)."""
        return self._out


def courses(reference: FloatArray, candidate: FloatArray) -> list[Course]:
    """Every stem's course.

    Parameters
    ----------
    reference, candidate : ndarray, shape (cells, 1 + stems, 1 + stems)
        Of :class:`Products`, of one length.
    """
    smooth = [
        ndimage.uniform_filter1d(one, _WINDOW, axis=0, mode="nearest")
        for one in (reference, candidate)
    ]
    levels_db = [_levels_db(one) for one in smooth]
    trim_db = levels_db[0] - levels_db[1]
    energy = np.einsum("nii->ni", candidate)[:, 1:]
    plays = (energy > _PLAYS * np.percentile(energy, 95, axis=0)) & np.isfinite(trim_db)
    softer_db = np.minimum(np.minimum(*levels_db), 0.0)
    doubt_db = _doubts_db(smooth[1], trim_db, softer_db, plays)
    return [
        _course(trim_db[:, stem], doubt_db[:, stem], plays[:, stem], stem, reference, candidate)
        for stem in range(energy.shape[1])
    ]


def _doubts_db(
    products: FloatArray, trim_db: FloatArray, softer_db: FloatArray, plays: BoolArray
) -> FloatArray:
    """How unsure every moment's trim is, shape (cells, stems).

    A stem is unsure where it is soft, and where others sound like it. By how much more than in
    other moments is the variance of least squares; how much that is, all scatter together.
    """
    cross, whole = products[:, 1:, 1:], products[:, 0, 0]
    inverse = np.linalg.inv(_damped(cross))
    unit = np.sqrt(np.maximum(np.einsum("nij,njk,nki->ni", inverse, cross, inverse), 1e-30))
    # What is left of a tail is of what sounded up to then.
    unit *= np.sqrt(ndimage.maximum_filter1d(whole, 2 * _WINDOW + 1))[:, None]
    unit *= 10 ** (-np.nan_to_num(softer_db) / 20)
    away = np.where(plays, trim_db, np.nan)
    usual = np.array([np.median(one[np.isfinite(one)]) if np.isfinite(one).any() else 0.0
                      for one in away.T])  # fmt: skip
    some = np.abs(away - usual) / unit
    by = 1.4826 * float(np.median(some[plays])) if plays.any() else 0.0
    return np.asarray(np.hypot(by * unit, _LEAST_SCATTER_DB))


def _damped(cross: FloatArray) -> FloatArray:
    """Cross powers with what draws every gain to the usual one."""
    pull = _pull(cross)
    return np.asarray(cross + pull[..., None] * np.eye(cross.shape[-1]))


def _pull(cross: FloatArray) -> FloatArray:
    pull = _PULL * np.einsum("...ii->...i", cross)
    return np.asarray(pull + 1e-9 * pull.max(axis=-1, keepdims=True) + 1e-30)


def _levels_db(products: FloatArray) -> FloatArray:
    """Gains of all stems, in dB; NaN where one is not in the mix, or turned round."""
    cross, towards = products[..., 1:, 1:], products[..., 1:, 0]
    gain = np.linalg.solve(_damped(cross), (towards + _pull(cross))[..., None])[..., 0]
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.where(gain > 0, 20 * np.log10(gain), np.nan))


def _course(
    trim_db: FloatArray,
    doubt_db: FloatArray,
    plays: BoolArray,
    stem: int,
    reference: FloatArray,
    candidate: FloatArray,
) -> Course:
    moments = np.flatnonzero(plays)
    level = trim_db[moments] - np.median(trim_db[moments]) if len(moments) else np.zeros(0)
    level = np.clip(level, -_FAR_DB, _FAR_DB)
    inside = np.zeros(len(moments), bool)
    rest = level.copy()
    for _ in range(_MOST):
        found = _span(rest, doubt_db[moments])
        if found is None:
            break
        first, last = found
        rest[first:last] -= _away(rest, doubt_db[moments], first, last)[0]
        inside[first:last] = True
    scatter = _scatter(rest) if len(rest) else 0.0
    if inside.sum() > len(inside) / 2:
        # Most of the time is what counts as usual.
        inside = ~inside
    if not inside.any():
        return Course((), 0.0, scatter)
    usual = np.zeros(len(trim_db), bool)
    usual[moments[~inside]] = True
    base_db = _between(reference, candidate, usual, stem)
    changes = []
    edges = np.flatnonzero(np.diff(inside.astype(int), prepend=0, append=0))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        there = np.zeros(len(trim_db), bool)
        there[moments[first:last]] = True
        by_db = _between(reference, candidate, there, stem) - base_db
        unsure_db = _away(level, doubt_db[moments], first, last)[1]
        least_db = float(np.hypot(max(scatter, _LEAST_SCATTER_DB), unsure_db))
        if abs(by_db) >= max(_LEAST_DB, _SURELY * unsure_db):
            cells = int(moments[first]), int(moments[last - 1]) + 1
            changes.append(Change(cells, by_db, float(np.hypot(least_db, _LOW_BY * by_db))))
    if not changes:
        return Course((), 0.0, scatter)
    whole_db = _between(reference, candidate, plays, stem)
    return Course(tuple(changes), base_db - whole_db, scatter)


def _span(level_db: FloatArray, doubt_db: FloatArray) -> tuple[int, int] | None:
    """The span that stands away most from the rest, if it does so clearly."""
    count = len(level_db)
    if count < _INSIDE + _OUTSIDE:
        return None
    length = np.arange(count + 1) - np.arange(count + 1)[:, None]
    usable = (length >= _INSIDE) & (count - length >= _OUTSIDE)
    weight = 1 / doubt_db**2
    heap, loads = (np.concatenate([[0.0], np.cumsum(one)]) for one in (weight * level_db, weight))
    within = np.where(usable, loads - loads[:, None], 1.0)
    beyond = np.where(usable, loads[-1] - (loads - loads[:, None]), 1.0)
    inner = heap - heap[:, None]
    away = inner / within - (heap[-1] - inner) / beyond
    gained = np.where(usable, away**2 / (1 / within + 1 / beyond), 0.0)
    if not gained.any():
        return None
    first, last = (int(place) for place in np.unravel_index(gained.argmax(), gained.shape))
    by_db, unsure_db = _away(level_db, doubt_db, first, last)
    rest = level_db.copy()
    rest[first:last] -= by_db
    least = max(_LEAST_DB, _CLEARLY * _scatter(rest), _SURELY * unsure_db)
    return (first, last) if abs(by_db) >= least else None


def _away(level_db: FloatArray, doubt_db: FloatArray, first: int, last: int) -> tuple[float, float]:
    """By how much a span stands away from the rest, and how unsure that is."""
    weight = 1 / doubt_db**2
    inside = np.zeros(len(level_db), bool)
    inside[first:last] = True
    inner, outer = weight[inside].sum(), weight[~inside].sum()
    by_db = (weight * level_db)[inside].sum() / inner - (weight * level_db)[~inside].sum() / outer
    # Cells that were solved together say what one would.
    return float(by_db), float(np.sqrt(_WINDOW / inner + _WINDOW / outer))


def _scatter(level_db: FloatArray) -> float:
    return 1.4826 * float(np.median(np.abs(level_db - np.median(level_db))))


def _between(reference: FloatArray, candidate: FloatArray, when: BoolArray, stem: int) -> float:
    """Trim of one stem from all that is known of some moments together."""
    levels = [_levels_db(one[when].sum(axis=0))[stem] for one in (reference, candidate)]
    return float(np.nan_to_num(levels[0] - levels[1]))
