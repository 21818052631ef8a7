"""The one shape of every analyzer.

An analyzer is an object with an ``aspect`` (its name in the report), what it says of itself
(``about``: title, meaning, just-noticeable differences, figure ...) and three verbs. Its
measurement and its difference are frozen dataclasses of named, unit-suffixed fields: numbers,
tuples of numbers, or None where the value can't be told. ``NAME_interval`` beside ``NAME`` is
its 95 % interval. Every field of a difference declares what becomes of it when the recordings are
exchanged (``mixcompare.fields``). Fields with ``metadata=NOT_IN_REPORT`` serve plots only. A field
``reasons`` (tuple of sentences) says why something is None.
"""

from __future__ import annotations

from typing import Any, Protocol

from mixcompare.features import Features
from mixcompare.findings import Description, Finding
from mixcompare.pair.pair import Pair


class Analyzer(Protocol):
    """Measures one aspect of one recording, and compares it between two."""

    @property
    def aspect(self) -> str:
        """Name of the aspect, as in the report."""

    @property
    def about(self) -> Description:
        """What the aspect says of itself."""

    def measure(self, features: Features) -> Any:
        """Measure one recording alone."""

    def compare(self, pair: Pair) -> Any:
        """Compare two recordings on one clock; candidate minus reference."""

    def findings(self, difference: Any, pair: Pair) -> list[Finding]:
        """What of the difference sticks out, unranked."""
