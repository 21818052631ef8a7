"""What stems say of a pair."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

Interval = tuple[float, float]

LEAST_DB = 0.5
"""A smaller trim is not due: half the just-noticeable difference of balance."""


@dataclass(frozen=True)
class Place:
    """A span with a trim of its own.

    Attributes
    ----------
    span_s : tuple of float
        On the reference's clock.
    candidate_span_s : tuple of float
        On the candidate's.
    trim_db : float
        What to add there, instead of the stem's own trim.
    interval : tuple of float
        95 %.
    """

    span_s: Interval
    candidate_span_s: Interval
    trim_db: float
    interval: Interval


@dataclass(frozen=True)
class Stem:
    """One stem of the candidate.

    Attributes
    ----------
    name : str
        From its file.
    share_percent : float or None
        Of the mix's energy, as it sounds in the mix.
    trim_db : float or None
        What to add to it to come nearest to the reference's balance; None where that can't be told.
    interval : tuple of float or None
        Of the trim, 95 %.
    delay_ms, delay_interval : float and tuple of float, or None
        How much later it sounds in the mix than in its file.
    is_inverted : bool
        Whether its polarity is turned round in the mix.
    confused_with : tuple of str
        Stems that it can't be told apart from.
    reason : str or None
        Why no trim is told.
    compared_with : str or None
        Stem of the reference that its level was compared with; None: told from the mixes.
    places : tuple of Place
        Where the trim is another one; ``trim_db`` then is that of the rest.
    before_array_ms, before_array_interval : float and tuple of float, or None
        How much earlier than the main array it hears its section; None where that can't be told,
        or there is no array.
    """

    name: str
    share_percent: float | None
    trim_db: float | None
    interval: Interval | None
    delay_ms: float | None
    delay_interval: Interval | None
    is_inverted: bool = False
    confused_with: tuple[str, ...] = ()
    reason: str | None = None
    compared_with: str | None = None
    places: tuple[Place, ...] = ()
    before_array_ms: float | None = None
    before_array_interval: Interval | None = None

    @property
    def due_db(self) -> float:
        """The trim where it is due, else 0."""
        return self.trim_db if self.is_due and self.trim_db is not None else 0.0

    @property
    def most_db(self) -> float:
        """The largest size that is due anywhere."""
        return max(abs(self.due_db), *(abs(place.trim_db) for place in self.places), 0.0)

    @property
    def is_due(self) -> bool:
        """Whether the trim is surely not nothing, and worth a hand on the fader."""
        if self.trim_db is None or self.interval is None or abs(self.trim_db) < LEAST_DB:
            return False
        return not self.interval[0] <= 0 <= self.interval[1]


def _later(span_s: Interval, by_s: float) -> Interval:
    return span_s[0] + by_s, span_s[1] + by_s


def due_course(stem: Stem, times_s: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """The trims that are due at moments of the candidate, in dB."""
    out = np.full(len(times_s), stem.due_db)
    for place in stem.places:
        start, end = place.candidate_span_s
        out[(times_s >= start) & (times_s < end)] = place.trim_db
    return out


@dataclass(frozen=True)
class Preview:
    """The candidate with the trims, compared again.

    Attributes
    ----------
    lowered_db : float
        By how much it was lowered to stay under -1 dBTP.
    level_db : float
        Its level against the reference, as the candidate's is matched.
    before, after : str
        Verdict on the candidate, and on the preview.
    largest_before, largest_after : float
        The largest finding of balance, in just-noticeable differences; 0 without one.
    left : tuple of str
        What still sticks out, as in the list.
    """

    lowered_db: float
    level_db: float
    before: str
    after: str
    largest_before: float
    largest_after: float
    left: tuple[str, ...] = ()

    @property
    def is_worse(self) -> bool:
        """Whether more of the balance sticks out with the trims than without."""
        return self.largest_after > self.largest_before


@dataclass(frozen=True)
class Stems:
    """All stems, and whether they add up.

    Attributes
    ----------
    stems : tuple of Stem
    explained_share : float
        Of the mix's energy; the rest is the hall, or in no stem.
    notes : tuple of str
        What does not add up, in plain sentences.
    array : str or None
        Name of the main array, where spots were heard to be earlier than it.
    preview : Preview or None
        None where no trim is due.
    """

    stems: tuple[Stem, ...]
    explained_share: float
    notes: tuple[str, ...] = ()
    array: str | None = None
    preview: Preview | None = None

    @property
    def due(self) -> tuple[Stem, ...]:
        """Stems whose trims are due, somewhere or everywhere, the largest first."""
        due = (one for one in self.stems if one.is_due or one.places)
        return tuple(sorted(due, key=lambda one: -one.most_db))

    @property
    def in_order(self) -> tuple[Stem, ...]:
        """All of them as they are shown: those that are due first, the others as the files are."""
        return self.due + tuple(one for one in self.stems if not (one.is_due or one.places))

    def moved(self, reference_by_s: float, candidate_by_s: float) -> Stems:
        """The same with places on clocks that read so much more."""
        return replace(
            self,
            stems=tuple(
                replace(
                    stem,
                    places=tuple(
                        replace(
                            one,
                            span_s=_later(one.span_s, reference_by_s),
                            candidate_span_s=_later(one.candidate_span_s, candidate_by_s),
                        )
                        for one in stem.places
                    ),
                )
                for stem in self.stems
            ),
        )

    @property
    def told(self) -> int:
        """How many stems could be judged."""
        return sum(one.trim_db is not None for one in self.stems)
