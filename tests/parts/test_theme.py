"""How an element stands against the part that leads."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.aspects import balance
from mixcompare.elements.change import Change
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.parts.theme import theme_of, written_in
from mixcompare.parts.values import PartLevel
from tests.parts.written import features, pair_of

NONE = np.zeros((0, 4))
TIMES_S = np.arange(400) / 20
BARS = Bars(np.arange(10) * 2.0, np.arange(10) * 2.0 + 2, np.arange(1, 11), np.full(10, 4))


def line(name: str, pitches: list[float], velocity: float, octaves: int = 0) -> PartNotes:
    onset_s = 0.5 * np.arange(40)
    pitch = 12 * octaves + np.resize(pitches, 40)
    columns = (onset_s, onset_s + 0.45, pitch, np.full(40, velocity))
    return PartNotes(name, np.column_stack(columns), NONE, is_marked=True)


TUNE = [72, 74, 76, 77, 79, 77, 76, 74, 72, 71]
PARTS = (
    line("Violins", TUNE, 96.0),
    line("Horns", [55.0], 48.0),
    line("Cellos", TUNE, 80.0, octaves=-2),
)


def level(name: str, level_db: float | None, half: float = 0.5) -> PartLevel:
    interval = None if level_db is None else (level_db - half, level_db + half)
    return PartLevel(name, level_db, interval, (), 0.3, 1.0, 1.0)


def change(level_db: float, half: float = 1.2, until: int = 400) -> Change:
    energy = np.zeros((400, 5))
    energy[:until] = 1.0
    return Change(level_db, (level_db - half, level_db + half), 1.0, energy)


LEVELS = (level("Violins", -1.0), level("Horns", 4.0), level("Cellos", 0.0))


def test_a_louder_accompaniment_is_set_against_the_theme() -> None:
    found = theme_of([1], change(4.0), TIMES_S, BARS, PARTS, LEVELS)
    assert found is not None
    assert (found.name, found.is_own) == ("Violins", False)
    assert found.level_db == pytest.approx(5.0)
    # Independent doubts: 1.2 and 0.5 dB add in squares.
    assert found.level_db_interval == pytest.approx((3.7, 6.3))
    assert (found.written, found.players_written) == ("f", "p")


def test_ends_of_an_interval_stay_on_their_sides() -> None:
    lead = PartLevel("Violins", 0.0, (-3.0, 0.0), (), 0.3, 1.0, 1.0)
    found = theme_of([1], change(4.0, half=0.0), TIMES_S, BARS, PARTS, (lead, *LEVELS[1:]))
    assert found is not None
    assert found.level_db_interval == pytest.approx((4.0, 7.0))


@pytest.mark.parametrize("member", [0, 2])
def test_who_has_the_theme_s_notes_leads_with_it(member: int) -> None:
    found = theme_of([member], change(-4.0), TIMES_S, BARS, PARTS, LEVELS)
    assert found is not None
    assert found.is_own


def test_a_theme_whose_level_is_open_gives_no_number() -> None:
    levels = (level("Violins", None), *LEVELS[1:])
    found = theme_of([1], change(4.0), TIMES_S, BARS, PARTS, levels)
    assert found is not None
    assert (found.level_db, found.level_db_interval) == (None, None)


def test_who_leads_is_asked_where_the_element_sounds() -> None:
    other = line("Oboe", [84, 86, 88, 89, 91, 89, 88, 86], 64.0)
    late = PartNotes("Oboe", other.notes[other.notes[:, 0] >= 8.0], NONE, is_marked=True)
    parts = (late, *PARTS)
    levels = (level("Oboe", 0.0), *LEVELS)
    early = theme_of([2], change(4.0, until=160), TIMES_S, BARS, parts, levels)
    assert early is not None
    assert early.name == "Violins"
    # Throughout, the oboe leads for three fifths of the time.
    whole = theme_of([2], change(4.0), TIMES_S, BARS, parts, levels)
    assert whole is not None
    assert whole.name == "Oboe"
    assert whole.written == "mp"


def test_no_one_is_named_where_two_lead_by_turns() -> None:
    other = line("Oboe", [84, 86, 88, 89, 91, 89, 88, 86], 64.0)
    late = PartNotes("Oboe", other.notes[other.notes[:, 0] >= 8.0], NONE)
    levels = (level("Oboe", 0.0), *LEVELS)
    element = change(4.0, until=320)  # eight seconds of either
    assert theme_of([2], element, TIMES_S, BARS, (late, *PARTS), levels) is None


def test_nothing_is_set_against_what_has_no_player_or_is_not_there() -> None:
    assert theme_of([], change(4.0), TIMES_S, BARS, PARTS, LEVELS) is None
    gone = change(-8.0, half=40.0)
    assert theme_of([1], gone, TIMES_S, BARS, PARTS, LEVELS) is None


def test_players_with_several_dynamics_have_none_in_common() -> None:
    both = theme_of([0, 1], change(4.0), TIMES_S, BARS, PARTS, LEVELS)
    assert both is not None
    assert both.players_written is None


def test_balance_hands_it_on() -> None:
    pair = pair_of(features(bass=5.0))
    (element,) = balance.analyzer.compare(pair).elements
    assert element.players == ("bass",)
    assert element.theme is not None
    assert element.theme.name in ("figure", "melody")
    assert element.theme.level_db == pytest.approx(5.0, abs=0.7)


def test_written_dynamics_are_those_of_the_spans() -> None:
    notes = PARTS[0].notes.copy()
    notes[20:, 3] = 48.0
    part = PartNotes("Violins", notes, NONE, is_marked=True)
    assert written_in(part, [(0.0, 9.9)]) == "f"
    assert written_in(part, [(10.0, 20.0)]) == "p"
    assert written_in(part) == "p to f"
    assert written_in(part, [(50.0, 60.0)]) is None
    assert written_in(PartNotes("Violins", notes, NONE)) is None
