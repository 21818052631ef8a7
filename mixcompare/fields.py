"""What becomes of a reported value when reference and candidate are exchanged.

Every field of a difference carries one of these as its metadata, beside anything else
(``NOT_IN_REPORT | SIGNED``), and every analyzer is held to them by one test. ``NAME_interval``
goes as ``NAME`` does, its ends exchanged where the value turns round; texts say nothing of it.
"""

from __future__ import annotations

from typing import Any

Metadata = dict[str, Any]

SIGNED: Metadata = {"mirror": "signed"}
"""x becomes -x."""

RATIO: Metadata = {"mirror": "ratio"}
"""x becomes 1/x."""

PERCENT: Metadata = {"mirror": "percent"}
"""A ratio told as 100 (ratio - 1)."""

KEPT: Metadata = {"mirror": "kept"}
"""The same either way."""

PAIR: Metadata = {"mirror": "pair"}
"""(of the reference, of the candidate): changes ends."""

MOMENT: Metadata = {"mirror": "moment"}
"""Seconds on the reference's clock, which is then the candidate's."""

PITCH: Metadata = {"mirror": "pitch"}
"""Pitch or range of the reference: with another key, the candidate's."""

INVERSE: Metadata = {"mirror": "inverse"}
"""The time map."""

OF_REFERENCE: Metadata = {"mirror": "of_reference"}
"""Of a place or level of the reference's own; exchanged, it is another of the other's."""

WITH_GAIN: Metadata = {"with_gain": True}
"""The overall gain is left in."""


def exchanged_with(partner: str) -> Metadata:
    """The value of one side: becomes that of the field which holds the other side's."""
    return {"mirror": "exchanged", "partner": partner}


def moved_by(change: str) -> Metadata:
    """The reference's value: becomes the candidate's, which lies further by another field."""
    return {"mirror": "moved", "change": change}


def scaled_by(factor: str) -> Metadata:
    """Told in the candidate's image: exchanged, it is divided by this field's factor as well."""
    return {"scale": factor}


def along(times: str) -> Metadata:
    """One value for each moment of another field."""
    return {"along": times}


def within(tolerance: float) -> Metadata:
    """How nearly, in the field's unit (frequencies in octaves), where the method prefers a side."""
    return {"tolerance": tolerance}


def stretched(tolerance: float) -> Metadata:
    """How nearly where one clock runs slower: frames and grids are the reference's then."""
    return {"stretched": tolerance}
