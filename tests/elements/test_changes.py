"""Elements of a take and of two performances alike, on made-up spectrograms."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.elements.changes import split_difference
from mixcompare.elements.describe import describe
from tests.elements.voices import CENTRE_HZ, pair


@pytest.mark.parametrize("other", [False, True])
@pytest.mark.parametrize(
    ("element", "change_db", "kind"),
    [("melody", 6.0, "leading_line"), ("melody", -5.0, "leading_line"), ("bass", 5.0, "bass")],
)
def test_a_changed_voice_is_found(element: str, change_db: float, kind: str, other: bool) -> None:
    cells = pair({element: change_db}, other)
    (change,) = split_difference(cells, same_take=not other).changes
    assert change.interval[0] <= change_db <= change.interval[1]
    assert change.difference_db == pytest.approx(change_db, abs=1.5 if other else 0.4)
    assert describe(change.energy, cells).kind == kind


def test_identical_spectra_differ_nowhere() -> None:
    split = split_difference(pair({}, other=False), same_take=True)
    assert split.changes == ()
    assert split.scatter_db == 0.0


@pytest.mark.parametrize("other", [False, True])
@pytest.mark.parametrize("shelf_db", [4.0, -4.0])
def test_a_shelf_is_tone(shelf_db: float, other: bool) -> None:
    shelf = shelf_db / (1 + (900 / CENTRE_HZ) ** 4)
    split = split_difference(pair({}, other, shelf), same_take=not other)
    assert split.changes == ()
    above, below = split.tone_db[CENTRE_HZ > 2000], split.tone_db[CENTRE_HZ < 400]
    assert np.mean(above) - np.mean(below) == pytest.approx(shelf_db, abs=1.5)
