"""Articulation: a typical note of each recording, and how long the notes sound."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.dots import Dot, draw_dots
from mixcompare.plots.values import interval, measured, number, series
from mixcompare.results import Measured, Results

ENVELOPE_CAPTION = "Level of a typical note from its onset to the next one."
SHARES_CAPTION = (
    "How many notes sound for less than a given share of the time from onset to onset; the dots"
    " are medians. Near 1 is legato, near 0.3 a sharp staccato."
)
CAPTION = f"Left: {ENVELOPE_CAPTION.lower()} Right: {SHARES_CAPTION[0].lower()}{SHARES_CAPTION[1:]}"
DOTS_CAPTION = (
    "Share of the time from onset to onset that notes sound, with 95 % intervals where known: near"
    " 1 is legato, near 0.3 a sharp staccato."
)
_ROLES = (("reference", style.REFERENCE_LINE), ("candidate", style.CANDIDATE_LINE))


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = measured(results, "articulation")
    if found is None:
        return None
    notes = series(found.reference, "note_ratios") is not None
    notes = notes and series(found.candidate, "note_ratios") is not None
    envelopes = series(found.reference, "envelope_db") is not None
    envelopes = envelopes and series(found.candidate, "envelope_db") is not None
    if notes and envelopes:
        left, right = style.columns(figure, 6.2, (1.0, 1.0))
        _draw_envelopes(found, left)
        _draw_shares(found, right)
        return CAPTION
    if envelopes or notes:
        (axes,) = style.panels(figure, (5.2,))
        (_draw_envelopes if envelopes else _draw_shares)(found, axes)
        return ENVELOPE_CAPTION if envelopes else SHARES_CAPTION
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


def _draw_envelopes(found: Measured, axes: Axes) -> None:
    for role, line in _ROLES:
        holder = getattr(found, role)
        levels = series(holder, "envelope_db")
        if levels is None:
            continue
        times = series(holder, "envelope_phase")
        if times is None or len(times) != len(levels):
            times = np.linspace(0, 1, len(levels))
        axes.plot(times, levels, label=role, **line)
    axes.set_xlabel("time from onset to next onset (1)")
    axes.set_ylabel("level against the loudest (dB)")
    axes.set_xlim(left=0)
    style.name_recordings(axes)


def _draw_shares(found: Measured, axes: Axes) -> None:
    for role, line in _ROLES:
        ratios = series(getattr(found, role), "note_ratios")
        if ratios is None:
            continue
        ratios = np.sort(ratios[np.isfinite(ratios)])
        share = 100 * (np.arange(len(ratios)) + 1) / len(ratios)
        axes.step(ratios, share, where="post", label=role, **line)
        axes.plot(float(np.median(ratios)), 50, "o", color=line["color"], markersize=5)
    axes.set_xlabel("share of the time that a note sounds (1)")
    axes.set_ylabel("notes that sound shorter (%)")
    axes.set_ylim(0, 100)
    style.name_recordings(axes)
