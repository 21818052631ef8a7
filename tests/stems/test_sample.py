"""The sample pair with its stems: trims, a table for the desk, and a preview that proves them."""

from __future__ import annotations

import csv
import io
import json
import re
from dataclasses import replace
from pathlib import Path

import jsonschema
import pytest
import soundfile

import mixcompare
from mixcompare import Comparison, plots
from mixcompare.audio.recording import Recording
from mixcompare.cli.main import main
from mixcompare.report import document
from mixcompare.stems.values import Place, Stem, Stems
from tests import samples
from tests.told import nothing_unseen

SAMPLES = Path(__file__).parents[2] / "sample_audio"
STEMS = SAMPLES / "stems" / "candidate_figure_louder"
LOUD = {"clarinets", "xylophone", "harp"}
PART = (2.0, 16.0)
"""Enough of the samples, where it is not about the whole of them, s."""
SPANS = ["--reference-span", "0:02-0:16", "--candidate-span", "0:02-0:16"]


@pytest.fixture(scope="module")
def compared(tmp_path_factory: pytest.TempPathFactory) -> Comparison:
    results, sound = samples.trimmed()
    preview = tmp_path_factory.mktemp("preview") / "with_trims.flac"
    preview.write_bytes(sound)
    found = samples.at_hand(results, "reference", "candidate_figure_louder")
    found.preview = Recording.open(preview)
    return found


def test_the_loud_stems_are_told_with_their_trims(compared: Comparison) -> None:
    truth = json.loads((SAMPLES / "candidate_figure_louder.truth.json").read_text("utf-8"))
    (change,) = truth["differences"]
    assert set(change["parts"]) == LOUD
    for stem in compared.stems:
        expected = -change["difference"] if stem["name"] in LOUD else 0.0
        assert stem["trim_db"] == pytest.approx(expected, abs=0.3)
        assert stem["interval"][0] <= expected <= stem["interval"][1]
        assert stem["identified"]
        assert stem["polarity"] == "normal"
    assert sum(stem["share_percent"] for stem in compared.stems) < 100


def test_with_the_trims_less_sticks_out(compared: Comparison) -> None:
    assert compared.results.stems is not None
    preview = compared.results.stems.preview
    assert preview is not None
    assert preview.before == compared.verdict
    assert preview.largest_before > 5
    assert preview.largest_after < preview.largest_before / 2


def test_the_report_holds_table_picture_and_preview(
    compared: Comparison, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = compared.save(tmp_path / "report")
    report = json.loads((folder / "report.json").read_text("utf-8"))
    jsonschema.validate(report, document.schema())
    assert report["stems"] == compared.stems
    assert report["preview"]["largest_after"] < report["preview"]["largest_before"]
    assert {"trims.csv", "preview/with_trims.flac", "figures/stems.svg"} <= set(report["files"])
    with (folder / "trims.csv").open(encoding="utf-8") as file:
        rows = {row["stem"]: row for row in csv.DictReader(file)}
    assert len(rows) == 14
    assert {row["polarity"] for row in rows.values()} == {"normal"}
    assert not any(row["before_array_ms"] for row in rows.values())  # sections have no array
    for name in LOUD:
        assert float(rows[name]["trim_db"]) == pytest.approx(-6.0, abs=0.3)
    # What a hand is due to comes first, the most first; digits are those of the page.
    assert [name for name, row in rows.items() if row["due"] == "yes"] == list(rows)[: len(LOUD)]
    sizes = [abs(float(row["trim_db"])) for row in rows.values()][: len(LOUD)]
    assert sizes == sorted(sizes, reverse=True)
    shown = re.findall(
        r'<th scope="row">([^<]+)</th><td>([^<]*)</td>',
        (folder / "report.html").read_text("utf-8").split('id="stems"')[1],
    )
    said = {name: told.replace("\N{MINUS SIGN}", "-").lstrip("+") for name, told in shown[:14]}
    assert said == {name: row["trim_db"] for name, row in rows.items()}
    assert list(said) == list(rows)
    heard = soundfile.info(str(folder / "preview" / "with_trims.flac"))
    assert heard.frames == soundfile.info(str(compared.candidate.name)).frames
    page = (folder / "report.html").read_text("utf-8")
    assert "The stems explain 7" in page
    assert "With these trims (preview/with_trims.flac): " in page
    assert 'data-voice="preview"' in page
    assert "the candidate with the trims is turned down by" in page
    # A report without sound holds no preview either, and takes the former one's place.
    monkeypatch.setattr(plots, "draw_all", lambda results: {})
    bare = compared.save(tmp_path / "report", audio=False)
    assert not (bare / "preview").exists()


def test_the_picture_has_a_row_a_stem_and_fills_what_is_due(compared: Comparison) -> None:
    trims, shares = compared.plot("stems").axes
    names = [label.get_text() for label in trims.get_yticklabels()]
    stems = {stem["name"]: stem for stem in compared.stems}
    due = sorted(LOUD, key=lambda name: stems[name]["trim_db"])
    assert names == due + [name for name in stems if name not in LOUD]
    dots = {line.get_ydata()[0]: line for line in trims.lines if line.get_marker() == "o"}
    for row, stem in enumerate(stems[name] for name in names):
        assert dots[row].get_xdata()[0] == stem["trim_db"]
        is_filled = dots[row].get_markerfacecolor() == dots[row].get_color()
        assert is_filled == (stem["name"] in LOUD)
    assert [bar.get_width() for bar in shares.patches] == [
        stems[name]["share_percent"] for name in names
    ]


@pytest.mark.usefixtures("no_figures")
def test_the_command_prints_the_trims_that_are_due(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pair = [str(SAMPLES / f"{name}.flac") for name in ("reference", "candidate_figure_louder")]
    out = str(tmp_path / "report")
    asked = ["compare", *pair, *SPANS, "--stems", str(STEMS), "--out", out, "--no-audio"]
    assert main(asked) == 0
    printed = capsys.readouterr().out
    assert "Trims for 3 of 14 stems" in printed
    assert "dB  harp  (" in printed
    assert "With these trims: " in printed
    assert main(["compare", *pair, "--stems", str(tmp_path / "none"), "--out", out]) == 2
    assert "is no folder; name the folder that holds the stems" in capsys.readouterr().err


@pytest.mark.usefixtures("no_figures")
@nothing_unseen()
def test_with_the_reference_s_stems_levels_are_compared_one_by_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pair = [str(SAMPLES / f"{name}.flac") for name in ("reference", "candidate_figure_louder")]
    theirs = str(SAMPLES / "stems" / "reference")
    out = tmp_path / "report"
    options = ["--stems", str(STEMS), "--reference-stems", theirs, "--out", str(out)]
    assert main(["compare", *pair, *options, "--no-audio"]) == 0
    assert "Trims for 3 of 14 stems" in capsys.readouterr().out
    report = json.loads((out / "report.json").read_text("utf-8"))
    jsonschema.validate(report, document.schema())
    for stem in report["stems"]:
        expected = -6.0 if stem["name"] in LOUD else 0.0
        assert stem["trim_db"] == pytest.approx(expected, abs=0.45)
        assert stem["interval"][0] <= expected <= stem["interval"][1]
        assert stem["compared_with"] == stem["name"]
    assert report["settings"]["reference_stems"].count(",") == 13
    with (out / "trims.csv").open(encoding="utf-8") as file:
        assert all(row["compared_with"] == row["stem"] for row in csv.DictReader(file))
    page = (out / "report.html").read_text("utf-8")
    assert "Levels of 14 of 14 were compared with the reference&#39;s own stems." in page


def test_the_table_for_the_desk_holds_polarity_and_how_much_earlier_than_the_array(
    compared: Comparison,
) -> None:
    """Values written by hand: 7 ms are the air of 2.4 m."""
    spot = Stem(
        "horns spot", 5.0, -1.0, (-1.5, -0.5), 0.0, (0.0, 0.0), is_inverted=True,
        places=(Place((2.0, 5.0), (2.0, 5.0), 3.0, (2.0, 4.0)),),
        before_array_ms=7.0, before_array_interval=(6.88, 7.12),
    )  # fmt: skip
    unheard = Stem("organ", None, None, None, None, None, reason="Does not sound.")
    told = replace(compared.results, stems=Stems((spot, unheard), 1.0, (), "tree"))
    rows = list(csv.DictReader(io.StringIO(document.trims_table(told))))
    assert [row["polarity"] for row in rows] == ["inverted", "", ""]
    assert [row["before_array_ms"] for row in rows] == ["7.00", "", ""]
    assert (rows[0]["before_array_low_95"], rows[0]["before_array_high_95"]) == ("6.88", "7.12")
    assert not any(None in row for row in rows)


@nothing_unseen()
def test_identical_files_need_no_trim() -> None:
    reference = SAMPLES / "reference.flac"
    found = mixcompare.compare(
        reference,
        reference,
        reference_span_s=PART,
        candidate_span_s=PART,
        stems=SAMPLES / "stems" / "reference",
    )
    assert found.findings == ()
    assert found.results.stems is not None
    assert not any(stem.is_due for stem in found.results.stems.stems)
    assert found.results.stems.preview is None
    assert found.preview is None
