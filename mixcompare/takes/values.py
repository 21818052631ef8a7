"""One candidate against the reference, as plain data that may be kept as JSON and sent about."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

from mixcompare.findings import Span

Json = dict[str, Any]


@dataclass(frozen=True)
class Told:
    """One finding, without what only its own report needs.

    Attributes
    ----------
    aspect, kind, subject, amount, text, cause : str
    difference : float
        Candidate minus reference, in ``unit``.
    unit : str
    jnd : float
        Size in just-noticeable differences.
    rank : int
        In its own report.
    spans_s : tuple of (start, end)
        On the reference's clock.
    band_hz : (low, high) or None
    advice : tuple of str
    """

    aspect: str
    kind: str
    subject: str
    amount: str
    text: str
    cause: str
    difference: float
    unit: str
    jnd: float
    rank: int
    spans_s: tuple[Span, ...]
    band_hz: tuple[float, float] | None
    advice: tuple[str, ...]


@dataclass(frozen=True)
class Heard:
    """Where the sound of a pair lies, and how it was turned down.

    Attributes
    ----------
    reference, candidate : str
        MP3 files, relative to the folder of all takes.
    reference_span_s, candidate_span_s : (start, end)
        What they hold, each on its own clock from the start of what was compared.
    reference_gain_db, candidate_gain_db : float
    time_map : tuple of (reference_s, candidate_s)
    """

    reference: str
    candidate: str
    reference_span_s: Span
    candidate_span_s: Span
    reference_gain_db: float
    candidate_gain_db: float
    time_map: tuple[Span, ...]


@dataclass(frozen=True)
class Take:
    """A candidate held against the reference, or why it could not be.

    Attributes
    ----------
    name : str
        Short, and its own among the candidates.
    path : str
        Of the recording.
    report : str
        Folder of the pair's own report, relative to that of all takes; empty where there is none.
    relation : str
        As in :mod:`mixcompare.alignment.result`; empty where it could not be compared.
    verdict, unseen : str
        As in the pair's own report.
    findings : tuple of Told
    sound : Heard or None
    audio : str
        Fingerprint of the recording's file.
    problem : str
        One sentence where it could not be compared.
    """

    name: str
    path: str
    report: str = ""
    relation: str = ""
    verdict: str = ""
    unseen: str = ""
    findings: tuple[Told, ...] = ()
    sound: Heard | None = None
    audio: str = ""
    problem: str = ""

    @property
    def distance_jnd(self) -> float:
        """How far it is from the reference: root of the sum of squares of what sticks out.

        In just-noticeable differences. One large difference counts more than several small ones
        (common practice for differences along independent dimensions, no source).
        """
        return math.sqrt(sum(told.jnd**2 for told in self.findings))

    def of(self, aspect: str) -> tuple[Told, ...]:
        """What sticks out in an aspect, largest first."""
        found = [told for told in self.findings if told.aspect == aspect]
        return tuple(sorted(found, key=lambda told: -told.jnd))

    def plain(self) -> Json:
        """As JSON data."""
        return asdict(self)

    @classmethod
    def from_plain(cls, document: Mapping[str, Any]) -> Take:
        """What :meth:`plain` gave, perhaps by way of a file.

        Raises
        ------
        KeyError, TypeError
            If it is something else.
        """
        values = {entry.name: document[entry.name] for entry in fields(cls)}
        values["findings"] = tuple(
            Told(**{name: _tuples(value) for name, value in told.items()})
            for told in values["findings"]
        )
        if values["sound"] is not None:
            values["sound"] = Heard(
                **{name: _tuples(value) for name, value in values["sound"].items()}
            )
        return cls(**values)


def _tuples(value: Any) -> Any:
    """Lists, as JSON has them, as tuples."""
    return tuple(_tuples(item) for item in value) if isinstance(value, list | tuple) else value
