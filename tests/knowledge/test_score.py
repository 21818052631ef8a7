"""Scores: read, laid over a recording, and what bad ones are told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import mido
import numpy as np
import pytest

import mixcompare
from mixcompare.alignment.result import SAME_PASSAGE, UNRELATED, Alignment
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import articulation
from mixcompare.audio.recording import Recording
from mixcompare.cli.main import main
from mixcompare.errors import ScoreError
from mixcompare.features import AlignmentFeatures, Features
from mixcompare.knowledge.notes import Bars, PartNotes
from mixcompare.knowledge.score import RATE_HZ, Score
from mixcompare.pair.lines import part_notes
from mixcompare.pair.match import Match
from mixcompare.pair.notes import REST
from tests.pairs import Remembering

analyzer = Remembering(articulation.analyzer)

SAMPLES = Path(__file__).parents[2] / "sample_audio"
TABLE = "part,onset_s,end_s,pitch\nviolins,0,0.5,72\nviolins,0.5,1.0,74\ncellos,0,1,48\n"


def table(folder: Path, text: str = TABLE) -> Path:
    path = folder / "notes.csv"
    path.write_text(text, encoding="utf-8")
    return path


def test_table(tmp_path: Path) -> None:
    score = Score.open(table(tmp_path))
    assert [name for name, _ in score.parts] == ["violins", "cellos"]
    # Where nothing says how loud, a note is mezzo forte: 80.
    np.testing.assert_allclose(score.parts[0][1], [[0, 0.5, 72, 80], [0.5, 1.0, 74, 80]])
    assert score.bars is None


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
            mido.Message("note_on", note=62, velocity=90, time=0),
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
    np.testing.assert_allclose(found, [[0, 1, 60, 80], [1, 2, 62, 90]])


def test_laid_over_the_sample() -> None:
    # sample_audio/README.md: the first beat falls at 0.5 s; every note scatters by 10 ms.
    score = Score.open(SAMPLES / "score.mid")
    reference = AlignmentFeatures.of(Recording.open(SAMPLES / "reference.flac"))
    over = score.over(reference)
    laid = {part.name: part for part in over.parts}
    assert over.warnings == ()
    assert over.bars is not None
    # Nine bars of 4/4 at 80 quarters a minute.
    assert over.bars.number.tolist() == list(range(1, 10))
    np.testing.assert_allclose(over.bars.start_s, 0.5 + 3.0 * np.arange(9), atol=0.1)
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


def _line(ratio: float, seed: int = 4, rests: bool = False) -> tuple[Score, Features]:
    """A line over held chords, by the score's own tones; every second note may be a rest.

    The score that is returned has the notes as long as they are played.
    """
    rng = np.random.default_rng(seed)
    onsets = np.cumsum(rng.choice([0.4, 0.6, 0.8], 30))
    lengths = np.diff(onsets)
    pitches = 74 + rng.integers(-4, 8, 29)
    line = np.column_stack([onsets[:-1], onsets[:-1] + ratio * lengths, pitches])
    line = line[::2] if rests else line
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
    notes = np.array(
        [[0, 0.5, 60], [0, 0.5, 67], [0.5, 1.0, 69], [1.0, 1.25, 71], [2.0, 2.15, 71], [3.0, 4, 72]]
    )
    found = part_notes(PartNotes("part", notes, np.zeros((0, 3))))
    # The chord's top note; a note before a rest lasts as it is written, and is not repeated. One of
    # 0.15 s is too short, and the last is left out.
    assert [(note.pitch, note.next_pitch) for note in found] == [(67, 69), (69, 71), (71, REST)]
    assert (found[2].onset_s, found[2].next_s, found[2].repeated) == (1.0, 1.25, False)


def test_notes_before_rests_tell_how_long_they_are_held() -> None:
    """Truth: what was cut off, of their written length. A rest follows every note but the last."""
    legato, reference = _line(0.95, rests=True)
    _, candidate = _line(0.5, rests=True)
    parts = legato.over(reference).parts
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, reference.duration_s), parts=parts)
    difference = analyzer.compare(reference, candidate, match)
    (line,) = [voice for voice in difference.voices if voice.name == "line"]
    assert line.notes >= 14
    assert line.sounding_ratio == pytest.approx(-0.45, abs=0.1)
    same = analyzer.compare(reference, reference, match)
    assert same.voices[2].sounding_ratio == pytest.approx(0.0, abs=0.01)


def test_doublings_cover_nothing_and_others_do() -> None:
    notes = np.array([[0, 0.5, 72], [0.5, 1.0, 74], [1.0, 1.5, 76]])
    octave = notes - [0, 0, 12]
    doubled = part_notes(PartNotes("part", notes, octave))[0]
    assert (doubled.covered, doubled.doubled) == ((), True)
    chord = np.array([[0.0, 2.0, 60]])
    alone = part_notes(PartNotes("part", notes, chord))[0]
    assert 72 in alone.covered
    assert not alone.doubled


def midi(folder: Path, *tracks: list[mido.Message | mido.MetaMessage], ticks: int = 480) -> Path:
    file = mido.MidiFile(type=1, ticks_per_beat=ticks)
    file.tracks += [mido.MidiTrack(track) for track in tracks]
    path = folder / "score.mid"
    file.save(str(path))
    return path


def on(pitch: int, after: int, velocity: int = 64, channel: int = 0) -> mido.Message:
    return mido.Message("note_on", note=pitch, velocity=velocity, time=after, channel=channel)


def off(pitch: int, after: int, channel: int = 0) -> mido.Message:
    return mido.Message("note_off", note=pitch, velocity=0, time=after, channel=channel)


def test_midi_without_a_tempo_has_two_quarters_a_second(tmp_path: Path) -> None:
    # Standard MIDI File 1.0: 500 000 microseconds a quarter unless a tempo is given.
    path = midi(tmp_path, [on(60, 0), off(60, 480), on(62, 240), off(62, 960)])
    ((name, notes),) = Score.open(path).parts
    assert name == "part 0"
    assert notes[:, :3].tolist() == [[0, 0.5, 60], [0.75, 1.75, 62]]


def test_a_tempo_in_any_track_holds_for_all(tmp_path: Path) -> None:
    slow = mido.MetaMessage("set_tempo", tempo=2_000_000, time=480)
    fast = mido.MetaMessage("set_tempo", tempo=250_000, time=480)
    path = midi(
        tmp_path,
        [on(60, 0), off(60, 240), on(64, 240), off(64, 720), on(67, 0), off(67, 480)],
        [slow, fast, on(48, 0), off(48, 480)],
    )
    (_, upper), (_, lower) = Score.open(path).parts
    # Half a second a quarter, from tick 480 on two seconds, from tick 960 on a quarter of one.
    assert upper[:, :3].tolist() == [[0, 0.25, 60], [0.5, 2.625, 64], [2.625, 2.875, 67]]
    assert lower[:, :3].tolist() == [[2.5, 2.75, 48]]


def test_a_pitch_struck_twice_ends_in_its_order(tmp_path: Path) -> None:
    path = midi(tmp_path, [on(60, 0), on(60, 240), off(60, 240), off(60, 240)])
    ((_, notes),) = Score.open(path).parts
    assert notes[:, :3].tolist() == [[0, 0.5, 60], [0.25, 0.75, 60]]


def test_two_in_unison_whose_end_is_written_once_end_together(tmp_path: Path) -> None:
    # As synthesisers play it (from memory: a note-off ends all of its pitch on the channel); taken
    # one by one, the second would sound until the pitch comes again.
    # An end before there is anything to end counts for nothing.
    events = [off(60, 0), on(60, 0), on(60, 0), off(60, 240), on(60, 240), off(60, 240)]
    ((_, notes),) = Score.open(midi(tmp_path, events)).parts
    assert notes[:, :3].tolist() == [[0, 0.25, 60], [0, 0.25, 60], [0.5, 0.75, 60]]


def test_where_one_ends_as_the_next_begins_the_next_sounds(tmp_path: Path) -> None:
    events = [on(60, 0), on(60, 0), on(60, 240), off(60, 0), off(60, 240)]
    ((_, notes),) = Score.open(midi(tmp_path, events)).parts
    assert notes[:, :3].tolist() == [[0, 0.25, 60], [0, 0.25, 60], [0.25, 0.5, 60]]


def test_channels_hold_their_own_notes_and_the_tenth_is_percussion(tmp_path: Path) -> None:
    path = midi(
        tmp_path,
        [
            mido.MetaMessage("track_name", name=" harp ", time=0),
            on(60, 0),
            on(36, 0, channel=9),
            off(36, 240, channel=9),
            on(60, 0, channel=8),
            off(60, 240, channel=8),
            on(60, 480, velocity=0),
            off(61, 10),  # never struck
        ],
    )
    ((name, notes),) = Score.open(path).parts
    assert name == "harp"
    assert notes[:, :3].tolist() == [[0, 1.0, 60], [0.25, 0.5, 60]]


def test_tables_are_sorted_by_onset_and_parted_by_name(tmp_path: Path) -> None:
    text = "part,onset_s,end_s,pitch\nb,1.5,2,60\na,0,1,50\nb,0.25,0.75,61.5\n,3,4,127\n"
    parts = dict(Score.open(table(tmp_path, text)).parts)
    assert list(parts) == ["b", "a", "part"]
    assert parts["b"][:, :3].tolist() == [[0.25, 0.75, 61.5], [1.5, 2, 60]]
    assert parts["part"][:, :3].tolist() == [[3, 4, 127]]


@pytest.mark.parametrize("row", ["v,0,1,128", "v,-1,1,60", "v,1,1,60", "v,0,1,-1"])
def test_notes_outside_of_what_there_is(tmp_path: Path, row: str) -> None:
    with pytest.raises(ScoreError, match="line 2"):
        Score.open(table(tmp_path, f"part,onset_s,end_s,pitch\n{row}\n"))
    with pytest.raises(ScoreError, match="too long"):
        Score.open(table(tmp_path, "part,onset_s,end_s,pitch\nv,0,14401,60\n"))


def test_tones_sound_where_and_as_high_as_they_are_written() -> None:
    # A4 = 440 Hz (ISO 16:1975). Half a second of lead before the score's zero.
    score = Score((("one", np.array([[1.0, 2.0, 69.0], [3.0, 3.5, 57.0]])),))
    samples = score.tones()
    assert len(samples) == pytest.approx((3.5 + 0.5 + 1.0) * RATE_HZ, abs=1)
    assert np.abs(samples).max() == pytest.approx(0.5)
    assert not samples[: int(1.49 * RATE_HZ)].any()
    assert np.abs(samples[int(1.5 * RATE_HZ) : int(1.54 * RATE_HZ)]).max() > 0.2
    assert not samples[int(2.57 * RATE_HZ) : int(3.49 * RATE_HZ)].any()
    for start_s, frequency_hz in ((1.55, 440.0), (3.55, 220.0)):
        part = samples[int(start_s * RATE_HZ) :][: int(0.4 * RATE_HZ)]
        spectrum = np.abs(np.fft.rfft(part * np.hanning(len(part)), 1 << 18))
        peak = int(spectrum.argmax()) * RATE_HZ / (1 << 18)
        assert 1200 * abs(np.log2(peak / frequency_hz)) < 3


def test_a_transposed_and_stretched_recording(monkeypatch: pytest.MonkeyPatch) -> None:
    # The map goes from the score's tones, which begin half a second before its zero.
    monkeypatch.setattr(
        "mixcompare.knowledge.score.align",
        lambda *_: Alignment(
            SAME_PASSAGE,
            1.0,
            TimeMap.linear(2.0, 1.1, 0.4, 3.0),
            2.0,
            None,
            None,
            None,
            -5,
            0.0,
            1.1,
            10.0,
        ),
    )
    one = np.array([[0.0, 0.5, 72.0], [0.5, 1.0, 74.0], [2.0, 2.8, 76.0]])
    two = np.array([[1.0, 2.0, 48.0]])
    laid = Score((("one", one), ("two", two))).over(_line(0.9)[1])
    assert laid.transposition_semitones == -5
    first, second = laid.parts
    assert (first.name, second.name) == ("one", "two")
    # What ends behind the matched passage (2.8 s) is left out.
    known = [[2.0 + 1.1 * 0.5, 2.0 + 1.1 * 1.0, 67], [2.0 + 1.1 * 1.0, 2.0 + 1.1 * 1.5, 69]]
    np.testing.assert_allclose(first.notes, known)
    np.testing.assert_allclose(second.notes, [[2.0 + 1.1 * 1.5, 2.0 + 1.1 * 2.5, 43]])
    np.testing.assert_allclose(first.others, second.notes)
    np.testing.assert_allclose(second.others, first.notes)


@pytest.mark.parametrize("semitones", [3, -4])
def test_notes_on_the_recordings_clock_and_pitch(semitones: int) -> None:
    # Other tones than the score's own, a second and a quarter late, a tenth slower, transposed.
    rng = np.random.default_rng(6)
    onsets = np.cumsum(rng.choice([0.3, 0.45, 0.6], 30))
    upper = np.column_stack([onsets[:-1], onsets[1:], 70 + rng.integers(-5, 8, 29)])
    chords = [(at, at + 1.2, pitch) for at in onsets[:-4:4] for pitch in rng.integers(45, 60, 2)]
    score = Score((("upper", upper), ("chords", np.array(chords))))
    moved = [
        np.column_stack([1.1 * notes[:, :2] + 1.25, notes[:, 2] + semitones])
        for _, notes in score.parts
    ]
    samples = np.zeros(int((moved[0][-1, 1] + 1.5) * RATE_HZ))
    for onset_s, end_s, pitch in np.concatenate(moved):
        time = np.arange(int((end_s - onset_s) * RATE_HZ)) / RATE_HZ
        frequency_hz = 440 * 2 ** ((pitch - 69) / 12)
        wave = sum(np.sin(2 * np.pi * n * frequency_hz * time + n) / n for n in range(1, 6))
        first = int(onset_s * RATE_HZ)
        samples[first : first + len(time)] += wave * np.exp(-time) * np.minimum(time / 0.02, 1)
    heard = Recording.from_array(0.3 * samples / np.abs(samples).max(), RATE_HZ)
    laid = score.over(AlignmentFeatures.of(heard))
    assert laid.transposition_semitones == semitones
    for part, known in zip(laid.parts, moved, strict=True):
        assert len(part.notes) >= len(known) - 2
        for onset_s, _, pitch in part.notes:
            near = known[np.abs(known[:, 0] - onset_s) < 0.08]
            assert pitch in near[:, 2]
    errors = [np.abs(moved[0][:, 0] - onset_s).min() for onset_s, _, _ in laid.parts[0].notes]
    assert np.median(errors) < 0.02  # the order of two onsets is heard from some 20 ms on


METRE = {"time": 0, "numerator": 3, "denominator": 4}


def test_midi_bars_follow_the_metre_and_the_tempo(tmp_path: Path) -> None:
    path = midi(
        tmp_path,
        [
            mido.MetaMessage("time_signature", **METRE),
            mido.MetaMessage("time_signature", time=2880, numerator=6, denominator=8),
            mido.MetaMessage("set_tempo", tempo=1_000_000, time=1440),
        ],
        [on(60, 0), off(60, 480), on(62, 4320), off(62, 480)],
    )
    bars = Score.open(path).bars
    assert bars is not None
    # Two bars of three quarters, one of six quavers at the same pace, one at half of it.
    assert bars.start_s.tolist() == [0, 1.5, 3, 4.5]
    assert bars.end_s.tolist() == [1.5, 3, 4.5, 7.5]
    assert bars.number.tolist() == [1, 2, 3, 4]
    assert bars.beats.tolist() == [3, 3, 6, 6]
    assert bars.quarters is not None
    assert bars.quarters.tolist() == [3.0, 3.0, 3.0, 3.0]  # three quarters, then six eighths


def test_a_late_metre_follows_common_time_and_none_gives_no_bars(tmp_path: Path) -> None:
    late = mido.MetaMessage("time_signature", time=960, numerator=3, denominator=4)
    notes = [on(60, 0), off(60, 1000)]
    bars = Score.open(midi(tmp_path, [late], notes)).bars
    assert bars is not None
    # Standard MIDI File 1.0: 4/4 where nothing is said; half a bar of it here.
    assert bars.start_s.tolist() == [0, 1]
    assert bars.beats.tolist() == [4, 3]
    assert Score.open(midi(tmp_path, notes)).bars is None


def test_midi_with_bars_without_number_or_end_has_none(tmp_path: Path) -> None:
    tiny = mido.MetaMessage("time_signature", time=0, numerator=1, denominator=64)
    path = midi(tmp_path, [tiny], [on(60, 0), off(60, 1_500)], ticks=1)
    assert Score.open(path).bars is None


def test_of_percussion_the_strokes_are_read(tmp_path: Path) -> None:
    drum = [mido.MetaMessage("track_name", name="drum"), on(38, 480, channel=9)]
    drum += [off(38, 10, channel=9), on(38, 470, channel=9), off(38, 10, channel=9)]
    score = Score.open(midi(tmp_path, drum, [on(60, 0), off(60, 1920)]))
    assert [name for name, _ in score.parts] == ["part 1"]
    ((name, strokes),) = score.strokes
    assert name == "drum"
    # Standard MIDI File 1.0: half a second a quarter.
    assert strokes[:, 0].tolist() == [0.5, 1.0]


def test_a_row_without_a_pitch_is_a_stroke(tmp_path: Path) -> None:
    score = Score.open(table(tmp_path, TABLE + "gong,0.25,0.5,\n"))
    assert [name for name, _ in score.parts] == ["violins", "cellos"]
    ((name, strokes),) = score.strokes
    assert name == "gong"
    assert strokes.tolist() == [[0.25, 0.5, 80.0, 0.0]]
    with pytest.raises(ScoreError, match="no notes with a pitch"):
        Score.open(table(tmp_path, "part,onset_s,end_s,pitch\ngong,0.25,0.5,\n"))


def test_strokes_are_laid_over_the_recording(monkeypatch: pytest.MonkeyPatch) -> None:
    # The score begins half a second into what it is played by.
    found = fitting(TimeMap.linear(0.0, 2.0, 0.0, 9.0))
    monkeypatch.setattr("mixcompare.knowledge.score.align", lambda *_: found)
    notes = np.array([[0.0, 1.0, 60.0, 80.0]])
    strokes = np.array([[1.0, 1.5, 80.0, 0.0], [20.0, 20.5, 80.0, 0.0]])
    score = Score((("one", notes),), strokes=(("drum", strokes),), marked=frozenset({"drum"}))
    (laid,) = score.over(_line(0.9)[1]).strokes
    assert laid.name == "drum"
    assert laid.is_marked
    np.testing.assert_allclose(laid.strokes, [[3.0, 4.0, 80.0, 0.0]])
    outside = replace(score, strokes=(("drum", strokes[1:]),))
    assert outside.over(_line(0.9)[1]).strokes == ()


def bars_of(starts: list[float], numbers: list[int]) -> Bars:
    edges = np.array([*starts, starts[-1] + 2.0])
    return Bars(edges[:-1], edges[1:], np.array(numbers), np.full(len(numbers), 4))


def test_bars_of_spans() -> None:
    bars = bars_of([1.0, 3.0, 5.0, 7.0], [4, 5, 6, 7])
    assert bars.of([(3.2, 4.0)]) == ((5, 5),)
    assert bars.of([(1.5, 5.5)]) == ((4, 6),)
    assert bars.of([(0.0, 2.0), (7.5, 20.0)]) == ((4, 4), (7, 7))
    assert bars.of([(5.5, 6.0), (1.5, 2.0), (3.5, 4.0)]) == ((4, 6),)
    # A fifth of a bar of two seconds, or a quarter of a short span, is in it; less is not.
    assert bars.of([(3.0, 5.0)]) == ((5, 5),)
    assert bars.of([(2.65, 5.35)]) == ((5, 5),)
    assert bars.of([(2.55, 5.45)]) == ((4, 6),)
    assert bars.of([(2.7, 3.4)]) == ((4, 5),)
    assert bars.of([(2.9, 3.6)]) == ((5, 5),)
    assert bars.of([(1.5, 2.0), (5.5, 6.0)]) == ((4, 4), (6, 6))
    assert bars.of([(0.0, 1.0), (9.5, 12.0)]) == ()


def test_bars_of_a_repeat_count_once() -> None:
    bars = bars_of([0.0, 2.0, 4.0, 6.0], [1, 2, 1, 2])
    assert bars.of([(0.0, 8.0)]) == ((1, 2),)
    assert bars.of([(2.5, 5.0)]) == ((1, 2),)


def fitting(time_map: TimeMap, relation: str = SAME_PASSAGE) -> Alignment:
    return Alignment(relation, 1.0, time_map, 0.0, None, None, None, 0, 0.0, 1.0, 10.0)


def test_bars_that_are_left_out_of_the_recording_are_left_out(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # The recording goes on from the end of bar 1 to bar 4; half a second of lead before the score.
    inf = np.inf
    cut = TimeMap(
        np.array([0.5, 2.4, 2.5, 6.5, 6.6, 8.5]),
        np.array([1.0, 2.9, 2.95, 3.0, 3.1, 5.0]),
        np.array([9.0, 9.0, inf, inf, 9.0, 9.0]),
    )
    monkeypatch.setattr("mixcompare.knowledge.score.align", lambda *_: fitting(cut))
    bars = bars_of([0.0, 2.0, 4.0, 6.0, 8.0], [1, 2, 3, 4, 5])
    notes = np.array([[0.0, 1.5, 60.0], [2.5, 3.5, 62.0], [6.5, 7.5, 64.0], [8.2, 9.0, 65.0]])
    laid = Score((("one", notes),), bars=bars).over(_line(0.9)[1])
    assert laid.parts[0].notes[:, 2].tolist() == [60, 64]
    assert laid.bars is not None
    # The map goes on beyond its nodes: bar 5 begins where it ends.
    assert laid.bars.number.tolist() == [1, 4, 5]
    np.testing.assert_allclose(laid.bars.start_s, [1.0, 3.0, 5.0])


def test_bars_before_and_behind_the_recording_are_left_out(monkeypatch: pytest.MonkeyPatch) -> None:
    # The recording begins three seconds into the score, half a second of lead counted in.
    _, reference = _line(0.9)
    inside = fitting(TimeMap.linear(-3.0, 1.0, 3.0, 3.0 + reference.duration_s))
    monkeypatch.setattr("mixcompare.knowledge.score.align", lambda *_: inside)
    bars = bars_of([2.0 * bar for bar in range(20)], list(range(1, 21)))
    laid = Score((("one", np.array([[4.0, 5.0, 60.0]])),), bars=bars).over(reference)
    assert laid.bars is not None
    assert laid.bars.number[0] == 2
    assert laid.bars.start_s[:2].tolist() == [0.0, 1.5]
    assert laid.bars.number[-1] == int((reference.duration_s + 2.5) // 2) + 1
    assert laid.bars.end_s[-1] == reference.duration_s


def test_other_repeats_are_tried_where_music_is_left_over(monkeypatch: pytest.MonkeyPatch) -> None:
    _, reference = _line(0.9)
    long_s = reference.duration_s
    whole = TimeMap.linear(0.0, 1.0, 0.0, long_s)
    half = TimeMap.linear(0.0, 1.0, 0.0, long_s / 2)
    nothing = fitting(whole, UNRELATED)
    notes = np.array([[0.0, 1.0, 60.0]])
    last = Score((("last", notes),))
    score = Score((("first", notes),), otherwise=(Score((("second", notes),)), last))

    def heard_as(*found: Alignment) -> str:
        answers = iter(found)
        monkeypatch.setattr("mixcompare.knowledge.score.align", lambda *_: next(answers))
        name = score.over(reference).parts[0].name
        assert next(answers, None) is None
        return name

    assert heard_as(fitting(whole)) == "first"
    assert heard_as(fitting(half), fitting(whole)) == "second"
    assert heard_as(nothing, fitting(half), fitting(half), nothing) == "second"
    assert heard_as(fitting(half), nothing, fitting(half), nothing) == "first"
    with pytest.raises(ScoreError, match="of other music"):
        heard_as(nothing, nothing, nothing, nothing)


def test_a_score_without_a_tempo_may_be_played_much_faster() -> None:
    score, _ = _line(0.95)
    _, notes = score.parts[0]
    starts = np.arange(0.0, notes[-1, 1], 2.0)
    bars = Bars(starts, starts + 2.0, np.arange(1, len(starts) + 1), np.full(len(starts), 4))
    slow = tuple((name, notes * [2.6, 2.6, 1.0]) for name, notes in score.parts)
    reference = AlignmentFeatures.of(Recording.from_array(score.tones(), RATE_HZ))
    laid = Score(slow, bars=bars.on(lambda times: 2.6 * times)).over(reference)
    assert laid.bars is not None
    assert laid.bars.number.tolist() == bars.number.tolist()
    np.testing.assert_allclose(laid.bars.start_s, 0.5 + starts, atol=0.2)


def test_what_was_done_to_the_score_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    found = replace(fitting(TimeMap.linear(0.0, 1.0, 0.0, 9.0)), transposition_semitones=-2)
    monkeypatch.setattr("mixcompare.knowledge.score.align", lambda *_: found)
    notes = np.array([[0.0, 1.0, 60.0]])
    (higher,) = Score((("one", notes),)).over(_line(0.9)[1]).warnings
    assert "2 semitones lower than the score is written" in higher
    damaged = Score((("one", notes),), senseless={"time signature": 1, "key signature": 2})
    _, passed_over = damaged.over(_line(0.9)[1]).warnings
    assert passed_over == (
        "Passed over in the score, making no sense: 1 time signature, 2 key signatures."
    )


def test_tempi_of_several_tracks_count_in_their_order(tmp_path: Path) -> None:
    late = mido.MetaMessage("set_tempo", tempo=2_000_000, time=960)
    early = mido.MetaMessage("set_tempo", tempo=1_000_000, time=480)
    path = midi(tmp_path, [late], [early], [on(60, 0), off(60, 480), on(62, 0), off(62, 960)])
    # Half a second, one second and two seconds a quarter.
    assert Score.open(path).parts[0][1][:, :2].tolist() == [[0, 0.5], [0.5, 3.5]]


def test_scores_too_large_or_in_other_units_are_refused_while_they_are_read(
    tmp_path: Path,
) -> None:
    head = "part,onset_s,end_s,pitch\n"
    with pytest.raises(ScoreError, match="more than 200000 notes"):
        Score.open(table(tmp_path, head + 200_001 * "v,0,1,60\n"))
    with pytest.raises(ScoreError, match="a note of 3600 s; times are in seconds"):
        Score.open(table(tmp_path, f"{head}v,0,3600,60\n"))
    path = tmp_path / "large.mid"
    path.write_bytes(b"MThd" + bytes(6_000_000))
    with pytest.raises(ScoreError, match="larger than 5 MB"):
        Score.open(path)
    with pytest.raises(ScoreError, match="larger than 50 MB"):
        Score.open(table(tmp_path, 51_000_000 * "x"))


def test_a_score_far_longer_than_the_recording_is_refused_at_once(tmp_path: Path) -> None:
    rows = "".join(f"v,{at},{at + 1},60\n" for at in range(0, 4000, 2))
    score = Score.open(table(tmp_path, f"part,onset_s,end_s,pitch\n{rows}"))
    score.check_length(1000.0)
    with pytest.raises(ScoreError, match="lasts 67 minutes by its own tempo, the recording 22 s"):
        score.check_length(22.0)
    reference = str(SAMPLES / "reference.flac")
    with pytest.raises(ScoreError, match="lasts 67 minutes"):
        mixcompare.compare(reference, reference, score=tmp_path / "notes.csv")
