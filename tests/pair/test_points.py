"""A mono take whose channels were turned or delayed: where the point lies that it sounds from."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment import align
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.pair.points import moved_point
from tests import operations
from tests.pair.whole import played
from tests.recorded import features_of
from tests.synthetic import RATE_HZ
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]


def mono() -> FloatArray:
    return np.column_stack([played().mean(axis=1)] * 2)


def held(candidate: FloatArray) -> Pair:
    """Against the same in mono."""
    reference, other = features_of(mono(), RATE_HZ), features_of(candidate, RATE_HZ)
    pair = aligned(reference, other, align(reference, other))
    return pair.with_gain(match_level(pair).gain_db)


def delayed(samples: FloatArray, delay_s: float) -> FloatArray:
    """The right channel later, by turning its phases (shift theorem)."""
    spectrum = np.fft.rfft(samples[:, 1], 2 * len(samples))
    turns = np.exp(-2j * np.pi * np.fft.rfftfreq(2 * len(samples), 1 / RATE_HZ) * delay_s)
    later = np.fft.irfft(spectrum * turns)[: len(samples)]
    return np.column_stack([samples[:, 0], later])


# A level is its own definition; 0.1 dB is what is said to be the resolution.
@pytest.mark.parametrize("turn_db", [-5.0, -1.0, 3.0])
def test_a_turn_comes_back_both_ways(turn_db: float) -> None:
    pair = held(operations.turned(mono(), turn_db))
    point, back = moved_point(pair), moved_point(pair.mirrored())
    assert point is not None
    assert back is not None
    assert point.turn_db == pytest.approx(turn_db, abs=0.02)
    assert point.turn_db_interval[0] < turn_db < point.turn_db_interval[1] < turn_db + 0.2
    assert back.turn_db == pytest.approx(-turn_db, abs=0.02)
    assert point.later_us == 0


@pytest.mark.parametrize("delay_us", [-1500.0, 700.0, 2500.0])
def test_a_delay_comes_back_beside_a_turn(delay_us: float) -> None:
    late = operations.turned(delayed(mono(), delay_us * 1e-6), 2.0)
    point = moved_point(held(late))
    assert point is not None
    assert point.turn_db == pytest.approx(2.0, abs=0.1)
    # A third octave's energy lies up to an eighth off its middle, many bands together nearer.
    assert point.later_us == pytest.approx(delay_us, rel=0.03)
    low, high = point.later_us_interval
    assert low < point.later_us < high < low + 100


def test_stereo_is_no_point_and_neither_is_a_filtered_channel() -> None:
    assert moved_point(held(played())) is None
    bright = np.column_stack([mono()[:, 0], operations.high_shelf(2000, 4)(mono())[:, 1]])
    assert moved_point(held(bright)) is None
    # As loud on both sides in every band, and another sound.
    assert moved_point(held(delayed(mono(), 0.3))) is None


def test_only_one_take_has_a_point_that_moved() -> None:
    pair = held(operations.turned(mono(), 4.0))
    assert moved_point(pair) is not None
    assert moved_point(replace(pair, match=replace(pair.match, same_take=False))) is None


def test_what_moved_is_told_and_nothing_of_a_lost_image() -> None:
    there = held(operations.turned(delayed(mono(), 0.001), 4.0))
    back = there.mirrored()
    for pair, kinds in (
        (there, {"right_later", "moved_right"}),
        (back, {"left_later", "moved_left"}),
    ):
        results = told_of(pair.reference, pair.candidate, only=("width", "placement"))
        assert {one.kind for one in results.findings} == kinds
