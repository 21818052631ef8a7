"""A theme that one recording covers, in words."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects.balance.aspect import analyzer
from mixcompare.aspects.balance.values import BalanceDifference
from mixcompare.findings import Finding, folding, is_listed
from mixcompare.knowledge.notes import Bars
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.parts.values import CLEAR, COVERED, OPEN, Lead
from tests.aspects.contract import mirrored_kind
from tests.parts.written import features, pair_of, played_again

BARS = Bars(2.0 * np.arange(16), 2.0 * np.arange(16) + 2, np.arange(1, 17), np.full(16, 4))
LEAD = Lead("Oboe", (), (9, 12), 16.0, 24.0, CLEAR, COVERED, 8.0, -6.0, -14.0, (), ("Horn",))


def findings_of(*leads: Lead, same_take: bool = True, bars: Bars | None = BARS) -> list[Finding]:
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 30.0), same_take=same_take, bars=bars)
    difference = BalanceDifference((), (), (), (), 0.1, leads=leads)
    return analyzer.findings(difference, Pair(features(), features(), match))


def test_a_theme_that_horns_cover_is_told_with_its_bars() -> None:
    (found,) = findings_of(LEAD)
    assert found.kind == "theme_covered"
    assert found.subject == "theme of the Oboe, covered by the Horn"
    assert found.text == (
        "The theme of the Oboe is covered by the Horn in bars 9-12 in the candidate; in the"
        " reference it stands clear. It lies 14 dB lower over the rest than in the reference"
        " (between 8 and 20)."
    )
    assert found.difference == -14.0
    assert found.spans_s == ((16.0, 24.0),)
    assert is_listed(found)
    assert found.advice == ("Bring the Oboe up there, or the Horn down, until it carries through.",)
    (others,) = findings_of(LEAD, same_take=False, bars=None)
    assert "at 0:16-0:24 in the candidate" in others.text
    assert np.ptp(others.interval) > np.ptp(found.interval)
    assert others.advice[0] == "Ask the Horn for less there, so that the Oboe carries through."


def test_a_size_whose_sign_is_open_may_be_nothing() -> None:
    (found,) = findings_of(replace(LEAD, difference_db=-5.0))
    assert "(between 0 and 11)" in found.text


def test_one_that_only_the_reference_covers_is_told_the_other_way_round() -> None:
    back = replace(
        LEAD, reference=COVERED, candidate=CLEAR, reference_db=-6.0, candidate_db=8.0,
        difference_db=14.0, covered_in_reference_by=("Horn", "Tuba"), covered_in_candidate_by=(),
    )  # fmt: skip
    (found,) = findings_of(back)
    assert found.kind == mirrored_kind("theme_covered") == "theme_uncovered"
    assert found.text.startswith(
        "The theme of the Oboe is covered by the Horn and Tuba in bars 9-12 in the reference; in"
        " the candidate it stands clear. It lies 14 dB higher over the rest than in the reference"
    )


def test_what_stands_alike_or_cant_be_told_is_no_finding() -> None:
    for reference, candidate in (
        (CLEAR, CLEAR),
        (COVERED, COVERED),
        (CLEAR, OPEN),
        (OPEN, COVERED),
    ):
        assert findings_of(replace(LEAD, reference=reference, candidate=candidate)) == []
    assert findings_of(replace(LEAD, end_s=17.0)) == []  # a bar


def test_bars_of_one_line_are_one_finding() -> None:
    later = replace(LEAD, bars=(15, 15), start_s=28.0, end_s=30.0, difference_db=-9.0,
                    covered_in_candidate_by=("Tuba", "Horn"))  # fmt: skip
    (found,) = findings_of(LEAD, later)
    assert found.spans_s == ((16.0, 24.0), (28.0, 30.0))
    assert found.difference == pytest.approx((4 * -14.0 - 9.0) / 5)
    assert "by the Horn and Tuba in bars 9-12 and 15" in found.text
    assert len(findings_of(LEAD, replace(later, name="Flute"))) == 2


@pytest.mark.parametrize("again", [False, True])
def test_a_louder_part_that_covers_a_line_explains_it(again: bool) -> None:
    pair = pair_of(played_again(melody=12.0) if again else features(melody=12.0))
    difference = analyzer.compare(pair)
    louder, covered = analyzer.findings(difference, pair)
    assert (louder.kind, covered.kind) == ("part_louder", "theme_covered")
    assert covered.subject == "theme of the figure, covered by the melody"
    low, high = covered.interval
    assert low <= -12.0 <= high
    (left,) = folding.without_consequences([covered, louder], analyzer.about.explains)
    assert left.kind == "part_louder"
    assert left.consequences == (covered.as_consequence,)
