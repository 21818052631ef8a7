"""The parts of a score against time: by how much each stands further forward, bar by bar."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.cm import ScalarMappable
from matplotlib.colors import Normalize
from matplotlib.patches import Rectangle
from matplotlib.ticker import FixedFormatter, FixedLocator

from mixcompare.findings.words import listed
from mixcompare.plots import style

if TYPE_CHECKING:
    from mixcompare.parts.values import Lead, PartLevel

CAPTION = (
    "At the bottom: the parts of the score against time, against what did not change as a whole:"
    " blue where the candidate has less, orange where it has more, hatched where a part can't be"
    " told apart from others, grey where it rests or can't be told."
)
LEADS_CAPTION = (
    "Lines along the row of the part that leads, over it for the reference and under it for the"
    " candidate: whole where it stands clear of the rest, dotted where that covers it, none where"
    " it can't be told."
)
_BESIDE = 0.42  # of a row, for the eye
_MOST_NAMES = 2  # for the eye
_LIMIT_DB = 6.0  # for the eye: the deepest colour
_MOST_LABELS = 12  # for the eye
_HEIGHT_CM, _PART_CM = 1.4, 0.42
_EDGE: dict[str, Any] = {"edgecolor": style.PAPER, "linewidth": 0.4}
_HATCHED: dict[str, Any] = {
    "facecolor": style.PAPER, "edgecolor": style.QUIET, "hatch": "/////", "linewidth": 0.0,
}  # fmt: skip


def named(part: PartLevel) -> str:
    """A part's name, with those that it can't be told apart from."""
    if not part.together_with:
        return part.name
    others = listed(part.together_with, _MOST_NAMES)
    return f"{part.name} (with {others})"


def height_cm(parts: Sequence[PartLevel]) -> float:
    """Height that the picture needs; 0 where there is nothing to draw."""
    rows = _rows(parts)
    return _HEIGHT_CM + _PART_CM * len(rows) if rows else 0.0


def draw(
    parts: Sequence[PartLevel],
    span_s: tuple[float, float],
    axes: Axes,
    leads: Sequence[Lead] = (),
) -> None:
    """A row a part, a cell a few bars.

    Parameters
    ----------
    parts : sequence of PartLevel
        Of a score.
    span_s : tuple of float
        The passage on the reference's clock.
    axes : Axes
        To draw on.
    leads : sequence of Lead
        Who leads, and whether that is heard.
    """
    rows = _rows(parts)
    axes.set_facecolor(style.SILENT)
    axes.grid(visible=False)
    bars: dict[float, int] = {}
    colours = ScalarMappable(Normalize(-_LIMIT_DB, _LIMIT_DB), style.LIGHT_FIELD)
    for row, part in enumerate(rows):
        for one in part.course:
            level = colours.to_rgba(np.array([one.level_db]))[0]
            axes.add_patch(
                Rectangle(
                    (one.start_s, row - 0.5), one.end_s - one.start_s, 1.0,
                    **(_HATCHED if part.together_with else {"facecolor": level} | _EDGE),
                )
            )  # fmt: skip
            if one.bars is not None:
                bars[one.start_s] = one.bars[0]
    _draw_leads(leads, [part.name for part in rows], axes)
    axes.set_ylim(len(rows) - 0.5, -0.5)
    axes.set_yticks(range(len(rows)), [part.name for part in rows])
    style.time_axis(axes, span_s)
    if bars:
        marks = sorted(bars.items())
        marks = marks[:: -(-len(marks) // _MOST_LABELS)]
        axes.xaxis.set_major_locator(FixedLocator([time for time, _ in marks]))
        axes.xaxis.set_major_formatter(FixedFormatter([str(number) for _, number in marks]))
        axes.set_xlabel("bar")
    scale = axes.figure.colorbar(colours, ax=axes, pad=0.01, aspect=18)
    scale.set_label("candidate minus\nreference (dB)")
    scale.outline.set_visible(False)


def _draw_leads(leads: Sequence[Lead], names: Sequence[str], axes: Axes) -> None:
    """Along the rows of those that lead, a line for either recording."""
    for one in leads:
        if one.name not in names:
            continue
        row = names.index(one.name)
        colours = style.REFERENCE, style.CANDIDATE
        for heard, colour, beside in zip(one.heard, colours, (-_BESIDE, _BESIDE), strict=True):
            if heard is not None:
                axes.plot(
                    (one.start_s, one.end_s), (row + beside, row + beside), color=colour,
                    linewidth=1.5, linestyle="-" if heard else ":", solid_capstyle="butt",
                )  # fmt: skip


def _rows(parts: Sequence[PartLevel]) -> list[PartLevel]:
    return [part for part in parts if part.course]
