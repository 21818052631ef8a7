"""Scores: read, laid over a recording, and what bad ones are told."""

from __future__ import annotations

from pathlib import Path

import mido
import numpy as np
import pytest

from mixcompare.analyzers.articulation import analyzer
from mixcompare.cli import main
from mixcompare.errors import ScoreError
from mixcompare.features import AlignmentFeatures, Features
from mixcompare.match import Match, PartNotes
from mixcompare.recording import Recording
from mixcompare.score import RATE_HZ, Score
from mixcompare.timemap import TimeMap
from mixcompare.voices import part_notes

SAMPLES = Path(__file__).parent.parent / "sample_audio"
TABLE = "part,onset_s,end_s,pitch\nviolins,0,0.5,72\nviolins,0.5,1.0,74\ncellos,0,1,48\n"


def table(folder: Path, text: str = TABLE) -> Path:
    path = folder / "notes.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_table(tmp_path: Path) -> None:
    score = Score.open(table(tmp_path))
    assert [name for name, _ in score.parts] == ["violins", "cellos"]
    np.testing.assert_allclose(score.parts[0][1], [[0, 0.5, 72], [0.5, 1.0, 74]])


def test_midi_with_a_change_of_tempo(tmp_path: Path) -> None:
    # Standard MIDI File 1.0: ticks count fractions of a quarter note; a tempo is in microseconds
    # a quarter and holds for all tracks.
    file = mido.MidiFile(type=1, ticks_per_beat=100)
    tempo = mido.MidiTrack(
        [
            mido.MetaMessage("set_tempo", tempo=1_000_000, time=0),
            mido.MetaMessage("set_tempo", tempo=500_000, time=100),
        ]
    )
    notes = mido.MidiTrack(
        [
            mido.MetaMessage("track_name", name="oboe", time=0),
            mido.Message("note_on", note=60, velocity=80, time=0),
            mido.Message("note_on", note=60, velocity=0, time=100),
            mido.Message("note_on", note=62, velocity=80, time=0),
            mido.Message("note_off", note=62, velocity=0, time=200),
            mido.Message("note_on", note=38, velocity=80, channel=9, time=0),
            mido.Message("note_off", note=38, velocity=0, channel=9, time=50),
        ]
    )
    file.tracks += [tempo, notes]
    path = tmp_path / "score.mid"
    file.save(str(path))
    ((name, found),) = Score.open(path).parts
    assert name == "oboe"
    np.testing.assert_allclose(found, [[0, 1, 60], [1, 2, 62]])


def test_laid_over_the_sample() -> None:
    # sample_audio/README.md: the first beat falls at 0.5 s; every note scatters by 10 ms.
    score = Score.open(SAMPLES / "score.mid")
    reference = AlignmentFeatures.of(Recording.open(SAMPLES / "reference.flac"))
    laid = {part.name: part for part in score.over(reference).parts}
    for name, written in score.parts:
        if name not in laid or len(laid[name].notes) != len(written):
            continue
        error_s = laid[name].notes[:, 0] - (written[:, 0] + 0.5)
        assert abs(float(np.median(error_s))) < 0.05, name
    assert {"violins", "flute"} <= set(laid)


def test_other_music_is_refused() -> None:
    rng = np.random.default_rng(1)
    notes = np.column_stack(
        [np.arange(60) * 0.4, np.arange(60) * 0.4 + 0.35, rng.integers(50, 80, 60)]
    )
    score = Score((("line", notes),))
    reference = AlignmentFeatures.of(Recording.open(SAMPLES / "reference.flac"))
    with pytest.raises(ScoreError, match="of other music"):
        score.over(reference)


@pytest.mark.parametrize(
    ("name", "text", "words"),
    [
        ("none.csv", None, "no such file"),
        (".", None, "is a folder"),
        ("notes.csv", "part,onset_s,pitch\nviolins,0,72\n", "lacks the column 'end_s'"),
        ("notes.csv", "part,onset_s,end_s,pitch\n", "holds no notes"),
        ("notes.csv", "part,onset_s,end_s,pitch\nviolins,1,0.5,72\n", "line 2"),
        ("notes.csv", "part,onset_s,end_s,pitch\nviolins,0,soon,72\n", "no table of notes"),
        ("notes.csv", "part,onset_s,end_s,pitch\nviolins,0,inf,72\n", "line 2"),
        ("notes.mid", "MThd and then nothing", "no readable MIDI file"),
    ],
)
def test_bad_scores_get_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, text: str | None, words: str
) -> None:
    path = tmp_path / name
    if text is not None:
        path.write_text(text, encoding="utf-8")
    reference = str(SAMPLES / "reference.flac")
    out = tmp_path / "out"
    code = main(["compare", reference, reference, "--score", str(path), "--out", str(out)])
    told = capsys.readouterr().err
    assert code == 2
    assert words in told
    assert path.name in told
    assert len(told.strip().splitlines()) == 1
    assert not (out / "report.html").exists()


def _line(ratio: float, seed: int = 4) -> tuple[Score, Features]:
    """A line over held chords, by the score's own tones."""
    rng = np.random.default_rng(seed)
    onsets = np.cumsum(rng.choice([0.4, 0.6, 0.8], 30))
    lengths = np.diff(onsets)
    pitches = 74 + rng.integers(-4, 8, 29)
    line = np.column_stack([onsets[:-1], onsets[:-1] + ratio * lengths, pitches])
    chords = [
        (at, at + 2.0, pitch) for at in np.arange(0.4, onsets[-1], 2.0) for pitch in (48, 52, 55)
    ]
    score = Score((("line", line), ("chords", np.array(chords))))
    return score, Features.of(Recording.from_array(score.tones(), RATE_HZ))


def test_a_written_part_among_others() -> None:
    legato, reference = _line(0.95)
    _, candidate = _line(0.5)
    parts = legato.over(reference).parts
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, reference.duration_s), parts=parts)
    difference = analyzer.compare(reference, candidate, match)
    voices = {voice.name: voice for voice in difference.voices}
    line = voices["line"]
    assert line.sounding_ratio is not None
    assert line.sounding_ratio == pytest.approx(-0.45, abs=0.1)
    assert line.candidate_ratio == pytest.approx(0.5, abs=0.1)
    assert line.manner == "detached against legato or tenuto"
    assert voices["chords"].stretch is None
    told = analyzer.findings(difference)
    assert [finding.subject for finding in told] == ["the line"]


def test_rests_and_chords_in_a_written_part() -> None:
    notes = np.array([[0, 0.5, 60], [0, 0.5, 67], [0.5, 1.0, 69], [1.0, 1.2, 71], [2.0, 2.5, 72]])
    found = part_notes(PartNotes("part", notes, np.zeros((0, 3))))
    # The chord's top note; the note before the rest is left out, and so is the last.
    assert [(note.pitch, note.next_pitch) for note in found] == [(67, 69), (69, 71)]


def test_doublings_cover_nothing_and_others_do() -> None:
    notes = np.array([[0, 0.5, 72], [0.5, 1.0, 74], [1.0, 1.5, 76]])
    octave = notes - [0, 0, 12]
    assert part_notes(PartNotes("part", notes, octave))[0].covered == ()
    chord = np.array([[0.0, 2.0, 60]])
    assert 72 in part_notes(PartNotes("part", notes, chord))[0].covered
