"""Unpitched percussion in a score: which instrument a key means, and whose strokes are whose.

A part that is one instrument keeps its name. One that holds several, as a player's part or a drum
track does, is told instrument by instrument, for each has a sound and a level of its own.
"""

from __future__ import annotations

from collections.abc import Container, Iterable
from typing import NamedTuple

# Percussion key map of General MIDI level 1 (from memory): what sounds alike by one name.
_KINDS = {
    "bass drum": (35, 36),
    "snare drum": (38, 40),
    "side stick": (37,),
    "hand clap": (39,),
    "toms": (41, 43, 45, 47, 48, 50),
    "hi-hat": (42, 44, 46),
    "cymbal": (49, 51, 52, 53, 55, 57, 59),
    "tambourine": (54,),
    "cowbell": (56,),
    "bongos and congas": (60, 61, 62, 63, 64),
    "timbales": (65, 66),
    "agogo": (67, 68),
    "cabasa and maracas": (69, 70),
    "whistle": (71, 72),
    "guiro": (73, 74),
    "claves": (75,),
    "wood block": (76, 77),
    "triangle": (80, 81),
}
_BY_KEY = {key: kind for kind, keys in _KINDS.items() for key in keys}
UNKNOWN = -1
"""Key of a stroke of which the score does not say on what."""


class Stroke(NamedTuple):
    """A written note without a pitch; ``rolled`` where it is a tremolo and no single stroke."""

    part: str
    onset_s: float
    end_s: float
    key: int
    velocity: float
    rolled: bool


def by_instrument(
    strokes: Iterable[Stroke], pitched: Container[str]
) -> dict[str, list[tuple[float, float, float, bool]]]:
    """Onset, end, velocity and whether it is rolled of every instrument's strokes, in order.

    Parameters
    ----------
    strokes : iterable of Stroke
        Of all parts.
    pitched : container of str
        Names of the parts that have notes with a pitch.
    """
    kinds: dict[str, dict[str, list[Stroke]]] = {}
    for stroke in strokes:
        kind = _BY_KEY.get(stroke.key, "unpitched")
        kinds.setdefault(stroke.part, {}).setdefault(kind, []).append(stroke)
    out: dict[str, list[tuple[float, float, float, bool]]] = {}
    for part, found in kinds.items():
        one = any(kind in part.lower() for kind in _KINDS)
        if one:
            found = {next(iter(found)): [each for kind in found.values() for each in kind]}
        for kind, own in found.items():
            name = part if len(found) == 1 and part not in pitched else f"{part}: {kind}"
            out[name] = _each_once(own)
    return out


def _each_once(strokes: Iterable[Stroke]) -> list[tuple[float, float, float, bool]]:
    """In order; two players' strokes on one beat are one stroke, as loud as the louder."""
    ordered = sorted((one.onset_s, one.end_s, one.velocity, one.rolled) for one in strokes)
    return list({one[0]: one for one in ordered}.values())
