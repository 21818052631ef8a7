"""Which parts stand elsewhere: the smallest sets of parts that, moved together, explain the fit.

Tried are single parts, the families of a score, and parts that attack together. A set counts where
moving it makes the fitted differences much likelier (generalised least squares with their
covariance); after the first a further one is sought on top of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from mixcompare.knowledge.notes import PartNotes
from mixcompare.parts.families import FAMILIES, is_of
from mixcompare.parts.fit import Cells, Fitted

FloatArray = npt.NDArray[np.float64]
Set = tuple[tuple[int, ...], str | None]
"""Parts by their places, and the family that they are."""

_LEAST_DEVIATIONS = 3.0  # chosen on three movements: of 6 played again unchanged the next has 2.7
_LEAST_DB = 1.0
_OFF_DB, _OTHERS_OFF_DB = 0.3, 1.5
"""What the model gets wrong of a part that did not change, beside what it knows to be unsure.

Of the same instruments, and of others, whose levels differ: sections of three libraries lie apart
by 2.3 dB, a standard deviation (436 sections; 90 % within 4.0), of which the fit reads half. Of 36
unchanged pairs of them nine are told with 0.3, one with 1.0, none with 1.5.
"""
_NOT_APART = 0.45  # cosine of two parts' shares of all cells
_MOST_SETS = 3
_TOGETHER_S, _TOGETHER_SHARES = 0.06, (0.6, 0.8)  # onsets; of both parts' together
SINGLE_PRICE = 0.5  # a part alone is the simpler answer
_MOST_OF_ALL, _HALF_OF_ALL = 0.58, 0.42
"""Share of energy and number: over it the rest is taken to have moved, between them either."""


@dataclass(frozen=True)
class Moved:
    """Parts that moved together.

    Attributes
    ----------
    parts : tuple of int
    name : str or None
        Of the family, where they are one.
    level_db, deviation_db : float
        Against the rest, as the fit reads it.
    against : bool
        Whether as much of the orchestra moved as stayed: then each stands against the other.
    """

    parts: tuple[int, ...]
    name: str | None
    level_db: float
    deviation_db: float
    against: bool


def moved_in(fitted: Fitted, parts: Sequence[PartNotes]) -> tuple[Moved, ...]:
    """The sets of parts that moved, the surest first."""
    count = len(parts)
    off_db = _OTHERS_OFF_DB if fitted.other_instruments else _OFF_DB
    weight = np.asarray(np.linalg.inv(fitted.covariance + np.eye(count) * off_db**2))
    sets = named_sets(parts)
    chosen: list[Set] = []
    while len(chosen) < _MOST_SETS:
        taken = {part for members, _ in chosen for part in members}
        # Sets that are everybody together leave nothing to stand against.
        free = [one for one in sets if not taken & set(one[0]) and len(taken) + len(one[0]) < count]
        tried = [(_gain(fitted.difference_db, weight, [*chosen, one]), one) for one in free]
        tried = [(gain - SINGLE_PRICE * (len(one[0]) > 1), one) for gain, one in tried]
        before = _gain(fitted.difference_db, weight, chosen)
        if not tried:
            break
        gain, best = max(tried, key=lambda entry: entry[0])
        if gain - before < _LEAST_DEVIATIONS**2 / 2:
            break
        chosen.append(best)
    levels, deviations = _levels(fitted.difference_db, weight, chosen)
    return tuple(
        _told(name, members, level, deviation, fitted)
        for (members, name), level, deviation in zip(chosen, levels, deviations, strict=True)
        if abs(level) >= _LEAST_DB
    )


def _told(
    name: str | None, members: tuple[int, ...], level: float, deviation: float, fitted: Fitted
) -> Moved:
    """A set, or all others the other way where it is most of the orchestra."""
    count = len(fitted.energy)
    share = (float(fitted.energy[list(members)].sum()) + len(members) / count) / 2
    if share > _MOST_OF_ALL:
        rest = tuple(part for part in range(count) if part not in members)
        return Moved(rest, None, -level, deviation, False)
    return Moved(members, name, level, deviation, share > _HALF_OF_ALL)


def _design(count: int, chosen: Sequence[Set]) -> FloatArray:
    columns: FloatArray = np.zeros((count, 1 + len(chosen)))
    columns[:, 0] = 1
    for place, (members, _) in enumerate(chosen):
        columns[list(members), 1 + place] = 1
    return columns


def _gain(
    difference_db: FloatArray,
    weight: FloatArray,
    chosen: Sequence[Set],
) -> float:
    """Logarithm of how much likelier the differences are with these sets moved."""
    columns = _design(len(difference_db), chosen)
    along = columns.T @ weight @ difference_db
    return 0.5 * float(along @ np.linalg.solve(columns.T @ weight @ columns, along))


def _levels(
    difference_db: FloatArray,
    weight: FloatArray,
    chosen: Sequence[Set],
) -> tuple[FloatArray, FloatArray]:
    columns = _design(len(difference_db), chosen)
    covariance = np.linalg.inv(columns.T @ weight @ columns)
    levels = covariance @ columns.T @ weight @ difference_db
    return levels[1:], np.sqrt(np.diag(covariance))[1:]


def named_sets(parts: Sequence[PartNotes]) -> list[Set]:
    """Single parts, families, and parts that attack together."""
    out: dict[tuple[int, ...], str | None] = {(part,): None for part in range(len(parts))}
    for family in FAMILIES:
        members = tuple(place for place, part in enumerate(parts) if is_of(part.name, family))
        out.setdefault(members, family)
    for least in _TOGETHER_SHARES:
        for row in together(parts, least):
            out.setdefault(tuple(np.flatnonzero(row).tolist()), None)
    return [one for one in out.items() if 0 < len(one[0]) < len(parts)]


def together(parts: Sequence[PartNotes], least: float) -> npt.NDArray[np.bool_]:
    """Which parts attack together: so many of either's onsets are common; shape (parts, parts)."""
    onsets = [set(_places(part).tolist()) for part in parts]
    near = np.eye(len(parts), dtype=bool)
    for one, other in combinations(range(len(parts)), 2):
        either = len(onsets[one] | onsets[other])
        near[one, other] = near[other, one] = (
            either > 0 and len(onsets[one] & onsets[other]) >= least * either
        )
    return near


def doubles(parts: Sequence[PartNotes], least: float) -> npt.NDArray[np.bool_]:
    """Whether a part (row) has so many of its notes from another (column), at whatever octave."""
    notes = [
        set(zip(_places(part).tolist(), (part.notes[:, 2] % 12).tolist(), strict=True))
        for part in parts
    ]
    return np.array([[len(one & other) >= least * len(one) for other in notes] for one in notes])


def not_apart(cells: Cells, fitted: Fitted) -> list[list[int]]:
    """For every part those that fill the same cells."""
    shares = (fitted.shares * cells.heard).reshape(len(fitted.shares), -1)
    length = np.maximum(np.linalg.norm(shares, axis=1), 1e-12)
    alike = shares @ shares.T / np.outer(length, length) > _NOT_APART
    return [
        [int(other) for other in np.flatnonzero(row) if other != place]
        for place, row in enumerate(alike)
    ]


def _places(part: PartNotes) -> npt.NDArray[np.int64]:
    """When its notes begin, on a grid on which what is written together falls together."""
    return np.round(part.notes[:, 0] / _TOGETHER_S).astype(np.int64)
