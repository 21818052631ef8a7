"""Where a part's notes end on average: levels that are set, ends that are known."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from mixcompare.aspects.articulation import courses
from mixcompare.aspects.articulation.courses import Ends, average_ends, sureness
from mixcompare.aspects.articulation.stretch import on_average
from mixcompare.pair.notes import Note
from mixcompare.statistics import block_counts
from tests.aspects.falling_notes import COUNT, line, playing

SHARES = np.arange(-0.3, 1.41, 0.05)
DRAWS = block_counts(COUNT, block_length=2) / COUNT


def ends_of(reference: Any, candidate: Any, notes: tuple[Note, ...] | None = None) -> Ends:
    found = average_ends(line() if notes is None else notes, (reference, candidate), reference[1])
    assert found is not None
    return found


@pytest.mark.parametrize(("long", "short"), [(1.0, 0.5), (1.0, 0.35), (0.9, 0.6)])
def test_both_ends_are_read_off_the_average(long: float, short: float) -> None:
    """Truth: as set. A fall at once reads as one of 0.1, and shares in steps of 0.05."""
    found = ends_of(playing(long, falls_db=9.0), playing(short, falls_db=9.0))
    assert found.is_sure
    assert found.ratios == pytest.approx((long, short), abs=0.1)
    assert found.agreement == 1.0
    told = on_average(found, 0.0)
    assert told is not None
    low, high = told.sounding_ratio_interval
    assert low <= short - long <= high


def test_one_way_mirrors_the_other() -> None:
    long, short = playing(1.0, falls_db=9.0), playing(0.5, falls_db=9.0)
    there, back = ends_of(long, short), ends_of(short, long)
    assert back.ratios == there.ratios[::-1]
    assert back.sureness == pytest.approx(-there.sureness)
    assert back.change_interval == pytest.approx([-limit for limit in there.change_interval[::-1]])


def test_what_others_hold_is_in_both_and_cancels() -> None:
    found = ends_of(playing(1.0), playing(0.5, falls_db=10.0, held=3))
    assert found.is_sure
    assert found.ratios[1] == pytest.approx(0.5, abs=0.1)


def test_notes_that_end_alike_are_not_told() -> None:
    for ratio in (1.0, 0.5):
        found = ends_of(playing(ratio), playing(ratio, louder_db=6.0))
        assert not found.is_sure
        assert on_average(found, 0.0) is None


def test_partials_under_those_of_other_parts_are_not_asked() -> None:
    """Here all are, so that nobody is left."""
    sounding = playing(1.0), playing(0.5)
    notes = tuple(replace(note, covered=tuple(range(20, 128))) for note in line())
    assert average_ends(notes, sounding, sounding[0][1]) is None
    assert average_ends(line()[:5], sounding, sounding[0][1]) is None


def differences(late_db: float, before_db: float = 0.0, after_db: float = 0.0) -> Any:
    row = np.where(SHARES > 0.5, late_db, 0.0)
    row = np.where(SHARES < -0.08, before_db, row)
    return np.tile(np.where(SHARES > 1.17, after_db, row), (COUNT, 1))


HANDS_DB = float(np.hypot(3.0 / COUNT**0.5, 0.4))
"""What other hands make of so many notes: 3 dB of each, 0.4 dB of all."""


def test_sureness_is_in_units_of_what_other_hands_do() -> None:
    assert sureness(differences(-4.0), DRAWS) == pytest.approx(-4.0 / HANDS_DB)
    assert sureness(differences(4.0), DRAWS) == pytest.approx(4.0 / HANDS_DB)


def test_what_rings_before_and_after_is_the_rooms() -> None:
    """0.35 of it reaches into the notes; both must go that way, and it never turns the sign."""
    assert sureness(differences(-4.0, -2.0, -3.0), DRAWS) == pytest.approx(-3.3 / HANDS_DB)
    assert sureness(differences(-4.0, 2.0, -3.0), DRAWS) == pytest.approx(-4.0 / HANDS_DB)
    assert sureness(differences(-1.0, -4.0, -4.0), DRAWS) == 0.0


def test_scatter_of_silent_and_covered_notes_is_no_doubt_of_the_average() -> None:
    """Half of the notes fall by 10 dB: 3 dB a note count at most, of 1 dB all does."""
    half = differences(0.0)
    half[::2] = differences(-10.0)[0]
    alone = block_counts(COUNT, 4000) / COUNT
    most_db = np.hypot(3.0 / COUNT**0.5, HANDS_DB)
    assert sureness(half, alone) == pytest.approx(-5.0 / most_db, abs=0.01)
    rows = differences(-5.0)
    rows[::2] += 1.0
    rows[1::2] -= 1.0
    little_db = np.hypot(1.0 / COUNT**0.5, HANDS_DB)
    assert sureness(rows, alone) == pytest.approx(-5.0 / little_db, abs=0.02)


def ends(sure: float, low: float, high: float) -> Ends:
    return Ends(sure, (0.95, 0.5), (low, high), 0.9, line())


def test_only_what_is_sure_becomes_a_stretch() -> None:
    assert on_average(ends(-2.7, -0.5, -0.4), 0.0) is None
    found = on_average(ends(-2.9, -0.5, -0.4), 0.0)
    assert found is not None
    assert found.sounding_ratio == pytest.approx(-0.45)
    # 0.05 of scatter and 0.12 that all notes share.
    due = np.hypot(0.05, 0.12)
    assert found.sounding_ratio_interval == pytest.approx((-0.45 - due, -0.45 + due))
    # So wet a room may hide that much of the notes' ends: 0.025 for every decibel.
    wetter, drier = (on_average(ends(-2.9, -0.5, -0.4), room) for room in (4.0, -4.0))
    assert wetter is not None
    assert drier is not None
    assert wetter.sounding_ratio_interval == pytest.approx((-0.55 - due, -0.45 + due))
    assert drier.sounding_ratio_interval == pytest.approx((-0.45 - due, -0.35 + due))


def test_single_notes_are_borne_out_by_the_average() -> None:
    assert ends(-1.6, -0.5, -0.4).bears_out(-0.3)
    assert not ends(-1.4, -0.5, -0.4).bears_out(-0.3)
    assert not ends(-1.6, -0.5, -0.4).bears_out(0.3)


def test_a_note_struck_again_is_looked_for_where_the_score_has_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The others are found 0.1 s late by mistake, and that is where it is looked for, too."""
    asked = []

    def sampled(power: Any, rate: float, times_s: Any, bands: Any) -> Any:
        asked.append((times_s[SHARES.searchsorted(-1e-9)], times_s[-1] - times_s[0]))
        return np.ones((len(SHARES), len(bands)))

    monkeypatch.setattr(courses, "sample_frames", sampled)
    monkeypatch.setattr(courses, "note_span", lambda note, *_: (note.onset_s + 0.1, 0.3))
    sounding = playing(1.0), playing(1.0)
    again = line()[3]
    again = replace(again, next_pitch=again.pitch)
    ends_of(*sounding, (*line()[:3], again, *line()[4:]))
    lengths_s = SHARES[-1] - SHARES[0]
    assert asked[6] == pytest.approx((again.onset_s + 0.1, 0.5 * lengths_s))
    assert asked[8] == pytest.approx((line()[4].onset_s + 0.1, 0.3 * lengths_s))


def test_a_note_that_grows_in_either_recording_is_not_asked() -> None:
    """By 6 dB: others came in on its pitches."""
    long, swelling = playing(1.0), playing(0.5, falls_db=-6.0)
    for sounding in ((long, swelling), (swelling, long)):
        assert average_ends(line(), sounding, long[1]) is None
