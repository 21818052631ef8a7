"""The main job on real music: what libraries did to a real take is told, and nothing else.

The take is a string orchestra's (tests/data). What was done to it, and what is to be told with
which size, stands in tests/operations.py: the truth is that of the filters, resamplers and gains,
not of this project. Operations that are not told right as yet are in the benchmark alone
(``python -m tests.benchmarks.real_operations``).
"""

from __future__ import annotations

import functools
from dataclasses import replace
from pathlib import Path

import librosa
import numpy as np
import pytest

import mixcompare
from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.alignment.timemap import TimeMap
from mixcompare.audio.recording import Recording
from mixcompare.features import AlignmentFeatures, Features
from mixcompare.pair.match import Match
from mixcompare.pair.spectra import pair_spectra
from mixcompare.results import Results
from tests import operations
from tests.operations import RATE_HZ, FloatArray, Operation, Pair, Sound
from tests.told import told_of

SECONDS = 12.0
LONGER_S = {
    "late": 16.0, "ride": 16.0, "squeezed_loud": 26.0, "slower_softer": 26.0, "squeezed_ride": 46.0
}  # fmt: skip
"""Swings and passages take longer to show than the rest."""


@functools.cache
def take() -> FloatArray:
    samples = operations.strings(SECONDS)
    samples.flags.writeable = False
    return samples


@functools.cache
def features_of_the_take() -> Features:
    return Features.of(Recording.from_array(take(), RATE_HZ))


def features(sound: Sound) -> Features:
    return (
        features_of_the_take() if sound[0] is take() else Features.of(Recording.from_array(*sound))
    )


@functools.cache
def told(operation: Operation) -> tuple[Pair, Results]:
    seconds = LONGER_S.get(operation.name)
    pair = operation.pair(take() if seconds is None else operations.strings(seconds))
    first, second = map(features, pair)
    return pair, told_of(first, second)


RIGHT = (
    "bell bell_cut dark thin mp3_bright"
    " narrow wide turned_right turned_left exchanged narrow_bright"
    " fast slow slower higher"
    " figure figure_softer fade hiss_fade"
    " hall_soft drier_soft lowcut_hiss highcut_wide living_room_soft late_hall"
)


@pytest.mark.parametrize("name", ["gain", "resampled", "vorbis", "mp3_gain", "inverted", "offset"])
def test_a_take_that_is_the_same_to_the_ear_has_no_finding(name: str) -> None:
    operation = operations.OPERATIONS[name]
    pair, results = told(operation)
    assert operations.complaints(operation, pair, results) == []
    assert results.findings == ()
    assert results.alignment.relation == "same_take"


@pytest.mark.parametrize("name", [*RIGHT.split(), *LONGER_S])
def test_what_was_done_is_told_and_nothing_else(name: str) -> None:
    operation = operations.OPERATIONS[name]
    pair, results = told(operation)
    assert operations.complaints(operation, pair, results) == []
    assert len(results.findings) == len(operation.told)


def test_the_judge_sees_what_is_wrong() -> None:
    operation = operations.OPERATIONS["narrow"]
    pair, results = told(operation)
    (finding,) = results.findings

    def judged(*findings: mixcompare.Finding) -> list[str]:
        return operations.complaints(operation, pair, replace(results, findings=findings))

    assert judged(finding) == []
    assert judged() == ["no narrower"]
    assert judged(replace(finding, kind="wider")) == ["no narrower", "also wider -6.02 dB"]
    assert judged(finding, finding) == ["also narrower -6.02 dB"]
    assert judged(replace(finding, difference=-6.9)) == ["narrower -6.90 dB for -6.02"]
    assert judged(replace(finding, difference=6.02)) == ["narrower +6.02 dB for -6.02"]
    assert judged(replace(finding, interval=(-6.6, -6.2))) == [
        "narrower -6.02 dB: -6.02 outside -6.60 to -6.20"
    ]
    warned = replace(results, warnings=("Several arrival times",))
    assert operations.complaints(operation, pair, warned) == ["warns: Several arrival times"]


def test_a_bell_comes_back_as_the_filter_that_it_was() -> None:
    for name, gain_db, centre_hz in (("bell", 4.0, 1000.0), ("bell_cut", -4.0, 500.0)):
        difference = told(operations.OPERATIONS[name])[1].measurements["tone"].difference
        assert difference.shaping_kind == ("bell",)
        assert difference.shaping_gain_db[0] == pytest.approx(gain_db, abs=0.5)
        assert difference.shaping_frequency_hz[0] == pytest.approx(centre_hz, rel=0.06)


def test_alignment_tells_polarity_exchange_and_offset() -> None:
    facts = {
        name: told(operations.OPERATIONS[name])[1].alignment
        for name in ("gain", "inverted", "exchanged", "offset")
    }
    assert {name: fact.polarity for name, fact in facts.items()} == {
        "gain": 1, "inverted": -1, "exchanged": 1, "offset": 1,
    }  # fmt: skip
    assert {name: fact.channels_swapped for name, fact in facts.items()} == {
        "gain": False, "inverted": False, "exchanged": True, "offset": False,
    }  # fmt: skip
    samples = round(1.234 * RATE_HZ)
    assert facts["offset"].offset_s == pytest.approx(samples / RATE_HZ, abs=5e-6)
    (event,) = facts["offset"].events
    assert event.kind == "head"
    assert event.candidate_s == pytest.approx((0.0, 1.234), abs=1e-3)


def test_the_same_take_begun_later_has_no_finding() -> None:
    # A start that lies on no frame of any spectrogram.
    start_s = 0.734
    reference = features_of_the_take()
    candidate = features((take()[round(start_s * RATE_HZ) :], RATE_HZ))
    for pair, sign in (((reference, candidate), -1), ((candidate, reference), 1)):
        results = told_of(*pair)
        assert results.findings == ()
        assert results.alignment.offset_s == pytest.approx(sign * start_s, abs=2e-5)


def test_the_cells_of_one_take_agree_between_frames() -> None:
    samples = round(0.006 * RATE_HZ)  # three tenths of a frame
    start_s = samples / RATE_HZ
    later = features((take()[samples:], RATE_HZ))
    time_map = TimeMap.linear(-start_s, 1.0, start_s, SECONDS)
    cells = pair_spectra(features_of_the_take(), later, Match(time_map, same_take=True))
    difference_db = cells.difference_db[cells.audible]
    # Read unevenly, the same sound differs by 0.11 dB.
    assert np.sqrt((difference_db**2).mean()) < 0.08


def test_speed_is_told_with_pitch_and_tempo() -> None:
    for name, speed in (("fast", 1.03), ("slow", 1 / 1.03)):
        alignment = told(operations.OPERATIONS[name])[1].alignment
        assert alignment.tempo_ratio == pytest.approx(1 / speed, rel=0.002)
        cents = 100 * alignment.transposition_semitones + alignment.tuning_cents
        assert cents == pytest.approx(1200 * np.log2(speed), abs=2.5)
    lower = told(operations.OPERATIONS["lower"])[1].alignment
    assert lower.transposition_semitones == -2
    assert lower.tempo_ratio == pytest.approx(1.0, abs=0.002)


def onsets_s() -> FloatArray:
    mono = take().mean(axis=1)
    found = librosa.onset.onset_detect(y=mono, sr=RATE_HZ, hop_length=256, units="time")
    return np.asarray(found[(found > 0.5) & (found < SECONDS - 0.5)])


def errors_s(alignment: Alignment, known_s: FloatArray) -> FloatArray:
    return np.abs(alignment.time_map.to_candidate(onsets_s()) - known_s)


def aligned(samples: FloatArray) -> Alignment:
    return align(
        features_of_the_take(), AlignmentFeatures.of(Recording.from_array(samples, RATE_HZ))
    )


@pytest.mark.parametrize(("name", "tempo"), [("slower", 0.94), ("faster", 1.06), ("fast", 1.03)])
def test_the_time_map_of_another_tempo_holds_at_onsets(name: str, tempo: float) -> None:
    errors = errors_s(told(operations.OPERATIONS[name])[1].alignment, onsets_s() / tempo)
    assert len(errors) > 20
    # Median of 20 ms: Dixon and Widmer, ISMIR 2005.
    assert np.median(errors) < 0.010
    assert np.percentile(errors, 90) < 0.030


def test_the_time_map_follows_a_tempo_that_changes() -> None:
    edges_s, tempi = np.array([0.0, 4.0, 8.0, SECONDS]), (0.92, 1.08, 0.97)
    pieces = [
        operations.stretched(take()[round(start * RATE_HZ) : round(end * RATE_HZ)], tempo)
        for start, end, tempo in zip(edges_s[:-1], edges_s[1:], tempi, strict=True)
    ]
    played_s = np.concatenate([[0.0], np.cumsum([len(piece) for piece in pieces]) / RATE_HZ])
    errors = errors_s(aligned(np.concatenate(pieces)), np.interp(onsets_s(), edges_s, played_s))
    assert np.median(errors) < 0.020
    assert np.percentile(errors, 90) < 0.060


def test_two_orchestras_are_related_alike_whichever_is_the_reference(real_audio: Path) -> None:
    names = ("string_orchestra_brahms_hd5_pd.ogg", "symphony_orchestra_brahms_hd5_ccbysa.mp3")
    pair = [AlignmentFeatures.of(Recording.open(real_audio / name)) for name in names]
    there, back = align(*pair), align(*pair[::-1])
    assert there.relation == back.relation == "same_passage"
    assert there.confidence == pytest.approx(back.confidence, abs=0.01)
    # Once the strings' clip goes on to what the other recording has no sound of, it has no
    # counterpart: the six seconds that resemble it most, 73 s on, are other music.
    assert [event.kind for event in there.events] == ["head", "tail"]
    assert [event.kind for event in back.events] == ["head", "tail"]
    for event, mirrored in zip(there.events, back.events, strict=True):
        assert mirrored.candidate_s == pytest.approx(event.reference_s, abs=0.05)
        assert mirrored.reference_s == pytest.approx(event.candidate_s, abs=0.05)
    times = np.arange(*there.time_map.span_s, 0.1)
    times = times[there.time_map.covers(times)]
    mirrored_s = back.time_map.to_reference(times)
    assert mirrored_s == pytest.approx(there.time_map.to_candidate(times), abs=0.05)


def test_another_orchestras_clip_is_found_where_it_plays(real_audio: Path) -> None:
    operation = operations.further(real_audio)["clip"]
    pair, results = told(operation)
    assert operations.complaints(operation, pair, results) == []
