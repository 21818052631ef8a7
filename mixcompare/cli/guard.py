"""The one place where whatever goes wrong becomes a sentence and an exit code.

What is expected (bad input, a place that can't be written, too little memory) gets one sentence
and 2; an interrupt gets one line that says what stands where the result should be, and 130;
anything else is a defect of ours: 70, where to report it, and the traceback in a file.
"""

from __future__ import annotations

import contextlib
import os
import platform
import signal
import sys
import tempfile
import threading
import time
import traceback
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType
from typing import Any, TextIO

from mixcompare import __version__
from mixcompare.cli.shared import BAD_INPUT, DEFECT, INTERRUPTED
from mixcompare.cli.terminal import one_line
from mixcompare.errors import MixcompareError
from mixcompare.outputs import has_working_folder, heard_by, hearers

REPORT_TO = "whoever you have it from (SECURITY.md tells what to send)"
_SCRATCH = ("mixcompare-", "matplotlib-", "joblib", tempfile.gettempprefix())
_PATIENCE_S = 0.4
"""After an interrupt: what has not ended by then is ended. A second is promised."""


@dataclass
class _Run:
    """What is going on: where results go, what stood there, and which signals came."""

    outputs: Sequence[Path] = ()
    to_go_on: str = ""
    before: list[tuple[int, int] | None] = field(default_factory=list)
    came: list[int] = field(default_factory=list)
    is_told: bool = False


_run = _Run()


def guarded(run: Callable[[], int], outputs: Sequence[Path], to_go_on: str = "") -> int:
    """Run a command; whatever it raises becomes its exit code.

    Parameters
    ----------
    run : callable
        Returns an exit code.
    outputs : sequence of Path
        What it may write: files, or folders of reports.
    to_go_on : str
        What to do after an interrupt, where what was done up to then is kept.
    """
    _run.outputs, _run.before = outputs, [_stamp(path) for path in outputs]
    _run.to_go_on = to_go_on
    _run.came, _run.is_told = [], False
    try:
        with heard_by(_end, _heeded()):
            return run()
    except KeyboardInterrupt:
        return _interrupted()
    except Exception as error:
        # An interrupt in the middle of an import may come out as another error.
        return _interrupted() if _run.came else _told(error)


def _told(error: Exception) -> int:
    if isinstance(error, MixcompareError):
        return _said(str(error), BAD_INPUT)
    if isinstance(error, MemoryError):
        short = "the memory does not suffice; compare a shorter part (see --help for spans)."
        return _said(short, BAD_INPUT)
    if isinstance(error, OSError):
        place = error.filename if isinstance(error.filename, str) else "a file"
        if isinstance(error, FileNotFoundError) and not has_working_folder():
            short = "the folder you work in is not there any more; change into another."
            return _said(short, BAD_INPUT)
        scratch = _scratch_folder(place)
        if scratch is not None:
            place = f"{scratch}, the folder for temporary files"
        return _said(f"{place}: {(error.strerror or str(error)).lower()}.", BAD_INPUT)
    return _said(_defect(error), DEFECT)


def _scratch_folder(place: str) -> str | None:
    """The folder for temporary files, where a place is one that we or a library made in it."""
    with contextlib.suppress(OSError, ValueError):
        folder = tempfile.gettempdir()
        if Path(place).relative_to(folder).parts[0].startswith(_SCRATCH):
            return folder
    return None


def _interrupted() -> int:
    """Say, as it stands on the disk, whether anything was written."""
    if not _run.is_told:
        _run.is_told = True
        stamps = zip(_run.outputs, _run.before, strict=True)
        new = [str(path) for path, before in stamps if _stamp(path) not in (None, before)]
        what = f"written before that: {', '.join(new)}" if new else "nothing was written"
        what = _run.to_go_on or what
        _said(f"interrupted; {what}.", INTERRUPTED)
    return INTERRUPTED


def _stamp(path: Path) -> tuple[int, int] | None:
    """What changes when a file, or a folder's report, is written anew."""
    for file in (path / "report.json", path):
        with contextlib.suppress(OSError, ValueError):
            if file.is_file():
                found = file.stat()
                return found.st_ino, found.st_mtime_ns
    return None


def _said(sentence: str, code: int) -> int:
    with contextlib.suppress(OSError):
        print(f"mixcompare: {one_line(sentence)}", file=sys.stderr, flush=True)
    return code


def _defect(error: Exception) -> str:
    """Put the traceback into a file; the sentence that tells of it."""
    text = (
        f"mixcompare {__version__}, Python {platform.python_version()}, {platform.platform()}\n"
        f"arguments: {sys.argv[1:]!r}\n\n{''.join(traceback.format_exception(error))}"
    )
    kind = traceback.format_exception_only(error)[-1].strip()[:200]
    head = f"a defect in mixcompare ({kind}); please report it to {REPORT_TO}"
    try:
        handle, name = tempfile.mkstemp(prefix="mixcompare-defect-", suffix=".txt", text=True)
        with open(handle, "w", encoding="utf-8", errors="backslashreplace") as file:
            file.write(text)
    except OSError:
        return f"{head}: {text}"
    return f"{head}, with {name}."


def _end(number: int, frame: FrameType | None) -> None:
    """End the run, once: a second signal changes nothing, the first is being followed already."""
    _run.came.append(number)
    if len(_run.came) == 1:
        raise KeyboardInterrupt


def _heeded() -> dict[int, Any]:
    """Signals that end a run, and who hears them now; those that are ignored (nohup) stay so."""
    return {number: by for number, by in hearers().items() if by is not signal.SIG_IGN}


def begin_process() -> None:
    """Do what only a process of our own may do: silence chatter, and end in time.

    Decoders write to the process's error stream beside Python; that goes nowhere, ours stays. Where
    an interrupt finds the main thread deep in a computation the process ends without it: results
    are whole or not there at any moment.
    """
    import logging
    import socket
    import warnings

    for number in _heeded():
        signal.signal(number, _end)
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    if not sys.warnoptions:
        warnings.simplefilter("ignore")
    with contextlib.suppress(OSError, ValueError, AttributeError):
        own = os.dup(sys.stderr.fileno())
        sys.stderr = os.fdopen(own, "w", 1, sys.stderr.encoding, "backslashreplace")
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, 2)
        os.close(nowhere)
    heard, told = socket.socketpair()
    told.setblocking(False)
    signal.set_wakeup_fd(told.detach(), warn_on_full_buffer=False)

    def watch() -> None:
        heard.recv(1)
        time.sleep(_PATIENCE_S)
        os._exit(_interrupted())

    threading.Thread(target=watch, daemon=True).start()


def end_process(code: int) -> int:
    """Write what is held back, and let a late interrupt be; the exit code."""
    for number in _heeded():
        signal.signal(number, signal.SIG_IGN)
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except OSError as error:
        _to_nowhere(sys.stdout)
        if not isinstance(error, BrokenPipeError):
            reason = (error.strerror or "").lower()
            code = _said(f"standard output: {reason}.", code or BAD_INPUT)
    try:
        if sys.stderr is not None:
            sys.stderr.flush()
    except OSError:
        # Else the interpreter trips over it, and ends with a code of its own.
        _to_nowhere(sys.stderr)
    return code


def _to_nowhere(stream: TextIO) -> None:
    """What is still held back is lost."""
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, stream.fileno())
    os.close(nowhere)
