"""What a field of a result says of itself: its words, its unit, and its mirror image.

``labelled`` gives the words that stand for it in tables where its name does not; its unit is the
ending of its name (:mod:`mixcompare.units`) or said here; ``BARE`` says that it has none.

Every field of a difference carries as well what becomes of it when reference and candidate are
exchanged, beside anything else
(``NOT_IN_REPORT | SIGNED``), and every analyzer is held to them by one test. ``NAME_interval``
goes as ``NAME`` does, its ends exchanged where the value turns round; texts say nothing of it.
"""

from __future__ import annotations

from dataclasses import Field
from typing import Any

from mixcompare import units

Metadata = dict[str, Any]

CHANGE: Metadata = {"is_change": True}
"""Candidate minus reference, where the mirror image is the change at another place."""

NOT_IN_REPORT: Metadata = {"report": False}
"""Serves figures alone."""

UNTABLED: Metadata = {"table": False}
"""In the report, and not in tables for people: another value says the same."""

BARE: Metadata = {"unit": ""}
"""A share, a count, a factor, or a place between -1 and +1: a number without a unit."""


SHARED: Metadata = {"unit": units.SHARE}
"""A part of the whole, 0 to 1: a table shows it in per cent."""


def labelled(words: str, unit: str | None = None) -> Metadata:
    """Words that stand for the value in tables, and its unit where its name does not end in it."""
    return {"label": words} if unit is None else {"label": words, "unit": unit}


def told_by_pair(name: str) -> Metadata:
    """Of a difference: the ``reference_NAME`` and ``candidate_NAME`` that stand beside it."""
    return {"by_pair": name}


def of_several(column: str) -> Metadata:
    """Names of others; while there are any, this value is of all of them: a table brackets it."""
    return {"of_several": column}


def label_and_unit(item: Field[Any], prefix: str = "") -> tuple[str, str]:
    """Words and unit of a field: ``("Gap depth", "dB")`` for ``gap_depth_db``.

    Parameters
    ----------
    item : dataclasses.Field
        The field.
    prefix : str
        What the table's heading says already (``band_``).
    """
    words, unit = units.words_and_unit(item.name.removeprefix(prefix))
    words = f"{words} share" if unit == units.SHARE else words
    label = item.metadata.get("label", words[:1].upper() + words[1:])
    return label, item.metadata.get("unit", unit)


def says_its_unit(item: Field[Any]) -> bool:
    """Whether a number's unit is known, be it that it has none."""
    return bool(label_and_unit(item)[1]) or "unit" in item.metadata


def is_change(item: Field[Any]) -> bool:
    """Whether a value of the pair is candidate minus reference, so that its sign matters."""
    return item.metadata.get("mirror") in ("signed", "percent") or "is_change" in item.metadata


def gap_unit(item: Field[Any], unit: str) -> str:
    """Unit of a value of the pair: of a difference that is one of units or of points.

    A change told in per cent of the reference's value stays in per cent.
    """
    relative = item.metadata.get("mirror") == "percent"
    return units.difference_unit(unit) if is_change(item) and not relative else unit


SIGNED: Metadata = {"mirror": "signed"}
"""x becomes -x."""

RATIO: Metadata = {"mirror": "ratio"}
"""x becomes 1/x."""

PERCENT: Metadata = {"mirror": "percent"}
"""A ratio told as 100 (ratio - 1)."""

KEPT: Metadata = {"mirror": "kept"}
"""The same either way."""

PAIR: Metadata = {"mirror": "pair"}
"""(of the reference, of the candidate): changes ends."""

MOMENT: Metadata = {"mirror": "moment"}
"""Seconds on the reference's clock, which is then the candidate's."""

PITCH: Metadata = {"mirror": "pitch"}
"""Pitch or range of the reference: with another key, the candidate's."""

INVERSE: Metadata = {"mirror": "inverse"}
"""The time map."""

OF_REFERENCE: Metadata = {"mirror": "of_reference"}
"""Of a place or level of the reference's own; exchanged, it is another of the other's."""

WITH_GAIN: Metadata = {"with_gain": True}
"""The overall gain is left in."""


def exchanged_with(partner: str) -> Metadata:
    """The value of one side: becomes that of the field which holds the other side's."""
    return {"mirror": "exchanged", "partner": partner}


def moved_by(change: str) -> Metadata:
    """The reference's value: becomes the candidate's, which lies further by another field."""
    return {"mirror": "moved", "change": change}


def scaled_by(factor: str) -> Metadata:
    """Told in the candidate's image: exchanged, it is divided by this field's factor as well."""
    return {"scale": factor}


def along(times: str) -> Metadata:
    """One value for each moment of another field."""
    return {"along": times}


def within(tolerance: float) -> Metadata:
    """How nearly, in the field's unit (frequencies in octaves), where the method prefers a side."""
    return {"tolerance": tolerance}


def stretched(tolerance: float) -> Metadata:
    """How nearly where one clock runs slower: frames and grids are the reference's then."""
    return {"stretched": tolerance}
