"""One fact, one number: a finding's size reads alike wherever a person meets it.

The sample recordings, each with its own kinds of findings; what is read is what is printed.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import replace

import pypdf
import pytest

from mixcompare import units
from mixcompare.cli.compare import _print_finding
from mixcompare.cli.terminal import Ink
from mixcompare.findings import Finding
from mixcompare.report import document, head, tables
from mixcompare.report.drawn import of_the_drawn
from mixcompare.report.handout import handout_pdf
from mixcompare.report.page import render
from mixcompare.results import Results
from tests import samples
from tests.report.builders import made_up_results

_NUMBER = re.compile(r"[+-]?\d+(?:\.\d+)?")


@pytest.fixture(scope="module", params=[*samples.CANDIDATES, "made up"])
def results(request: pytest.FixtureRequest) -> Results:
    if request.param == "made up":
        return made_up_results()
    return samples.compared("reference", request.param)


def words_of(page: str) -> str:
    text = re.sub(r"<script.*?</script>|<style.*?</style>", " ", page, flags=re.DOTALL)
    return " ".join(re.sub(r"<[^>]+>", " ", text).replace(units.MINUS, "-").split())


def in_unit(text: str, unit: str) -> Iterator[str]:
    """Numbers that are followed by a unit, without their signs."""
    text = text.replace(units.MINUS, "-").replace("\N{NO-BREAK SPACE}", " ")
    for found in re.finditer(
        rf"({_NUMBER.pattern}) (?:percentage )?{re.escape(unit)}(?!\w|/)", text
    ):
        yield found.group(1).lstrip("+-")


def told(results: Results, finding: Finding) -> dict[str, str]:
    """Everything that is printed about a finding or its aspect, advice apart: that is rounded."""
    out = {
        "text": finding.text,
        "verdict": results.verdict,
        "head": head.compared(results) + " " + " ".join(words for _, words in head.facts(results)),
    }
    measured = of_the_drawn(results.measurements[finding.aspect])
    out["line of the aspect"] = tables.key_value(measured)
    for table in (tables.single_values(measured), tables.pair_values(measured)):
        out["table"] = out.get("table", "") + "  ".join("  ".join(row) for row in table.rows)
    return out


def test_the_size_of_a_finding_is_written_with_the_same_digits_everywhere(
    results: Results, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = list(csv.DictReader(io.StringIO(document.findings_table(results.findings))))
    page = words_of(render(results, {}))
    (sheet,) = pypdf.PdfReader(io.BytesIO(handout_pdf(results))).pages
    handout = re.sub(r"\s+", "", sheet.extract_text()).replace(units.MINUS, "-")
    for finding, row in zip(results.findings, rows, strict=True):
        size, unit = _NUMBER.match(finding.amount), finding.scale.symbol  # type: ignore[union-attr]
        assert size is not None
        shown = size.group().lstrip("+-")
        _print_finding(finding, 10_000, Ink(io.StringIO()))
        console = capsys.readouterr().out
        assert console.split("\n")[0].split("  ")[1].strip().startswith(size.group())
        assert row["difference"].lstrip("-") == shown
        assert row["unit"].endswith(unit)
        assert f"{finding.amount} 95 %" in page
        printed = units.in_print(finding.text).replace(units.MINUS, "-")
        assert re.sub(r"\s+", "", printed) in handout
        assert " to ".join(bound for bound in (row["low_95"], row["high_95"])) == (
            finding.around.replace("+", "")
        )
        if unit != "dB/octave":  # a tilt is told per octave and in full
            assert shown in {number.lstrip("+-") for number in _NUMBER.findall(finding.text)}
        near = [
            (place, number)
            for place, text in told(results, finding).items()
            for number in in_unit(text, unit)
            if number != shown and is_rounded(number, finding)
        ]
        assert near == []


def is_rounded(number: str, finding: Finding) -> bool:
    """Whether a number may be taken for the finding's size, with other digits."""
    size = abs(finding.scale.factor * finding.difference)
    return any(
        float(number) == pytest.approx(round(size, digits), abs=1e-9) for digits in (0, 1, 2)
    )


def test_a_size_with_other_digits_would_be_noticed() -> None:
    """The check above, of a sentence that rounds by itself."""
    results = made_up_results()
    first = results.findings[0]
    sly = replace(first, difference=5.84, text="It stands further forward by 6 dB (4.9 to 6.7).")
    found = [number for number in in_unit(sly.text, "dB") if is_rounded(number, sly)]
    assert found == ["6"]


def test_both_percentages_and_the_points_between_them(results: Results) -> None:
    for finding in results.findings:
        if finding.aspect != "articulation" or not finding.both:
            continue
        held, before = re.match(r"(\d+) % against (\d+) %", finding.both).groups()  # type: ignore[union-attr]
        assert finding.amount == f"{int(held) - int(before):+d} points"
        assert f"{abs(int(held) - int(before))} percentage points" in finding.text
        assert finding.both in results.verdict or finding.rank > 1
