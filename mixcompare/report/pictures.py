"""Small pictures of the page that are simple enough to be written down as SVG.

Everything that goes in is a number or comes from :mod:`mixcompare.report.wording`; colours are
classes of the page's style sheet.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from html import escape

import numpy as np
import numpy.typing as npt
from markupsafe import Markup

from mixcompare.findings import Finding, Span, clock
from mixcompare.plots.contours import thinned
from mixcompare.report import wording

FloatArray = npt.NDArray[np.float64]
Scale = Callable[[float], float]

_WIDTH, _SIZE_HEIGHT, _COURSE_HEIGHT = 260.0, 62.0, 62.0  # of the pictures, in units of the drawing
_COURSE_LIMIT_DB = 12.0  # for the eye, as the field of balance


def size(finding: Finding) -> Markup:
    """A finding's difference as a dot with its 95 % interval, zero and what is just noticeable."""
    step = finding.noticeable.size if finding.noticeable else 0.0
    low, high = (
        bound if math.isfinite(bound) else finding.difference for bound in finding.interval
    )
    leftmost = min(0.0, low, finding.difference, -step)
    rightmost = max(0.0, high, finding.difference, step)
    room = 0.08 * (rightmost - leftmost)
    leftmost, rightmost = leftmost - room, rightmost + room

    def x(value: float) -> float:
        return round(6 + (_WIDTH - 12) * (value - leftmost) / (rightmost - leftmost), 1)

    side = "more" if finding.difference > 0 else "less"
    parts = [_opening(_WIDTH, _SIZE_HEIGHT, _size_in_words(finding))]
    if step:
        parts.append(
            f'<rect class="noticeable" x="{x(-step)}" y="8" width="{x(step) - x(-step):.1f}"'
            ' height="26"/>'
        )
    parts.append(f'<line class="zero" x1="{x(0)}" x2="{x(0)}" y1="4" y2="38"/>')
    parts.append(f'<line class="whisker {side}" x1="{x(low)}" x2="{x(high)}" y1="21" y2="21"/>')
    for bound in (low, high):
        parts.append(
            f'<line class="whisker {side}" x1="{x(bound)}" x2="{x(bound)}" y1="16" y2="26"/>'
        )
    parts.append(f'<circle class="dot {side}" cx="{x(finding.difference)}" cy="21" r="5.5"/>')
    parts.append(_label(x(0), 54, "0"))
    shown = wording.size(finding)
    place = min(max(x(finding.difference), 34), _WIDTH - 34)
    if abs(place - x(0)) > 44:
        parts.append(_label(place, 54, shown))
    parts.append("</svg>")
    return Markup("".join(parts))


def course(finding: Finding, times_s: FloatArray, level_db: FloatArray, span_s: Span) -> Markup:
    """A difference in dB against time, with the finding's places behind it."""
    start, end = span_s
    times_s, level_db = thinned(times_s, level_db, 130)

    def x(value: float) -> float:
        return round(_WIDTH * (value - start) / (end - start), 1)

    def y(value: float) -> float:
        clipped = min(max(value, -_COURSE_LIMIT_DB), _COURSE_LIMIT_DB)
        return round(24 - 20 * clipped / _COURSE_LIMIT_DB, 1)

    words = "Difference against time, within 12 dB"
    parts = [_opening(_WIDTH, _COURSE_HEIGHT, words)]
    for begin, stop in finding.spans_s:
        left, right = x(max(begin, start)), x(min(stop, end))
        parts.append(
            f'<rect class="place" x="{left}" y="4" width="{max(right - left, 1.5):.1f}"'
            ' height="40"/>'
        )
    parts.append(f'<line class="zero" x1="0" x2="{_WIDTH:.0f}" y1="24" y2="24"/>')
    parts.append(f'<path class="course" d="{path(times_s, level_db, x, y)}"/>')
    parts.append(_label(0, 58, clock(start), "start"))
    parts.append(_label(_WIDTH, 58, clock(end), "end"))
    parts.append(_label(_WIDTH / 2, 58, f"\N{PLUS-MINUS SIGN}{_COURSE_LIMIT_DB:.0f} dB"))
    parts.append("</svg>")
    return Markup("".join(parts))


def cause(finding: Finding) -> Markup:
    """Weights of players, room and mix as one bar."""
    words = ", ".join(f"{name} {share} %" for name, share in wording.causes(finding))
    parts = [_opening(_WIDTH, 12, f"Likely cause: {words}")]
    left = 0.0
    for name in ("players", "room", "mix"):
        width = _WIDTH * getattr(finding.cause, name)
        parts.append(
            f'<rect class="cause-{name}" x="{left:.1f}" y="0" width="{width:.1f}" height="12"/>'
        )
        left += width
    parts.append("</svg>")
    return Markup("".join(parts))


def path(times_s: FloatArray, values: FloatArray, x: Scale, y: Scale) -> str:
    """Data of an SVG path through the points that are known."""
    out = []
    down = False
    for time_s, value in zip(times_s.tolist(), values.tolist(), strict=True):
        if not math.isfinite(value):
            down = False
            continue
        out.append(f"{'L' if down else 'M'}{x(time_s):g} {y(value):g}")
        down = True
    return "".join(out)


def _size_in_words(finding: Finding) -> str:
    value = wording.size(finding)
    around = wording.around(finding)
    return f"Difference {value}" + (f", 95 % interval {around}" if around else "")


def _opening(width: float, height: float, words: str) -> str:
    return (
        f'<svg class="small" role="img" aria-label="{escape(words)}" width="{width:.0f}"'
        f' height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}">'
    )


def _label(x: float, y: float, text: str, anchor: str = "middle") -> str:
    return f'<text x="{x:g}" y="{y:g}" text-anchor="{anchor}">{escape(text)}</text>'
