"""One passage or other music: the statistic and the thresholds, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.alignment.exact import SameTake
from mixcompare.alignment.relation import harmony_agreement, passage_probability
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.features import AlignmentFeatures
from tests import synthetic


def view(samples: np.ndarray) -> Representation:
    return Representation(AlignmentFeatures.of(Recording.from_array(samples, synthetic.RATE_HZ)))


@pytest.mark.parametrize(
    ("statistics", "logit"),
    [
        ((0.50, 0.48, 0.35, 1.00, 0.10), 0.0),
        ((0.56, 0.48, 0.35, 1.00, 0.10), 0.5),  # agrees better: likelier
        ((0.50, 0.42, 0.35, 1.00, 0.10), 0.5),  # fits better: likelier
        ((0.50, 0.48, 0.20, 1.00, 0.10), 0.5),  # smoother: likelier
        ((0.50, 0.48, 0.35, 0.75, 0.10), 0.0),
        ((0.56, 0.48, 0.35, 0.625, 0.10), 0.125),  # a part of it unmatched: less likely
        ((0.62, 0.36, 0.20, 0.50, 0.10), 1.75),
        ((0.44, 0.54, 0.50, 0.25, 0.10), 0.0),  # a bad fit proves nothing
        ((0.50, 0.48, 0.35, 1.00, 0.16), 2.0),  # backwards it fits worse: likelier
        ((0.50, 0.48, 0.35, 1.00, 0.04), -2.0),
        ((0.62, 0.48, 0.35, 1.00, 0.04), -1.0),
    ],
)
def test_probability_is_logistic_in_what_speaks_for_one_passage(
    statistics: tuple[float, float, float, float, float], logit: float
) -> None:
    """Regression: the line was read off rendered pairs; its signs are no choice."""
    assert passage_probability(*statistics) == pytest.approx(1 / (1 + np.exp(-logit)))


def test_probability_is_sure_of_the_worst_clean_pair_and_refuses_other_music() -> None:
    assert passage_probability(0.74, 0.29, 0.28, 1.0, 0.26) > 0.99
    assert passage_probability(0.40, 0.57, 0.40, 1.0, 0.03) < 0.2
    assert passage_probability(5.0, 0.0, 0.0, 1.0, 0.7) == pytest.approx(1.0)
    assert passage_probability(-5.0, 1.0, 9.0, 0.0, -0.1) < 0.01
    assert passage_probability(0.8, 0.2, 0.05, 1.0, 0.0) > 0.9  # one chord repeated


def test_agreement_is_one_with_itself_and_near_none_with_other_music() -> None:
    first, other = view(synthetic.play(3)), view(synthetic.play(23))
    straight = TimeMap.linear(0.0, 1.0, 0.0, 15.0)
    assert harmony_agreement(first, first, straight) == pytest.approx(1.0, abs=1e-3)
    assert abs(harmony_agreement(first, other, straight)) < 0.4


def test_agreement_follows_the_map_to_the_candidates_clock() -> None:
    first = view(synthetic.play(3, performance=1))
    slower = view(synthetic.play(3, performance=2, beat_s=0.72))
    right = TimeMap.linear(0.3 - 0.36, 1.2, 0.3, 14.7)
    wrong = TimeMap.linear(0.0, 1.0, 0.3, 14.7)
    assert harmony_agreement(first, slower, right) > 0.8
    assert harmony_agreement(first, slower, wrong) < 0.5


def test_agreement_is_the_same_whichever_is_the_reference() -> None:
    """A map that hurries and halts gives the two clocks different weights of its places."""
    first = view(synthetic.play(3, performance=1))
    slower = view(synthetic.play(3, performance=2, beat_s=0.72))
    uneven = TimeMap(np.array([0.3, 7.0, 8.0, 14.7]), np.array([0.3, 4.0, 14.0, 17.5]))
    there = harmony_agreement(first, slower, uneven)
    assert harmony_agreement(slower, first, uneven.inverse()) == pytest.approx(there, abs=1e-9)


def test_agreement_over_less_than_two_seconds_counts_for_nothing() -> None:
    first = view(synthetic.play(3, bars=2))
    assert harmony_agreement(first, first, TimeMap.linear(0.0, 1.0, 0.0, 1.9)) == 0.0
    assert harmony_agreement(first, first, TimeMap.linear(0.0, 1.0, 0.0, 2.1)) > 0.9


@pytest.mark.parametrize(
    ("windows", "agreeing", "prominence", "same"),
    [
        (5, 0.51, 1.31, True),
        (4, 1.0, 2.0, False),
        (60, 0.50, 2.0, False),
        (60, 1.0, 1.30, False),
        (60, 1.0, 1.1, False),  # two takes: one peak as high as the next
    ],
)
def test_one_take_needs_windows_that_agree_and_stand_out(
    windows: int, agreeing: float, prominence: float, same: bool
) -> None:
    local_s, clear = np.zeros((windows, 2)), np.ones(windows, bool)
    take = SameTake(0.0, 0.0, 1, 1e-5, prominence, agreeing, windows, local_s, clear)
    assert take.is_same is same
