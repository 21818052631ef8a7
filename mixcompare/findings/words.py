"""Sizes and places in words."""

from __future__ import annotations

from collections.abc import Sequence

from mixcompare.findings.finding import Span


def signed(value: float, unit: str, decimals: int = 1) -> str:
    """A difference as a person writes it: ``+5.8 dB``."""
    return f"{value:+.{decimals}f} {unit}".rstrip()


def between(bounds: Span, decimals: int = 1) -> str:
    """An interval beside a size whose direction is said: ``between 4.9 and 6.7``."""
    low, high = sorted(map(abs, bounds))
    low = 0.0 if bounds[0] < 0 < bounds[1] else low
    return f"between {low:.{decimals}f} and {high:.{decimals}f}"


def steps_of_dynamics(size_db: float) -> str:
    """A level in the players' words: a step is some 4 to 6 dB (common practice, no source)."""
    if size_db < 4:
        return "about half a dynamic"
    return "about one dynamic" if size_db < 8 else "one dynamic or two"


_NUMBERS = (
    *("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten"),
    *("eleven", "twelve"),
)


def counted(count: int) -> str:
    """A small number as a sentence has it: ``"three"``, and ``"13"``."""
    return _NUMBERS[count] if count < len(_NUMBERS) else str(count)


def of_a_hundred(confidence: float) -> int:
    """In how many of a hundred cases it is right; nothing is ever right in all of them."""
    return min(round(100 * confidence), 99)


def chance(confidence: float) -> str:
    """How often what was told with so much confidence is right."""
    return f"right in about {of_a_hundred(confidence)} of 100 such cases"


def parts_named(names: Sequence[str], family: str | None = None) -> str:
    """``"Horn part"``, ``"Horn and Trumpet parts"``, ``"woodwinds (Flute, Oboe)"``."""
    if family:
        return f"{family} ({', '.join(names)})"
    return f"{listed(names)} part{'s' * (len(names) > 1)}" if names else ""


def clock(seconds: float) -> str:
    """A time as ``0:07`` or ``1:02:03``."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def moment(seconds: float) -> str:
    """A place in the music with tenths: ``1:07.5``."""
    tenths = round(seconds * 10)
    minutes, rest = divmod(tenths, 600)
    hours, minutes = divmod(minutes, 60)
    clock = f"{minutes}:{rest / 10:04.1f}"
    return f"{hours}:{minutes:02d}:{rest / 10:04.1f}" if hours else clock


def joined_spans(spans_s: Sequence[Span], gap_s: float = 0.0) -> tuple[Span, ...]:
    """Spans in order, joined where they touch or leave no longer gap."""
    joined: list[Span] = []
    for start, end in sorted(spans_s):
        if joined and start - joined[-1][1] <= gap_s:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def places(
    spans_s: Sequence[Span], limit: int = 3, bars: Sequence[tuple[int, int]] | None = None
) -> str:
    """Spans as words, and bars: ``0:05-0:12 and 0:20-0:28 (bars 3-5 and 9)``."""
    times = listed([f"{clock(start)}-{clock(end)}" for start, end in spans_s], limit)
    return f"{times} ({bars_named(bars, limit)})" if bars else times


def bars_named(bars: Sequence[tuple[int, int]], limit: int = 3) -> str:
    """Bars as words: ``bar 9`` or ``bars 3-5 and 9``."""
    one = len(bars) == 1 and bars[0][0] == bars[0][1]
    numbers = [f"{first}-{last}" if last > first else f"{first}" for first, last in bars]
    return f"bar{'' if one else 's'} {listed(numbers, limit)}"


def listed(shown: Sequence[str], limit: int | None = None) -> str:
    """Words as a sentence has them: ``a, b and c``, or ``a and 2 more``."""
    if limit is not None and len(shown) > limit:
        shown = [*shown[:limit], f"{len(shown) - limit} more"]
    return " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else "".join(shown)
