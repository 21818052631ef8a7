"""How a finding's own difference goes with time, where that is known."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from mixcompare.findings import Finding
from mixcompare.plots.contours import Field
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.balance.values import BalanceDifference, Element

FloatArray = npt.NDArray[np.float64]

_WHOLE = 0.95
"""A finding in at least this share of the passage concerns all of it."""


@dataclass(frozen=True)
class Course:
    """A difference against the reference's time.

    Attributes
    ----------
    times_s, level_db : ndarray, shape (n,)
        NaN where nothing is known.
    words : str
        What it is.
    """

    times_s: FloatArray
    level_db: FloatArray
    words: str


def is_whole(results: Results, finding: Finding) -> bool:
    """Whether a finding concerns all of the passage."""
    start, end = results.alignment.time_map.span_s
    return finding.duration_s >= _WHOLE * (end - start)


def course_of(results: Results, finding: Finding, field: Field | None) -> Course | None:
    """An element's own level, or the mean of a finding's band where that says something.

    Parameters
    ----------
    results : Results
        What the comparison found.
    finding : Finding
        One of its findings.
    field : Field or None
        Difference per band against time.
    """
    element = _element(results, finding)
    if element is not None:
        return Course(
            np.array(element.course_s),
            np.array(element.course_db, np.float64),
            "its own level against time",
        )
    measured = results.measurements.get(finding.aspect)
    over_time = measured is not None and measured.about.over_time
    if field is None or finding.band_hz is None or not over_time or is_whole(results, finding):
        return None
    levels = field.of_band(finding.band_hz)
    return Course(field.times_s, levels, "difference in its band against time")


def _element(results: Results, finding: Finding) -> Element | None:
    """The element that a finding is about, where its course is known."""
    found = results.measurements.get("balance")
    if found is None or finding.aspect != "balance":
        return None
    difference: BalanceDifference = found.difference
    same = (
        one
        for one in difference.elements
        if (one.spans_s, one.band_hz) == (finding.spans_s, finding.band_hz) and one.course_db
    )
    return next(same, None)
