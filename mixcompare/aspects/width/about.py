"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import Rule, always, aspect, kinds
from mixcompare.findings.noticeable import JustNoticeable

WIDTH = JustNoticeable(
    "width",
    1.5,
    "dB",
    "side to mid; equals 0.1 in correlation near 0.5 (Cox, Davies and Lam 1993)",
)
CORRELATION = JustNoticeable("correlation", 0.1, "", "Cox, Davies and Lam 1993")
NEAR_MONO = JustNoticeable(
    "correlation near one", 0.04, "", "Gabriel and Colburn 1981, JASA 69, 1394 (from memory)"
)

ABOUT = Description(
    title="Width",
    meaning="How much differs between left and right, in level (side against mid) and in likeness"
    " (correlation: 1 is mono).",
    method="Power of the sum and the difference of both channels, and their correlation, per band.",
    noticeable=(WIDTH, CORRELATION, NEAR_MONO),
    explains=(
        # Width changes what both channels add up to where there is much side.
        Rule(kinds("wider", "narrower"), aspect("balance"), always),
    ),
    figure="mixcompare.plots.stereo:draw_width",
    key=("side_to_mid_db",),
)
