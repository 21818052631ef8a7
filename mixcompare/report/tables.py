"""Measurements as rows of a table, whatever values an analyzer names."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, fields, is_dataclass
from typing import Any

import numpy as np

from mixcompare.bands import NOMINAL_HZ
from mixcompare.report import wording
from mixcompare.results import Measured

_WORDY = {"reasons"}
_RATIOS = ("_db_per_db", "image_scale")
"""Candidate over reference: no differences, so without a sign."""
_TITLES = {
    "register": "Registers (differences at matched level)",
    "voice": "Voices",
    "shaping": "Filters that lead from the reference's tone to the candidate's",
}
_MOST_ROWS = 40
"""Longer lists are for the figures."""
_HEADS = {
    "band_hz": "Band",
    "span_s": "Where",
    "spans_s": "Where",
    "candidate_spans_s": "Where in the candidate",
}


@dataclass(frozen=True)
class Table:
    """A table ready to be shown: heads, and rows of cells."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


def single_values(measured: Measured) -> Table:
    """Every value that is one number, of both recordings and their difference."""
    names = dict.fromkeys(
        name
        for holder in (measured.reference, measured.candidate, measured.difference)
        for name, value in _reported(holder)
        if _is_number(value) and not name.endswith("_interval")
    )
    rows = []
    for name in names:
        label, unit = wording.label_and_unit(name)
        sides = (_number(measured.reference, name), _number(measured.candidate, name))
        if sides == (None, None):
            continue
        gap_unit = wording.difference_unit(unit)
        signed = not _is_ratio(name)
        rows.append(
            (
                label,
                *(wording.quantity(side, unit) for side in sides),
                wording.quantity(_number(measured.difference, name), gap_unit, signed),
                wording.interval(_bounds(measured.difference, name), gap_unit, signed),
            )
        )
    return Table("", ("", "Reference", "Candidate", "Difference", "95 % interval"), tuple(rows))


def pair_values(measured: Measured) -> Table:
    """Every single value that only the comparison has, such as how much wetter one is."""
    rows = []
    for name, value in _reported(measured.difference):
        if value is None or not _is_number(value) or name.endswith("_interval"):
            continue
        if _has(measured.reference, name) or _has(measured.candidate, name):
            continue
        label, unit = wording.label_and_unit(name)
        gap = _bounds(measured.difference, name)
        signed = (gap is not None or "difference" in name) and not _is_ratio(name)
        shown = wording.quantity(_number(measured.difference, name), unit, signed)
        rows.append((label, shown, wording.interval(gap, unit, signed)))
    heads = ("Of the pair", "Value", "95 % interval")
    columns = 3 if any(row[2] for row in rows) else 2
    return Table("", heads[:columns], tuple(row[:columns] for row in rows))


def bands(measured: Measured) -> Table | None:
    """Everything that was measured band by band; None where nothing was."""
    kind, centres = _reported_centres(measured)
    if not centres:
        return None
    heads = ["Octave (Hz)" if kind == "octave_" else "Band (Hz)"]
    columns: list[list[str]] = [[_band_name(centre) for centre in centres]]
    holders = (
        ("reference", measured.reference),
        ("candidate", measured.candidate),
        ("difference", measured.difference),
    )
    names = dict.fromkeys(name for _, holder in holders for name, _ in _reported(holder))
    for name in names:
        if name.endswith(("_centre_hz", "_interval")):
            continue
        label, unit = wording.label_and_unit(name.removeprefix(kind))
        for role, holder in holders:
            values: Any = getattr(holder, name, None)
            if not _is_series(values) or len(values) != len(centres):
                continue
            signed = role == "difference"
            shown = wording.difference_unit(unit) if signed else unit
            heads.append(f"{label}, {role}" + (f" ({shown})" if shown else ""))
            columns.append([wording.number(_finite(value), unit, signed) for value in values])
    if len(columns) == 1:
        return None
    return Table("Band by band", tuple(heads), tuple(zip(*columns, strict=True)))


def _reported_centres(measured: Measured) -> tuple[str, list[float]]:
    """Mid-band frequencies, and the prefix of what was measured in those bands."""
    for holder in (measured.difference, measured.reference, measured.candidate):
        values = dict(_reported(holder))
        for kind in ("band_", "octave_"):
            centres = values.get(f"{kind}centre_hz")
            if centres is not None and len(centres):
                return kind, [float(centre) for centre in centres]
    return "", []


def lists(measured: Measured) -> tuple[Table, ...]:
    """Lists of the difference: named things (elements, registers), and columns of one prefix."""
    out = []
    for name, value in _reported(measured.difference):
        if _is_records(value):
            out.append(_records_table(name, value))
    out.extend(_parallel_tables(measured))
    return tuple(out)


def reasons(measured: Measured) -> tuple[str, ...]:
    """Why something could not be told, each sentence once."""
    found: dict[str, None] = {}
    for holder in (measured.reference, measured.candidate, measured.difference):
        for sentence in getattr(holder, "reasons", ()) or ():
            found[str(sentence)] = None
    return tuple(found)


def _records_table(name: str, records: Iterable[Any]) -> Table:
    rows = list(records)
    untold = [row for row in rows if not _tells(row)]
    rows = [row for row in rows if _tells(row)] or rows[:1]
    columns = [
        item.name
        for item in fields(rows[0])
        if item.metadata.get("report", True) and not item.name.endswith("interval")
    ]
    columns = [column for column in columns if column not in _WORDY]
    heads = []
    for column in columns:
        label, unit = wording.label_and_unit(column)
        heads.append(_HEADS.get(column, f"{label} ({unit})" if unit else label))
        if _interval_name(rows[0], column) is not None:
            heads.append("95 % interval")
    cells = []
    for row in rows:
        line: list[str] = []
        for column in columns:
            unit = wording.label_and_unit(column)[1]
            line.append(_cell(getattr(row, column), column, unit))
            interval_name = _interval_name(row, column)
            if interval_name is not None:
                line.append(wording.interval(_pair(getattr(row, interval_name)), unit))
        cells.append(tuple(line))
    title = name.replace("_", " ").capitalize()
    if untold:
        title += f" (can't tell: {', '.join(str(row.name) for row in untold)})"
    return Table(title, tuple(heads), tuple(cells))


def _tells(record: Any) -> bool:
    """Whether anything but a count is known of a named thing; others always tell."""
    values = dict(_reported(record))
    if "name" not in values:
        return True
    measured = [value for value in values.values() if value is None or isinstance(value, float)]
    return not measured or any(value is not None for value in measured)


def _parallel_tables(measured: Measured) -> list[Table]:
    """Tuples of equal length whose names share their first word: registers, filters."""
    groups: dict[tuple[str, int], list[str]] = {}
    band_count = len(_reported_centres(measured)[1])
    for name, value in _reported(measured.difference):
        prefix, _, rest = name.partition("_")
        if not isinstance(value, (tuple, list)) or not value or not rest or prefix == "band":
            continue
        if len(value) > _MOST_ROWS:
            continue
        if name.endswith("_interval") or len(value) == band_count or not _is_column(value):
            continue
        groups.setdefault((prefix, len(value)), []).append(name)
    tables = []
    for (prefix, _), names in groups.items():
        if len(names) < 2:
            continue
        heads: list[str] = []
        cells: list[list[str]] = []
        for name in names:
            _add_columns(measured, name, heads, cells)
        tables.append(
            Table(
                _TITLES.get(prefix, prefix.capitalize()),
                tuple(heads),
                tuple(zip(*cells, strict=True)),
            )
        )
    return tables


def _add_columns(measured: Measured, name: str, heads: list[str], cells: list[list[str]]) -> None:
    """Append a column of the difference, after those of both recordings where there are such."""
    values = getattr(measured.difference, name)
    label, unit = wording.label_and_unit(name.partition("_")[2])
    if _is_pair(values[0]):
        heads.append("Range")
        cells.append([wording.band((low, high)) for low, high in values])
        return
    if isinstance(values[0], str):
        heads.append(label)
        cells.append([value.replace("_", " ") for value in values])
        return
    both = [
        (role, getattr(holder, name, None))
        for role, holder in (("reference", measured.reference), ("candidate", measured.candidate))
    ]
    beside = all(column is not None and len(column) == len(values) for _, column in both)
    columns = [*both, ("difference", values)] if beside else [("", values)]
    for role, column in columns:
        words = f"{label}, {role}" if role else label
        heads.append(f"{words} ({unit})" if unit else words)
        signed = role == "difference" or "gain" in name
        cells.append([_cell(value, "difference" if signed else "", unit) for value in column])


def _cell(value: Any, name: str, unit: str) -> str:
    if value is None:
        return wording.NOT_KNOWN
    if isinstance(value, str):
        return value.replace("_", " ")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return wording.number(float(value), unit, signed="difference" in name or "gain" in name)
    if name == "band_hz" and len(value) == 2:
        return wording.band((value[0], value[1]))
    if name == "span_s":
        return f"{wording.moment(value[0])}-{wording.moment(value[1])}"
    if name.endswith("spans_s"):
        shown = [f"{wording.moment(start)}-{wording.moment(end)}" for start, end in value[:4]]
        return ", ".join(shown) + (" ..." if len(value) > 4 else "")
    return ", ".join(_cell(item, name, unit) for item in value)


def _reported(holder: Any) -> list[tuple[str, Any]]:
    if not is_dataclass(holder) or isinstance(holder, type):
        return []
    return [
        (item.name, getattr(holder, item.name))
        for item in fields(holder)
        if item.metadata.get("report", True)
    ]


def _is_ratio(name: str) -> bool:
    return name in ("ratio", "tempo_ratio") or name.endswith(_RATIOS)


def _is_number(value: Any) -> bool:
    return value is None or (isinstance(value, (int, float)) and not isinstance(value, bool))


def _is_series(value: Any) -> bool:
    if isinstance(value, np.ndarray):
        return bool(value.ndim == 1)
    return isinstance(value, (tuple, list)) and all(map(_is_number, value))


def _is_pair(value: Any) -> bool:
    return isinstance(value, (tuple, list)) and len(value) == 2 and all(map(_is_number, value))


def _is_column(values: Any) -> bool:
    plain = all(isinstance(item, (str, int, float)) or item is None for item in values)
    return plain or all(_is_pair(item) for item in values)


def _is_records(value: Any) -> bool:
    return (
        isinstance(value, (tuple, list))
        and len(value) > 0
        and all(is_dataclass(item) and not isinstance(item, type) for item in value)
    )


def _has(holder: Any, name: str) -> bool:
    return getattr(holder, name, None) is not None


def _number(holder: Any, name: str) -> float | None:
    value = getattr(holder, name, None)
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return value if math.isfinite(value) else None


def _finite(value: Any) -> float | None:
    return None if value is None or not math.isfinite(value) else float(value)


def _bounds(holder: Any, name: str) -> tuple[float | None, float | None] | None:
    return _pair(getattr(holder, f"{name}_interval", None))


def _pair(value: Any) -> tuple[float | None, float | None] | None:
    if value is None or len(value) != 2 or not all(_is_number(bound) for bound in value):
        return None
    return _finite(value[0]), _finite(value[1])


def _interval_name(record: Any, column: str) -> str | None:
    """Name of the interval that goes with a column: its own, or the record's only one."""
    if hasattr(record, f"{column}_interval"):
        return f"{column}_interval"
    if column.startswith(("difference", "level_difference")) and hasattr(record, "interval"):
        return "interval"
    return None


def _band_name(centre_hz: float) -> str:
    """Nominal name of a third octave (IEC 61260-1); other bands by three digits."""
    nominal = min(NOMINAL_HZ, key=lambda name: abs(name - centre_hz))
    if abs(nominal - centre_hz) < 0.03 * centre_hz:
        return f"{nominal:g}"
    return f"{float(f'{centre_hz:.3g}'):g}"
