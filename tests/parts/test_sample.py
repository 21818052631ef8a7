"""The sample pair with its score: who was too loud is named, and every part has its level."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

import mixcompare
from mixcompare import Comparison
from mixcompare.report import document
from tests.told import nothing_unseen

SAMPLES = Path(__file__).parents[2] / "sample_audio"


@pytest.fixture(scope="module")
def compared() -> Comparison:
    with nothing_unseen():
        return mixcompare.compare(
            SAMPLES / "reference.flac",
            SAMPLES / "candidate_figure_louder.flac",
            score=SAMPLES / "score.mid",
        )


def test_who_plays_the_loud_figure_is_told_by_name(compared: Comparison) -> None:
    truth = json.loads((SAMPLES / "candidate_figure_louder.truth.json").read_text("utf-8"))
    (change,) = truth["differences"]
    (finding,) = compared.findings
    assert finding.kind == "part_louder"
    # Sixteenths, as the program that writes the sample's score has them.
    assert finding.subject == "clarinets, xylophone and harp parts, semiquavers"
    assert set(change["parts"]) == {"clarinets", "xylophone", "harp"}
    assert finding.difference == pytest.approx(change["difference"], abs=0.5)
    assert finding.text.startswith(
        "The clarinets, xylophone and harp parts (semiquavers) stand further forward"
    )
    assert finding.text.endswith("They make the whole 1.6 LU louder.")
    assert finding.advice == (
        "Bring the spots that carry the clarinets, xylophone and harp parts down by about 6 dB.",
        # A step of dynamics is some 4 to 6 dB (common practice, no source).
        "Or, if it was played so: about one dynamic softer (as from f to mf); not both.",
    )


def test_every_part_is_in_the_report_with_its_level(compared: Comparison) -> None:
    report = compared.to_dict()
    jsonschema.validate(report, document.schema())
    assert compared.parts == report["parts"]
    parts = {part["name"]: part for part in report["parts"]}
    assert len(parts) == 14
    loud = ("clarinets", "xylophone", "harp")
    for name, part in parts.items():
        expected = 6.0 if name in loud else 0.0
        assert part["level_difference_db"] == pytest.approx(expected, abs=0.5)
        assert part["interval"][0] <= expected <= part["interval"][1]
        assert 0.0 <= part["audible_share"] <= 1.0
        assert part["reason"] is None or part["group"]  # doublings
        assert part["resolved"] == (not part["group"])
    assert parts["flute"]["group"] == ["violins"]  # it plays with them in unison
    assert parts["flute"]["reason"].startswith("Heard in neither recording")
    assert parts["violins"]["audible_share"] > 0.9


def test_who_leads_is_in_the_report_and_stands_as_clear_as_it_did(compared: Comparison) -> None:
    # By the program that writes the sample the violins have the theme, and the figure is clarinets,
    # xylophone and harp; flute and violins play in unison.
    parts = {part["name"]: part for part in compared.parts}
    leads = {name: part["leads"] for name, part in parts.items() if part["leads"]}
    assert leads["violins"][0]["bars"][0] == 1
    told = compared.results.measurements["balance"].difference.leads
    assert sum(map(len, leads.values())) == len(told)
    for name, found in leads.items():
        for one in found:
            start, end = one["span_s"]
            first, last = one["bars"]
            assert 0 <= start < end
            assert first <= last
            assert one["candidate_db"] - one["reference_db"] == pytest.approx(one["difference_db"])
            over = one["covered_in_candidate_by"]
            assert bool(over) == (one["candidate_db"] < 0) or one["candidate"] != "covered"
            assert name not in over
            assert not set(over) & set(one["doubled_by"])
    # The figure came up by 6 dB: what it does not play itself can't stand clearer than before.
    assert all(one["difference_db"] < 0.5 for one in leads["violins"])


def test_every_part_is_in_the_report_with_its_place(compared: Comparison) -> None:
    truth = json.loads((SAMPLES / "reference.truth.json").read_text("utf-8"))
    pans = {part["name"]: part["position"] for part in truth["parts"]}
    told = 0
    for part in compared.parts:
        around = part["position_interval"]
        if around is None:
            assert part["position_reference"] is None
            assert part["position_difference"] is None
            continue
        told += 1
        before, after = part["position_reference"], part["position_candidate"]
        assert part["position_difference"] == pytest.approx(after - before, abs=1e-9)
        # Nothing was panned, whether it was raised or not.
        assert around[0] <= 0.0 <= around[1]
        # The room, louder than all that is direct at some distance, draws places to the centre.
        if abs(pans[part["name"]]) >= 0.5 and part["name"] != "xylophone":
            assert before * pans[part["name"]] > 0.05
    assert told >= 8


def test_the_report_says_in_which_bars_a_part_stands_forward(compared: Comparison) -> None:
    parts = {part["name"]: part for part in compared.parts}
    loud = {first: level for first, _, level in parts["clarinets"]["bars"]}
    assert set(loud) == {2, 3, 4, 5, 7, 8, 9}  # the figure rests in the first bar and the sixth
    assert all(level == pytest.approx(6.0, abs=1.5) for level in loud.values())
    for first, last, level in parts["violins"]["bars"]:
        assert first == last
        assert level == pytest.approx(0.0, abs=0.5)


def test_who_is_heard_and_who_lies_over_the_others(compared: Comparison) -> None:
    parts = {part["name"]: part for part in compared.parts}
    assert parts["clarinets"]["candidate_audible_share"] > parts["clarinets"]["audible_share"]
    assert parts["flute"]["covered_by"] == ["violins"]  # in unison
    assert parts["violins"]["covered_by"] == []
    assert parts["violins"]["written"] is None  # velocities of a MIDI file are no dynamics


def test_the_picture_has_a_row_for_every_part_and_a_cell_for_its_bars(
    compared: Comparison,
) -> None:
    written = compared.results.measurements["balance"].difference.parts
    axes = compared.plot("balance").axes
    (over_time,) = [one for one in axes if one.get_xlabel() == "bar"]
    rows = [label.get_text() for label in over_time.get_yticklabels()]
    shown = [part for part in written if part.course]
    assert rows == [part.name for part in shown]
    assert len(over_time.patches) == sum(len(part.course) for part in shown)
    for cell in over_time.patches:
        part = shown[round(cell.get_y() + 0.5)]
        assert cell.get_x() in [one.start_s for one in part.course]
        red, _, blue, _ = cell.get_facecolor()
        if part.name == "clarinets":
            assert red > blue + 0.3  # orange: the candidate has more
        elif part.name == "violins":
            assert abs(red - blue) < 0.05
