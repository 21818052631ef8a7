"""Threads of the linear algebra: one, while mixcompare computes."""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import ParamSpec, TypeVar

_Given = ParamSpec("_Given")
_Found = TypeVar("_Found")


def one_numeric_thread(compute: Callable[_Given, _Found]) -> Callable[_Given, _Found]:
    """Let a function compute with one thread of the linear algebra, and give the others back.

    The matrices here are small: more threads only wait for one another (the room took 12 s instead
    of 2 in a process with many).
    """

    @functools.wraps(compute)
    def limited(*args: _Given.args, **options: _Given.kwargs) -> _Found:
        from threadpoolctl import threadpool_limits

        with threadpool_limits(limits=1):
            return compute(*args, **options)

    return limited
