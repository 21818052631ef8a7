"""A made-up take of one clock, and what may be done to the whole of it by plain algebra."""

from __future__ import annotations

import functools
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.results import Results
from tests import synthetic
from tests.recorded import features_of
from tests.synthetic import RATE_HZ
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]


@functools.cache
def played(**gains_db: float) -> FloatArray:
    return synthetic.in_room(synthetic.play(5, bars=8, gains_db=gains_db), 1.0, -9.0)


def side(samples: FloatArray, factor: float) -> FloatArray:
    middle = samples.mean(axis=1, keepdims=True)
    return middle + factor * (samples - middle)


def turned(samples: FloatArray, by_db: float) -> FloatArray:
    return samples * [10 ** (-by_db / 40), 10 ** (by_db / 40)]


def ridden(samples: FloatArray, by_db: float, start_s: float, end_s: float) -> FloatArray:
    time_s = np.arange(len(samples)) / RATE_HZ
    inside = (time_s > start_s) & (time_s < end_s)
    return samples * np.where(inside, 10 ** (by_db / 20), 1.0)[:, None]


def faded(samples: FloatArray, by_db: float) -> FloatArray:
    return samples * 10 ** (np.linspace(-by_db / 2, by_db / 2, len(samples)) / 20)[:, None]


@functools.cache
def reference() -> Features:
    return Features.of(Recording.from_array(played(), RATE_HZ))


@functools.cache
def one_clock() -> Alignment:
    """Of every candidate: nothing here is moved in time."""
    alignment = align(reference(), reference())
    assert alignment.same_take
    return alignment


@dataclass(frozen=True)
class Held:
    """A candidate held against the reference; the pair and what is told, when asked for."""

    candidate: Features

    @functools.cached_property
    def pair(self) -> Pair:
        pair = aligned(reference(), self.candidate, one_clock())
        return pair.with_gain(match_level(pair).gain_db)

    @functools.cached_property
    def results(self) -> Results:
        return told_of(reference(), self.candidate, one_clock())


def held(candidate: FloatArray) -> Held:
    return Held(features_of(candidate, RATE_HZ))


def told(results: Results) -> dict[str, float]:
    return {finding.kind: finding.difference for finding in results.findings}


def left_over_db(pair: Pair) -> float:
    """What of the cells' level differences is left when the whole is undone, in nine of ten."""
    spectra = pair.of_elements
    return float(np.percentile(np.abs(spectra.difference_db[spectra.audible]), 90))
