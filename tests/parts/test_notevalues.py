"""Written values of notes against what the values are called (common practice)."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.parts.notevalues import note_value

BAR_S, BARS = 3.0, 6
EVERYWHERE = ((0.0, BARS * BAR_S),)


def bars(quarters: float = 4.0, known: bool = True) -> Bars:
    starts = np.arange(BARS) * BAR_S
    return Bars(
        starts, starts + BAR_S, np.arange(1, BARS + 1), np.full(BARS, 4),
        np.full(BARS, quarters) if known else None,
    )  # fmt: skip


def playing(
    step: float,
    length: float = 0.9,
    quarters: float = 4.0,
    scatter_s: float = 0.0,
    from_s: float = 0.0,
) -> PartNotes:
    """Notes so many quarters apart, held for so much of that."""
    quarter_s = BAR_S / quarters
    onset_s = from_s + np.arange(0, BARS * BAR_S - 1e-6, step * quarter_s)
    moved_s = onset_s + np.random.default_rng(0).normal(0, scatter_s, len(onset_s))
    pitch = 60 + np.arange(len(onset_s)) % 5
    held_s = np.full(len(onset_s), step * length * quarter_s)
    notes = np.column_stack([moved_s, moved_s + held_s, pitch, np.full(len(onset_s), 80.0)])
    return PartNotes("part", notes[np.argsort(notes[:, 0])], notes[:0])


@pytest.mark.parametrize(
    ("step", "length", "name"),
    [
        (0.25, 0.9, "semiquavers"),
        (0.25, 1.0, "semiquavers"),
        (0.25, 0.7, "semiquavers"),
        (0.5, 0.45, "semiquavers"),  # with rests between them
        (0.5, 0.95, "quavers"),
        (1.0, 0.9, "crotchets"),
        (2.0, 0.9, "minims"),
        (0.75, 0.95, "dotted quavers"),
        (1 / 3, 0.95, "quaver triplets"),
        (1 / 6, 0.95, "semiquaver triplets"),
        (2 / 3, 0.95, "crotchet triplets"),
        (0.125, 0.9, "demisemiquavers"),
    ],
)
def test_the_value_is_told_by_its_name(step: float, length: float, name: str) -> None:
    assert note_value([playing(step, length)], EVERYWHERE, bars()) == name


def test_the_metre_says_how_long_a_bar_is() -> None:
    played = playing(0.5, quarters=3.0)
    assert note_value([played], EVERYWHERE, bars(3.0)) == "quavers"
    assert note_value([played], EVERYWHERE, bars(6.0)) == "crotchets"


def test_notes_that_alignment_moved_a_little_keep_their_value() -> None:
    assert note_value([playing(0.25, scatter_s=0.008)], EVERYWHERE, bars()) == "semiquavers"


def test_chords_count_once_and_only_the_asked_spans_do() -> None:
    chords, lower = playing(0.5).notes, playing(0.5).notes - np.array([0, 0, 7.0, 0])
    both = np.concatenate([chords, lower])
    part = PartNotes("chords", both[np.argsort(both[:, 0], kind="stable")], both[:0])
    assert note_value([part], EVERYWHERE, bars()) == "quavers"
    fast, slow = playing(0.25).notes, playing(1.0).notes
    late_s = 2 * BAR_S
    mixed = np.concatenate([fast[fast[:, 0] < late_s], slow[slow[:, 0] >= late_s]])
    part = PartNotes("mixed", mixed, mixed[:0])
    assert note_value([part], ((0.0, late_s),), bars()) == "semiquavers"
    assert note_value([part], ((late_s, BARS * BAR_S),), bars()) == "crotchets"


def test_nothing_is_told_without_a_metre_or_a_common_value() -> None:
    played = playing(0.25)
    assert note_value([played], EVERYWHERE, None) is None  # a table of notes
    assert note_value([played], EVERYWHERE, bars(known=False)) is None
    assert note_value([], EVERYWHERE, bars()) is None
    assert note_value([played], ((0.0, 0.3),), bars()) is None  # two notes
    assert note_value([played, playing(1 / 3), playing(1.0)], EVERYWHERE, bars()) is None


def test_notes_played_to_no_beat_have_no_value() -> None:
    rng = np.random.default_rng(1)
    onset_s = np.sort(rng.uniform(0, BARS * BAR_S, 60))
    notes = np.column_stack([onset_s, onset_s + 0.2, np.full((60, 2), 70.0)])
    assert note_value([PartNotes("free", notes, notes[:0])], EVERYWHERE, bars()) is None


def test_notes_out_of_all_bars_are_left_out() -> None:
    assert note_value([playing(0.25, from_s=BARS * BAR_S)], ((0.0, 99.0),), bars()) is None
