"""Written parts that lie elsewhere in one take, and that no element told."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from mixcompare.aspects.placement.values import MovedElement
from mixcompare.elements.panned import LEAST_MOVE
from mixcompare.findings import Span, parts_named
from mixcompare.knowledge.notes import PartNotes, where_played
from mixcompare.parts.values import PartLevel
from mixcompare.standards.iec61260 import pitch_hz

_PARTIALS = 4.0  # up to which most of a part's sound reaches; our choice


def moved_parts(
    parts: Sequence[PartLevel],
    written: Sequence[PartNotes],
    told: Collection[str],
    span_s: Span,
) -> tuple[MovedElement, ...]:
    """Parts whose move is surely larger than one that an element would need.

    Parameters
    ----------
    parts : sequence of PartLevel
        With their places, in one take under one tail.
    written : sequence of PartNotes
        Their notes.
    told : collection of str
        Parts that elements were named by.
    span_s : tuple of float
        What both recordings have in common.
    """
    notes = {part.name: part for part in written}
    free = (part for part in parts if part.name in notes and part.name not in told)
    found = (_moved(part, notes[part.name], span_s) for part in free)
    return tuple(one for one in found if one is not None)


def _moved(part: PartLevel, written: PartNotes, span_s: Span) -> MovedElement | None:
    """One part; None where it did not surely move, or its level can't be told."""
    around, level, heard = part.position_interval, part.level_db, part.level_db_interval
    start, end, move = part.reference_position, part.candidate_position, part.position
    if around is None or level is None or heard is None:
        return None
    if start is None or end is None or move is None:
        return None
    if around[0] * around[1] <= 0 or min(map(abs, around)) < LEAST_MOVE:
        return None
    pitches = written.notes[:, 2]
    return MovedElement(
        name=parts_named((part.name,)),
        band_hz=(float(pitch_hz(pitches.min())), float(_PARTIALS * pitch_hz(pitches.max()))),
        spans_s=where_played([written], [span_s]),
        reference_position=start,
        candidate_position=end,
        position=move,
        position_interval=around,
        level_db=0.0 if heard[0] <= 0 <= heard[1] else level,
        players=(part.name,),
    )
