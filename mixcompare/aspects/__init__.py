"""The analyzers, in the order of the report: one file and one line each.

A new one is a file or a folder here and a line in ``ANALYZERS``; its tables, its part of the page,
its figure, its findings in list and table, and the tests of the contract follow from what it says
of itself.
"""

from __future__ import annotations

from collections.abc import Sequence

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
from mixcompare.findings import JustNoticeable

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


JUST_NOTICEABLE: dict[str, JustNoticeable] = {
    entry.name: entry for analyzer in ANALYZERS for entry in analyzer.about.noticeable
}
"""Just-noticeable differences of all aspects, by name."""


def in_order(analyzers: Sequence[Analyzer]) -> list[Analyzer]:
    """The analyzers, each behind those on whose differences it builds."""
    names = {analyzer.aspect for analyzer in analyzers}
    waiting, out = list(analyzers), list[Analyzer]()
    while waiting:
        ready = next(
            (one for one in waiting if not names & set(one.about.after) - {o.aspect for o in out}),
            waiting[0],  # two that wait for each other go in the order of the report
        )
        waiting.remove(ready)
        out.append(ready)
    return out
