"""Whatever goes wrong is one sentence and an exit code, and no name can speak to the terminal."""

from __future__ import annotations

import errno
import io
import os
import re
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from mixcompare.cli import guard
from mixcompare.cli.guard import guarded
from mixcompare.cli.main import main
from mixcompare.cli.terminal import Plain, plain_streams, printed
from mixcompare.errors import AudioFileError, OutputError
from tests import samples

FULL = OSError(errno.ENOSPC, "No space left on device", "/elsewhere/x")


def raising(error: BaseException) -> int:
    raise error


@pytest.mark.parametrize(
    ("error", "code", "told"),
    [
        (AudioFileError("a.wav: is silent."), 2, "a.wav: is silent."),
        (OutputError("two\nlines\rof a name"), 2, r"two\nlines\rof a name"),
        (FULL, 2, "/elsewhere/x: no space left on device."),
        (MemoryError(), 2, "the memory does not suffice; compare a shorter part"),
        (KeyboardInterrupt(), 130, "interrupted; nothing was written."),
    ],
)
def test_what_is_expected_is_one_sentence(
    error: BaseException, code: int, told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert guarded(lambda: raising(error), []) == code
    printed = capsys.readouterr()
    assert printed.err.startswith(f"mixcompare: {told}")
    assert printed.err.count("\n") == 1
    assert printed.out == ""


def test_a_full_disk_for_temporary_files_is_named_by_its_folder(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    error = OSError(errno.ENOSPC, "No space left on device", str(tmp_path / "mixcompare-x" / "y"))
    assert guarded(lambda: raising(error), []) == 2
    told = capsys.readouterr().err
    assert f"{tmp_path}, the folder for temporary files: no space left" in told
    assert "mixcompare-x" not in told


@pytest.mark.skipif(sys.platform == "win32", reason="there a folder in use stays")
def test_a_working_folder_that_is_gone_is_told(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "gone").mkdir()
    monkeypatch.chdir(tmp_path / "gone")
    (tmp_path / "gone").rmdir()
    assert main(["compare", str(TAKE), str(TAKE), "--no-audio", "--out", "out"]) == 2
    told = capsys.readouterr().err
    assert told == (
        "mixcompare: the folder you work in is not there any more; change into another.\n"
    )


def test_a_defect_says_where_to_report_it_and_keeps_the_traceback(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    assert guarded(lambda: raising(KeyError("no such thing")), []) == 70
    told = capsys.readouterr().err
    assert told.startswith("mixcompare: a defect in mixcompare (KeyError: 'no such thing');")
    assert "SECURITY.md" in told
    assert told.count("\n") == 1
    (file,) = tmp_path.iterdir()
    assert str(file) in told
    text = file.read_text("utf-8")
    assert "Traceback" in text
    assert "in raising" in text


def test_an_interrupt_tells_what_stands_on_the_disk(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    report, file = tmp_path / "report", tmp_path / "map.csv"
    report.mkdir()
    (report / "report.json").write_text("old")
    file.write_text("old")

    def writing(*paths: Path) -> int:
        for path in paths:
            path.unlink()
            path.write_text("new")
        raise KeyboardInterrupt

    for written, words in (
        ((), "nothing was written"),
        ((report / "report.json",), f"written before that: {report}"),
        ((file,), f"written before that: {file}"),
    ):
        assert guarded(lambda written=written: writing(*written), [report, file]) == 130
        assert capsys.readouterr().err == f"mixcompare: interrupted; {words}.\n"


def test_an_interrupt_is_told_once(capsys: pytest.CaptureFixture[str]) -> None:
    def run() -> int:
        guard._interrupted()
        raise KeyboardInterrupt

    assert guarded(run, []) == 130
    assert capsys.readouterr().err == "mixcompare: interrupted; nothing was written.\n"


@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_a_second_interrupt_changes_nothing(capsys: pytest.CaptureFixture[str]) -> None:
    steps = []

    def run() -> int:
        try:
            signal.raise_signal(signal.SIGINT)
        finally:
            signal.raise_signal(signal.SIGINT)
            signal.raise_signal(signal.SIGTERM)
            steps.append("cleared up")
        return 0

    before = signal.getsignal(signal.SIGTERM)
    assert guarded(run, []) == 130
    assert steps == ["cleared up"]
    assert capsys.readouterr().err.count("interrupted") == 1
    assert signal.getsignal(signal.SIGTERM) is before

    def importing() -> int:
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt as error:
            raise ImportError("a library was cut off in the middle of its import") from error
        return 0

    assert guarded(importing, []) == 130


def shown(text: str, encoding: str = "utf-8", terminal: bool = True) -> str:
    raw = io.BytesIO()
    stream = io.TextIOWrapper(raw, encoding=encoding, newline="")
    if terminal:
        stream.isatty = lambda: True  # type: ignore[method-assign]
    Plain(stream).write(text)
    stream.flush()
    return raw.getvalue().decode(encoding)


@pytest.mark.parametrize(
    ("text", "seen"),
    [
        ("plain, two lines\n\tand é, – and 音", "plain, two lines\n\tand é, – and 音"),
        ("\x1b]0;title\x07 \x1b[2J", r"\u001b]0;title\u0007 \u001b[2J"),
        ("\r\x08\x7f\x9b", r"\u000d\u0008\u007f\u009b"),
        ("\udcff", r"\udcff"),
        ("abc\u202egpj.exe\u2028", r"abc\u202egpj.exe\u2028"),
        ("\033[1mours\033[0m", "\033[1mours\033[0m"),
        ("12\u00a0dB", "12\u00a0dB"),
    ],
)
def test_what_a_terminal_would_obey_is_shown_instead(text: str, seen: str) -> None:
    assert shown(text) == seen


def test_what_a_stream_cannot_write_is_shown_as_in_json() -> None:
    assert shown("é 音 \U0001d11e", "ascii") == r"\u00e9 \u97f3 \ud834\udd1e"
    assert shown("\033[1mours", terminal=False) == r"\u001b[1mours"


def test_closed_streams_take_everything(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sys, "stdout", None)
    monkeypatch.setattr(sys, "stderr", None)
    with plain_streams():
        print("nobody hears this")
        assert not sys.stdout.isatty()
    assert sys.stdout is None


class Full(io.StringIO):
    def __init__(self, error: OSError) -> None:
        super().__init__()
        self.error = error

    def flush(self) -> None:
        raise self.error


def test_a_list_that_cannot_be_printed_is_told_and_a_pager_that_left_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(sys, "stdout", Full(BrokenPipeError()))
    with printed():
        print("more")
    monkeypatch.setattr(sys, "stdout", Full(FULL))
    with (
        pytest.raises(OutputError, match=r"cannot be printed \(no space left on device\)"),
        printed(),
    ):
        print("more")


COMMAND = [sys.executable, "-m", "mixcompare"]
TAKE = str(samples.path("reference"))
MEASURE = ["measure", TAKE, "--span", "0-5"]


def started(*arguments: str | bytes, **options: object) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [*COMMAND, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, **options
    )  # type: ignore[call-overload, no-any-return]


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="needs a device that is full")
def test_a_process_says_it_in_one_line_whatever_its_streams_are() -> None:
    with open("/dev/full", "wb") as full:
        for arguments in (["--help"], MEASURE):
            done = subprocess.run([*COMMAND, *arguments], stdout=full, stderr=subprocess.PIPE)
            assert done.returncode == 2
            assert done.stderr.count(b"\n") == 1
            assert b"no space left on device" in done.stderr
        for arguments in (["--help"], MEASURE, ["compare", "a"], ["measure", "none"]):
            assert subprocess.run([*COMMAND, *arguments], stdout=full, stderr=full).returncode == 2
    done = subprocess.run(
        [*COMMAND, "measure", b"caf\xe9\x1b[2J.wav"],
        capture_output=True,
        env={**os.environ, "LC_ALL": "C", "PYTHONIOENCODING": "ascii"},
    )
    assert done.returncode == 2
    assert (
        done.stderr == rb"mixcompare: caf\udce9\u001b[2J.wav: no such file; check the path." + b"\n"
    )


@pytest.mark.clock
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
@pytest.mark.parametrize("after_s", [0.8, 1.6])
def test_an_interrupt_ends_the_process_within_a_second(after_s: float, tmp_path: Path) -> None:
    other = str(samples.path("candidate_other_performance"))
    # Until the interpreter has started interrupts are its own: the time runs from our first line.
    begun = "import sys; from mixcompare.__main__ import run; print(end='.', flush=True); run()"
    process = subprocess.Popen(
        [sys.executable, "-c", begun, "compare", TAKE, other, "--out", str(tmp_path / "report")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert process.stdout is not None
    assert process.stdout.read(1) == b"."
    time.sleep(after_s)
    process.send_signal(signal.SIGINT)
    sent = time.perf_counter()
    time.sleep(0.05)
    process.send_signal(signal.SIGINT)
    if after_s > 1:
        process.send_signal(signal.SIGTERM)
    out, err = process.communicate(timeout=20)
    took_s = time.perf_counter() - sent
    assert process.returncode == 130
    assert (out, err) == (b"", b"mixcompare: interrupted; nothing was written.\n")
    assert list(tmp_path.iterdir()) == []
    assert took_s < 2.5  # a second is promised; the machine of the tests may be busy


@pytest.mark.clock
@pytest.mark.skipif(sys.platform == "win32", reason="signals")
def test_a_process_that_does_not_come_back_is_ended() -> None:
    code = (
        "import time; from mixcompare.cli.guard import begin_process, guarded; begin_process()\n"
        "def run():\n"
        "    try:\n        print('in', flush=True); time.sleep(60)\n"
        "    finally:\n        time.sleep(60)\n"
        "raise SystemExit(guarded(run, []))"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"in\n"
    process.send_signal(signal.SIGTERM)
    sent = time.perf_counter()
    _, err = process.communicate(timeout=20)
    assert process.returncode == 130
    assert 0.3 < time.perf_counter() - sent < 3
    assert err == b"mixcompare: interrupted; nothing was written.\n"


def test_decoders_chatter_nowhere_and_defects_are_heard(tmp_path: Path) -> None:
    code = (
        "import os, warnings; from mixcompare.cli.guard import begin_process, guarded\n"
        "begin_process()\n"
        "def run():\n"
        "    os.write(2, b'chatter'); warnings.warn('of a library'); return {}['nothing']\n"
        "raise SystemExit(guarded(run, []))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        env={**os.environ, "TMPDIR": str(tmp_path)},
    )
    assert done.returncode == 70
    assert re.fullmatch(
        r"mixcompare: a defect in mixcompare \(KeyError: 'nothing'\).*\n", done.stderr
    )


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["frob"], "mixcompare: argument COMMAND: invalid choice: 'frob'"),
        (["compare", "a"], "mixcompare: compare: the following arguments are required: CANDIDATE;"),
        (
            ["compare", "a", "b", "--limit", "nan"],
            "mixcompare: compare: argument --limit: 'nan' is",
        ),
        (["measure", "a", "b\nc.wav"], r"mixcompare: unrecognized arguments: b\nc.wav; see"),
    ],
)
def test_wrong_usage_is_one_sentence_too(
    arguments: list[str], told: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as left:
        main(arguments)
    assert left.value.code == 2
    said = capsys.readouterr().err
    assert said.startswith(told)
    assert said.endswith("--help.\n")
    assert said.count("\n") == 1


def test_help_tells_every_exit_code(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    told = capsys.readouterr().out
    readme = (Path(__file__).parents[2] / "README.md").read_text("utf-8")
    for code in (0, 1, 2, 3, 4, 70, 130):
        assert re.search(rf"^ +{code}  \w", told, re.MULTILINE)
        assert re.search(rf"^\| {code} \|", readme, re.MULTILINE)
    assert guard.DEFECT == 70
