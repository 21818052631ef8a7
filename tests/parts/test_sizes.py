"""How much a part changed, where its share of every cell is only guessed."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.parts.sizes import drawn_shares, size_of, widened

BANDS, FRAMES = 60, 200


def cells(
    by_db: float, scatter_db: float, seed: int = 2, frames: int = FRAMES
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Differences of cells with a true share, the guess of it, and a tone of 2 dB to the top.

    The guess is off as the model says: the true share is drawn around it.
    """
    rng = np.random.default_rng(seed)
    guess = rng.choice([0.02, 0.3, 0.5, 0.7, 0.9], (BANDS, frames), p=[0.6, 0.1, 0.1, 0.1, 0.1])
    true = rng.beta(3 * guess, 3 * (1 - guess))
    true[guess < 0.1] = 0.0
    difference = 10 * np.log10(1 + true * (10 ** (by_db / 10) - 1))
    difference += np.linspace(0, 2, BANDS)[:, None]
    return difference + scatter_db * rng.standard_normal(guess.shape), guess, np.zeros_like(guess)


@pytest.mark.parametrize("by_db", [5.0, -5.0, 2.0, -9.0])
@pytest.mark.parametrize("scatter_db", [0.1, 1.5])
def test_the_size_is_the_true_one_not_that_of_the_guessed_shares(
    by_db: float, scatter_db: float
) -> None:
    difference, share, others = cells(by_db, scatter_db)
    size = size_of(difference, share, others, np.ones(share.shape, bool))
    assert size is not None
    assert size.level_db == pytest.approx(by_db, abs=0.5)
    assert size.interval[0] <= by_db <= size.interval[1]
    assert size.interval[1] - size.interval[0] < 4.0


def test_the_interval_of_few_cells_holds_the_truth() -> None:
    held = []
    for seed in range(60):
        difference, share, others = cells(4.0, 1.5, seed, 10)
        size = size_of(difference, share, others, np.ones(share.shape, bool))
        assert size is not None
        held.append(size.interval[0] <= 4.0 <= size.interval[1])
    # At least 95 %: as these cells are independent, and counted as fewer, it may be all.
    assert sum(held) >= 56


def test_cells_in_which_others_moved_do_not_count() -> None:
    difference, share, others = cells(5.0, 0.1)
    theirs = np.arange(FRAMES) % 10 > 2
    others[:, theirs] = 0.5
    difference[:, theirs] -= 8.0
    size = size_of(difference, share, others, np.ones(share.shape, bool))
    assert size is not None
    assert size.level_db == pytest.approx(5.0, abs=0.5)


def test_too_few_cells_tell_no_size() -> None:
    difference, share, others = cells(5.0, 0.1)
    heard = np.zeros(share.shape, bool)
    heard[0, :50] = True
    assert size_of(difference, share, others, heard) is None


@pytest.mark.parametrize(("by_db", "is_told"), [(14.0, True), (-24.0, False), (24.0, False)])
def test_the_largest_size_that_is_tried_is_no_size(by_db: float, is_told: bool) -> None:
    difference, share, others = cells(by_db, 0.3)
    size = size_of(difference, share, others, np.ones(share.shape, bool))
    assert (size is not None) == is_told


def test_an_interval_reaches_nearer_to_nothing_and_farther_the_more_the_cells_scatter() -> None:
    assert widened(4.0, (3.0, 5.0), 2.0) == pytest.approx((3.0 * 0.84 - 0.3, 5.0 * 1.5 + 0.3))
    assert widened(-4.0, (-5.0, -3.0), 2.0) == pytest.approx(
        (-5.0 * 1.5 - 0.3, -(3.0 * 0.84 - 0.3))
    )


def test_true_shares_lie_on_both_sides_of_a_guess() -> None:
    # What is not a part's is the others': a beta distribution with its parameters exchanged.
    drawn = drawn_shares(np.array([[0.489, 0.509], [0.089, 0.909]]), 9)
    assert drawn.shape == (2, 2, 9)
    assert drawn[:, 0] == pytest.approx(1 - drawn[:, 1, ::-1])
    assert drawn.mean(axis=2) == pytest.approx(np.array([[0.49, 0.51], [0.09, 0.91]]), abs=0.02)
