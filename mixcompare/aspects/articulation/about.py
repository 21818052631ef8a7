"""What the aspect says of itself."""

from __future__ import annotations

from mixcompare.findings.description import Description
from mixcompare.findings.folding import (
    Rule,
    always,
    aspect,
    kinds,
    less_sound,
    overlapping,
    same_direction,
)
from mixcompare.findings.noticeable import JustNoticeable
from mixcompare.units import POINTS

SHARE_HELD = JustNoticeable(
    "articulation",
    0.08,
    "",
    "about 10 % of a tone's duration (Friberg and Sundberg 1994, from memory)",
    factor=100.0,
    read_as=POINTS,
    of="of the notes' length",
)

ABOUT = Description(
    title="Articulation",
    meaning="How much of the time between two onsets, or up to a written rest, a note sounds: above"
    " 90 % is legato or tenuto, 75 to 90 % portato, 50 to 75 % detached, 30 to 50 % staccato; above"
    " 100 % it still sounds when the next begins. The first table speaks of the voice that is"
    " drawn, the last one of every voice.",
    method="Level of single notes against time, from their onset to the next, with the decay of the"
    " room told apart where it can be.",
    noticeable=(SHARE_HELD,),
    explains=(
        # Notes cut short change levels over time and the apparent room.
        Rule(kinds("notes_more_detached"), kinds("drier", "dynamics_larger"), always),
        Rule(kinds("notes_more_connected"), kinds("wetter", "dynamics_smaller"), always),
        Rule(aspect("articulation"), kinds("passage_softer", "passage_louder"), less_sound),
        Rule(aspect("articulation"), aspect("balance"), overlapping),
        # Notes that end sooner hold less sound, and less of it high up: 2.2 dB above 2.8 kHz where
        # the theme of the sample score is detached.
        Rule(aspect("articulation"), aspect("tone"), same_direction),
    ),
    figure="mixcompare.plots.articulation:draw",
    key=("ratio",),
)
