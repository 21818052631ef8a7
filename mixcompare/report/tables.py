"""Measurements as rows of a table, whatever values an analyzer names."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import Field, dataclass, fields, is_dataclass
from typing import Any

import numpy as np

from mixcompare import units
from mixcompare.fields import gap_unit, is_change, label_and_unit
from mixcompare.findings import moment
from mixcompare.report import wording
from mixcompare.results import Measured
from mixcompare.standards.iec61260 import NOMINAL_HZ
from mixcompare.units import written

_TITLES = {
    "register": "Registers (differences at the same gain for what did not change)",
    "voice": "Voices",
    "shaping": "Filters that lead from the reference's tone to the candidate's",
}
ONLY_WITH_FINDINGS = (_TITLES["shaping"],)
"""What would be set at the desk: nobody should, where nothing of it sticks out."""
_APART = "Over the music in common, and not the difference of the two values beside it"
_IN_BRACKETS = "In brackets: of parts that can't be told apart, and no measurement of one of them"
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
    """A table ready to be shown: heads, rows of cells, and a sentence below where one is due."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


def single_values(measured: Measured) -> Table:
    """Every value that is one number, of both recordings and their difference."""
    reference, candidate, difference = _sides(measured)
    known = _fields(measured)
    rows, apart = [], []
    for name in reference | candidate:
        sides = (_number(reference.get(name)), _number(candidate.get(name)))
        of_pair = _of_pair(difference, known[name].metadata.get("by_pair", ""))
        sides = of_pair if None not in of_pair else sides
        if sides == (None, None) or name.endswith("_interval"):
            continue
        label, unit = label_and_unit(known[name])
        gap = _number(difference.get(name))
        in_both = f"{gap} in both" if isinstance(gap, int) else ""  # a count, no difference
        gap = None if in_both else gap
        signed = is_change(known[name])
        gap_in = gap_unit(known[name], unit)
        if not _is_formed_of(sides, gap, unit):
            apart.append(label)
        rows.append(
            (
                label,
                *(units.quantity(side, unit) for side in sides),
                in_both or units.quantity(gap, gap_in, signed),
                wording.interval(_pair(difference.get(f"{name}_interval")), gap_in, signed),
            )
        )
    heads = ("Value", "Reference", "Candidate", "Difference", "95 % interval")
    note = f"{_APART}: {', '.join(apart)}." if apart else ""
    return Table("", heads, tuple(rows), note)


def _of_pair(
    difference: Mapping[str, Any], name: str
) -> tuple[int | float | None, int | float | None]:
    """What the pair tells of both recordings, reference first."""
    of_reference, of_candidate = (
        _number(difference.get(f"{side}_{name}")) for side in ("reference", "candidate")
    )
    return of_reference, of_candidate


def _is_formed_of(sides: tuple[float | None, float | None], gap: float | None, unit: str) -> bool:
    """Whether a difference is that of the two numbers beside it, as near as they are shown."""
    reference, candidate = sides
    if reference is None or candidate is None or gap is None:
        return True
    return bool(abs(candidate - reference - gap) < 1.01 * units.step_of(unit))


def key_value(measured: Measured) -> str:
    """The number that the aspect is known by: ``Loudness range (LRA): 7.2 LU against 7.8 LU``.

    Of both recordings where each has it, reference first, or where the pair tells of each.
    """
    reference, candidate, difference = _sides(measured)
    known = _fields(measured)
    for name in measured.about.key:
        sides = [_number(side.get(name)) for side in (reference, candidate)]
        if None in sides:
            sides = list(_of_pair(difference, name))
        told = known.get(name) or known.get(f"reference_{name}")
        if told is None:
            continue
        label, unit = label_and_unit(told)
        label = label.removesuffix(", reference")
        if None not in sides:
            return f"{label}: {' against '.join(units.quantity(side, unit) for side in sides)}"
        gap = _number(difference.get(name))
        if gap is not None:
            signed = is_change(told)
            unit = gap_unit(told, unit)
            around = wording.interval(_pair(difference.get(f"{name}_interval")), unit, signed)
            shown = f"{label}: {units.quantity(gap, unit, signed)}"
            narrow = len(set(around.split(" to "))) == 1
            return shown if narrow else f"{shown} ({around})"
    return ""


def pair_values(measured: Measured) -> Table:
    """Every single value that only the comparison has, such as how much wetter one is."""
    reference, candidate, difference = _sides(measured)
    known = _fields(measured)
    rows = []
    for name, value in difference.items():
        number = _number(value)
        beside = reference.get(name) is not None or candidate.get(name) is not None
        if number is None or beside:
            continue
        label, unit = label_and_unit(known[name])
        signed, unit = is_change(known[name]), gap_unit(known[name], unit)
        gap = wording.interval(_pair(difference.get(f"{name}_interval")), unit, signed)
        rows.append((label, units.quantity(number, unit, signed), gap))
    heads = ("Candidate against reference", "Value", "95 % interval")
    columns = 3 if any(row[2] for row in rows) else 2
    return Table("", heads[:columns], tuple(row[:columns] for row in rows))


def bands(measured: Measured) -> Table | None:
    """Everything that was measured band by band; None where nothing was."""
    kind, centres = _reported_centres(measured)
    if not centres:
        return None
    known = _fields(measured)
    heads = ["Octave (Hz)" if kind == "octave_" else "Band (Hz)"]
    columns: list[list[str]] = [[_band_name(centre) for centre in centres]]
    sides = dict(zip(("reference", "candidate", "difference"), _sides(measured), strict=True))
    for name in sides["reference"] | sides["candidate"] | sides["difference"]:
        if name.endswith(("_centre_hz", "_interval")):
            continue
        label, unit = label_and_unit(known[name], kind)
        for role, side in sides.items():
            values: Any = side.get(name)
            if not _is_series(values) or len(values) != len(centres):
                continue
            signed = role == "difference" and is_change(known[name])
            shown = gap_unit(known[name], unit) if signed else unit
            bare = role == "difference" and (not signed or _says_so(label))
            words = label if bare else f"{label}, {role}"
            heads.append(words + (f" ({written(shown)})" if shown else ""))
            columns.append([units.number(_number(value), shown, signed) for value in values])
    if len(columns) == 1:
        return None
    return Table("Band by band", tuple(heads), tuple(zip(*columns, strict=True)))


def _reported_centres(measured: Measured) -> tuple[str, list[float]]:
    """Mid-band frequencies, and the prefix of what was measured in those bands."""
    for holder in (measured.difference, measured.reference, measured.candidate):
        values = _values(holder)
        for kind in ("band_", "octave_"):
            centres = values.get(f"{kind}centre_hz")
            if centres is not None and len(centres):
                return kind, [float(centre) for centre in centres]
    return "", []


def lists(measured: Measured) -> tuple[Table, ...]:
    """Lists of the difference: named things (elements, registers), and columns of one prefix."""
    out = []
    for name, value in _values(measured.difference).items():
        if _is_records(value):
            out.append(_records_table(name, value))
    out.extend(_parallel_tables(measured))
    return tuple(out)


def reasons(measured: Measured) -> tuple[str, ...]:
    """Why something could not be told, each sentence once."""
    found: dict[str, None] = {}
    for side in _sides(measured):
        found |= dict.fromkeys(side.get("reasons", ()))  # not every measurement has some
    return tuple(found)


def _records_table(name: str, records: Iterable[Any]) -> Table:
    rows = list(records)
    untold = [row for row in rows if not _tells(row)]
    rows = [row for row in rows if _tells(row)] or rows[:1]
    first = _values(rows[0])
    columns = [column for column in first if not column.endswith("interval")]
    known = {item.name: item for item in fields(rows[0])}
    changes = {column for column in columns if is_change(known[column])}
    several = {item.metadata["of_several"]: column for column, item in known.items()
               if "of_several" in item.metadata}  # fmt: skip
    heads = []
    for column in columns:
        label, unit = label_and_unit(known[column])
        unit = gap_unit(known[column], unit)
        if column in changes and not _says_so(label):
            label += ", difference"
        heads.append(_HEADS.get(column, f"{label} ({written(unit)})" if unit else label))
        if _interval_name(first, column) is not None:
            heads.append("95 % interval")
    cells, bracketed = [], False
    for row in rows:
        line: list[str] = []
        values = _values(row)
        for column in columns:
            unit = gap_unit(known[column], label_and_unit(known[column])[1])
            shown = [_cell(values[column], column, unit, column in changes)]
            interval_name = _interval_name(values, column)
            if interval_name is not None:
                shown.append(wording.interval(_pair(values[interval_name]), unit))
            if values.get(several.get(column, "")) and values[column] is not None:
                shown, bracketed = [f"({cell})" for cell in shown], True
            line += shown
        cells.append(tuple(line))
    said = [place for place, column in enumerate(zip(*cells, strict=True)) if _says(column)]
    heads = [heads[place] for place in said]
    cells = [tuple(line[place] for place in said) for line in cells]
    title = name.replace("_", " ").capitalize()
    if untold:
        title += f" (can't tell: {', '.join(str(row.name) for row in untold)})"
    return Table(title, tuple(heads), tuple(cells), f"{_IN_BRACKETS}." if bracketed else "")


def _says(column: Sequence[str]) -> bool:
    """Whether anything stands in a column."""
    return any(cell not in ("", units.NOT_KNOWN) for cell in column)


def _tells(record: Any) -> bool:
    """Whether anything but a count is known of a named thing; others always tell."""
    values = _values(record)
    if "name" not in values:
        return True
    measured = [value for value in values.values() if value is None or isinstance(value, float)]
    return not measured or any(value is not None for value in measured)


def _parallel_tables(measured: Measured) -> list[Table]:
    """Tuples of equal length whose names share their first word: registers, filters."""
    groups: dict[tuple[str, int], list[str]] = {}
    band_count = len(_reported_centres(measured)[1])
    for name, value in _values(measured.difference).items():
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
    reference, candidate, difference = _sides(measured)
    values = difference[name]
    item = _fields(measured)[name]
    label, unit = label_and_unit(item, name.partition("_")[0] + "_")
    if _is_pair(values[0]):
        heads.append("Range")
        cells.append([wording.band((low, high)) for low, high in values])
        return
    if isinstance(values[0], str):
        heads.append(label)
        cells.append([value.replace("_", " ") for value in values])
        return
    both = [("reference", reference.get(name)), ("candidate", candidate.get(name))]
    beside = all(column is not None and len(column) == len(values) for _, column in both)
    columns = [*both, ("difference", values)] if beside else [("", values)]
    for role, column in columns:
        words = f"{label}, {role}" if role else label
        signed = role == "difference" or (not role and is_change(item))
        shown = gap_unit(item, unit) if signed else unit
        heads.append(f"{words} ({written(shown)})" if shown else words)
        cells.append([_cell(value, name, shown, signed) for value in column])


def _cell(value: Any, name: str, unit: str, signed: bool = False) -> str:
    if value is None:
        return units.NOT_KNOWN
    if isinstance(value, str):
        return value.replace("_", " ")
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, int):
        return str(value)
    if isinstance(value, float):
        return units.number(float(value), unit, signed)
    if name == "band_hz" and len(value) == 2:
        return wording.band((value[0], value[1]))
    if name == "bars":
        return "-".join(str(number) for number in dict.fromkeys(value))
    if name == "span_s":
        return units.in_print(f"{moment(value[0])}-{moment(value[1])}")
    if name.endswith("spans_s"):
        shown = [f"{moment(start)}-{moment(end)}" for start, end in value[:4]]
        return units.in_print(", ".join(shown)) + (" ..." if len(value) > 4 else "")
    return ", ".join(_cell(item, name, unit) for item in value)


def _sides(measured: Measured) -> tuple[dict[str, Any], dict[str, Any], dict[str, Any]]:
    """Values of reference, candidate and difference by name."""
    return _values(measured.reference), _values(measured.candidate), _values(measured.difference)


def _values(holder: Any) -> dict[str, Any]:
    """Everything of a dataclass that belongs in a table, by name."""
    return {
        item.name: getattr(holder, item.name)
        for item in fields(holder)
        if item.metadata.get("report", True) and item.metadata.get("table", True)
    }


def _fields(measured: Measured) -> dict[str, Field[Any]]:
    """What the values say of themselves, by name; the difference's word counts first."""
    holders = (measured.reference, measured.candidate, measured.difference)
    return {item.name: item for holder in holders if holder is not None for item in fields(holder)}


def _says_so(label: str) -> bool:
    return re.search(r"\b(difference|change)\b", label.lower()) is not None


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


def _number(value: Any) -> float | None:
    if value is None or isinstance(value, bool) or not isinstance(value, (int, float)):
        return None
    return value if math.isfinite(value) else None


def _pair(value: Any) -> tuple[float | None, float | None] | None:
    if value is None or len(value) != 2 or not all(_is_number(bound) for bound in value):
        return None
    return _number(value[0]), _number(value[1])


def _interval_name(values: dict[str, Any], column: str) -> str | None:
    """Name of the interval that goes with a column: its own, or the record's only one."""
    if f"{column}_interval" in values:
        return f"{column}_interval"
    return "interval" if column.startswith("difference") and "interval" in values else None


def _band_name(centre_hz: float) -> str:
    """Nominal name of a third octave (IEC 61260-1); other bands by three digits."""
    nominal = min(NOMINAL_HZ, key=lambda name: abs(name - centre_hz))
    if abs(nominal - centre_hz) < 0.03 * centre_hz:
        return f"{nominal:g}"
    return f"{float(f'{centre_hz:.3g}'):g}"
