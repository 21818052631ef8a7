"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import (
    ANY_SIZE,
    Rule,
    always,
    aspect,
    kinds,
    mostly_then,
    overlapping_or_partials,
    reaches,
)
from mixcompare.findings.noticeable import JustNoticeable

LEVEL = JustNoticeable(
    "balance",
    1.0,
    "dB",
    "ISO 3382-1:2009 Table A.1 (1 dB of level); 1-2 dB in a mix, common practice",
)

THEMES = ("theme_covered", "theme_uncovered")
"""Kinds of findings of a leading line that only one recording lets through."""

ELEMENTS = aspect("balance", but=THEMES)
"""What stands elsewhere itself: that a theme is covered is an effect, and explains nothing."""

ABOUT = Description(
    title="Balance",
    meaning="How loud elements and registers stand against the rest while they play. Steady"
    " differences of tone belong to the next heading.",
    method="Levels of both recordings on one clock, in bands and moments where both sound; what is"
    " present all the time is tone, what comes and goes with an element is balance.",
    noticeable=(LEVEL,),
    explains=(
        # An element's level changes tone, dynamics, image and width where it lies.
        Rule(
            ELEMENTS,
            aspect("tone"),
            overlapping_or_partials,
        ),
        # A part that stands elsewhere covers a theme, or is the theme that is covered.
        Rule(ELEMENTS, kinds(*THEMES), mostly_then, ANY_SIZE),
        Rule(ELEMENTS, aspect("dynamics"), always),
        Rule(ELEMENTS, kinds("moved_left", "moved_right", "wider", "narrower"), reaches),
    ),
    figure="mixcompare.plots.balance:draw",
    article="the ",
    over_time=True,
    key=("blend",),
    after=("loudness",),
)
