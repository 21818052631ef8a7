"""Unpitched percussion among written parts: bursts of noise whose levels are given."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.aspects import balance
from mixcompare.audio.recording import Recording
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.notes import PartStrokes
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.pair.undo import Ride
from mixcompare.parts.heard import is_open
from mixcompare.parts.levels import levels_of
from mixcompare.parts.percussion import with_percussion
from mixcompare.parts.values import Levels, PartLevel
from tests import synthetic
from tests.parts.written import BARS, SEED, parts
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]


RATTLE_S = np.arange(1.0, 18.0, 0.9)  # one and a half beats
DRUM_S = np.arange(1.6, 18.0, 1.7)


def burst(low_hz: float, high_hz: float, seed: int) -> FloatArray:
    time = np.arange(RATE_HZ // 2) / RATE_HZ
    noise = np.random.default_rng(seed).standard_normal(len(time))
    sos = signal.butter(4, (low_hz, high_hz), "bandpass", fs=RATE_HZ, output="sos")
    return np.asarray(signal.sosfilt(sos, noise) * np.exp(-12 * time))


def struck(samples: int, at_s: FloatArray, own: FloatArray, gain_db: float) -> FloatArray:
    out = np.zeros((samples, 2))
    for at in at_s:
        first = round(at * RATE_HZ)
        out[first : first + len(own)] += own[: samples - first, None]
    return out * 10 ** (gain_db / 20)


def played(
    rattle_db: float = 0.0, drum_db: float = 0.0, rt60_s: float = 1.0, wet_db: float = -9.0
) -> FloatArray:
    """Music of four voices with two instruments of noise, in a room."""
    wave = synthetic.play(SEED, bars=BARS)
    loud = 0.3 * float(np.abs(wave).max())
    wave = wave + loud * struck(len(wave), RATTLE_S, burst(5000, 9500, 1), rattle_db)
    wave = wave + 15 * loud * struck(len(wave), DRUM_S, burst(60, 140, 2), drum_db)
    return synthetic.in_room(wave, rt60_s, wet_db)


@functools.cache
def features(rattle_db: float = 0.0, drum_db: float = 0.0, **room: float) -> Features:
    """The same as it is read."""
    wave = played(rattle_db, drum_db, **room)
    return Features.of(Recording.from_array(0.5 * wave / np.abs(wave).max(), RATE_HZ))


def rows(at_s: FloatArray, rolled: float = 0.0) -> FloatArray:
    return np.array([(at, at + 0.3, 80.0, rolled) for at in at_s])


STRUCK = (PartStrokes("Rattle", rows(RATTLE_S)), PartStrokes("Drum", rows(DRUM_S)))


@functools.cache
def one_clock() -> Alignment:
    """Of every pair: nothing here is moved in time."""
    return align(features(), features())


def pair_of(candidate: Features, *written: PartStrokes) -> Pair:
    pair = aligned(features(), candidate, one_clock())
    pair = pair.with_parts(parts(), None, written or STRUCK)
    return pair.with_gain(match_level(pair).gain_db)


def found_in(pair: Pair) -> Levels:
    split = split_pair(pair)
    found = with_percussion(levels_of(pair, split), pair, split)
    assert found is not None
    return found


def part_of(found: Levels, name: str) -> PartLevel:
    return next(part for part in found.parts if part.name == name)


@pytest.mark.parametrize(("rattle_db", "drum_db"), [(4.0, 0.0), (0.0, -5.0), (0.0, 0.0)])
def test_levels_of_strokes_and_what_is_listed(rattle_db: float, drum_db: float) -> None:
    found = found_in(pair_of(features(rattle_db, drum_db)))
    assert [part.name for part in found.parts][-2:] == ["Rattle", "Drum"]
    listed = {name for players in found.players for name in players.names}
    for name, truth_db in (("Rattle", rattle_db), ("Drum", drum_db)):
        part = part_of(found, name)
        assert part.level_db == pytest.approx(truth_db, abs=0.5)
        assert part.level_db_interval is not None
        assert part.level_db_interval[0] - 0.1 <= truth_db <= part.level_db_interval[1] + 0.1
        assert part.reason is None
        assert (name in listed) == (truth_db != 0)
        assert part.audible_share > 0.5
        assert all(abs(one.level_db - truth_db) < 1.0 for one in part.course)
        assert part.course
    assert len(found.changes) == len(listed) == int(rattle_db != 0) + int(drum_db != 0)


def test_a_gain_that_follows_the_music_widens_the_interval() -> None:
    def interval_of(following: float) -> tuple[float, float]:
        pair = pair_of(features(4.0))
        ride = Ride(np.zeros(len(pair.spectra.times_s)), np.ones(len(pair.spectra.times_s), bool))
        ride.level_db[0] = 1e-9  # it moves, as good as not at all
        # Where cached properties keep their values.
        pair.__dict__.update(ride=ride, following_in_attacks=following)
        found = part_of(found_in(pair), "Rattle").level_db_interval
        assert found is not None
        return found

    plain, pumped = interval_of(0.0), interval_of(-0.4)
    # 3 dB louder than other onsets, 0.4 dB down for each of them: our choice.
    np.testing.assert_allclose(np.subtract(pumped, plain), [-1.2, 1.2], atol=0.01)


def test_another_tail_leaves_them_as_they_are() -> None:
    found = found_in(pair_of(features(4.0, rt60_s=2.0, wet_db=-3.0)))
    rattle, drum = part_of(found, "Rattle"), part_of(found, "Drum")
    assert rattle.level_db == pytest.approx(4.0, abs=1.0)
    assert drum.level_db is None or drum.level_db == pytest.approx(0.0, abs=1.5)


def test_exchanged_recordings_are_mirror_images() -> None:
    forth = pair_of(features(4.0))
    back = found_in(forth.mirrored())
    assert part_of(back, "Rattle").level_db == pytest.approx(-4.0, abs=0.5)


def test_what_one_recording_lacks_is_at_least_so_far_down() -> None:
    found = found_in(pair_of(features(-100.0)))
    interval = part_of(found, "Rattle").level_db_interval
    assert interval is not None
    assert is_open(interval)
    assert -15 <= interval[1] < -8
    assert part_of(found, "Rattle").course == ()
    assert any(players.names == ("Rattle",) for players in found.players)


def test_what_cannot_be_told_says_why() -> None:
    nowhere = np.arange(1.25, 18.0, 2.4)
    written = (
        PartStrokes("Rattle", rows(RATTLE_S, rolled=1.0)),
        PartStrokes("Drum", rows(DRUM_S[:2])),
        PartStrokes("Gong", rows(np.array([300.0, 301.0, 302.0]))),
        PartStrokes("Wood block", rows(nowhere)),
    )
    found = found_in(pair_of(features(), *written))
    reasons = [str(part.reason) for part in found.parts[-4:]]
    assert all(part.level_db is None for part in found.parts[-4:])
    assert "rolls" in reasons[0]
    assert "2 strokes" in reasons[1]
    assert "not struck" in reasons[2]
    assert "do not stand out" in reasons[3]


def test_a_stroke_that_follows_too_fast_is_none() -> None:
    twice = np.sort(np.concatenate([RATTLE_S, RATTLE_S + 0.1]))
    found = found_in(pair_of(features(4.0), PartStrokes("Rattle", rows(twice)), STRUCK[1]))
    assert part_of(found, "Rattle").level_db == pytest.approx(4.0, abs=0.5)
    fast = PartStrokes("Rattle", rows(np.arange(1.0, 1.4, 0.1)))
    few = part_of(found_in(pair_of(features(4.0), fast)), "Rattle")
    assert few.level_db is None
    assert "one stroke" in str(few.reason)


def test_instruments_that_are_always_struck_together_are_told_so() -> None:
    both = PartStrokes("Rattle", rows(RATTLE_S)), PartStrokes("Bells", rows(RATTLE_S + 0.005))
    found = found_in(pair_of(features(4.0), *both))
    assert part_of(found, "Rattle").together_with == ("Bells",)
    assert part_of(found, "Bells").together_with == ("Rattle",)


def test_other_instruments_are_not_compared() -> None:
    pair = pair_of(features(4.0))
    split = split_pair(pair)
    levels = levels_of(pair, split)
    assert levels is not None
    found = with_percussion(replace(levels, other_instruments=True), pair, split)
    assert found is not None
    assert "Other instruments" in str(part_of(found, "Rattle").reason)


def test_written_dynamics_are_those_of_the_strokes() -> None:
    # Forte is 96 by the reader's table.
    loud = rows(RATTLE_S)
    loud[:, 2] = 96.0
    found = found_in(pair_of(features(), PartStrokes("Rattle", loud, is_marked=True)))
    assert part_of(found, "Rattle").written == "f"


def test_without_strokes_nothing_is_added_and_without_other_parts_they_are_told() -> None:
    pair = pair_of(features(4.0))
    split = split_pair(pair)
    plain = pair.with_parts(parts())
    assert with_percussion(None, plain, split) is None
    alone = with_percussion(None, pair, split)
    assert alone is not None
    assert [part.name for part in alone.parts] == ["Rattle", "Drum"]


def test_the_list_names_them_with_advice() -> None:
    pair = pair_of(features(4.0))
    difference = balance.analyzer.compare(pair)
    (finding,) = balance.analyzer.findings(difference, pair)
    assert finding.subject == "Rattle part"
    assert finding.kind == "part_louder"
    assert finding.difference == pytest.approx(4.0, abs=0.5)
    assert any("Rattle" in advice for advice in finding.advice)
