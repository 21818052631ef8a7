"""The contract of the registry: either way round the same is said, of nothing nothing is said."""

from __future__ import annotations

import functools
import typing
from collections.abc import Callable
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import ANALYZERS, placement
from mixcompare.aspects.base import Analyzer
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.fields import SIGNED, exchanged_with
from mixcompare.findings import Cause, Description, Finding
from mixcompare.knowledge.notes import PartNotes
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.results import Results
from tests import synthetic
from tests.aspects import stereo_music
from tests.aspects.contract import contradictions, mirrored_kind, undeclared, unlike
from tests.by_hand import said
from tests.recorded import features_of
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]
RATE_HZ = synthetic.RATE_HZ

every_analyzer = pytest.mark.parametrize("analyzer", ANALYZERS, ids=lambda one: one.aspect)


# --- pairs with something to tell ---------------------------------------------------------------


def heard(samples: npt.ArrayLike) -> Features:
    return features_of(samples, RATE_HZ)


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


def a_figure_elsewhere() -> Pair:
    """The figure's own sound taken from one place and put at the mirrored one."""
    without = synthetic.play(7, gains_db={"figure": -200.0})
    return on_one_clock(piece(), without + (piece() - without)[:, ::-1], same_take=True)


def a_late_channel() -> Pair:
    """The right channel 20 samples later."""
    late = np.column_stack([piece()[:, 0], np.roll(piece()[:, 1], 20)])
    return on_one_clock(piece(), late, same_take=True)


def a_register_that_swells() -> Pair:
    """6 dB more from 250 to 500 Hz for four seconds."""
    sos = signal.butter(2, [250, 500], "bandpass", fs=RATE_HZ, output="sos")
    more = signal.sosfiltfilt(sos, piece(), axis=0)
    time_s = np.arange(len(piece())) / RATE_HZ
    inside = np.clip(np.minimum(time_s - 5.0, 9.0 - time_s) / 0.2, 0, 1)[:, None]
    return on_one_clock(piece(), piece() + inside * more, same_take=True)


def a_wetter_hall() -> Pair:
    """The same notes with a room; both stop in time to hear it die away."""
    rest, half = np.zeros((3 * RATE_HZ, 2)), len(piece()) // 2
    dry = np.concatenate([piece()[:half], rest, piece()[half:], rest])
    return on_one_clock(
        synthetic.in_room(dry, 2.0, -3.0), synthetic.in_room(dry, 3.0, 3.0, seed=2), same_take=True
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


def clipped() -> Pair:
    ceiling = 0.7 * np.abs(piece()).max()
    return on_one_clock(piece(), np.clip(piece(), -ceiling, ceiling), same_take=True)


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
        wave *= np.exp(-np.maximum(time_s - ratio * length, 0) / (0.01 + 0.03 * ratio))
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


def struck(onsets_s: FloatArray) -> Features:
    """Short struck notes."""
    rate_hz = 16_000
    out = np.zeros((int((onsets_s[-1] + 1) * rate_hz), 2))
    time_s = np.arange(3000) / rate_hz
    for index, onset_s in enumerate(onsets_s):
        note = np.sin(2 * np.pi * (440 + 55 * (index % 5)) * time_s) * np.exp(-time_s / 0.04)
        first = int(onset_s * rate_hz)
        out[first : first + 3000] += 0.2 * note[:, None]
    return Features.of(Recording.from_array(out, rate_hz))


def freer() -> Pair:
    """On the whole 8 % slower, now more and now less, and holding back at one place."""
    even = 0.5 + 0.25 * np.arange(150)
    free = 1.06 * even - 0.12 * np.cos(2 * np.pi * even / 15)
    free += 0.4 * np.clip((even - 21.0) / 2.5, 0, 1)
    return Pair(struck(even), struck(free), Match(TimeMap(even, free, np.full(150, 8.0))))


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
        a_figure_elsewhere,
        a_late_channel,
        a_register_that_swells,
        turned_wider_and_sharp,
        detached,
        slower,
        a_wetter_hall,
        a_longer_impulse,
        smaller_swings,
        clipped,
        a_tone_higher,
        freer,
        played_too_fast,
    )
}
ABOUT = {
    "turned_wider_and_sharp": {
        "loudness",
        "balance",
        "tone",
        "width",
        "placement",
        "dynamics",
        "tuning",
    },
    "a_wetter_hall": {"room", "width"},
    "a_longer_impulse": {"room", "loudness"},
    "smaller_swings": {"dynamics", "loudness"},
    "a_late_channel": {"placement", "width"},
    "clipped": {"dynamics"},
    "a_tone_higher": {"articulation", "tuning"},
    "freer": {"tempo"},
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
def back_from(name: str) -> Pair:
    """A pair, its recordings exchanged: one for all analyzers."""
    return PAIRS[name]().mirrored()


@functools.cache
def compared(analyzer: Analyzer, name: str) -> tuple[Any, Any]:
    """Differences of a pair, there and back."""
    return analyzer.compare(PAIRS[name]()), analyzer.compare(back_from(name))


@functools.cache
def with_itself(same_take: bool) -> Pair:
    first = louder_by(0.0).reference
    return Pair(first, first, replace(louder_by(0.0).match, same_take=same_take))


@functools.cache
def louder_by(gain_db: float) -> Pair:
    louder = 10 ** (gain_db / 20) * piece()
    return on_one_clock(piece(), louder, same_take=True, gain_db=gain_db)


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
    pair, (there, back) = PAIRS[name](), compared(analyzer, name)
    scale = getattr(there, "image_scale", None) or 1.0
    forth = analyzer.findings(there, pair)
    assert unlike(forth, analyzer.findings(back, back_from(name)), pair.time_map, scale=scale) == []


@every_analyzer
def test_one_recording_against_itself_tells_nothing(analyzer: Analyzer) -> None:
    for itself in (with_itself(same_take=True), with_itself(same_take=False)):
        difference = analyzer.compare(itself)
        assert contradictions(difference, difference, itself.match) == []
        assert analyzer.findings(difference, itself) == []


@every_analyzer
@pytest.mark.parametrize("gain_db", [-10.0, 7.0])
def test_gain_alone_tells_nothing(analyzer: Analyzer, gain_db: float) -> None:
    pair = louder_by(gain_db)
    difference = analyzer.compare(pair)
    assert contradictions(difference, difference, pair.match, gain_db, exact=2e-3) == []
    assert analyzer.findings(difference, pair) == []


@every_analyzer
def test_the_pairs_make_every_analyzer_speak(analyzer: Analyzer) -> None:
    """A contract kept by silence is none: each value and each kind of finding turns up."""
    told: set[str] = set()
    kinds: set[str] = set()
    seen = [one.measurements[analyzer.aspect].difference for one in (found(True), in_rooms(True))]
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
        kinds |= {finding.kind for finding in analyzer.findings(forth, PAIRS[name]())}
        seen += [forth]
    for difference in seen:
        for field_name in turning:
            value = getattr(difference, field_name)
            if value is not None and np.size(value):
                numbers = np.array(value, np.float64)
                told |= {field_name} if np.nanmax(np.abs(numbers), initial=0.0) > 0 else set()
    assert turning - told == set()
    assert kinds or analyzer.findings.__doc__.startswith("Nothing")


def difference_of(analyzer: Analyzer) -> type:
    """Type of an analyzer's difference."""
    result: type = typing.get_type_hints(type(analyzer).compare)["return"]
    return result


# --- the whole chain ----------------------------------------------------------------------------


@functools.cache
def found(there: bool) -> Results:
    """A figure 6 dB up, less bass, 3 dB louder and 0.4 s later; alignment found."""
    louder = synthetic.play(7, gains_db={"figure": 6.0})
    louder = stereo_music.filtered(louder, ("low_shelf", 150.0, -6.0, 0.7), rate_hz=RATE_HZ)
    late = np.concatenate([1e-5 * np.ones((int(0.4 * RATE_HZ), 2)), np.sqrt(2) * louder])
    one, other = PAIRS["slower"]().reference, heard(late)
    return told_of(one, other) if there else told_of(other, one)


@functools.cache
def in_rooms(there: bool) -> Results:
    """The melody 5 dB up in another room, and a high shelf on all."""
    louder = synthetic.in_room(synthetic.play(7, gains_db={"melody": 5.0}), 1.6, -4.0, seed=2)
    shelf = ("high_shelf", 1500.0, 4.0, 0.7)
    other = heard(stereo_music.filtered(louder, shelf, rate_hz=RATE_HZ))
    one = heard(synthetic.in_room(piece(), 1.2, -5.0))
    return told_of(one, other) if there else told_of(other, one)


def test_what_is_told_of_two_rooms_is_mirrored() -> None:
    forth, back = ({f.kind: f for f in in_rooms(there).findings} for there in (True, False))
    for results in (in_rooms(True), in_rooms(False)):
        assert results.measurements["balance"].difference.one_tail
    shelves = [
        in_rooms(there).measurements["tone"].difference.filter_db[-1] for there in (True, False)
    ]
    assert shelves[0] == pytest.approx(4.0, abs=1.0)
    assert shelves[1] == pytest.approx(-shelves[0], abs=0.5)
    assert "tone_brighter" in forth
    assert {mirrored_kind(kind) for kind in forth} == set(back)


def test_the_whole_comparison_is_mirrored() -> None:
    forth, back = found(True), found(False)
    assert forth.alignment.relation == back.alignment.relation == "same_take"
    assert forth.alignment.offset_s == pytest.approx(0.4, abs=1e-3)
    assert back.alignment.offset_s == pytest.approx(-0.4, abs=1e-3)
    assert forth.level is not None
    assert back.level is not None
    assert forth.level.gain_db == pytest.approx(3.01, abs=0.1)
    assert back.level.gain_db == pytest.approx(-forth.level.gain_db, abs=1e-3)
    assert back.level.interval == pytest.approx(
        (-forth.level.interval[1], -forth.level.interval[0]), abs=0.05
    )
    kinds = {finding.kind for finding in forth.findings}
    assert kinds == {"repeating_figure_louder", "tone_band_weaker"}
    scale = forth.measurements["placement"].difference.image_scale
    assert unlike(forth.findings, back.findings, forth.alignment.time_map, scale=scale) == []
    ranks = {mirrored_kind(one.kind): one.rank for one in forth.findings}
    assert {one.kind: one.rank for one in back.findings} == ranks


# --- the check itself ---------------------------------------------------------------------------


@dataclass(frozen=True)
class Toy:
    """Difference in level, made wrong in a known way by ``twisted``."""

    level_db: float = field(metadata=SIGNED)
    level_db_interval: tuple[float, float]
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Undeclared:
    level_db: float
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class HoldsUndeclared:
    records: tuple[Undeclared, ...] = ()


@dataclass(frozen=True)
class PointsNowhere:
    level_db: float = field(metadata=exchanged_with("other_db"))


@dataclass(frozen=True)
class ToyAnalyzer:
    """Compares the level of the seventh second against that of the rest."""

    twisted: Callable[[float], float] = float
    deaf_to_gain: bool = True
    aspect = "toy"
    about = Description("Toy", "How loud one second is.", "By hand.")

    def measure(self, features: Features) -> float:
        power = features.k_power.sum(axis=1)
        return float(
            10 * np.log10(power[600:700].mean() / (power.mean() if self.deaf_to_gain else 1))
        )

    def compare(self, pair: Pair) -> Toy:
        value = self.twisted(self.measure(pair.candidate) - self.measure(pair.reference))
        return Toy(value, (value - 1.0, value + 1.0))

    def findings(self, difference: Toy, pair: Pair) -> list[Finding]:
        return []


def against(toy: ToyAnalyzer, pair: Pair) -> list[str]:
    """What speaks against a toy: exchanged, against itself, and with gain alone."""
    there, back = toy.compare(pair), toy.compare(pair.mirrored())
    itself = toy.compare(Pair(pair.reference, pair.reference, pair.match))
    gain = louder_by(7.0)
    louder = toy.compare(gain)
    return [
        name
        for name, one, other, match in (
            ("exchanged", there, back, pair.match),
            ("itself", itself, itself, pair.match),
            ("gain", louder, louder, gain.match),
        )
        if contradictions(one, other, match, exact=1e-3)
    ]


@pytest.mark.parametrize(
    ("toy", "wrong"),
    [
        (ToyAnalyzer(), []),
        (ToyAnalyzer(lambda value: 7 + abs(value)), ["exchanged", "itself", "gain"]),
        (ToyAnalyzer(abs), ["exchanged"]),
        (ToyAnalyzer(lambda value: 1.02 * value + 0.02), ["exchanged", "itself", "gain"]),
        (ToyAnalyzer(lambda value: max(value, -0.1)), ["exchanged"]),
        (ToyAnalyzer(deaf_to_gain=False), ["gain"]),
    ],
)
def test_the_check_fails_who_breaks_the_contract(toy: ToyAnalyzer, wrong: list[str]) -> None:
    pair = PAIRS["a_register_that_swells"]()
    assert abs(toy.measure(pair.candidate) - toy.measure(pair.reference)) > 0.2
    assert against(toy, pair) == wrong


def test_an_interval_that_keeps_its_ends_fails() -> None:
    match = louder_by(0.0).match
    there = Toy(2.0, (1.0, 2.5))
    assert contradictions(there, Toy(-2.0, (-2.5, -1.0)), match) == []
    assert contradictions(there, Toy(-2.0, (-1.0, -2.5)), match) != []
    assert contradictions(there, Toy(-2.0, (-3.0, -1.5)), match) != []


def test_a_field_without_a_declaration_fails() -> None:
    assert undeclared(Toy) == []
    assert undeclared(Undeclared) == ["Undeclared.level_db"]
    assert undeclared(HoldsUndeclared) == ["Undeclared.level_db"]
    assert undeclared(PointsNowhere) == ["PointsNowhere.level_db: no other_db"]


def finding_of(kind: str, difference: float, **changed: Any) -> Finding:
    return replace(
        Finding("toy", kind, "it", difference, (difference - 1, difference + 1), "dB",
                abs(difference), said(0.9), ((1.0, 3.0),), None, Cause(0.0, 0.0, 1.0), "", ()),
        **changed,
    )  # fmt: skip


@pytest.mark.parametrize(
    "back",
    [
        [],
        [finding_of("figure_louder", -3.0)],
        [finding_of("figure_weaker", 3.0)],
        [finding_of("figure_weaker", -4.0)],
        [finding_of("figure_weaker", -3.0, interval=(-4.5, -2.0))],
        [finding_of("figure_weaker", -3.0, spans_s=((2.0, 3.0),))],
        [finding_of("figure_weaker", -3.0, candidate_spans_s=((0.0, 3.0),))],
        [finding_of("figure_weaker", -3.0, cause=Cause(0.0, 1.0, 0.0))],
        [finding_of("figure_weaker", -3.0, jnd=2.0)],
        [finding_of("figure_weaker", -3.0, aspect="other")],
    ],
)
def test_a_finding_that_is_no_mirror_image_fails(back: list[Finding]) -> None:
    forth, time_map = [finding_of("figure_louder", 3.0)], louder_by(0.0).match.time_map
    assert unlike(forth, [finding_of("figure_weaker", -3.0)], time_map) == []
    assert unlike(forth, back, time_map) != []


def test_with_exchanged_channels_either_recording_is_told_in_its_own_sides() -> None:
    """A move to the right in the reference's sides is one to the left in the candidate's."""
    pair = PAIRS["turned_wider_and_sharp"]()
    sharp = stereo_music.music(0, 446.0) * np.array([0.7, 1.2])
    other = stereo_music.features_of(stereo_music.with_side(sharp, 1.3)[:, ::-1])
    match = replace(pair.match, channels_swapped=True)
    straight, _ = compared(placement.analyzer, "turned_wider_and_sharp")
    exchanged = Pair(pair.reference, other, match)
    forth = placement.analyzer.compare(exchanged)
    back = placement.analyzer.compare(exchanged.mirrored())
    assert forth.turn_db == pytest.approx(straight.turn_db, abs=1e-6)
    assert back.turn_db == pytest.approx(forth.turn_db / forth.image_scale, abs=0.15)
    kinds = {finding.kind for finding in placement.analyzer.findings(forth, exchanged)}
    assert kinds == {"channels_swapped", "moved_right"}


@pytest.mark.parametrize(("side", "balance"), [(1.3, 1.0), (0.7, 1.0), (1.0, 1.5), (1.0, 0.7)])
def test_breadth_and_turn_of_the_image_are_those_that_were_made(
    side: float, balance: float
) -> None:
    """The difference of the channels by a factor, or the right one louder: ordinary algebra."""
    made = stereo_music.with_side(stereo_music.music(), side) * [1.0, balance]
    first = stereo_music.features()
    told = placement.analyzer.compare(
        Pair(first, stereo_music.features_of(made), stereo_music.same_clock(first))
    )
    assert told.image_scale == pytest.approx(side, abs=0.06)
    assert told.turn_db == pytest.approx(20 * np.log10(balance), abs=0.3)
