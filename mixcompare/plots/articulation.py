"""Articulation: a typical note of each recording, and how long the notes sound."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.dots import Dot, draw_dots
from mixcompare.plots.values import interval, measured, number, series
from mixcompare.results import Measured, Results

FloatArray = npt.NDArray[np.float64]

NOTE_CAPTION = (
    "Level of one note of the line in both recordings; the dot marks its end, the tick below the"
    " next onset."
)
SHARES_CAPTION = (
    "How many notes sound for less than a given share of the time from onset to onset; the dots"
    " are medians. Near 1 is legato, near 0.3 a sharp staccato."
)
CAPTION = f"Left: {NOTE_CAPTION} Right: {SHARES_CAPTION}"
DOTS_CAPTION = (
    "Share of the time from onset to onset that notes sound, with 95 % intervals where known: near"
    " 1 is legato, near 0.3 a sharp staccato."
)
_ROLES = (("reference", style.REFERENCE_LINE), ("candidate", style.CANDIDATE_LINE))
_FEWEST_NOTES = 3
_FLOOR_DB = -40.0


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = measured(results, "articulation")
    if found is None:
        return None
    example = next(iter(getattr(found.difference, "examples", None) or ()), None)
    notes = all(_ratios(found, role) is not None for role, _ in _ROLES)
    if notes and example is not None:
        left, right = style.columns(figure, 6.4, (1.0, 1.0))
        _draw_note(example, left)
        _draw_shares(found, right)
        style.name_recordings(left)
        return CAPTION
    if notes:
        (axes,) = style.panels(figure, (5.2,))
        _draw_shares(found, axes)
        style.name_recordings(axes)
        return SHARES_CAPTION
    dots = []
    for role, _ in _ROLES:
        holder = getattr(found, role)
        value = number(holder, "sounding_ratio")
        if value is not None:
            dots.append(Dot(role, role, value, interval(holder, "sounding_ratio")))
    if not dots:
        return None
    draw_dots(dots, figure, "share of the time between onsets that notes sound (1)")
    return DOTS_CAPTION


def _draw_note(example: Any, axes: Axes) -> None:
    """Envelopes of one note over each other; dots where it ends, ticks where the next begins."""
    furthest = 0.0
    for role, line in _ROLES:
        times = series(example, f"{role}_time_s")
        levels = series(example, f"{role}_level_db")
        if times is None or levels is None or len(times) != len(levels):
            continue
        levels = np.maximum(levels, _FLOOR_DB)
        axes.plot(1000 * times, levels, label=role, **line)
        held = number(example, f"{role}_held_s")
        if held is not None:
            level = float(np.interp(held, times, levels))
            axes.plot(1000 * held, level, "o", color=line["color"], markersize=6)
        next_s = number(example, f"{role}_interval_s")
        if next_s is not None:
            axes.axvline(1000 * next_s, ymax=0.06, color=line["color"], linewidth=2)
            furthest = max(furthest, 1.05 * next_s)
    if furthest > 0:
        axes.set_xlim(0, 1000 * furthest)
    axes.set_ylim(top=6)
    axes.set_xlabel("time from the onset (ms)")
    axes.set_ylabel("level of the note (dB)")


def _draw_shares(found: Measured, axes: Axes) -> None:
    for role, line in _ROLES:
        ratios = _ratios(found, role)
        if ratios is None:
            continue
        share = 100 * (np.arange(len(ratios)) + 1) / len(ratios)
        axes.step(ratios, share, where="post", label=role, **line)
        axes.plot(float(np.median(ratios)), 50, "o", color=line["color"], markersize=6)
    axes.set_xlabel("share of the time that a note sounds (1)")
    axes.set_ylabel("notes that sound shorter (%)")
    axes.set_ylim(0, 100)


def _ratios(found: Measured, role: str) -> FloatArray | None:
    """Sounding ratios of the notes of one recording, sorted."""
    ratios = series(found.difference, f"note_{role}_ratio", minimum=_FEWEST_NOTES)
    return None if ratios is None else np.sort(ratios[np.isfinite(ratios)])
