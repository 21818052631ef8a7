"""Two elements changed to the same side, told apart by where they sit.

The sample's dry stems, placed by the law of constant power (see :mod:`tests.elements.test_panned`)
and raised or lowered by known amounts, are the truth: a source at position p lies at
((1 + p)² - (1 - p)²) / ((1 + p)² + (1 - p)²) right less left, by that law.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import signal

from mixcompare.aspects.balance.words import seated
from mixcompare.audio.recording import Recording
from mixcompare.elements.change import Change
from mixcompare.elements.seats import _odds_of_cells, _seats, together
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.pair.gain import match_level
from tests import operations
from tests.elements.test_panned import PLACES, mix, mixed, one_clock, pair_of, reference, stem
from tests.told import told_of


def changes_of(level_db: dict[str, float]) -> tuple[Change, ...]:
    pair = pair_of(mixed(level_db=level_db))
    return split_pair(pair.with_gain(match_level(pair).gain_db)).changes


def lies_at(name: str) -> float:
    left, right = (1 - PLACES[name]) ** 2, (1 + PLACES[name]) ** 2
    return (right - left) / (right + left)


@pytest.mark.parametrize(
    "level_db",
    [
        {"clarinets": 5.0, "horns": 5.0},
        {"clarinets": 6.0, "basses": 3.0},
        {"clarinets": -5.0, "basses": -5.0},
    ],
)
def test_two_elements_each_have_their_own_size_and_seat(level_db: dict[str, float]) -> None:
    found = changes_of(level_db)
    assert len(found) == 2
    for change, (name, size_db) in zip(found, level_db.items(), strict=True):
        assert change.seat == pytest.approx(lies_at(name), abs=0.05)
        assert change.difference_db == pytest.approx(size_db, abs=0.3)
        assert change.interval[0] <= size_db <= change.interval[1]


def test_each_plays_in_its_own_cells() -> None:
    upper, lower = changes_of({"clarinets": 5.0, "basses": 5.0})
    pair = pair_of(reference())
    pitch = np.log2(pair.of_elements.centre_hz)
    centres = [float((one.energy @ pitch).sum() / one.energy.sum()) for one in (upper, lower)]
    assert centres[0] - centres[1] > 1.5  # octaves, from the sample's score


@pytest.mark.parametrize("name", PLACES)
@pytest.mark.parametrize("size_db", [5.0, -5.0])
def test_one_element_stays_one(name: str, size_db: float) -> None:
    (found,) = changes_of({name: size_db})
    assert found.seat is None


@pytest.mark.parametrize("name", ["clarinets", "violas", "flute"])
@pytest.mark.parametrize("size_db", [5.0, -5.0])
def test_one_element_beside_a_bell_stays_one(name: str, size_db: float) -> None:
    # What a filter adds as notes begin comes from where everybody sits.
    louder = operations.Filter(signal.butter(1, (500, 2000), "band", fs=stem(name)[1]), 4.0)
    samples = louder(mix(level_db={name: size_db}))
    pair = pair_of(Features.of(Recording.from_array(samples, stem(name)[1])))
    (found,) = split_pair(pair.with_gain(match_level(pair).gain_db)).changes
    assert found.seat is None
    assert found.difference_db * size_db > 0


def test_what_strays_from_one_element_is_no_second() -> None:
    pair = pair_of(mixed(level_db={"clarinets": 5.0}))
    (whole,) = split_pair(pair.with_gain(match_level(pair).gain_db)).changes
    wide = np.array([0.1, 0.3])
    seated = (0.8, -0.8)
    parts = [
        replace(whole, strength=strength, seat=seat)
        for strength, seat in zip((1.0, 0.09), seated, strict=True)
    ]
    assert together(parts, wide, clearly=True) is None
    assert together(parts, wide[::-1], clearly=True) == parts
    parts[1] = replace(parts[1], strength=0.11)
    assert together(parts, wide, clearly=True) == parts
    on_one_side = [parts[0], replace(parts[1], seat=0.3)]
    assert together(on_one_side, wide, clearly=True) is None  # by the same words, of one size
    softer = replace(on_one_side[1], interval=(1.0, 2.0), difference_db=1.5)
    assert together([parts[0], softer], wide, clearly=True) == [parts[0], softer]
    assert together(parts, wide, clearly=False) is None  # of one size


def test_two_side_by_side_stay_one() -> None:
    (found,) = changes_of({"violins": 5.0, "clarinets": 5.0})
    assert found.interval[0] <= 5.0 <= found.interval[1]


def test_all_that_stayed_where_the_gain_went_with_two_is_one() -> None:
    found = changes_of({"violins": 5.0, "basses": 5.0})  # most of the sound, and the gain with them
    assert [one.difference_db for one in found] == pytest.approx([-5.0], abs=0.3)
    assert found[0].seat is None


def test_of_a_mono_pair_two_stay_one() -> None:
    rate_hz = stem("violins")[1]
    pair = [
        Features.of(Recording.from_array(samples.mean(axis=1), rate_hz))
        for samples in (mix(), mix(level_db={"clarinets": 5.0, "horns": 5.0}))
    ]
    findings = told_of(*pair, only=("balance",)).findings
    (found,) = [one for one in findings if one.aspect == "balance"]
    assert found.interval[0] <= 5.0 <= found.interval[1]


def test_both_are_listed_by_where_they_sit() -> None:
    candidate = mixed(level_db={"clarinets": 5.0, "horns": 5.0})
    findings = told_of(reference(), candidate, one_clock(), only=("balance",)).findings
    told = [one for one in findings if one.aspect == "balance"]
    assert [one.difference for one in told] == pytest.approx([5.0, 5.0], abs=0.3)
    assert {("on the left" in one.text, "on the right" in one.text) for one in told} == {
        (True, False),
        (False, True),
    }
    told_back = told_of(candidate, reference(), one_clock(), only=("balance",)).findings
    back = [one for one in told_back if one.aspect == "balance"]
    told, back = (sorted(both, key=lambda one: one.subject) for both in (told, back))
    for one, other in zip(told, back, strict=True):
        assert one.subject.split(",")[0] == other.subject.split(",")[0]
        assert one.band_hz == pytest.approx(other.band_hz, rel=0.15)  # two semitones


def test_words_of_a_seat() -> None:
    """Regression."""
    assert seated("bass line", None) == "bass line"
    assert seated("bass line", -0.6) == "bass line on the left"
    assert seated("high register, 1 to 4 kHz", 0.1) == "high register in the middle, 1 to 4 kHz"


def gathered(*places: tuple[float, float]) -> np.ndarray:
    """A thousand attacks about each place, with its spread."""
    rng = np.random.default_rng(2)
    return np.concatenate([rng.normal(at, spread, 1000) for at, spread in places])


def test_attacks_about_one_place_have_one_seat() -> None:
    seats = gathered((0.2, 0.25))
    assert _seats(seats, np.ones_like(seats), 200.0) is None


@pytest.mark.parametrize(("apart", "clearly"), [(1.2, True), (0.4, False)])
def test_two_seats_are_clear_where_they_lie_apart(apart: float, clearly: bool) -> None:
    seats = gathered((-apart / 2, 0.1), (apart / 2, 0.1))
    found = _seats(seats, np.ones_like(seats), 200.0)
    assert found is not None
    assert found[0].seat == pytest.approx([-apart / 2, apart / 2], abs=0.02)
    assert found[1] == clearly


def test_a_cell_belongs_to_the_attack_that_it_follows() -> None:
    odds = np.zeros((10, 3))
    odds[2, 1], odds[6, 1] = -4.0, 3.0
    of_cells = _odds_of_cells(odds, (odds != 0).astype(float), odds != 0)
    band = of_cells[0, 1]  # by what its band mostly holds, before any attack
    np.testing.assert_allclose(of_cells[2:6, 1], band - 4.0)
    np.testing.assert_allclose(of_cells[6:, 1], band + 3.0)
