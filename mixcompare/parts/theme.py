"""How what stands elsewhere stands against the part that leads while it plays."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.elements.change import Change
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.knowledge.written import dynamics_named
from mixcompare.parts.changed import doubles
from mixcompare.parts.course import bars_of
from mixcompare.parts.heard import is_open
from mixcompare.parts.leading import leading_part
from mixcompare.parts.values import PartLevel, Theme

FloatArray = npt.NDArray[np.float64]
Span = tuple[float, float]

_PASSAGE_S = 4.0  # in which one part leads; our choice
_SOUNDS = 0.1  # of its loudest passage's energy; our choice
_MOST = 0.5  # of the element's time: one part must lead in more; our choice
_SAME_NOTES = 0.6
_MOST_NOTES_PERCENT = (10, 90)


def theme_of(
    members: Sequence[int],
    change: Change,
    times_s: FloatArray,
    bars: Bars | None,
    parts: Sequence[PartNotes],
    levels: Sequence[PartLevel],
) -> Theme | None:
    """Who leads while an element plays; None where no one does for most of its time.

    Parameters
    ----------
    members : sequence of int
        Places of the parts that play the element.
    change : Change
        The element.
    times_s : ndarray, shape (n,)
        Of its cells.
    bars : Bars or None
        On the same clock.
    parts : sequence of PartNotes
        The score.
    levels : sequence of PartLevel
        Of all parts, against what did not change.
    """
    if not members or is_open(change.interval):
        return None
    spans_s = _passages(change.energy.sum(axis=1), times_s, bars)
    length_s: dict[int, float] = {}
    for span_s in spans_s:
        place = leading_part(parts, span_s)
        if place is not None:
            length_s[place] = length_s.get(place, 0.0) + span_s[1] - span_s[0]
    lead = max(length_s, key=lambda place: length_s[place], default=None)
    if lead is None or length_s[lead] <= _MOST * sum(end - start for start, end in spans_s):
        return None
    alike = doubles(parts, _SAME_NOTES)
    own = any(lead == one or alike[lead, one] or alike[one, lead] for one in members)
    level_db, interval = _against(change, levels[lead])
    marks = {written_in(parts[one], spans_s) for one in members}
    return Theme(
        name=parts[lead].name,
        is_own=own,
        level_db=level_db,
        level_db_interval=interval,
        written=written_in(parts[lead], spans_s),
        players_written=marks.pop() if len(marks) == 1 else None,
    )


def written_in(part: PartNotes, spans_s: Sequence[Span] | None = None) -> str | None:
    """The written dynamics of most of what a part plays in some spans, or throughout."""
    if not part.is_marked:
        return None
    inside = np.ones(len(part.notes), bool)
    if spans_s is not None:
        onset_s = part.notes[:, 0]
        inside = np.any([(onset_s >= start) & (onset_s < end) for start, end in spans_s], axis=0)
    if not inside.any():
        return None
    low, high = np.percentile(part.notes[inside, 3], _MOST_NOTES_PERCENT)
    return dynamics_named(low, high)


def _passages(power: FloatArray, times_s: FloatArray, bars: Bars | None) -> list[Span]:
    """Some bars each, in which the element sounds."""
    windows = bars_of(times_s, bars, _PASSAGE_S)
    energy = np.array(
        [power[(times_s >= one.start_s) & (times_s < one.end_s)].sum() for one in windows]
    )
    sounds = energy > _SOUNDS * energy.max(initial=0.0)
    return [(one.start_s, one.end_s) for one, there in zip(windows, sounds, strict=True) if there]


def _against(change: Change, lead: PartLevel) -> tuple[float | None, Span | None]:
    """The element's level against the leading part's."""
    if lead.level_db is None or lead.level_db_interval is None:
        return None, None
    level_db = change.difference_db - lead.level_db
    below = np.hypot(
        change.difference_db - change.interval[0], lead.level_db_interval[1] - lead.level_db
    )
    above = np.hypot(
        change.interval[1] - change.difference_db, lead.level_db - lead.level_db_interval[0]
    )
    return level_db, (float(level_db - below), float(level_db + above))
