"""What stems say of a pair."""

from __future__ import annotations

from dataclasses import dataclass

Interval = tuple[float, float]


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

    @property
    def is_due(self) -> bool:
        """Whether the trim is surely not nothing."""
        return self.interval is not None and not self.interval[0] <= 0 <= self.interval[1]


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
    """

    stems: tuple[Stem, ...]
    explained_share: float
    notes: tuple[str, ...] = ()
