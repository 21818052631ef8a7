"""Width and placement per band."""

from __future__ import annotations

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from mixcompare.findings import JUST_NOTICEABLE
from mixcompare.plots import style
from mixcompare.plots.values import bounds, measured, series
from mixcompare.results import Measured, Results

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
    found = measured(results, "width")
    if found is None or series(found.reference, "band_centre_hz") is None:
        return None
    kinds = [
        ("band_side_to_mid_db", "side against\nmid (dB)"),
        ("band_correlation", "correlation (1)"),
    ]
    kinds = [kind for kind in kinds if series(found.reference, kind[0]) is not None]
    if not kinds:
        return None
    axes = style.panels(figure, [3.6] * len(kinds))
    for (name, label), panel in zip(kinds, axes, strict=True):
        _both(found, name, panel)
        panel.set_ylabel(label)
        if name == "band_correlation":
            panel.set_ylim(-1.05, 1.05)
    style.name_recordings(axes[0])
    style.frequency_axis(axes[-1], _range_hz(found))
    return WIDTH_CAPTION


def draw_placement(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = measured(results, "placement")
    if found is None:
        return None
    name = "band_position" if series(found.reference, "band_position") is not None else "position"
    reference, candidate = series(found.reference, name), series(found.candidate, name)
    centres = series(found.reference, "band_centre_hz")
    if centres is None or reference is None or len(reference) != len(centres):
        return None
    (axes,) = style.panels(figure, (7.0,))
    step = JUST_NOTICEABLE["placement"].size
    axes.fill_betweenx(
        centres, reference - step, reference + step, color=style.FAINT, alpha=0.6, linewidth=0
    )
    axes.axvline(0, color=style.QUIET, linewidth=0.9)
    axes.plot(
        reference, centres, label="reference", marker="o", markersize=3.5, **style.REFERENCE_LINE
    )
    if candidate is not None and len(candidate) == len(centres):
        axes.plot(
            candidate,
            centres,
            label="candidate",
            marker="s",
            markersize=3.5,
            **style.CANDIDATE_LINE,
        )
    axes.set_xlim(-1, 1)
    axes.set_xlabel("position (\N{MINUS SIGN}1 left, 0 middle, +1 right)")
    style.frequency_axis(axes, _range_hz(found), vertical=True)
    style.name_recordings(axes)
    return PLACEMENT_CAPTION


def _both(found: Measured, name: str, axes: Axes) -> None:
    for holder, line, role in (
        (found.reference, style.REFERENCE_LINE, "reference"),
        (found.candidate, style.CANDIDATE_LINE, "candidate"),
    ):
        centres, values = series(holder, "band_centre_hz"), series(holder, name)
        if centres is None or values is None or len(centres) != len(values):
            continue
        axes.plot(centres, values, label=role, **line)
        around = bounds(holder, name)
        if around is not None and len(around[0]) == len(centres):
            axes.fill_between(centres, *around, color=line["color"], alpha=0.18, linewidth=0)


def _range_hz(found: Measured) -> tuple[float, float]:
    centres = series(found.reference, "band_centre_hz")
    if centres is None:
        return 20.0, 20_000.0
    return float(centres[0]) * 0.9, float(centres[-1]) * 1.1
