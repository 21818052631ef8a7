"""Where tests may look in, or break in: called at every step of writing."""

from __future__ import annotations

from collections.abc import Callable

hook: Callable[[str], None] | None = None


def step(name: str) -> None:
    """Tell that a step was reached."""
    if hook is not None:
        hook(name)
