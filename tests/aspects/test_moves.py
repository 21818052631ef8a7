"""Moves of the whole's level, on made-up courses: invented data, a move that is made is told."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.aspects.dynamics.moves import moves_of, shares_a_swing
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.pair.undo import Ride

FloatArray = npt.NDArray[np.float64]
TIMES_S = np.arange(int(30 * RATE_HZ)) / RATE_HZ
INSIDE = (TIMES_S >= 10) & (TIMES_S < 16)


def music_db() -> FloatArray:
    """Notes of 0.3 s, each louder or softer than the last."""
    notes = np.random.default_rng(4).normal(0, 3, 100)
    return np.asarray(notes[(TIMES_S / 0.3).astype(int)])


def ridden(level_db: FloatArray) -> Any:
    """What is read of a pair whose whole is moved so."""
    power = 10 ** (music_db()[:, None] / 10)
    spectra = PairSpectra(
        TIMES_S, np.array([1000.0]), power, power * 10 ** (level_db[:, None] / 10)
    )
    ride = Ride(level_db, np.ones(len(TIMES_S), bool))
    return SimpleNamespace(ride=ride, spectra=spectra, span_s=(0.0, 30.0))


@pytest.mark.parametrize("by_db", [3.0, -6.0])
@pytest.mark.parametrize("ratio", [1.0, 2.0])
def test_a_stretch_is_told_alone_and_beside_a_gain_that_follows_the_music(
    by_db: float, ratio: float
) -> None:
    follows_db = (1 / ratio - 1) * music_db()
    (move,) = moves_of(ridden(by_db * INSIDE + follows_db))
    assert move.level_db == pytest.approx(by_db, abs=0.5)
    ((start_s, end_s),) = move.spans_s
    assert (start_s, end_s) == pytest.approx((10.0, 16.0), abs=0.3)


def test_what_comes_and_goes_within_a_second_is_no_hand_on_the_fader() -> None:
    # Up by 2 dB for 0.4 s, six times; mostly it is where it was.
    assert moves_of(ridden(2.0 * (INSIDE & (TIMES_S % 1.0 < 0.4)))) == ()
    assert moves_of(ridden(2.0 * (INSIDE & (TIMES_S % 1.0 < 0.8)))) != ()


@pytest.mark.parametrize(
    ("swing", "shared"), [(0.5, True), (0.7, False), (-0.5, False), (0.0, False)]
)
def test_a_swing_is_shared_where_what_begins_has_more_than_half_of_it(
    swing: float, shared: bool
) -> None:
    pair: Any = SimpleNamespace(following_in_attacks=0.3)
    assert shares_a_swing(pair, swing) is shared
