"""The command line as a user meets it: exit codes, one clear sentence, nothing half-written."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
import soundfile

from mixcompare.cli import main
from tests import samples, synthetic


@pytest.fixture
def music(tmp_path: Path) -> Path:
    path = tmp_path / "music.wav"
    soundfile.write(path, synthetic.play(3), synthetic.RATE_HZ)
    return path


def write(path: Path, values: np.ndarray, subtype: str = "FLOAT") -> Path:
    soundfile.write(path, values, synthetic.RATE_HZ, subtype=subtype)
    return path


def bad_files(folder: Path) -> dict[str, tuple[Path, str]]:
    text = folder / "text.wav"
    text.write_text("this is not audio", encoding="utf-8")
    empty = folder / "empty.wav"
    empty.write_bytes(b"")
    silence = write(folder / "silence.wav", np.zeros((3 * synthetic.RATE_HZ, 2)))
    values = np.full((3 * synthetic.RATE_HZ, 2), 0.1)
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
    kind: str, music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path, words = bad_files(tmp_path)[kind]
    out = tmp_path / "report"
    code = main(["compare", str(music), str(path), "--out", str(out)])
    printed = capsys.readouterr()
    assert code == 2
    assert words in printed.err
    assert path.name in printed.err
    assert printed.err.count("\n") == 1
    assert "Traceback" not in printed.err
    assert not out.exists()
    assert not [entry for entry in tmp_path.iterdir() if "report" in entry.name]


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


def test_compare_writes_the_report_and_prints_the_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "report"
    pair = [str(samples.path("reference")), str(samples.path("candidate_figure_louder"))]
    assert main(["compare", *pair, "--out", str(out), "--limit", "3"]) == 1
    printed = capsys.readouterr().out
    assert "One thing sticks out" in printed
    assert max(map(len, printed.splitlines())) <= 80 or str(tmp_path) in printed
    assert "\033[" not in printed
    report = json.loads((out / "report.json").read_text(encoding="utf-8"))
    assert report["findings"][0]["kind"] == "repeating_figure_louder"
    for side in ("reference", "candidate"):
        assert (out / report["findings"][0]["listening"][side]).exists()
    assert (out / "report.html").stat().st_size < 15e6
    assert list((out / "figures").glob("*.svg"))


def test_json_goes_to_standard_output(
    music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "report"
    code = main(["compare", str(music), str(music), "--out", str(out), "--json", "--no-audio"])
    assert code == 0
    assert json.loads(capsys.readouterr().out)["findings"] == []


def test_measure(music: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", str(music)]) == 0
    printed = capsys.readouterr().out
    assert "LUFS" in printed
    assert main(["measure", str(music), "--json", "--span", "0:01-0:08"]) == 0
    document = json.loads(capsys.readouterr().out)
    assert document["loudness"]["integrated_lufs"] < 0


def test_align_writes_a_map_that_can_be_read_back(
    music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    csv, figure = tmp_path / "map.csv", tmp_path / "map.svg"
    arguments = ["align", str(music), str(music), "--map", str(csv), "--figure", str(figure)]
    assert main(arguments) == 0
    assert "the same take" in capsys.readouterr().out
    assert csv.read_text(encoding="utf-8").startswith("reference_s,candidate_s")
    assert figure.exists()
    assert main(["align", str(music), str(music), "--map-from", str(csv), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["tempo_ratio"] == pytest.approx(1.0)


@pytest.mark.parametrize("span", ["5-2", "x-3", "0:10", "90-95"])
def test_bad_spans(span: str, music: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["measure", str(music), "--span", span]) == 2
    assert "span" in capsys.readouterr().err


def test_bad_map(music: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    bad = tmp_path / "bad.csv"
    bad.write_text("a,b\n1,2\n", encoding="utf-8")
    assert main(["align", str(music), str(music), "--map-from", str(bad)]) == 2
    assert "reference_s" in capsys.readouterr().err


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
