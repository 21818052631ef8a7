"""One sheet of A4 for a rehearsal or a class, in words and as a PDF."""

from __future__ import annotations

from mixcompare.plots.sheet import MARK, sheet_pdf
from mixcompare.report import head
from mixcompare.results import Results

__all__ = ["MARK", "handout_pdf"]


def handout_pdf(results: Results) -> bytes:
    """The verdict and what sticks out, each with a figure, as a PDF of one page.

    Parameters
    ----------
    results : Results
        What the comparison found.
    """
    names = (
        f"Reference: {head.short(results.reference)}    Candidate: {head.short(results.candidate)}"
    )
    return sheet_pdf(results, names, head.compared(results))
