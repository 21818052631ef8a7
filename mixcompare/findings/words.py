"""Sizes and places in words."""

from __future__ import annotations

from collections.abc import Sequence

from mixcompare.findings.finding import Span


def signed(value: float, unit: str, decimals: int = 1) -> str:
    """A difference as a person writes it: ``+5.8 dB``."""
    return f"{value:+.{decimals}f} {unit}".rstrip()


def steps_of_dynamics(size_db: float) -> str:
    """A level in the players' words: a step is some 4 to 6 dB (common practice, no source)."""
    if size_db < 4:
        return "about half a dynamic"
    return "about one dynamic" if size_db < 8 else "one dynamic or two"


def clock(seconds: float) -> str:
    """A time as ``0:07`` or ``1:02:03``."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def joined_spans(spans_s: Sequence[Span]) -> tuple[Span, ...]:
    """Spans in order, joined where they touch."""
    joined: list[Span] = []
    for start, end in sorted(spans_s):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def places(spans_s: Sequence[Span], limit: int = 3) -> str:
    """Spans as words: ``0:05-0:12 and 0:20-0:28``."""
    shown = [f"{clock(start)}-{clock(end)}" for start, end in spans_s[:limit]]
    if len(spans_s) > limit:
        shown.append(f"{len(spans_s) - limit} more")
    return " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else "".join(shown)
