"""Notes of a line asked together whether they end sooner: levels that are set, chances known."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.aspects.articulation.sinking import by_chance, sinks_db
from mixcompare.pair.notes import partial_bands
from tests.aspects.falling_notes import COUNT, line, playing

FloatArray = npt.NDArray[np.float64]


def sinks_of(reference: Any, candidate: Any) -> FloatArray:
    return sinks_db(line(), (reference, candidate), reference[1])


def test_notes_that_end_half_way_sink_by_what_they_fall() -> None:
    """Truth: 20 dB are more than silence counts for a note, 10 dB are not; half is after 60 %."""
    long, short = playing(1.0), playing(0.5, falls_db=10.0)
    assert np.median(sinks_of(long, short)) == pytest.approx(-10.0, abs=0.5)
    assert np.median(sinks_of(short, long)) == pytest.approx(10.0, abs=0.5)
    assert np.median(sinks_of(long, playing(0.5))) == pytest.approx(-12.0, abs=0.1)
    # Early and late are both before the end.
    assert np.abs(sinks_of(long, playing(0.96))).max() < 0.5


def test_a_level_is_no_length() -> None:
    assert np.abs(sinks_of(playing(0.5), playing(0.5, louder_db=9.0))).max() < 1e-6


def test_partials_that_others_hold_hide_their_share_and_no_more() -> None:
    held = 3
    partials = np.array([len(partial_bands(note.pitch)) for note in line()])
    hidden = sinks_of(playing(1.0), playing(0.5, falls_db=10.0, held=held))
    assert hidden == pytest.approx(-10.0 * (1 - held / partials), abs=0.7)


def test_a_note_that_grows_is_not_asked() -> None:
    """Others came in on its pitches: by 6 dB in one recording, a note later by 20."""
    long, swelling = playing(1.0), playing(0.5, falls_db=-6.0)
    assert len(sinks_of(long, long)) == COUNT
    assert len(sinks_of(long, swelling)) == 0
    assert len(sinks_of(swelling, long)) == 0


# Six pairs of neighbours that go one way do so once in 2 ** 6 by chance, either way once in 32.
def test_chance_is_that_of_signs_drawn_for_pairs_of_neighbours() -> None:
    down = np.full(COUNT, -2.0)
    assert by_chance(down, -1.0, 0.0) == pytest.approx(1 / 32, abs=0.008)
    assert by_chance(-down, 1.0, 0.0) == by_chance(down, -1.0, 0.0)
    assert by_chance(down, 1.0, 0.0) == 1.0
    assert by_chance(np.zeros(COUNT), 1.0, 0.0) == 1.0
    assert by_chance(np.zeros(0), 1.0, 0.0) == 1.0


def test_one_note_does_not_speak_for_all() -> None:
    """A single one that falls silent is one sign of two, however far it fell."""
    one = np.zeros(COUNT)
    one[3] = -12.0
    assert by_chance(one, -1.0, 0.0) == 1.0
    # Against twenty that sink less by 1 dB each it counts for 8 dB. All signs of all pairs:
    sums = np.array([8.0] + [-2.0] * 10)
    every = np.array(list(itertools.product((-1, 1), repeat=len(sums)))) @ sums
    due = float(np.mean(np.abs(every) >= abs(sums.sum())))
    assert by_chance(np.r_[one[2:4], np.ones(20)], 1.0, 0.0) == pytest.approx(due, abs=0.03)


def test_what_the_room_lets_sink_proves_nothing() -> None:
    """8 dB drier lets notes sink by 2.4 dB more (0.3 a decibel; measured on three scores)."""
    drier = np.full(40, -1.5)
    assert by_chance(drier, -1.0, 0.0) < 0.01
    assert by_chance(drier, -1.0, -8.0) == 1.0
    further = np.full(40, -4.0)
    assert by_chance(further, -1.0, -8.0) < 0.01
    # A wetter room is no reason for notes to sink, and does not prove it, either.
    assert by_chance(np.full(40, 0.0), -1.0, 8.0) == 1.0
