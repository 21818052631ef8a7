"""What an aspect says of itself: everything that report, page and command line know of it."""

from __future__ import annotations

from dataclasses import dataclass

from mixcompare.findings.folding import Rule
from mixcompare.findings.noticeable import JustNoticeable


@dataclass(frozen=True)
class Description:
    """One aspect, described.

    Attributes
    ----------
    title : str
        Heading of its part of the page.
    meaning, method : str
        What it means to a listener, and how it was measured.
    noticeable : tuple of JustNoticeable
        By which its findings are measured.
    explains : tuple of Rule
        Which findings, of whatever aspect, are side effects of its own.
    figure : str or None
        Where its figure is drawn, ``"module:function"``.
    after : tuple of str
        Aspects on whose differences it builds; they are compared before it.
    article : str
        Before a subject of its findings in the middle of a sentence.
    over_time : bool
        Whether a finding's band can be shown in the picture of levels over time.
    key : tuple of str
        Names of the values that it is known by: the first that is known stands beside its title.
    """

    title: str
    meaning: str
    method: str
    noticeable: tuple[JustNoticeable, ...] = ()
    explains: tuple[Rule, ...] = ()
    figure: str | None = None
    after: tuple[str, ...] = ()
    article: str = ""
    over_time: bool = False
    key: tuple[str, ...] = ()

    def size_of(self, name: str) -> float:
        """Size of one of its just-noticeable differences."""
        return next(entry.size for entry in self.noticeable if entry.name == name)
