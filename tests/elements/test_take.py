"""Elements of one take under another tail: the changed one alone, with its size."""

from __future__ import annotations

import pytest

from mixcompare.aspects.balance import analyzer
from mixcompare.elements.take import split_pair
from tests.pair.test_tail import OTHER, OWN, pair_of, played, under_other_tail


# The gain is the one the voice was played with; 1 dB is the just-noticeable difference.
@pytest.mark.parametrize(("voice", "gain_db"), [("melody", 6.0), ("melody", -6.0), ("figure", 6.0)])
def test_a_changed_voice_is_found_under_another_tail(voice: str, gain_db: float) -> None:
    split = split_pair(under_other_tail(**{voice: gain_db}))
    assert split.one_tail
    (change,) = split.changes
    assert change.difference_db == pytest.approx(gain_db, abs=1.0)
    assert change.interval[0] <= gain_db <= change.interval[1]


def test_another_tail_alone_is_no_element() -> None:
    split = split_pair(under_other_tail())
    assert split.one_tail
    assert split.changes == ()


def test_one_room_needs_no_tail_taken_off() -> None:
    pair = pair_of(played(OWN), played(OWN, figure=6.0))
    split = split_pair(pair)
    assert not split.one_tail
    assert "under_one_tail" not in pair.__dict__
    same = split_pair(pair_of(played(OTHER), played(OTHER)))
    assert same.changes == ()
    assert same.scatter_db < 0.1


def test_the_room_does_not_explain_what_was_found_with_its_tail_taken_off() -> None:
    pair = under_other_tail(figure=6.0)
    (finding, *_) = analyzer.findings(analyzer.compare(pair), pair)
    assert "room" in finding.apart
