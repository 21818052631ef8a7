"""A tail that one mix of a take has and the other lacks; and what is none."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage, signal

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import Features
from mixcompare.pair.added_tail import Tail
from mixcompare.pair.gain import match_level
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.pair.reverberation import Reverberation, reverberation_between
from tests import recorded
from tests.synthetic import RATE_HZ, in_room, play

FloatArray = npt.NDArray[np.float64]
SEED, BARS = 3, 10


def features_of(samples: FloatArray) -> Features:
    return recorded.features_of(samples, RATE_HZ)


@pytest.fixture(scope="module")
def music() -> FloatArray:
    return play(SEED, bars=BARS)


@pytest.fixture(scope="module")
def reference(music: FloatArray) -> Features:
    return features_of(music)


def response_of(decay_s: float, predelay_s: float, seed: int = 7) -> FloatArray:
    """A diffuse room: noise that falls by 60 dB in ``decay_s``, from ``predelay_s`` on."""
    time_s = np.arange(int(1.2 * decay_s * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(seed).standard_normal((len(time_s), 2))
    late = np.zeros((round(predelay_s * RATE_HZ), 2))
    return np.concatenate([late, noise * 10 ** (-3 * time_s / decay_s)[:, None]])


def with_tail(samples: FloatArray, response: FloatArray, level_db: float) -> FloatArray:
    """The same with its convolution at so much of its own energy."""
    wet = signal.fftconvolve(samples, response, axes=0)[: len(samples)]
    wet *= np.sqrt((samples**2).mean() / (wet**2).mean())
    return np.asarray(samples + 10 ** (level_db / 20) * wet)


def read(reference: Features, candidate: Features) -> Reverberation:
    seconds = min(reference.duration_s, candidate.duration_s)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=True)
    found = reverberation_between(reference, candidate, match)
    assert found is not None
    return found


def tail_of(found: Reverberation) -> Tail:
    assert found.tail is not None
    return found.tail


@pytest.mark.parametrize(
    ("decay_s", "predelay_s", "level_db"),
    [(2.2, 0.05, -12.0), (1.2, 0.02, -6.0), (1.7, 0.08, -16.0), (2.6, 0.03, 0.0)],
)
def test_level_decay_and_predelay_of_an_added_tail(
    decay_s: float, predelay_s: float, level_db: float, music: FloatArray, reference: Features
) -> None:
    # The tail is made by scipy; limits are the tool's own aims: 2 dB, 15 %, 5 ms.
    wetter = features_of(with_tail(music, response_of(decay_s, predelay_s), level_db))
    tail = tail_of(read(reference, wetter))
    assert tail.added
    assert tail.level_db == pytest.approx(level_db, abs=2.0)
    assert tail.level_interval_db[0] < tail.level_db < tail.level_interval_db[1]
    assert tail.predelay_s == pytest.approx(predelay_s, abs=0.005)
    # The weakest leaves 10 dB of its fall clear of the floor.
    assert tail.decay_s == pytest.approx(decay_s, rel=0.15 if level_db > -15 else 0.3)
    assert tail.decay_interval_s is not None
    assert tail.decay_interval_s[0] < tail.decay_s < tail.decay_interval_s[1]
    assert tail.gaps_db > 1.0
    assert tail.borne_out == pytest.approx(1.0, abs=0.6)
    assert abs(tail.direct_side_db) < 1.0
    # Left out instead of added: the same tail, of the other one.
    back = tail_of(read(wetter, reference))
    assert not back.added
    assert back.level_db == pytest.approx(tail.level_db, abs=0.01)
    assert back.gaps_db == pytest.approx(tail.gaps_db, abs=0.01)
    assert back.direct_side_db == pytest.approx(tail.direct_side_db, abs=0.01)


@pytest.mark.parametrize("dark", [True, False])
def test_tone_of_a_tail(dark: bool, music: FloatArray, reference: Features) -> None:
    # One pole at 1 kHz lies 10 dB lower at 4 kHz than in the middle: -10 lg((1 + 16) / (1 + 1)).
    response = response_of(1.8, 0.04)
    if dark:
        response = signal.lfilter(*signal.butter(1, 1000, fs=RATE_HZ), response, axis=0)
    tail = tail_of(read(reference, features_of(with_tail(music, response, -9.0))))
    assert tail.top_db == pytest.approx(-9.3 if dark else 0.0, abs=2.5)
    assert tail.top_interval_db[0] < tail.top_db < tail.top_interval_db[1]


@pytest.mark.parametrize(("channels", "share"), [((1, 1), 1.0), ((1, -1), 0.0), ((1, 0), 0.5)])
def test_where_a_tail_lies(channels: tuple[int, int], share: float, music: FloatArray) -> None:
    # The same in both channels there is no side; of opposite sign no mid; in one alone as much.
    centred = np.repeat(music.mean(axis=1, keepdims=True), 2, axis=1)
    one = response_of(1.6, 0.03)[:, :1] * np.array(channels)
    tail = tail_of(read(features_of(centred), features_of(with_tail(centred, one, -6.0))))
    assert tail.mid_share == pytest.approx(share, abs=0.02)


def of_pair(reference: FloatArray, candidate: FloatArray) -> Reverberation:
    """As a whole pair reads it, its cells included."""
    both = features_of(reference), features_of(candidate)
    seconds = min(one.duration_s for one in both)
    pair = Pair(*both, Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=True))
    found = pair.with_gain(match_level(pair).gain_db).reverberation
    assert found is not None
    return found


# A tail 12 dB under the direct sound is what the melody's own part of the room looks like.
@pytest.mark.parametrize("by_db", [5.0, -5.0])
def test_a_melody_raised_in_its_room_is_no_tail(by_db: float) -> None:
    before, after = (
        in_room(play(4, bars=8, gains_db={"melody": gain_db}), 1.0, -9.0)
        for gain_db in (0.0, by_db)
    )
    assert of_pair(before, after).tail is None
    assert of_pair(before, after).hidden_db < -18.0


@pytest.mark.parametrize("added", [True, False])
def test_a_tail_is_told_beside_a_raised_melody(added: bool) -> None:
    drier, raised = (
        in_room(play(4, bars=8, gains_db={"melody": gain_db}), 1.0, -9.0) for gain_db in (0.0, 5.0)
    )
    if not added:
        drier, raised = raised, drier
    wetter = with_tail(raised, response_of(2.2, 0.05), -6.0)
    tail = tail_of(of_pair(drier, wetter) if added else of_pair(wetter, drier))
    assert tail.added == added
    assert tail.level_db == pytest.approx(-6.0, abs=2.5)


def narrower(samples: FloatArray) -> FloatArray:
    mid, side = samples.mean(axis=1), (samples[:, 0] - samples[:, 1]) / 4
    return np.column_stack([mid + side, mid - side])


def shelved(samples: FloatArray) -> FloatArray:
    high = signal.lfilter(*signal.butter(1, 3000, "high", fs=RATE_HZ), samples, axis=0)
    return np.asarray(samples + 0.6 * high)


def squeezed(samples: FloatArray, ratio: float = 2.0) -> FloatArray:
    """A compressor: level over 50 ms, gain smoothed over 100 ms."""
    power = ndimage.uniform_filter1d((samples**2).mean(axis=1), RATE_HZ // 20)
    level_db = 10 * np.log10(np.maximum(power, 1e-9))
    over_db = np.maximum(level_db - np.percentile(level_db, 30), 0)
    gain_db = -(1 - 1 / ratio) * ndimage.uniform_filter1d(over_db, RATE_HZ // 10)
    return np.asarray(samples * 10 ** (gain_db / 20)[:, None])


@pytest.mark.parametrize(
    ("change", "side_db"),
    [
        (narrower, -6.02),
        (shelved, 0.0),
        (lambda x: 0.4 * x, 0.0),
        (lambda x: squeezed(x, 1.3), 0.0),
    ],
    ids=["narrower", "shelf", "gain", "compressed"],
)
def test_a_tail_with_something_else_besides(
    change: Callable[[FloatArray], FloatArray],
    side_db: float,
    music: FloatArray,
    reference: Features,
) -> None:
    changed = with_tail(change(music), response_of(1.8, 0.04), -10.0)
    tail = tail_of(read(reference, features_of(changed)))
    assert tail.added
    assert tail.level_db == pytest.approx(-10.0, abs=2.0)
    assert tail.predelay_s == pytest.approx(0.04, abs=0.005)
    assert tail.decay_s == pytest.approx(1.8, rel=0.15)
    # The side of the direct sound alone, whatever the tail adds to it.
    assert tail.direct_side_db == pytest.approx(side_db, abs=1.0)


def late_channel(samples: FloatArray) -> FloatArray:
    out = samples.copy()
    out[14:, 1] = samples[:-14, 1]
    return out


def ridden(samples: FloatArray) -> FloatArray:
    time_s = np.arange(len(samples)) / RATE_HZ
    return np.asarray(
        samples * 10 ** (np.interp(time_s, [5, 5.3, 9, 9.3], [0, 4, 4, 0]) / 20)[:, None]
    )


SILENT: dict[str, Callable[[FloatArray], FloatArray]] = {
    "identical": lambda x: x,
    "gain": lambda x: 0.3 * x,
    "inverted": lambda x: -x,
    "shelf": shelved,
    "high-pass": lambda x: signal.sosfilt(
        signal.butter(2, 120, "high", fs=RATE_HZ, output="sos"), x, axis=0
    ),
    "low-pass": lambda x: signal.sosfilt(
        signal.butter(4, 4000, "low", fs=RATE_HZ, output="sos"), x, axis=0
    ),
    "narrower": narrower,
    "turned": lambda x: x * [1.0, 1.4],
    "exchanged": lambda x: x[:, ::-1],
    "late channel": late_channel,
    "fade": lambda x: x * np.linspace(1, 0.5, len(x))[:, None],
    "ride": ridden,
    "compressed": squeezed,
    "hiss": lambda x: x + 1e-3 * np.random.default_rng(1).standard_normal(x.shape),
    "hum": lambda x: x + 2e-3 * np.sin(2 * np.pi * 50 * np.arange(len(x)) / RATE_HZ)[:, None],
    "louder figure": lambda x: play(SEED, bars=BARS, gains_db={"figure": 6.0}),
    "softer melody": lambda x: play(SEED, bars=BARS, gains_db={"melody": -6.0}),
    "louder bass": lambda x: play(SEED, bars=BARS, gains_db={"bass": 6.0}),
}


@pytest.mark.parametrize("name", SILENT)
def test_what_is_no_tail(name: str, music: FloatArray, reference: Features) -> None:
    candidate = features_of(np.asarray(SILENT[name](music)))
    there, back = read(reference, candidate), read(candidate, reference)
    for found in (there, back):
        assert found.tail is None or found.tail.gaps_db < 0.5
    if name in ("identical", "gain", "inverted", "exchanged", "turned"):
        assert there.hidden_db < -45.0


def test_other_tails_of_both_are_not_taken_for_one(music: FloatArray) -> None:
    """Two rooms of one strength: neither mix is the wetter one."""
    ours, theirs = (
        features_of(with_tail(music, response_of(1.6, 0.02, seed), -6.0)) for seed in (1, 2)
    )
    assert read(ours, theirs).tail is None
