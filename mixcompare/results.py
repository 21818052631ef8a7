"""Everything a comparison found, as plain data: what plots, page and report file are made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

from mixcompare.alignment.result import Alignment, moved
from mixcompare.findings import Description, Finding
from mixcompare.findings.detectable import Detectable

if TYPE_CHECKING:
    from mixcompare.stems.values import Stems


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
    """One aspect: both measurements, their difference, and what the aspect says of itself."""

    aspect: str
    reference: Any
    candidate: Any
    difference: Any
    about: Description


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
        What sticks out first, with the doubt whether they are comparable.
    warnings : tuple of str
    detectable : tuple of Detectable
        The smallest changes that would have been listed.
    unseen : str
        What could not have been found, in sentences: those changes, where they are larger than is
        usual, and whose notes could not be followed; else empty.
    stems : Stems or None
        Where stems were given.
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
    detectable: tuple[Detectable, ...] = ()
    unseen: str = ""
    stems: Stems | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)

    def on_file_clocks(self) -> Results:
        """Times of alignment, findings and stems from the start of the files, not of the spans.

        While spans are compared, times count from their starts; a person or a program that
        reads the report looks them up in the whole files.
        """
        first, second = self.reference.span_s[0], self.candidate.span_s[0]
        if first == 0 and second == 0:
            return self
        time_map = self.alignment.time_map.moved(first, second)
        alignment = replace(
            self.alignment,
            time_map=time_map,
            offset_s=float(time_map.to_candidate(0.0)),
            events=tuple(one.moved(first, second) for one in self.alignment.events),
            places=tuple(one.moved(first, second) for one in self.alignment.places),
        )
        findings = tuple(
            replace(
                finding,
                spans_s=tuple(moved(span, first) for span in finding.spans_s),
                candidate_spans_s=tuple(moved(span, second) for span in finding.candidate_spans_s),
            )
            for finding in self.findings
        )
        stems = self.stems and self.stems.moved(first, second)
        return replace(self, alignment=alignment, findings=findings, stems=stems)
