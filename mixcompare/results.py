"""Everything a comparison found, as plain data: what plots, page and report file are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from mixcompare.findings import Finding
from mixcompare.match import Alignment


@dataclass(frozen=True)
class Source:
    """One of the two recordings, as compared."""

    path: str
    sample_rate_hz: int
    channels: int
    duration_s: float
    span_s: tuple[float, float]
    format: str
    usable_band_hz: tuple[float, float]


@dataclass(frozen=True)
class Level:
    """Broadband level taken out of every other difference."""

    gain_db: float
    interval: tuple[float, float]
    method: str


@dataclass(frozen=True)
class Measured:
    """One aspect: both measurements and their difference (dataclasses of the analyzer)."""

    aspect: str
    reference: Any
    candidate: Any
    difference: Any


@dataclass(frozen=True)
class Results:
    """All results of one comparison.

    Attributes
    ----------
    reference, candidate : Source
    alignment : Alignment
    level : Level or None
        None where the recordings are unrelated.
    measurements : mapping of str to Measured
        By aspect, in the order of the analyzers; empty where the recordings are unrelated.
    findings : tuple of Finding
        Ranked.
    verdict : str
        One sentence.
    warnings : tuple of str
    settings : mapping
        What was asked for, so that the comparison can be repeated.
    """

    reference: Source
    candidate: Source
    alignment: Alignment
    level: Level | None
    measurements: Mapping[str, Measured]
    findings: tuple[Finding, ...]
    verdict: str
    warnings: tuple[str, ...]
    settings: Mapping[str, Any] = field(default_factory=dict)
