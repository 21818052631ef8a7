"""Words and numbers of the page: titles, explanations, units, sensible digits.

The sentences about findings come from the findings themselves; what is said here holds for
every comparison.
"""

from __future__ import annotations

import math

from mixcompare import units
from mixcompare.findings import Finding
from mixcompare.units import NOT_KNOWN, number

RELATIONS = {
    "same_take": "one take, heard through two mixes or rooms",
    "same_passage": "one passage, played twice",
    "unrelated": "not the same passage",
}

VOICES = {
    "reference": "reference",
    "candidate": "candidate",
    "preview": "candidate with the trims",
}

SAME_GAIN = "same gain for what did not change"

LIMITS = (
    "Figures are estimates from finished recordings. The intervals say how far they may be off;"
    " where one says 95 %, about one in twenty lies outside.",
    "Who causes a difference is weighed from the evidence and never certain: the same change can"
    " come from the players, the room or the mix.",
    "Elements that sound at the same time in the same range cannot always be told apart.",
    "A place that the two recordings do not share (a cut, a repeat) is left out of the comparison.",
    "Just-noticeable differences come from listening tests on simpler sounds; in dense music the"
    " ear may miss what is listed, or mind what is not.",
    "What a difference is worth is a matter of taste: the reference is only a reference.",
)


def interval(
    bounds: tuple[float | None, float | None] | None, unit: str = "", signed: bool = True
) -> str:
    """A 95 % interval: ``+4.9 to +6.7``; empty where there is none."""
    if bounds is None:
        return ""
    low, high = (number(bound, unit, signed) for bound in bounds)
    if NOT_KNOWN in (low, high):
        return ""
    return f"{low} to {high}"


def size(finding: Finding) -> str:
    """A finding's size as the page writes it: with a minus sign and a space that holds together."""
    return finding.amount.replace("-", units.MINUS).replace(" ", "\N{NO-BREAK SPACE}", 1)


def around(finding: Finding) -> str:
    """Its 95 % interval on the same scale."""
    known = all(map(math.isfinite, finding.interval))
    return finding.around.replace("-", units.MINUS) if known else ""


def band(band_hz: tuple[float, float] | None) -> str:
    """A frequency range: ``200 to 800 Hz``, ``2.0 to 5.0 kHz``."""
    if band_hz is None:
        return ""
    low, high = band_hz
    if low >= 1000:
        return f"{low / 1000:.1f} to {high / 1000:.1f}\N{NO-BREAK SPACE}kHz"
    if high >= 1000:
        return f"{low:.0f}\N{NO-BREAK SPACE}Hz to {high / 1000:.1f}\N{NO-BREAK SPACE}kHz"
    return f"{low:.0f} to {high:.0f}\N{NO-BREAK SPACE}Hz"


def causes(finding: Finding) -> tuple[tuple[str, int], ...]:
    """Players, room and mix with their weights in whole per cent, heaviest first."""
    weights = finding.cause.weights
    shares = [(name, round(100 * weight)) for name, weight in weights.items() if weight >= 0.005]
    return tuple(sorted(shares, key=lambda share: -share[1]))
