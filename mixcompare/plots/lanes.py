"""Elements against time, a lane each: by how much it stands further forward, moment by moment."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.axes import Axes

from mixcompare.plots import style
from mixcompare.plots.contours import thinned
from mixcompare.plots.values import closed, series
from mixcompare.units import in_print

if TYPE_CHECKING:
    from mixcompare.aspects.balance.values import Element

CAPTION = (
    "Below it, a lane for each element that stands elsewhere: its own level in the candidate"
    " against that in the reference, from moment to moment; the stripe is its 95 % interval where"
    " it was found."
)
HEIGHT_CM = 1.7
_MOST = 5  # for the eye: more would crowd it
_LEAST_DB = 8.0  # for the eye: half of the axis


def shown(elements: Sequence[Element]) -> list[Element]:
    """Those that get a lane: the first ones whose course is known."""
    return [one for one in elements if any(value is not None for value in one.course_db)][:_MOST]


def draw(element: Element, axes: Axes) -> None:
    """One lane; its axis of time is the map's.

    Parameters
    ----------
    element : Element
        One of :func:`shown`.
    axes : Axes
        To draw on.
    """
    times_s, course_db = series(element.course_s), series(element.course_db)
    if times_s is None or course_db is None:
        return
    colour = style.CANDIDATE if element.difference_db > 0 else style.REFERENCE
    around = closed(element.interval)
    for start, end in element.spans_s:
        if around is not None:
            axes.fill_between((start, end), *around, color=colour, alpha=0.18, linewidth=0)
        axes.plot((start, end), [element.difference_db] * 2, color=colour, linewidth=0.8)
    times, levels = thinned(times_s, course_db)
    axes.plot(times, levels, color=style.INK, linewidth=1.1)
    style.zero_line(axes)
    known = levels[np.isfinite(levels)]
    usual = np.percentile(np.abs(known), 95) if known.size else 0.0
    style.symmetric(axes, max(_LEAST_DB, 1.2 * float(usual)), [element.difference_db])
    axes.set_ylabel("dB")
    axes.set_title(
        in_print(f"{element.name}: {element.difference_db:+.1f} dB"),
        loc="left",
        fontsize=9,
        pad=3,
    )
