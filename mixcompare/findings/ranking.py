"""What counts, and what comes first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from mixcompare.findings.finding import Finding

LEAST_CONFIDENCE = 0.6
"""Findings less sure than this are not listed."""


def size_in_jnd(difference: float, interval: tuple[float, float], jnd: float) -> float:
    """Size of a difference in just-noticeable differences, shrunk by its uncertainty.

    The shrinkage is that of James and Stein (1961) for one value: the share of its square that
    its variance does not explain. Zero where the interval includes zero.
    """
    low, high = interval
    if difference == 0 or low <= 0 <= high:
        return 0.0
    deviation = max(high - low, 0.0) / (2 * 1.96)
    kept = max(1 - (deviation / difference) ** 2, 0.0)
    return float(abs(difference) * kept / jnd)


def is_listed(finding: Finding) -> bool:
    """Tell whether a finding counts.

    From one just-noticeable difference up, with zero outside its interval, and only when it is
    clearly likelier real than not: silence is better than a coin toss.
    """
    low, high = finding.interval
    return finding.jnd >= 1.0 and not low <= 0 <= high and finding.confidence >= LEAST_CONFIDENCE


def salience(finding: Finding, whole_s: float) -> float:
    """Size weighed by how much of the passage it concerns (fourth root: short things stick out)."""
    share = min(finding.duration_s / whole_s, 1.0) if whole_s > 0 else 1.0
    return float(finding.jnd * max(share, 0.01) ** 0.25 * finding.confidence)


def ranked(findings: Iterable[Finding], whole_s: float) -> tuple[Finding, ...]:
    """Keep what counts, most salient first, and number it."""
    kept = sorted(
        (finding for finding in findings if is_listed(finding)),
        key=lambda finding: salience(finding, whole_s),
        reverse=True,
    )
    return tuple(replace(finding, rank=rank) for rank, finding in enumerate(kept, start=1))
