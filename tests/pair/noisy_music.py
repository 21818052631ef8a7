"""Noise of known level, made by numpy, laid under made-up music."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import Features
from mixcompare.pair.match import Match
from mixcompare.pair.noise import Noise, noise_between
from mixcompare.pair.pair import Pair, aligned
from tests import operations, recorded, synthetic
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]


@functools.cache
def played(**gains_db: float) -> FloatArray:
    return synthetic.in_room(synthetic.play(5, bars=8, gains_db=gains_db), 1.0, -9.0)


def white(samples: FloatArray, level_db: float, together: float = 0.0) -> FloatArray:
    """Noise with this root mean square (re 1), a share of it the same left and right."""
    rng = np.random.default_rng(3)
    apart, alike = rng.standard_normal(samples.shape), rng.standard_normal((len(samples), 1))
    noise = np.sqrt(1 - together) * apart + np.sqrt(together) * alike
    return np.asarray(10 ** (level_db / 20) * noise)


def hum(samples: FloatArray, mains_hz: float, levels_db: dict[int, float]) -> FloatArray:
    """Sines at multiples of the mains' frequency; a full-scale sine has 0 dB."""
    time_s = np.arange(len(samples))[:, None] / RATE_HZ
    lines = [
        10 ** (level_db / 20) * np.sin(2 * np.pi * number * mains_hz * time_s + number)
        for number, level_db in levels_db.items()
    ]
    return np.asarray(sum(lines) * np.ones(2))


def features_of(samples: FloatArray, rate_hz: int = RATE_HZ) -> Features:
    return recorded.features_of(samples, rate_hz)


@functools.cache
def reference() -> Features:
    return features_of(played())


def pair_of(one: Features, other: Features) -> Pair:
    return aligned(one, other, align(one, other))


def between(one: Features, other: Features) -> Noise:
    """Of two recordings on one clock."""
    seconds = min(one.duration_s, other.duration_s)
    match = Match(TimeMap.linear(0.0, 1.0, 0.0, seconds), same_take=True)
    return noise_between(one, other, match)


@functools.cache
def take() -> FloatArray:
    return operations.strings(16.0)


@functools.cache
def take_features() -> Features:
    return features_of(take(), operations.RATE_HZ)
