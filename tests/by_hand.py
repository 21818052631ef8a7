"""Findings written by hand, for tests of what is done with them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from mixcompare.findings import Cause, Finding
from mixcompare.findings.confidence import Evidence

MIX = Cause(players=0.0, room=0.0, mix=1.0)


@dataclass(frozen=True)
class Said(Evidence):
    """Evidence whose confidence is given."""

    sure: float = 0.9

    @property
    def confidence(self) -> float:
        """As given."""
        return self.sure


def said(confidence: float) -> Said:
    """Evidence that comes to so much."""
    return Said(9.9, same_take=True, sure=confidence)


def finding(
    difference: float = 3.0, jnd: float = 3.0, confidence: float = 0.9, **others: Any
) -> Finding:
    """A sure finding over ten seconds whose interval is a tenth to either side."""
    reach = 0.1 * abs(difference)
    values: dict[str, Any] = {
        "aspect": "balance",
        "kind": "register_louder",
        "subject": "middle register",
        "difference": difference,
        "interval": (difference - reach, difference + reach),
        "unit": "dB",
        "jnd": jnd,
        "evidence": said(confidence),
        "spans_s": ((0.0, 10.0),),
        "band_hz": None,
        "cause": MIX,
        "text": "It stands elsewhere.",
        "advice": (),
    }
    return Finding(**(values | others))
