"""How two recordings lie against each other: what alignment found, what analyzers need."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.timemap import TimeMap

FloatArray = npt.NDArray[np.float64]


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


@dataclass(frozen=True)
class PartNotes:
    """The written notes of one part, where they fall in the reference.

    Attributes
    ----------
    name : str
    notes : ndarray, shape (n, 3)
        Onset and end in seconds on the reference's clock, MIDI pitch; sorted by onset.
    others : ndarray, shape (m, 3)
        The same of all other parts.
    """

    name: str
    notes: FloatArray
    others: FloatArray


@dataclass(frozen=True)
class Match:
    """How the candidate lies against the reference.

    Attributes
    ----------
    time_map : TimeMap
        Reference time to candidate time.
    same_take : bool
        Whether both are the same performance (then nothing can be the players' doing).
    gain_db : float
        Broadband level of the candidate against the reference; subtract it from every level
        difference.
    transposition_semitones : int
    tuning_cents : float
        Candidate against reference, after transposition.
    channels_swapped : bool
        Whether left and right are exchanged in the candidate.
    uncertainty_ms : float
        Typical error of the time map.
    parts : tuple of PartNotes
        Written notes, where the user gave a score.
    """

    time_map: TimeMap
    same_take: bool = False
    gain_db: float = 0.0
    transposition_semitones: int = 0
    tuning_cents: float = 0.0
    channels_swapped: bool = False
    uncertainty_ms: float = 0.0
    parts: tuple[PartNotes, ...] = ()

    def grid_s(self, rate_hz: float) -> FloatArray:
        """Reference times, evenly spaced, that have a counterpart in the candidate."""
        start, end = self.time_map.span_s
        times = np.arange(np.ceil(start * rate_hz), np.floor(end * rate_hz) + 1) / rate_hz
        return times[self.time_map.covers(times)]

    def mirrored(self) -> Match:
        """The same pair with the roles exchanged."""
        return replace(
            self,
            time_map=self.time_map.inverse(),
            gain_db=-self.gain_db,
            transposition_semitones=-self.transposition_semitones,
            tuning_cents=-self.tuning_cents,
            parts=tuple(self._heard_in_candidate(part) for part in self.parts),
        )

    def _heard_in_candidate(self, part: PartNotes) -> PartNotes:
        """The part's notes at the times and pitches of the candidate."""

        def moved(notes: FloatArray) -> FloatArray:
            times = self.time_map.to_candidate(notes[:, :2])
            return np.column_stack([times, notes[:, 2] + self.transposition_semitones])

        return PartNotes(part.name, moved(part.notes), moved(part.others))
