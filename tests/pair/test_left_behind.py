"""Whether a move of the whole took every cell along: made by plain algebra, no sound."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.pair.left_behind import without_moves_of_some
from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.undo import ride_between

FloatArray = npt.NDArray[np.float64]

ROWS, BANDS = 400, 60
WHEN = (np.arange(ROWS) >= 200) & (np.arange(ROWS) < 260)  # three seconds


def differences(plays: FloatArray, element_db: float, whole_db: float = 0.0) -> FloatArray:
    """Level differences where an element is changed and, for three seconds, all of it is.

    Parameters
    ----------
    plays : ndarray, shape (n,)
        Share of the cells that are the element's.
    """
    rng = np.random.default_rng(3)
    owned = rng.uniform(size=(ROWS, BANDS)) < plays[:, None]
    return (
        np.where(owned, element_db, 0.0)
        + np.where(WHEN, whole_db, 0.0)[:, None]
        + rng.normal(0, 0.1, (ROWS, BANDS))
    )


def with_others(difference_db: FloatArray, element_db: float) -> FloatArray:
    """Where others hold a share of the element's cells, any one, but for those three seconds."""
    share = np.random.default_rng(5).uniform(size=(ROWS, BANDS))
    between = 10 * np.log10(1 + share * (10 ** (element_db / 10) - 1))
    plays = np.abs(difference_db - element_db) < 1.5
    return np.where(plays & ~WHEN[:, None], between, difference_db)


def spectra(difference_db: FloatArray) -> PairSpectra:
    reference = 10 ** np.random.default_rng(4).uniform(-3, -1, difference_db.shape)
    candidate = reference * 10 ** (difference_db / 10)
    return PairSpectra(np.arange(ROWS) / 20, np.geomspace(100, 3000, BANDS), reference, candidate)


# What remains of the others while the element plays with few of them.
@pytest.mark.parametrize("by_db", [3.0, -3.0])
def test_an_element_that_plays_nearly_alone_is_no_move_of_the_whole(by_db: float) -> None:
    cells = spectra(differences(np.where(WHEN, 0.72, 0.2), by_db))
    ride = ride_between(cells)
    assert not ride.moves
    assert ride.told.all()


# A solo: what moves in it has moved by as much wherever it plays, and by no more here.
@pytest.mark.parametrize("by_db", [4.0, -4.0])
@pytest.mark.parametrize("mixed", [False, True])
def test_an_element_that_plays_all_alone_is_no_move_of_the_whole(by_db: float, mixed: bool) -> None:
    difference_db = differences(np.where(WHEN, 1.0, 0.2), by_db)
    if mixed:
        difference_db = with_others(difference_db, by_db)
    ride = ride_between(spectra(difference_db))
    assert not ride.moves
    assert ride.told.all()


# A shelf moves what the solo moved elsewhere by another amount in every band above its corner.
@pytest.mark.parametrize(("by_db", "shelf_db"), [(-4.0, -4.0), (4.0, 4.0), (4.0, -4.0)])
def test_a_solo_beside_a_filter_is_no_move_of_the_whole(by_db: float, shelf_db: float) -> None:
    shelf = np.where(np.arange(BANDS) < BANDS // 2, 0.0, shelf_db)
    difference_db = with_others(differences(np.where(WHEN, 1.0, 0.2), by_db), by_db)
    ride = ride_between(spectra(difference_db + shelf))
    assert not ride.moves
    assert ride.told.all()


@pytest.mark.parametrize("shelf_db", [-4.0, 4.0])
def test_the_whole_moves_beside_a_filter_and_an_element(shelf_db: float) -> None:
    shelf = np.where(np.arange(BANDS) < BANDS // 2, 0.0, shelf_db)
    difference_db = differences(np.full(ROWS, 0.2), 4.0, 4.0) + shelf
    level_db = ride_between(spectra(difference_db)).level_db
    assert np.median(level_db[WHEN]) - np.median(level_db[~WHEN]) == pytest.approx(4.0, abs=0.2)


# As much as the element, which plays on, moved by; or another amount, while it rests.
@pytest.mark.parametrize(
    ("by_db", "plays"), [(4.0, 0.2), (-4.0, 0.2), (3.0, 0.0), (2.0, 0.0), (-3.0, 0.0)]
)
def test_the_whole_moves_beside_an_element_that_plays_or_rests(by_db: float, plays: float) -> None:
    difference_db = differences(np.where(WHEN, plays, 0.2), 5.0 if plays == 0 else by_db, by_db)
    if plays == 0:
        difference_db = with_others(difference_db, 5.0)
    level_db = ride_between(spectra(difference_db)).level_db
    assert np.median(level_db[WHEN]) - np.median(level_db[~WHEN]) == pytest.approx(by_db, abs=0.2)


@pytest.mark.parametrize("by_db", [2.0, -4.0])
@pytest.mark.parametrize("element_db", [0.0, 5.0, -5.0])
def test_a_move_of_the_whole_stays_beside_an_element(by_db: float, element_db: float) -> None:
    cells = spectra(differences(np.full(ROWS, 0.25), element_db, by_db))
    level_db = ride_between(cells).level_db
    assert np.median(level_db[WHEN]) - np.median(level_db[~WHEN]) == pytest.approx(by_db, abs=0.2)


# An element at minus what the whole rose by leaves its own cells where they were, there alone.
@pytest.mark.parametrize("by_db", [4.0, -4.0])
def test_cells_that_an_element_holds_back_everywhere_are_not_left_behind(by_db: float) -> None:
    difference_db = differences(np.full(ROWS, 0.3), -by_db, by_db)
    level_db = np.where(WHEN, by_db, 0.0)
    told_db, stood = without_moves_of_some(
        difference_db, np.ones_like(difference_db), level_db, np.ones(ROWS, bool), 0.8, 20.0
    )
    assert not stood.any()
    np.testing.assert_array_equal(told_db, level_db)


def test_the_level_is_carried_on_over_what_stood_still() -> None:
    element, whole = np.where(WHEN, 0.72, 0.2), np.where(np.arange(ROWS) < 100, 2.0, 0.0)
    difference_db = differences(element, 3.0) + whole[:, None]
    told_db, stood = without_moves_of_some(
        difference_db,
        np.ones_like(difference_db),
        whole + np.where(WHEN, 3.0, 0.0),
        np.ones(ROWS, bool),
        0.8,
        20.0,
    )
    np.testing.assert_array_equal(stood, WHEN)
    np.testing.assert_array_equal(told_db, whole)


# Between two known moments the level is only carried on, and what it says there proves nothing.
def test_moments_over_which_the_level_is_carried_on_are_not_asked() -> None:
    difference_db = differences(np.full(ROWS, 0.2), 5.0, 3.0)
    level_db = np.where(np.abs(np.arange(ROWS) - 230) < 60, 3.0, 0.0)
    _, stood = without_moves_of_some(
        difference_db, np.ones_like(difference_db), level_db, (level_db == 0) | WHEN, 0.8, 20.0
    )
    assert not stood.any()
    _, stood = without_moves_of_some(
        difference_db, np.ones_like(difference_db), level_db, np.ones(ROWS, bool), 0.8, 20.0
    )
    assert stood.any()
