"""What every analyzer owes: the same answer either way, and none to identity or gain.

Nothing here knows an analyzer. How a field behaves when reference and candidate are exchanged is
read from its declaration (``mixcompare.fields``), and whatever two comparisons tell against it is
returned as sentences.
"""

from __future__ import annotations

import typing
from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import TimeMap
from mixcompare.findings import Finding, Span
from mixcompare.pair.match import Match

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
        ("holds_back", "pushes_on"), ("higher", "lower"), ("left", "right"), ("added", "removed"),
        ("right_later", "left_later"), ("channels_swapped", "channels_swapped"),
        ("polarity_inverted", "polarity_inverted"), ("covered", "uncovered"),
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
            for other in ("partner", "change", "along", "scale"):
                if item.metadata.get(other, item.name) not in declared:
                    out.append(f"{record.__name__}.{item.name}: no {item.metadata[other]}")
    return out


# --- contradictions ----------------------------------------------------------------------------


def contradictions(
    forth: Any, back: Any, match: Match, gain_db: float = 0.0, exact: float = EXACT
) -> list[str]:
    """Whatever the exchanged comparison ``back`` says against ``forth``.

    Parameters
    ----------
    forth, back : dataclass
        Differences of ``compare(a, b)`` and of ``compare(b, a)``. A difference that tells nothing
        is its own mirror image: give it twice.
    match : Match
        Of ``forth``.
    gain_db : float
        What a value that holds the gain may say of two recordings that differ in nothing else.
    exact : float
        What counts as rounding.
    """
    return [sentence for sentence, _ in deviations(forth, back, match, gain_db, exact) if sentence]


def deviations(
    forth: Any, back: Any, match: Match, gain_db: float = 0.0, exact: float = EXACT, place: str = ""
) -> Iterator[tuple[str, float]]:
    """A sentence per field ("" where it mirrors), and by how much it misses."""
    place = place or type(forth).__name__
    time_map = match.time_map
    one_clock = np.ptp(time_map.candidate_s - time_map.reference_s) < 1e-6
    declared = {item.name: item.metadata for item in fields(forth)}
    for name in declared:
        ours, theirs = getattr(forth, name), getattr(back, name)
        rule = declared[base_of(name, set(declared))]
        here = f"{place}.{name}"
        tolerance = rule.get("tolerance", 0.0)
        if not one_clock:
            tolerance = rule.get("stretched", tolerance)
        records = _as_records(ours) + _as_records(theirs)
        if records and np.isfinite(tolerance):
            if len(_as_records(ours)) != len(_as_records(theirs)):
                yield f"{here}: {len(_as_records(ours))} against {len(_as_records(theirs))}", np.inf
                continue
            half = len(records) // 2
            for index, (one, other) in enumerate(zip(records[:half], records[half:], strict=True)):
                yield from deviations(one, other, match, gain_db, exact, f"{here}[{index}]")
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
                if "scale" in rule:
                    scale = getattr(forth, rule["scale"]) or 1.0
                    wanted, tolerance = wanted / scale, tolerance / min(scale, 1.0)
                wanted = wanted[..., ::-1] if interval else wanted
            elif kind == "pair":
                wanted = wanted[..., ::-1]
            elif kind == "moment":
                wanted = time_map.to_candidate(wanted)
            elif kind == "pitch":
                semitones = match.transposition_semitones
                in_hz = name.endswith("_hz")
                wanted = wanted * 2 ** (semitones / 12) if in_hz else wanted + semitones
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
        if name.endswith("_hz") and kind in ("kept", "pitch"):
            wanted, found = np.log2(wanted), np.log2(found)
        misses = np.abs(wanted - found)
        course = "along" in rule and not one_clock  # attacks fall between the other's frames
        most = np.nanmedian if course else np.nanmax
        miss = float(most(misses)) if np.isfinite(misses).any() else 0.0
        wrong = miss > tolerance + exact
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


# --- findings ----------------------------------------------------------------------------------


def unlike(
    forth: Sequence[Finding],
    back: Sequence[Finding],
    time_map: TimeMap,
    least_jnd: float = 0.25,
    scale: float = 1.0,
) -> list[str]:
    """Whatever the findings of the exchanged comparison say against those of the other.

    Sizes agree within ``least_jnd`` just-noticeable differences; those of ratios are told of the
    other side, so their size is compared in these. ``scale`` is that of all positions: a move is
    told in the candidate's image.
    """
    ours = sorted((one.aspect, mirrored_kind(one.kind), one.spans_s) for one in forth)
    theirs = sorted((one.aspect, one.kind, one.candidate_spans_s) for one in back)
    if [one[:2] for one in ours] != [one[:2] for one in theirs]:
        return [f"{[one[:2] for one in theirs]}, should be {[one[:2] for one in ours]}"]
    out = []
    order = sorted(forth, key=lambda one: (one.aspect, mirrored_kind(one.kind), one.spans_s))
    ends = 0.6 + 0.05 * (np.ptp(time_map.candidate_s - time_map.reference_s) > 1e-6)
    for one, other in zip(
        order, sorted(back, key=lambda one: (one.aspect, one.kind, one.spans_s)), strict=True
    ):
        where = f"{one.kind} and {other.kind}"
        turns = one.kind != other.kind or one.kind == "polarity_inverted"
        sign = -1.0 if turns else 1.0
        if one.kind.startswith("moved"):
            sign /= scale
        wanted = sign * one.difference
        limits = tuple(sorted(sign * end for end in one.interval))
        # A share of its own reference; clipping is a share of the time, and only its sign turns.
        of_reference = one.unit == "%" and not one.kind.startswith("clipping")
        if of_reference:
            wanted, low, high = (-x / (1 + x / 100) for x in (one.difference, *one.interval))
            limits = (high, low)
        if one.unit == "dB/dB":
            wanted, low, high = (1 / (1 + x) - 1 for x in (one.difference, *one.interval))
            limits = (high, low)
        step = abs(wanted) / max(other.jnd if of_reference else one.jnd, 1e-9)
        if wanted * other.difference <= 0:
            out.append(f"{where}: {other.difference:+.3g} has the wrong sign")
        for name, found, due in (
            ("difference", other.difference, wanted),
            ("lower end", other.interval[0], limits[0]),
            ("upper end", other.interval[1], limits[1]),
        ):
            if abs(found - due) > least_jnd * step:
                out.append(f"{where}: {name} {found:.4g}, should be {due:.4g}")
        jnd = other.jnd / abs(sign)
        if of_reference:  # halves are told, not doubles
            jnd *= abs(one.difference / other.difference)
        if abs(jnd - one.jnd) > max(least_jnd, 0.05 * one.jnd):
            out.append(f"{where}: {other.jnd:.3g} just-noticeable differences, not {one.jnd:.3g}")
        if abs(one.confidence - other.confidence) > 0.1:
            out.append(f"{where}: confidence {other.confidence:.2f}, not {one.confidence:.2f}")
        if one.cause != other.cause or one.unit != other.unit:
            out.append(f"{where}: {other.cause} {other.unit}, not {one.cause} {one.unit}")
        for spans, due_spans in (
            (other.spans_s, _there(one.spans_s, time_map)),
            (other.candidate_spans_s, one.spans_s),
        ):
            if not spans:
                continue  # the other clock is filled in later
            like = np.shape(spans) == np.shape(due_spans)
            if not like or np.abs(np.subtract(spans, due_spans)).max() > ends:
                out.append(f"{where}: {spans}, should be {due_spans}")
    return out


def _there(spans_s: Sequence[Span], time_map: TimeMap) -> list[tuple[float, float]]:
    return [tuple(time_map.to_candidate(span).tolist()) for span in spans_s]
