"""A measured difference on the scale on which it is noticed."""

from __future__ import annotations

from dataclasses import dataclass

from mixcompare.findings.confidence import Evidence, evidence
from mixcompare.findings.noticeable import JustNoticeable
from mixcompare.findings.ranking import size_in_jnd


@dataclass(frozen=True)
class Size:
    """A difference as it was measured.

    Attributes
    ----------
    value : float
        Candidate minus reference.
    around : tuple of float
        Its 95 % interval.
    noticeable : JustNoticeable
        By which it is judged.
    agreeing : float in [0, 1]
        Share of the parts that say the same.
    """

    value: float
    around: tuple[float, float]
    noticeable: JustNoticeable
    agreeing: float = 1.0

    @property
    def jnd(self) -> float:
        """In just-noticeable differences, shrunk by the uncertainty."""
        return size_in_jnd(self.value, self.around, self.noticeable.size)

    def evidence(self, same_take: bool) -> Evidence:
        """What speaks for it."""
        return evidence(self.value, self.around, same_take, self.agreeing)
