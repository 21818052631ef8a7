"""Who hears the signals that end a run, and who hears them for a while instead."""

from __future__ import annotations

import contextlib
import signal
import threading
from collections.abc import Callable, Iterator, Mapping
from types import FrameType
from typing import Any

_ENDING = ("SIGINT", "SIGTERM", "SIGHUP")  # an interrupt, a termination, a lost terminal

Handler = Callable[[int, FrameType | None], None]


def hearers() -> dict[int, Any]:
    """Signals that end a run, where the system has them, and what hears them now."""
    numbers = [getattr(signal, name) for name in _ENDING if hasattr(signal, name)]
    heard = {number: signal.getsignal(number) for number in numbers}
    return {number: by for number, by in heard.items() if by is not None}


@contextlib.contextmanager
def heard_by(handler: Handler, before: Mapping[int, Any]) -> Iterator[None]:
    """Within it these signals have another handler; beside the main thread nothing changes.

    Parameters
    ----------
    handler : callable
        Takes the number and the frame.
    before : mapping of int
        Signals, with what hears them again afterwards.
    """
    if threading.current_thread() is not threading.main_thread():
        yield  # signals are the main thread's
        return
    try:
        for number in before:
            signal.signal(number, handler)
        yield
    finally:
        for number, by in before.items():
            signal.signal(number, by)
