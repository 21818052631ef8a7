"""The sheet for a rehearsal: one page of A4 that says what the list says; read by pypdf."""

from __future__ import annotations

import io
import re
from dataclasses import replace

import pypdf
import pytest

from mixcompare.plots.sheet import MOST
from mixcompare.report.handout import MARK, handout_pdf
from tests import samples
from tests.report.builders import made_up_results

MINUS = "\N{MINUS SIGN}"
FOUND = ("candidate_figure_louder", "candidate_detached", "candidate_other_performance")


def page_of(results):
    """The only page of the sheet."""
    (page,) = pypdf.PdfReader(io.BytesIO(handout_pdf(results))).pages
    return page


def words_of(results):
    return re.sub(r"\s+", " ", page_of(results).extract_text())


def squeezed(text):
    return re.sub(r"\s+", "", text)


@pytest.mark.parametrize("which", FOUND)
def test_the_sheet_says_what_the_list_says(which):
    results = samples.compared("reference", which)
    page = page_of(results)
    # ISO 216: A4 is 210 mm by 297 mm.
    size = [float(side) / 72 * 25.4 for side in page.mediabox.upper_right]
    assert size == pytest.approx((210, 297), abs=0.5)
    told = squeezed(page.extract_text())
    # In print a minus is no hyphen.
    assert squeezed(results.verdict).replace("(-", f"({MINUS}") in told
    for finding in results.findings[:MOST]:
        for sentence in (finding.text, *finding.advice, finding.cause.spoken):
            assert squeezed(sentence) in told.replace(MINUS, "-")
    if results.unseen:
        assert squeezed(results.unseen) in told
    assert "comfortable level" in re.sub(r"\s+", " ", page.extract_text())


def test_more_than_fit_are_counted_and_names_are_only_names():
    results = made_up_results()
    one = results.findings[0]
    many = tuple(replace(one, rank=rank, text=f"$x_{rank}$ <b>") for rank in range(1, 9))
    told = words_of(replace(results, findings=many))
    assert "3 more in the full report." in told
    assert "5 $x_5$ <b>" in told
    assert "$x_6$" not in told


def test_the_same_results_give_the_same_sheet_with_our_mark():
    results = made_up_results()
    first = handout_pdf(results)
    assert first == handout_pdf(results)
    assert MARK in first


def test_the_sheet_names_both_recordings():
    results = made_up_results()
    told = words_of(results)
    for words, side in (("Reference", results.reference), ("Candidate", results.candidate)):
        assert f"{words}: {side.path.rsplit('/', 1)[-1]}" in told
