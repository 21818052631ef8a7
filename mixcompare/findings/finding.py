"""What sticks out: one finding, its size in just-noticeable differences, and the ranking.

Conventions
-----------
Differences are candidate minus reference: positive means the candidate has more. Times are
seconds on the reference's clock unless the name says otherwise. Intervals are 95 %.
"""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare import units
from mixcompare.findings.confidence import Evidence
from mixcompare.findings.noticeable import JustNoticeable

Span = tuple[float, float]

_ABOUT_AS_LIKELY = 0.7  # of the largest weight; our judgement, not measured


@dataclass(frozen=True)
class Cause:
    """How likely players, room and mix are the cause; the weights sum to 1."""

    players: float
    room: float
    mix: float

    @classmethod
    def weighing(cls, players: float, room: float, mix: float) -> Cause:
        """Scale the weights so that they sum to 1."""
        total = players + room + mix
        return cls(players / total, room / total, mix / total)

    @property
    def likeliest(self) -> str:
        """Name of the largest weight."""
        return max(self.weights, key=lambda name: self.weights[name])

    @property
    def spoken(self) -> str:
        """``"likely mix"``, ``"players or mix"`` where two are about as likely, or open."""
        least = _ABOUT_AS_LIKELY * max(self.weights.values())
        near = [name for name, weight in self.weights.items() if weight >= least]
        if len(near) == 1:
            return f"likely {near[0]}"
        return " or ".join(near) if len(near) < len(self.weights) else "cause open"

    @property
    def weights(self) -> dict[str, float]:
        """All three, by name."""
        return {"players": self.players, "room": self.room, "mix": self.mix}


@dataclass(frozen=True)
class Excerpts:
    """Paths, relative to the report, of excerpts at the same gain for what did not change."""

    reference: str
    candidate: str


_SPOKEN_OF = {
    "tone_brighter": "brighter",
    "tone_darker": "darker",
    "wider": "wider",
    "narrower": "narrower",
    "wetter": "wetter",
    "drier": "drier",
}
"""Kinds of findings that one word says."""


@dataclass(frozen=True)
class Foretold:
    """What a finding does to one third octave besides, computed from what was measured.

    Attributes
    ----------
    centre_hz : float
    level_db : float
        Change of the band as a whole.
    most_db : float
        The most by which its single moments may rise; they may fall as much.
    """

    centre_hz: float
    level_db: float
    most_db: float


@dataclass(frozen=True)
class Finding:
    """One thing that sticks out.

    Attributes
    ----------
    aspect, kind, subject : str
        Aspect of the report, short stable code, and what it is about in plain words.
    difference : float
        Candidate minus reference, in ``unit``.
    interval : tuple of float
        95 % interval of the difference.
    unit : str
    jnd : float
        Size in just-noticeable differences, shrunk by the uncertainty.
    evidence : Evidence
        What speaks for it.
    confidence : float in [0, 1]
        That the finding is real: what the evidence comes to.
    spans_s, candidate_spans_s : tuple of (start, end)
        Where, on the reference's and on the candidate's clock.
    band_hz : (low, high) or None
    cause : Cause
    text : str
        One sentence for a person.
    advice : tuple of str
    rank : int
        1 = most salient; 0 until ranked.
    bars : tuple of (first, last) or None
    listening : Excerpts or None
    consequences : tuple of str
        What else this finding explains, in plain words.
    apart : tuple of str
        Aspects whose findings cannot explain it: what they change was taken off before it was
        measured.
    foretold : tuple of Foretold
        What it does to the levels of bands, where that is known: other findings of level are its
        effects so far, and no further.
    noticeable : JustNoticeable or None
        By which it was measured; says how its size is read.
    both : str
        What both recordings have, in a sentence, where that says more than their difference.
    """

    aspect: str
    kind: str
    subject: str
    difference: float
    interval: tuple[float, float]
    unit: str
    jnd: float
    evidence: Evidence = field(compare=False, metadata={"report": False})
    confidence: float = field(init=False)
    spans_s: tuple[Span, ...]
    band_hz: tuple[float, float] | None
    cause: Cause
    text: str
    advice: tuple[str, ...]
    candidate_spans_s: tuple[Span, ...] = ()
    rank: int = 0
    bars: tuple[tuple[int, int], ...] | None = None
    listening: Excerpts | None = None
    consequences: tuple[str, ...] = ()
    apart: tuple[str, ...] = field(default=(), compare=False, metadata={"report": False})
    foretold: tuple[Foretold, ...] = field(default=(), compare=False, metadata={"report": False})
    noticeable: JustNoticeable | None = field(
        default=None, compare=False, metadata={"report": False}
    )
    both: str = field(default="", compare=False, metadata={"report": False})

    def __post_init__(self) -> None:
        """What it is sure of is what its evidence says."""
        object.__setattr__(self, "confidence", self.evidence.confidence)

    @property
    def scale(self) -> JustNoticeable:
        """On which it is read; its own unit where nothing says so."""
        return self.noticeable or JustNoticeable("", 1.0, self.unit, "")

    @property
    def amount(self) -> str:
        """Its size as a person reads it: ``+5.8 dB``, ``-34 points``."""
        return self.scale.amount(self.difference)

    @property
    def around(self) -> str:
        """Its 95 % interval on the same scale: ``+4.9 to +6.7``."""
        scale = self.scale
        low, high = (
            units.plain_number(bound, signed=True, decimals=scale.decimals)
            for bound in scale.interval(self.interval)
        )
        return f"{low} to {high}"

    @property
    def spoken(self) -> str:
        """Its size in a sentence: both values where that says more, else their difference."""
        return self.both or self.scale.spoken(self.difference)

    @property
    def as_consequence(self) -> str:
        """In a list of what another one explains: ``"wider by 1.8 dB (the stereo image)"``."""
        word = _SPOKEN_OF.get(self.kind)
        if word is None:
            return f"{self.subject}: {self.spoken}"
        return f"{word} by {self.scale.amount(abs(self.difference))[1:]} ({self.subject})"

    @property
    def duration_s(self) -> float:
        """Length of all spans together."""
        return sum(end - start for start, end in self.spans_s)
