"""Notes of a line asked together whether they end sooner: levels that are set, chances known."""

from __future__ import annotations

import itertools
from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.aspects.articulation.sinking import by_chance, sinks_db
from mixcompare.features import HIGHEST_ONSET, LOWEST_ONSET, ONSET_RATE_HZ
from mixcompare.pair.notes import Note, partial_bands

FloatArray = npt.NDArray[np.float64]

PITCH, LENGTH_S, COUNT = 72, 0.5, 12
LAST_S = 0.5 + COUNT * LENGTH_S


def line() -> tuple[Note, ...]:
    """Notes of half a second, each a tone above the one before, that follow at once."""
    onsets = 0.5 + LENGTH_S * np.arange(COUNT)
    pitches = PITCH + 2 * (np.arange(COUNT + 1) % 3)
    return tuple(
        Note(int(pitch), int(following), float(onset), float(onset + LENGTH_S), written=True)
        for pitch, following, onset in zip(pitches, pitches[1:], onsets, strict=False)
    )


def playing(ratio: float, *, falls_db: float = 20.0, held: int = 0, louder_db: float = 0.0) -> Any:
    """A recording in which every note falls at once after a share of its length.

    Of its partials the ``held`` highest are held by others throughout.
    """
    frame_s = np.arange(int((LAST_S + 1.0) * ONSET_RATE_HZ)) / ONSET_RATE_HZ
    power = np.full((len(frame_s), HIGHEST_ONSET - LOWEST_ONSET + 1), 1e-9)
    for note in line():
        bands = partial_bands(note.pitch)
        sounds = (frame_s >= note.onset_s) & (frame_s < note.next_s)
        late = sounds & (frame_s >= note.onset_s + ratio * LENGTH_S)
        loud = 10 ** (louder_db / 10) * 1e-3
        power[np.ix_(sounds, bands)] = loud
        power[np.ix_(late, bands[: len(bands) - held])] = loud * 10 ** (-falls_db / 10)
    return SimpleNamespace(onset_power=power), frame_s, 0


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
