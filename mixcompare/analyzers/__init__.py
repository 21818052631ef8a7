"""The analyzers, in the order of the report: one file and one line each."""

from __future__ import annotations

from mixcompare.analyzers import balance, loudness, tone
from mixcompare.analyzers.base import Analyzer

ANALYZERS: tuple[Analyzer, ...] = (
    loudness.analyzer,
    balance.analyzer,
    tone.analyzer,
)
