"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import (
    ANY_SIZE,
    Rule,
    always,
    aspect,
    kinds,
    stretches,
    then_and_so_much,
)
from mixcompare.findings.noticeable import JustNoticeable

LOUDNESS_RANGE = JustNoticeable(
    "loudness_range",
    2.0,
    "LU",
    "EBU Tech 3342 tolerance +-1 LU, doubled",
)
SWING = JustNoticeable(
    "dynamics",
    0.1,
    "dB/dB",
    "our proposal: 1 dB (ISO 3382-1 Table A.1) over a swing of 10 dB",
    factor=10.0,
    read_as="dB per 10 dB",
    read_decimals=1,
)
LEVEL_OF_THE_WHOLE = JustNoticeable(
    "level of the whole", 1.0, "dB", "ISO 3382-1:2009 Table A.1 (1 dB of level)"
)
PASSAGE = JustNoticeable(
    "level of a passage",
    2.0,
    "dB",
    "our proposal: half of a step of the written dynamics, 4 to 6 dB (common practice, no source)",
)
CLIPPED = JustNoticeable(
    "clipping",
    0.25,
    "%",
    "our proposal: tops cut off in one of four hundred frames of 40 ms",
    of="of the time",
)

_CLIPPING = kinds("clipping_added", "clipping_removed")

ABOUT = Description(
    title="Dynamics",
    meaning="How far the level swings, and how both recordings shape the same phrase.",
    method="Loudness against time of both on one clock; loudness range after EBU Tech 3342.",
    noticeable=(LOUDNESS_RANGE, SWING, LEVEL_OF_THE_WHOLE, PASSAGE, CLIPPED),
    explains=(
        # Cut tops level the swings, and what was mixed of mid and side is cut together.
        Rule(_CLIPPING, kinds("dynamics_smaller", "dynamics_larger"), always),
        Rule(_CLIPPING, aspect("width"), always),
        Rule(
            kinds("dynamics_smaller", "dynamics_larger"),
            kinds("decay_longer", "decay_shorter"),
            stretches,
            ANY_SIZE,
        ),
        # What plays in a passage that is louder as a whole is louder with it.
        Rule(
            kinds("passage_louder", "passage_softer"),
            aspect("balance"),
            then_and_so_much,
            ANY_SIZE,
        ),
    ),
    figure="mixcompare.plots.dynamics:draw",
    key=("loudness_range_lu", "crest_db"),
)
