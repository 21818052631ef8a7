"""The command line as a user meets it: exit codes, one clear sentence, nothing half-written."""

from __future__ import annotations

import io
import json
import os
import re
import signal
import subprocess
import sys
import time
import typing
from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from pathlib import Path

import numpy as np
import pypdf
import pytest
import soundfile

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import ANALYZERS
from mixcompare.aspects.articulation.values import ArticulationMeasurement
from mixcompare.aspects.width.values import WidthMeasurement
from mixcompare.cli.align import _worst_places, alignment_lines
from mixcompare.cli.compare import _print_finding
from mixcompare.cli.main import main
from mixcompare.cli.measure import Printable, printable
from mixcompare.cli.terminal import Ink, Status
from mixcompare.comparison import Comparison
from mixcompare.fields import label_and_unit
from mixcompare.units import SHARE, decimals_of, written
from tests import samples, synthetic
from tests.report.builders import made_up_results


@pytest.fixture(scope="module")
def music(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("music") / "music.wav"
    soundfile.write(path, synthetic.play(3), synthetic.RATE_HZ)
    return path


def write(path: Path, values: np.ndarray, subtype: str = "FLOAT") -> Path:
    soundfile.write(path, values, synthetic.RATE_HZ, subtype=subtype)
    return path


@pytest.fixture(scope="module")
def bad_files(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[Path, str]]:
    folder = tmp_path_factory.mktemp("bad")
    text = folder / "text.wav"
    text.write_text("this is not audio", encoding="utf-8")
    empty = folder / "empty.wav"
    empty.write_bytes(b"")
    silence = write(folder / "silence.wav", np.zeros((5 * synthetic.RATE_HZ, 2)))
    values = np.full((5 * synthetic.RATE_HZ, 2), 0.1)
    values[1000] = np.nan
    nans = write(folder / "nans.wav", values)
    one = write(folder / "one.wav", np.full((1, 2), 0.1))
    whole = folder / "whole.flac"
    soundfile.write(whole, synthetic.play(3), synthetic.RATE_HZ)
    truncated = folder / "truncated.flac"
    truncated.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    phone = folder / "phone.m4a"
    phone.write_bytes(b"\0\0\0\x20ftypM4A ")
    return {
        "text": (text, "not readable as audio"),
        "empty": (empty, "empty file"),
        "silence": (silence, "silent"),
        "nans": (nans, "not numbers"),
        "one": (one, "only 0.00 s long"),
        "truncated": (truncated, "truncated or damaged"),
        "missing": (folder / "missing.wav", "no such file"),
        "phone": (phone, "convert it to WAV or FLAC"),
    }


KINDS = ["text", "empty", "silence", "nans", "one", "truncated", "missing", "phone"]


@pytest.mark.parametrize("kind", KINDS)
def test_bad_input_gets_one_sentence_and_nothing_is_written(
    kind: str,
    bad_files: dict[str, tuple[Path, str]],
    music: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    path, words = bad_files[kind]
    out = tmp_path / "report"
    code = main(["compare", str(music), str(path), "--out", str(out)])
    printed = capsys.readouterr()
    assert code == 2
    assert words in printed.err
    assert path.name in printed.err
    assert printed.err.count("\n") == 1
    assert "Traceback" not in printed.err
    assert not out.exists()
    assert list(tmp_path.iterdir()) == []


def test_unwritable_folder_is_said_before_the_work(
    music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    blocker = tmp_path / "a_file"
    blocker.write_text("", encoding="utf-8")
    code = main(["compare", str(music), str(music), "--out", str(blocker / "report")])
    assert code == 2
    assert "report" in capsys.readouterr().err


def test_other_music_gets_a_report_and_its_own_exit_code(music: Path, tmp_path: Path) -> None:
    other = write(tmp_path / "other.wav", synthetic.play(41))
    out = tmp_path / "report"
    assert main(["compare", str(music), str(other), "--out", str(out), "--quiet"]) == 3
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert report["alignment"]["relation"] == "unrelated"
    assert report["findings"] == []


@pytest.fixture(scope="session", params=["candidate_figure_louder", "candidate_detached"])
def compared(request: pytest.FixtureRequest) -> Comparison:
    """A real comparison of the sample recordings."""
    return samples.comparison("reference", request.param)


@pytest.fixture
def run(
    compared: Comparison, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, no_figures: None
) -> Callable[..., int]:
    """The command ``compare`` on a pair whose comparison is at hand; draws no figures."""
    monkeypatch.setattr("mixcompare.comparison.compare", lambda *args, **options: compared)

    def command(*arguments: str) -> int:
        return main(["compare", "a", "b", "--out", str(tmp_path / "report"), *arguments])

    return command


def joined(lines: Sequence[str]) -> str:
    """What was wrapped, on one line."""
    return " ".join(" ".join(lines).split())


def test_a_handout_is_written_beside_the_report(
    run: Callable[..., int], compared: Comparison, tmp_path: Path
) -> None:
    sheet = tmp_path / "sheet.pdf"
    assert run("--no-audio", "--quiet", "--handout", str(sheet)) == 0
    (page,) = pypdf.PdfReader(sheet).pages
    told = page.extract_text().replace("\N{MINUS SIGN}", "-")
    assert "".join(compared.verdict.split()) in "".join(told.split())


@pytest.mark.parametrize(
    ("name", "words"),
    [("sheet.html", "end it in .pdf"), ("foreign.pdf", "was not written by mixcompare")],
)
def test_a_handout_that_may_not_be_is_refused_before_the_work(
    run: Callable[..., int],
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    name: str,
    words: str,
) -> None:
    (tmp_path / name).write_bytes(b"%PDF of others")
    assert run("--handout", str(tmp_path / name)) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "report").exists()
    assert (tmp_path / name).read_bytes() == b"%PDF of others"


def test_the_list_is_printed_line_by_line(
    run: Callable[..., int],
    compared: Comparison,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run("--no-audio") == 0
    printed = capsys.readouterr().out
    assert "\033[" not in printed
    results, lines = compared.results, printed.splitlines()
    assert lines[0] == f"reference  {results.reference.path}"
    assert lines[1] == f"candidate  {results.candidate.path}"
    if results.alignment.same_take:
        assert lines[2] == "relation   the same take (sure to 99%)"
        assert lines[3] == "alignment  no offset, no drift"
    else:
        assert lines[2] == "relation   the same passage, another performance (sure to 99%)"
        found = re.fullmatch(
            r"alignment  offset ([+-][\d.]+) s, lasts ([\d.]+) times as long,"
            r" tuning ([+-]\d+\.\d) cents",
            lines[3],
        )
        assert found
        alignment = results.alignment
        assert float(found[1]) == pytest.approx(alignment.offset_s, abs=0.0051)
        assert float(found[2]) == pytest.approx(alignment.tempo_ratio, abs=0.00051)
        # As it was measured, not as alignment took it for granted.
        assert float(found[3]) == pytest.approx(results.tuning_cents, abs=0.051)
        assert lines.pop(4) == f"accuracy   about {alignment.uncertainty_ms:.0f} ms"
    assert results.level is not None
    level = re.fullmatch(r"level      ([+-][\d.]+) dB taken out", lines[4])
    assert level
    assert float(level[1]) == pytest.approx(results.level.gain_db, abs=0.051)
    assert lines[-1] == f"report     {tmp_path / 'report' / 'report.html'}"
    assert max(map(len, lines[2:-1])) <= 80
    blocks = [block.splitlines() for block in "\n".join(lines[6:-1]).split("\n\n")]
    assert joined(blocks[0]) == results.verdict
    for block, finding in zip(blocks[1:], results.findings, strict=False):
        size = {
            "repeating_figure_louder": f"{finding.difference:+.1f} dB",
            "notes_more_detached": f"{100 * finding.difference:+.0f} points",
        }[finding.kind]
        assert block[0].startswith(f" {finding.rank}  {size:<12} ")
        assert all(line.startswith("    ") for line in block[1:])
        spans = " and ".join(
            f"0:{round(start):02d}-0:{round(end):02d}" for start, end in finding.spans_s
        )
        advice = [f"> {sentence}" for sentence in finding.advice]
        consequences = "; ".join(finding.consequences)
        also = [f"It also explains {consequences}."] if consequences else []
        wanted = [
            f"{finding.rank} {size} {finding.subject}",
            f"{spans}; {finding.jnd:.1f} x just noticeable; {finding.cause.spoken}",
            finding.text, *advice, *also,
        ]  # fmt: skip
        assert joined(block) == joined(wanted)
    notes = blocks[1 + len(results.findings) :]
    # Between performances more could have gone unnoticed than is usual: that is said.
    assert bool(results.unseen) != results.alignment.same_take
    told = [results.unseen] * bool(results.unseen)
    told += [f"note: {warning}" for warning in results.warnings]
    assert joined([line for block in notes for line in block]) == joined(told)


def test_a_finding_is_printed_with_the_times_of_the_reference(
    capsys: pytest.CaptureFixture[str],
) -> None:
    louder, _, _, slower = made_up_results().findings
    assert louder.candidate_spans_s != louder.spans_s
    _print_finding(louder, 80, Ink(io.StringIO()))
    lines = capsys.readouterr().out.splitlines()
    assert lines[0] == " 1  +5.8 dB      repeating high figure, 4.0 notes a second"
    assert lines[1] == "    0:08-0:20 and 0:31-0:39 (bars 5-12 and 20-25); 5.7 x just noticeable;"
    _print_finding(replace(louder, bars=None), 80, Ink(io.StringIO()))
    lines = capsys.readouterr().out.splitlines()
    assert lines[1] == "    0:08-0:20 and 0:31-0:39; 5.7 x just noticeable; players or mix"
    tilt = replace(slower, unit="dB/octave", difference=-0.238, noticeable=None)
    _print_finding(tilt, 80, Ink(io.StringIO()))
    assert " 4  -0.24 dB/octave tempo" in capsys.readouterr().out


@pytest.mark.parametrize(("away", "code"), [(-0.001, 1), (0.0, 0), (0.001, 0)])
def test_the_limit_is_what_a_finding_may_reach_but_not_exceed(
    away: float, code: int, run: Callable[..., int], compared: Comparison
) -> None:
    largest = max(finding.jnd for finding in compared.findings)
    assert run("--no-audio", "--quiet", "--limit", repr(largest + away)) == code


def test_without_a_limit_findings_are_no_failure(run: Callable[..., int]) -> None:
    assert run("--no-audio", "--quiet") == 0


def test_json_goes_to_standard_output_and_nothing_else_does(
    run: Callable[..., int], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("--json", "--no-audio") == 0
    printed = capsys.readouterr()
    assert printed.out.rstrip() == (tmp_path / "report" / "report.json").read_text("utf-8").rstrip()
    assert json.loads(printed.out)["findings"]
    assert printed.err == ""
    assert run("--quiet", "--no-audio") == 0
    assert capsys.readouterr() == ("", "")


def test_the_report_has_figures_and_sound_unless_one_does_without(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[str] = []
    monkeypatch.setattr("webbrowser.open", opened.append)
    comparison = samples.comparison("reference", "candidate_figure_louder")
    monkeypatch.setattr("mixcompare.comparison.compare", lambda *args, **options: comparison)
    out = tmp_path / "report"
    command = ["compare", "a", "b", "--out", str(out), "--quiet"]
    assert main([*command, "--open"]) == 0
    assert opened == [(out / "report.html").as_uri()]
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    for finding in report["findings"]:
        for role in ("reference", "candidate"):
            assert (out / finding["listening"][role]).stat().st_size > 10_000
    assert len(list((out / "figures").glob("*.svg"))) >= 9
    assert (out / "report.html").stat().st_size < 15e6
    monkeypatch.setattr("mixcompare.plots.draw_all", lambda results: {})
    assert main([*command, "--no-audio"]) == 0
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert all(finding["listening"] is None for finding in report["findings"])
    assert not (out / "listening").exists()


@pytest.mark.clock
@pytest.mark.parametrize("by_signal", [False, True])
def test_an_interrupted_comparison_writes_nothing(
    by_signal: bool,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def stop(*arguments: object, **options: object) -> None:
        if by_signal:
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(5)
        raise KeyboardInterrupt

    before = signal.getsignal(signal.SIGTERM)
    monkeypatch.setattr("mixcompare.comparison.compare", stop)
    begin = time.perf_counter()
    try:
        code = main(["compare", "a", "b", "--out", str(tmp_path / "report")])
    finally:
        signal.signal(signal.SIGTERM, before)
    assert code == 130
    assert time.perf_counter() - begin < 4
    assert capsys.readouterr().err == "mixcompare: interrupted; nothing was written.\n"
    assert list(tmp_path.iterdir()) == []


def test_options_reach_the_comparison(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: dict[str, object] = {}

    def compare(reference: str, candidate: str, **options: object) -> Comparison:
        seen.update(options, reference=reference, candidate=candidate)
        raise KeyboardInterrupt  # enough seen

    monkeypatch.setattr("mixcompare.comparison.compare", compare)
    rows = tmp_path / "map.csv"
    rows.write_text("reference_s,candidate_s\n0,1.5\n10,12.5\n", encoding="utf-8")
    out = ["--out", str(tmp_path / "report"), "--no-audio", "--quiet"]
    spans = ["--reference-span", "0:12-1:45.5", "--candidate-span", "3-9"]
    more = ["--score", "score.mid", "--map-from", str(rows)]
    assert main(["compare", "one", "two", *spans, *more, *out]) == 130
    assert (seen["reference"], seen["candidate"]) == ("one", "two")
    assert seen["reference_span_s"] == (12.0, 105.5)
    assert seen["candidate_span_s"] == (3.0, 9.0)
    assert seen["score"] == "score.mid"
    time_map = seen["time_map"]
    assert isinstance(time_map, TimeMap)
    assert time_map.reference_s.tolist() == [0, 10]
    assert time_map.candidate_s.tolist() == [1.5, 12.5]


@pytest.mark.usefixtures("no_figures")
def test_a_real_pair_from_files_of_eight_channels_and_a_span(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """6 % slower, 2 s of noise before it, in eight channels of which two carry the music."""
    reference = write(tmp_path / "reference.wav", synthetic.play(3, bars=4))
    slow = synthetic.play(3, bars=4, beat_s=0.636)
    slow = np.concatenate([1e-4 * np.random.default_rng(0).standard_normal((48_000, 2)), slow])
    candidate = write(tmp_path / "candidate.wav", np.pad(slow, ((0, 0), (0, 6))))
    out = tmp_path / "report"
    arguments = ["compare", str(reference), str(candidate), "--out", str(out), "--no-audio"]
    assert main([*arguments, "--candidate-span", "2-13", "--limit", "1"]) == 1
    printed = capsys.readouterr().out
    assert "1  -5.7 %" in printed
    assert "has 8 channels: folded down to stereo" in joined(printed.splitlines())
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert report["candidate"]["channels"] == 8
    assert report["candidate"]["span_s"] == [2.0, 13.0]
    assert report["reference"]["span_s"][0] == 0.0
    finding = report["findings"][0]
    assert finding["kind"] == "slower"
    # As many beats in 1.06 times the time: 100 (1 / 1.06 - 1) = -5.66 %.
    assert finding["difference"] == pytest.approx(-5.66, abs=0.3)
    ((start, end),), ((first, last),) = finding["spans_s"], finding["candidate_spans_s"]
    assert (start, first) == pytest.approx((0.0, 2.0), abs=0.1)  # on the clocks of the files
    assert 8 < end <= 11.1
    assert last - first == pytest.approx(1.06 * (end - start), abs=0.1)
    assert f"\n    0:{round(start):02d}-0:{round(end):02d}; " in printed


MEASURED = {
    analyzer.aspect: typing.get_type_hints(analyzer.measure)["return"] for analyzer in ANALYZERS
}


def test_measure_prints_every_value_with_its_unit(
    music: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["measure", str(music), "--json", "--span", "0:01-0:13"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert main(["measure", str(music), "--span", "1-13"]) == 0
    head, *sections = capsys.readouterr().out.split("\n\n")
    assert head.startswith(f"{music}: 12.0 s, 24000 Hz")
    titles = {analyzer.aspect: analyzer.about.title for analyzer in ANALYZERS}
    assert [section.partition("\n")[0] for section in sections] == [
        titles[aspect] for aspect in document
    ]
    count = 0
    for section, (aspect, values) in zip(sections, document.items(), strict=True):
        _, *lines = section.splitlines()
        assert all(line == line.rstrip() and len(line) <= 80 for line in lines)
        together = joined(lines)
        for reason in values.get("reasons", ()):
            assert reason in together
        for name, value in values.items():
            if name.endswith("_interval") or not isinstance(value, (int, float, type(None))):
                continue
            item = next(one for one in fields(MEASURED[aspect]) if one.name == name)
            label, unit = label_and_unit(item)
            if value is None:
                assert label.lower() in together.partition("Can't tell: ")[2].lower()
                continue
            words, text = re.split(r"\s{2,}", lines.pop(0).strip())
            assert words == label
            text, *around = text.rstrip(")").split(" (95 %: ")
            decimals = 0.51 * 10.0 ** -decimals_of(unit)
            interval = values.get(f"{name}_interval")
            assert bool(around) == (interval is not None)
            if unit == SHARE:
                unit, value = "%", 100 * value
            elif around:
                bounds = list(map(float, around[0].split(" to ")))
                assert bounds == pytest.approx(interval, abs=decimals)
            shown = written(unit)
            assert text.endswith(f" {shown}" if shown else "")
            assert float(text.removesuffix(shown)) == pytest.approx(value, abs=decimals), text
            count += 1
    assert count >= 20


def test_small_and_whole_numbers_are_printed_as_such() -> None:
    rows = printable(WidthMeasurement(-0.0, 1.0, None, (), (), (), ("It is mono.",)))
    assert rows == Printable(
        (("Side against mid", "0.0 dB"), ("Correlation", "1.00")),
        ("loss when folded to mono",),
        ("It is mono.",),
    )
    rows = printable(ArticulationMeasurement(0.83412, (0.8, 0.9), -14.06, None, 24))
    assert rows == Printable(
        (
            ("Share sounding", "83 % (95 %: 80 to 90)"),
            ("Dip before the next note (depends on the room)", "-14.1 dB"),
            ("Notes followed", "24"),
        ),
        ("attack",),
        (),
    )


def test_a_map_goes_out_and_comes_back(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    first = write(tmp_path / "first.wav", synthetic.play(3, bars=4))
    slow = write(tmp_path / "slow.wav", synthetic.play(3, bars=4, beat_s=0.636))
    csv, figure = tmp_path / "map.csv", tmp_path / "map.svg"
    pair = ["align", str(first), str(slow)]
    assert main([*pair, "--map", str(csv), "--figure", str(figure)]) == 0
    printed = capsys.readouterr().out
    assert "the same passage, another performance" in printed
    told = re.search(r"lasts (\S+) times as long", printed)
    assert told is not None
    assert float(told[1]) == pytest.approx(1.06, abs=0.002)  # as it was played
    assert "<svg" in figure.read_text("utf-8")
    head, *rows = csv.read_text(encoding="utf-8").splitlines()
    assert head == "reference_s,candidate_s,half_width_ms"
    table = np.array([row.split(",") for row in rows], float)
    slope = np.polyfit(table[:, 0], table[:, 1], 1)[0]
    assert slope == pytest.approx(1.06, abs=0.01)  # as it was played
    assert np.median(table[:, 2]) > 0
    assert main([*pair, "--map-from", str(csv), "--json"]) == 0
    alignment = json.loads(capsys.readouterr().out)
    back = np.array(alignment["time_map"])
    np.testing.assert_allclose(back[:, 1], np.interp(back[:, 0], *table[:, :2].T), atol=2e-5)
    assert alignment["relation"] == "same_passage"
    again = tmp_path / "again.csv"
    assert main([*pair, "--map-from", str(csv), "--map", str(again)]) == 0
    printed = capsys.readouterr().out
    assert "note: The time map was given by the user." in printed
    assert "doubtful" not in printed
    widths = table[:, 2]
    table = np.array([row.split(",") for row in again.read_text().splitlines()[1:]], float)
    np.testing.assert_allclose(table[1:, 2], widths[1:], atol=2e-3)
    np.testing.assert_allclose(table[:, 1], np.interp(table[:, 0], *back.T), atol=2e-5)


def test_align_takes_spans_and_says_what_is_left_over(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    music = synthetic.play(3, bars=4)
    first = write(tmp_path / "first.wav", music)
    noise = 1e-4 * np.random.default_rng(0).standard_normal((36_000, 2))
    late = write(tmp_path / "late.wav", np.concatenate([noise, music]))
    assert main(["align", str(first), str(late)]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines == [
        "relation   the same take (sure to 99%)",
        "alignment  offset +1.500000 s, no drift",
        "note: The first 1.5 s of the candidate have no counterpart.",
    ]
    spans = ["--reference-span", "0-8", "--candidate-span", "1-9.5"]
    assert main(["align", str(first), str(late), *spans]) == 0
    assert "alignment  offset +0.500000 s, no drift" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({}, "alignment  offset +0.012000 s, drift +12.00 ppm"),
        ({"offset_s": -0.2, "drift_ppm": -3.456}, "alignment  offset -0.200000 s, drift -3.46 ppm"),
        ({"offset_s": 4e-7, "drift_ppm": 0.004}, "alignment  no offset, no drift"),
        ({"offset_s": 6e-7, "drift_ppm": None}, "alignment  offset +0.000001 s, no drift"),
        (
            {"offset_s": 0.0, "drift_ppm": 0.0, "polarity": -1, "channels_swapped": True},
            "alignment  no offset, no drift, polarity inverted, left and right exchanged",
        ),
        (
            {"relation": "same_passage", "transposition_semitones": -2, "tuning_cents": -0.4,
             "tempo_ratio": 1.0555},
            "alignment  offset +0.01 s, lasts 1.056 times as long, tuning -0.4 cents,"
            " transposed -2 semitones",
        ),
    ],
)  # fmt: skip
def test_what_alignment_found_in_words(changes: dict[str, object], line: str) -> None:
    alignment = made_up_results("same_take", length_s=6.0).alignment
    lines = alignment_lines(replace(alignment, confidence=0.97, **changes))  # type: ignore[arg-type]
    assert lines[0].endswith("(sure to 97%)")
    assert lines[1] == line
    assert lines[2:] == (["accuracy   about 22 ms"] if "relation" in changes else [])
    unrelated = replace(alignment, relation="unrelated", confidence=1.0)
    assert alignment_lines(unrelated) == ["relation   not the same passage (sure to 99%)"]


def test_the_least_sure_places_are_named_worst_first() -> None:
    alignment = made_up_results(length_s=40.0).alignment
    times = np.arange(0.0, 40.0, 0.5)
    width = np.full(len(times), 20.0)
    width[[10, 11, 40, 60]] = 90.0, 80.0, 150.0, 39.0
    width[70:72] = np.inf
    unsure = replace(alignment, time_map=TimeMap(times, times + 1, width))
    assert _worst_places(unsure) == [
        "least sure at 0:20 (within 150 ms)",
        "least sure at 0:05 (within 90 ms)",
    ]
    assert _worst_places(replace(unsure, relation="same_take")) == []


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


def test_a_terminal_sees_one_line_of_progress_that_goes_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    before = signal.getsignal(signal.SIGTERM)
    for quiet in (False, True):
        screen = Terminal()
        monkeypatch.setattr(sys, "stderr", screen)
        with Status(quiet) as status:
            status.say("reading both")
            status.say("on")
        wanted = "\rreading both ...\ron ...          \r                \r"
        assert screen.getvalue() == ("" if quiet else wanted)
    signal.signal(signal.SIGTERM, before)


def test_bold_is_for_terminals_that_have_not_asked_for_plain_text(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("NO_COLOR", raising=False)
    assert Ink(Terminal()).bold("one") == "\033[1mone\033[0m"
    assert Ink(io.StringIO()).bold("one") == "one"
    monkeypatch.setenv("NO_COLOR", "")
    assert Ink(Terminal()).bold("one") == "one"


def test_no_command_and_wrong_usage(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert "exit codes" in capsys.readouterr().out
    with pytest.raises(SystemExit) as left:
        main(["compare", "only-one"])
    assert left.value.code == 2


@pytest.mark.parametrize("span", ["5-2", "x-3", "0:10", "90-95"])
def test_bad_spans(span: str, music: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", str(music), "--span", span]) == 2
    assert "span" in capsys.readouterr().err


def test_bad_map(music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("a,b\n1,2\n", encoding="utf-8")
    assert main(["align", str(music), str(music), "--map-from", str(bad)]) == 2
    assert "reference_s" in capsys.readouterr().err


@pytest.mark.clock
def test_help_is_quick_and_whole() -> None:
    took = []
    for _ in range(3):
        begin = time.perf_counter()
        out = subprocess.run(
            [sys.executable, "-m", "mixcompare", "--help"],
            capture_output=True,
            text=True,
            check=True,
            env={**os.environ, "COLUMNS": "80"},
        ).stdout
        took.append(time.perf_counter() - begin)
    assert "exit codes" in out
    for command in ("compare", "align", "measure"):
        assert command in out
    # What makes it quick is that nothing heavy is imported (test_architecture); the clock is
    # only a coarse guard, since the machine may be busy.
    assert min(took) < 2.0


def test_nothing_that_is_read_or_of_others_is_written_over(
    music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Refused before the work: neither recording is even opened."""
    monkeypatch.setattr("mixcompare.comparison.load", None)
    monkeypatch.setattr("mixcompare.comparison.compare", None)
    copy, own = tmp_path / "copy.wav", tmp_path / "notes.csv"
    copy.hardlink_to(music)
    own.write_text("reference_s,candidate_s\n0,0\n9,9\n", encoding="utf-8")
    new = str(tmp_path / "new.svg")
    for arguments, words in (
        (["--map", str(copy)], "is read in this run and stays"),
        (["--figure", str(tmp_path / "new.eps")], "name a figure .svg, .pdf or .png"),
        (["--map", str(own)], "was not written by mixcompare"),
        (["--map-from", str(own), "--map", str(own)], "is read in this run and stays"),
        (["--figure", new, "--map", new], "is where the map goes"),
        (["--map", str(tmp_path / "none" / "map.csv")], "there is no folder"),
    ):
        before = music.read_bytes(), own.read_bytes()
        assert main(["align", str(music), str(music), *arguments]) == 2
        told = capsys.readouterr().err
        assert words in told
        assert told.count("\n") == 1
        assert (music.read_bytes(), own.read_bytes()) == before
    out = tmp_path / "report"
    (out / "preview").mkdir(parents=True)
    kept = out / "preview" / "with_trims.flac"
    kept.hardlink_to(music)
    document = {"mixcompare_version": "0", "files": ["preview/with_trims.flac", "report.json"]}
    (out / "report.json").write_text(json.dumps(document), encoding="utf-8")
    assert main(["compare", str(music), str(kept), "--out", str(out)]) == 2
    assert "is read in this run and stays" in capsys.readouterr().err
    assert kept.exists()


@pytest.mark.parametrize("kind", ["svg", "pdf", "png"])
def test_a_figure_of_ours_is_drawn_anew(
    kind: str, music: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    alignment = made_up_results("same_take", length_s=6.0).alignment
    monkeypatch.setattr("mixcompare.alignment.align", lambda *args: alignment)
    figure = tmp_path / f"map.{kind}"
    command = ["align", str(music), str(music), "--figure", str(figure)]
    assert main(command) == 0
    assert main(command) == 0
    figure.write_bytes(figure.read_bytes().replace(b"drawn by mixcompare", b"drawn by somebody.."))
    assert main(command) == 2


@pytest.mark.parametrize("limit", ["nan", "inf", "-1", "three"])
def test_limits_that_switch_nothing_on_are_refused(
    limit: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main(["compare", "a", "b", "--limit", limit])
    assert left.value.code == 2
    assert "is no number of just-noticeable differences" in capsys.readouterr().err


def test_the_gate_says_which_findings_exceed_the_limit(
    run: Callable[..., int], compared: Comparison, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run("--no-audio", "--quiet", "--limit", "0") == 1
    printed = capsys.readouterr()
    assert printed.out == ""
    lines = printed.err.splitlines()
    assert len(lines) == len(compared.findings)
    for line, finding in zip(lines, compared.findings, strict=True):
        assert line == (
            f"mixcompare: over the limit of 0: {finding.rank} {finding.subject}"
            f" ({finding.amount}): {finding.jnd:.1f} x just noticeable"
        )
