"""What is shown on the terminal while work goes on."""

from __future__ import annotations

import os
import signal
import sys
from typing import TextIO


class Status:
    """One line on the terminal that says what is going on; nothing when output is no terminal."""

    def __init__(self, quiet: bool) -> None:
        self._stream = sys.stderr
        self._on = not quiet and self._stream.isatty()
        self._length = 0

    def __enter__(self) -> Status:
        if hasattr(signal, "SIGTERM"):
            signal.signal(signal.SIGTERM, _interrupt)
        return self

    def __exit__(self, *exception: object) -> None:
        if self._on:
            self._stream.write("\r" + " " * self._length + "\r")
            self._stream.flush()

    def say(self, words: str) -> None:
        """Replace what stands there."""
        if self._on:
            line = f"{words} ..."
            self._stream.write("\r" + line.ljust(self._length))
            self._stream.flush()
            self._length = max(self._length, len(line))


def _interrupt(number: int, frame: object) -> None:
    raise KeyboardInterrupt


class Ink:
    """Bold on a terminal that has not asked for plain text (NO_COLOR)."""

    def __init__(self, stream: TextIO) -> None:
        self._on = stream.isatty() and "NO_COLOR" not in os.environ

    def bold(self, text: str) -> str:
        """The text, in bold where that is wanted."""
        return f"\033[1m{text}\033[0m" if self._on else text
