"""Confidence is one function of named evidence; what speaks more for a finding never lowers it.

That it is calibrated is measured by ``tests.benchmarks.confidence``.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from mixcompare.findings.confidence import Evidence, evidence
from tests import samples

SHARES = st.floats(0.0, 1.0)


@given(st.floats(0.0, 50.0), st.floats(0.0, 5.0), SHARES, SHARES, SHARES, SHARES, st.booleans())
def test_more_evidence_never_lowers_it(
    deviations: float, more: float, agreeing: float, explained: float, a: float, b: float, one: bool
) -> None:
    base = Evidence(deviations, one, min(a, agreeing), min(b, explained))
    better = Evidence(deviations + more, one, max(a, agreeing), max(b, explained))
    assert 0.0 < base.confidence <= better.confidence <= 0.99
    assert Evidence(deviations, False, agreeing, explained).confidence <= (
        Evidence(deviations, True, agreeing, explained).confidence
    )


@pytest.mark.parametrize(
    ("found", "score"),
    [
        (Evidence(0.0, False), 0.0),
        (Evidence(0.0, True), 1.0),
        (Evidence(2.0, False), 1.0),
        (Evidence(6.0, True), 4.0),
        (Evidence(99.0, True), 4.0),  # never surer than 98 %
        (Evidence(2.0, False, agreeing=0.5), -0.5),
        (Evidence(2.0, False, explained=0.0), -2.0),
    ],
)
def test_confidence_is_a_logistic_curve(found: Evidence, score: float) -> None:
    """The curve by scipy; its constants are a regression of the benchmark's fit."""
    assert found.confidence == pytest.approx(special.expit(score))


@pytest.mark.parametrize(
    ("value", "interval", "deviations"),
    [
        (3.0, (1.04, 4.0), 3.0),  # 1.96 towards zero is one deviation; the far end says nothing
        (-3.0, (-9.0, -1.04), 3.0),
        (2.0, (-1.92, 5.92), 1.0),
        (2.0, (2.0, 2.0), 99.0),
    ],
)
def test_deviations_by_the_side_towards_nothing(
    value: float, interval: tuple[float, float], deviations: float
) -> None:
    assert evidence(value, interval, True).deviations == pytest.approx(deviations, rel=1e-6)


def test_shares_are_held_between_nothing_and_all() -> None:
    found = evidence(1.0, (0.5, 1.5), False, agreeing=1.7, explained=-0.2)
    assert (found.agreeing, found.explained) == (1.0, 0.0)


@pytest.mark.parametrize("name", samples.CANDIDATES)
def test_every_finding_says_what_its_confidence_rests_on(name: str) -> None:
    for finding in samples.compared("reference", name).findings:
        assert finding.confidence == pytest.approx(finding.evidence.confidence)
        assert finding.evidence.same_take is samples.compared("reference", name).alignment.same_take
