"""A fader ride of one stem, told with its span."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.stems.judge import judged
from mixcompare.stems.places import courses
from mixcompare.stems.values import Place, Stem, Stems, due_course
from tests.stems import made
from tests.stems.made import files, mixed, pair_of, recorded

CELLS, STEMS = 80, 4


def mixed_products(gain_db: np.ndarray, seed: int = 0, besides: float = 0.3) -> np.ndarray:
    """Stems that have little to do with each other, at gains from cell to cell."""
    rng = np.random.default_rng(seed)
    sound = rng.standard_normal((CELLS, STEMS, 400))
    mix = (10 ** (gain_db / 20)[..., None] * sound).sum(axis=1, keepdims=True)
    mix += besides * rng.standard_normal(mix.shape)
    all_of_it = np.concatenate([mix, sound], axis=1)
    return np.asarray(all_of_it @ all_of_it.swapaxes(1, 2))


def gains(*spans: tuple[int, int, float], stem: int = 1) -> np.ndarray:
    out = np.zeros((CELLS, STEMS))
    for first, last, by_db in spans:
        out[first:last, stem] = by_db
    return out


def test_a_span_is_found_with_its_size_and_nobody_else_s() -> None:
    found = courses(mixed_products(gains()), mixed_products(gains((20, 34, 4.0))))
    assert [len(one.changes) for one in found] == [0, 1, 0, 0]
    (change,) = found[1].changes
    assert change.span_s == pytest.approx((10.0, 17.0), abs=1.0)
    assert change.by_db == pytest.approx(-4.0, abs=0.4)
    # Elsewhere it is what the whole is not: the whole holds some of the 4 dB.
    assert 0.3 < found[1].base_db < 2.0


def test_several_spans_and_a_step_that_stays() -> None:
    two = courses(mixed_products(gains((10, 20, 3.0), (50, 62, -4.0))), mixed_products(gains()))
    assert [round(one.by_db) for one in two[1].changes] == [3, -4]
    (step,) = courses(mixed_products(gains()), mixed_products(gains((50, CELLS, 5.0))))[1].changes
    assert step.span_s[1] == CELLS / 2
    assert step.by_db == pytest.approx(-5.0, abs=0.5)
    # Where it is changed most of the time, the rest is the place.
    (rest,) = courses(mixed_products(gains()), mixed_products(gains((20, CELLS, 5.0))))[1].changes
    assert rest.span_s == pytest.approx((0.0, 10.0), abs=1.0)
    assert rest.by_db == pytest.approx(5.0, abs=0.5)


def test_what_holds_all_the_time_or_is_small_is_no_place() -> None:
    everywhere = courses(mixed_products(gains()), mixed_products(gains((0, CELLS, 6.0))))
    assert not any(one.changes for one in everywhere)
    small = courses(mixed_products(gains()), mixed_products(gains((20, 34, 0.8))))
    assert not any(one.changes for one in small)
    other_take = courses(mixed_products(gains(), 1), mixed_products(gains(), 2))
    assert not any(one.changes for one in other_take)
    # Where much else plays the levels scatter by decibels: that is no ride either.
    drowned = [mixed_products(gains(), seed, besides=12.0) for seed in (1, 2)]
    assert not any(one.changes for one in courses(*drowned))


def test_what_another_stem_hides_is_no_place() -> None:
    """For a while two stems play the same: noise besides tells them apart by decibels, wrongly."""
    rng = np.random.default_rng(3)
    sound = rng.standard_normal((CELLS, STEMS, 400))
    sound[30:44, 2] = sound[30:44, 1] + 0.1 * sound[30:44, 2]

    def heard(seed: int, besides: float, by_db: float = 0.0) -> np.ndarray:
        noise = besides * np.random.default_rng(seed).standard_normal((CELLS, 1, 400))
        gain = 10 ** (gains((55, 70, by_db), stem=3) / 20)[..., None]
        everything = np.concatenate([(gain * sound).sum(axis=1, keepdims=True) + noise, sound], 1)
        return np.asarray(everything @ everything.swapaxes(1, 2))

    for seed in range(6):
        assert not any(one.changes for one in courses(heard(seed, 3.0), heard(seed + 10, 3.0)))
        (ride,) = courses(heard(seed, 0.3), heard(seed + 10, 0.3, -5.0))[3].changes
        assert ride.by_db == pytest.approx(5.0, abs=0.7)


def test_rests_are_no_places() -> None:
    """The stem is all but silent for a third of the time, and its gain noise there."""
    rests = gains((30, 55, -60.0))
    silent = mixed_products(rests)
    silent[30:55, 2, :] *= 1e-3
    silent[30:55, :, 2] *= 1e-3
    assert not courses(silent, silent + 0)[1].changes
    noisy = silent.copy()
    noisy[30:55, 0, 2] *= 4
    assert not courses(silent, noisy)[1].changes


def test_the_candidate_s_ride_is_told_on_the_reference_s_clock() -> None:
    """4 dB more of the figure from 6 to 10 s of the candidate, which begins one second later."""
    parts = made.stems()
    rate = made.RATE_HZ
    riding = parts["figure"].copy()
    riding[6 * rate : 10 * rate] *= 10 ** (4 / 20)
    candidate = {**parts, "figure": riding}
    late = {name: np.vstack([np.zeros((rate, 2)), sound]) for name, sound in parts.items()}
    late_mix = np.vstack([np.zeros((rate, 2)), mixed(candidate)])
    one, other = recorded(mixed(parts)), recorded(late_mix)
    told = judged(pair_of(one, other), one, other, files(late)).told
    stems = {stem.name: stem for stem in told.stems}
    (place,) = stems["figure"].places
    assert place.span_s == pytest.approx((6.0, 10.0), abs=1.1)
    assert place.candidate_span_s == pytest.approx((7.0, 11.0), abs=1.1)
    assert place.trim_db == pytest.approx(-4.0, abs=1.0)
    assert place.interval[0] <= -4.0 <= place.interval[1]
    assert stems["figure"].trim_db == pytest.approx(0.0, abs=0.6)
    assert not stems["figure"].is_due
    assert [stem.name for stem in told.due] == ["figure"]
    assert not any(stem.places for name, stem in stems.items() if name != "figure")


def test_trims_are_due_where_they_are() -> None:
    place = Place((2.0, 3.0), (4.0, 5.0), -4.0, (-5.0, -3.0))
    stem = Stem("violas", 10.0, 1.0, (0.5, 1.5), 0.0, (0.0, 0.0), places=(place,))
    course = due_course(stem, np.array([3.9, 4.0, 4.9, 5.0]))
    assert course.tolist() == [1.0, -4.0, -4.0, 1.0]
    moved = Stems((stem,), 1.0).moved(10.0, 20.0).stems[0].places[0]
    assert (moved.span_s, moved.candidate_span_s) == ((12.0, 13.0), (24.0, 25.0))
    assert TimeMap.linear(2.0, 1.0, 2.0, 3.0).candidate_span_s == place.candidate_span_s
