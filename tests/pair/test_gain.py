"""Overall level: what most of the sound agrees on, its sign, and an interval that holds it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import Features
from mixcompare.pair.gain import cell_weights, match_level
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from tests.aspects import stereo_music
from tests.aspects.stereo_music import features_of, music, same_clock

FloatArray = npt.NDArray[np.float64]
SECONDS = 24
FRAMES = 50 * SECONDS + 1
PITCHES = 85


def cells(power: FloatArray) -> Features:
    """A recording that consists of these semitone energies alone, shape (frames, pitches)."""
    return replace(
        stereo_music.features(),
        semitone_power=power.astype(np.float32),
        duration_s=float(SECONDS),
        usable_band_hz=(0.0, 2_600.0),
    )


def made(
    rng: np.random.Generator, gain_db: float, scatter_db: float, share_louder: float = 0.0
) -> tuple[Features, Features]:
    """A pair whose cells differ by the gain and by a scatter that changes every second.

    A share of the pitches is 6 dB louder besides.
    """
    level_db = rng.uniform(-46, -40, PITCHES)
    away_db = np.repeat(scatter_db * rng.standard_normal((SECONDS, PITCHES)), 50, axis=0)
    away_db += np.repeat(0.5 * rng.standard_normal((SECONDS, 1)), 50, axis=0)
    away_db = np.concatenate([away_db, away_db[-1:]])
    more_db = 6.0 * (np.arange(PITCHES) * 9 % 20 < 20 * share_louder)
    reference = level_db - away_db / 2
    return cells(10 ** (reference / 10)), cells(
        10 ** ((reference + away_db + gain_db + more_db) / 10)
    )


def whole(**known: float) -> Match:
    return Match(TimeMap.linear(0.0, 1.0, 0.0, float(SECONDS)), **known)  # type: ignore[arg-type]


@pytest.mark.parametrize("gain_db", [-12.0, -0.7, 5.0])
@pytest.mark.parametrize("same_take", [True, False])
def test_the_gain_of_a_scaled_recording(gain_db: float, same_take: bool) -> None:
    reference = stereo_music.features()
    candidate = features_of(music() * 10 ** (gain_db / 20))
    level = match_level(Pair(reference, candidate, same_clock(reference, same_take=same_take)))
    assert level.gain_db == pytest.approx(gain_db, abs=0.01)
    assert level.interval == pytest.approx((gain_db, gain_db), abs=0.01)
    back = match_level(Pair(candidate, reference, same_clock(reference, same_take=same_take)))
    assert back.gain_db == pytest.approx(-gain_db, abs=0.01)


@pytest.mark.parametrize("share_louder", [0.2, 0.45])
@pytest.mark.parametrize("sign", [1, -1])
def test_what_is_louder_in_part_does_not_count(
    share_louder: float, sign: int, rng: np.random.Generator
) -> None:
    # Up to nearly half the pitches 6 dB louder: a mean would say +2.7, a median nearly +2.
    pair = made(rng, 0.0, 1.0, share_louder)
    reference, candidate = pair[::sign]
    assert match_level(Pair(reference, candidate, whole())).gain_db == pytest.approx(0.0, abs=0.5)


def test_half_of_one_take_louder_leaves_the_other_half_as_it_was() -> None:
    reference = stereo_music.features()
    power = reference.semitone_power.copy()
    power[: int(0.45 * len(power))] *= 10**0.6
    louder = replace(reference, semitone_power=power, usable_band_hz=(0.0, 2_600.0))
    even = replace(reference, usable_band_hz=(0.0, 2_600.0))
    level = match_level(Pair(even, louder, same_clock(reference)))
    assert level.gain_db == pytest.approx(0.0, abs=0.05)
    assert match_level(Pair(louder, even, same_clock(reference))).gain_db == pytest.approx(
        0, abs=0.05
    )


@pytest.mark.parametrize("known_db", [0.0, 15.0])
@pytest.mark.parametrize("gain_db", [-20.0, 20.0])
def test_scatter_pulls_the_gain_to_neither_side(gain_db: float, known_db: float) -> None:
    # Two performances whose cells differ by 6 dB at random, one recorded 20 dB hotter; what the
    # match already knows of the gain must not matter. Mean of 6 pairs, each within 0.8 dB;
    # a candidate that counts by its softer side alone would be 1.1 dB off.
    errors = [
        match_level(
            Pair(*made(np.random.default_rng(seed), gain_db, 6.0), whole(gain_db=known_db))
        ).gain_db
        - gain_db
        for seed in range(6)
    ]
    assert np.mean(errors) == pytest.approx(0.0, abs=0.5)


def test_the_interval_holds_the_truth() -> None:
    # 80 pairs of made-up performances; the interval says 95 %.
    held, widths, errors = 0, [], []
    for seed in range(80):
        level = match_level(Pair(*made(np.random.default_rng(seed), -4.0, 3.0), whole()))
        low, high = level.interval
        assert low <= level.gain_db <= high
        held += low <= -4.0 <= high
        widths.append(high - low)
        errors.append(level.gain_db + 4.0)
    assert 0.92 * 80 <= held <= 0.99 * 80
    assert np.mean(widths) == pytest.approx(2 * 1.96 * np.std(errors), rel=0.25)


def test_weights_are_a_loudness_of_what_is_audible() -> None:
    # Ten decibels more are twice the loudness (Stevens 1957: power 0.3).
    power = np.array([1e-6, 1e-5, 1e-4])
    weight = cell_weights(power, np.array([True, True, False]))
    assert weight[1] / weight[0] == pytest.approx(2.0, abs=0.01)
    assert weight[2] == 0
