"""What alignment found."""

from __future__ import annotations

from dataclasses import dataclass

from mixcompare.alignment.timemap import TimeMap

SAME_TAKE, SAME_PASSAGE, UNRELATED = "same_take", "same_passage", "unrelated"


@dataclass(frozen=True)
class Event:
    """A place where one recording has music that the other lacks.

    Attributes
    ----------
    kind : str
        ``"cut"`` (the candidate leaves music out), ``"repeat"`` (the candidate plays it again),
        ``"head"`` or ``"tail"`` (music before or after the part in common).
    reference_s, candidate_s : tuple of float
        Start and end on either clock (equal where that recording has nothing there).
    text : str
        One sentence.
    """

    kind: str
    reference_s: tuple[float, float]
    candidate_s: tuple[float, float]
    text: str


@dataclass(frozen=True)
class Alignment:
    """Where the candidate lies against the reference.

    Attributes
    ----------
    relation : str
        ``"same_take"``, ``"same_passage"`` or ``"unrelated"``.
    confidence : float in [0, 1]
        Share of such answers that are right.
    time_map : TimeMap
    offset_s : float
        Candidate time that falls on reference time 0.
    drift_ppm : float or None
        Clock difference (same take only); positive = the candidate's material runs longer.
    polarity : int or None
        1 or -1, same take only.
    channels_swapped : bool or None
    transposition_semitones : int
    tuning_cents : float
        Candidate against reference after transposition.
    tempo_ratio : float
        Candidate duration over reference duration of the matched passage.
    uncertainty_ms : float
        Typical (median) error expected of the map.
    events : tuple of Event
    warnings : tuple of str
    """

    relation: str
    confidence: float
    time_map: TimeMap
    offset_s: float
    drift_ppm: float | None
    polarity: int | None
    channels_swapped: bool | None
    transposition_semitones: int
    tuning_cents: float
    tempo_ratio: float
    uncertainty_ms: float
    events: tuple[Event, ...] = ()
    warnings: tuple[str, ...] = ()

    @property
    def same_take(self) -> bool:
        """Whether both recordings are the same performance."""
        return self.relation == SAME_TAKE
