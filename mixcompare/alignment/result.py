"""What alignment found."""

from __future__ import annotations

from dataclasses import dataclass, replace

from mixcompare.alignment.timemap import TimeMap

_SURE = 0.9  # below that a relation is only probable: our judgement, not measured
_NUMBERS = ("three", "four", "five", "six", "seven", "eight", "nine")
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

    def moved(self, reference_by_s: float, candidate_by_s: float) -> Event:
        """The same on clocks that read so much more."""
        return replace(
            self,
            reference_s=moved(self.reference_s, reference_by_s),
            candidate_s=moved(self.candidate_s, candidate_by_s),
        )


@dataclass(frozen=True)
class Place:
    """One of several places where a recording has the passage.

    Attributes
    ----------
    recording : str
        Which of the two has it more than once: ``"reference"`` or ``"candidate"``.
    reference_s, candidate_s : tuple of float
        Start and end on either clock.
    agreement : float
        Of both harmonies there, -1 to 1.
    confidence : float in [0, 1]
        That it is the passage.
    compared : bool
        Whether it is the one that was compared.
    """

    recording: str
    reference_s: tuple[float, float]
    candidate_s: tuple[float, float]
    agreement: float
    confidence: float
    compared: bool

    def moved(self, reference_by_s: float, candidate_by_s: float) -> Place:
        """The same on clocks that read so much more."""
        return replace(
            self,
            reference_s=moved(self.reference_s, reference_by_s),
            candidate_s=moved(self.candidate_s, candidate_by_s),
        )

    @property
    def own_s(self) -> tuple[float, float]:
        """Where it lies in the recording that has the passage more than once."""
        return self.reference_s if self.recording == "reference" else self.candidate_s


def moved(span_s: tuple[float, float], by_s: float) -> tuple[float, float]:
    """A span on a clock that reads so much more."""
    return span_s[0] + by_s, span_s[1] + by_s


def times(count: int) -> str:
    """How often something comes: ``"twice"``, ``"three times"``."""
    return ("never", "once", "twice", *(f"{word} times" for word in _NUMBERS))[count]


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
    places : tuple of Place
        Where the passage lies in the recording that has it more than once, in order; empty where
        neither has.
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
    places: tuple[Place, ...] = ()

    @property
    def same_take(self) -> bool:
        """Whether both recordings are the same performance."""
        return self.relation == SAME_TAKE

    @property
    def is_sure(self) -> bool:
        """Whether the relation may be said without a doubt."""
        return self.confidence >= _SURE
