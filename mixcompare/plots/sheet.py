"""One sheet of A4 for a rehearsal or a class: the verdict, and each finding with a figure."""

from __future__ import annotations

import io
import textwrap

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import imread

from mixcompare import plots
from mixcompare.findings import Finding, places
from mixcompare.plots import style
from mixcompare.plots.contours import Field, balance_field, thinned
from mixcompare.plots.courses import Course, course_of, is_whole
from mixcompare.results import Results
from mixcompare.units import in_print

MARK = b"handout by mixcompare"
"""In every file of ours."""

MOST = 5
"""Findings on a sheet; with more of them the letters would be too small."""

_A4_CM = (21.0, 29.7)
_MARGIN_CM, _TEXT_CM, _LINE_CM = 1.8, 10.6, 0.47
_WRAPPED, _WRAPPED_BOLD = 58, 50  # letters a line: what fits beside a figure
_ROOMY_CM = 9.0  # for a finding: there the aspect's own figure has its place too
_DOTS_PER_INCH = 200  # of that figure: resolution in print
_LIMIT_DB = 12.0  # for the eye


def sheet_pdf(results: Results, names: str, compared: str) -> bytes:
    """The sheet as a PDF of one page.

    Parameters
    ----------
    results : Results
        What the comparison found.
    names : str
        Of both recordings.
    compared : str
        What was compared with what, in a sentence.
    """
    drawn: set[str] = set()
    with style.settings():
        sheet = Figure(figsize=(_A4_CM[0] / 2.54, _A4_CM[1] / 2.54))
        top_cm = _heading(sheet, results, names, compared)
        field = balance_field(results)
        each_cm = (top_cm - 3.4) / max(min(len(results.findings), MOST), 1)
        for finding in results.findings[:MOST]:
            below_cm = _finding(sheet, finding, results, field, top_cm)
            if each_cm >= _ROOMY_CM and finding.aspect not in drawn:
                _figure(sheet, results, finding.aspect, below_cm, top_cm - each_cm)
                drawn.add(finding.aspect)
            top_cm -= each_cm
        _foot(sheet, results)
        buffer = io.BytesIO()
        made_by = {"Creator": MARK.decode(), "CreationDate": None, "Producer": None}
        sheet.savefig(buffer, format="pdf", metadata=made_by)
    return buffer.getvalue()


def _heading(sheet: Figure, results: Results, names: str, compared: str) -> float:
    """Names, verdict, and what was compared; how high up the rest begins."""
    top_cm = _A4_CM[1] - _MARGIN_CM
    top_cm = _words(sheet, names, top_cm, 95, size=8.5)
    top_cm = _words(sheet, in_print(results.verdict), top_cm - 0.2, 58, size=15, weight="bold")
    return _words(sheet, compared, top_cm - 0.1, 95) - 0.6


def _finding(
    sheet: Figure, finding: Finding, results: Results, field: Field | None, top_cm: float
) -> float:
    """What is said of one finding, and its small figures beside it; where both end."""
    below_cm = _words(
        sheet, f"{finding.rank}  {in_print(finding.text)}", top_cm, _WRAPPED_BOLD, weight="bold"
    )
    whole = is_whole(results, finding)
    where = "the whole passage" if whole else places(finding.spans_s, bars=finding.bars)
    span_s = results.alignment.time_map.span_s
    below_cm = _words(
        sheet, f"{in_print(where)}; {finding.cause.spoken}", below_cm, _WRAPPED, size=8.5
    )
    for sentence in finding.advice:
        below_cm = _words(sheet, f"\N{BULLET} {in_print(sentence)}", below_cm, _WRAPPED)
    left_cm, width_cm = _MARGIN_CM + _TEXT_CM + 0.7, _A4_CM[0] - 2 * _MARGIN_CM - _TEXT_CM - 0.7
    _draw_size(finding, _axes(sheet, left_cm, top_cm - 0.9, width_cm, 0.9))
    course = course_of(results, finding, field)
    if course is not None:
        _draw_course(finding, course, span_s, _axes(sheet, left_cm, top_cm - 3.6, width_cm, 1.4))
    return min(below_cm, top_cm - (4.4 if course is not None else 1.9))


def _figure(sheet: Figure, results: Results, aspect: str, top_cm: float, bottom_cm: float) -> None:
    """The aspect's own figure, as large as the place lets it be."""
    drawn = plots.draw_all(results).get(aspect)
    if drawn is None:
        return
    buffer = io.BytesIO()
    drawn.figure.savefig(buffer, format="png", dpi=_DOTS_PER_INCH)
    buffer.seek(0)
    image = imread(buffer, format="png")
    high_cm, wide_cm = top_cm - bottom_cm - 2.6, _A4_CM[0] - 2 * _MARGIN_CM
    shape = image.shape[1] / image.shape[0]
    wide_cm = min(wide_cm, shape * high_cm)
    place = _axes(sheet, _MARGIN_CM, top_cm - 0.4 - wide_cm / shape, wide_cm, wide_cm / shape)
    place.imshow(image, aspect="auto")
    place.set_axis_off()
    _words(sheet, drawn.caption, top_cm - 0.5 - wide_cm / shape, 118, size=7.5)


def _draw_size(finding: Finding, axes: Axes) -> None:
    """Its size with its interval, and what is just noticeable."""
    scale = finding.scale
    value = scale.factor * finding.difference
    low, high = scale.interval(finding.interval)
    step = scale.factor * scale.size if finding.noticeable else 0.0
    colour = style.CANDIDATE if value > 0 else style.REFERENCE
    axes.axvspan(-step, step, color=style.FAINT, alpha=0.6, linewidth=0)
    axes.axvline(0, color=style.QUIET, linewidth=0.9)
    known = [one for one in (low, high) if np.isfinite(one)]
    axes.plot([*known, value], [0] * (len(known) + 1), color=colour, linewidth=1.5)
    axes.plot(value, 0, "o", color=colour, markersize=5)
    limit = 1.15 * max(map(abs, (*known, value, step)))
    axes.set_xlim(-limit, limit)
    axes.set_yticks([])
    axes.set_xlabel(f"candidate minus reference ({scale.in_full or '1'})", fontsize=8)


def _draw_course(finding: Finding, course: Course, span_s: tuple[float, float], axes: Axes) -> None:
    """The difference against time, with its places behind it."""
    for start, end in finding.spans_s:
        axes.axvspan(start, end, color=style.FAINT, alpha=0.7, linewidth=0)
    axes.plot(*thinned(course.times_s, course.level_db, 300), color=style.INK, linewidth=1.0)
    style.zero_line(axes)
    axes.set_ylim(-_LIMIT_DB, _LIMIT_DB)
    style.time_axis(axes, span_s)
    axes.set_ylabel("dB", fontsize=8)
    axes.set_xlabel(f"{course.words} (min:s)", fontsize=8)


def _foot(sheet: Figure, results: Results) -> None:
    more = len(results.findings) - MOST
    notes = [f"{more} more in the full report."] if more > 0 else []
    notes += [results.unseen] if results.unseen else []
    notes.append(
        "Estimates from finished recordings, with 95 % intervals; stripes show what is just"
        " noticeable. Listen at a comfortable level."
    )
    _words(sheet, " ".join(notes), 3.1, 115, size=8)


def _words(
    sheet: Figure, text: str, top_cm: float, letters: int, size: float = 9.5, weight: str = "normal"
) -> float:
    """Lines of text from a height on; where they end."""
    lines = textwrap.wrap(text, letters) or [""]
    step_cm = _LINE_CM * size / 9.5
    for line in lines:
        top_cm -= step_cm
        sheet.text(_MARGIN_CM / _A4_CM[0], top_cm / _A4_CM[1], line, fontsize=size, weight=weight)
    return top_cm


def _axes(sheet: Figure, left_cm: float, bottom_cm: float, width_cm: float, cm: float) -> Axes:
    """Axes at a place on the sheet."""
    width, height = _A4_CM
    axes = sheet.add_axes((left_cm / width, bottom_cm / height, width_cm / width, cm / height))
    axes.tick_params(labelsize=7)
    return axes
