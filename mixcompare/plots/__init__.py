"""One figure per aspect, drawn from results alone.

A figure module offers ``draw(results, figure)``, which draws onto an empty figure and returns its
caption, or None where there is nothing to draw. It computes nothing that an analyzer should have
computed, and never sees sound.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass

from matplotlib.figure import Figure

from mixcompare.errors import ParameterError
from mixcompare.plots import style
from mixcompare.results import Results

Draw = Callable[[Results, Figure], str | None]

_ALIGNMENT = "mixcompare.plots.alignment:draw"
_STEMS = "mixcompare.plots.stems:draw"


@dataclass(frozen=True)
class Drawn:
    """A figure, and what it shows in one or two sentences."""

    figure: Figure
    caption: str


def draw(results: Results, aspect: str) -> Figure:
    """Draw the figure of one aspect.

    Parameters
    ----------
    results : Results
        What the comparison found.
    aspect : str
        An aspect that was measured, ``"stems"`` where they were given, or ``"alignment"``.

    Returns
    -------
    matplotlib.figure.Figure
        15 cm wide; not registered anywhere, so nothing has to be closed.

    Raises
    ------
    ParameterError
        If there is no such figure, or nothing was measured that it could show.
    """
    figures = figures_of(results)
    if aspect not in figures:
        raise ParameterError(
            f"'{aspect}': nothing was measured here that could be drawn by that name; there are"
            f" {', '.join(figures)}."
        )
    drawn = _drawn(results, figures[aspect])
    if drawn is None:
        raise ParameterError(f"'{aspect}': nothing was measured here that could be drawn.")
    return drawn.figure


def draw_all(results: Results) -> dict[str, Drawn]:
    """Every figure that has something to show, by aspect."""
    figures = {}
    for aspect, place in figures_of(results).items():
        drawn = _drawn(results, place)
        if drawn is not None:
            figures[aspect] = drawn
    return figures


def figures_of(results: Results) -> dict[str, str]:
    """Where each aspect's figure is drawn, ``"module:function"``, by aspect; the alignment last."""
    places = {
        aspect: measured.about.figure
        for aspect, measured in results.measurements.items()
        if measured.about.figure is not None
    }
    if results.stems is not None:
        places["stems"] = _STEMS
    return {**places, "alignment": _ALIGNMENT}


def _drawn(results: Results, place: str) -> Drawn | None:
    module, _, function = place.partition(":")
    draw: Draw = getattr(importlib.import_module(module), function)
    with style.settings():
        figure = style.new_figure()
        caption = draw(results, figure)
        return None if caption is None else Drawn(figure, caption)
