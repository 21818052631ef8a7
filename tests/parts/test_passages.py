"""Parts that stand elsewhere in some bars only: on cells by hand, and on music."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.parts.fit import Cells, Fitted
from mixcompare.parts.levels import levels_of
from mixcompare.parts.passages import passages_in
from mixcompare.parts.values import Levels
from tests import synthetic
from tests.parts.written import BARS, SEED, VOICES, pair_of

BAR_S = 2.4  # four beats of 0.6 s
CLOCKS = {False: 0.6, True: 0.63}  # a beat, in the take itself and played again
PARTS, BANDS, WINDOWS, FRAMES = 4, 40, 12, 20
EDGES = FRAMES * np.arange(WINDOWS + 1)


# --- cells by hand ------------------------------------------------------------------------------


def score(doubled: bool = False) -> tuple[PartNotes, ...]:
    """Every part with onsets of its own; doubled: the last two have theirs in common."""
    none = np.zeros((0, 4))
    return tuple(
        PartNotes(
            f"part {place}",
            np.array([[k + 0.2 * min(place, 3 - doubled), k + 0.9, 60.0, 80] for k in range(9)]),
            none,
        )
        for place in range(PARTS)
    )


def laid(
    by_db: dict[int, float], first: int, last: int, scatter_db: float = 1.0
) -> tuple[Cells, Fitted]:
    """Cells in which every part has bands of its own, and some moved in some windows."""
    rng = np.random.default_rng(3)
    shape = (BANDS, WINDOWS * FRAMES)
    shares = np.full((PARTS, *shape), 0.05)
    for part in range(PARTS):
        shares[part, part::PARTS] = 0.85
    left = scatter_db * rng.standard_normal(shape)
    for part, change in by_db.items():
        inside = slice(EDGES[first], EDGES[last + 1])
        left[:, inside] += change * shares[part][:, inside]
    power = np.ones(shape)
    cells = Cells(np.geomspace(60, 4000, BANDS), power, power, shares, shares, power > 0)
    nothing = np.zeros(PARTS)
    share = np.full(PARTS, 1 / PARTS)
    return cells, Fitted(nothing, np.eye(PARTS), share, shares, shares, left, scatter_db)


@pytest.mark.parametrize("by_db", [4.0, -4.0])
@pytest.mark.parametrize(("first", "last"), [(3, 5), (0, 1), (8, 11)])
def test_who_moved_in_which_windows_is_told(by_db: float, first: int, last: int) -> None:
    (found,) = passages_in(*laid({2: by_db}, first, last), EDGES, score())
    assert found.parts == (2,)
    assert (found.first, found.last) == (first, last)
    assert found.level_db == pytest.approx(by_db, abs=1.0)
    assert found.name is None


def test_nothing_is_told_where_nothing_moved_or_all_did() -> None:
    assert passages_in(*laid({}, 0, 0), EDGES, score()) == ()
    # A swell of the whole is no part's doing: dynamics tells it.
    whole = dict.fromkeys(range(PARTS), 4.0)
    assert passages_in(*laid(whole, 3, 6), EDGES, score()) == ()


def test_one_window_alone_is_no_passage() -> None:
    for one in passages_in(*laid({1: 4.0}, 4, 4), EDGES, score()):
        assert one.last > one.first


def test_a_part_that_moved_most_of_its_time_stands_elsewhere_in_the_rest() -> None:
    (found,) = passages_in(*laid({1: 4.0}, 0, 9), EDGES, score())
    assert (found.first, found.last) == (10, 11)
    assert found.level_db < 0


def test_parts_that_attack_together_are_told_together() -> None:
    (found,) = passages_in(*laid({2: 4.0, 3: 4.0}, 3, 6), EDGES, score(doubled=True))
    assert found.parts == (2, 3)


def test_two_parts_in_two_places_are_told_the_surer_first() -> None:
    cells, fitted = laid({0: 5.0}, 2, 4)
    _, other = laid({3: -3.5}, 7, 9, scatter_db=0.0)
    both = replace(fitted, left_db=fitted.left_db + other.left_db)
    found = passages_in(cells, both, EDGES, score())
    assert [(one.parts, one.first, one.last) for one in found] == [((0,), 2, 4), ((3,), 7, 9)]


def test_the_more_the_cells_scatter_the_less_is_told() -> None:
    assert passages_in(*laid({2: 4.0}, 3, 4, scatter_db=6.0), EDGES, score()) == ()


def test_what_a_pitch_is_louder_throughout_is_no_passage() -> None:
    """Another instrument's note that comes only in some windows, with its own loudness."""
    cells, fitted = laid({}, 0, 0)
    cells.heard[2] = False
    cells.heard[2, EDGES[4] : EDGES[7]] = True
    left = fitted.left_db.copy()
    left[2] += 12.0
    assert passages_in(cells, replace(fitted, left_db=left), EDGES, score()) == ()


# --- music --------------------------------------------------------------------------------------


@functools.cache
def in_bars(voice: str, by_db: float, first: int, last: int, again: bool = True) -> Levels:
    """Levels where a voice is louder or softer from one bar to another, counted from 1."""
    how = {"scatter_s": 0.012, "scatter_db": 0.6, "performance": 3, "a4_hz": 442.0} if again else {}
    beat_s = CLOCKS[again]
    moved, plain = (
        synthetic.play(SEED, bars=BARS, gains_db={voice: gain}, beat_s=beat_s, **how)
        for gain in (by_db, 0.0)
    )
    time_s = np.arange(len(plain)) / synthetic.RATE_HZ
    start_s, end_s = (0.25 + 4 * beat_s * bar for bar in (first - 1, last))
    inside = ((time_s >= start_s) & (time_s < end_s))[:, None]
    room = synthetic.in_room(np.where(inside, moved, plain), 1.0, -9.0)
    pair = pair_of(Features.of(Recording.from_array(room, synthetic.RATE_HZ)))
    pair = pair.with_parts(pair.match.parts, bars_of_the_music())
    found = levels_of(pair, split_pair(pair))
    assert found is not None
    return found


def bars_of_the_music() -> Bars:
    starts = 0.3 + BAR_S * np.arange(BARS)
    return Bars(starts, starts + BAR_S, np.arange(1, BARS + 1), np.full(BARS, 4))


@pytest.mark.parametrize(("voice", "by_db"), [("melody", 6.0), ("figure", -6.0), ("pad", 6.0)])
def test_between_performances_a_voice_is_told_with_its_bars(voice: str, by_db: float) -> None:
    found = in_bars(voice, by_db, 3, 5)
    (players,) = found.players
    assert players.names == (voice,)
    (change,) = found.changes
    assert change.difference_db * by_db > 0
    assert change.interval[0] <= by_db <= change.interval[1]
    power = change.energy.sum(axis=1)
    place = np.flatnonzero(power > 0)
    start, end = place[0] / 20, place[-1] / 20  # on the clock of 20 frames a second
    assert start == pytest.approx(2 * BAR_S, abs=0.5)
    assert end == pytest.approx(5 * BAR_S, abs=0.8)
    (own,) = [part for part in found.parts if part.name == voice]
    assert own.level_db != change.difference_db  # as a whole it moved less


def test_a_voice_that_moved_throughout_is_told_once_and_in_no_place() -> None:
    found = in_bars("melody", -5.0, 1, BARS)
    assert [players.names for players in found.players] == [("melody",)]
    power = found.changes[0].energy.sum(axis=1)
    assert (power > 0).mean() > 0.9


@pytest.mark.parametrize("voice", VOICES)
def test_in_one_take_who_moved_in_some_bars_is_named(voice: str) -> None:
    found = in_bars(voice, 5.0, 4, 5, again=False)
    assert [players.names for players in found.players] == [(voice,)]
