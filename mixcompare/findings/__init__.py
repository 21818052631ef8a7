"""What sticks out: a finding, its size in just-noticeable differences, its rank and its words."""

from mixcompare.findings.finding import Cause, Excerpts, Finding, Span
from mixcompare.findings.noticeable import JUST_NOTICEABLE, JustNoticeable
from mixcompare.findings.ranking import LEAST_CONFIDENCE, is_listed, ranked, salience, size_in_jnd
from mixcompare.findings.words import amount, clock, joined_spans, places, signed

__all__ = [
    "JUST_NOTICEABLE",
    "LEAST_CONFIDENCE",
    "Cause",
    "Excerpts",
    "Finding",
    "JustNoticeable",
    "Span",
    "amount",
    "clock",
    "is_listed",
    "joined_spans",
    "places",
    "ranked",
    "salience",
    "signed",
    "size_in_jnd",
]
