"""Articulation: a typical note of each recording, and how long the notes sound."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from scipy import ndimage

from mixcompare.findings import moment
from mixcompare.findings.manner import MANNERS
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
    "Three typical notes of the {voice} in both recordings: level from each note's onset, smoothed"
    " to what an ear follows; the dot marks where a note ends, and from there to the next onset its"
    " gap is shaded."
)
SHARES_CAPTION = (
    "How many notes sound for less than a given share of the time from onset to onset; the dots"
    " are medians. Above 90 % is legato, 30 to 50 % staccato."
)
COURSE_CAPTION = (
    "Below: how much of its time every note sounds, where it stands in the passage; the stripes are"
    " manners of playing (their edges are common practice, no source)."
)
DOTS_CAPTION = (
    "Share of the time from onset to onset that notes sound, with 95 % intervals where known: near"
    " 1 is legato, 0.3 to 0.5 staccato."
)
_ROLES = (("reference", style.REFERENCE_LINE), ("candidate", style.CANDIDATE_LINE))
_FEWEST_NOTES = 3  # of a curve of shares; our choice
_MOST_NOTES = 3  # for the eye: typical notes side by side
_BEFORE_S = 0.05  # for the eye: what stands before the onset
_FOLLOWED_S = 0.03  # standard deviation of the smoothing: about what an ear follows; our choice
_FLOOR_DB = -40.0  # for the eye: the lowest level drawn, so that a gap shows
_TITLES = ("C", "C#", "D", "D#", "E", "F", "F#", "G", "G#", "A", "A#", "B")


def draw(results: Results, figure: Figure) -> str | None:
    """Draw onto an empty figure; its caption, or None where there is nothing to draw."""
    found = results.measurements.get("articulation")
    if found is None:
        return None
    difference: ArticulationDifference = found.difference
    examples = difference.examples[:_MOST_NOTES]
    notes = all(ratios is not None for ratios in _ratios(difference))
    if notes and examples:
        above, below = style.columns_over_one(figure, (5.4, 4.6), [1.0] * len(examples))
        for place, (axes, example) in enumerate(zip(above, examples, strict=True)):
            _draw_note(example, axes, results.bar_at(example.onset_s))
            axes.set_gid(f"note-{place}")  # the page plays what is pointed at
        above[0].set_ylabel("level of the note (dB)")
        lines = [line for line in above[0].lines if line.get_label() in dict(_ROLES)]
        figure.legend(handles=lines, loc="outside upper left", ncols=2, handlelength=2.8)
        for axes in above[1:]:
            axes.sharey(above[0])
            axes.tick_params(axis="y", labelleft=False)
        _draw_course(difference, below, results.alignment.time_map.span_s)
        return f"{NOTE_CAPTION.format(voice=difference.shown)} {COURSE_CAPTION}"
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


def _draw_note(example: NoteShape, axes: Axes, bar: int | None) -> None:
    """Envelopes of one note in both recordings over each other."""
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
        times, levels = np.array(times_s), followed(np.array(times_s), np.array(levels_db))
        shown = (times >= -_BEFORE_S) & (times <= 1.02 * next_s)
        times, levels = times[shown], np.maximum(levels[shown], _FLOOR_DB)
        axes.plot(1000 * times, levels, label=role, **line)
        level = float(np.interp(held_s, times, levels))
        axes.plot(1000 * held_s, level, "o", color=line["color"], markersize=6)
        if held_s < next_s:
            # Each gap on its own half, so that both are seen where they lie over each other.
            low, high = (0.0, 0.06) if role == "candidate" else (0.07, 0.13)
            axes.axvspan(
                1000 * held_s, 1000 * next_s, low, high,
                color=line["color"], alpha=0.45, linewidth=0,
            )  # fmt: skip
    axes.set_ylim(_FLOOR_DB, 6)
    axes.set_xlabel("from the onset (ms)")
    axes.set_title(f"{note_name(example.pitch, bar)} at {moment(example.onset_s)}", loc="right")


def followed(times_s: FloatArray, level_db: FloatArray) -> FloatArray:
    """A level as an ear follows it: its power smoothed over some hundredths of a second."""
    step_s = float(np.median(np.diff(times_s))) if len(times_s) > 1 else 1.0
    power = ndimage.gaussian_filter1d(10 ** (level_db / 10), _FOLLOWED_S / step_s, mode="nearest")
    return np.asarray(10 * np.log10(np.maximum(power, 1e-12)))


def note_name(pitch: int, bar: int | None = None) -> str:
    """A pitch as musicians name it, middle C being C4, and its bar: ``"F#5 in bar 3"``."""
    name = f"{_TITLES[pitch % 12]}{pitch // 12 - 1}"
    return name if bar is None else f"{name} in bar {bar}"


def _draw_shares(difference: ArticulationDifference, axes: Axes) -> None:
    for (role, line), ratios in zip(_ROLES, _ratios(difference), strict=True):
        if ratios is None:
            continue
        share = 100 * (np.arange(len(ratios)) + 1) / len(ratios)
        axes.step(100 * ratios, share, where="post", label=role, **line)
        axes.plot(100 * float(np.median(ratios)), 50, "o", color=line["color"], markersize=6)
    axes.set_xlabel("share of its time that a note sounds (%)")
    axes.set_ylabel("notes that sound shorter (%)")
    axes.set_ylim(0, 100)


def _draw_course(
    difference: ArticulationDifference, axes: Axes, span_s: tuple[float, float]
) -> None:
    """Both recordings' share of every note, joined by a stem, against time."""
    axes.set_ylabel("of its time a note\nsounds (%)")
    style.time_axis(axes, span_s)
    times = np.array(difference.note_s)
    reference = 100 * np.array(difference.note_reference_ratio)
    candidate = 100 * np.array(difference.note_candidate_ratio)
    top = max(125.0, 1.05 * float(np.nanmax([reference, candidate])))
    _draw_manners(axes, top, span_s[1])
    axes.vlines(times, reference, candidate, color=style.QUIET, linewidth=0.9)
    for values, (_, line) in zip((reference, candidate), _ROLES, strict=True):
        axes.plot(times, values, "o", color=line["color"], markersize=3.5)
    axes.set_ylim(0, top)


def _draw_manners(axes: Axes, top: float, end_s: float) -> None:
    """Manners of playing as stripes with their names."""
    axes.grid(visible=False, axis="y")
    for row, (least, manner) in enumerate(MANNERS):
        low = 100 * least
        if row % 2:
            axes.axhspan(low, top, color=style.FAINT, alpha=0.6, linewidth=0)
        axes.annotate(
            manner, (end_s, (low + min(top, 115.0)) / 2), (-3, 0), textcoords="offset points",
            ha="right", va="center", fontsize=8, color=style.QUIET,
        )  # fmt: skip
        top = low


def _ratios(difference: ArticulationDifference) -> tuple[FloatArray | None, FloatArray | None]:
    """Sounding ratios of the notes of both recordings, sorted."""
    reference = series(difference.note_reference_ratio, minimum=_FEWEST_NOTES)
    candidate = series(difference.note_candidate_ratio, minimum=_FEWEST_NOTES)
    return _sorted(reference), _sorted(candidate)


def _sorted(ratios: FloatArray | None) -> FloatArray | None:
    return None if ratios is None else np.sort(ratios[np.isfinite(ratios)])
