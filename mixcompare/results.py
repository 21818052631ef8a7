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

_ONSET_WITHIN_S = 0.1  # of a bar line: as nearly as an onset and a score's bar are known together


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
    untold : tuple of str
        The same in detail: why, where there are several reasons.
    stems : Stems or None
        Where stems were given.
    bar_starts : tuple of (s, number)
        Where the score's bars begin, as printed; empty without one.
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
    untold: tuple[str, ...] = ()
    stems: Stems | None = None
    bar_starts: tuple[tuple[float, int], ...] = ()
    settings: Mapping[str, Any] = field(default_factory=dict)

    @property
    def tuning_cents(self) -> float:
        """As the aspect measured it; what the alignment took for it, where that can't tell."""
        measured = self.measurements.get("tuning")
        found = measured.difference.tuning_cents if measured is not None else None
        return float(self.alignment.tuning_cents if found is None else found)

    def bar_at(self, time_s: float) -> int | None:
        """Number of the bar that a note begins in, if a score tells it.

        A note's onset is read to some hundredths of a second: one right before a bar line is of
        the bar after it.
        """
        begun = [number for start, number in self.bar_starts if start <= time_s + _ONSET_WITHIN_S]
        return begun[-1] if begun else None

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
        bars = tuple((start + first, number) for start, number in self.bar_starts)
        return replace(self, alignment=alignment, findings=findings, stems=stems, bar_starts=bars)
