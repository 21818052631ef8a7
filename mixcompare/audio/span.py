"""Spans of a recording: from and to, in seconds."""

from __future__ import annotations

import re

from mixcompare.errors import ParameterError

SHORTEST_S = 1.0
"""Nothing musical can be measured in less."""
SHORTEST_PAIR_S = 4.0
"""In less, two copies of one take are no longer told to be one (measured: 4 s are, 3.5 s not)."""


def parse_span(text: str) -> tuple[float, float]:
    """Read a span such as ``0:12-0:45.5``, ``12-45.5`` or ``1:02:03-1:03:00``.

    Returns
    -------
    tuple of float
        (start, end) in seconds.

    Raises
    ------
    ParameterError
    """
    part = r"(?:(?:(\d+):)?(\d{1,2}):)?(\d+(?:\.\d+)?)"
    match = re.fullmatch(rf"\s*{part}\s*[-–]\s*{part}\s*", text)
    if match is None:
        raise ParameterError(
            f"span '{text}': write start-end in seconds or minutes, such as 12-45.5 or 0:12-0:45.5."
        )
    numbers = [float(group or 0) for group in match.groups()]
    start, end = (3600 * h + 60 * m + s for h, m, s in (numbers[:3], numbers[3:]))
    if end <= start:
        raise ParameterError(f"span '{text}': the end must come after the start.")
    return start, end


def span_text(span_s: tuple[float, float]) -> str:
    """A span to whole seconds, as :func:`parse_span` reads it: ``0:12-0:46``."""
    clocks = [divmod(round(edge_s), 60) for edge_s in span_s]
    return "-".join(
        f"{minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
        if minutes >= 60
        else f"{minutes}:{seconds:02d}"
        for minutes, seconds in clocks
    )


def checked_span(
    span_s: tuple[float, float] | None, length_s: float, name: str
) -> tuple[float, float]:
    """The span within a recording of that length; the whole of it where none is given."""
    if span_s is None:
        return 0.0, length_s
    try:
        start, end = (float(edge) for edge in span_s)
    except (TypeError, ValueError) as error:
        raise ParameterError(
            f"{name}: a span is two numbers of seconds, not {span_s!r:.60}."
        ) from error
    if not (0 <= start < end <= length_s + 0.01):
        raise ParameterError(
            f"{name}: span {start:g}-{end:g} s lies outside the recording (0-{length_s:.2f} s)."
        )
    if end - start < SHORTEST_S:
        raise ParameterError(f"{name}: a span must be at least {SHORTEST_S:g} s long.")
    return float(start), float(min(end, length_s))
