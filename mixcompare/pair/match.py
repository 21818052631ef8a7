"""How two recordings lie against each other: what alignment found, what analyzers need."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import TimeMap
from mixcompare.knowledge.notes import Bars, PartNotes, PartStrokes

FloatArray = npt.NDArray[np.float64]


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
    bars : Bars or None
        The score's bars on the reference's clock.
    strokes : tuple of PartStrokes
        Of its instruments without a pitch.
    """

    time_map: TimeMap
    same_take: bool = False
    gain_db: float = 0.0
    transposition_semitones: int = 0
    tuning_cents: float = 0.0
    channels_swapped: bool = False
    uncertainty_ms: float = 0.0
    parts: tuple[PartNotes, ...] = ()
    bars: Bars | None = None
    strokes: tuple[PartStrokes, ...] = ()

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
            bars=None if self.bars is None else self.bars.on(self.time_map.to_candidate),
            strokes=tuple(self._struck_in_candidate(part) for part in self.strokes),
        )

    def _struck_in_candidate(self, part: PartStrokes) -> PartStrokes:
        times = self.time_map.to_candidate(part.strokes[:, :2])
        return replace(part, strokes=np.column_stack([times, part.strokes[:, 2:]]))

    def _heard_in_candidate(self, part: PartNotes) -> PartNotes:
        """The part's notes at the times and pitches of the candidate."""

        def moved(notes: FloatArray) -> FloatArray:
            times = self.time_map.to_candidate(notes[:, :2])
            pitches = notes[:, 2] + self.transposition_semitones
            return np.column_stack([times, pitches, notes[:, 3:]])

        return PartNotes(part.name, moved(part.notes), moved(part.others))
