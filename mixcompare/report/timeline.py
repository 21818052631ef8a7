"""The listening panel's time line: one time axis, and lanes that the position line runs over."""

from __future__ import annotations

import base64
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from markupsafe import Markup

from mixcompare.findings import Span, clock
from mixcompare.plots.contours import Contours, Field, thinned
from mixcompare.plots.strip import field_png
from mixcompare.report.pictures import path
from mixcompare.report.wording import SAME_GAIN
from mixcompare.results import Results

FloatArray = npt.NDArray[np.float64]

# In units of the drawing; for the eye.
WIDTH = 1000.0
_MOST_ROWS = 10  # more findings are in the list
_ROW = 14.0
_LOUDNESS_HEIGHT = 100.0
_LEAST_RANGE_LU = 15.0  # for the eye: height of the loudness lane, at least
_MOST_RANGE_LU = 30.0  # and at most


@dataclass(frozen=True)
class Label:
    """A word beside a lane, at a height in per cent from its top."""

    percent: float
    text: str


@dataclass(frozen=True)
class Lane:
    """One lane: a name, labels at its left, and what is drawn in it.

    ``drawing`` is stretched to the lane's width; ``images`` are data addresses of a picture for
    light and dark pages.
    """

    kind: str
    title: str
    labels: tuple[Label, ...]
    drawing: Markup | None = None
    images: tuple[str, str] | None = None


@dataclass(frozen=True)
class Tick:
    """A time on the axis, in per cent of its width."""

    percent: float
    text: str


def ticks(span_s: Span) -> tuple[Tick, ...]:
    """Round times, at most eight of them."""
    start, end = span_s
    step = next(
        (
            size
            for size in (1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 1200)
            if (end - start) / size <= 8
        ),
        3600,
    )
    times = range(math.ceil(start / step) * step, math.floor(end) + 1, step)
    return tuple(Tick(_percent(time, span_s), clock(time)) for time in times)


def lanes(
    results: Results, contours: Contours | None, field: Field | None, span_s: Span
) -> tuple[Lane, ...]:
    """What there is to be shown against time: findings, loudness, band difference."""
    out = []
    if results.findings:
        out.append(_findings_lane(results, span_s))
    if contours is not None:
        lane = _loudness_lane(contours, span_s)
        if lane is not None:
            out.append(lane)
    if field is not None:
        out.append(_field_lane(field, span_s))
    return tuple(out)


def _findings_lane(results: Results, span_s: Span) -> Lane:
    shown = results.findings[:_MOST_ROWS]
    height = _ROW * len(shown)
    parts = [_opening(height)]
    labels = []
    for row, finding in enumerate(shown):
        side = "more" if finding.difference > 0 else "less"
        for start, end in finding.spans_s:
            left = 10 * _percent(max(start, span_s[0]), span_s)
            right = 10 * _percent(min(end, span_s[1]), span_s)
            parts.append(
                f'<rect class="bar {side}" x="{left:.1f}" y="{row * _ROW + 2:g}"'
                f' width="{max(right - left, 2):.1f}" height="{_ROW - 4:g}"/>'
            )
        labels.append(Label(100 * (row + 0.5) / len(shown), str(finding.rank)))
    parts.append("</svg>")
    return Lane("findings", "Findings, by rank", tuple(labels), Markup("".join(parts)))


def _loudness_lane(contours: Contours, span_s: Span) -> Lane | None:
    of_reference = contours.reference_lufs
    of_candidate = contours.candidate_lufs - contours.gain_db
    known = np.concatenate(
        [of_reference[np.isfinite(of_reference)], of_candidate[np.isfinite(of_candidate)]]
    )
    if len(known) == 0:
        return None
    top = 5 * math.ceil(float(known.max()) / 5)
    span_lu = top - float(np.percentile(known, 5))
    bottom = top - 5 * math.ceil(min(max(span_lu, _LEAST_RANGE_LU), _MOST_RANGE_LU) / 5)

    def x(value: float) -> float:
        return round(10 * _percent(value, span_s), 1)

    def y(value: float) -> float:
        share = (top - max(value, bottom)) / (top - bottom)
        return round(_LOUDNESS_HEIGHT * share, 1)

    parts = [_opening(_LOUDNESS_HEIGHT)]
    step = 5 if top - bottom <= 20 else 10
    levels = range(math.ceil(bottom / step) * step, top + 1, step)
    for level in levels:
        parts.append(f'<line class="grid" x1="0" x2="{WIDTH:g}" y1="{y(level)}" y2="{y(level)}"/>')
    for name, values in (("reference", of_reference), ("candidate", of_candidate)):
        times, means = thinned(contours.times_s, values, most=900)
        parts.append(f'<path class="line {name}" d="{path(times, means, x, y)}"/>')
    parts.append("</svg>")
    labels = tuple(Label(y(level), f"{level}".replace("-", "\N{MINUS SIGN}")) for level in levels)
    title = f"Loudness (LUFS, 0.4 s, at the {SAME_GAIN})"
    return Lane("loudness", title, labels, Markup("".join(parts)))


def _field_lane(field: Field, span_s: Span) -> Lane:
    images = tuple(
        "data:image/png;base64," + base64.b64encode(field_png(field, span_s, dark)).decode()
        for dark in (False, True)
    )
    octaves = np.log2(field.band_centre_hz)
    half = (octaves[-1] - octaves[0]) / (2 * max(len(octaves) - 1, 1))
    low, high = octaves[0] - half, octaves[-1] + half
    labels = []
    for hertz, text in ((100, "100"), (300, "300"), (1000, "1k"), (3000, "3k"), (10000, "10k")):
        share = (high - math.log2(hertz)) / (high - low)
        if 0 <= share <= 1:
            labels.append(Label(100 * float(share), text))
    title = "Difference per band (Hz), candidate minus reference"
    return Lane("field", title, tuple(labels), images=(images[0], images[1]))


def _opening(height: float) -> str:
    return (
        f'<svg class="stretch" height="{height:g}" viewBox="0 0 {WIDTH:g} {height:g}"'
        ' preserveAspectRatio="none"'
        ' aria-hidden="true">'
    )


def _percent(time_s: float, span_s: Span) -> float:
    start, end = span_s
    return 100 * (time_s - start) / (end - start)
