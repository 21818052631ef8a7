"""Who plays an element, on cells by hand."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.knowledge.notes import PartNotes
from mixcompare.parts.changed import Moved
from mixcompare.parts.fit import Cells, Fitted
from mixcompare.parts.players import players_of

FloatArray = npt.NDArray[np.float64]
BANDS, FRAMES = 12, 200
NAMES = ("Flute", "Clarinet", "Horn")
NONE = np.zeros((0, 4))
PARTS = tuple(
    PartNotes(name, np.array([[k + 0.2 * place, k + 0.9, 60.0, 80.0] for k in range(9)]), NONE)
    for place, name in enumerate(NAMES)
)


def laid(like: float = 0.0) -> tuple[Cells, Fitted]:
    """Every part has bands of its own; the clarinet has so much of the flute's as well."""
    shares = np.full((3, BANDS, FRAMES), 0.02)
    for part in range(3):
        shares[part, part::3] = 0.9
    shares[1, ::3] = like
    power = np.ones((BANDS, FRAMES))
    cells = Cells(np.geomspace(60, 4000, BANDS), power, power, shares, shares, power > 0)
    nothing = np.zeros(3)
    share = np.full(3, 1 / 3)
    return cells, Fitted(nothing, np.eye(3), share, shares, shares, np.zeros_like(power), 1.0)


def played(part: int, *, first_half: bool = False) -> FloatArray:
    energy = np.zeros((BANDS, FRAMES))
    energy[part::3] = 1.0
    if first_half:
        energy[:, FRAMES // 2 :] = 0.0
    return energy


def moved(part: int, level_db: float) -> Moved:
    return Moved((part,), None, level_db, 0.3, False)


@pytest.mark.parametrize("part", range(3))
def test_who_has_the_cells_plays(part: int) -> None:
    cells, fitted = laid()
    assert players_of(played(part), 4.0, cells, fitted, PARTS, ()) == ((part,), None)


def test_only_the_moments_of_the_element_are_asked() -> None:
    # Later the flute plays a hundred times as loud, without the element.
    cells, fitted = laid()
    cells.reference[::3, FRAMES // 2 :] = 100.0
    energy = played(0, first_half=True)
    assert players_of(energy, 4.0, cells, fitted, PARTS, ())[0] == (0,)


def test_who_is_as_likely_is_named_too() -> None:
    cells, fitted = laid(like=0.9)
    fitted.shares[1, 1::3] = 0.15
    assert players_of(played(0), 4.0, cells, fitted, PARTS, ())[0] == (0, 1)


def test_who_is_seen_to_move_that_way_comes_first() -> None:
    cells, fitted = laid(like=0.9)
    fitted.shares[1, 1::3] = 0.15
    assert players_of(played(0), 4.0, cells, fitted, PARTS, (moved(1, 3.0),))[0] == (1,)
    # One that moved the other way is no player of it.
    assert players_of(played(0), 4.0, cells, fitted, PARTS, (moved(1, -3.0),))[0] == (0, 1)


def test_nobody_plays_what_lies_in_no_ones_cells() -> None:
    cells, fitted = laid()
    fitted.shares[:] = 1e-4
    fitted.shares[:, 3] = 0.9
    energy = np.zeros((BANDS, FRAMES))
    energy[0] = 1.0
    assert players_of(energy, 4.0, cells, fitted, PARTS, ()) == ((), None)
