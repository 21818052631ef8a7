"""One figure per aspect, drawn from results alone.

A figure module offers ``draw(results, figure)``, which draws onto an empty figure and returns its
caption, or None where there is nothing to draw. It computes nothing that an analyzer should have
computed, and never sees sound.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from matplotlib.figure import Figure

from mixcompare.errors import ParameterError
from mixcompare.plots import (
    alignment,
    articulation,
    balance,
    dynamics,
    loudness,
    room,
    stereo,
    style,
    tempo,
    tone,
)
from mixcompare.results import Results

Draw = Callable[[Results, Figure], str | None]

FIGURES: dict[str, Draw] = {
    "loudness": loudness.draw,
    "balance": balance.draw,
    "tone": tone.draw,
    "articulation": articulation.draw,
    "width": stereo.draw_width,
    "placement": stereo.draw_placement,
    "room": room.draw,
    "dynamics": dynamics.draw,
    "tempo": tempo.draw_tempo,
    "tuning": tempo.draw_tuning,
    "alignment": alignment.draw,
}
"""How each aspect is drawn; ``"alignment"`` shows the time map."""


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
    aspect : str
        A key of :data:`FIGURES`.

    Returns
    -------
    matplotlib.figure.Figure
        15 cm wide; not registered anywhere, so nothing has to be closed.

    Raises
    ------
    ParameterError
        If there is no such figure, or nothing was measured that it could show.
    """
    if aspect not in FIGURES:
        raise ParameterError(f"'{aspect}': no such figure; there are {', '.join(FIGURES)}.")
    drawn = _drawn(results, aspect)
    if drawn is None:
        raise ParameterError(f"'{aspect}': nothing was measured here that could be drawn.")
    return drawn.figure


def draw_all(results: Results) -> dict[str, Drawn]:
    """Every figure that has something to show, by aspect."""
    figures = {}
    for aspect in FIGURES:
        drawn = _drawn(results, aspect)
        if drawn is not None:
            figures[aspect] = drawn
    return figures


def _drawn(results: Results, aspect: str) -> Drawn | None:
    with style.settings():
        figure = style.new_figure()
        caption = FIGURES[aspect](results, figure)
        return None if caption is None else Drawn(figure, caption)
