"""Who leads, on lines written by hand and on the sample's score."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from mixcompare.knowledge.notes import PartNotes
from mixcompare.knowledge.score import Score
from mixcompare.parts.leading import leading_part

SAMPLES = Path(__file__).parents[2] / "sample_audio"
SPAN_S = (10.0, 18.0)
NONE = np.zeros((0, 4))


def line(name: str, pitches: list[float], start_s: float = 10.0, beat_s: float = 0.5) -> PartNotes:
    onset_s = start_s + beat_s * np.arange(len(pitches))
    columns = (onset_s, onset_s + 0.95 * beat_s, pitches, np.full(len(pitches), 80.0))
    return PartNotes(name, np.column_stack(columns), NONE)


TUNE = line("tune", [72, 74, 76, 77, 79, 77, 76, 74, 72, 71, 72, 74, 76, 74, 72, 71])
CHORD = line("chord", [60.0] * 4, beat_s=2.0)
BASS = line("bass", [48, 43] * 8)


def test_a_tune_over_chords_and_a_bass_leads() -> None:
    for parts in ((TUNE, CHORD, BASS), (BASS, CHORD, TUNE)):
        found = leading_part(parts, SPAN_S)
        assert found is not None
        assert parts[found].name == "tune"


def test_a_tune_in_a_middle_voice_leads_over_a_held_note_above() -> None:
    held = line("held", [88.0], beat_s=8.0)
    assert leading_part((held, TUNE, BASS), SPAN_S) == 1


def test_who_comes_late_or_rests_does_not_lead() -> None:
    late = line("late", [81, 83, 84, 86, 88, 86, 84, 83], start_s=14.0)
    assert leading_part((late, TUNE, BASS), SPAN_S) == 1
    elsewhere = line("elsewhere", [81, 83, 84, 86], start_s=30.0)
    assert leading_part((elsewhere, TUNE, BASS), SPAN_S) == 1
    assert leading_part((elsewhere,), SPAN_S) is None


def test_of_two_in_unison_the_higher_one_on_the_page_leads() -> None:
    assert leading_part((CHORD, TUNE, TUNE), SPAN_S) == 1


def test_who_plays_on_top_leads_over_the_same_line_an_octave_lower() -> None:
    lower = PartNotes("lower", TUNE.notes - [0, 0, 12, 0], NONE)
    parts = (CHORD, lower, TUNE)
    found = leading_part(parts, SPAN_S)
    assert found is not None
    assert parts[found].name == "tune"


def test_chords_of_many_notes_do_not_lead() -> None:
    # Three at a time, eight different ones together, and above the tune on the page.
    chords = [line("chords", pitches, beat_s=2.0) for pitches in
              ([57, 59, 60, 57], [62, 64, 65, 62], [65, 67, 69, 65])]  # fmt: skip
    thick = PartNotes("chords", np.concatenate([one.notes for one in chords]), NONE)
    tune = line("tune", [72, 74, 76, 77, 76, 74, 76, 77] * 2)
    found = leading_part((thick, tune, BASS), SPAN_S)
    assert found == 1


def test_in_the_sample_the_theme_leads_where_the_figure_rests() -> None:
    # By the program that writes it: bars 1 and 6 have no figure; the flute doubles the violins
    # from bar 5.
    score = Score.open(SAMPLES / "score.musicxml")
    parts = [PartNotes(name, notes, NONE) for name, notes in score.parts]
    assert score.bars is not None
    for bars, names in (
        ((0, 0), {"Violins"}),
        ((0, 1), {"Violins"}),
        ((5, 5), {"Violins", "Flute"}),
    ):
        span_s = float(score.bars.start_s[bars[0]]), float(score.bars.end_s[bars[1]])
        found = leading_part(parts, span_s)
        assert found is not None
        assert parts[found].name in names
