"""Who plays an element that was found without the score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.change import overlap
from mixcompare.elements.describe import Description
from mixcompare.knowledge.notes import PartNotes, where_played
from mixcompare.parts.changed import Moved, named_sets
from mixcompare.parts.fit import Cells, Fitted
from mixcompare.parts.values import Players

FloatArray = npt.NDArray[np.float64]

_SAME_CELLS, _ALONE_WITHIN = 0.38, 0.03
"""Cosine of an element's cells and a part's, and by how much a set must be better than one part:
of 20 changed sections the true one has .42 and more."""
_AS_GOOD = 0.08
"""Of the cosine, by which another part may be worse and be named too: of 18 changes in some bars
(three movements) the true part comes second five times, three times by less than this."""
_FRAMES, _SOUNDS = 9, 0.05  # a second; of the element's loud moments


def played_by(who: Players, found: Description, parts: Sequence[PartNotes]) -> Description:
    """What an element is, without where none of its players plays: that is others' sound."""
    playing = [part for part in parts if part.name in who.names]
    spans_s = where_played(playing, found.spans_s) if playing else ()
    return replace(found, spans_s=spans_s) if spans_s else found


def players_of(
    energy: FloatArray,
    difference_db: float,
    cells: Cells,
    fitted: Fitted,
    parts: Sequence[PartNotes],
    moved: Sequence[Moved],
) -> tuple[tuple[int, ...], str | None]:
    """Who plays an element: those that the fit sees move, or those in whose cells it lies.

    Parameters
    ----------
    energy : ndarray, shape (bands, n)
        The element's, on the fit's cells. Only its own moments are asked.
    difference_db : float
        How much louder it is in the candidate.
    cells : Cells
        The pair.
    fitted : Fitted
        What explains it as a whole.
    parts : sequence of PartNotes
        The score.
    moved : sequence of Moved
        What moved throughout.

    Returns
    -------
    tuple of int
        Places of the parts; none where that can't be told.
    str or None
        The family that they are.
    """
    power = ndimage.uniform_filter1d(energy.sum(axis=0), _FRAMES)
    there = power > _SOUNDS * np.percentile(power, 95)

    def alike(members: Sequence[int]) -> float:
        own = fitted.shares[list(members)][..., there].sum(axis=0) * cells.reference[:, there]
        return overlap(energy[:, there], own)

    sets = [(one.parts, one.name) for one in moved if one.level_db * difference_db > 0]
    likeness = [alike(members) for members, _ in sets]
    if likeness and max(likeness) > _SAME_CELLS:
        return sets[int(np.argmax(likeness))]
    tried = named_sets(parts)
    likeness = [alike(members) - _ALONE_WITHIN * (len(members) > 1) for members, _ in tried]
    best = int(np.argmax(likeness))
    if likeness[best] <= _SAME_CELLS:
        return (), None
    members, name = tried[best]
    if len(members) == 1:
        near = likeness[best] - _AS_GOOD
        alone = [part for part in range(len(parts)) if alike([part]) > near]
        members = tuple(sorted({*members, *alone}))
    return members, name
