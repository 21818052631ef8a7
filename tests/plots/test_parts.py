"""The written parts in pictures and tables: what is a part's own, and what is several parts'."""

from __future__ import annotations

from dataclasses import replace

from matplotlib.colors import to_rgba
from matplotlib.figure import Figure

from mixcompare.aspects.balance.aspect import ABOUT
from mixcompare.aspects.balance.values import BalanceDifference, BalanceMeasurement
from mixcompare.parts.values import CLEAR, COVERED, OPEN, Lead, PartLevel, Stretch
from mixcompare.plots import balance, parts, style
from mixcompare.report.tables import lists
from mixcompare.results import Measured

OBOE = PartLevel(
    "Oboe", 5.9, (3.0, 8.5), (), 0.2, 0.8, 0.9, course=(Stretch(0.0, 2.0, (1, 1), 5.9),)
)
HORNS = replace(OBOE, name="Horns", together_with=("Trombones",))
ALONE = BalanceMeasurement((), (), (), (), None)
DIFFERENCE = BalanceDifference((), (), (), (), None, parts=(OBOE, HORNS))


def test_a_cell_of_a_part_that_cant_be_told_apart_has_a_hatch_and_no_colour() -> None:
    axes = Figure().subplots()
    parts.draw((OBOE, HORNS), (0.0, 2.0), axes)
    own, several = axes.patches
    red, _, blue, _ = own.get_facecolor()
    assert red > blue + 0.3  # orange: the candidate has more
    assert own.get_hatch() is None
    assert several.get_facecolor() == to_rgba(style.PAPER)
    assert several.get_hatch()


def test_along_the_row_of_who_leads_lines_say_whether_that_is_heard() -> None:
    lead = Lead("Horns", (), (1, 1), 0.0, 2.0, CLEAR, COVERED, 8.0, -6.0, -14.0, (), ("Oboe",))
    axes = Figure().subplots()
    parts.draw((OBOE, HORNS), (0.0, 2.0), axes, (lead, replace(lead, name="elsewhere")))
    over, under = axes.lines
    assert (over.get_color(), under.get_color()) == (style.REFERENCE, style.CANDIDATE)
    assert (over.get_linestyle(), under.get_linestyle()) == ("-", ":")
    assert 0.5 < over.get_ydata()[0] < 1 < under.get_ydata()[0] < 1.5
    assert list(over.get_xdata()) == [0.0, 2.0]
    axes = Figure().subplots()
    parts.draw((OBOE, HORNS), (0.0, 2.0), axes, (replace(lead, candidate=OPEN),))
    assert len(axes.lines) == 1


def test_who_leads_has_a_table_with_bars() -> None:
    lead = Lead("Horns", ("Tuba",), (9, 12), 0.0, 2.0, CLEAR, COVERED, 8.0, -6.0, -14.0, (),
                ("Oboe",))  # fmt: skip
    one_bar = replace(lead, bars=(13, 13))
    difference = replace(DIFFERENCE, parts=(), leads=(lead, one_bar, replace(lead, bars=None)))
    (table,) = lists(Measured("balance", ALONE, ALONE, difference, ABOUT))
    cells = dict(zip(table.heads, table.rows[0], strict=True))
    assert cells["Bars"] == "9-12"
    assert cells["In the candidate"] == "covered"
    assert cells["Over the rest, candidate (dB)"].endswith("6.0")
    assert cells["Difference (dB)"] == "\N{MINUS SIGN}14.0"
    assert [row[table.heads.index("Bars")] for row in table.rows][1:] == ["13", "\N{EN DASH}"]


def test_its_level_is_hollow_and_says_whose_it_is() -> None:
    axes = Figure().subplots()
    balance._draw_elements(balance._rows(DIFFERENCE), 1.0, axes)
    _, _, own, dotted, hollow = axes.lines  # after the zero line
    assert own.get_markerfacecolor() == style.CANDIDATE
    assert hollow.get_markerfacecolor() == style.PAPER
    assert hollow.get_color() == dotted.get_color() == style.QUIET
    assert [label.get_text() for label in axes.get_yticklabels()] == [
        "Oboe",
        "Horns (with Trombones)",
    ]
    many = replace(HORNS, together_with=("Trombones", "Tuba", "Cellos", "Basses"))
    assert parts.named(many) == "Horns (with Trombones, Tuba and 2 more)"


def test_a_table_has_it_in_brackets_and_says_why() -> None:
    (table,) = lists(Measured("balance", ALONE, ALONE, DIFFERENCE, ABOUT))
    level = table.heads.index("Against what did not change (dB)")
    others = table.heads.index("Can't be told apart from")
    assert [row[level] for row in table.rows] == ["+5.9", "(+5.9)"]
    assert [row[others] for row in table.rows] == ["", "Trombones"]
    assert table.rows[1][level + 1].startswith("(")
    assert table.note.startswith("In brackets: of parts that can't be told apart")
    (plain,) = lists(Measured("balance", ALONE, ALONE, replace(DIFFERENCE, parts=(OBOE,)), ABOUT))
    assert plain.note == ""
