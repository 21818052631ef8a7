"""Tables of articulation speak of the voice that the figure draws."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from mixcompare.report import tables
from mixcompare.report.drawn import of_the_drawn, voice_drawn
from mixcompare.report.notes import notes_of
from mixcompare.report.page import render
from tests.report.builders import made_up_results

MINUS, SPACE = "\N{MINUS SIGN}", "\N{NO-BREAK SPACE}"


def horns_drawn():
    results = made_up_results()
    measured = results.measurements["articulation"]
    drawn = replace(measured, difference=replace(measured.difference, shown="Horns"))
    return replace(results, measurements={**results.measurements, "articulation": drawn})


def test_of_a_part_that_is_drawn_the_first_table_tells_the_part_s_own_shares():
    measured = horns_drawn().measurements["articulation"]
    (horns,) = [one for one in measured.difference.voices if one.name == "Horns"]
    rows = {row[0]: row[1:] for row in tables.single_values(of_the_drawn(measured)).rows}
    assert rows["Share sounding"][:3] == (
        f"{100 * horns.reference_ratio:.0f}{SPACE}%",
        f"{100 * horns.candidate_ratio:.0f}{SPACE}%",
        f"{100 * horns.sounding_ratio:+.0f}{SPACE}points",
    )
    # What one recording alone tells is of the leading line, and so left out.
    assert "Attack" not in rows or rows["Attack"][:2] == ("\N{EN DASH}",) * 2


def test_without_a_part_drawn_nothing_is_exchanged():
    results = made_up_results()
    for aspect, measured in results.measurements.items():
        assert of_the_drawn(measured) is measured
        assert voice_drawn(measured) == ("leading line" if aspect == "articulation" else "")


def test_the_page_names_the_voice_in_line_and_table():
    page = render(horns_drawn(), {})
    section = page.split('id="aspect-articulation"')[1].split("</details>")[0]
    assert re.search(r"Share sounding, Horns: \d+", section)
    assert "<caption>Notes of the Horns</caption>" in section


def test_with_a_score_a_note_in_the_list_has_its_bar():
    results = replace(made_up_results(), bar_starts=((0.0, 12), (4.0, 13)))

    class Voice:
        span_s = (0.0, 60.0)

    told = notes_of(results, ({"reference": Voice},))
    assert told is not None
    for note in told.heard:
        bar = 12 if note.span_s[0] < 3.9 else 13
        assert re.match(rf"\d+:\d\d\.\d [A-G]#?\d in bar {bar}: \d+ % against", note.words)
    assert len({note.words for note in told.heard}) == len(told.heard) > 0


@pytest.mark.parametrize("share", [0.9, 0.75, 0.5, 0.3])
def test_the_page_names_the_manners_with_the_limits_of_the_figure(share):
    """One set of limits, in words and in stripes."""
    about = made_up_results().measurements["articulation"].about
    assert f"{100 * share:.0f} " in about.meaning
