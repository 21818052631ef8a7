"""Whose a rise is, by arithmetic on made-up onsets."""

from __future__ import annotations

import numpy as np

from mixcompare.knowledge.notes import PartNotes, PartStrokes
from mixcompare.parts import onsets
from mixcompare.parts.onsets import onsets_of, shares_of

NONE = np.zeros((0, 4))


def part(*onsets_s: float, velocity: float = 80.0) -> PartNotes:
    return PartNotes("part", np.array([(at, at + 1, 60, velocity) for at in onsets_s]), NONE)


def struck(*onsets_s: float, rolled: float = 0.0) -> PartStrokes:
    return PartStrokes("drum", np.array([(at, at + 1, 80.0, rolled) for at in onsets_s]))


def test_what_begins_together_is_one_onset() -> None:
    found = onsets_of([part(1.0, 2.0, 9.0)], [struck(1.03, 3.0)], (0.5, 8.0), 0.3)
    assert found.times_s.tolist() == [1.0, 2.0, 3.0]
    assert found.begins.tolist() == [[1, 1, 0], [1, 0, 1]]
    assert not found.rolled.any()


def test_louder_notes_add_more_and_rolls_are_marked() -> None:
    found = onsets_of([part(1.0, velocity=160.0)], [struck(2.0, rolled=1.0)], (0, 9), 0.3)
    assert found.begins[0, 0] == 4.0  # our choice: with the square of the velocity
    assert found.rolled.tolist() == [False, True]


def test_what_begins_near_a_stroke_is_not_read_by_itself() -> None:
    found = onsets_of([part(1.0, 1.9, 2.15, 4.0)], [struck(2.0)], (0.5, 8.0), 0.3)
    # 100 ms before the stroke it may still rise; 150 ms after, it holds the stroke's own sound.
    assert found.times_s.tolist() == [1.0, 2.0, 2.15, 4.0]
    assert found.begins.tolist() == [[1, 0.5, 1, 1], [0, 1, 0, 0]]
    near = onsets_of([part(1.75, 2.1, 4.0)], [struck(2.0)], (0.5, 8.0), 0.3)
    assert near.times_s.tolist() == [2.0, 4.0]


def test_of_very_many_those_about_strokes_are_kept() -> None:
    many = part(*np.arange(1.0, 200.0, 0.25))
    found = onsets_of([many], [struck(100.0, 150.0)], (0, 300), 0.3)
    assert len(found.times_s) == onsets._MOST_ONSETS
    assert {100.0, 150.0} <= set(found.times_s.tolist())
    near = np.abs(found.times_s[:, None] - [100.0, 150.0]).min(axis=1)
    assert near.max() <= 40.0 + 25.0


def test_a_stroke_under_a_tutti_has_its_share() -> None:
    """Power that is made of 4 a stroke in the upper band, and 1 a note in both, by hand."""
    rng = np.random.default_rng(1)
    begins = np.zeros((2, 60))
    begins[0] = rng.integers(1, 3, 60)
    begins[1, ::4] = 1
    scatter = 10 ** (0.05 * rng.standard_normal((60, 2)))
    rise = (np.array([[1.0, 1.0], [0.0, 4.0]]).T @ begins).T * scatter
    shares = shares_of(rise, begins)
    assert shares.shape == (2, 60, 2)
    assert np.all(shares[1, 1::4] == 0)
    # The true shares: nothing below, 4 of 4 and the notes above.
    assert shares[1, ::4, 0].max() < 0.1
    truth = 4 / (4 + begins[0, ::4])
    np.testing.assert_allclose(shares[1, ::4, 1], truth, atol=0.1)
    assert np.all(shares.sum(axis=0) <= 1 + 1e-9)
