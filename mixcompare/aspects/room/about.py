"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import (
    ANY_SIZE,
    Rule,
    always,
    aspect,
    foretold_moments,
    foretold_tone,
    kinds,
    not_foretold,
    same_direction,
)
from mixcompare.findings.noticeable import JustNoticeable

DECAY = JustNoticeable(
    "decay",
    20.0,
    "%",
    "about 20-25 % in music-like signals (Blevins et al. 2013, from memory)",
    read_as="%",
)
WETNESS = JustNoticeable(
    "wetness",
    1.5,
    "dB",
    "clarity: 1 dB (ISO 3382-1 Table A.1), 1.5 dB in running music (proposal)",
)
GAPS = JustNoticeable(
    "reverberation in gaps",
    1.0,
    "dB",
    "1 dB of level (ISO 3382-1:2009 Table A.1), where the music leaves it free (proposal)",
)

ABOUT = Description(
    title="Room",
    meaning="How long the sound hangs on, and how much of it there is beside the direct sound.",
    method="Decays that the music leaves free, and how much reverberation must be added to one"
    " recording to come to the other; decay times in the sense of ISO 3382-1. Two mixes of one"
    " take show the added tail itself: its level, pre-delay, decay and tone, from the response of"
    " one mix to the other. In running music much of this cannot be told, and is then left open.",
    noticeable=(
        DECAY,
        WETNESS,
        GAPS,
    ),
    explains=(
        # More reverberation: wider, denser, fuller between the notes; less: the contrary.
        Rule(kinds("wetter"), kinds("dynamics_smaller", "notes_more_connected"), always),
        Rule(kinds("drier"), kinds("dynamics_larger", "notes_more_detached"), always),
        # A diffuse tail 2 dB under the music widens its image by 6 to 8 dB.
        Rule(kinds("wetter"), kinds("wider"), always, margin=3.0),
        Rule(kinds("drier"), kinds("narrower"), always, margin=3.0),
        Rule(kinds("wetter", "drier"), kinds("decay_longer", "decay_shorter"), same_direction),
        # A tail that is known tells how far it moves bands and moments; else its size must do.
        Rule(kinds("wetter", "drier"), aspect("tone"), not_foretold),
        Rule(kinds("wetter", "drier"), aspect("balance"), not_foretold),
        Rule(kinds("wetter", "drier"), aspect("tone"), foretold_tone, ANY_SIZE),
        Rule(kinds("wetter", "drier"), aspect("balance"), foretold_moments, ANY_SIZE),
    ),
    figure="mixcompare.plots.room:draw",
    key=("wetness_db", "decay_time_at_most_s"),
    after=("width",),
)
