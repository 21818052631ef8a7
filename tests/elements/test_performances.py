"""Elements between two performances, on made-up spectrograms."""

from __future__ import annotations

import pytest

from mixcompare.elements.changes import split_difference
from tests.elements.voices import pair


@pytest.mark.parametrize("seed", range(5))
def test_scatter_alone_is_no_change(seed: int) -> None:
    split = split_difference(pair({}, other=True, seed=seed), same_take=False)
    # Whatever is left cannot be told from what nobody would notice.
    assert all(min(map(abs, change.interval)) < 1.0 for change in split.changes)


def test_roles_exchanged_give_the_opposite() -> None:
    cells = pair({"melody": 6.0}, other=True)
    there = split_difference(cells, same_take=False).changes[0]
    back = split_difference(cells.mirrored(), same_take=False).changes[0]
    assert back.difference_db == pytest.approx(-there.difference_db, abs=1.0)


def test_two_elements_that_moved_apart_are_both_told() -> None:
    cells = pair({"melody": 6.0, "bass": -5.0}, other=True)
    found = split_difference(cells, same_take=False).changes
    sizes = sorted(change.difference_db for change in found)
    assert sizes == [pytest.approx(-5.0, abs=2.0), pytest.approx(6.0, abs=2.0)]
