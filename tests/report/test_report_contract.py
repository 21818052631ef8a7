"""What a real comparison found is what its report says, field by field, for every analyzer."""

from __future__ import annotations

import copy
import csv
import functools
import io
import json
import math
import typing
from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import Any

import jsonschema
import numpy as np
import pytest
import soundfile

from mixcompare import analysis, units
from mixcompare.alignment.result import SAME_PASSAGE, Alignment, Event, Place
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import ANALYZERS
from mixcompare.aspects.base import Analyzer
from mixcompare.audio.recording import Recording
from mixcompare.cli.main import main
from mixcompare.features import Features
from mixcompare.fields import label_and_unit, says_its_unit
from mixcompare.findings import Description, Excerpts
from mixcompare.pair.pair import Pair
from mixcompare.report import document, page, tables
from mixcompare.results import Results
from tests import synthetic

REFERENCE_START_S, CANDIDATE_START_S = 1.0, 2.5
ONSET_S = 0.7

every_analyzer = pytest.mark.parametrize("analyzer", ANALYZERS, ids=lambda one: one.aspect)


@dataclass
class Kept:
    """An analyzer that compares once and says the same ever after."""

    analyzer: Analyzer
    said: Any = None

    @property
    def aspect(self) -> str:
        return self.analyzer.aspect

    @property
    def about(self) -> Description:
        return self.analyzer.about

    @functools.cache  # noqa: B019
    def measure(self, features: Features) -> Any:
        return self.analyzer.measure(features)

    def compare(self, pair: Pair) -> Any:
        self.said = self.said or self.analyzer.compare(pair)
        return self.said

    def findings(self, difference: Any, pair: Pair) -> list[Any]:
        return self.analyzer.findings(difference, pair)

    __hash__ = object.__hash__


KEPT = tuple(Kept(analyzer) for analyzer in ANALYZERS)


@functools.cache
def laid() -> tuple[Features, Features, Alignment]:
    """A figure 6 dB up, 3 dB louder, 4 % slower and 5 cents sharp; spans of longer recordings."""
    rate = synthetic.RATE_HZ
    louder = synthetic.play(
        7, gains_db={"figure": 6.0}, beat_s=0.6 * 1.04, performance=1, a4_hz=441.3, scatter_db=0.3
    )
    first = Recording.from_array(synthetic.play(7), rate, "one", (REFERENCE_START_S, 15.0))
    silent = np.zeros((int(1.5 * rate), 2))
    later = np.concatenate([silent, 1.41 * louder])
    second = Recording.from_array(later, rate, "other", (CANDIDATE_START_S, 16.5))
    times = np.arange(0.0, 13.0, 0.25)
    # A note at t in one lies at 0.3 + 1.04 (t - 0.3) in the other, before spans and silence.
    candidate = 0.3 + 1.04 * (times + REFERENCE_START_S - 0.3) + 1.5 - CANDIDATE_START_S
    alignment = Alignment(
        relation=SAME_PASSAGE, confidence=0.93, time_map=TimeMap(times, candidate, 9.0 + times),
        offset_s=float(candidate[0]), drift_ppm=None, polarity=None, channels_swapped=False,
        transposition_semitones=0, tuning_cents=5.1, tempo_ratio=1.04, uncertainty_ms=4.5,
        events=(Event("tail", (13.0, 14.0), (13.6, 13.6), "The reference goes on."),),
        warnings=("The map is a made-up one.",),
        places=(Place("candidate", (0.0, 13.0), (2.0, 13.6), 0.8, 0.93, True),),
    )  # fmt: skip
    return Features.of(first), Features.of(second), alignment


def analysed(analyzers: tuple[Any, ...]) -> Results:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(analysis, "ANALYZERS", analyzers)
        return replace(analysis.analyse(*laid()), settings={"score": "none", "numbers": (1, 2)})


@functools.cache
def results() -> Results:
    found = analysed(KEPT)
    assert len(found.findings) >= 2
    first = replace(
        found.findings[0], bars=((3, 7),), listening=Excerpts("a.wav", "b.wav"),
        consequences=("It explains more.",),
    )  # fmt: skip
    return replace(found, findings=(first, *found.findings[1:]))


@functools.cache
def report() -> dict[str, Any]:
    return json.loads(document.to_json(document.to_document(results(), ("report.json",))))


@functools.cache
def validator() -> jsonschema.Draft202012Validator:
    return jsonschema.Draft202012Validator(document.schema())


def differences(value: Any, told: Any, place: str) -> Iterator[str]:
    """Where what is told is not the value: walks what there is, and finds nothing more told."""
    if is_dataclass(value):
        names = [item.name for item in fields(value) if item.metadata.get("report") is not False]
        if sorted(told) != sorted(names):
            yield f"{place}: {sorted(set(told) ^ set(names))}"
        for name in set(names) & set(told):
            yield from differences(getattr(value, name), told[name], f"{place}.{name}")
    elif isinstance(value, dict):
        for name in value:
            yield from differences(value[name], told[name], f"{place}.{name}")
    elif isinstance(value, (tuple, list, np.ndarray)):
        if not isinstance(told, list) or len(told) != len(value):
            yield f"{place}: {told}"
        else:
            for index, (one, other) in enumerate(zip(value, told, strict=True)):
                yield from differences(one, other, f"{place}[{index}]")
    elif isinstance(value, (float, np.floating)) and not math.isfinite(value):
        if told is not None:
            yield f"{place}: {told}, should be null"
    elif isinstance(value, bool) or value is None or isinstance(value, str):
        if told is not value and told != value:
            yield f"{place}: {told!r}, should be {value!r}"
    elif isinstance(told, bool) or told is None or abs(told - value) > 1e-12 * max(1, abs(value)):
        yield f"{place}: {told}, should be {value}"


# --- report.json --------------------------------------------------------------------------------


def test_the_report_follows_the_schema() -> None:
    validator().validate(report())


@pytest.mark.parametrize("side", ["reference", "candidate"])
def test_each_source_is_told_as_itself(side: str) -> None:
    assert list(differences(getattr(results(), side), report()[side], side)) == []
    start = {"reference": REFERENCE_START_S, "candidate": CANDIDATE_START_S}[side]
    assert report()[side]["span_s"][0] == start
    assert report()["reference"]["path"] == "one"


def test_the_alignment_is_told_by_its_names_and_on_the_clocks_of_the_files() -> None:
    told, found = report()["alignment"], laid()[2]
    for name in (
        "relation", "confidence", "drift_ppm", "polarity", "channels_swapped",
        "transposition_semitones", "tuning_cents", "tempo_ratio", "uncertainty_ms",
    ):  # fmt: skip
        assert told[name] == getattr(found, name), name
    nodes = np.array(told["time_map"])
    assert nodes[:, 0] == pytest.approx(found.time_map.reference_s + REFERENCE_START_S, abs=1e-6)
    assert nodes[:, 1] == pytest.approx(found.time_map.candidate_s + CANDIDATE_START_S, abs=1e-6)
    assert told["time_map_half_width_ms"] == pytest.approx(found.time_map.half_width_ms, abs=1e-3)
    # A note at 0.3 s of the reference's file lies at 1.8 s of the candidate's.
    assert told["offset_s"] == pytest.approx(0.3 - 1.04 * 0.3 + 1.5, abs=1e-6)
    assert told["events"] == [
        {
            "kind": "tail",
            "reference_s": [14.0, 15.0],
            "candidate_s": [pytest.approx(16.1), pytest.approx(16.1)],
            "text": "The reference goes on.",
        }
    ]
    assert told["places"] == [
        {
            "recording": "candidate",
            "reference_s": [REFERENCE_START_S, REFERENCE_START_S + 13.0],
            "candidate_s": [2.0 + CANDIDATE_START_S, 13.6 + CANDIDATE_START_S],
            "agreement": 0.8,
            "confidence": 0.93,
            "compared": True,
        }
    ]
    assert set(told) == {item.name for item in fields(Alignment)} - {"warnings"} | {
        "time_map_half_width_ms"
    }


def test_level_verdict_warnings_and_settings_are_told() -> None:
    assert results().level is not None
    assert list(differences(results().level, report()["level"], "level")) == []
    assert report()["level"]["gain_db"] == pytest.approx(20 * math.log10(1.41), abs=0.3)
    assert report()["verdict"] == results().verdict
    assert report()["warnings"] == list(dict.fromkeys(results().warnings))
    assert "The map is a made-up one." in report()["warnings"]
    assert report()["settings"] == {"score": "none", "numbers": [1, 2]}
    assert report()["files"] == ["report.json"]


@every_analyzer
def test_every_measurement_is_told_field_by_field(analyzer: Analyzer) -> None:
    told = report()["measurements"][analyzer.aspect]
    found = results().measurements[analyzer.aspect]
    assert list(told) == ["reference", "candidate", "difference"]
    for role in told:
        assert list(differences(getattr(found, role), told[role], role)) == []
    kept = next(one for one in KEPT if one.analyzer is analyzer)
    assert found.reference is kept.measure(laid()[0])
    assert found.candidate is kept.measure(laid()[1])


def test_every_finding_is_told_field_by_field_and_on_the_clocks_of_the_files() -> None:
    assert len(report()["findings"]) == len(results().findings)
    for found, told in zip(results().findings, report()["findings"], strict=True):
        moved = replace(
            found,
            spans_s=tuple(tuple(t + REFERENCE_START_S for t in span) for span in found.spans_s),
            candidate_spans_s=tuple(
                tuple(t + CANDIDATE_START_S for t in span) for span in found.candidate_spans_s
            ),
        )
        assert list(differences(moved, told, found.kind)) == []
        for (start, end), (begin, stop) in zip(
            told["spans_s"], told["candidate_spans_s"], strict=True
        ):
            assert begin == pytest.approx(1.5 + 0.3 + 1.04 * (start - 0.3), abs=0.01)
            assert stop == pytest.approx(1.5 + 0.3 + 1.04 * (end - 0.3), abs=0.01)


@pytest.mark.parametrize(
    ("path", "value"),
    [
        (("alignment", "relation"), "alike"),
        (("alignment", "relation"), None),
        (("alignment", "polarity"), 0),
        (("alignment", "transposition_semitones"), 0.5),
        (("alignment", "channels_swapped"), 1),
        (("alignment", "time_map", 0), [1.0]),
        (("alignment", "time_map", 0), [1.0, 2.0, 3.0]),
        (("reference", "sample_rate_hz"), "24000"),
        (("candidate", "span_s"), [1.0, 2.0, 3.0]),
        (("level", "interval"), [1.0]),
        (("findings", 0, "rank"), 0),
        (("findings", 0, "confidence"), 1.01),
        (("findings", 0, "jnd"), -1.0),
        (("findings", 0, "text"), 5),
        (("findings", 0, "spans_s"), [[1.0]]),
        (("findings", 0, "cause", "mix"), 1.5),
        (("findings", 0, "listening"), {"reference": "a.wav"}),
        (("measurements", "tone", "difference", "tilt_db_per_octave"), "steep"),
        (("measurements", "width", "difference", "side_to_mid_db_interval"), [1.0]),
        (("warnings",), "none"),
    ],
)
def test_the_schema_refuses(path: tuple[Any, ...], value: Any) -> None:
    broken = copy.deepcopy(report())
    holder: Any = broken
    for step in path[:-1]:
        holder = holder[step]
    assert path[-1] in holder or isinstance(holder, list)
    holder[path[-1]] = value
    assert not validator().is_valid(broken)


def test_the_schema_misses_every_field() -> None:
    whole = report()
    for path, names in {
        (): set(whole) - {"verdict", "settings", "files"},
        ("alignment",): set(whole["alignment"]) - {"time_map_half_width_ms", "events"},
        ("findings", 0): set(whole["findings"][0]) - {"consequences"},
        ("findings", 0, "cause"): {"players", "room", "mix"},
        ("reference",): {"path", "sample_rate_hz", "channels", "duration_s", "span_s"},
        **{
            ("measurements", one.aspect): {"reference", "candidate", "difference"}
            for one in ANALYZERS
        },
    }.items():
        for name in names:
            broken = copy.deepcopy(whole)
            holder: Any = broken
            for step in path:
                holder = holder[step]
            del holder[name]
            assert not validator().is_valid(broken), (path, name)


def test_no_report_holds_what_json_cannot_say() -> None:
    with pytest.raises(ValueError, match="JSON"):
        document.to_json({"level_db": math.nan})
    level = results().level
    assert level is not None
    broken = document.to_document(replace(results(), level=replace(level, gain_db=math.nan)))
    assert broken["level"]["gain_db"] is None
    assert not validator().is_valid(broken)


# --- the page -----------------------------------------------------------------------------------


def is_numeric(annotation: Any) -> bool:
    """Whether a type holds a number anywhere; truth values and words are shown as they are."""
    if annotation in (int, float, np.float64):
        return True
    return any(is_numeric(part) for part in typing.get_args(annotation))


def shown_records(analyzer: Analyzer) -> Iterator[type]:
    """Types of what the page shows of an analyzer, and of the records in them."""
    waiting = [
        typing.get_type_hints(method)["return"]
        for method in (type(analyzer).measure, type(analyzer).compare)
    ]
    while waiting:
        record = waiting.pop()
        yield record
        hints = typing.get_type_hints(record)
        for item in fields(record):
            if item.metadata.get("report") is False:
                continue
            parts = [hints[item.name], *typing.get_args(hints[item.name])]
            waiting += [part for part in parts if is_dataclass(part) and isinstance(part, type)]


@every_analyzer
def test_every_aspect_has_a_title_a_meaning_and_a_method(analyzer: Analyzer) -> None:
    known = analyzer.about
    assert known.title.lower() != ""
    assert len(known.meaning.split()) > 5
    assert len(known.method.split()) > 5


@every_analyzer
def test_every_number_on_the_page_has_a_label_and_a_unit(analyzer: Analyzer) -> None:
    nameless, unitless = [], []
    for record in shown_records(analyzer):
        hints = typing.get_type_hints(record)
        for item in fields(record):
            reported = item.metadata.get("report") is not False
            if not reported or not is_numeric(hints[item.name]) or item.name.endswith("interval"):
                continue
            label, unit = label_and_unit(item)
            if label == item.name or "_" in label or not label[:1].isupper():
                nameless.append(item.name)
            if not says_its_unit(item):
                unitless.append(item.name)
            assert not unit or unit in {known.symbol for known in units.UNITS}, unit
    assert (nameless, unitless) == ([], [])


@every_analyzer
def test_every_single_value_stands_on_the_page(analyzer: Analyzer) -> None:
    measured = results().measurements[analyzer.aspect]
    shown = {row[0]: row for row in tables.single_values(measured).rows}
    for item in fields(measured.reference):
        value = getattr(measured.reference, item.name)
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            continue
        label, unit = label_and_unit(item)
        both = (value, getattr(measured.candidate, item.name))
        if item.name == "sounding_ratio":  # of the notes that both have
            both = (measured.difference.reference_ratio, measured.difference.candidate_ratio)
        assert shown[label][1:3] == tuple(units.quantity(one, unit) for one in both)
        change = getattr(measured.difference, item.name, None)
        if isinstance(change, int):  # a count of the pair: no difference of the two beside it
            assert shown[label][3] == f"{change} in both"
        elif isinstance(change, float):
            assert (
                shown[label][3]
                .replace("+", "")
                .startswith(units.number(change, units.difference_unit(unit)).lstrip("+"))
            )


# --- one analyzer less --------------------------------------------------------------------------


@every_analyzer
def test_without_any_one_analyzer_all_else_is_as_before(
    analyzer: Analyzer, monkeypatch: pytest.MonkeyPatch
) -> None:
    whole = results()
    left = tuple(one for one in KEPT if one.analyzer is not analyzer)
    less = analysed(left)
    assert list(less.measurements) == [one.aspect for one in left]
    for aspect, measured in less.measurements.items():
        assert measured.reference is whole.measurements[aspect].reference
        if aspect != "tone":  # of which balance explains a part
            assert measured.difference is whole.measurements[aspect].difference
    assert less.level == whole.level
    assert {finding.aspect for finding in less.findings} <= set(less.measurements)
    text = document.to_json(document.to_document(less))
    validator().validate(json.loads(text))
    html = page.render(less, {})
    for one in ANALYZERS:
        shown = f">{one.about.title}</h" in html
        assert shown is (one is not analyzer), one.aspect
    rows = list(csv.DictReader(io.StringIO(document.findings_table(less.findings))))
    assert [row["kind"] for row in rows] == [finding.kind for finding in less.findings]


@every_analyzer
def test_the_command_line_measures_without_any_one_analyzer(
    analyzer: Analyzer, monkeypatch: pytest.MonkeyPatch, tmp_path: Any, capsys: Any
) -> None:
    path = tmp_path / "short.wav"
    noise = np.random.default_rng(0).standard_normal((16_000, 2))
    soundfile.write(path, 0.1 * noise, 8_000)
    left = tuple(one for one in ANALYZERS if one is not analyzer)
    monkeypatch.setattr("mixcompare.aspects.ANALYZERS", left)
    assert main(["measure", str(path), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert analyzer.aspect not in json.dumps(list(told.get("measurements", told)))
    assert {one.aspect for one in left} <= set(told.get("measurements", told))
