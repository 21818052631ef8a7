"""Levels against time, and the loudness range of what two recordings share."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import Features
from mixcompare.pair import levels
from mixcompare.pair.match import Match
from mixcompare.standards import tech3342
from tests.aspects import stereo_music

FloatArray = npt.NDArray[np.float64]


def recording(lufs: FloatArray, channels: int = 2) -> Features:
    """Features whose K-weighted loudness in 10 ms steps is this."""
    power = 10 ** ((lufs + 0.691) / 10) / channels
    return replace(
        stereo_music.features(),
        k_power=np.repeat(power[:, np.newaxis], channels, axis=1),
        duration_s=len(lufs) / 100,
    )


def flat(seconds: float, lufs: float = -20.0) -> FloatArray:
    return np.full(round(100 * seconds), lufs)


def test_a_window_lies_around_its_time() -> None:
    # A step up at 10 s: the 3 s around 10 s hold half of either, those around 8.5 s none of it.
    loud = flat(20.0)
    loud[1000:] = -10.0
    features = recording(loud)
    half_db = 10 * np.log10((0.1 + 0.01) / 2)
    short = levels.short_term_lufs(features, [1.49, 1.5, 8.5, 10.0, 11.5, 18.5, 18.6])
    assert short[1:6] == pytest.approx([-20.0, -20.0, half_db, -10.0, -10.0], abs=1e-6)
    assert np.isnan(short[[0, 6]]).all()
    momentary = levels.momentary_lufs(features, [0.1, 0.2, 9.8, 10.0, 10.2, 19.8])
    assert momentary[1:] == pytest.approx([-20.0, -20.0, half_db, -10.0, -10.0], abs=1e-6)
    assert np.isnan(momentary[0])


def test_mono_counts_twice_in_contours_and_once_in_loudness() -> None:
    mono = recording(flat(10.0, -23.01), channels=1)
    assert levels.stereo_power(mono) == pytest.approx(2 * mono.k_power[:, 0])
    assert levels.contour_lufs(mono, [5.0])[0] == pytest.approx(-20.0, abs=0.01)
    assert levels.short_term_lufs(mono, [5.0], as_stereo=True)[0] == pytest.approx(-20.0, abs=0.01)
    assert levels.short_term_lufs(mono, [5.0])[0] == pytest.approx(-23.01, abs=0.01)
    stereo = recording(flat(10.0))
    assert levels.short_term_lufs(stereo, [5.0], as_stereo=True)[0] == pytest.approx(-20.0)


def test_a_contour_is_a_raised_cosine_a_second_wide() -> None:
    click = flat(4.0, -300.0)
    click[200] = 0.0  # from 2.00 to 2.01 s
    contour = levels.contour_lufs(recording(click), [1.45, 1.755, 2.005, 2.255, 2.56])
    # It sums to half its width of 102 steps; 25 steps away it has cos^2(25 / 102 pi) of its height.
    top = -10 * np.log10(51)
    assert contour[2] == pytest.approx(top, abs=0.02)
    assert contour[[1, 3]] == pytest.approx([top - 2.88] * 2, abs=0.02)
    assert contour[[0, 4]].max() < -80
    # At the ends the mean is taken of what there is.
    assert levels.contour_lufs(recording(flat(4.0)), [0.0, 4.0]) == pytest.approx([-20.0] * 2)


def test_rests_lie_25_lu_under_the_mean() -> None:
    contour = np.array([-20.0] * 100 + [-44.5] * 10 + [-45.6] * 10 + [-80.0] * 10)
    music = levels.is_music(contour, contour)
    # Mean power of the 120 moments above -70: -20.8, so the gate lies at -45.8.
    assert music[:110].all()
    lower = np.array([-20.0] * 100 + [-46.5] * 10)
    assert levels.is_music(lower, lower).tolist() == [True] * 100 + [False] * 10
    # Where either lies under -70 LUFS there is no music in common.
    assert levels.is_music(contour[:2], contour[:2], np.array([-71.0, -69.0])).tolist() == [0, 1]
    assert not levels.is_music(contour, contour - 60).any()


def test_extremes_hold_no_rest() -> None:
    passages = np.linspace(-30.0, -20.0, 100)
    music = np.ones(100, np.bool_)
    assert levels.extremes(passages, music, 5.0) == (99, 0)
    # A rest at 10: in the 8 moments on either side (1.6 s) nothing is chosen.
    music[10] = False
    music[85:] = False
    assert levels.extremes(passages, music, 5.0) == (76, 0)
    music[:2] = False
    assert levels.extremes(passages, music, 5.0) == (76, 19)
    incomplete = passages.copy()
    incomplete[60:] = np.nan
    assert levels.extremes(incomplete, music, 5.0) == (59, 19)
    # With rests everywhere, what is loud enough as a whole will do; silence never does.
    nowhere = np.zeros(100, np.bool_)
    assert levels.extremes(passages, nowhere, 5.0) == (99, 0)
    assert levels.extremes(np.full(100, -np.inf), nowhere, 5.0) == (None, None)


def test_only_matched_steps_are_kept() -> None:
    reference = recording(np.arange(1000) / 100.0)
    candidate = recording(np.arange(1500) / 100.0)
    match = Match(TimeMap.linear(3.0, 1.0, 2.0, 7.0))  # 2-7 s lie at 5-10 s
    ours, theirs = levels.matched_steps(reference, candidate, match)
    assert ours == pytest.approx(reference.k_power[200:700])
    assert theirs == pytest.approx(candidate.k_power[500:1000])


def wandering(rng: np.random.Generator, steps: int, hold_s: float) -> FloatArray:
    """Smooth noise of standard deviation 1 in 10 ms steps, from one value every 0.1 s."""
    sigma = 10 * hold_s
    noise = ndimage.gaussian_filter1d(rng.standard_normal(steps // 10 + 400), sigma)
    scale = np.sqrt(2 * np.sqrt(np.pi) * sigma)
    return np.repeat(noise[200 : 200 + steps // 10] * scale, 10)


def performances(seed: int, seconds: int, slope: float) -> tuple[Features, Features, Match]:
    """Two whose levels follow the same phrases, one further than the other, each in its way."""
    rng = np.random.default_rng(seed)
    steps = 100 * seconds
    phrases = 4 * wandering(rng, steps, 2.0)
    reference = -23 + phrases + wandering(rng, steps, 1.0)
    candidate = -23 + slope * phrases + wandering(rng, steps, 1.0)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, float(seconds)))
    return recording(reference), recording(candidate), match


@pytest.mark.parametrize("sign", [1, -1])
def test_the_range_of_two_known_levels(sign: int) -> None:
    # Half of the time 8 LU louder against 3 LU: percentiles 10 and 95 lie in either level.
    far = np.tile(np.concatenate([flat(20.0, -30.0), flat(20.0, -22.0)]), 2)
    near = np.tile(np.concatenate([flat(20.0, -30.0), flat(20.0, -27.0)]), 2)
    pair = (far, near)[::sign]
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 80.0))
    told = levels.range_difference_lu(recording(pair[0]), recording(pair[1]), match)
    assert told is not None
    value, (low, high) = told
    assert value == pytest.approx(-5.0 * sign, abs=0.05)
    assert low <= value <= high


def test_the_interval_of_the_range_holds_the_truth() -> None:
    # Pairs of a minute; the truth is the mean of 100 other such pairs. The interval says 95 %.
    cases = 60
    others = [performances(seed, 60, 0.6)[:2] for seed in range(1000, 1100)]
    ranges = [[tech3342.loudness_range_lu(one.k_power) or 0.0 for one in pair] for pair in others]
    truth = float(np.mean(np.diff(ranges)))
    assert truth < -2
    held = 0
    for seed in range(cases):
        told = levels.range_difference_lu(*performances(seed, 60, 0.6))
        assert told is not None
        value, (low, high) = told
        assert low <= value <= high
        held += low <= truth <= high
    assert 0.92 * cases <= held <= 0.99 * cases


def test_the_range_mirrors() -> None:
    reference, candidate, match = performances(3, 60, 0.6)
    there = levels.range_difference_lu(reference, candidate, match)
    back = levels.range_difference_lu(candidate, reference, match.mirrored())
    assert there is not None
    assert back is not None
    assert there[0] == pytest.approx(-back[0], abs=1e-9)
    assert there[1] == pytest.approx((-back[1][1], -back[1][0]), abs=1e-9)


def test_no_range_under_the_gate() -> None:
    quiet = recording(flat(20.0, -75.0))
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, 20.0))
    assert levels.range_difference_lu(quiet, recording(flat(20.0)), match) is None
    assert levels.range_difference_lu(recording(flat(20.0)), quiet, match) is None
    short = Match(TimeMap.linear(0.0, 1.0, 0.0, 2.0))
    assert levels.range_difference_lu(recording(flat(20.0)), recording(flat(20.0)), short) is None


def banded(level_db: FloatArray) -> Features:
    """Features with these third-octave levels, shape (frames, 31), at 25 Hz."""
    power = np.repeat(10 ** (level_db[:, :, np.newaxis] / 10) / 2, 2, axis=2)
    return replace(
        stereo_music.features(), band_power=power.astype(np.float32), usable_band_hz=(0.0, 22_000.0)
    )


@pytest.mark.parametrize("change_db", [4.0, -4.0])
def test_a_common_change_is_what_all_registers_share(change_db: float) -> None:
    rng = np.random.default_rng(0)
    level = np.repeat(rng.uniform(-40, -30, (1, 31)), 501, axis=0)
    changed = level + 3.0 * (np.arange(31) > 15)  # brighter throughout: tone
    changed[:, 3] += 9.0 * (np.arange(501) > 300)  # one element that comes in louder
    changed[125:225] += change_db  # all of it from 5 to 9 s
    times = np.arange(0.0, 20.0, 0.2)
    music = np.ones(100, np.bool_)
    music[50:60] = False
    change = levels.common_change_db(
        banded(level), banded(changed), Match(TimeMap.linear(0.0, 1.0, 0.0, 20.0)), times, music
    )
    assert change[30:40] == pytest.approx(np.full(10, change_db), abs=0.02)
    assert change[:20] == pytest.approx(np.zeros(20), abs=0.02)
    assert change[70:] == pytest.approx(np.zeros(30), abs=0.02)
    assert np.isnan(change[50:60]).all()


def test_inaudible_registers_say_nothing() -> None:
    # Two thirds of the octaves lie 40 dB down and go their own way.
    level = np.full((501, 31), -20.0)
    level[:, 10:] = -60.0
    changed = level.copy()
    changed[250:, 10:] += 8.0
    times = np.arange(0.0, 20.0, 0.2)
    change = levels.common_change_db(
        banded(level), banded(changed), Match(TimeMap.linear(0.0, 1.0, 0.0, 20.0)),
        times, np.ones(100, np.bool_),
    )  # fmt: skip
    assert np.abs(change).max() < 0.01


def test_the_range_behind_the_interval_is_that_of_tech_3342() -> None:
    # Even steps from -30 to -20 LUFS: 95th minus 10th percentile (EBU Tech 3342, clause 3) by hand;
    # what lies more than 20 LU under the mean power, or under -70 LUFS, does not count.
    steps = np.linspace(-30.0, -20.0, 101)
    quiet = np.concatenate([steps, [-46.0, -60.0, -75.0, -np.inf]])
    assert tech3342.ranges_of(steps[:, None]) == pytest.approx(8.5)
    silent = np.full(len(quiet), -75.0)
    louder = quiet + 10.0  # -75 LUFS comes above the absolute gate, and stays below the other
    told = tech3342.ranges_of(np.column_stack([quiet, silent, louder]))
    assert told == pytest.approx([8.5, np.nan, 8.5], nan_ok=True)
