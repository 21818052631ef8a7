"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import Rule, is_speed, kinds
from mixcompare.findings.noticeable import JustNoticeable
from mixcompare.units import POINTS

TEMPO = JustNoticeable(
    "tempo",
    2.0,
    "%",
    "Drake and Botte 1993: 1.5-3 % for regular sequences",
)
MOMENT_OF_TEMPO = JustNoticeable(
    "tempo of one moment",
    6.0,
    "%",
    "change of a single interval (Drake and Botte 1993)",
    read_as="%",
)
FREEDOM = JustNoticeable(
    "freedom of tempo",
    3.0,
    "%",
    "slow change of tempo: 60 to 62 per minute (from memory)",
    read_as=POINTS,
)

ABOUT = Description(
    title="Tempo",
    meaning="How fast the same music goes by in each recording, as a whole and from place to"
    " place.",
    method="Slope of the time map between the recordings; onsets a minute where they can be"
    " counted.",
    noticeable=(
        TEMPO,
        MOMENT_OF_TEMPO,
        FREEDOM,
    ),
    explains=(
        # Playback at another speed changes pitch and tempo together.
        Rule(kinds("faster"), kinds("tuned_higher"), is_speed),
        Rule(kinds("slower"), kinds("tuned_lower"), is_speed),
    ),
    figure="mixcompare.plots.tempo:draw_tempo",
    key=("tempo_percent",),
)
