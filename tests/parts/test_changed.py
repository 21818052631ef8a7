"""Which parts moved, from levels written by hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from mixcompare.knowledge.notes import PartNotes
from mixcompare.parts.changed import doubles, moved_in
from mixcompare.parts.families import is_of
from mixcompare.parts.fit import Fitted

NAMES = ("Flute", "Oboe", "Horn", "Trumpet", "Violin 1", "Violin 2", "Viola", "Violoncello")


def score() -> tuple[PartNotes, ...]:
    """Each part with onsets of its own."""
    none = np.zeros((0, 4))
    return tuple(
        PartNotes(name, np.array([[k + 0.1 * place, k + 0.6, 60.0, 80.0] for k in range(20)]), none)
        for place, name in enumerate(NAMES)
    )


def fitted(
    level_db: Sequence[float],
    deviation_db: float = 0.3,
    energy: Sequence[float] | None = None,
    scatter_db: float = 0.3,
) -> Fitted:
    count = len(level_db)
    share = np.full(count, 1 / count) if energy is None else np.array(energy)
    return Fitted(
        difference_db=np.array(level_db),
        covariance=np.eye(count) * deviation_db**2,
        energy=share,
        shares=np.zeros((count, 1, 1)),
        candidate_shares=np.zeros((count, 1, 1)),
        left_db=np.zeros((1, 1)),
        scatter_db=scatter_db,
    )


def names(parts: tuple[int, ...]) -> list[str]:
    return [NAMES[part] for part in parts]


@pytest.mark.parametrize("by_db", [4.0, -4.0])
def test_one_part_that_moved(by_db: float) -> None:
    (moved,) = moved_in(fitted([0, 0.1, by_db, 0, -0.1, 0, 0, 0]), score())
    assert names(moved.parts) == ["Horn"]
    assert moved.level_db == pytest.approx(by_db, abs=0.1)
    assert not moved.against


def test_what_other_instruments_differ_by_is_no_change() -> None:
    # Sections of three sound libraries lie apart by 2.3 dB, a standard deviation (436 sections, by
    # their stems' own levels).
    libraries = [1.5, -2.5, 0.5, -1.0, 3.5, 1.5, 1.0, -2.0]
    assert moved_in(fitted(libraries), score()) != ()  # the same players don't
    assert moved_in(fitted(libraries, scatter_db=4.5), score()) == ()
    (moved,) = moved_in(fitted([0, 0.1, 6.5, 0, -0.1, 0, 0, 0], scatter_db=4.5), score())
    assert names(moved.parts) == ["Horn"]


def test_a_family_that_moved_is_called_by_its_name() -> None:
    (moved,) = moved_in(fitted([-3, -3.2, 0, 0, 0, 0, 0, 0.1]), score())
    assert (moved.name, names(moved.parts)) == ("woodwinds", ["Flute", "Oboe"])


def test_two_that_moved_apart_are_two() -> None:
    moved = moved_in(fitted([0, 0, 5, 0, 0, -4, 0, 0]), score())
    assert [names(one.parts) for one in moved] == [["Horn"], ["Violin 2"]]
    assert [np.sign(one.level_db) for one in moved] == [1, -1]


def test_where_most_moved_the_rest_is_told_the_other_way() -> None:
    energy = [0.02, 0.02, 0.03, 0.03, 0.225, 0.225, 0.225, 0.225]
    (moved,) = moved_in(fitted([0, 0, 0, 0, 4, 4, 4, 4], energy=energy), score())
    assert names(moved.parts) == ["Flute", "Oboe", "Horn", "Trumpet"]
    assert moved.level_db == pytest.approx(-4.0, abs=0.1)


def test_half_against_half_is_told_as_either() -> None:
    (moved,) = moved_in(fitted([0, 0, 0, 0, 4, 4, 4, 4]), score())
    assert moved.against


@pytest.mark.parametrize("deviation_db", [2.0, 3.0])
def test_what_is_not_sure_did_not_move(deviation_db: float) -> None:
    assert moved_in(fitted([0, 0, 4, 0, 0, 0, 0, 0], deviation_db), score()) == ()


def test_less_than_a_decibel_is_not_told() -> None:
    assert moved_in(fitted([0, 0, 0.95, 0, 0, 0, 0, 0], 0.02), score()) == ()


def test_families_of_instruments() -> None:
    # Common practice, no source.
    assert is_of("Horn in F 1", "brass")
    assert not is_of("English Horn", "brass")
    assert is_of("English Horn", "woodwinds")
    assert is_of("Violin 2", "violins")
    assert not is_of("Violoncello", "violins")
    assert is_of("Double Basses", "strings")


def test_a_part_doubles_another_at_any_octave_and_not_the_other_way() -> None:
    none = np.zeros((0, 4))
    line = np.array([[k, k + 0.5, 60.0 + k, 80.0] for k in range(8)])
    some = line[::2] + [0, 0, 12, 0]
    other = line + [0, 0, 4, 0]
    parts = [PartNotes(str(k), notes, none) for k, notes in enumerate((line, some, other))]
    expected = [[True, False, False], [True, True, False], [False, False, True]]
    assert doubles(parts, 0.6).tolist() == expected


def test_what_nobody_notices_is_not_told_however_sure() -> None:
    assert moved_in(fitted([0, 0, 0.99, 0, 0, 0, 0, 0], 0.01), score()) == ()
    assert len(moved_in(fitted([0, 0, 1.05, 0, 0, 0, 0, 0], 0.01), score())) == 1


def test_two_halves_that_moved_apart_leave_one_to_stand_against_the_other() -> None:
    """Two parts are two sets, and no third is left."""
    far = fitted([5.0, -5.0])
    (moved,) = moved_in(far, score()[:2])
    assert abs(moved.level_db) == pytest.approx(10.0, abs=0.5)
    assert moved.against
