"""How parts go over time, on music in which one of them moves from a known moment on."""

from __future__ import annotations

import functools

import numpy as np
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.notes import Bars
from mixcompare.parts.course import Window, course_of, departures, scaled, windows_of
from mixcompare.parts.fit import Cells, Fitted, fit
from mixcompare.parts.levels import levels_of
from mixcompare.parts.values import Levels, Stretch
from tests import synthetic
from tests.parts.written import BARS, SEED, VOICES, pair_of

RATE_HZ = synthetic.RATE_HZ
BAR_S = 2.4  # four beats of 0.6 s
TURN_S = 4 * BAR_S


@functools.cache
def from_the_fifth_bar(voice: str, by_db: float, again: bool) -> Levels:
    """Levels where a voice is louder or softer from the fifth bar on."""
    how = {"scatter_s": 0.012, "scatter_db": 0.6, "performance": 3} if again else {}
    moved, plain = (
        synthetic.play(SEED, bars=BARS, gains_db={voice: gain}, **how) for gain in (by_db, 0.0)
    )
    later = (np.arange(len(plain)) > TURN_S * RATE_HZ)[:, None]
    room = synthetic.in_room(np.where(later, moved, plain), 1.0, -9.0)
    pair = pair_of(Features.of(Recording.from_array(room, RATE_HZ)))
    starts = BAR_S * np.arange(BARS)
    bars = Bars(starts, starts + BAR_S, np.arange(11, 11 + BARS), np.full(BARS, 4))
    pair = pair.with_parts(pair.match.parts, bars)
    found = levels_of(pair, split_pair(pair))
    assert found is not None
    return found


def course(found: Levels, voice: str) -> tuple[Stretch, ...]:
    (own,) = [part for part in found.parts if part.name == voice]
    return own.course


@pytest.mark.parametrize("again", [False, True], ids=["one take", "played again"])
@pytest.mark.parametrize(("voice", "by_db"), [("melody", 5.0), ("figure", -5.0)])
def test_a_part_that_moves_from_a_bar_on_does_so_in_its_course(
    voice: str, by_db: float, again: bool
) -> None:
    found = from_the_fifth_bar(voice, by_db, again)
    before = [one.level_db for one in course(found, voice) if one.end_s < TURN_S + 0.2]
    after = [one.level_db for one in course(found, voice) if one.start_s > TURN_S - 0.2]
    assert len(before) >= 2
    assert len(after) >= 2
    step = np.median(after) - np.median(before)
    assert step == pytest.approx(by_db, abs=2.0)
    assert abs(np.median(before)) < 1.5
    for other in set(VOICES) - {voice}:
        assert all(abs(one.level_db) < 2.0 for one in course(found, other))


def test_windows_begin_with_bars_and_carry_their_printed_numbers() -> None:
    stretches = course(from_the_fifth_bar("melody", 5.0, False), "pad")
    for one in stretches:
        assert one.bars is not None
        assert one.start_s == pytest.approx((one.bars[0] - 11) * BAR_S)
        assert one.end_s == pytest.approx((one.bars[1] - 10) * BAR_S)
        assert one.end_s - one.start_s >= 2.0
    assert [one.bars[0] for one in stretches if one.bars] == list(range(11, 11 + BARS))


def made_cells(change_db: float, scatter_db: float) -> tuple[Cells, Fitted]:
    """Two parts in bands of their own, and two bands that both fill; the second moves half-way."""
    rng = np.random.default_rng(0)
    templates = np.ones((2, 30, 200))
    templates[0, :14] = templates[1, 16:] = 1e-6
    templates *= 1 + 0.5 * rng.random(templates.shape)
    gain = np.where(np.arange(200) < 100, 1.0, 10 ** (change_db / 10))
    noise = 10 ** (scatter_db / 10 * rng.standard_normal((30, 200)))
    reference = templates.sum(axis=0)
    candidate = (templates[0] + gain * templates[1]) * noise
    cells = Cells(
        np.geomspace(200, 2000, 30), reference, candidate, templates, templates,
        np.ones((30, 200), bool),
    )  # fmt: skip
    return cells, fit(cells)


def test_departures_are_read_where_they_are_and_are_sure_where_there_is_much() -> None:
    cells, fitted = made_cells(4.0, 0.5)
    edges = np.array([0, 50, 100, 150, 200])
    level, deviation, plays = departures(cells, fitted, edges)
    assert plays.all()
    # The shares are those of the whole passage: a change of half of it is read nearly in full.
    assert level[1, 2:].mean() - level[1, :2].mean() == pytest.approx(4.0, abs=0.8)
    np.testing.assert_allclose(np.ptp(level[0]), 0.0, atol=0.5)
    assert deviation.max() < 0.4
    _, wider, _ = departures(cells, fitted, np.array([0, 5, 200]))
    assert wider[0, 0] > 2 * wider[0, 1]


def test_who_does_not_play_departs_by_nothing_and_that_is_not_sure() -> None:
    cells, fitted = made_cells(4.0, 0.5)
    cells.heard[:, :100] = False
    level, deviation, plays = departures(cells, fitted, np.array([0, 100, 200]))
    assert not plays[:, 0].any()
    np.testing.assert_array_equal(level[:, 0], 0.0)
    np.testing.assert_array_equal(deviation[:, 0], 3.0)
    course = course_of(
        cells, fitted, np.arange(200) / 8, (Window(0.0, 12.5), Window(12.5, 25.0)), (1,)
    )
    assert np.isnan(course[:, 0]).all()
    assert np.isfinite(course[:, 1]).all()


def test_less_than_a_notes_worth_of_cells_is_no_playing() -> None:
    cells, fitted = made_cells(4.0, 0.5)
    cells.heard[:, :100] = False
    cells.heard[16:, :1] = True  # fourteen cells of the second part
    _, _, plays = departures(cells, fitted, np.array([0, 100, 200]))
    np.testing.assert_array_equal(plays[1], [False, True])


def test_who_moved_is_nothing_to_set_the_others_against() -> None:
    cells, fitted = made_cells(6.0, 0.5)
    halves = (Window(0.0, 12.5), Window(12.5, 25.0))
    course = course_of(cells, fitted, np.arange(200) / 8, halves, (1,))
    assert abs(course[0, 1] - course[0, 0]) < 0.5
    assert course[1, 1] - course[1, 0] == pytest.approx(6.0, abs=1.0)
    assert abs(course[0].mean()) < 0.5
    # Where all have moved they are set against each other.
    assert np.isfinite(course_of(cells, fitted, np.arange(200) / 8, halves, (0, 1))).all()


def test_bars_are_taken_together_until_they_last() -> None:
    cells, fitted = made_cells(0.0, 0.5)
    starts = 0.9 * np.arange(10)
    bars = Bars(starts, starts + 0.9, np.arange(5, 15), np.full(10, 3))
    windows = windows_of(cells, fitted, np.arange(200) / 8, bars)
    assert [one.bars for one in windows] == [(5, 7), (8, 10), (11, 13), (14, 14)]
    assert windows[1].start_s == pytest.approx(2.7)
    assert windows[1].end_s == pytest.approx(5.4)
    again = Bars(starts, starts + 0.9, np.array([1, 2, 3, 4, 1, 2, 3, 4, 5, 6]), np.full(10, 3))
    windows = windows_of(cells, fitted, np.arange(200) / 8, again)
    assert [one.bars for one in windows] == [(1, 3), (4, 4), (1, 3), (4, 6)]


@pytest.mark.parametrize(("scatter_db", "length_s"), [(0.5, 2.0), (12.0, 8.0)])
def test_windows_are_longer_where_little_is_told(scatter_db: float, length_s: float) -> None:
    cells, fitted = made_cells(0.0, scatter_db)
    windows = windows_of(cells, fitted, np.arange(200) / 8, None)
    assert windows[0].start_s == 0.0
    assert windows[-1].end_s == pytest.approx(25.0)
    lengths = [one.end_s - one.start_s for one in windows]
    assert min(lengths) >= length_s
    assert max(lengths) < 2 * length_s
    assert all(one.bars is None for one in windows)


def test_readings_are_scaled_to_the_known_level_where_the_element_is() -> None:
    read = np.array([0.2, np.nan, 2.0, 3.0])
    found = scaled(read, np.array([0.0, 5.0, 1.0, 1.0]), 5.0)
    np.testing.assert_allclose(found, [0.4, np.nan, 4.0, 6.0])
    # Three times at most, and nothing where the readings go the other way.
    assert scaled(read, np.array([0.0, 0.0, 1.0, 0.0]), 40.0)[2] == pytest.approx(6.0)
    assert np.isnan(scaled(read, np.ones(4), -5.0)).all()
