"""Who plays an element that was found without the score."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.change import Change, overlap
from mixcompare.elements.describe import Description
from mixcompare.knowledge.notes import PartNotes, where_played
from mixcompare.parts.changed import Moved, named_sets
from mixcompare.parts.fit import CELLS_PER_NOTE, Cells, Fitted
from mixcompare.parts.values import Players

FloatArray = npt.NDArray[np.float64]
Named = tuple[tuple[int, ...], str | None, Change]
"""Who plays an element (by their places), the family that they are, and the element."""

_SAME_CELLS, _ALONE_WITHIN = 0.38, 0.03
"""Cosine of an element's cells and a part's, and by how much a set must be better than one part:
of 20 changed sections the true one has .42 and more."""
_AS_GOOD = 0.08
"""Of the cosine, by which another part may be worse and be named too: of 18 changes in some bars
(three movements) the true part comes second five times, three times by less than this."""
_FRAMES, _SOUNDS = 9, 0.05  # a second; of the element's loud moments
_ITS_OWN, _FEWEST = 0.5, round(CELLS_PER_NOTE)
"""Share of a cell from which it is a part's own, and of how many it is asked at least."""
_GOES_ALONG, _SEEN_TO = 0.3, 0.3
"""Share of its own cells that an element has, the median, below which a part does not play it; and
by how much of an element's size the fit has to see it move to be believed all the same. Of 62
changes of a section in one take (three movements; throughout, in some bars, under another tail) 57
are named so and one wrongly, 58 and three without this. Where the score lacks the section three get
another's name, most of them one that doubles it, and 53 without this."""


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
        The element's, as a part of the reference's cells. Only its own moments are asked.
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
    own = energy[:, there] / np.maximum(cells.reference[:, there], 1e-30)

    def alike(members: Sequence[int]) -> float:
        theirs = fitted.shares[list(members)][..., there].sum(axis=0) * cells.reference[:, there]
        return overlap(energy[:, there], theirs)

    heard = cells.heard[:, there]
    stay = {
        part
        for part, share in enumerate(fitted.shares[..., there])
        if _stays(own[heard], share[heard])
    }
    sets = [
        (one.parts, one.name)
        for one in moved
        if one.level_db * difference_db > 0
        and (not stay.issuperset(one.parts) or one.level_db / difference_db > _SEEN_TO)
    ]
    likeness = [alike(members) for members, _ in sets]
    if likeness and max(likeness) > _SAME_CELLS:
        return sets[int(np.argmax(likeness))]
    tried = [one for one in named_sets(parts) if not stay & set(one[0])]
    likeness = [alike(members) - _ALONE_WITHIN * (len(members) > 1) for members, _ in tried]
    if max(likeness, default=0.0) <= _SAME_CELLS:
        return (), None
    best = int(np.argmax(likeness))
    members, name = tried[best]
    if len(members) == 1:
        near = likeness[best] - _AS_GOOD
        alone = [part for part in range(len(parts)) if part not in stay and alike([part]) > near]
        members = tuple(sorted({*members, *alone}))
    return members, name


def _stays(own: FloatArray, share: FloatArray) -> bool:
    """Whether a part stays while an element moves, by how much of its own cells is the element's.

    Where it has hardly any, those in which it has most are asked.
    """
    least = np.partition(share, -_FEWEST)[-_FEWEST] if len(share) > _FEWEST else 0.0
    theirs = own[share >= min(least, _ITS_OWN)]
    return len(theirs) > 0 and float(np.median(theirs)) < _GOES_ALONG


def each_once(named: Sequence[Named]) -> list[Named]:
    """The same, with what the same players do the same way as one element."""
    out: dict[tuple[object, ...], Named] = {}
    for place, (members, family, change) in enumerate(named):
        # Of what nobody is known to play, two are two.
        key = (members or place, change.difference_db > 0)
        if key in out:
            before = out[key][2]
            edges = (*before.interval, *change.interval)
            energy = np.maximum(before.energy, change.energy)
            change = replace(before, interval=(min(edges), max(edges)), energy=energy)
        out[key] = members, family, change
    return list(out.values())
