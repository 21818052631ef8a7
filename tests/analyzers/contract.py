"""What every analyzer owes: the same answer either way, and none to identity or gain.

Nothing here knows an analyzer. How a field behaves when reference and candidate are exchanged is
read from its declaration (``mixcompare.mirror``), and whatever two comparisons tell against it is
returned as sentences.
"""

from __future__ import annotations

import typing
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.analyzers.base import Analyzer
from mixcompare.features import Features
from mixcompare.findings import Finding, Span
from mixcompare.match import Match
from mixcompare.mirror import WITH_GAIN
from mixcompare.timemap import TimeMap

FloatArray = npt.NDArray[np.float64]

EXACT = 1e-6
TURNS = {"signed": np.negative, "ratio": np.reciprocal, "percent": lambda x: -x / (1 + x / 100)}
"""What becomes of values; they fall as the value rises, so that intervals change ends."""

MIRRORED = {
    one: other
    for pair in (
        ("louder", "weaker"), ("brighter", "darker"), ("wider", "narrower"),
        ("wetter", "drier"), ("longer", "shorter"), ("smaller", "larger"),
        ("detached", "connected"), ("faster", "slower"), ("freer", "steadier"),
        ("holds_back", "pushes_on"), ("higher", "lower"), ("left", "right"),
        ("channels_swapped", "channels_swapped"), ("polarity_inverted", "polarity_inverted"),
    )
    for one, other in (pair, pair[::-1])
}  # fmt: skip
"""Last words of a finding's kind, and what the exchanged comparison says instead."""


def mirrored_kind(kind: str) -> str:
    """Kind of the finding that the exchanged comparison owes."""
    for one, other in MIRRORED.items():
        if kind == one or kind.endswith(f"_{one}"):
            return kind.removesuffix(one) + other
    raise KeyError(f"no mirror image of {kind!r}")


# --- declarations ------------------------------------------------------------------------------


def records_in(annotation: Any) -> Iterator[type]:
    """Dataclasses that a type is made of."""
    if is_dataclass(annotation) and isinstance(annotation, type) and annotation is not TimeMap:
        yield annotation
    for part in typing.get_args(annotation):
        yield from records_in(part)


def is_text(annotation: Any) -> bool:
    """Whether a type holds nothing but words."""
    return annotation is str or annotation == tuple[str, ...]


def base_of(name: str, names: set[str]) -> str:
    """Field whose declaration counts: an interval goes as its value does."""
    stem = name.removesuffix("_interval")
    return stem if stem in names else name


def undeclared(record: type) -> list[str]:
    """Fields of a difference, and of the records in it, that declare no behaviour."""
    hints = typing.get_type_hints(record)
    declared = {item.name: item.metadata for item in fields(record)}
    out = []
    for item in fields(record):
        nested = [inner for inner in records_in(hints[item.name]) if inner is not record]
        if nested:
            out += [name for inner in nested for name in undeclared(inner)]
        elif not is_text(hints[item.name]):
            if "mirror" not in declared[base_of(item.name, set(declared))]:
                out.append(f"{record.__name__}.{item.name}")
            for other in ("partner", "change", "along"):
                if item.metadata.get(other, item.name) not in declared:
                    out.append(f"{record.__name__}.{item.name}: no {item.metadata[other]}")
    return out


# --- contradictions ----------------------------------------------------------------------------


def contradictions(forth: Any, back: Any, time_map: TimeMap, gain_db: float = 0.0) -> list[str]:
    """Whatever the exchanged comparison ``back`` says against ``forth``.

    Parameters
    ----------
    forth, back : dataclass
        Differences of ``compare(a, b)`` and of ``compare(b, a)``. A difference that tells nothing
        is its own mirror image: give it twice.
    time_map : TimeMap
        Of ``forth``.
    gain_db : float
        What a value that holds the gain may say of two recordings that differ in nothing else.
    """
    return [sentence for sentence, _ in deviations(forth, back, time_map, gain_db) if sentence]


def deviations(
    forth: Any, back: Any, time_map: TimeMap, gain_db: float = 0.0, place: str = ""
) -> Iterator[tuple[str, float]]:
    """A sentence per field ("" where it mirrors), and by how much it misses."""
    place = place or type(forth).__name__
    declared = {item.name: item.metadata for item in fields(forth)}
    for name in declared:
        ours, theirs = getattr(forth, name), getattr(back, name)
        rule = declared[base_of(name, set(declared))]
        here = f"{place}.{name}"
        if records := _as_records(ours) + _as_records(theirs):
            if len(_as_records(ours)) != len(_as_records(theirs)):
                yield f"{here}: {len(_as_records(ours))} against {len(_as_records(theirs))}", np.inf
                continue
            half = len(records) // 2
            for index, (one, other) in enumerate(
                zip(records[:half], records[half:], strict=True)
            ):
                yield from deviations(one, other, time_map, gain_db, f"{here}[{index}]")
            continue
        kind = rule.get("mirror")
        if kind is None or kind == "of_reference":
            if kind and (ours is None) != (theirs is None):
                yield f"{here}: told one way only", np.inf
            continue
        if kind == "inverse":
            wanted = np.stack([ours.candidate_s, ours.reference_s])
            found = np.stack([theirs.reference_s, theirs.candidate_s])
        else:
            if kind == "exchanged":
                ours = getattr(forth, rule["partner"])
            wanted, found = _numbers(ours), _numbers(theirs)
            interval = name.endswith("interval")
            if kind in TURNS:
                if "with_gain" in rule:
                    found = found - gain_db
                    wanted = wanted - gain_db
                wanted = TURNS[kind](wanted)
                wanted = wanted[..., ::-1] if interval else wanted
            elif kind == "pair":
                wanted = wanted[..., ::-1]
            elif kind == "moment":
                wanted = time_map.to_candidate(wanted)
            elif kind == "moved":
                wanted = wanted + _numbers(getattr(forth, rule["change"]))
            if "along" in rule and wanted.size and found.size:
                times = time_map.to_candidate(_numbers(getattr(forth, rule["along"])))
                found = _at(times, _numbers(getattr(back, rule["along"])), found)
            elif kind == "moment" and wanted.shape != found.shape and wanted.ndim == 1:
                wanted = np.array([wanted.min(), wanted.max()])  # another grid over the same music
                found = np.array([found.min(), found.max()])
        if wanted.shape != found.shape:
            yield f"{here}: {wanted.shape} against {found.shape}", np.inf
            continue
        if (np.isnan(wanted) != np.isnan(found)).any() and "along" not in rule:
            yield f"{here}: not told of the same, {wanted} against {found}", np.inf
            continue
        miss = np.abs(wanted - found)
        miss = float(np.nanmax(miss)) if np.isfinite(miss).any() else 0.0
        wrong = miss > rule.get("tolerance", 0.0) + EXACT
        yield (f"{here}: {_few(found)}, should be {_few(wanted)}" if wrong else ""), miss


def _as_records(value: Any) -> list[Any]:
    values = value if isinstance(value, (tuple, list)) else [value]
    return [one for one in values if is_dataclass(one) and not isinstance(one, TimeMap)]


def _numbers(value: Any) -> FloatArray:
    """Any value of a difference as an array, NaN where nothing is told."""
    if isinstance(value, str) or (isinstance(value, tuple) and value and isinstance(value[0], str)):
        return np.array([float(ord(letter)) for letter in "".join(value)])
    if isinstance(value, tuple) and any(isinstance(one, tuple) for one in value):
        value = [(np.nan, np.nan) if one is None else one for one in value]
    return np.atleast_1d(np.array(value, np.float64))


def _at(times: FloatArray, grid: FloatArray, values: FloatArray) -> FloatArray:
    """A course at other times of its clock; NaN outside, and next to what is not told."""
    left = np.clip(np.searchsorted(grid, times, side="right") - 1, 0, len(grid) - 2)
    weight = ((times - grid[left]) / (grid[left + 1] - grid[left])).reshape(
        (-1,) + (1,) * (values.ndim - 1)
    )
    inside = (weight > -1e-6) & (weight < 1 + 1e-6)
    first, second = np.where(weight > 1 - 1e-9, values[left + 1], values[left]), values[left + 1]
    mixed = first + np.clip(weight, 0, 1) * (np.where(weight < 1e-9, first, second) - first)
    return np.where(inside, mixed, np.nan)


def _few(values: FloatArray) -> str:
    return np.array2string(values, precision=4, threshold=6)
