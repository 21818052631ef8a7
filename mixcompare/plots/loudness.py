"""Loudness against time: both recordings as delivered, and their difference at the same gain."""

from __future__ import annotations

from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.contours import loudness_contours, thinned
from mixcompare.results import Results

CAPTION = (
    "Short-term loudness (3 s) of both recordings as they were delivered, on the reference's"
    " clock; below, what is left of their difference once the overall gain is taken out."
)


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    contours = loudness_contours(results, "short_term") or loudness_contours(results, "momentary")
    if contours is None:
        return None
    upper, lower = style.panels(figure, (4.6, 3.0))
    for values, line, name in (
        (contours.reference_lufs, style.REFERENCE_LINE, "reference"),
        (contours.candidate_lufs, style.CANDIDATE_LINE, "candidate"),
    ):
        upper.plot(*thinned(contours.times_s, values), label=name, **line)
    upper.set_ylabel("loudness (LUFS)")
    style.name_recordings(upper)
    style.zero_line(lower)
    lower.plot(*thinned(contours.times_s, contours.difference_db), **style.DIFFERENCE_LINE)
    style.symmetric(lower, 3.0, contours.difference_db)
    lower.set_ylabel("difference (LU)")
    style.time_axis(lower, results.alignment.time_map.span_s)
    return CAPTION
