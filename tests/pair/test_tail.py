"""The candidate's tail on the reference: filters of scipy's, learnt from the pair alone."""

from __future__ import annotations

import functools
import time

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.audio.recording import Recording
from mixcompare.elements.one_take import EXACT_SCATTER_DB, exact_split
from mixcompare.features import Features
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from tests import synthetic
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]


def tail(seed: int, decay_s: float, wet_db: float) -> FloatArray:
    """A direct sound and, 20 ms later, noise that decays by 60 dB in so many seconds."""
    count = round(decay_s * RATE_HZ)
    noise = np.random.default_rng(seed).standard_normal(count)
    noise *= 10 ** (-3 * np.arange(count) / count)
    late = round(0.02 * RATE_HZ)
    response = np.zeros(late + count)
    response[late:] = noise * 10 ** (wet_db / 20) / np.sqrt(np.square(noise).sum())
    response[0] = 1.0
    return response


@functools.cache
def played(response: tuple[int, float, float] | None, **gains_db: float) -> Features:
    """The made-up piece through a filter; two channels alike, for the waveform kept is mono."""
    dry = synthetic.play(5, bars=10, gains_db=gains_db).mean(axis=1)
    wet = dry if response is None else signal.fftconvolve(dry, tail(*response))[: len(dry)]
    return Features.of(Recording.from_array(0.5 * wet, RATE_HZ))


def pair_of(reference: Features, candidate: Features) -> Pair:
    alignment = align(reference, candidate)
    assert alignment.same_take
    pair = aligned(reference, candidate, alignment)
    return pair.with_gain(match_level(pair).gain_db)


OWN, OTHER = (1, 1.2, -5.0), (2, 1.6, -4.0)


@functools.cache
def one_clock() -> Alignment:
    return align(played(OWN), played(OWN))


@functools.cache
def under_other_tail(**gains_db: float) -> Pair:
    pair = aligned(played(OWN), played(OTHER, **gains_db), one_clock())
    return pair.with_gain(match_level(pair).gain_db)


# The truth is the filter that was put on: with it undone no cell differs.
def test_a_known_filter_is_learnt_until_little_scatter_is_left() -> None:
    pair = under_other_tail()
    before = exact_split(pair.of_elements).scatter_db
    one = pair.under_one_tail
    assert before > EXACT_SCATTER_DB
    assert one is not None
    assert exact_split(one.spectra).scatter_db < 0.5
    assert one.level_db + pair.gain_db == pytest.approx(0.0, abs=0.5)
    # Frames of 85 ms tell 12 Hz apart (1 / length); below 80 Hz a semitone is narrower than 5 Hz.
    low = one.spectra.centre_hz < 80
    assert low.any()
    assert not one.spectra.audible[:, low].any()


def test_the_level_of_what_came_first_is_found_whatever_the_tail_adds() -> None:
    # The candidate is reverberant by 4 dB more than its direct sound is loud; its gain is 0 dB.
    pair = pair_of(played(None), played((3, 1.5, 2.0)))
    one = pair.under_one_tail
    assert one is not None
    assert one.level_db + pair.gain_db == pytest.approx(0.0, abs=0.7)


@pytest.mark.parametrize("what", ["inverted", "late"])
def test_polarity_and_a_fraction_of_a_sample_change_nothing(what: str) -> None:
    wet = signal.fftconvolve(synthetic.play(5, bars=10).mean(axis=1), tail(*OTHER))
    wet = wet[: round(25 * RATE_HZ)]
    if what == "inverted":
        wet = -wet
    else:  # by a third of a sample of the 12 kHz clock, and by a quarter of a second
        turn = np.exp(-2j * np.pi * np.fft.rfftfreq(2 * len(wet)) * (0.25 * RATE_HZ + 2 / 3))
        wet = np.fft.irfft(np.fft.rfft(wet, 2 * len(wet)) * turn)[: len(wet)]
    candidate = Features.of(Recording.from_array(0.5 * wet, RATE_HZ))
    one, plain = pair_of(played(OWN), candidate).under_one_tail, under_other_tail().under_one_tail
    assert one is not None
    assert plain is not None
    scatter_db = exact_split(plain.spectra).scatter_db
    assert exact_split(one.spectra).scatter_db == pytest.approx(scatter_db, abs=0.1)
    assert one.spectra.audible.mean() == pytest.approx(plain.spectra.audible.mean(), abs=0.03)


def test_what_is_too_short_to_learn_from_is_left() -> None:
    pair = under_other_tail()
    short = aligned(pair.reference, pair.candidate, align(pair.reference, pair.candidate))
    start, _ = short.time_map.span_s
    nodes = short.time_map.to_candidate([start, start + 5.0])
    cut = type(short.time_map)(np.array([start, start + 5.0]), nodes)
    match = type(short.match)(time_map=cut, same_take=True)
    assert Pair(pair.reference, pair.candidate, match).under_one_tail is None


def test_it_costs_a_fraction_of_the_playing_time() -> None:
    pair = under_other_tail()
    began = time.process_time()
    Pair(pair.reference, pair.candidate, pair.match).under_one_tail  # noqa: B018 (computed when asked for)
    # 0.07 s a second on one core when written; twice and more are left for a busy machine.
    assert time.process_time() - began < 0.3 * pair.duration_s
