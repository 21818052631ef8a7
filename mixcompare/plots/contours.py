"""What is known against time, brought onto the reference's clock: for figures and time line."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import TimeMap
from mixcompare.plots.values import series
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.balance.values import BalanceDifference
    from mixcompare.aspects.dynamics.values import DynamicsMeasurement
    from mixcompare.aspects.loudness import LoudnessMeasurement

FloatArray = npt.NDArray[np.float64]
Values = Sequence[float | None]


@dataclass(frozen=True)
class Contours:
    """Loudness of both recordings against the reference's time.

    Attributes
    ----------
    times_s : ndarray, shape (n,)
    reference_lufs, candidate_lufs : ndarray, shape (n,)
        NaN where unknown, and in the candidate where the reference has no counterpart.
    gain_db : float
        Level of the candidate against the reference, not taken out here.
    """

    times_s: FloatArray
    reference_lufs: FloatArray
    candidate_lufs: FloatArray
    gain_db: float

    @property
    def difference_db(self) -> FloatArray:
        """Candidate minus reference, overall gain taken out."""
        return self.candidate_lufs - self.gain_db - self.reference_lufs


@dataclass(frozen=True)
class Field:
    """Difference per band against the reference's time.

    Attributes
    ----------
    times_s : ndarray, shape (n,)
    band_centre_hz : ndarray, shape (bands,)
    difference_db : ndarray, shape (n, bands)
        NaN where nothing sounds.
    """

    times_s: FloatArray
    band_centre_hz: FloatArray
    difference_db: FloatArray

    def of_band(self, band_hz: tuple[float, float]) -> FloatArray:
        """Mean difference of the bands inside a range, shape (n,); NaN where none sounds."""
        low, high = band_hz
        inside = (self.band_centre_hz >= low * 0.999) & (self.band_centre_hz <= high * 1.001)
        if not inside.any():
            middle = np.sqrt(low * high)
            nearest = int(np.argmin(np.abs(np.log(self.band_centre_hz / middle))))
            inside[nearest] = True
        return nan_mean(self.difference_db[:, inside], axis=1)


def loudness_contours(results: Results, window: str = "momentary") -> Contours | None:
    """Loudness against time of both; None where it was not measured.

    Parameters
    ----------
    results : Results
        What the comparison found.
    window : str
        ``"momentary"`` (0.4 s) or ``"short_term"`` (3 s).
    """
    found = results.measurements.get("loudness")
    if found is None:
        return None

    def side(of: LoudnessMeasurement) -> tuple[Values, Values]:
        return of.series_s, of.momentary_lufs if window == "momentary" else of.short_term_lufs

    return _contours(results, side(found.reference), side(found.candidate))


def dynamic_contours(results: Results) -> Contours | None:
    """Smoothed level of both against time, as the dynamics were judged; None where unknown."""
    found = results.measurements.get("dynamics")
    if found is None:
        return None
    of_reference: DynamicsMeasurement = found.reference
    of_candidate: DynamicsMeasurement = found.candidate
    return _contours(
        results,
        (of_reference.contour_s, of_reference.contour_db),
        (of_candidate.contour_s, of_candidate.contour_db),
    )


def _contours(
    results: Results, of_reference: tuple[Values, Values], of_candidate: tuple[Values, Values]
) -> Contours | None:
    times, reference = map(series, of_reference)
    candidate_times, candidate = map(series, of_candidate)
    if times is None or reference is None or candidate_times is None or candidate is None:
        return None
    start, end = results.alignment.time_map.span_s
    inside = (times >= start) & (times <= end)
    times, reference = times[inside], reference[inside]
    if len(times) < 2:
        return None
    covered = results.alignment.time_map.covers(times)
    places = results.alignment.time_map.to_candidate(times)
    warped = np.interp(places, candidate_times, candidate, left=np.nan, right=np.nan)
    gain_db = results.level.gain_db if results.level is not None else 0.0
    return Contours(times, reference, np.where(covered, warped, np.nan), gain_db)


def balance_field(results: Results) -> Field | None:
    """Difference per band against time; None where it was not measured."""
    found = results.measurements.get("balance")
    if found is None:
        return None
    difference: BalanceDifference = found.difference
    times, centres = series(difference.times_s), series(difference.band_centre_hz)
    levels = series(difference.difference_db)
    if times is None or centres is None or levels is None:
        return None
    return Field(times, centres, levels)


def thinned(
    times: FloatArray, values: FloatArray, most: int = 700
) -> tuple[FloatArray, FloatArray]:
    """Means of neighbouring points, so that at most so many remain."""
    size = -(-len(times) // most)
    if size <= 1:
        return times, values
    count = len(times) // size * size
    shape = (count // size, size, *values.shape[1:])
    return times[:count].reshape(-1, size).mean(axis=1), nan_mean(values[:count].reshape(shape), 1)


def nan_mean(values: FloatArray, axis: int) -> FloatArray:
    """Mean of what is known; NaN where nothing is."""
    known = np.isfinite(values)
    total = np.where(known, values, 0.0).sum(axis=axis)
    count = known.sum(axis=axis)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan), np.float64)


def gaps(time_map: TimeMap) -> tuple[tuple[float, float], ...]:
    """Stretches of the matched reference that have no counterpart in the candidate."""
    unmatched = ~np.isfinite(time_map.half_width_ms)
    out: list[tuple[float, float]] = []
    for index in np.flatnonzero(unmatched[:-1] & unmatched[1:]):
        start, end = time_map.reference_s[index], time_map.reference_s[index + 1]
        if out and abs(out[-1][1] - start) < 1e-9:
            out[-1] = (out[-1][0], float(end))
        else:
            out.append((float(start), float(end)))
    return tuple(out)
