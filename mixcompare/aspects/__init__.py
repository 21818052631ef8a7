"""The analyzers, in the order of the report: one file and one line each."""

from __future__ import annotations

from mixcompare.aspects import (
    articulation,
    balance,
    dynamics,
    loudness,
    placement,
    room,
    tempo,
    tone,
    tuning,
    width,
)
from mixcompare.aspects.base import Analyzer

ANALYZERS: tuple[Analyzer, ...] = (
    loudness.analyzer,
    balance.analyzer,
    tone.analyzer,
    articulation.analyzer,
    width.analyzer,
    placement.analyzer,
    room.analyzer,
    dynamics.analyzer,
    tempo.analyzer,
    tuning.analyzer,
)
