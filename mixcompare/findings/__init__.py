"""What sticks out: a finding, its size in just-noticeable differences, its rank and its words."""

from mixcompare.findings.description import Description
from mixcompare.findings.finding import Cause, Excerpts, Finding, Foretold, Span
from mixcompare.findings.noticeable import JustNoticeable
from mixcompare.findings.ranking import LEAST_CONFIDENCE, is_listed, ranked, salience, size_in_jnd
from mixcompare.findings.words import (
    bars_named,
    between,
    chance,
    clock,
    counted,
    joined_spans,
    listed,
    moment,
    of_a_hundred,
    parts_named,
    places,
    signed,
    steps_of_dynamics,
)

__all__ = [
    "LEAST_CONFIDENCE",
    "Cause",
    "Description",
    "Excerpts",
    "Finding",
    "Foretold",
    "JustNoticeable",
    "Span",
    "bars_named",
    "between",
    "chance",
    "clock",
    "counted",
    "is_listed",
    "joined_spans",
    "listed",
    "moment",
    "of_a_hundred",
    "parts_named",
    "places",
    "ranked",
    "salience",
    "signed",
    "size_in_jnd",
    "steps_of_dynamics",
]
