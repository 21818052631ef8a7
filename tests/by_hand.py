"""Findings written by hand, for tests of what is done with them."""

from __future__ import annotations

from typing import Any

from mixcompare.findings import Cause, Finding

MIX = Cause(players=0.0, room=0.0, mix=1.0)


def finding(difference: float = 3.0, jnd: float = 3.0, **others: Any) -> Finding:
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
        "confidence": 0.9,
        "spans_s": ((0.0, 10.0),),
        "band_hz": None,
        "cause": MIX,
        "text": "It stands elsewhere.",
        "advice": (),
    }
    return Finding(**(values | others))
