"""Tone: third-octave levels of both recordings, and their difference with its interval."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from mixcompare.findings import JUST_NOTICEABLE
from mixcompare.plots import style
from mixcompare.plots.values import bounds, measured, of_length, series
from mixcompare.results import Results

CAPTION = (
    "Mean third-octave levels of both recordings, each against its own overall level; below, the"
    " steady difference with its 95 % interval. The pale stripe is what is just noticeable."
)


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = measured(results, "tone")
    if found is None:
        return None
    centres = series(found.difference, "band_centre_hz")
    difference = series(found.difference, "band_level_db")
    if centres is None or difference is None or len(centres) != len(difference):
        return None
    upper, lower = style.panels(figure, (4.0, 4.4))
    for holder, line, name in (
        (found.reference, style.REFERENCE_LINE, "reference"),
        (found.candidate, style.CANDIDATE_LINE, "candidate"),
    ):
        levels = series(holder, "band_level_db")
        if levels is not None and of_length(levels, centres):
            upper.plot(centres, levels, label=name, **line)
    upper.set_ylabel("band level (dB)")
    style.name_recordings(upper)
    step = JUST_NOTICEABLE["tone"].size
    lower.axhspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0)
    style.zero_line(lower)
    around = bounds(found.difference, "band_level_db")
    if around is not None and len(around[0]) == len(centres):
        lower.fill_between(centres, *around, **style.INTERVAL_FILL)
        style.symmetric(lower, 4.0, difference, np.clip(around, -15, 15))
    else:
        style.symmetric(lower, 4.0, difference)
    lower.plot(centres, difference, marker="o", markersize=3, **style.DIFFERENCE_LINE)
    lower.set_ylabel("candidate minus\nreference (dB)")
    style.frequency_axis(lower, (float(centres[0]) * 0.9, float(centres[-1]) * 1.1))
    return CAPTION
