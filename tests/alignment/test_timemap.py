"""Time maps: both ways, composed, refused when they don't rise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixcompare.alignment.timemap import TimeMap, sample_frames
from mixcompare.errors import AlignmentError

RISING = st.lists(st.floats(0.05, 3.0), min_size=3, max_size=20).map(
    lambda steps: np.cumsum(np.array(steps))
)


@given(RISING, RISING, st.floats(0, 40))
def test_there_and_back(reference: np.ndarray, candidate: np.ndarray, time: float) -> None:
    count = min(len(reference), len(candidate))
    time_map = TimeMap(reference[:count], candidate[:count])
    assert time_map.to_reference(time_map.to_candidate(time)) == pytest.approx(time, abs=1e-6)


def test_composition_of_linear_maps_is_linear() -> None:
    first = TimeMap.linear(1.0, 1.1, 0.0, 10.0)
    second = TimeMap.linear(-0.5, 0.9, 0.0, 20.0)
    both = first.then(second)
    times = np.linspace(0, 10, 7)
    assert both.to_candidate(times) == pytest.approx(-0.5 + 0.9 * (1.0 + 1.1 * times))


@pytest.mark.parametrize(
    ("reference", "candidate", "words"),
    [
        ([0.0], [0.0], "at least two"),
        ([0.0, 1.0], [0.0, 0.0], "must rise"),
        ([0.0, 1.0, 0.5], [0.0, 1.0, 2.0], "must rise"),
        ([0.0, np.nan], [0.0, 1.0], "not numbers"),
        ([0.0, 1.0], [0.0, 1.0, 2.0], "equally long"),
    ],
)
def test_refuses(reference: list[float], candidate: list[float], words: str) -> None:
    with pytest.raises(AlignmentError, match=words):
        TimeMap(np.array(reference), np.array(candidate))


def test_gap_has_no_counterpart() -> None:
    time_map = TimeMap(
        np.array([0.0, 1.0, 2.0, 3.0]),
        np.array([0.0, 1.0, 5.0, 6.0]),
        np.array([10.0, np.inf, np.inf, 10.0]),
    )
    assert list(time_map.covers([0.5, 1.5, 2.5, 4.0])) == [True, False, True, False]


def test_thinned_keeps_at_most_twenty_points_a_second() -> None:
    times = np.arange(0, 5, 0.01)
    thin = TimeMap(times, 1.2 * times).thinned()
    assert np.diff(thin.reference_s).min() >= 0.05 - 1e-9
    assert thin.to_candidate(4.321) == pytest.approx(1.2 * 4.321)


def test_warp_samples_the_candidate() -> None:
    frames = np.arange(100.0)[:, None] ** 1
    time_map = TimeMap.linear(0.5, 1.0, 0.0, 5.0)
    assert time_map.warp(frames, 10.0, [1.0])[0, 0] == pytest.approx(15.0)
    assert sample_frames(frames, 10.0, [0.05])[0, 0] == pytest.approx(0.5)


def test_outside_the_nodes_the_last_slope_goes_on() -> None:
    time_map = TimeMap(np.array([1.0, 2.0, 3.0]), np.array([10.0, 12.0, 12.5]))
    assert time_map.to_candidate([0.0, 1.5, 2.5, 5.0]) == pytest.approx([8.0, 11.0, 12.25, 13.5])
    assert time_map.to_reference([8.0, 11.0, 12.25, 13.5]) == pytest.approx([0.0, 1.5, 2.5, 5.0])
    assert time_map.span_s == (1.0, 3.0)
    assert time_map.candidate_span_s == (10.0, 12.5)
    assert time_map.covers([0.99, 1.0, 3.0, 3.01]).tolist() == [False, True, True, False]


def test_exchanged_moved_and_how_sure() -> None:
    time_map = TimeMap(
        np.array([0.0, 2.0, 4.0]), np.array([1.0, 4.0, 6.0]), np.array([10.0, 30.0, 20.0])
    )
    back = time_map.inverse()
    assert back.to_candidate([1.0, 2.5, 5.0]) == pytest.approx([0.0, 1.0, 3.0])
    assert time_map.uncertainty_ms([0.0, 1.0, 3.0]) == pytest.approx([10.0, 20.0, 25.0])
    assert back.uncertainty_ms([1.0, 2.5, 5.0]) == pytest.approx([10.0, 20.0, 25.0])
    moved = time_map.moved(100.0, 7.0)
    assert moved.to_candidate(101.0) == pytest.approx(2.5 + 7.0)
    assert moved.uncertainty_ms(101.0) == pytest.approx(20.0)


def test_errors_add_in_squares_when_maps_are_joined() -> None:
    first = TimeMap.linear(5.0, 1.0, 0.0, 10.0, half_width_ms=3.0)
    second = TimeMap.linear(-2.0, 1.0, 0.0, 20.0, half_width_ms=4.0)
    both = first.then(second)
    assert both.span_s == (0.0, 10.0)
    assert both.candidate_span_s == pytest.approx((3.0, 13.0))
    assert both.uncertainty_ms([2.0, 8.0]) == pytest.approx([5.0, 5.0])


def test_frames_between_and_beyond() -> None:
    frames = np.array([[0.0, 10.0], [1.0, 20.0], [4.0, 30.0]])
    told = sample_frames(frames, 2.0, [-1.0, 0.25, 0.75, 1.0, 9.0])
    assert told[:, 0] == pytest.approx([0.0, 0.5, 2.5, 4.0, 4.0])
    assert told[:, 1] == pytest.approx([10.0, 15.0, 25.0, 30.0, 30.0])
    assert sample_frames(np.array([3.0]), 2.0, [0.0, 5.0]) == pytest.approx([3.0, 3.0])


def test_ratio_is_taken_between_the_outermost_sure_places() -> None:
    reference = np.arange(0.0, 20.1, 1.0)
    candidate = 1.1 * reference
    candidate[17:] += 2.0  # the last chord dies away
    width = np.full(len(reference), 20.0)
    width[17:] = 80.0
    assert TimeMap(reference, candidate, width).pace()[0] == pytest.approx(1.1)
    width[17:] = 20.0
    assert TimeMap(reference, candidate, width).pace()[0] == pytest.approx(1.2)
    # Where what is sure is less than half, it does not speak for the whole.
    dense = np.concatenate([np.arange(0.0, 1.0, 0.1), [10.0, 20.0]])
    wide = np.where(dense < 1, 20.0, 80.0)
    assert TimeMap(dense, np.where(dense < 1, dense, 1.2 * dense), wide).pace()[0] == 1.2


def test_pace_leaves_out_what_has_no_counterpart() -> None:
    reference, candidate = np.array([0.0, 30.0, 50.0, 80.0]), np.array([0.0, 33.0, 33.1, 66.1])
    width = np.array([10.0, np.inf, np.inf, 20.0])
    ratio, deviation = TimeMap(reference, candidate, width).pace()
    assert ratio == pytest.approx(1.1)
    # By hand: ends that are 10 and 20 ms uncertain at 90 %, of 60 s.
    assert deviation == pytest.approx(np.hypot(0.010, 0.020) / 1.645 / 60)
    back, _ = TimeMap(candidate, reference, width).pace()
    assert back == pytest.approx(1 / 1.1)
    lost = TimeMap(reference, candidate, np.full(4, np.inf))
    assert lost.pace() == (pytest.approx(66.1 / 80), 0.0)
