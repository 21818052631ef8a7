"""The contract of the registry: either way round the same is said, of nothing nothing is said."""

from __future__ import annotations

import functools
import typing
from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.analyzers import ANALYZERS
from mixcompare.analyzers.base import Analyzer
from mixcompare.features import Features
from mixcompare.match import Match, PartNotes
from mixcompare.recording import Recording
from mixcompare.timemap import TimeMap
from tests import synthetic
from tests.analyzers import stereo_music
from tests.analyzers.contract import (
    contradictions,
    undeclared,
    unlike,
)

FloatArray = npt.NDArray[np.float64]
RATE_HZ = synthetic.RATE_HZ

every_analyzer = pytest.mark.parametrize("analyzer", ANALYZERS, ids=lambda one: one.aspect)


# --- pairs with something to tell ---------------------------------------------------------------


@dataclass(frozen=True)
class Pair:
    reference: Features
    candidate: Features
    match: Match


def heard(samples: npt.ArrayLike) -> Features:
    return Features.of(Recording.from_array(samples, RATE_HZ))


def on_one_clock(reference: FloatArray, candidate: FloatArray, **known: Any) -> Pair:
    first, second = heard(reference), heard(candidate)
    length_s = min(first.duration_s, second.duration_s)
    return Pair(first, second, Match(TimeMap.linear(0.0, 1.0, 0.0, length_s), **known))


@functools.cache
def piece() -> FloatArray:
    return synthetic.play(7)


def a_figure_louder_narrower_and_brighter() -> Pair:
    louder = synthetic.play(7, gains_db={"figure": 6.0})
    shelf = ("high_shelf", 3000.0, 4.0, 0.7)
    other = stereo_music.filtered(stereo_music.with_side(louder, 0.7), shelf, rate_hz=RATE_HZ)
    return on_one_clock(piece(), 1.1 * other, same_take=True, gain_db=20 * np.log10(1.1))


def a_register_that_swells() -> Pair:
    """6 dB more from 250 to 500 Hz for four seconds."""
    sos = signal.butter(2, [250, 500], "bandpass", fs=RATE_HZ, output="sos")
    more = signal.sosfiltfilt(sos, piece(), axis=0)
    time_s = np.arange(len(piece())) / RATE_HZ
    inside = np.clip(np.minimum(time_s - 5.0, 9.0 - time_s) / 0.2, 0, 1)[:, None]
    return on_one_clock(piece(), piece() + inside * more, same_take=True)


def a_wetter_hall() -> Pair:
    """The same notes with a room; both stop in time to hear it die away."""
    rest = np.zeros((3 * RATE_HZ, 2))
    dry = np.concatenate([piece(), rest])
    return on_one_clock(
        synthetic.in_room(dry, 1.6, -3.0), synthetic.in_room(dry, 2.6, 3.0, seed=2), same_take=True
    )


def impulse_response(decay_s: float, late_db: float) -> FloatArray:
    """Noise that falls fast, then slowly from ``late_db`` on."""
    rng = np.random.default_rng(5)
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    envelope = 10 ** (-3 * time_s / decay_s) + 10 ** (late_db / 20 - 3 * time_s / 2.0)
    out = np.zeros((4 * RATE_HZ, 2))
    out[RATE_HZ // 2 : RATE_HZ // 2 + len(time_s)] = (
        rng.standard_normal((len(time_s), 2)) * (envelope[:, None])
    )
    return 0.3 * out / np.abs(out).max()


def a_longer_impulse() -> Pair:
    return on_one_clock(impulse_response(0.8, -90.0), impulse_response(1.6, -90.0), same_take=True)


def smaller_swings() -> Pair:
    """A swell of 16 dB, of which the candidate keeps 8."""
    long = synthetic.play(3, bars=10)
    swell_db = 8 * np.sin(2 * np.pi * np.arange(len(long)) / RATE_HZ / 9.0)[:, None]
    return on_one_clock(long * 10 ** (swell_db / 20), long * 10 ** (swell_db / 40), same_take=True)


def turned_wider_and_sharp() -> Pair:
    """Another performance's worth of freedom is left to the analyzers: not one take."""
    sharp = stereo_music.music(0, 446.0) * np.array([0.7, 1.2])
    first, second = (
        stereo_music.features(),
        stereo_music.features_of(stereo_music.with_side(sharp, 1.3)),
    )
    return Pair(
        first,
        second,
        Match(
            TimeMap.linear(0.0, 1.0, 0.0, first.duration_s),
            tuning_cents=1200 * np.log2(446 / 440),
        ),
    )


def melody(ratio: float) -> tuple[FloatArray, FloatArray]:
    """Sound and notes of a line whose notes are held for a share of their length."""
    rng = np.random.default_rng(4)
    notes, out, at = [], np.zeros((15 * RATE_HZ, 2)), 0.4
    for pitch in 72 + np.cumsum(rng.choice([-3, -2, 2, 3], 26)) % 12:
        length = float(rng.choice([0.4, 0.6]))
        notes.append((at, at + ratio * length, float(pitch)))
        time_s = np.arange(int((ratio * length + 0.3) * RATE_HZ)) / RATE_HZ
        partials = np.arange(1, 9)[:, None]
        frequency = 440 * 2 ** ((pitch - 69) / 12)
        wave = (np.sin(2 * np.pi * frequency * partials * time_s + partials) / partials).sum(0)
        wave *= np.minimum(time_s / (0.03 + 0.03 * ratio), 1)
        wave *= np.exp(-np.maximum(time_s - ratio * length, 0) / 0.017)
        first = int(at * RATE_HZ)
        out[first : first + len(wave)] += 0.1 * wave[: len(out) - first, None]
        at += length
    return out + 1e-5 * rng.standard_normal(out.shape), np.array(notes)


def detached() -> Pair:
    before, notes = melody(0.92)
    after, _ = melody(0.5)
    parts = (PartNotes("oboe", np.column_stack([notes[:, 0], np.append(notes[1:, 0], 14.0),
             notes[:, 2]]), np.zeros((0, 3))),)  # fmt: skip
    return on_one_clock(before, after, parts=parts)


def a_tone_higher() -> Pair:
    higher = synthetic.play(7, a4_hz=440 * 2 ** (2 / 12))
    return on_one_clock(piece(), higher, transposition_semitones=2)


def slower() -> Pair:
    """Another performance with a figure that stands out; it holds back from 6 to 8 s."""
    other = synthetic.play(
        7, beat_s=0.6 * 1.06, gains_db={"figure": 6.0}, performance=1, scatter_db=0.3, a4_hz=442.0
    )
    times = np.arange(0.3, 14.6, 0.5)
    time_map = TimeMap(times, 0.3 + 1.06 * (times - 0.3), np.full(len(times), 15.0))
    known = Match(time_map, gain_db=20 * np.log10(1.2), tuning_cents=7.85, uncertainty_ms=10.0)
    return Pair(heard(piece()), heard(1.2 * other), known)


def holding_back() -> Pair:
    """Only the clocks count: 6 % slower, and another 15 % from 6 to 8 s."""
    pair = PAIRS["slower"]()
    times = np.arange(0.3, 14.6, 0.1)
    later = 1.06 * (times - 0.3) + 0.3 * np.clip((times - 6.0) / 2.0, 0, 1)
    return replace(pair, match=Match(TimeMap(times, 0.3 + later, np.full(len(times), 15.0))))


def played_too_fast() -> Pair:
    """The same take on a machine that runs 2 % fast."""
    first = heard(piece())
    second = Features.of(Recording.from_array(piece(), round(1.02 * RATE_HZ)))
    time_map = TimeMap.linear(0.0, 1 / 1.02, 0.0, first.duration_s, 0.1)
    tuning = 1200 * np.log2(1.02)
    return Pair(first, second, Match(time_map, True, tuning_cents=tuning, uncertainty_ms=0.1))


PAIRS: dict[str, Callable[[], Pair]] = {
    one.__name__: functools.cache(one)
    for one in (
        a_figure_louder_narrower_and_brighter,
        a_register_that_swells,
        turned_wider_and_sharp,
        detached,
        slower,
        a_wetter_hall,
        a_longer_impulse,
        smaller_swings,
        a_tone_higher,
        holding_back,
        played_too_fast,
    )
}
ABOUT = {
    "a_wetter_hall": {"room", "width"},
    "a_longer_impulse": {"room", "loudness"},
    "smaller_swings": {"dynamics", "loudness"},
    "a_tone_higher": {"articulation", "tuning"},
    "holding_back": {"tempo"},
    "played_too_fast": {"tempo", "tuning"},
}
"""Pairs that are for some aspects only; all others are for every analyzer there is."""

CASES = [
    pytest.param(analyzer, name, id=f"{analyzer.aspect}-{name}")
    for analyzer in ANALYZERS
    for name in PAIRS
    if analyzer.aspect in ABOUT.get(name, {analyzer.aspect})
]


@functools.cache
def compared(analyzer: Analyzer, name: str) -> tuple[Any, Any]:
    """Differences of a pair, there and back."""
    pair = PAIRS[name]()
    return (
        analyzer.compare(pair.reference, pair.candidate, pair.match),
        analyzer.compare(pair.candidate, pair.reference, pair.match.mirrored()),
    )


# --- the contract -------------------------------------------------------------------------------


@every_analyzer
def test_every_field_declares_what_becomes_of_it(analyzer: Analyzer) -> None:
    assert undeclared(difference_of(analyzer)) == []


@pytest.mark.parametrize(("analyzer", "name"), CASES)
def test_exchanged_recordings_give_the_mirrored_difference(analyzer: Analyzer, name: str) -> None:
    forth, back = compared(analyzer, name)
    assert contradictions(forth, back, PAIRS[name]().match) == []


@pytest.mark.parametrize(("analyzer", "name"), CASES)
def test_exchanged_recordings_give_the_mirrored_findings(analyzer: Analyzer, name: str) -> None:
    forth, back = (analyzer.findings(difference) for difference in compared(analyzer, name))
    assert unlike(forth, back, PAIRS[name]().match.time_map) == []


@every_analyzer
def test_one_recording_against_itself_tells_nothing(analyzer: Analyzer) -> None:
    pair = on_one_clock(piece(), piece(), same_take=True)
    for match in (pair.match, replace(pair.match, same_take=False)):
        difference = analyzer.compare(pair.reference, pair.reference, match)
        assert contradictions(difference, difference, match) == []
        assert analyzer.findings(difference) == []


@every_analyzer
@pytest.mark.parametrize("gain_db", [-10.0, 7.0])
def test_gain_alone_tells_nothing(analyzer: Analyzer, gain_db: float) -> None:
    louder = 10 ** (gain_db / 20) * piece()
    pair = on_one_clock(piece(), louder, same_take=True, gain_db=gain_db)
    difference = analyzer.compare(pair.reference, pair.candidate, pair.match)
    assert contradictions(difference, difference, pair.match, 2 * gain_db) == []
    assert analyzer.findings(difference) == []


@every_analyzer
def test_the_pairs_make_every_analyzer_speak(analyzer: Analyzer) -> None:
    """A contract kept by silence is none: each value and each kind of finding turns up."""
    told: set[str] = set()
    kinds: set[str] = set()
    turning = {
        item.name
        for item in fields(difference_of(analyzer))
        if item.metadata.get("mirror") in ("signed", "ratio", "percent")
    }
    for param in CASES:
        one, name = param.values
        if one is not analyzer:
            continue
        forth, _ = compared(analyzer, name)
        kinds |= {finding.kind for finding in analyzer.findings(forth)}
        for field_name in turning:
            value = getattr(forth, field_name)
            if value is not None and np.size(value):
                numbers = np.array(value, np.float64)
                told |= {field_name} if np.nanmax(np.abs(numbers), initial=0.0) > 0 else set()
    print(analyzer.aspect, turning - told, kinds)
    assert turning - told == set()
    assert kinds or analyzer.findings.__doc__.startswith("Nothing")


def difference_of(analyzer: Analyzer) -> type:
    """Type of an analyzer's difference."""
    result: type = typing.get_type_hints(type(analyzer).compare)["return"]
    return result
