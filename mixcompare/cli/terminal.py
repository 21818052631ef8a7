"""What is shown on the terminal, and how it is kept harmless."""

from __future__ import annotations

import contextlib
import os
import re
import sys
import unicodedata
from collections.abc import Iterator
from typing import TextIO, cast

from mixcompare.errors import OutputError

_DOUBTFUL = re.compile(r"\x1b\[[01]m|[^\n\t\x20-\x7e]")


class Plain:
    r"""A stream that shows what a terminal would obey, or can't show, as ``\uXXXX``.

    Names of files, parts and stems are others' text. Only bold, which is ours, goes through, and
    only to a terminal.
    """

    def __init__(self, stream: TextIO) -> None:
        self.stream = stream
        self.encoding = stream.encoding or "utf-8"
        self._trouble: OSError | None = None

    def write(self, text: str) -> int:
        """Write the text, harmless."""
        try:
            self.stream.write(_DOUBTFUL.sub(self._shown, text))
        except OSError as error:
            self._trouble = error  # argparse is silent about it
            raise
        return len(text)

    def flush(self) -> None:
        """Write what is held back; what could not be written before is told now."""
        if self._trouble is not None:
            raise self._trouble
        self.stream.flush()

    def isatty(self) -> bool:
        """Whether it is a terminal."""
        return self.stream.isatty()

    def fileno(self) -> int:
        """Number of the stream's file."""
        return self.stream.fileno()

    def _shown(self, found: re.Match[str]) -> str:
        text = found[0]
        if len(text) > 1:
            return text if self.isatty() else text.replace("\x1b", "\\u001b")
        if text.isprintable() or unicodedata.category(text) == "Zs":
            try:
                text.encode(self.encoding)
            except (UnicodeEncodeError, LookupError):
                pass
            else:
                return text
        units = text.encode("utf-16-be", "surrogatepass")
        return "".join(f"\\u{units[at : at + 2].hex()}" for at in range(0, len(units), 2))


def one_line(sentence: str) -> str:
    """A sentence in one line, whatever names are in it."""
    return sentence.replace("\n", "\\n").replace("\r", "\\r")


@contextlib.contextmanager
def plain_streams() -> Iterator[None]:
    """Within it, what is printed is harmless; closed streams take everything."""
    before = sys.stdout, sys.stderr
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        sys.stdout, sys.stderr = (cast(TextIO, Plain(each or nowhere)) for each in before)
        try:
            yield
        finally:
            with contextlib.suppress(OSError, ValueError):
                sys.stderr.flush()
            sys.stdout, sys.stderr = before


@contextlib.contextmanager
def printed() -> Iterator[None]:
    """Print within it: a reader that goes away (a pager, say) is no error of ours.

    Raises
    ------
    OutputError
        If what was printed cannot be written.
    """
    try:
        yield
        sys.stdout.flush()
    except BrokenPipeError:
        _close()
    except OSError as error:
        _close()
        raise OutputError(
            f"the list cannot be printed ({(error.strerror or str(error)).lower()})."
        ) from error


def _close() -> None:
    """Let what is still held back go nowhere, so that the end of the process does not trip."""
    with contextlib.suppress(OSError, ValueError):
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)


class Status:
    """One line on the terminal that says what is going on; nothing when output is no terminal."""

    def __init__(self, quiet: bool) -> None:
        stream = cast(object, sys.stderr)
        # The carriage return is ours.
        self._stream = stream.stream if isinstance(stream, Plain) else sys.stderr
        self._on = not quiet and self._stream.isatty()
        self._length = 0

    def __enter__(self) -> Status:
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


class Ink:
    """Bold on a terminal that has not asked for plain text (NO_COLOR)."""

    def __init__(self, stream: TextIO) -> None:
        self._on = stream.isatty() and "NO_COLOR" not in os.environ

    def bold(self, text: str) -> str:
        """The text, in bold where that is wanted."""
        return f"\033[1m{text}\033[0m" if self._on else text
