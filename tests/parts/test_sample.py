"""The sample pair with its score: who was too loud is named, and every part has its level."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest

import mixcompare
from mixcompare import Comparison
from mixcompare.report import document

SAMPLES = Path(__file__).parents[2] / "sample_audio"


@pytest.fixture(scope="module")
def compared() -> Comparison:
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
    assert finding.subject == "clarinets, xylophone and harp parts"
    assert set(change["parts"]) == {"clarinets", "xylophone", "harp"}
    assert finding.difference == pytest.approx(change["difference"], abs=0.5)
    assert finding.text.startswith("The clarinets, xylophone and harp parts stand further forward")
    assert "They take" in finding.text
    assert finding.advice == (
        "Bring the spots that carry the clarinets, xylophone and harp parts down by about 6 dB.",
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
        assert part["reason"] is None
        assert part["resolved"] == (not part["group"])
    assert parts["flute"]["group"] == ["violins"]  # it plays with them in unison
    assert parts["violins"]["audible_share"] > 0.9
