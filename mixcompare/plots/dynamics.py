"""Dynamics: how both recordings shape the same phrases, and how far the level swings."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.contours import dynamic_contours, loudness_contours, thinned
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.dynamics.values import DynamicsDifference

CAPTION = (
    "Left: smoothed level of both, each against its own mean. Right: the same moments, one"
    " recording against the other; points on the diagonal swing alike, a flatter cloud means that"
    " the candidate swings less. Dashed, where known: the swing that fits best."
)
_FLOOR_LU = -25.0
"""Rests lie lower."""


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    contours = dynamic_contours(results) or loudness_contours(results, "short_term")
    if contours is None:
        return None
    known = np.isfinite(contours.reference_lufs) & np.isfinite(contours.candidate_lufs)
    if known.sum() < 10:
        return None
    of_reference = contours.reference_lufs - contours.reference_lufs[known].mean()
    of_candidate = contours.candidate_lufs - contours.candidate_lufs[known].mean()
    left, right = style.columns(figure, 6.6, (2.1, 1.0))
    for values, line, name in (
        (of_reference, style.REFERENCE_LINE, "reference"),
        (of_candidate, style.CANDIDATE_LINE, "candidate"),
    ):
        left.plot(*thinned(contours.times_s, np.maximum(values, _FLOOR_LU)), label=name, **line)
    left.set_ylabel("level against the mean (LU)")
    style.time_axis(left, results.alignment.time_map.span_s)
    style.name_recordings(left)
    loud = known & (of_reference > _FLOOR_LU) & (of_candidate > _FLOOR_LU)
    _, pairs = thinned(
        contours.times_s[loud], np.stack([of_reference[loud], of_candidate[loud]], axis=1), 400
    )
    right.plot(pairs[:, 0], pairs[:, 1], "o", color=style.INK, markersize=2.2, alpha=0.5)
    low = float(pairs.min()) - 1
    high = float(pairs.max()) + 1
    right.plot((low, high), (low, high), color=style.QUIET, linewidth=0.9)
    found = results.measurements.get("dynamics")
    if found is not None:
        difference: DynamicsDifference = found.difference
        swing = difference.swing_db_per_db
        if swing is not None:
            right.plot((low, high), (swing * low, swing * high), **style.CANDIDATE_LINE)
    right.set_xlim(low, high)
    right.set_ylim(low, high)
    right.set_aspect("equal")
    right.set_xlabel("reference (LU)")
    right.set_ylabel("candidate (LU)")
    return CAPTION
