"""Notation: what is written, when it sounds, and what no score may do to the reader.

Small scores by hand; where a value is expected, it follows from MusicXML 4.0 and the notes' own
lengths at the tempo that is given (100 quarters a minute where none is: 0.6 s each).
"""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

import numpy as np
import pytest

from mixcompare.cli.main import main
from mixcompare.errors import ScoreError
from mixcompare.knowledge import xmlfile
from mixcompare.knowledge.score import Score
from mixcompare.knowledge.written import dynamics_named

SAMPLES = Path(__file__).parents[2] / "sample_audio"
START = "<attributes><divisions>4</divisions><time><beats>4</beats><beat-type>4</beat-type></time>"
FOUR = f"{START}</attributes>"


def note(pitch: str, quarters: float, inside: str = "", before: str = "") -> str:
    """One note of four divisions a quarter; ``F#4`` and ``B-3`` are what they look like."""
    alter = {"#": 1, "-": -1}.get(pitch[1:-1], 0)
    return (
        f"<note>{before}<pitch><step>{pitch[0]}</step><alter>{alter}</alter>"
        f"<octave>{pitch[-1]}</octave></pitch><duration>{round(4 * quarters)}</duration>"
        f"{inside}</note>"
    )


def rest(quarters: float) -> str:
    return f"<note><rest/><duration>{round(4 * quarters)}</duration></note>"


def written(
    *parts: list[str], names: tuple[str, ...] = ("Oboe",), numbers: list[str] | None = None
) -> str:
    """A score of parts, each a list of measures."""
    listed = "".join(
        f'<score-part id="P{at}"><part-name>{name}</part-name></score-part>'
        for at, name in enumerate(names)
    )
    music = ""
    for at, measures in enumerate(parts):
        told = numbers or [str(bar + 1) for bar in range(len(measures))]
        bars = "".join(
            f'<measure number="{number}">{inside}</measure>'
            for number, inside in zip(told, measures, strict=True)
        )
        music += f'<part id="P{at}">{bars}</part>'
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<!DOCTYPE score-partwise PUBLIC'
        ' "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "partwise.dtd">\n'
        f"<score-partwise><part-list>{listed}</part-list>{music}</score-partwise>"
    )


def opened(folder: Path, *parts: list[str], **more: object) -> Score:
    path = folder / "score.musicxml"
    path.write_text(written(*parts, **more), encoding="utf-8")  # type: ignore[arg-type]
    return Score.open(path)


def heads(score: Score, part: int = 0) -> list[list[float]]:
    """Onset and end in quarters of 0.6 s, pitch."""
    notes = score.parts[part][1][:, :3] / [0.6, 0.6, 1]
    return [[round(float(value), 3) for value in row] for row in notes]


def test_a_score_bar_by_bar_reads_like_one_part_by_part(tmp_path: Path) -> None:
    """MusicXML 4.0 has both orders of the same content: score-partwise and score-timewise."""
    first = [FOUR + note("C4", 4), note("D4", 2) + note("E4", 2)]
    second = [FOUR + note("G3", 2) + note("A3", 2), note("B3", 4)]
    names = ("Oboe", "Viola")
    by_part = opened(tmp_path, first, second, names=names)
    listed = "".join(
        f'<score-part id="P{at}"><part-name>{name}</part-name></score-part>'
        for at, name in enumerate(names)
    )
    bars = "".join(
        f'<measure number="{bar}"><part id="P0">{one}</part><part id="P1">{other}</part></measure>'
        for bar, (one, other) in enumerate(zip(first, second, strict=True), 1)
    )
    path = tmp_path / "timewise.xml"
    path.write_text(
        f"<score-timewise><part-list>{listed}</part-list>{bars}</score-timewise>", encoding="utf-8"
    )
    by_bar = Score.open(path)
    assert [name for name, _ in by_bar.parts] == list(names)
    assert heads(by_bar, 0) == heads(by_part, 0) == [[0, 4, 60], [4, 6, 62], [6, 8, 64]]
    assert heads(by_bar, 1) == heads(by_part, 1)
    assert by_bar.bars is not None
    assert by_bar.bars.number.tolist() == [1, 2]


def test_notes_rests_chords_and_pitches(tmp_path: Path) -> None:
    bar = FOUR + note("C4", 1) + rest(1) + note("F#4", 2) + note("B-5", 2, before="<chord/>")
    score = opened(tmp_path, [bar])
    assert score.parts[0][0] == "Oboe"
    assert heads(score) == [[0, 1, 60], [2, 4, 66], [2, 4, 82]]
    assert score.parts[0][1][:, 3].tolist() == [80, 80, 80]


def test_two_voices_and_two_staves(tmp_path: Path) -> None:
    upper = note("E5", 2) + note("F5", 2)
    lower = "<backup><duration>16</duration></backup><forward><duration>4</duration></forward>"
    score = opened(tmp_path, [FOUR + upper + lower + note("C3", 3)])
    assert heads(score) == [[0, 2, 76], [1, 4, 48], [2, 4, 77]]
    half = "<backup><duration>8</duration></backup>"
    assert heads(opened(tmp_path, [FOUR + upper + half + note("C3", 2)]))[1] == [2, 4, 48]


def test_ties_make_one_note_and_join_nothing_else(tmp_path: Path) -> None:
    start, stop = '<tie type="start"/>', '<tie type="stop"/>'
    first = FOUR + note("C4", 3) + note("G4", 1, start) + note("E4", 1, start, "<chord/>")
    second = note("G4", 4, stop + start) + note("E4", 4, stop, "<chord/>")
    third = note("G4", 1, stop) + note("G4", 1) + note("C4", 1, stop) + rest(1)
    score = opened(tmp_path, [first, second, third])
    # The last C has nothing before it to join.
    assert heads(score) == [[0, 3, 60], [3, 8, 64], [3, 9, 67], [9, 10, 67], [10, 11, 60]]


def test_ties_that_lead_nowhere_join_nothing(tmp_path: Path) -> None:
    start, stop = '<tie type="start"/>', '<tie type="stop"/>'
    struck = note("C4", 1, start) + note("C4", 1)  # struck again
    late = note("D4", 1, start) + rest(1) + note("D4", 1, stop)
    twice = note("E4", 1, start) + note("E4", 1, stop) + note("E4", 1, stop)
    score = opened(tmp_path, [FOUR + struck + rest(2), late + rest(1), twice + rest(1)])
    known = [[0, 1, 60], [1, 2, 60], [4, 5, 62], [6, 7, 62], [8, 10, 64], [10, 11, 64]]
    assert heads(score) == known


def test_a_tie_may_be_printed_only(tmp_path: Path) -> None:
    start, stop = (f'<notations><tied type="{kind}"/></notations>' for kind in ("start", "stop"))
    score = opened(tmp_path, [FOUR + note("C4", 4, start), note("C4", 4, stop)])
    assert heads(score) == [[0, 8, 60]]


def test_unisons_of_two_voices_are_tied_each(tmp_path: Path) -> None:
    both = "<backup><duration>16</duration></backup>"
    start, stop = '<tie type="start"/>', '<tie type="stop"/>'
    first = FOUR + note("C4", 4, start) + both + note("C4", 4, start)
    second = note("C4", 4, stop) + both + note("C4", 2, stop) + rest(2)
    assert heads(opened(tmp_path, [first, second])) == [[0, 6, 60], [0, 8, 60]]


def test_transposing_instruments_sound(tmp_path: Path) -> None:
    down = "<transpose><diatonic>-1</diatonic><chromatic>-2</chromatic>{}</transpose></attributes>"
    octave = "<octave-change>-1</octave-change>"
    changed = f"<attributes>{down.format(octave)}"
    score = opened(tmp_path, [START + down.format("") + note("C4", 4), changed + note("C4", 4)])
    assert [row[2] for row in heads(score)] == [58, 46]


def test_grace_notes_come_before_the_beat(tmp_path: Path) -> None:
    grace = "<note><grace/><pitch><step>{}</step><octave>5</octave></pitch></note>"
    bar = FOUR + note("C4", 2) + grace.format("D") + grace.format("E") + note("F5", 1)
    score = opened(tmp_path, [bar + rest(1) + grace.format("G")])
    known = [[0, 2, 60], [1.75, 1.875, 74], [1.875, 2, 76], [2, 3, 77], [3.875, 4, 79]]
    assert heads(score) == known


def test_grace_notes_to_the_first_note_come_before_the_first_bar(tmp_path: Path) -> None:
    grace = "<note><grace/><pitch><step>D</step><octave>5</octave></pitch></note>"
    score = opened(tmp_path, [FOUR + grace + note("C5", 4)])
    assert heads(score) == [[0, 0.125, 74], [0.125, 4.125, 72]]
    assert score.bars is not None
    assert score.bars.start_s[0] == pytest.approx(0.075)
    slow = opened(tmp_path, [FOUR + '<sound tempo="60"/>' + grace + note("C5", 4)])
    assert slow.parts[0][1][:, :2].tolist() == [[0, 0.125], [0.125, 4.125]]


def test_tremolo_and_trill_are_one_note_and_cues_none(tmp_path: Path) -> None:
    tremolo = '<notations><ornaments><tremolo type="single">3</tremolo></ornaments></notations>'
    trill = "<notations><ornaments><trill-mark/></ornaments></notations>"
    bar = FOUR + note("C4", 1, tremolo) + note("D4", 1, trill) + note("E4", 2, before="<cue/>")
    assert heads(opened(tmp_path, [bar])) == [[0, 1, 60], [1, 2, 62]]


def test_a_pick_up_bar_is_short_and_an_empty_one_whole(tmp_path: Path) -> None:
    three = FOUR.replace("<beats>4", "<beats>3")
    score = opened(tmp_path, [three + note("G4", 1), note("C5", 3), "", note("E5", 3)],
                   numbers=["0", "1", "2", "3"])  # fmt: skip
    assert heads(score) == [[0, 1, 67], [1, 4, 72], [7, 10, 76]]
    assert score.bars is not None
    np.testing.assert_allclose(score.bars.start_s, np.array([0, 1, 4, 7]) * 0.6)
    assert score.bars.number.tolist() == [0, 1, 2, 3]
    assert score.bars.beats.tolist() == [3, 3, 3, 3]
    assert score.bars.quarters is not None
    assert score.bars.quarters.tolist() == [1.0, 3.0, 3.0, 3.0]


def test_bars_count_as_they_are_printed(tmp_path: Path) -> None:
    whole = FOUR + note("C4", 4)
    score = opened(tmp_path, [whole] * 4, numbers=["7", "8", "X1", "12a"])
    assert score.bars is not None
    assert score.bars.number.tolist() == [7, 8, 8, 12]


def test_the_metre_changes(tmp_path: Path) -> None:
    seven = FOUR.replace("<beats>4</beats><beat-type>4", "<beats>3+4</beats><beat-type>8")
    score = opened(tmp_path, [FOUR + rest(4), seven, note("C4", 3.5)])
    assert score.bars is not None
    assert score.bars.beats.tolist() == [4, 7, 7]
    assert score.bars.quarters is not None
    assert score.bars.quarters.tolist() == [4.0, 3.5, 3.5]  # seven eighths
    np.testing.assert_allclose(score.bars.start_s, [0, 2.4, 4.5])
    assert heads(score) == [[7.5, 11, 60]]


def test_tempo_marks_hold_for_all_parts(tmp_path: Path) -> None:
    beat = "<direction><direction-type><metronome><beat-unit>{}</beat-unit>{}"
    beat += "<per-minute>{}</per-minute></metronome></direction-type></direction>"
    first = FOUR + beat.format("half", "<beat-unit-dot/>", "c. 40") + note("C4", 2)
    first += '<direction><direction-type/><sound tempo="60"/></direction>' + note("D4", 2)
    score = opened(tmp_path, [first, beat.format("eighth", "", 60) + note("E4", 4)],
                   [FOUR + note("C3", 4), note("C3", 4)], names=("Flute", "Cello"))  # fmt: skip
    # 120 quarters a minute, 60, 30: 0.5, 1 and 2 s each.
    assert score.parts[0][1][:, :2].tolist() == [[0, 1], [1, 3], [3, 11]]
    assert score.parts[1][1][:, :2].tolist() == [[0, 3], [3, 11]]


def bar_with(pitch: str, left: str = "", right: str = "", start: str = "") -> str:
    barlines = [
        f'<barline location="{side}">{inside}</barline>' if inside else ""
        for side, inside in (("left", left), ("right", right))
    ]
    return barlines[0] + start + note(pitch, 4) + barlines[1]


FORWARD, BACK = '<repeat direction="forward"/>', '<repeat direction="backward"/>'


def ending(number: str, kind: str = "start") -> str:
    return f'<ending number="{number}" type="{kind}"/>'


def letters(score: Score) -> str:
    return "".join("C-D-EF-G-A-B"[int(pitch) % 12] for pitch in score.parts[0][1][:, 2])


def test_repeats_with_endings_are_played_and_left_out(tmp_path: Path) -> None:
    bars = [
        bar_with("C4", start=FOUR), bar_with("D4", FORWARD),
        bar_with("E4", ending("1"), ending("1", "stop") + BACK),
        bar_with("F4", ending("2"), ending("2", "stop")), bar_with("G4"),
    ]  # fmt: skip
    score = opened(tmp_path, bars)
    assert letters(score) == "CDEDFG"
    assert score.bars is not None
    assert score.bars.number.tolist() == [1, 2, 3, 2, 4, 5]
    np.testing.assert_allclose(score.bars.start_s, 2.4 * np.arange(6))
    assert [letters(other) for other in score.otherwise] == ["CDFG", "CDEFG"]


def test_repeats_without_a_beginning_and_one_after_the_other(tmp_path: Path) -> None:
    bars = [
        bar_with("C4", start=FOUR), bar_with("D4", right=BACK), bar_with("E4"),
        bar_with("F4", right=BACK.replace("/>", ' times="3"/>')), bar_with("G4"),
    ]  # fmt: skip
    score = opened(tmp_path, bars)
    assert letters(score) == "CDCDEFEFEFG"
    assert [letters(other) for other in score.otherwise] == ["CDEFG"]


def test_endings_for_several_turns_and_of_several_bars(tmp_path: Path) -> None:
    bars = [
        bar_with("C4", start=FOUR), bar_with("D4", ending("1, 2")),
        bar_with("E4", right=ending("1,2", "stop") + BACK),
        bar_with("F4", ending("3"), ending("3", "discontinue")),
        bar_with("G4", FORWARD), bar_with("A4", right=BACK),
    ]  # fmt: skip
    score = opened(tmp_path, bars)
    assert letters(score) == "CDECDECFGAGA"
    assert letters(score.otherwise[0]) == "CFGA"


def test_a_repeat_right_behind_a_last_ending(tmp_path: Path) -> None:
    bars = [
        bar_with("C4", start=FOUR), bar_with("D4", ending("1"), ending("1", "stop") + BACK),
        bar_with("E4", ending("2"), ending("2", "stop")), bar_with("F4"), bar_with("G4", "", BACK),
    ]  # fmt: skip
    assert letters(opened(tmp_path, bars)) == "CDCEFGFG"


def test_endings_without_a_repeat_are_bars_like_others(tmp_path: Path) -> None:
    bars = [
        bar_with("C4", ending("1"), ending("1", "stop"), FOUR),
        bar_with("D4", ending("2"), ending("2", "stop")),
    ]
    score = opened(tmp_path, bars)
    assert letters(score) == "CD"
    assert score.otherwise == ()


def test_da_capo_al_fine_leaves_out_repeats(tmp_path: Path) -> None:
    bars = [
        bar_with("C4", right=BACK, start=FOUR),
        bar_with("D4") + '<sound fine="yes"/>',
        bar_with("E4") + '<direction><sound dacapo="yes"/></direction>', bar_with("F4"),
    ]  # fmt: skip
    score = opened(tmp_path, bars)
    assert letters(score) == "CCDECD"
    assert letters(score.otherwise[0]) == "CDECD"


def test_dal_segno_al_coda(tmp_path: Path) -> None:
    sign = "<direction><direction-type><{}/></direction-type>{}</direction>"
    bars = [
        bar_with("C4", start=FOUR), sign.format("segno", "") + bar_with("D4"),
        bar_with("E4") + sign.format("coda", '<sound tocoda="coda"/>'),
        bar_with("F4") + '<sound dalsegno="segno"/>', sign.format("coda", "") + bar_with("G4"),
    ]  # fmt: skip
    assert letters(opened(tmp_path, bars)) == "CDEFDEG"


def test_dynamics_hold_until_the_next_and_hairpins_lead_there(tmp_path: Path) -> None:
    def says(kind: str) -> str:
        return f"<direction><direction-type>{kind}</direction-type></direction>"

    def mark(name: str) -> str:
        return says(f"<dynamics><{name}/></dynamics>")

    first = FOUR + note("C4", 1) + mark("p") + note("D4", 1)
    first += says('<wedge type="crescendo"/>') + note("E4", 1) + note("F4", 1)
    second = says('<wedge type="stop"/>') + mark("ff") + note("G4", 1) + mark("sf") + note("A4", 1)
    second += note("B4", 1) + says('<wedge type="diminuendo"/>') + note("C5", 1)
    third = (
        says('<wedge type="stop"/>') + note("D5", 2) + mark("fp") + note("E5", 1) + note("F5", 1)
    )
    score = opened(tmp_path, [first, second, third])
    # Sixteen a dynamic: p 48, ff 112; halfway up 80; a sforzando louder for its own note.
    known = [80, 48, 48, 80, 112, 127, 112, 112, 96, 80, 48]
    assert score.parts[0][1][:, 3].tolist() == known
    assert score.marked == {name for name, _ in score.parts} == {"Oboe"}
    assert opened(tmp_path, [FOUR + note("C4", 4)]).marked == frozenset()


def test_dynamics_have_the_name_of_the_nearest_mark() -> None:
    assert dynamics_named(48.0, 48.0) == "p"
    assert dynamics_named(50.0, 98.0) == "p to f"
    assert dynamics_named(1.0, 127.0) == "pppp to ffff"


def test_parts_have_names_of_their_own(tmp_path: Path) -> None:
    bar = [FOUR + note("C4", 4)]
    score = opened(tmp_path, bar, bar, bar, bar, names=("Viola", "Viola", "Horn\n in F", ""))
    assert [name for name, _ in score.parts] == ["Viola", "Viola (2)", "Horn in F", "part"]


def test_a_part_that_is_not_listed_is_a_part_as_well(tmp_path: Path) -> None:
    bar = [FOUR + note("C4", 4)]
    score = opened(tmp_path, bar, bar, bar, names=("Viola",))
    assert [name for name, _ in score.parts] == ["Viola", "part", "part (2)"]


def struck(quarters: float, inside: str = "", on: str = "") -> str:
    """A note without a pitch."""
    instrument = f'<instrument id="{on}"/>' if on else ""
    return (
        f"<note><unpitched/><duration>{round(4 * quarters)}</duration>{instrument}{inside}</note>"
    )


def test_of_drums_without_a_pitch_the_strokes_are_read(tmp_path: Path) -> None:
    tremolo = '<notations><ornaments><tremolo type="single">3</tremolo></ornaments></notations>'
    tied = '<tie type="start"/>', '<tie type="stop"/>'
    grace = "<note><grace/><unpitched/></note>"
    loud = "<direction><direction-type><dynamics><f/></dynamics></direction-type></direction>"
    cymbals = [
        FOUR + loud + struck(1) + rest(1) + grace + struck(2, tied[0]),
        struck(1, tied[1]) + struck(1, tremolo) + struck(2),
    ]
    oboe = [FOUR + note("C4", 4), note("D4", 4)]
    score = opened(tmp_path, oboe, cymbals, names=("Oboe", "Cymbals"))
    assert [name for name, _ in score.parts] == ["Oboe"]
    ((name, strokes),) = score.strokes
    assert name == "Cymbals"
    # What is tied sounds on, a flam is part of its stroke; forte is 96, as for notes.
    np.testing.assert_allclose(strokes[:, :2] / 0.6, [[0, 1], [2, 5], [5, 6], [6, 8]])
    assert strokes[:, 2].tolist() == [96.0] * 4
    assert strokes[:, 3].tolist() == [0, 0, 1, 0]
    assert "Cymbals" in score.marked


def test_a_part_for_several_instruments_is_read_by_each(tmp_path: Path) -> None:
    """MusicXML 4.0: ``midi-unpitched`` counts keys from 1 to 128."""
    listed = "".join(
        f'<midi-instrument id="{name}"><midi-unpitched>{key + 1}</midi-unpitched></midi-instrument>'
        for name, key in (("B", 36), ("S", 38))
    )
    text = written([FOUR + note("C4", 4)], [FOUR + struck(1, on="B") + struck(1, on="S")],
                   names=("Oboe", "Percussion"))  # fmt: skip
    text = text.replace(
        "<part-name>Percussion</part-name>", "<part-name>Percussion</part-name>" + listed
    )
    path = tmp_path / "score.musicxml"
    path.write_text(text, encoding="utf-8")
    strokes = dict(Score.open(path).strokes)
    assert list(strokes) == ["Percussion: bass drum", "Percussion: snare drum"]
    # A key that is none says nothing.
    path.write_text(text.replace(">39<", ">5000<"), encoding="utf-8")
    odd = Score.open(path)
    assert [name for name, _ in odd.parts] == ["Oboe"]
    assert [name for name, _ in odd.strokes] == ["Percussion: bass drum", "Percussion: unpitched"]
    assert strokes["Percussion: snare drum"][:, 0].tolist() == [pytest.approx(0.6)]


def test_a_part_with_and_without_pitches_is_read_as_both(tmp_path: Path) -> None:
    score = opened(tmp_path, [FOUR + note("C4", 2) + struck(2)], names=("Timpani",))
    assert [name for name, _ in score.parts] == ["Timpani"]
    assert heads(score) == [[0, 2, 60]]
    ((name, strokes),) = score.strokes
    assert name == "Timpani: unpitched"
    np.testing.assert_allclose(strokes[:, 0], [1.2])


def test_the_sample_in_both_formats_holds_the_same_notes() -> None:
    # The harp's last chord is spread in the MIDI file alone.
    played, printed = (Score.open(SAMPLES / f"score.{kind}") for kind in ("mid", "musicxml"))
    assert [name for name, _ in played.parts] == [name.lower() for name, _ in printed.parts]
    for (name, one), (_, other) in zip(played.parts, printed.parts, strict=True):
        np.testing.assert_allclose(one[:, 1:3], other[:, 1:3], atol=2e-3, err_msg=name)
        late = 0.23 if name == "harp" else 2e-3
        np.testing.assert_allclose(one[:, 0], other[:, 0], atol=late, err_msg=name)
    assert played.bars is not None
    assert printed.bars is not None
    np.testing.assert_allclose(printed.bars.start_s, 3.0 * np.arange(9))  # nine bars of 4/4 at 80
    for field in ("start_s", "end_s", "number", "beats", "quarters"):
        one, other = (getattr(bars, field) for bars in (played.bars, printed.bars))
        np.testing.assert_allclose(one, other, err_msg=field)


GOOD = written([FOUR + note("C4", 4)])
CONTAINER = '<container><rootfiles><rootfile full-path="{}"/></rootfiles></container>'


def packed(root: str = "score.xml", **files: bytes) -> bytes:
    """A compressed score; the names of further files come with a dot for ``_``."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("META-INF/container.xml", CONTAINER.format(root))
        for name, data in files.items():
            archive.writestr(name.replace("_", "."), data)
    return out.getvalue()


def test_a_compressed_score_is_read_whatever_it_is_called(tmp_path: Path) -> None:
    data = packed(score_xml=GOOD.replace("UTF-8", "UTF-16").encode("utf-16"))
    for name in ("score.mxl", "score.xml"):
        path = tmp_path / name
        path.write_bytes(data)
        assert heads(Score.open(path)) == [[0, 4, 60]]


BILLION = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b "ha"><!ENTITY c "&b;&b;">]><a>&c;</a>'
STRANGER = '<?xml version="1.0"?><!DOCTYPE a [<!ENTITY b SYSTEM "file:///etc/hostname">]><a>&b;</a>'


@pytest.mark.parametrize(
    ("name", "data", "words"),
    [
        ("a.musicxml", b"once upon a time", "is no MusicXML, or breaks off"),
        ("a.musicxml", GOOD[: len(GOOD) // 2].encode(), "is no MusicXML, or breaks off"),
        ("a.musicxml", b"", "is no MusicXML"),
        ("a.musicxml", GOOD.replace("UTF-8", "KLINGON").encode(), "is no MusicXML"),
        ("a.xml", BILLION.encode(), "declares entities"),
        ("a.xml", STRANGER.encode(), "declares entities"),
        ("a.xml", b"<html><body/></html>", "holds no score part by part (but <html>)"),
        ("a.xml", b"<opus/>", "holds no score part by part"),
        ("a.xml", b"<score-timewise/>", "holds no notes with a pitch"),
        ("a.xml", b"<score-partwise/>", "holds no notes with a pitch"),
        ("a.xml", GOOD.replace(">16<", ">soon<").encode(), "is no such thing"),
        ("a.xml", GOOD.replace("divisions>4", "divisions>0").encode(), "is no such thing"),
        ("a.xml", GOOD.replace("<step>C", "<step>H").encode(), "is no such thing"),
        ("a.xml", GOOD.replace(">16<", ">nan<").encode(), "is no such thing"),
        ("a.xml", GOOD.replace("<octave>4", "<octave>40").encode(), "is no such thing"),
        ("a.xml", GOOD.replace(">16<", ">1e308<").encode(), "too long for one passage"),
        ("a.xml", GOOD.replace("<beats>4", "<beats>" + "9" * 40).encode(), "is no such thing"),
        ("a.xml", GOOD.replace(">16<", ">9000000<").encode(), "too long for one passage"),
        ("a.mxl", packed(other_txt=b""), "the archive holds no score"),
        ("a.mxl", packed("../score.xml", score_xml=GOOD.encode()), "outside of its own archive"),
        ("a.mxl", packed("/etc/score.xml"), "outside of its own archive"),
        ("a.mxl", packed(score_xml=GOOD.encode())[:200], "the archive is broken or locked"),
        ("a.mxl", packed(score_xml=b"nothing"), "is no MusicXML"),
        ("a.pdf", b"%PDF", "is no kind of score that is read"),
        ("a", GOOD.encode(), "is no kind of score that is read"),
    ],
)
def test_bad_notation_gets_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], name: str, data: bytes, words: str
) -> None:
    path = tmp_path / name
    path.write_bytes(data)
    reference = str(SAMPLES / "reference.flac")
    assert main(["compare", reference, reference, "--score", str(path)]) == 2
    told = capsys.readouterr().err
    assert words in told
    assert path.name in told
    assert len(told.strip().splitlines()) == 1


def test_archives_are_unpacked_no_further_than_the_bound(tmp_path: Path) -> None:
    path = tmp_path / "bomb.mxl"
    path.write_bytes(packed(score_xml=bytes(xmlfile.MOST_BYTES + 1000)))
    assert path.stat().st_size < 200_000
    with pytest.raises(ScoreError, match="more than 100 MB"):
        Score.open(path)


def test_files_beyond_the_bound_are_not_even_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "large.musicxml"
    with path.open("wb") as file:
        file.truncate(xmlfile.MOST_BYTES + 1)
    monkeypatch.setattr(Path, "read_bytes", lambda _: pytest.fail("it was read"))
    with pytest.raises(ScoreError, match="more than 100 MB"):
        Score.open(path)


def test_more_tags_than_music_has_are_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(xmlfile, "_MOST_TAGS", 20)
    with pytest.raises(ScoreError, match="cut it to the movement"):
        opened(tmp_path, [FOUR + note("C4", 4)] * 5)


def test_repeats_without_end_are_refused(tmp_path: Path) -> None:
    bar = bar_with("C4", right=BACK.replace("/>", ' times="99999999"/>'), start=FOUR)
    with pytest.raises(ScoreError, match="too long"):
        opened(tmp_path, [bar])
