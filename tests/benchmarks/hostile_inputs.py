"""Small valid files of every kind that is read, and ways to break them."""

from __future__ import annotations

import random
import re
import zipfile
from collections.abc import Callable
from pathlib import Path

import mido
import soundfile

from tests import synthetic

NUMBERS = (
    "0", "-1", "1e300", "-1e300", "nan", "inf", "1e-320", "8000", "0,8000", "9" * 400, "", "x",
    "\ufeff1", "1" * 200_000, "0x10", "1_000", "٣",
)  # fmt: skip
NAMES = (
    b"caf\xe9.wav", b"\x1b[2Jx.wav", b"two\nlines.wav", b"x" * 255, b"x" * 300, b"-", b"", b".",
    b"/dev/null", b"/dev/zero", b"/proc/self/mem", b"~nobody_of_this_name/x", b"pipe", b"loop",
    b"loop/x", b"closed/x", b"folder", b"reference.wav/x", b"--help", "\u202egpj.wav".encode(),
    b"%s%n{}", b"../reference.wav",
)  # fmt: skip
SPANS = (
    "0-5", "1-5.5", "5-1", "0-0", "-1-3", "0-1e9", "nan-nan", "0:00-0:05", "99:99-100:00", "0-4",
    "", "-", "0-" + "9" * 400, "0-5-6", "\u0660-5", "0.0000001-4.5", "1:0:0-2:0:0",
)  # fmt: skip
LIMITS = ("0", "3", "nan", "inf", "-1", "x", "1e400", "")

_SCORE = """<?xml version="1.0" encoding="UTF-8"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Violin</part-name>
</score-part><score-part id="P2"><part-name>Horn in F</part-name></score-part></part-list>
{parts}</score-partwise>"""
_BAR = """<measure number="{number}">{head}{notes}{end}</measure>"""
_HEAD = """<attributes><divisions>2</divisions><time><beats>4</beats><beat-type>4</beat-type></time>
<transpose><chromatic>{chromatic}</chromatic></transpose></attributes><direction><direction-type>
<dynamics><mf/></dynamics><metronome><beat-unit>quarter</beat-unit><per-minute>100</per-minute>
</metronome></direction-type></direction>"""
_NOTE = """<note><pitch><step>{step}</step><octave>{octave}</octave></pitch><duration>1</duration>
<voice>1</voice></note>"""
_REPEAT = """<barline location="right"><repeat direction="backward" times="2"/></barline>"""


def seeds(folder: Path) -> dict[str, Path]:
    """Write one valid file of every kind, by name."""
    music = synthetic.play(3, bars=2)[: 5 * synthetic.RATE_HZ]
    rate = synthetic.RATE_HZ
    for name, subtype in (
        ("reference.wav", "PCM_16"), ("deep.wav", "PCM_24"), ("float.wav", "FLOAT"),
        ("music.flac", "PCM_16"), ("music.aiff", "PCM_16"), ("music.ogg", "VORBIS"),
        ("music.mp3", "MPEG_LAYER_III"),
    ):  # fmt: skip
        soundfile.write(folder / name, music, rate, subtype=subtype)
    notes = [tone for tones in synthetic.score(3, bars=2).values() for tone in tones]
    rows = [(tone.start_s, tone.start_s + tone.length_s, tone.pitch) for tone in notes]
    rows = [row for row in rows if row[1] < 5]
    table = "\n".join(
        f"part {pitch % 3},{start:.3f},{end:.3f},{pitch}" for start, end, pitch in rows
    )
    (folder / "notes.csv").write_text(f"part,onset_s,end_s,pitch\n{table}\n", encoding="utf-8")
    taps = "\n".join(f"{0.3 * tap:.2f},{0.3 * tap:.2f}" for tap in range(16))
    (folder / "taps.csv").write_text(f"reference_s,candidate_s\n{taps}\n", encoding="utf-8")
    _midi(rows).save(str(folder / "notes.mid"))
    score = _score()
    (folder / "score.musicxml").write_text(score, encoding="utf-8")
    with zipfile.ZipFile(folder / "score.mxl", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr(
            "META-INF/container.xml",
            '<container><rootfiles><rootfile full-path="score.xml"/></rootfiles></container>',
        )
        archive.writestr("score.xml", score)
    return {path.name: path for path in sorted(folder.iterdir())}


def _midi(rows: list[tuple[float, float, int]]) -> mido.MidiFile:
    file = mido.MidiFile(type=1, ticks_per_beat=480)
    events = [(end, 0, pitch) for _, end, pitch in rows]
    events = sorted([*events, *((start, 64, pitch) for start, _, pitch in rows)])
    track = mido.MidiTrack([mido.MetaMessage("time_signature", numerator=4, denominator=4)])
    track.append(mido.MetaMessage("set_tempo", tempo=500_000))
    track.append(mido.MetaMessage("key_signature", key="D"))
    last = 0
    for second, velocity, pitch in events:
        tick = round(second * 960)
        kind = "note_on" if velocity else "note_off"
        track.append(mido.Message(kind, note=pitch, velocity=velocity, time=tick - last))
        last = tick
    file.tracks.append(track)
    return file


def _score() -> str:
    parts = []
    for part, (steps, octave) in enumerate((("CEGCAFDB", 5), ("CCGGAAFF", 3)), start=1):
        bars = [
            _BAR.format(
                number=number,
                head=_HEAD.format(chromatic=0 if part == 1 else -7) if number == 1 else "",
                notes="".join(_NOTE.format(step=step, octave=octave) for step in steps),
                end=_REPEAT if number == 2 else "",
            )
            for number in (1, 2)
        ]
        parts.append(f'<part id="P{part}">{"".join(bars)}</part>')
    return _SCORE.format(parts="".join(parts))


Way = Callable[[bytes, random.Random], bytes]


def _place(data: bytes, chance: random.Random) -> int:
    """Headers are broken as often as what follows them."""
    return chance.randrange(min(len(data), chance.choice((64, 512, len(data)))) or 1)


def _flipped(data: bytes, chance: random.Random) -> bytes:
    out = bytearray(data)
    for _ in range(chance.choice((1, 2, 8, 64))):
        out[_place(data, chance)] ^= 1 << chance.randrange(8)
    return bytes(out)


def _cut(data: bytes, chance: random.Random) -> bytes:
    return data[: _place(data, chance)]


def _taken_out(data: bytes, chance: random.Random) -> bytes:
    at = _place(data, chance)
    return data[:at] + data[at + chance.choice((1, 4, 100, 10_000)) :]


def _repeated(data: bytes, chance: random.Random) -> bytes:
    at, size = _place(data, chance), chance.choice((1, 4, 100, 10_000))
    return data[:at] + data[at : at + size] * chance.choice((2, 50)) + data[at + size :]


def _extreme(data: bytes, chance: random.Random) -> bytes:
    """A word of two, four or eight bytes at its end of the range."""
    at, size = _place(data, chance), chance.choice((2, 4, 8))
    word = (
        chance.choice((b"\xff", b"\0", b"\x7f", b"\x80")) * 1 + chance.choice((b"\xff", b"\0")) * 7
    )
    return data[:at] + word[:size][:: chance.choice((1, -1))] + data[at + size :]


def _noise(data: bytes, chance: random.Random) -> bytes:
    at, size = _place(data, chance), chance.choice((16, 1_000))
    return data[:at] + chance.randbytes(size) + data[at + size :]


def _other_numbers(data: bytes, chance: random.Random) -> bytes:
    """Text: some of its numbers become others; bytes that are none stay."""
    text = data.decode("latin-1")
    found = list(re.finditer(r"\d+(\.\d+)?", text))
    for match in sorted(chance.sample(found, min(len(found), chance.choice((1, 3)))), reverse=True,
                        key=lambda each: each.start()):  # fmt: skip
        number = chance.choice(NUMBERS).encode().decode("latin-1")
        text = text[: match.start()] + number + text[match.end() :]
    return text.encode("latin-1")


def _other_tags(data: bytes, chance: random.Random) -> bytes:
    """Text: a line or an element is doubled, moved or renamed."""
    pieces = re.split(rb"(?=<)|(?<=\n)", data)
    first, second = chance.randrange(len(pieces)), chance.randrange(len(pieces))
    pieces[first], pieces[second] = pieces[second], pieces[first]
    if chance.random() < 0.5:
        pieces[first : first + 1] *= chance.choice((2, 1_000))
    return b"".join(pieces)


BYTES: tuple[Way, ...] = (_flipped, _cut, _taken_out, _repeated, _extreme, _noise)
TEXT: tuple[Way, ...] = (_other_numbers, _other_numbers, _other_tags, _other_tags)


def broken(data: bytes, is_text: bool, chance: random.Random) -> bytes:
    """The same, broken in one to three ways."""
    for _ in range(chance.choice((1, 1, 2, 3))):
        ways = (*BYTES, *TEXT) if is_text else BYTES
        data = chance.choice(ways)(data, chance) if data else data
    return data
