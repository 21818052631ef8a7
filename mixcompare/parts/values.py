"""What a score says of a pair: how every written part stands, and who plays what stands out."""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare.elements.change import Change
from mixcompare.fields import (
    BARE,
    KEPT,
    MOMENT,
    NOT_IN_REPORT,
    OF_REFERENCE,
    SHARED,
    SIGNED,
    exchanged_with,
    labelled,
    of_several,
    stretched,
    within,
)

Interval = tuple[float, float]


@dataclass(frozen=True)
class Stretch:
    """A part's level in a few bars, against what did not change as a whole.

    Attributes
    ----------
    start_s, end_s : float
    bars : tuple of int or None
        First and last, as printed; None without bars.
    level_db : float
    """

    start_s: float = field(metadata=MOMENT | within(0.1) | stretched(0.7))
    end_s: float = field(metadata=MOMENT | within(0.1) | stretched(0.7))
    bars: tuple[int, int] | None = field(metadata=BARE | KEPT)
    level_db: float = field(metadata=SIGNED | within(1.0))


@dataclass(frozen=True)
class PartLevel:
    """How one written part stands against what did not change.

    Attributes
    ----------
    name : str
    level_db, level_db_interval : float and tuple of float, or None
        None where it is too covered to tell.
    together_with : tuple of str
        Parts that can't be told apart from it: then the level is none of its own.
    energy_share : float
        Of the reference's K-weighted energy.
    audible_share, candidate_audible_share : float
        Of the time it plays, the share in which the model of plain tones can follow it through the
        rest, in either recording: an ear hears more of it. Of parts that are followed for less than
        half of their time three in four are heard for longer, by the stems of 160 parts.
    covered_by : tuple of str
        Parts that lie over it, where it is followed in the candidate for less than half of its
        time.
    course : tuple of Stretch
        Its level over time, where it plays and can be told.
    written : str or None
        Its dynamics where it plays; None where none are written.
    reference_position, candidate_position, position, position_interval : float or None
        Where it sits, -1 left to +1 right, and by how much it moved; None where it dominates too
        little to tell.
    reason : str or None
        Why nothing is told.
    """

    name: str
    level_db: float | None = field(
        metadata=labelled("Against what did not change") | SIGNED | within(0.5)
    )
    level_db_interval: Interval | None = field(metadata=SIGNED | within(1.0))
    together_with: tuple[str, ...] = field(
        metadata=labelled("Can't be told apart from") | of_several("level_db") | BARE | KEPT
    )
    energy_share: float = field(metadata=SHARED | KEPT | within(0.1))
    audible_share: float = field(
        metadata=labelled("Followed, reference")
        | SHARED
        | exchanged_with("candidate_audible_share")
        | within(0.1)
    )
    candidate_audible_share: float = field(
        metadata=labelled("Followed, candidate")
        | SHARED
        | exchanged_with("audible_share")
        | within(0.1)
    )
    covered_by: tuple[str, ...] = field(default=(), metadata=BARE | OF_REFERENCE)
    course: tuple[Stretch, ...] = field(default=(), metadata=NOT_IN_REPORT)
    written: str | None = field(default=None, metadata=KEPT)
    reference_position: float | None = field(
        default=None,
        metadata=labelled("Place, reference")
        | BARE
        | exchanged_with("candidate_position")
        | within(0.1),
    )
    candidate_position: float | None = field(
        default=None,
        metadata=labelled("Place, candidate")
        | BARE
        | exchanged_with("reference_position")
        | within(0.1),
    )
    position: float | None = field(
        default=None, metadata=labelled("Place, difference") | BARE | SIGNED | within(0.1)
    )
    position_interval: Interval | None = field(default=None, metadata=SIGNED | within(0.1))
    reason: str | None = field(default=None, metadata=NOT_IN_REPORT | KEPT)

    @property
    def is_resolved(self) -> bool:
        """Whether the level is this part's own, and can be told."""
        return self.level_db is not None and not self.together_with


CLEAR, COVERED, OPEN = "clear", "covered", "can't tell"
"""How a leading line stands over the rest."""


@dataclass(frozen=True)
class Lead:
    """The line that leads in some bars, and how it stands over the rest in either recording.

    Attributes
    ----------
    name : str
        Of the part that leads.
    doubled_by : tuple of str
        Who plays its notes: what they are together is the line.
    bars : tuple of int or None
        First and last, as printed; None without bars.
    start_s, end_s : float
    reference, candidate : str
        ``clear``, ``covered`` or ``can't tell``.
    reference_db, candidate_db : float
        Its strongest bands against the threshold at which the rest covers them, at most moments.
    difference_db : float
    covered_in_reference_by, covered_in_candidate_by : tuple of str
        Who has most energy in its bands, where they lie under that threshold.
    """

    name: str = field(metadata=labelled("Leads"))
    doubled_by: tuple[str, ...] = field(metadata=BARE | KEPT)
    bars: tuple[int, int] | None = field(metadata=BARE | OF_REFERENCE)
    start_s: float = field(metadata=MOMENT | within(0.1) | stretched(0.7))
    end_s: float = field(metadata=MOMENT | within(0.1) | stretched(0.7))
    reference: str = field(metadata=labelled("In the reference"))
    candidate: str = field(metadata=labelled("In the candidate"))
    reference_db: float = field(
        metadata=labelled("Over the rest, reference") | exchanged_with("candidate_db") | within(1.0)
    )
    candidate_db: float = field(
        metadata=labelled("Over the rest, candidate") | exchanged_with("reference_db") | within(1.0)
    )
    difference_db: float = field(metadata=SIGNED | within(1.0))
    covered_in_reference_by: tuple[str, ...] = field(default=(), metadata=BARE)
    covered_in_candidate_by: tuple[str, ...] = field(default=(), metadata=BARE)

    @property
    def heard(self) -> tuple[bool | None, bool | None]:
        """Whether it is heard in reference and candidate; None where that can't be told."""
        told = {CLEAR: True, COVERED: False}
        return told.get(self.reference), told.get(self.candidate)


@dataclass(frozen=True)
class Place:
    """Where a part sits, -1 left to +1 right.

    Attributes
    ----------
    reference, candidate : float
    interval : tuple of float
        Of their difference.
    """

    reference: float
    candidate: float
    interval: Interval

    @property
    def difference(self) -> float:
        """Candidate minus reference."""
        return self.candidate - self.reference


@dataclass(frozen=True)
class Theme:
    """The part that leads while an element plays.

    Attributes
    ----------
    name : str
    is_own : bool
        Whether the element is it, or plays the same notes.
    level_db, level_db_interval : float and tuple of float, or None
        How much further forward the element stands against it, candidate minus reference; None
        where the leading part's level can't be told.
    written, players_written : str or None
        Its dynamics there, and those of the element's players where they have one.
    """

    name: str
    is_own: bool = field(metadata=BARE | KEPT)
    level_db: float | None = field(metadata=SIGNED | within(0.5))
    level_db_interval: Interval | None = field(metadata=SIGNED | within(1.0))
    written: str | None = field(default=None, metadata=KEPT)
    players_written: str | None = field(default=None, metadata=KEPT)


@dataclass(frozen=True)
class Players:
    """Who plays an element; no one where that can't be told.

    Attributes
    ----------
    names : tuple of str
        Of the parts.
    family : str or None
        What they are together.
    theme : Theme or None
        Who leads while they play.
    """

    names: tuple[str, ...] = field(default=(), metadata=BARE | KEPT)
    family: str | None = field(default=None, metadata=KEPT)
    theme: Theme | None = field(default=None, compare=False, metadata=OF_REFERENCE)


@dataclass(frozen=True)
class Levels:
    """What the score says of a pair.

    Attributes
    ----------
    parts : tuple of PartLevel
    changes : tuple of Change
        Elements, on the cells of the pair.
    players : tuple of Players
        Of each of the changes.
    movers : tuple of Players
        Of each element that was panned elsewhere, and then raised ones, in one take.
    other_instruments : bool
        Whether the recordings are of other instruments: then less is told.
    shorter : tuple of (Players, float)
        Who is read louder or softer, and may play shorter in one of the recordings instead.
    leads : tuple of Lead
        Which line leads, and how it stands over the rest.
    """

    parts: tuple[PartLevel, ...]
    changes: tuple[Change, ...]
    players: tuple[Players, ...]
    movers: tuple[Players, ...] = ()
    other_instruments: bool = False
    shorter: tuple[tuple[Players, float], ...] = ()
    leads: tuple[Lead, ...] = ()
