"""Time maps: both ways, composed, refused when they don't rise."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from mixcompare.errors import AlignmentError
from mixcompare.timemap import TimeMap, sample_frames

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
