"""What all notes of a written part say together, beside what single ones do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from mixcompare.aspects.articulation.courses import average_ends
from mixcompare.aspects.articulation.stretch import during, on_average
from mixcompare.aspects.articulation.values import ArticulationDifference
from mixcompare.pair.notes import Note
from mixcompare.pair.pair import Pair

_NOT_BORNE_OUT = (
    "Some notes seem to end sooner or later than in the reference; on average they don't."
)


def with_average(
    found: ArticulationDifference, notes: Sequence[Note], pair: Pair, room_db: float
) -> ArticulationDifference:
    """What all notes of a written part say together: where single ones tell no change, or wrongly.

    One take has one way of playing, and there every single note tells.
    """
    if pair.same_take:
        return found
    told = found.stretch
    ends = average_ends(
        notes if told is None else during(notes, told.spans_s), pair.sounding, pair.note_frames_s
    )
    if ends is None:
        return found
    if told is not None:
        if ends.bears_out(told.sounding_ratio):
            return found
        return ArticulationDifference.untold(_NOT_BORNE_OUT, found.notes, found.notes_left_out)
    whole = on_average(ends, room_db)
    if whole is None:
        return found
    doubled = 2 * sum(note.doubled for note in ends.notes) > len(ends.notes)
    return replace(found.telling(whole), doubled=doubled)
