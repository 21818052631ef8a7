"""Findings as markers of a WAV file, read by a library of others (wavinfo)."""

from __future__ import annotations

import wave
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import soundfile
import wavinfo

from mixcompare.audio.recording import Recording
from mixcompare.errors import OutputError
from mixcompare.listening import markers
from mixcompare.listening.excerpts import Excerpt, ExcerptPair, write_excerpts
from mixcompare.listening.markers import Marker, add_markers, markers_of, write_marked
from tests.report.builders import made_up_results

RATE_HZ = 44_100


@pytest.mark.parametrize("frames", [RATE_HZ, RATE_HZ + 1])  # an odd number of bytes is padded
def test_another_reader_finds_names_and_places(tmp_path: Path, frames: int) -> None:
    samples = np.random.default_rng(1).uniform(-0.5, 0.5, (frames, 3)).astype(np.float32)
    path = tmp_path / "marked.wav"
    wanted = [Marker(0.25, 0.5, "1 the figure +5.9 dB"), Marker(0.5, 9.0, "2 Hörner -3 dB")]
    write_marked(path, Recording.from_array(samples, RATE_HZ, name="take"), wanted)
    heard, rate_hz = soundfile.read(path, dtype="float32")
    assert rate_hz == RATE_HZ
    np.testing.assert_allclose(heard, samples, atol=2**-22)  # 24 bit
    cues = wavinfo.WavInfoReader(str(path)).cues
    assert [cue.sample_offset for cue in cues.cues] == [11_025, 22_050]
    assert [cue.position for cue in cues.cues] == [11_025, 22_050]
    labels = {label.name: label.text for label in cues.labels}
    assert labels[cues.cues[0].name] == "1 the figure +5.9 dB"
    lengths = {one.name: one.length for one in cues.ranges}
    assert lengths[cues.cues[0].name] == 11_025
    # RIFF 1.0: the size counts what follows it; every chunk begins at an even place.
    raw = path.read_bytes()
    assert int.from_bytes(raw[4:8], "little") == len(raw) - 8
    at, names = 12, []
    while at < len(raw):
        names.append(raw[at : at + 4])
        size = int.from_bytes(raw[at + 4 : at + 8], "little")
        at += 8 + size + size % 2
    assert names[-3:] == [b"data", b"cue ", b"LIST"]
    # What lies behind the end ends with it.
    assert lengths[cues.cues[1].name] == frames - 1 - 22_050


def test_a_file_that_ends_at_an_odd_place_is_filled_up_first(tmp_path: Path) -> None:
    # RIFF 1.0 again, of a file of Python's own writer, which does not fill up.
    path = tmp_path / "odd.wav"
    with wave.open(str(path), "wb") as file:
        file.setparams((1, 1, RATE_HZ, 0, "NONE", ""))
        file.writeframes(bytes(range(128, 139)))
    assert path.stat().st_size % 2 == 1
    add_markers(path, [Marker(5 / RATE_HZ, 9 / RATE_HZ, "one")], RATE_HZ, 11)
    (cue,) = wavinfo.WavInfoReader(str(path)).cues.cues
    assert cue.sample_offset == 5
    raw = path.read_bytes()
    assert raw.index(b"cue ") % 2 == 0
    assert int.from_bytes(raw[4:8], "little") == len(raw) - 8


def test_every_place_of_every_finding_is_marked_on_the_candidate_s_clock() -> None:
    results = made_up_results()
    spans = ((3.0, 4.0), (1.0, 2.0))
    findings = [replace(one, candidate_spans_s=spans) for one in results.findings[:2]]
    found = markers_of(findings)
    assert [(one.start_s, one.end_s) for one in found] == [(1.0, 2.0)] * 2 + [(3.0, 4.0)] * 2
    first = findings[0]
    assert found[0].label == f"{first.rank} {first.subject} {first.amount}"


def test_an_excerpt_carries_the_places_that_it_holds_on_its_own_clock(tmp_path: Path) -> None:
    first, second, *_ = made_up_results().findings
    first = replace(first, spans_s=((2.5, 3.5), (9.0, 9.5)), candidate_spans_s=((3.0, 4.0),))
    second = replace(second, rank=2, spans_s=((0.0, 2.25),), candidate_spans_s=((0.0, 2.75),))
    tone = np.full((2 * RATE_HZ, 2), 0.1, np.float32)
    pair = ExcerptPair(
        Excerpt(tone, RATE_HZ, (2.0, 4.0), 0.0), Excerpt(tone, RATE_HZ, (2.5, 4.5), 0.0)
    )
    written = write_excerpts(first, pair, tmp_path, (first, second))
    for path, starts in ((written.reference, (0.0, 0.5)), (written.candidate, (0.0, 0.5))):
        assert path.endswith(".wav")
        cues = wavinfo.WavInfoReader(str(tmp_path / path)).cues
        assert [cue.sample_offset / RATE_HZ for cue in cues.cues] == list(starts)
        labels = [label.text for label in cues.labels]
        assert labels == [f"{one.rank} {one.subject} {one.amount}" for one in (second, first)]
        # The first ends where the other's place does, a quarter of a second into the excerpt.
        assert cues.ranges[0].length == pytest.approx(0.25 * RATE_HZ, abs=1)
        samples, _ = soundfile.read(tmp_path / path)
        np.testing.assert_allclose(samples, tone, atol=2**-14)


def test_what_is_too_long_for_the_format_is_said(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(markers, "_MOST_BYTES", 1000)
    take = Recording.from_array(np.full((2 * RATE_HZ, 2), 0.1, np.float32), RATE_HZ, name="take")
    with pytest.raises(OutputError, match="too long for a WAV file"):
        write_marked(tmp_path / "marked.wav", take, [])
    assert not list(tmp_path.iterdir())
