"""Whatever comes in, an answer or one of our sentences comes out: properties, not examples.

The program ``tests.benchmarks.hostile`` asks the same of whole processes, by the thousand.
"""

from __future__ import annotations

import os
import random
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from mixcompare.alignment.given import given as checked_map
from mixcompare.alignment.mapfile import read_map
from mixcompare.alignment.representation import Representation
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.audio.span import checked_span, parse_span
from mixcompare.errors import MixcompareError, OutputError
from mixcompare.features import AlignmentFeatures
from mixcompare.knowledge.score import Score
from mixcompare.outputs import check_file
from tests import synthetic
from tests.benchmarks import hostile_inputs
from tests.cli.test_guard import shown

quick = settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck)
)
rare = settings(quick, max_examples=20)
NUMBER = st.one_of(
    st.floats(), st.floats(0, 20), st.sampled_from([0.0, 1e-320, 1e300, 8000.0, 4.999999])
)


@pytest.fixture(scope="module")
def folder() -> Iterator[Path]:
    with tempfile.TemporaryDirectory() as name:
        yield Path(name)


class Seeds(dict[str, bytes]):
    def __repr__(self) -> str:
        return "the valid files"  # hypothesis prints them


@pytest.fixture(scope="module")
def seeds(folder: Path) -> Seeds:
    place = folder / "seeds"
    place.mkdir()
    return Seeds((name, path.read_bytes()) for name, path in hostile_inputs.seeds(place).items())


def sentence(error: MixcompareError) -> None:
    """It ends as a sentence, and is no longer than the longest name and what is said of it."""
    text = str(error)
    assert text.endswith(".")
    assert len(text) < 1_500


@rare
@given(
    rate_hz=st.one_of(st.integers(7_000, 200_000), st.sampled_from([8_000, 44_100, 192_000])),
    channels=st.integers(1, 9),
    length_s=st.floats(0, 2.5),
    kind=st.sampled_from([
        ("WAV", "FLOAT"), ("WAV", "PCM_U8"), ("FLAC", "PCM_24"), ("W64", "DOUBLE"),
        ("AIFF", "PCM_16"), ("CAF", "PCM_32"), ("OGG", "VORBIS"),
    ]),
    gain=st.sampled_from([0.0, 1e-7, 0.1, 1.0, 1e3, 1e30]),
)  # fmt: skip
def test_recordings_of_any_shape(
    folder: Path, rate_hz: int, channels: int, length_s: float, kind: tuple[str, str], gain: float
) -> None:
    wave = np.sin(np.arange(round(length_s * rate_hz)) * 0.05)[:, np.newaxis]
    path = folder / "a"
    try:
        soundfile.write(path, gain * np.repeat(wave, channels, 1), rate_hz, kind[1], None, kind[0])
    except (soundfile.SoundFileError, ValueError):
        return  # no such file can be
    try:
        recording = Recording.open(path)
        features = AlignmentFeatures.of(recording)
    except MixcompareError as error:
        sentence(error)
        return
    assert features.duration_s == pytest.approx(length_s, abs=1e-3 + 2 / rate_hz)
    assert np.isfinite(features.band_power).all()


@quick
@given(text=st.one_of(st.text(max_size=30), st.from_regex(r"[\d:.]{1,8}-[\d:.]{1,8}")))
def test_spans_as_text(text: str) -> None:
    try:
        start, end = parse_span(text)
    except MixcompareError as error:
        sentence(error)
        return
    assert 0 <= start < end


@quick
@given(start=NUMBER, end=NUMBER, length_s=st.floats(1, 30))
def test_spans_as_numbers(start: float, end: float, length_s: float) -> None:
    try:
        first, last = checked_span((start, end), length_s, "a")
    except MixcompareError as error:
        sentence(error)
        return
    assert 0 <= first < last <= length_s


@pytest.fixture(scope="module")
def pair() -> tuple[Representation, Representation]:
    both = (Recording.from_array(synthetic.play(3, bars=2), synthetic.RATE_HZ) for _ in range(2))
    first, second = (Representation(AlignmentFeatures.of(each)) for each in both)
    return first, second


@rare
@given(
    nodes=st.lists(st.tuples(NUMBER, NUMBER), max_size=6),
    rising=st.booleans(),
    near=st.booleans(),
    gaps=st.booleans(),
)
def test_maps_of_any_numbers(
    pair: tuple[Representation, Representation],
    nodes: list[tuple[float, float]],
    rising: bool,
    near: bool,
    gaps: bool,
) -> None:
    reference_s, candidate_s = np.array(nodes or np.zeros((0, 2))).T
    if near:
        with np.errstate(invalid="ignore"):
            reference_s, candidate_s = reference_s % 6, candidate_s % 6
    if rising:
        reference_s, candidate_s = np.unique(reference_s), np.unique(candidate_s)
        shorter = min(len(reference_s), len(candidate_s))
        reference_s, candidate_s = reference_s[:shorter], candidate_s[:shorter]
    width = np.full(len(reference_s), np.inf if gaps else 10.0)
    try:
        found = checked_map(*pair, TimeMap(reference_s, candidate_s, width))
    except MixcompareError as error:
        sentence(error)
        return
    # A map that is used lies in both recordings, whatever was given.
    for clock_s, one in zip((found.time_map.span_s, found.time_map.candidate_span_s), pair,
                            strict=True):  # fmt: skip
        assert clock_s[0] >= -1e-6
        assert clock_s[1] <= one.duration_s + 1e-6
    assert np.isfinite(found.offset_s)
    assert 0.25 <= found.tempo_ratio <= 4 or gaps


KINDS = ("reference.wav", "float.wav", "music.flac", "music.aiff", "music.ogg", "music.mp3")


@settings(quick, max_examples=60)
@given(name=st.sampled_from(KINDS), seed=st.integers(0, 10_000))
def test_broken_recordings(folder: Path, seeds: Seeds, name: str, seed: int) -> None:
    path = folder / name
    path.write_bytes(hostile_inputs.broken(seeds[name], False, random.Random(seed)))
    try:
        features = AlignmentFeatures.of(Recording.open(path))
    except MixcompareError as error:
        sentence(error)
        return
    assert np.isfinite(features.band_power).all()


@settings(quick, max_examples=150)
@given(
    name=st.sampled_from(["notes.csv", "notes.mid", "score.musicxml", "score.mxl"]),
    seed=st.integers(0, 10_000),
)
def test_broken_scores(folder: Path, seeds: Seeds, name: str, seed: int) -> None:
    path = folder / name
    is_text = name.endswith((".csv", ".musicxml"))
    path.write_bytes(hostile_inputs.broken(seeds[name], is_text, random.Random(seed)))
    try:
        score = Score.open(path)
    except MixcompareError as error:
        sentence(error)
        return
    for _, notes in score.parts:
        assert np.isfinite(notes).all()
        assert (notes[:, 1] > notes[:, 0]).all()
        assert notes[:, 1].max() <= 7200


@quick
@given(seed=st.integers(0, 10_000))
def test_broken_maps(folder: Path, seeds: Seeds, seed: int) -> None:
    path = folder / "taps.csv"
    path.write_bytes(hostile_inputs.broken(seeds["taps.csv"], True, random.Random(seed)))
    try:
        found = read_map(path)
    except MixcompareError as error:
        sentence(error)
        return
    assert (np.diff(found.reference_s) > 0).all()


@quick
@given(name=st.one_of(st.binary(max_size=300), st.sampled_from(hostile_inputs.NAMES)))
def test_outputs_of_any_name(folder: Path, name: bytes) -> None:
    before = sorted(os.listdir(os.fsencode(folder)))
    try:
        check_file(os.fsdecode(os.path.join(os.fsencode(folder), name)), b"our mark", [])
    except OutputError as error:
        sentence(error)
    assert sorted(os.listdir(os.fsencode(folder))) == before


@quick
@given(
    text=st.text(alphabet=st.characters(), max_size=40),
    encoding=st.sampled_from(["utf-8", "ascii"]),
)
def test_no_text_speaks_to_the_terminal(text: str, encoding: str) -> None:
    seen = shown(text, encoding, terminal=False)
    assert all(letter.isprintable() or letter in "\n\t" or letter == " " or letter.isspace()
               for letter in seen)  # fmt: skip
    assert not set(seen) & {"\x1b", "\r", "\x08", "\x9b", "\u2028"}


def test_the_program_that_asks_whole_processes_runs() -> None:
    if not hasattr(os, "fork"):
        pytest.skip("forks its cases")
    command = [sys.executable, "-m", "tests.benchmarks.hostile", "--cases", "16", "--seed", "7"]
    done = subprocess.run(
        command, capture_output=True, text=True, cwd=Path(__file__).parents[1], timeout=300
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "16 cases, 0 wrong" in done.stdout
