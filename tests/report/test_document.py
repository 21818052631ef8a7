"""report.json: valid after its schema, plain numbers, nothing missing, nothing made up."""

import copy
import csv
import io
import json
from dataclasses import dataclass, field, replace

import jsonschema
import numpy as np
import pytest

from mixcompare.match import SAME_PASSAGE, SAME_TAKE, UNRELATED
from mixcompare.report import document
from mixcompare.results import Measured
from tests.report.builders import made_up_results

RELATIONS = (SAME_PASSAGE, SAME_TAKE, UNRELATED)


@pytest.fixture(scope="module")
def validator():
    schema = document.schema()
    jsonschema.Draft202012Validator.check_schema(schema)
    return jsonschema.Draft202012Validator(schema)


@pytest.fixture(scope="module")
def report():
    return document.to_document(made_up_results(length_s=12.0))


@pytest.mark.parametrize("relation", RELATIONS)
def test_every_report_follows_the_schema(relation, validator):
    text = document.to_json(document.to_document(made_up_results(relation)))
    validator.validate(json.loads(text, parse_constant=pytest.fail))


def test_the_written_report_follows_the_schema_and_lists_its_files(saved, validator):
    report = json.loads((saved / "report.json").read_text("utf-8"))
    validator.validate(report)
    on_disk = {str(path.relative_to(saved)) for path in saved.rglob("*") if path.is_file()}
    assert set(report["files"]) == on_disk
    for finding in report["findings"]:
        assert set(finding["listening"].values()) <= on_disk


TOP = (
    "schema_version mixcompare_version reference candidate alignment level measurements findings"
    " parts stems warnings"
)
ALIGNMENT = (
    "relation confidence offset_s drift_ppm polarity channels_swapped transposition_semitones"
    " tuning_cents tempo_ratio uncertainty_ms time_map"
)
FINDING = (
    "rank aspect kind subject difference unit interval jnd confidence spans_s candidate_spans_s"
    " bars band_hz cause text advice listening"
)
SOURCE = "path sample_rate_hz channels duration_s span_s"


@pytest.mark.parametrize(
    ("path", "names"),
    [
        ((), TOP),
        (("alignment",), ALIGNMENT),
        (("findings", 0), FINDING),
        (("reference",), SOURCE),
        (("level",), "gain_db method"),
        (("findings", 0, "cause"), "players room mix"),
        (("measurements", "tone"), "reference candidate difference"),
    ],
)
def test_the_schema_misses_every_field_of_the_contract(path, names, validator, report):
    for name in names.split():
        broken = copy.deepcopy(report)
        holder = broken
        for step in path:
            holder = holder[step]
        del holder[name]
        assert not validator.is_valid(broken), name


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("schema_version",), 2),
        (("alignment", "confidence"), 1.2),
        (("alignment", "relation"), "alike"),
        (("alignment", "offset_s"), None),
        (("alignment", "drift_ppm"), 3.0),
        (("findings", 0, "interval"), [1.0]),
        (("findings", 0, "aspect"), "mood"),
        (("findings", 0, "difference"), None),
        (("measurements", "loudness", "reference", "integrated_lufs"), "loud"),
        (("level", "gain_db"), None),
    ],
)
def test_the_schema_refuses_what_the_contract_excludes(path, value, validator, report):
    broken = copy.deepcopy(report)
    holder = broken
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    assert not validator.is_valid(broken)


def test_unrelated_recordings_have_no_places_and_no_findings(validator):
    report = document.to_document(made_up_results(UNRELATED))
    assert report["findings"] == []
    assert report["measurements"] == {}
    assert report["alignment"]["time_map"] == []
    assert report["alignment"]["offset_s"] is None
    assert report["level"]["gain_db"] is None
    report["findings"] = document.to_document(made_up_results())["findings"]
    assert not validator.is_valid(report)


@dataclass(frozen=True)
class Odd:
    level_db: float
    levels_db: np.ndarray
    level_db_interval: tuple[float, float]
    count: np.int64
    known: np.bool_
    picture_db: np.ndarray = field(metadata={"report": False})


def test_what_is_not_a_finite_number_becomes_null_and_arrays_become_lists():
    odd = Odd(
        float("nan"),
        np.array([[1.5, np.inf]], np.float32),
        (-np.inf, 2.0),
        np.int64(3),
        np.bool_(True),
        np.ones(5),
    )
    assert document.plain(odd) == {
        "level_db": None,
        "levels_db": [[1.5, None]],
        "level_db_interval": [None, 2.0],
        "count": 3,
        "known": True,
    }
    with pytest.raises(TypeError, match="complex"):
        document.plain(1j)


def test_an_open_interval_still_gives_a_valid_report(validator):
    results = made_up_results()
    odd = Odd(1.0, np.zeros(2), (-np.inf, np.inf), np.int64(1), np.bool_(False), np.zeros(1))
    results = replace(
        results,
        measurements={**results.measurements, "room": Measured("room", odd, odd, odd)},
        settings={"span": (0.0, float("inf")), "stems": None},
    )
    report = document.to_document(results)
    validator.validate(json.loads(document.to_json(report)))


def test_the_time_map_is_thin_and_strictly_increasing():
    dense = made_up_results()
    times = np.arange(0, 48, 0.004)
    time_map = type(dense.alignment.time_map)(times, 1.1 * times + 0.02 * np.sin(times))
    results = replace(dense, alignment=replace(dense.alignment, time_map=time_map))
    pairs = np.array(document.to_document(results)["alignment"]["time_map"])
    assert (np.diff(pairs, axis=0) > 0).all()
    assert np.diff(pairs[:, 0]).min() >= 0.05 - 1e-6
    middle = np.interp(times, pairs[:, 0], pairs[:, 1])
    assert np.abs(middle - time_map.candidate_s).max() < 1e-4


def test_the_same_results_give_the_same_text():
    first, second = (document.to_json(document.to_document(made_up_results())) for _ in range(2))
    assert first == second


def test_the_findings_table_opens_in_a_spreadsheet_and_holds_no_formula():
    findings = made_up_results().findings
    sly = replace(findings[0], subject='=HYPERLINK("x")', text='one, "two"\nthree')
    rows = list(csv.DictReader(io.StringIO(document.findings_table((sly, *findings[1:])))))
    assert len(rows) == len(findings)
    assert rows[0]["subject"].startswith("'=")
    assert rows[0]["text"] == 'one, "two"\nthree'
    assert float(rows[0]["difference"]) == pytest.approx(5.8)
    assert rows[0]["spans_s"] == "8.00 to 20.00; 30.72 to 39.36"
    assert rows[2]["low_hz"] == ""
