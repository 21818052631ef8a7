"""The one shape of every analyzer.

An analyzer is an object with an ``aspect`` (its name in the report) and three verbs. Its
measurement and its difference are frozen dataclasses of named, unit-suffixed fields: numbers,
tuples of numbers, or None where the value can't be told. ``NAME_interval`` beside ``NAME`` is
its 95 % interval. Every field of a difference declares what becomes of it when the recordings are
exchanged (``mixcompare.fields``). Fields with ``metadata=NOT_IN_REPORT`` serve plots only. A field
``reasons`` (tuple of sentences) says why something is None.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import Any, Protocol, TypeVar
from weakref import WeakKeyDictionary

from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.pair.match import Match

NOT_IN_REPORT = {"report": False}

_Owner = TypeVar("_Owner")
_Measurement = TypeVar("_Measurement")


def once(
    measure: Callable[[_Owner, Features], _Measurement],
) -> Callable[[_Owner, Features], _Measurement]:
    """Keep a measurement while its features live: where ``compare`` needs it as well."""
    kept: WeakKeyDictionary[Features, _Measurement] = WeakKeyDictionary()

    @functools.wraps(measure)
    def measured_once(self: _Owner, features: Features) -> _Measurement:
        if features not in kept:
            kept[features] = measure(self, features)
        return kept[features]

    return measured_once


class Analyzer(Protocol):
    """Measures one aspect of one recording, and compares it between two."""

    @property
    def aspect(self) -> str:
        """Name of the aspect, as in the report."""

    def measure(self, features: Features) -> Any:
        """Measure one recording alone."""

    def compare(self, reference: Features, candidate: Features, match: Match) -> Any:
        """Compare two recordings on one clock; candidate minus reference."""

    def findings(self, difference: Any) -> list[Finding]:
        """What of the difference sticks out, unranked."""
