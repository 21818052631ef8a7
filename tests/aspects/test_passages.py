"""Passages that another performance plays louder or softer: made of plain numbers."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from mixcompare.aspects.dynamics.passages import passages_of

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 5.0
TIMES_S = np.arange(0, 60, 1 / RATE_HZ)


def wandering(seed: int, size_db: float = 0.6) -> FloatArray:
    """What two performances differ by anyway: a level that wanders over a second or so."""
    steps = np.random.default_rng(seed).standard_normal(len(TIMES_S) + 8)
    smooth = np.convolve(steps, np.ones(9) / 3, mode="valid")
    return np.asarray(size_db * smooth)


def between(start_s: float, end_s: float, level_db: float) -> FloatArray:
    return np.where((start_s <= TIMES_S) & (end_s > TIMES_S), level_db, 0.0)


@pytest.mark.parametrize("level_db", [6.0, -5.0])
@pytest.mark.parametrize("seed", range(4))
def test_a_passage_is_told_with_its_size_and_its_edges(level_db: float, seed: int) -> None:
    (move,) = passages_of(wandering(seed) + between(20, 30, level_db), TIMES_S)
    assert move.level_db == pytest.approx(level_db, abs=0.8)
    assert abs(move.level_db - level_db) <= move.within_db
    ((start_s, end_s),) = move.spans_s
    # The reference's edge; within a second.
    assert start_s == pytest.approx(20, abs=1.0)
    assert end_s == pytest.approx(30, abs=1.0)
    assert not move.is_fade


@pytest.mark.parametrize("seed", range(20))
def test_what_wanders_anyway_is_no_passage(seed: int) -> None:
    assert passages_of(wandering(seed), TIMES_S) == ()


def test_a_level_of_the_whole_is_no_passage() -> None:
    assert passages_of(wandering(1) + 7.0, TIMES_S) == ()


def test_what_is_over_at_once_is_no_passage() -> None:
    assert passages_of(wandering(1, 0.2) + between(20, 21, 6.0), TIMES_S) == ()


def test_two_passages_are_two() -> None:
    change = wandering(2, 0.3) + between(10, 16, 5.0) + between(40, 46, -4.0)
    louder, softer = passages_of(change, TIMES_S)
    assert (louder.level_db, softer.level_db) == pytest.approx((5.0, -4.0), abs=0.8)


LONG_S = np.arange(0, 300, 1 / RATE_HZ)


def wandering_far(seed: int) -> FloatArray:
    """Five minutes in which two orchestras differ by 2 dB anyway, from second to second."""
    steps = np.random.default_rng(seed).standard_normal(len(LONG_S) + 40)
    smooth = ndimage.gaussian_filter1d(steps, 0.8 * RATE_HZ)[20:-20]
    return np.asarray(2.0 * smooth / smooth.std())


@pytest.mark.parametrize("level_db", [6.0, -6.0])
def test_half_a_minute_is_told_beside_as_much_scatter_from_moment_to_moment(
    level_db: float,
) -> None:
    told = 0
    for seed in range(20):
        change = wandering_far(seed) + np.where((LONG_S >= 180) & (LONG_S < 210), level_db, 0.0)
        for move in passages_of(change, LONG_S):
            start_s, end_s = move.spans_s[0]
            there = min(end_s, 210) - max(start_s, 180) > 21 and end_s - start_s < 39
            told += there and move.level_db == pytest.approx(level_db, abs=1.5)
    assert told >= 16


def test_long_courses_that_only_wander_hold_few_passages() -> None:
    assert sum(bool(passages_of(wandering_far(seed), LONG_S)) for seed in range(40)) <= 12


def test_a_passage_is_told_once_by_the_look_that_finds_its_edges() -> None:
    change = 0.1 * wandering_far(1) + np.where((LONG_S >= 100) & (LONG_S < 120), 5.0, 0.0)
    (move,) = passages_of(change, LONG_S)
    assert move.spans_s[0] == pytest.approx((100, 120), abs=0.5)


def test_a_rest_says_nothing() -> None:
    change = wandering(3, 0.3) + between(20, 30, 5.0)
    change[(TIMES_S >= 36) & (TIMES_S < 44)] = np.nan
    (move,) = passages_of(change, TIMES_S)
    assert move.spans_s[0] == pytest.approx((20, 30), abs=1.0)
    assert passages_of(np.full(len(TIMES_S), np.nan), TIMES_S) == ()


def test_the_six_largest_in_order_of_time() -> None:
    times_s = np.arange(0, 180, 1 / RATE_HZ)
    starts_s = np.arange(10.0, 170.0, 20.0)
    change = np.zeros(len(times_s))
    for index, start_s in enumerate(starts_s):
        change[(times_s >= start_s) & (times_s < start_s + 4)] = 4.0 + index
    found = passages_of(change, times_s)
    assert len(found) == 6
    assert [move.spans_s[0][0] for move in found] == pytest.approx(list(starts_s[2:]), abs=1.0)
