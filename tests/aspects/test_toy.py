"""A new analyzer is one file and one line: a toy, registered, is found whole everywhere.

It measures how much louder a recording's last third is than its first, which nobody needs.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator
from dataclasses import dataclass, field

import jsonschema
import matplotlib.figure
import numpy as np
import pytest

from mixcompare import analysis, plots
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import ANALYZERS, in_order
from mixcompare.features import Features
from mixcompare.fields import BARE, KEPT, RATIO, SIGNED, labelled
from mixcompare.findings import (
    Cause,
    Description,
    Finding,
    JustNoticeable,
    folding,
    size_in_jnd,
)
from mixcompare.findings.confidence import evidence
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.report import document, page, tables
from mixcompare.results import Results
from tests import synthetic
from tests.aspects.contract import contradictions, undeclared
from tests.recorded import features_of
from tests.told import told_of

STEP = JustNoticeable("growth", 0.5, "dB", "a toy's own")


@dataclass(frozen=True)
class Growth:
    """What the toy measures."""

    growth_db: float = field(metadata=labelled("Last third against the first"))
    thirds: int = field(metadata=BARE)
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class GrowthDifference:
    """What it compares."""

    growth_db: float = field(metadata=labelled("Last third against the first") | SIGNED)
    growth_db_interval: tuple[float, float]
    factor_db_per_db: float = field(metadata=labelled("Growth over growth") | RATIO)
    thirds: int = field(metadata=BARE | KEPT)
    reasons: tuple[str, ...] = ("Toys give no reasons.",)


class Toy:
    """An analyzer like any other."""

    aspect = "growth"
    about = Description(
        title="Growth",
        meaning="How much louder the end is than the beginning.",
        method="Mean K-weighted power of the last third over that of the first.",
        noticeable=(STEP,),
        explains=(
            folding.Rule(folding.kinds("grows_more"), folding.aspect("dynamics"), folding.always),
        ),
        figure="tests.aspects.test_toy:draw",
        after=("tone", "loudness"),
        article="the ",
    )

    def measure(self, features: Features) -> Growth:
        power = features.k_power.sum(axis=1)
        third = len(power) // 3
        return Growth(float(10 * np.log10(power[-third:].mean() / power[:third].mean())), 3)

    def compare(self, pair: Pair) -> GrowthDifference:
        assert {"tone", "loudness"} <= set(pair.differences)
        reference, candidate = pair.alone(self)
        value = candidate.growth_db - reference.growth_db
        factor = candidate.growth_db / reference.growth_db
        return GrowthDifference(value, (value - 0.2, value + 0.2), factor, 3)

    def findings(self, difference: GrowthDifference, pair: Pair) -> list[Finding]:
        value, around = difference.growth_db, difference.growth_db_interval
        return [
            Finding(
                self.aspect, "grows_more" if value > 0 else "grows_less", "end of the passage",
                value, around, "dB", size_in_jnd(value, around, STEP.size),
                evidence(value, around, pair.same_take), (pair.span_s,), None,
                Cause.weighing(0.0, 0.0, 1.0), "The end towers.", ("Hold it back.",),
                noticeable=STEP,
            )
        ]  # fmt: skip


TOY = Toy()


def draw(results: Results, figure: matplotlib.figure.Figure) -> str | None:
    """The toy's figure."""
    difference: GrowthDifference = results.measurements["growth"].difference
    figure.add_subplot().bar(["growth (dB)"], [difference.growth_db])
    return "How much more the candidate grows."


@pytest.fixture(scope="module")
def told() -> Iterator[Results]:
    music = synthetic.play(7)
    louder = music * np.linspace(1.0, 2.0, len(music))[:, None]
    features = [features_of(one, synthetic.RATE_HZ) for one in (music, louder)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(analysis, "ANALYZERS", (TOY, *ANALYZERS))
        yield told_of(*features)


def test_it_stands_in_results_and_list_with_its_own_words(told: Results) -> None:
    assert list(told.measurements)[0] == "growth"  # in the order of the registry
    found = next(one for one in told.findings if one.aspect == "growth")
    # A ramp from 1 to 2 by thirds: 20 lg((11/6) / (7/6)) = 3.93 dB, of even music.
    assert found.difference == pytest.approx(3.93, abs=0.5)
    assert found.amount == f"{found.difference:+.1f} dB"
    (span,), (there,) = found.spans_s, found.candidate_spans_s
    assert there == pytest.approx(span, abs=1e-6)  # put on both clocks by the chain
    assert not any(one.aspect == "dynamics" for one in told.findings)  # its own rule folds it
    if told.findings[0] is found:
        assert f"the end of the passage ({found.amount})" in told.verdict


def test_it_stands_in_the_report_and_keeps_its_schema(told: Results) -> None:
    report = json.loads(document.to_json(document.to_document(told)))
    jsonschema.validate(report, document.schema(told.measurements))
    values = report["measurements"]["growth"]
    assert values["difference"]["growth_db"] == told.measurements["growth"].difference.growth_db
    rows = list(csv.DictReader(io.StringIO(document.findings_table(told.findings))))
    (row,) = [row for row in rows if row["aspect"] == "growth"]
    assert (row["unit"], row["text"]) == ("dB", "The end towers.")


def test_it_stands_on_the_page_with_table_and_figure(told: Results) -> None:
    measured = told.measurements["growth"]
    single = {row[0]: row[1:] for row in tables.single_values(measured).rows}
    assert single["Last third against the first"][2].startswith("+")
    pair = {row[0]: row[1] for row in tables.pair_values(measured).rows}
    assert not pair["Growth over growth"].startswith("+")  # a ratio
    html = page.render(told, {})
    assert ">Growth</h" in html
    for words in (TOY.about.meaning, TOY.about.method, "Toys give no reasons.", "a toy&#39;s own"):
        assert words in html
    assert "growth (dB)" in [
        text.get_text() for text in plots.draw(told, "growth").axes[0].get_xticklabels()
    ]


def test_it_is_held_to_the_contract() -> None:
    assert undeclared(GrowthDifference) == []
    features = [features_of(one * synthetic.play(7), synthetic.RATE_HZ) for one in (1.0, 0.5)]
    pair = Pair(*features, Match(TimeMap.linear(0, 1, 0, features[0].duration_s)))
    back_pair = pair.mirrored()
    for one in (pair, back_pair):
        one.differences.update(tone=None, loudness=None)
    there, back = TOY.compare(pair), TOY.compare(back_pair)
    assert contradictions(there, back, pair.match) == []


def test_aspects_are_compared_behind_those_they_build_on() -> None:
    order = [one.aspect for one in in_order((TOY, *ANALYZERS))]
    assert order.index("growth") > max(order.index("tone"), order.index("loudness"))
    assert order.index("tone") > order.index("balance")
    assert sorted(order) == sorted(["growth", *(one.aspect for one in ANALYZERS)])
    assert [one.aspect for one in in_order((TOY,))] == ["growth"]  # of nobody it waits for
