"""report.json: valid after its schema, plain numbers, nothing missing, nothing made up."""

import copy
import csv
import io
import json
from dataclasses import dataclass, field, fields, is_dataclass, replace

import jsonschema
import numpy as np
import pytest

from mixcompare.alignment.result import SAME_PASSAGE, SAME_TAKE, UNRELATED
from mixcompare.report import document
from tests import samples
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


@pytest.fixture(scope="module", params=["made up", "one take", "two performances"])
def shown(request):
    if request.param == "made up":
        return made_up_results(length_s=12.0)
    names = {"one take": "candidate_figure_louder", "two performances": "candidate_detached"}
    return samples.compared("reference", names[request.param])


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
        measurements={
            **results.measurements,
            "room": replace(
                results.measurements["room"], reference=odd, candidate=odd, difference=odd
            ),
        },
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


def rows_of(findings):
    return list(csv.DictReader(io.StringIO(document.findings_table(findings))))


def test_the_findings_table_tells_every_finding_field_by_field(shown):
    rows = rows_of(shown.findings)
    assert len(rows) == len(shown.findings) > 0
    for row, finding in zip(rows, shown.findings, strict=True):
        for name in ("aspect", "kind", "subject", "text"):
            assert row[name] == getattr(finding, name)
        scale = finding.scale
        assert row["unit"] == ("percentage points" if scale.read_as == "points" else finding.unit)
        assert row["advice"] == " ".join(finding.advice)
        assert int(row["rank"]) == finding.rank
        low, high = finding.interval
        for name, value in (("difference", finding.difference), ("low_95", low), ("high_95", high)):
            # In the digits of the page and of the console.
            digit = 10.0**-scale.decimals
            assert float(row[name]) == pytest.approx(scale.factor * value, abs=0.51 * digit)
            assert scale.amount(value).removeprefix("+").startswith(row[name].lstrip("+"))
        assert float(row["just_noticeable_differences"]) == pytest.approx(finding.jnd, abs=0.051)
        for name, value in (
            ("confidence", finding.confidence),
            ("players", finding.cause.players),
            ("room", finding.cause.room),
            ("mix", finding.cause.mix),
        ):
            assert float(row[name]) == pytest.approx(value, abs=0.0051)
        for name, spans in (
            ("spans_s", finding.spans_s), ("candidate_spans_s", finding.candidate_spans_s),
        ):  # fmt: skip
            told = [[float(end) for end in span.split(" to ")] for span in row[name].split("; ")]
            np.testing.assert_allclose(told, spans, atol=0.0051)
        band = (row["low_hz"], row["high_hz"])
        assert (
            band == ("", "")
            if finding.band_hz is None
            else band == tuple(f"{edge:.0f}" for edge in finding.band_hz)
        )
    named = replace(shown.findings[0], bars=((5, 12), (20, 25)))
    assert rows_of([named])[0]["bars"] == "5 to 12; 20 to 25"


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t"])
def test_the_findings_table_holds_no_formula(start):
    finding = made_up_results().findings[0]
    sly = replace(
        finding,
        subject=f'{start}HYPERLINK("x")',
        text=f'{start}one, "two"\nthree\rfour',
        advice=(f"{start}1",),
    )
    (row,) = rows_of([sly])
    assert row["subject"] == f'\'{start}HYPERLINK("x")'
    assert row["text"] == f'\'{start}one, "two"\nthree four'
    assert row["advice"] == f"'{start}1"


def equal(told, value):
    """Whether JSON data says the same as a value of the results."""
    if is_dataclass(value):
        wanted = {
            entry.name: getattr(value, entry.name)
            for entry in fields(value)
            if entry.metadata.get("report", True)
        }
        return set(told) == set(wanted) and all(equal(told[key], wanted[key]) for key in wanted)
    if isinstance(value, (tuple, list, np.ndarray)):
        return len(told) == len(value) and all(map(equal, told, value))
    if isinstance(value, float) and not np.isfinite(value):
        return told is None
    return told == value and isinstance(told, bool) == isinstance(value, (bool, np.bool_))


def test_the_report_says_what_the_results_say_each_under_its_own_name(shown, validator):
    report = json.loads(document.to_json(document.to_document(shown, ["b", "a"])))
    validator.validate(report)
    for name in ("reference", "candidate", "level", "findings", "verdict"):
        assert equal(report[name], getattr(shown, name)), name
    assert list(report["measurements"]) == list(shown.measurements)
    for aspect, told in report["measurements"].items():
        measured = shown.measurements[aspect]
        assert set(told) == {"reference", "candidate", "difference"}
        for name in told:
            assert equal(told[name], getattr(measured, name)), (aspect, name)
    alignment = shown.alignment
    for name in ALIGNMENT.replace(" time_map", "").split():
        assert equal(report["alignment"][name], getattr(alignment, name)), name
    assert equal(report["alignment"]["events"], alignment.events)
    pairs = np.array(report["alignment"]["time_map"])
    np.testing.assert_allclose(pairs[:, 1], alignment.time_map.to_candidate(pairs[:, 0]), atol=2e-3)
    assert report["warnings"] == list(dict.fromkeys((*shown.warnings, *alignment.warnings)))
    assert report["files"] == ["b", "a"]
    assert report["settings"] == shown.settings


def test_spans_are_told_on_the_clocks_of_the_files():
    results = made_up_results(length_s=12.0)
    part = replace(
        results,
        reference=replace(results.reference, span_s=(10.0, 22.0)),
        candidate=replace(results.candidate, span_s=(3.0, 17.9)),
    )
    here, there = document.to_document(results), document.to_document(part)
    for before, after in zip(here["findings"], there["findings"], strict=True):
        np.testing.assert_allclose(after["spans_s"], np.array(before["spans_s"]) + 10)
        np.testing.assert_allclose(
            after["candidate_spans_s"], np.array(before["candidate_spans_s"]) + 3
        )
    before, after = (one["alignment"] for one in (here, there))
    reference_s, candidate_s = np.array(after["time_map"]).T
    np.testing.assert_allclose(reference_s[[0, -1]], [10, 22])
    wanted = results.alignment.time_map.to_candidate(reference_s - 10) + 3
    np.testing.assert_allclose(candidate_s, wanted, atol=1e-5)
    assert before["time_map"][0] == [0.0, 0.7]
    # Where the file's start falls: the map goes on with the slope of its first segment.
    time_map = results.alignment.time_map
    assert after["offset_s"] == pytest.approx(float(time_map.to_candidate(-10.0)) + 3)
    (event,) = after["events"]
    assert event["reference_s"] == [22.0, 22.0]
    assert event["candidate_s"] == pytest.approx([16.5, 17.9])
