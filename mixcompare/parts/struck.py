"""Which elements, found without the score, are what strokes without a pitch sound like."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from functools import reduce

import numpy as np
import numpy.typing as npt

from mixcompare.elements.change import Change, overlap
from mixcompare.parts.values import PartLevel, Players

FloatArray = npt.NDArray[np.float64]

_SAME_CELLS = 0.38  # cosine, as for elements (mixcompare.parts.players)
_WHEN_STRUCK = 0.2
"""By how much more of an element's energy lies in the half seconds after strokes than these are of
the time, as a share of the rest: .4 to .9 where it is theirs, up to .1 where it is others' (three
movements)."""


def with_strokes(
    changes: Sequence[tuple[Change, Players]], part: PartLevel, own: FloatArray, new: Change | None
) -> list[tuple[Change, Players]]:
    """Elements, with an instrument's strokes as one of them; what was found of these is told once.

    Where they are none of their own, an element that is theirs gets their name.
    """
    theirs = [_is_of(change, players, part, own) for change, players in changes]
    if new is None:
        return [
            (change, Players((part.name,)) if same and not players.names else players)
            for (change, players), same in zip(changes, theirs, strict=True)
        ]
    kept = [one for one, same in zip(changes, theirs, strict=True) if not same]
    # What was found of them rings on.
    found = (one[0].energy for one, same in zip(changes, theirs, strict=True) if same)
    energy = reduce(np.maximum, found, new.energy)
    return [*kept, (replace(new, energy=energy), Players((part.name,)))]


def _is_of(change: Change, players: Players, part: PartLevel, own: FloatArray) -> bool:
    """Whether an element that was found without the score is what some strokes sound like.

    They lie in the same cells; or it is nobody's, moved alike, and sounds when they do.
    """
    if change.difference_db * (part.level_db or change.difference_db) < 0:
        return False
    if overlap(change.energy, own) > _SAME_CELLS:
        return True
    if part.level_db_interval is None or players.names:
        return False
    low, high = part.level_db_interval
    alike = change.interval[0] <= high and low <= change.interval[1]
    struck = own.any(axis=1)
    within = float(change.energy[struck].sum()) / max(float(change.energy.sum()), 1e-30)
    chance = float(struck.mean())
    return alike and within > chance + _WHEN_STRUCK * (1 - chance)
