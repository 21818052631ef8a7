"""Tempo from place to place; and the tuning of both recordings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from mixcompare.alignment.result import SAME_PASSAGE
from mixcompare.plots import style
from mixcompare.plots.dots import Dot, draw_dots
from mixcompare.plots.values import closed, series
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.tempo.values import TempoDifference
    from mixcompare.aspects.tuning import TuningMeasurement

TEMPO_CAPTION = (
    "How much faster the candidate goes through the same music, from place to place: below zero it"
    " is slower. The band is the 95 % interval, the dashed line the passage as a whole, the pale"
    " stripe what is just noticeable."
)
TUNING_CAPTION = "Tuning against A = 440 Hz of both recordings, with 95 % intervals where known."
_LIMIT_PERCENT = 40.0  # for the eye: the range drawn
_LEAST_RATIO = 0.1  # of durations: a band that reaches below it leaves the picture anyway


def draw_tempo(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None for one take or a short passage."""
    found = results.measurements.get("tempo")
    if found is None or results.alignment.relation != SAME_PASSAGE:
        return None
    difference: TempoDifference = found.difference
    times, curve = series(difference.curve_s), series(difference.curve_percent)
    if times is None or curve is None:
        return None
    # The curve is against the passage's own mean; here both are seen together, as tempo.
    longer = difference.ratio * (1 + curve / 100)
    half = difference.ratio * np.array(difference.curve_half_width_percent, np.float64) / 100
    percent, low, high = (
        100 * (1 / np.maximum(times_longer, _LEAST_RATIO) - 1)
        for times_longer in (longer, longer + half, longer - half)
    )
    # Windows over a gap are left out of the curve: the line must not bridge them.
    steps = np.diff(times)
    holes = np.flatnonzero(steps > 1.5 * np.median(steps)) + 1
    times, percent, low, high = (
        np.insert(row, holes, np.nan) for row in (times, percent, low, high)
    )
    (axes,) = style.panels(figure, (5.4,))
    step = found.about.size_of("tempo")
    axes.axhspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0)
    style.zero_line(axes)
    axes.fill_between(times, low, high, **style.INTERVAL_FILL)
    axes.plot(times, percent, **style.DIFFERENCE_LINE)
    whole = difference.tempo_percent
    axes.axhline(whole, color=style.CANDIDATE, linewidth=1.2, linestyle=(0, (4, 1.6)))
    limited = np.clip(percent, -_LIMIT_PERCENT, _LIMIT_PERCENT)
    style.symmetric(axes, 6.0, limited, np.array([whole]))
    axes.set_ylabel("tempo, candidate\nagainst reference (%)")
    style.time_axis(axes, results.alignment.time_map.span_s)
    return TEMPO_CAPTION


def draw_tuning(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = results.measurements.get("tuning")
    if found is None:
        return None
    reference: TuningMeasurement = found.reference
    candidate: TuningMeasurement = found.candidate
    dots = []
    for side, role in ((reference, "reference"), (candidate, "candidate")):
        value = side.cents_against_440
        if value is not None:
            dots.append(Dot(role, role, value, closed(side.cents_against_440_interval)))
    if not dots:
        return None
    draw_dots(dots, figure, "tuning against A = 440 Hz (cents)", smallest=20.0)
    return TUNING_CAPTION
