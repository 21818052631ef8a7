"""An analyzer as tests use it: recordings and their match go in, and it remembers the pair.

A difference is told from the pair it came from; one that a test states by itself is told from a
pair of which nothing but what it needs is known.
"""

from __future__ import annotations

from typing import Any

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects.base import Analyzer
from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair

MAP = TimeMap.linear(1.0, 1.06, 0.5, 9.5)
"""Span 0.5 to 9.5 s, in the candidate 1.53 to 11.07 s."""


class Remembering:
    """An analyzer that knows which pair each of its differences came from."""

    def __init__(self, analyzer: Analyzer) -> None:
        self.analyzer = analyzer
        self.aspect = analyzer.aspect
        self.about = analyzer.about
        self._pairs: dict[int, tuple[Any, Pair]] = {}

    def measure(self, features: Features) -> Any:
        """Measure one recording."""
        return self.analyzer.measure(features)

    def compare(self, reference: Features, candidate: Features, match: Match) -> Any:
        """Compare two recordings."""
        pair = Pair(reference, candidate, match)
        return self.of(self.analyzer.compare(pair), pair)

    def of(self, difference: Any, pair: Pair) -> Any:
        """Say which pair a difference came from; returns the difference."""
        self._pairs[id(difference)] = difference, pair
        return difference

    def stated(self, difference: Any, same_take: bool = True) -> Any:
        """Say that a difference is one take's, or two performances'; returns the difference."""
        return self.of(difference, pair_of(same_take))

    def findings(self, difference: Any, same_take: bool | None = None) -> list[Finding]:
        """What sticks out."""
        known = self._pairs.get(id(difference))
        if same_take is not None or known is None:
            return self.analyzer.findings(difference, pair_of(same_take is not False))
        return self.analyzer.findings(difference, known[1])


def pair_of(same_take: bool = True, time_map: TimeMap = MAP) -> Pair:
    """A pair without recordings, for what needs only the match."""
    return Pair(None, None, Match(time_map, same_take))  # type: ignore[arg-type]
