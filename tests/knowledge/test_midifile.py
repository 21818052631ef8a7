"""MIDI files: held against another library's reading, and what a damaged one costs.

The standard is the Standard MIDI File 1.0 (from memory), the other library mido.
"""

from __future__ import annotations

import io
import time
from pathlib import Path

import mido
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mixcompare.errors import ScoreError
from mixcompare.knowledge.midifile import Stroke, parsed
from mixcompare.knowledge.score import Score

NOTE = b"\0\x90\x3c\x40\x60\x80\x3c\0"
"""Middle C, a fifth of a quarter long."""
END = b"\0\xff\x2f\0"


def a_file(track: bytes, division: bytes = b"\1\xe0", before: bytes = b"") -> bytes:
    """One track; a quarter has 480 ticks."""
    chunk = b"MTrk" + len(track).to_bytes(4, "big") + track
    return b"MThd\0\0\0\6\0\0\0\1" + division + before + chunk


TIME = st.sampled_from([0, 1, 127, 128, 480, 20_000, 2_097_152])
NUMBER = st.integers(0, 127)
VOICE = st.one_of(
    st.builds(
        mido.Message, st.sampled_from(["note_on", "note_off"]), channel=st.integers(0, 15),
        note=NUMBER, velocity=NUMBER, time=TIME,
    ),
    st.builds(mido.Message, st.just("program_change"), program=NUMBER, time=TIME),
    st.builds(mido.Message, st.just("pitchwheel"), pitch=st.integers(-8192, 8191), time=TIME),
    st.builds(mido.Message, st.just("control_change"), control=NUMBER, value=NUMBER, time=TIME),
    st.builds(mido.Message, st.just("sysex"), data=st.lists(NUMBER, max_size=200), time=TIME),
)  # fmt: skip
META = st.one_of(
    st.builds(mido.MetaMessage, st.just("track_name"), name=st.text("abc é", max_size=9)),
    st.builds(mido.MetaMessage, st.just("text"), text=st.text("abc", max_size=300), time=TIME),
    st.builds(
        mido.MetaMessage, st.just("set_tempo"), tempo=st.integers(1, 0xFFFFFF), time=TIME
    ),
    st.builds(
        mido.MetaMessage, st.just("time_signature"), numerator=st.integers(1, 255),
        denominator=st.sampled_from([1, 2, 4, 128]), time=TIME,
    ),
    st.builds(mido.MetaMessage, st.just("key_signature"), key=st.sampled_from(["Cb", "A#m"])),
)  # fmt: skip


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    tracks=st.lists(st.lists(st.one_of(VOICE, VOICE, META), max_size=20), max_size=4),
    ticks=st.sampled_from([1, 96, 480, 32_767]),
)
def test_the_same_as_another_library(tracks: list[list[mido.Message]], ticks: int) -> None:
    written = mido.MidiFile(type=1, ticks_per_beat=ticks)
    written.tracks += [mido.MidiTrack(track) for track in tracks]
    data = io.BytesIO()
    written.save(file=data)
    ours = parsed(data.getvalue())
    theirs = mido.MidiFile(file=io.BytesIO(data.getvalue()))
    assert ours.ticks == theirs.ticks_per_beat
    assert not ours.senseless
    tempi, metres = [], []
    for number, (track, strokes) in enumerate(zip(theirs.tracks, ours.tracks, strict=True)):
        part, tick, expected = f"part {number}", 0, []
        for message in track:
            tick += message.time
            if message.type == "track_name":
                part = message.name.strip() or part
            elif message.type == "set_tempo":
                tempi.append((tick, message.tempo))
            elif message.type == "time_signature":
                metres.append((tick, message.numerator, message.denominator))
            elif message.type in ("note_on", "note_off"):
                velocity = message.velocity if message.type == "note_on" else 0
                expected.append(Stroke(part, tick, message.channel, message.note, velocity))
        assert strokes == expected
    assert ours.tempi == sorted(tempi, key=lambda each: each[0])
    assert ours.metres == sorted(metres, key=lambda each: each[0])


@pytest.mark.parametrize(
    ("event", "told"),
    [
        (b"\0\xff\x59\2\x40\0", {"key signature": 1}),  # 64 sharps
        (b"\0\xff\x59\2\xf8\0", {"key signature": 1}),  # 8 flats
        (b"\0\xff\x59\2\0\2", {"key signature": 1}),  # neither major nor minor
        (b"\0\xff\x59\0", {"key signature": 1}),
        (b"\0\xff\x51\1\0", {"tempo mark": 1}),
        (b"\0\xff\x51\3\0\0\0", {"tempo mark": 1}),  # no time to a quarter
        (b"\0\xff\x58\4\0\2\x18\x08", {"time signature": 1}),  # no beats to a bar
        (b"\0\xff\x58\4\4\xff\x18\x08" * 2, {"time signature": 2}),
        (b"\0\xff\x58\1\4", {"time signature": 1}),
        # What nobody asks for is no concern: odd text, a port, frames of a film, kinds unknown.
        (b"\0\xff\1\2\xff\xfe\0\xff\x21\0\0\xff\x54\1\xe0\0\xff\x20\0\0\xff\x7e\2xy", {}),
        (b"\0\xf8\0\xf1\0", {}),  # of the system, in no file (a status between others)
    ],
)
def test_a_mark_that_makes_no_sense_is_passed_over(
    event: bytes, told: dict[str, int], tmp_path: Path
) -> None:
    path = tmp_path / "score.mid"
    path.write_bytes(a_file(event + NOTE + END))
    score = Score.open(path)
    # 120 quarters a minute, where nothing is said: 96 of 480 ticks are a tenth of a second.
    assert [notes.tolist() for _, notes in score.parts] == [[[0.0, 0.1, 60, 64]]]
    assert score.bars is None
    assert score.senseless == told


def test_time_before_what_is_passed_over_counts() -> None:
    for event in (b"\xff\x59\2\x40\0", b"\xff\x7e\2xy", b"\xf0\1\xf7", b"\xf7\1\x90"):
        (strokes,) = parsed(a_file(b"\x81\0" + event + NOTE + END)).tracks
        assert [stroke.tick for stroke in strokes] == [128, 224]


def test_names_as_files_hold_them() -> None:
    for said in ("Flöte".encode(), "Flöte".encode("latin-1")):
        name = b"\0\xff\3" + bytes([len(said)]) + said
        (strokes,) = parsed(a_file(name + NOTE + END)).tracks
        assert {stroke.part for stroke in strokes} == {"Flöte"}


def test_what_the_standard_lets_a_reader_meet() -> None:
    # Chunks of other kinds are skipped; nothing follows the end of a track; no end is no harm.
    for data in (
        a_file(NOTE + END, before=b"XFIH\0\0\0\2ab"),
        a_file(NOTE + END + b"\xff\xff"),
        a_file(NOTE),
    ):
        (strokes,) = parsed(data).tracks
        assert strokes == [Stroke("part 0", 0, 0, 60, 64), Stroke("part 0", 96, 0, 60, 0)]


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"RIFF", "does not begin as one does"),
        (a_file(NOTE, division=b"\0\0"), "counts no ticks to the beat"),
        (a_file(NOTE, division=b"\xe7\x28"), "counts no ticks to the beat"),  # 25 frames a second
        (a_file(NOTE)[:-1], "it breaks off"),
        (b"MThd\0\0\0\6\0\1\0\2\1\xe0", "it breaks off"),
        (b"MThd\xff\xff\xff\xff", "it breaks off"),  # makes no room for what it claims
        (a_file(b"\0\x90\x3c"), "it breaks off"),
        (a_file(b"\0\xff\1\xff\xff\xff\x7f"), "it breaks off"),
        (a_file(b"\0\x3c\x40"), "an event in it is of no kind"),
        (a_file(b"\0\x90\x3c\x90"), "an event in it breaks off"),
        (a_file(b"\x80" * 9), "has no end"),
        (a_file(NOTE * 200_001), "more than 200000 notes"),
        (a_file(b"\0\xff\x51\3\7\xa1\x20" * 100_002), "more than 100000 changes of tempo"),
    ],
)
def test_what_can_no_longer_be_told_apart_or_is_no_passage_is_refused(
    data: bytes, words: str, tmp_path: Path
) -> None:
    path = tmp_path / "score.mid"
    path.write_bytes(data)
    begin = time.process_time()
    with pytest.raises(ScoreError, match=f"score.mid: is no readable MIDI file .*{words}"):
        Score.open(path)
    assert time.process_time() - begin < 10  # seconds; 2 are promised, on a machine at rest
