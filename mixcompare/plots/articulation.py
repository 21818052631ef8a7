"""Articulation: a typical note of each recording, and how long the notes sound."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from mixcompare.plots import style
from mixcompare.plots.dots import Dot, draw_dots
from mixcompare.plots.values import closed, series
from mixcompare.results import Results

if TYPE_CHECKING:
    from mixcompare.aspects.articulation.values import (
        ArticulationDifference,
        ArticulationMeasurement,
        NoteShape,
    )

FloatArray = npt.NDArray[np.float64]

NOTE_CAPTION = (
    "Level of typical notes of the {voice} in both recordings, each from its onset; the dot marks"
    " its end, the tick below the next onset."
)
SHARES_CAPTION = (
    "How many notes sound for less than a given share of the time from onset to onset; the dots"
    " are medians. Near 1 is legato, near 0.3 a sharp staccato."
)
COURSE_CAPTION = "Below: the share of every note, where it stands in the passage."
DOTS_CAPTION = (
    "Share of the time from onset to onset that notes sound, with 95 % intervals where known: near"
    " 1 is legato, near 0.3 a sharp staccato."
)
_ROLES = (("reference", style.REFERENCE_LINE), ("candidate", style.CANDIDATE_LINE))
_FEWEST_NOTES = 3  # of a curve of shares; our choice
_MOST_NOTES = 3  # for the eye: typical notes side by side
# For the eye: what stands before the onset, and how far notes lie apart.
_BEFORE_S, _APART_MS = 0.05, 160.0
_STEPS_MS = (50, 100, 200, 250, 500, 1000, 2000, 1e9)  # resolution of the ticks
_DIVIDER: dict[str, Any] = {"color": "0.75", "linewidth": 0.8}  # for the eye
_FLOOR_DB = -30.0  # for the eye: the lowest level drawn


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = results.measurements.get("articulation")
    if found is None:
        return None
    difference: ArticulationDifference = found.difference
    examples = difference.examples[:_MOST_NOTES]
    notes = all(ratios is not None for ratios in _ratios(difference))
    if notes and examples:
        (left, right), below = style.columns_over_one(figure, (5.4, 3.4), (1.6, 1.0))
        _draw_notes(examples, left)
        _draw_shares(difference, right)
        _draw_course(difference, below, results.alignment.time_map.span_s)
        style.name_recordings(left)
        note = NOTE_CAPTION.format(voice=difference.shown)
        return f"Left: {note} Right: {SHARES_CAPTION} {COURSE_CAPTION}"
    if notes:
        (axes,) = style.panels(figure, (5.2,))
        _draw_shares(difference, axes)
        style.name_recordings(axes)
        return SHARES_CAPTION
    sides: tuple[ArticulationMeasurement, ...] = (found.reference, found.candidate)
    dots = []
    for side, (role, _) in zip(sides, _ROLES, strict=True):
        if side.sounding_ratio is not None:
            around = closed(side.sounding_ratio_interval)
            dots.append(Dot(role, role, side.sounding_ratio, around))
    if not dots:
        return None
    draw_dots(dots, figure, "share of the time between onsets that notes sound (1)")
    return DOTS_CAPTION


def _draw_notes(examples: Sequence[NoteShape], axes: Axes) -> None:
    """Envelopes of both recordings over each other, one note after the other on one axis."""
    start_ms = 0.0
    ticks: list[float] = []
    labels: list[str] = []
    for index, example in enumerate(examples):
        length_ms = 0.0
        sides = (
            (
                example.reference_time_s, example.reference_level_db,
                example.reference_held_s, example.reference_interval_s,
            ),
            (
                example.candidate_time_s, example.candidate_level_db,
                example.candidate_held_s, example.candidate_interval_s,
            ),
        )  # fmt: skip
        for (role, line), (times_s, levels_db, held_s, next_s) in zip(_ROLES, sides, strict=True):
            times, levels = np.array(times_s), np.array(levels_db)
            shown = (times >= -_BEFORE_S) & (times <= 1.02 * next_s)
            times, levels = times[shown], np.maximum(levels[shown], _FLOOR_DB)
            label = role if index == 0 else "_" + role
            axes.plot(start_ms + 1000 * times, levels, label=label, **line)
            level = float(np.interp(held_s, times, levels))
            axes.plot(start_ms + 1000 * held_s, level, "o", color=line["color"], markersize=6)
            at = start_ms + 1000 * next_s
            axes.plot([at, at], [_FLOOR_DB, _FLOOR_DB + 3], color=line["color"], linewidth=2)
            length_ms = max(length_ms, 1000 * next_s)
        step = next(step for step in _STEPS_MS if length_ms < 2.2 * step)
        inside = np.arange(0, length_ms, step)
        ticks += [start_ms + float(tick) for tick in inside]
        labels += [f"{tick:.0f}" for tick in inside]
        start_ms += length_ms + _APART_MS
        if index + 1 < len(examples):
            axes.axvline(start_ms - 1000 * _BEFORE_S - 0.4 * _APART_MS, **_DIVIDER)
    axes.set_xticks(ticks, labels)
    axes.set_ylim(_FLOOR_DB, 6)
    axes.set_xlabel("time from each note's onset (ms)")
    axes.set_ylabel("level of the note (dB)")


def _draw_shares(difference: ArticulationDifference, axes: Axes) -> None:
    for (role, line), ratios in zip(_ROLES, _ratios(difference), strict=True):
        if ratios is None:
            continue
        share = 100 * (np.arange(len(ratios)) + 1) / len(ratios)
        axes.step(ratios, share, where="post", label=role, **line)
        axes.plot(float(np.median(ratios)), 50, "o", color=line["color"], markersize=6)
    axes.set_xlabel("share of time sounding (1)")
    axes.set_ylabel("notes that sound shorter (%)")
    axes.set_ylim(0, 100)


def _draw_course(
    difference: ArticulationDifference, axes: Axes, span_s: tuple[float, float]
) -> None:
    """Both recordings' share of every note, joined by a stem, against time."""
    axes.set_ylabel("share sounding (1)")
    style.time_axis(axes, span_s)
    times = np.array(difference.note_s)
    reference = np.array(difference.note_reference_ratio)
    candidate = np.array(difference.note_candidate_ratio)
    axes.vlines(times, reference, candidate, color=style.QUIET, linewidth=0.9)
    for values, (_, line) in zip((reference, candidate), _ROLES, strict=True):
        axes.plot(times, values, "o", color=line["color"], markersize=3.5)
    axes.set_ylim(0, max(1.2, 1.05 * float(np.nanmax([reference, candidate]))))


def _ratios(difference: ArticulationDifference) -> tuple[FloatArray | None, FloatArray | None]:
    """Sounding ratios of the notes of both recordings, sorted."""
    reference = series(difference.note_reference_ratio, minimum=_FEWEST_NOTES)
    candidate = series(difference.note_candidate_ratio, minimum=_FEWEST_NOTES)
    return _sorted(reference), _sorted(candidate)


def _sorted(ratios: FloatArray | None) -> FloatArray | None:
    return None if ratios is None else np.sort(ratios[np.isfinite(ratios)])
