"""Versions of one mix in order: what was mended, what became worse, what remains.

A finding of one version is the same matter as one of the next where both are of one aspect, about
the same thing (its subject without figures, or what kind of thing it is, and its band) and at
places that overlap. Of all ways to pair them the one that agrees best is taken. A band alone does
not do: lines and figures share theirs.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import asdict, dataclass

import numpy as np
from scipy.optimize import linear_sum_assignment

from mixcompare.findings import Span
from mixcompare.takes.values import Json, Told

NEW, BACK, WORSE, OVERDONE = "new", "back", "worse", "overdone"
REMAINS, SMALLER, MENDED = "remains", "smaller", "mended"
BECAME_WORSE = (NEW, BACK, WORSE, OVERDONE)

_STEP_JND = 1.0
"""By how much a matter has to grow or shrink to be told: what is just noticeable."""

_OTHER_NAME = 0.5
"""Share of the octaves of both bands that findings have to have in common where they are of a kind
and their subjects are named differently (our choice)."""

_SAME_NAME = 0.25
"""The same where their subjects are named alike: registers of one name may be different ones."""


@dataclass(frozen=True)
class Item:
    """One matter, followed through all versions.

    Attributes
    ----------
    found : tuple of Told or None
        By version; None where it did not stick out, or the version could not be compared.
    states : tuple of str
        By version; empty before it was first found and where the version could not be compared.
    """

    found: tuple[Told | None, ...]
    states: tuple[str, ...]

    @property
    def last(self) -> Told:
        """As it was when last found."""
        return next(told for told in reversed(self.found) if told is not None)

    @property
    def state(self) -> str:
        """What became of it in the last version that could be compared."""
        return next((state for state in reversed(self.states) if state), "")

    @property
    def is_open(self) -> bool:
        """Whether it still sticks out."""
        return self.state != MENDED

    def plain(self) -> Json:
        """As JSON data."""
        return {**asdict(self), "state": self.state}


def followed(versions: Sequence[Sequence[Told] | None]) -> tuple[Item, ...]:
    """Follow every matter through the versions.

    Parameters
    ----------
    versions : sequence of sequences of Told, or None
        Findings of each version in order; None where it could not be compared.

    Returns
    -------
    tuple of Item
        What is still open first, largest first; then what was mended, the latest first.
    """
    items: list[Item] = []
    begun = False
    for place, findings in enumerate(versions):
        if findings is None:
            items = [Item((*item.found, None), (*item.states, "")) for item in items]
            continue
        pairs = _paired([item.last for item in items], findings)
        grown = []
        for index, item in enumerate(items):
            told = findings[pairs[index]] if index in pairs else None
            grown.append(Item((*item.found, told), (*item.states, _state(item, told))))
        first = NEW if begun else REMAINS
        matched = set(pairs.values())
        for index, told in enumerate(findings):
            if index not in matched:
                grown.append(Item((*(None,) * place, told), (*("",) * place, first)))
        items, begun = grown, True
    return tuple(sorted(items, key=_order))


def _order(item: Item) -> tuple[bool, float, float]:
    last = max(index for index, told in enumerate(item.found) if told is not None)
    return not item.is_open, 0.0 if item.is_open else -last, -item.last.jnd


def _state(item: Item, told: Told | None) -> str:
    """What became of a matter that was found before."""
    if told is None:
        return MENDED
    if not item.is_open:
        return BACK
    if told.difference * item.last.difference < 0:
        return OVERDONE
    grown_jnd = told.jnd - item.last.jnd
    if abs(grown_jnd) < _STEP_JND:
        return REMAINS
    return WORSE if grown_jnd > 0 else SMALLER


def _paired(known: Sequence[Told], findings: Sequence[Told]) -> dict[int, int]:
    """Which finding is which known matter: the pairing that agrees best as a whole."""
    if not known or not findings:
        return {}
    likeness = np.array([[alike(old, new) for new in findings] for old in known])
    rows, columns = linear_sum_assignment(-likeness)
    return {
        int(row): int(column)
        for row, column in zip(rows, columns, strict=True)
        if likeness[row, column] > 0
    }


def alike(one: Told, other: Told) -> float:
    """How likely two findings are of the same matter, 0 (not) to 1."""
    if one.aspect != other.aspect or one.unit != other.unit:
        return 0.0
    place = _shared_place(one.spans_s, other.spans_s)
    if place == 0:
        return 0.0
    named = _name(one) == _name(other)
    if one.band_hz is None or other.band_hz is None:
        thing = float(named and one.band_hz == other.band_hz)
    elif named or _family(one) == _family(other) != "":
        common = _shared_octaves(one.band_hz, other.band_hz)
        thing = (common + named) / 2 if common >= (_SAME_NAME if named else _OTHER_NAME) else 0.0
    else:
        thing = 0.0
    return thing * (1 + place) / 2


def _name(told: Told) -> str:
    """Its subject without the figures in it."""
    return " ".join(re.sub(r"[0-9.,]+", "", told.subject).split())


def _family(told: Told) -> str:
    """What kind of thing it is, whichever way it changed: kinds end in the direction."""
    return told.kind.rpartition("_")[0]


def _shared_octaves(one: tuple[float, float], other: tuple[float, float]) -> float:
    low, high = max(one[0], other[0]), min(one[1], other[1])
    if high <= low:
        return 0.0
    bottom, top = min(one[0], other[0]), max(one[1], other[1])
    return math.log2(high / low) / math.log2(top / max(bottom, 1.0))


def _shared_place(one: Sequence[Span], other: Sequence[Span]) -> float:
    """Share of the shorter one's time that both have in common; all where one has no place."""
    lengths = [sum(end - start for start, end in spans) for spans in (one, other)]
    if min(lengths) <= 0:
        return 1.0
    common = sum(max(min(b, d) - max(a, c), 0.0) for a, b in one for c, d in other)
    return min(common / min(lengths), 1.0)
