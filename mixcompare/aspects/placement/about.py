"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import Rule, always, aspect, kinds, overlapping
from mixcompare.findings.noticeable import JustNoticeable

PLACE = JustNoticeable(
    "placement",
    0.1,
    "",
    "3 degrees of +-30 degrees between loudspeakers (common practice, no source)",
)
DELAY = JustNoticeable(
    "time between channels",
    100.0,
    "\N{MICRO SIGN}s",
    "10-20 us in the laboratory (Klumpp and Eady 1956, from memory); 100 us in music, proposal",
    factor=1e-3,
    read_as="ms",
    read_decimals=2,
)

ABOUT = Description(
    title="Placement",
    meaning="Where the sound lies between left (\N{MINUS SIGN}1) and right (+1).",
    method="Level difference between the channels per band, where something sounds.",
    noticeable=(PLACE, DELAY),
    explains=(
        # So does a move to one side.
        Rule(kinds("moved_left", "moved_right"), aspect("balance"), overlapping),
        # A channel that comes late turns and widens the image, by another amount in every band;
        # levels are sums of both channels' powers and stay.
        Rule(kinds("right_later", "left_later"), aspect("width"), always),
        Rule(kinds("right_later", "left_later"), aspect("placement"), always),
    ),
    figure="mixcompare.plots.stereo:draw_placement",
    key=("overall_position",),
    after=("balance",),
)
