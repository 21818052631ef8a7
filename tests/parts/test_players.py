"""Who plays an element, on cells by hand."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.aspects import balance
from mixcompare.elements.change import Change
from mixcompare.elements.describe import Description
from mixcompare.knowledge.notes import PartNotes, where_played
from mixcompare.parts.changed import Moved
from mixcompare.parts.fit import Cells, Fitted
from mixcompare.parts.players import each_once, played_by, players_of
from mixcompare.parts.values import Players
from tests.parts.written import features, pair_of, parts

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
    # Not even where their own soft cells go along with it.
    energy[3] = cells.reference[3] = 0.02
    assert players_of(energy, 4.0, cells, fitted, PARTS, ()) == ((), None)


@pytest.mark.parametrize(("of_its_cells", "plays"), [(0.1, ()), (0.7, (0,))])
@pytest.mark.parametrize("seen", [(), (moved(0, 1.0),)])
def test_whose_own_cells_stay_plays_nothing(
    of_its_cells: float, plays: tuple[int, ...], seen: tuple[Moved, ...]
) -> None:
    # An element of somebody who is not in the score lies between the flute's notes, in its bands.
    cells, fitted = laid()
    energy = of_its_cells * played(0)
    assert players_of(energy, 4.0, cells, fitted, PARTS, seen)[0] == plays
    # Whom the fit sees move about as far as the element does is believed.
    assert players_of(energy, 4.0, cells, fitted, PARTS, (moved(0, 3.0),))[0] == (0,)


@pytest.mark.parametrize(("of_its_cells", "plays"), [(0.1, ()), (0.7, (0,))])
def test_of_a_part_without_cells_of_its_own_those_are_asked_where_it_has_most(
    of_its_cells: float, plays: tuple[int, ...]
) -> None:
    cells, fitted = laid()
    fitted.shares[0, ::3] = 0.3
    energy = played(0)
    fitted.shares[0, 0, :60], energy[0, :60] = 0.4, of_its_cells
    assert players_of(energy, 4.0, cells, fitted, PARTS, ())[0] == plays


def test_what_the_same_players_do_is_one_element() -> None:
    one, other = (
        Change(level_db, (level_db - 1, level_db + 1), 1.0, played(part))
        for part, level_db in ((0, -5.0), (1, -4.0))
    )
    up = Change(3.0, (2.0, 4.0), 1.0, played(2))
    (players, _, joined), *rest = each_once([((0,), None, one), ((0,), None, other)])
    assert (players, rest, joined.difference_db, joined.interval) == ((0,), [], -5.0, (-6.0, -3.0))
    assert np.array_equal(joined.energy, played(0) + played(1))
    # The other way, other players, and what nobody is known to play stay apart.
    apart = [((0,), None, one), ((0,), None, up), ((1,), None, other), ((), None, one)]
    assert each_once([*apart, ((), None, other)]) == [*apart, ((), None, other)]


def line(*notes: tuple[float, float]) -> PartNotes:
    return PartNotes("Flute", np.array([[a, b, 60.0, 80.0] for a, b in notes]), NONE)


def test_an_element_lies_where_its_players_play() -> None:
    flute = line((9.0, 9.5), (10.0, 10.5), (20.0, 21.0))
    found = Description("register", "high register", (500.0, 2000.0), ((1.0, 20.5),), None)
    own = played_by(Players(("Flute",)), found, [flute])
    assert own.spans_s == ((9.0, 10.5), (20.0, 20.5))  # a rest of half a second is within
    # Where nobody is named, or plays, nothing better is known.
    assert played_by(Players(), found, [flute]) == found
    assert played_by(Players(("Flute",)), found, [line((30.0, 31.0))]) == found


def test_notes_that_overlap_are_one_stretch() -> None:
    held = line((0.0, 8.0), (1.0, 2.0))
    other = line((9.0, 9.5), (12.0, 13.0))
    assert where_played([held, other], [(0.5, 30.0)]) == ((0.5, 9.5), (12.0, 13.0))
    assert where_played([held, other], [(10.0, 11.0)]) == ()


def test_the_finding_on_a_part_that_enters_late_begins_with_its_first_note() -> None:
    """The bars before it, in which others fill its cells, are none of it."""
    figure, *others = parts()
    enters_s = 9.0
    late = PartNotes("figure", figure.notes[figure.notes[:, 0] > enters_s], figure.others)
    difference = balance.analyzer.compare(pair_of(features(figure=5.0), (late, *others)))
    (element,) = [one for one in difference.elements if "figure" in one.players]
    assert element.spans_s[0][0] >= enters_s
