"""Manners of playing, by the share of its time that a note sounds."""

from __future__ import annotations

MANNERS = (
    (0.9, "legato or tenuto"),  # a room hides what lies between
    (0.75, "portato"),
    (0.5, "detached"),
    (0.3, "staccato"),
    (0.0, "staccatissimo"),
)
"""Least share, and its plain word, longest first.

Staccato about 0.4, legato overlapping (Bresin and Battel 2000); the edges between the words are
common practice, no source.
"""


def manner_of(share: float) -> str:
    """Plain word for a share held, as it is shown: in whole per cent."""
    shown = round(share, 2)
    return next((word for least, word in MANNERS if shown >= least), MANNERS[-1][1])
