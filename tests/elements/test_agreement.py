"""A change between two performances counts where all looks agree, on made-up spectrograms.

Invented data: what it checks is the rule (halves, loud and soft, pieces, both directions).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mixcompare.elements.agreement import confirmed
from mixcompare.elements.change import Change, Split
from mixcompare.pair.spectra import PairSpectra
from tests.elements.voices import CENTRE_HZ, TIMES_S, pair, voice

FLAT = np.zeros(len(CENTRE_HZ))


def change(
    size_db: float, half_db: float = 2.0, of: str = "melody", power: np.ndarray | None = None
) -> Change:
    energy = voice(of) if power is None else power
    return Change(size_db, (size_db - half_db, size_db + half_db), 0.8, energy)


def back_of(cells: PairSpectra, size_db: float, half_db: float = 2.0) -> Change:
    """The melody's change as the other direction finds it."""
    return change(-size_db, half_db, power=voice("melody") * 10 ** (size_db / 10))


def in_part(moments: np.ndarray, size_db: float = 6.0) -> PairSpectra:
    """The melody louder at some moments only."""
    still, moved = pair({}, other=True), pair({"melody": size_db}, other=True)
    return replace(still, candidate=np.where(moments[:, None], moved.candidate, still.candidate))


def asked(cells: PairSpectra, there: Change, *back: Change) -> Split:
    return confirmed(Split((there,), FLAT, 1.0), back, cells)


def test_what_every_look_shows_counts_and_both_directions_size_it() -> None:
    cells = pair({"melody": 6.0}, other=True)
    split = asked(cells, change(6.5, 2.0), back_of(cells, 5.5, 1.0))
    (sure,) = split.changes
    assert sure.difference_db == pytest.approx(6.0)
    # The wider half, and half of what the directions differ by.
    assert sure.interval == (pytest.approx(3.5), pytest.approx(8.5))
    assert split.doubtful == ()


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_either_sign_is_confirmed(sign: float) -> None:
    cells = pair({"melody": 6.0 * sign}, other=True)
    assert asked(cells, change(6.0 * sign), back_of(cells, 6.0 * sign)).changes


def test_without_the_other_direction_it_is_doubtful() -> None:
    cells = pair({"melody": 6.0}, other=True)
    there = change(6.0)
    assert asked(cells, there) == Split((), FLAT, 1.0, doubtful=(there,))


def test_the_other_direction_must_say_the_opposite_of_the_same_cells_and_as_much() -> None:
    cells = pair({"melody": 6.0}, other=True)
    good = back_of(cells, 6.0)
    assert asked(cells, change(6.0), good).changes
    assert not asked(cells, change(6.0), replace(good, difference_db=6.0)).changes
    assert not asked(cells, change(6.0), back_of(cells, 12.0)).changes
    less = replace(good, difference_db=-3.0, interval=(-3.5, -2.5))
    assert not asked(cells, change(6.0), less).changes
    elsewhere = change(-6.0, of="bass")
    assert not asked(cells, change(6.0), elsewhere).changes
    assert asked(cells, change(6.0), elsewhere, good).changes
    # The same way, although its interval would reach to the other side as well.
    alike = replace(good, difference_db=1.0, interval=(-5.0, 7.0))
    assert asked(cells, change(6.0), alike, good).changes


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_an_interval_that_comes_near_nothing_claims_nothing(sign: float) -> None:
    """Within half of what is just noticed, 1 dB; either side of that limit."""
    cells = pair({"melody": 6.0 * sign}, other=True)
    near = change(6.0 * sign, 5.6), back_of(cells, 6.0 * sign, 5.6)
    clear = change(6.0 * sign, 5.4), back_of(cells, 6.0 * sign, 5.4)
    assert asked(cells, *near) == Split((), FLAT, 1.0, doubtful=(near[0],))
    assert asked(cells, *clear).changes


@pytest.mark.parametrize("second", [False, True])
def test_one_half_alone_is_not_enough(second: bool) -> None:
    """Not even where the other half agrees in sign: it shows 1 dB of 5."""
    there = (TIMES_S[-1] / 2 < TIMES_S) == second
    slight = pair({"melody": 1.0}, other=True)
    cells = in_part(there, 9.0)
    cells = replace(cells, candidate=np.where(there[:, None], cells.candidate, slight.candidate))
    assert asked(cells, change(5.0, 3.0), back_of(cells, 5.0, 3.0)).doubtful


def test_loud_moments_alone_are_not_enough() -> None:
    loud = (TIMES_S % 8.0) < 4.0
    cells = in_part(loud)
    louder = np.where(loud, 5.0, 1.0)[:, None]
    cells = replace(cells, reference=cells.reference * louder, candidate=cells.candidate * louder)
    energy = voice("melody") * louder
    there = change(6.0, power=energy)
    back = change(-6.0, power=energy * 10**0.6)
    assert asked(cells, there, back).doubtful


def test_two_pieces_of_six_that_say_nothing_or_the_opposite_are_too_many() -> None:
    """Halves may agree on the whole where single pieces do not."""
    playing = np.cumsum(np.sqrt(voice("melody").sum(axis=1)))
    piece = np.minimum(6 * playing / playing[-1], 5.999).astype(int)
    cells = in_part(~np.isin(piece, (2, 4)), 9.0)
    down = pair({"melody": -4.0}, other=True).candidate
    mixed = np.where(np.isin(piece, (2, 4))[:, None], down, cells.candidate)
    cells = replace(cells, candidate=mixed)
    assert asked(cells, change(6.0, 3.0), back_of(cells, 6.0, 3.0)).doubtful


def test_a_tone_is_taken_off_and_no_band_of_its_own_counts() -> None:
    """A filter over the melody's register moves what else plays there as well."""
    octaves = np.log2(CENTRE_HZ / 880)
    tone = 8.0 * np.exp(-((octaves / 0.8) ** 2))
    cells = pair({}, other=True, tone_db=tone)
    told = confirmed(Split((change(6.0),), FLAT, 1.0), (back_of(cells, 6.0),), cells)
    assert told.doubtful
