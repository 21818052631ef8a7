"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import Rule, aspect, kinds, overlapping
from mixcompare.findings.noticeable import JustNoticeable

TONE = JustNoticeable(
    "tone",
    1.5,
    "dB",
    "1-2 dB for broad changes (Buecklein 1981, from memory); 1.5 dB is our proposal",
)
TILT = JustNoticeable(
    "tone_tilt",
    0.2,
    "dB/octave",
    "our proposal: about 1.4 dB from end to end over seven octaves",
)

NOISE = JustNoticeable(
    "noise",
    3.0,
    "dB",
    "our proposal: as much noise again as the quiet moments have of sound",
)

ABOUT = Description(
    title="Tone",
    meaning="The steady spectral difference, whatever plays: the mix, the room, or the"
    " microphones.",
    method="Third-octave bands with the mid-band frequencies of IEC 61260-1:2014; per band the"
    " value on which most moments agree.",
    noticeable=(
        TONE,
        TILT,
        NOISE,
    ),
    explains=(
        # A broad change of tone moves registers against each other; noise does not.
        Rule(
            kinds(
                "tone_brighter",
                "tone_darker",
                "tone_band_louder",
                "tone_band_weaker",
                "low_cut_added",
                "low_cut_removed",
                "high_cut_added",
                "high_cut_removed",
            ),
            aspect("balance"),
            overlapping,
        ),
    ),
    figure="mixcompare.plots.tone:draw",
    after=("balance",),
    key=("tilt_db_per_octave",),
)
