"""Width and placement per band."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.values import series
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.placement.values import PlacementMeasurement
    from mixcompare.aspects.width.values import WidthMeasurement

WIDTH_CAPTION = (
    "Level of the side (left minus right) against the mid (left plus right), and correlation of"
    " the channels, per band. More side and less correlation is wider."
)
PLACEMENT_CAPTION = (
    "Where each frequency range lies between left and right. The pale stripe around the reference"
    " is what is just noticeable."
)


def draw_width(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = results.measurements.get("width")
    if found is None:
        return None
    reference: WidthMeasurement = found.reference
    candidate: WidthMeasurement = found.candidate
    kinds = [
        ("side against\nmid (dB)", reference.band_side_to_mid_db, candidate.band_side_to_mid_db),
        ("correlation (1)", reference.band_correlation, candidate.band_correlation),
    ]
    kinds = [kind for kind in kinds if series(kind[1]) is not None]
    if not kinds:
        return None
    centres = reference.band_centre_hz
    axes = style.panels(figure, [3.6] * len(kinds))
    for (label, of_reference, of_candidate), panel in zip(kinds, axes, strict=True):
        panel.plot(
            centres, np.array(of_reference, np.float64), label="reference", **style.REFERENCE_LINE
        )
        levels = series(of_candidate)
        if levels is not None:
            panel.plot(candidate.band_centre_hz, levels, label="candidate", **style.CANDIDATE_LINE)
        panel.set_ylabel(label)
        if of_reference is reference.band_correlation:
            panel.set_ylim(-1.05, 1.05)
    style.name_recordings(axes[0])
    style.frequency_axis(axes[-1], _range_hz(centres))
    return WIDTH_CAPTION


def draw_placement(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = results.measurements.get("placement")
    if found is None:
        return None
    of_reference: PlacementMeasurement = found.reference
    of_candidate: PlacementMeasurement = found.candidate
    reference, candidate = series(of_reference.position), series(of_candidate.position)
    if reference is None:
        return None
    centres = of_reference.band_centre_hz
    (axes,) = style.panels(figure, (7.0,))
    step = found.about.size_of("placement")
    axes.fill_betweenx(
        centres, reference - step, reference + step, color=style.FAINT, alpha=0.6, linewidth=0
    )
    axes.axvline(0, color=style.QUIET, linewidth=0.9)
    axes.plot(
        reference, centres, label="reference", marker="o", markersize=3.5, **style.REFERENCE_LINE
    )
    if candidate is not None:
        axes.plot(
            candidate,
            of_candidate.band_centre_hz,
            label="candidate",
            marker="s",
            markersize=3.5,
            **style.CANDIDATE_LINE,
        )
    axes.set_xlim(-1, 1)
    axes.set_xlabel("position (\N{MINUS SIGN}1 left, 0 middle, +1 right)")
    style.frequency_axis(axes, _range_hz(centres), vertical=True)
    style.name_recordings(axes)
    return PLACEMENT_CAPTION


def _range_hz(centres: tuple[float, ...]) -> tuple[float, float]:
    return centres[0] * 0.9, centres[-1] * 1.1
