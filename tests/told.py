"""What is told of a pair, for tests that do not ask what could have gone unseen."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from contextlib import contextmanager

import pytest

from mixcompare import analysis
from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.aspects import ANALYZERS
from mixcompare.features import Features
from mixcompare.results import Results


def told_of(
    reference: Features,
    candidate: Features,
    alignment: Alignment | None = None,
    only: Collection[str] = (),
) -> Results:
    """Compare a pair, all but the search for unseen changes, which takes a third of the time.

    The search has tests of its own; the sample recordings and the command line run it too.
    Where a test reads some aspects alone, it names them, and the others are left out.
    """
    with nothing_unseen(), pytest.MonkeyPatch.context() as patch:
        if only:
            chosen = tuple(one for one in ANALYZERS if one.aspect in only)
            patch.setattr(analysis, "ANALYZERS", chosen)
        return analysis.analyse(reference, candidate, alignment or align(reference, candidate))


@contextmanager
def nothing_unseen() -> Iterator[None]:
    """Compare without that search."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(analysis, "unseen", lambda pair: ((), ""))
        yield
