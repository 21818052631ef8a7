"""Room: decay times from tails, relative wetness, and what must not look like a room."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from scipy import signal

from mixcompare.analyzers.room import RoomDifference, analyzer
from mixcompare.features import Features
from mixcompare.match import Match
from mixcompare.recording import Recording
from mixcompare.timemap import TimeMap
from tests.synthetic import RATE_HZ, in_room, play

FloatArray = npt.NDArray[np.float64]


def features_of(samples: npt.ArrayLike, rate_hz: int = RATE_HZ) -> Features:
    array = np.asarray(samples, np.float64)
    return Features.of(Recording.from_array(0.5 * array / np.abs(array).max(), rate_hz))


def compared(
    reference: Features, candidate: Features, same_take: bool = False
) -> tuple[RoomDifference, list[str]]:
    seconds = min(reference.duration_s, candidate.duration_s)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=same_take)
    difference = analyzer.compare(reference, candidate, match)
    return difference, [finding.kind for finding in analyzer.findings(difference)]


@pytest.fixture(scope="module")
def dry() -> FloatArray:
    return play(1)


@pytest.fixture(scope="module")
def other_dry() -> FloatArray:
    """Other players: every note scattered, other levels, another sound."""
    return play(1, scatter_s=0.012, scatter_db=1.0, performance=2, brightness_db=1.0)


@pytest.fixture(scope="module")
def reference(dry: FloatArray) -> Features:
    return features_of(in_room(dry, 1.2, -8.0))


@pytest.mark.parametrize("decay_s", [1.0, 2.0])
def test_impulse_response(decay_s: float) -> None:
    # ISO 3382-1: all parameters of an exponential decay follow from T; the tolerance is what
    # one realisation of noise in an octave scatters.
    rng = np.random.default_rng(4)
    time = np.arange(int(1.4 * decay_s * RATE_HZ)) / RATE_HZ
    response = rng.standard_normal((len(time), 2)) * 10 ** (-3 * time / decay_s)[:, None]
    quiet = np.zeros((RATE_HZ // 4, 2))
    measured = analyzer.measure(features_of(np.concatenate([quiet, response])))
    assert measured.decay_time_s == pytest.approx(decay_s, rel=0.08)
    assert measured.early_decay_time_s == pytest.approx(decay_s, rel=0.2)
    c80_db = 10 * np.log10(np.exp(1.105 / decay_s) - 1)
    assert measured.clarity_c80_db == pytest.approx(c80_db, abs=1.5)


def test_tail_of_music(dry: FloatArray) -> None:
    # The decay given to the room; 20 % is about what is heard as a difference in music
    # (Blevins et al. 2013, from memory).
    longer = np.concatenate([dry, np.zeros((2 * RATE_HZ, 2))])
    hall = analyzer.measure(features_of(in_room(longer, 2.4, 0.0)))
    assert hall.decay_time_s == pytest.approx(2.4, rel=0.2)
    assert hall.clarity_c80_db is None
    close = analyzer.measure(features_of(in_room(longer, 0.6, -10.0)))
    assert close.decay_time_s is None
    assert close.decay_time_at_most_s is None or close.decay_time_at_most_s < 1.7
    assert close.reasons


def test_wetter_in_the_mix(dry: FloatArray, reference: Features) -> None:
    wetter = features_of(in_room(dry, 1.2, -2.0))
    difference, kinds = compared(reference, wetter, same_take=True)
    assert kinds == ["wetter"]
    assert difference.wetness_db is not None
    assert 1.5 < difference.wetness_db < 6.0
    finding = analyzer.findings(difference)[0]
    assert finding.cause.likeliest == "mix"
    assert finding.cause.players == 0
    back, kinds = compared(wetter, reference, same_take=True)
    assert kinds == ["drier"]
    assert back.wetness_db == pytest.approx(-difference.wetness_db, abs=1e-9)


def test_wetter_hall_and_other_players(other_dry: FloatArray, reference: Features) -> None:
    difference, kinds = compared(reference, features_of(in_room(other_dry, 2.4, -3.0, seed=2)))
    assert kinds == ["wetter"]
    assert analyzer.findings(difference)[0].cause.likeliest == "room"


def test_other_players_in_the_same_room(other_dry: FloatArray, reference: Features) -> None:
    assert compared(reference, features_of(in_room(other_dry, 1.2, -8.0, seed=2)))[1] == []


def test_nothing_changed(reference: Features) -> None:
    difference, kinds = compared(reference, reference, same_take=True)
    assert kinds == []
    assert difference.wetness_db == 0.0


def test_not_a_room(dry: FloatArray, reference: Features) -> None:
    plain = in_room(dry, 1.2, -8.0)
    level = np.sqrt(signal.lfilter([0.001], [1, -0.999], (plain**2).mean(axis=1))) + 1e-5
    squeezed = plain * np.minimum(1, (level / np.percentile(level, 40)) ** -0.5)[:, None]
    low = signal.lfilter(*signal.butter(1, 2000, fs=RATE_HZ), plain, axis=0)
    figure = in_room(play(1, gains_db={"figure": 6.0}), 1.2, -8.0)
    for changed in (-0.2 * plain, squeezed, low + 2 * (plain - low), figure):
        assert compared(reference, features_of(changed), same_take=True)[1] == []


def shortened(share: float) -> FloatArray:
    """The same piece with the melody's notes let go early."""
    full, without = play(1), play(1, gains_db={"melody": -120.0})
    melody = full - without
    power = (melody**2).mean(axis=1)
    loud = np.sqrt(signal.lfilter([0.005], [1, -0.995], power))
    onsets = signal.find_peaks(np.diff(loud, prepend=0), distance=int(0.25 * RATE_HZ))[0]
    gate = np.ones(len(melody))
    for first, behind in zip(onsets[:-1], onsets[1:], strict=True):
        gate[first + int(share * (behind - first)) : behind - int(0.01 * RATE_HZ)] = 0.0
    gate = signal.lfilter([0.004], [1, -0.996], gate)
    return np.asarray(without + melody * gate[:, None])


def test_detached_playing_is_no_drier_room(reference: Features) -> None:
    detached = features_of(in_room(shortened(0.5), 1.2, -8.0, seed=3))
    assert compared(reference, detached)[1] == []
    assert compared(detached, reference)[1] == []


@pytest.fixture(scope="module")
def strings(real_audio: Path) -> tuple[FloatArray, int]:
    samples, rate_hz = soundfile.read(real_audio / "string_orchestra_brahms_hd5_pd.ogg")
    return samples[: 25 * rate_hz], rate_hz


def test_real_take_in_real_rooms(real_audio: Path, strings: tuple[FloatArray, int]) -> None:
    samples, rate_hz = strings
    plain = features_of(samples, rate_hz)
    for room, heard in (("room_hall_ccby.wav", True), ("room_living_pd.wav", False)):
        response, _ = soundfile.read(real_audio / room)
        wet = signal.fftconvolve(samples, response, axes=0)[: len(samples)]
        wet *= np.sqrt((samples**2).mean() / (wet**2).mean())
        difference, kinds = compared(plain, features_of(samples + wet, rate_hz), same_take=True)
        assert difference.wetness_db is not None
        assert difference.wetness_db > 0
        assert kinds == (["wetter"] if heard else [])
