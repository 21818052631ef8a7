"""Alignment: where the candidate runs ahead or behind, and how sure that is."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from mixcompare.alignment.result import SAME_TAKE, UNRELATED, Alignment
from mixcompare.plots import style
from mixcompare.plots.contours import gaps
from mixcompare.results import Results

TAKE_CAPTION = (
    "How far the candidate departs from an even clock, with the band that holds the true place with"
    " 90 % probability; a flat line means that both ran alike."
)
CAPTION = (
    "Where the candidate plays the same music, against an even tempo: rising while it plays slower"
    " than on the whole, falling while it plays faster. The band holds the true place with 90 %"
    " probability; hatched stretches have no counterpart."
)


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where the recordings are unrelated."""
    if results.alignment.relation == UNRELATED:
        return None
    return draw_alignment(results.alignment, figure)


def draw_alignment(alignment: Alignment, figure: Figure) -> str:
    """Draw the map of an alignment: how far the candidate is off an even tempo."""
    time_map = alignment.time_map
    reference = time_map.reference_s
    slope = (time_map.candidate_s[-1] - time_map.candidate_s[0]) / (reference[-1] - reference[0])
    even = time_map.candidate_s[0] + slope * (reference - reference[0])
    away = time_map.candidate_s - even
    width = np.where(np.isfinite(time_map.half_width_ms), time_map.half_width_ms, np.nan) / 1000
    fine = float(np.nanmax(np.abs(away) + np.nan_to_num(width))) < 0.5
    scale, unit = (1000.0, "ms") if fine else (1.0, "s")
    (axes,) = style.panels(figure, (5.2,))
    style.zero_line(axes)
    axes.fill_between(
        reference, scale * (away - width), scale * (away + width), **style.INTERVAL_FILL
    )
    axes.plot(reference, scale * away, **style.CANDIDATE_LINE | {"linestyle": "-"})
    for start, end in gaps(time_map):
        axes.axvspan(start, end, facecolor="none", edgecolor=style.QUIET, hatch="///", linewidth=0)
    smallest = 5.0 if fine else 0.5
    style.symmetric(axes, smallest, scale * (np.abs(away) + np.nan_to_num(width)))
    take = alignment.relation == SAME_TAKE
    axes.set_ylabel(f"candidate behind\nan even {'clock' if take else 'tempo'} ({unit})")
    style.time_axis(axes, time_map.span_s)
    return TAKE_CAPTION if take else CAPTION
