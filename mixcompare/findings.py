"""What sticks out: one finding, its size in just-noticeable differences, and the ranking.

Conventions
-----------
Differences are candidate minus reference: positive means the candidate has more. Times are
seconds on the reference's clock unless the name says otherwise. Intervals are 95 %.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

Span = tuple[float, float]


@dataclass(frozen=True)
class JustNoticeable:
    """Smallest difference that counts, with where it comes from."""

    size: float
    unit: str
    source: str


JUST_NOTICEABLE: dict[str, JustNoticeable] = {
    "balance": JustNoticeable(
        1.0, "dB", "ISO 3382-1:2009 Table A.1 (1 dB of level); 1-2 dB in a mix, common practice"
    ),
    "tone": JustNoticeable(
        1.5, "dB", "1-2 dB for broad changes (Buecklein 1981, from memory); 1.5 dB is our proposal"
    ),
    "tone_tilt": JustNoticeable(
        0.2, "dB/octave", "our proposal: about 1.4 dB from end to end over seven octaves"
    ),
    "loudness_range": JustNoticeable(2.0, "LU", "EBU Tech 3342 tolerance +-1 LU, doubled"),
    "dynamics": JustNoticeable(
        0.1, "dB/dB", "our proposal: 1 dB (ISO 3382-1 Table A.1) over a swing of 10 dB"
    ),
    "tempo": JustNoticeable(2.0, "%", "Drake and Botte 1993: 1.5-3 % for regular sequences"),
    "tuning": JustNoticeable(
        5.0, "cents", "Marmel 2008 uses 9 cents as near threshold; 5 for overall tuning, proposal"
    ),
    "articulation": JustNoticeable(
        0.08, "", "about 10 % of a tone's duration (Friberg and Sundberg 1994, from memory)"
    ),
    "width": JustNoticeable(
        1.5, "dB", "side to mid; equals 0.1 in correlation near 0.5 (Cox, Davies and Lam 1993)"
    ),
    "placement": JustNoticeable(
        0.1, "", "3 degrees of +-30 degrees between loudspeakers (common practice, no source)"
    ),
    "decay": JustNoticeable(
        20.0, "%", "about 20-25 % in music-like signals (Blevins et al. 2013, from memory)"
    ),
    "wetness": JustNoticeable(
        1.5, "dB", "clarity: 1 dB (ISO 3382-1 Table A.1), 1.5 dB in running music (proposal)"
    ),
}
"""Just-noticeable differences, each with its source. Laboratory figures hold for attentive
listeners on simple sounds; where running music needs more, the larger figure is used."""


LEAST_CONFIDENCE = 0.6
"""Findings less sure than this are not listed."""


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
        weights = {"players": self.players, "room": self.room, "mix": self.mix}
        return max(weights, key=lambda name: weights[name])


@dataclass(frozen=True)
class Excerpts:
    """Paths of a finding's level-matched excerpts, relative to the report."""

    reference: str
    candidate: str


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
    confidence : float in [0, 1]
        That the finding is real.
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
    """

    aspect: str
    kind: str
    subject: str
    difference: float
    interval: tuple[float, float]
    unit: str
    jnd: float
    confidence: float
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

    @property
    def duration_s(self) -> float:
        """Length of all spans together."""
        return sum(end - start for start, end in self.spans_s)


def size_in_jnd(difference: float, interval: tuple[float, float], jnd: float) -> float:
    """Size of a difference in just-noticeable differences, shrunk by its uncertainty.

    The shrinkage is that of James and Stein (1961) for one value: the share of its square that
    its variance does not explain. Zero where the interval includes zero.
    """
    low, high = interval
    if difference == 0 or low <= 0 <= high:
        return 0.0
    deviation = max(high - low, 0.0) / (2 * 1.96)
    kept = max(1 - (deviation / difference) ** 2, 0.0)
    return float(abs(difference) * kept / jnd)


def is_listed(finding: Finding) -> bool:
    """Tell whether a finding counts.

    From one just-noticeable difference up, with zero outside its interval, and only when it is
    clearly likelier real than not: silence is better than a coin toss.
    """
    low, high = finding.interval
    return finding.jnd >= 1.0 and not low <= 0 <= high and finding.confidence >= LEAST_CONFIDENCE


def salience(finding: Finding, whole_s: float) -> float:
    """Size weighed by how much of the passage it concerns (fourth root: short things stick out)."""
    share = min(finding.duration_s / whole_s, 1.0) if whole_s > 0 else 1.0
    return float(finding.jnd * max(share, 0.01) ** 0.25 * finding.confidence)


def ranked(findings: Iterable[Finding], whole_s: float) -> tuple[Finding, ...]:
    """Keep what counts, most salient first, and number it."""
    kept = sorted(
        (finding for finding in findings if is_listed(finding)),
        key=lambda finding: salience(finding, whole_s),
        reverse=True,
    )
    return tuple(replace(finding, rank=rank) for rank, finding in enumerate(kept, start=1))


def signed(value: float, unit: str, decimals: int = 1) -> str:
    """A difference as a person writes it: ``+5.8 dB``."""
    return f"{value:+.{decimals}f} {unit}".rstrip()


def amount(finding: Finding) -> str:
    """A finding's size in words; of a bare ratio, what it is a share of."""
    if finding.aspect == "articulation":
        return f"{100 * finding.difference:+.0f} % of the notes' length"
    decimals = 2 if finding.unit in ("dB/octave", "dB/dB") else 1
    return signed(finding.difference, finding.unit, decimals)


def clock(seconds: float) -> str:
    """A time as ``0:07`` or ``1:02:03``."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def joined_spans(spans_s: Sequence[Span]) -> tuple[Span, ...]:
    """Spans in order, joined where they touch."""
    joined: list[Span] = []
    for start, end in sorted(spans_s):
        if joined and start <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], end))
        else:
            joined.append((start, end))
    return tuple(joined)


def places(spans_s: Sequence[Span], limit: int = 3) -> str:
    """Spans as words: ``0:05-0:12 and 0:20-0:28``."""
    shown = [f"{clock(start)}-{clock(end)}" for start, end in spans_s[:limit]]
    if len(spans_s) > limit:
        shown.append(f"{len(spans_s) - limit} more")
    return " and ".join([", ".join(shown[:-1]), shown[-1]]) if len(shown) > 1 else "".join(shown)
