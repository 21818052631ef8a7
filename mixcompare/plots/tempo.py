"""Tempo from place to place, from the time map; and the tuning of both recordings."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
from matplotlib.figure import Figure

from mixcompare.findings import JUST_NOTICEABLE
from mixcompare.match import SAME_PASSAGE
from mixcompare.plots import style
from mixcompare.plots.contours import gaps
from mixcompare.plots.dots import Dot, draw_dots
from mixcompare.plots.values import interval, measured, number
from mixcompare.results import Results
from mixcompare.timemap import TimeMap

FloatArray = npt.NDArray[np.float64]

TEMPO_CAPTION = (
    "Tempo of the candidate against the reference, over stretches of four seconds; above zero the"
    " candidate is faster. The band follows from the error of the time map; the pale stripe is what"
    " is just noticeable."
)
TUNING_CAPTION = "Tuning against A = 440 Hz of both recordings, with 95 % intervals where known."
_STRETCH_S = 4.0


def draw_tempo(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None for one take or a short passage."""
    if results.alignment.relation != SAME_PASSAGE:
        return None
    time_map = results.alignment.time_map
    start, end = time_map.span_s
    if end - start < 2 * _STRETCH_S:
        return None
    times = np.arange(start + _STRETCH_S / 2, end - _STRETCH_S / 2, 0.5)
    percent, half = _local_percent(time_map, times)
    for gap_start, gap_end in gaps(results):
        near = (times > gap_start - _STRETCH_S / 2) & (times < gap_end + _STRETCH_S / 2)
        percent[near] = np.nan
    if not np.isfinite(percent).any():
        return None
    (axes,) = style.panels(figure, (5.4,))
    step = JUST_NOTICEABLE["tempo"].size
    axes.axhspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0)
    style.zero_line(axes)
    axes.fill_between(times, percent - half, percent + half, **style.INTERVAL_FILL)
    axes.plot(times, percent, **style.DIFFERENCE_LINE)
    whole = 100 * (1 / results.alignment.tempo_ratio - 1)
    axes.axhline(whole, color=style.CANDIDATE, linewidth=1.2, linestyle=(0, (4, 1.6)))
    axes.annotate(
        f"whole passage {whole:+.1f} %".replace("-", "\N{MINUS SIGN}"),
        (end, whole), (-3, 3), textcoords="offset points", ha="right", fontsize=8.5,
        color=style.CANDIDATE,
    )  # fmt: skip
    style.symmetric(axes, 6.0, np.clip(percent, -40, 40), np.array([whole]))
    axes.set_ylabel("tempo, candidate against\nreference (%)")
    style.time_axis(axes, (start, end))
    return TEMPO_CAPTION


def draw_tuning(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = measured(results, "tuning")
    if found is None:
        return None
    dots = []
    for holder, role in ((found.reference, "reference"), (found.candidate, "candidate")):
        for name in ("tuning_cents", "deviation_cents", "cents"):
            value = number(holder, name)
            if value is not None:
                dots.append(Dot(role, role, value, interval(holder, name)))
                break
    if not dots:
        return None
    draw_dots(dots, figure, "tuning against A = 440 Hz (cents)", smallest=20.0)
    return TUNING_CAPTION


def _local_percent(time_map: TimeMap, times: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Tempo of the candidate against the reference in per cent, and half its 90 % band."""
    ends = np.stack([times - _STRETCH_S / 2, times + _STRETCH_S / 2])
    places = time_map.to_candidate(ends)
    ratio = _STRETCH_S / (places[1] - places[0])
    # Errors of neighbouring places go together: over a stretch about one of the two counts.
    width = np.mean(time_map.uncertainty_ms(ends), axis=0) / 1000
    half = np.where(np.isfinite(width), 100 * width / _STRETCH_S, np.nan)
    return 100 * (ratio - 1), half
