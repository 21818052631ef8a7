"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import Rule, aspect, kinds, overlapping
from mixcompare.findings.noticeable import JustNoticeable

PLACE = JustNoticeable(
    "placement",
    0.1,
    "",
    "3 degrees of +-30 degrees between loudspeakers (common practice, no source)",
)

ABOUT = Description(
    title="Placement",
    meaning="Where the sound lies between left (\N{MINUS SIGN}1) and right (+1).",
    method="Level difference between the channels per band, where something sounds.",
    noticeable=(PLACE,),
    explains=(
        # So does a move to one side.
        Rule(kinds("moved_left", "moved_right"), aspect("balance"), overlapping),
    ),
    figure="mixcompare.plots.stereo:draw_placement",
)
