"""Which parts are heard at all, by arithmetic on made-up shares."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.parts.fit import Cells, Fitted
from mixcompare.parts.heard import Heard, heard_of


def heard(reference: list[float], candidate: list[float]) -> Heard:
    return Heard(np.array(reference), np.array(candidate), ((1,), (0,)))


def test_a_part_is_heard_nowhere_where_neither_recording_shows_it() -> None:
    found = heard([0.02, 0.02], [0.01, 0.2])
    assert found.nowhere(0)
    assert not found.nowhere(1)
    assert not heard([0.2, 0.0], [0.0, 0.0]).nowhere(0)


@pytest.mark.parametrize(
    ("before", "after", "difference_db", "expected"),
    [
        (0.8, 0.05, -8.0, True),
        (0.05, 0.8, 8.0, True),
        (0.8, 0.05, 8.0, False),  # the other way round
        (0.05, 0.8, -8.0, False),
        (0.8, 0.05, -4.0, False),  # so little may cover it
        (0.8, 0.3, -8.0, False),  # still heard
        (0.2, 0.05, -8.0, False),  # was hardly heard before
    ],
)
def test_left_out_is_what_was_well_heard_and_hardly_is(
    before: float, after: float, difference_db: float, expected: bool
) -> None:
    found = heard([before, 0.9], [after, 0.9])
    assert found.left_out([0], difference_db) == expected
    assert not found.left_out([0, 1], difference_db)  # one of them plays on
    assert not found.left_out([], difference_db)


def test_who_lies_over_a_part_is_another_part_the_most_first() -> None:
    """Three parts in one cell each: the first has most of all of them, its own too."""
    shares = np.array([[0.7, 0.6, 0.6], [0.2, 0.4, 0.05], [0.1, 0.0, 0.35]])[:, :, None]
    power = np.ones((3, 1))
    cells = Cells(np.array([200.0, 400.0, 800.0]), power, power, shares, shares, power > 0)
    nothing = np.zeros(3)
    found = heard_of(
        cells, Fitted(nothing, np.eye(3), nothing, shares, shares, np.zeros((3, 1)), 1.0)
    )
    assert found.over[0] == (1, 2)
    assert found.over[1] == (0,)
    assert found.over[2] == (0,)
