"""Tone: third-octave levels of both recordings, and their difference with its interval."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.values import bounds, series
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.tone.values import ToneDifference, ToneMeasurement

CAPTION = (
    "Mean third-octave levels of both recordings, each against its own overall level; below, the"
    " steady difference with its 95 % interval. The pale stripe is what is just noticeable."
)


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = results.measurements.get("tone")
    if found is None:
        return None
    reference: ToneMeasurement = found.reference
    candidate: ToneMeasurement = found.candidate
    change: ToneDifference = found.difference
    difference = series(change.band_level_db)
    if difference is None:
        return None
    centres = change.band_centre_hz
    upper, lower = style.panels(figure, (4.0, 4.4))
    for side, line, name in (
        (reference, style.REFERENCE_LINE, "reference"),
        (candidate, style.CANDIDATE_LINE, "candidate"),
    ):
        levels = series(side.band_level_db)
        if levels is not None:
            upper.plot(side.band_centre_hz, levels, label=name, **line)
    upper.set_ylabel("band level (dB)")
    style.name_recordings(upper)
    step = found.about.size_of("tone")
    lower.axhspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0)
    style.zero_line(lower)
    around = bounds(change.band_level_db_interval)
    lower.fill_between(centres, *around, **style.INTERVAL_FILL)
    style.symmetric(lower, 4.0, difference, np.clip(around, -15, 15))
    lower.plot(centres, difference, marker="o", markersize=3, **style.DIFFERENCE_LINE)
    lower.set_ylabel("candidate minus\nreference (dB)")
    style.frequency_axis(lower, (centres[0] * 0.9, centres[-1] * 1.1))
    return CAPTION
