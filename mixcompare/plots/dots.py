"""Values of both recordings as dots with their intervals, one under the other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from mixcompare.plots import style


@dataclass(frozen=True)
class Dot:
    """One value: the name of its row, whose it is, and its 95 % interval."""

    row: str
    role: str
    value: float
    interval: tuple[float, float] | None = None


def draw_dots(dots: Sequence[Dot], figure: Figure, label: str, smallest: float = 0.0) -> None:
    """Draw the dots onto an empty figure.

    Parameters
    ----------
    dots : sequence of Dot
        What stands on each row.
    figure : Figure
        Empty; drawn on.
    label : str
        Quantity and unit of the horizontal axis.
    smallest : float
        The axis reaches at least this far on both sides of zero; 0 for an axis that starts at 0.
    """
    rows = list(dict.fromkeys(dot.row for dot in dots))
    (axes,) = style.panels(figure, (1.4 + 0.8 * len(rows),))
    shift = {"reference": -0.13, "candidate": 0.13} if len(rows) < len(dots) else {}
    furthest = 0.0
    for dot in dots:
        line = style.REFERENCE_LINE if dot.role == "reference" else style.CANDIDATE_LINE
        height = rows.index(dot.row) + shift.get(dot.role, 0.0)
        marker = "o" if dot.role == "reference" else "s"
        if dot.interval is not None:
            axes.plot(dot.interval, (height, height), **line)
            furthest = max(furthest, *(abs(bound) for bound in dot.interval))
        axes.plot(dot.value, height, marker, color=line["color"], markersize=6, label=dot.role)
        furthest = max(furthest, abs(dot.value))
    if smallest > 0:
        limit = max(smallest, 1.15 * furthest)
        axes.set_xlim(-limit, limit)
        axes.axvline(0, color=style.QUIET, linewidth=0.9)
    else:
        axes.set_xlim(0, 1.15 * furthest)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_yticks(range(len(rows)), rows)
    axes.set_xlabel(label)
    if shift:
        style.name_recordings(axes)
