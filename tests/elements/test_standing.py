"""What moves single pitches between two halls, on made-up spectrograms.

Invented data: what it checks is the arithmetic of independent pitches (the deviation of a mean of n
is that of one over the root of n), not the trade.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from mixcompare.elements import performances
from mixcompare.elements.changes import split_difference
from mixcompare.elements.standing import pitches
from mixcompare.pair.spectra import PairSpectra
from tests.elements.voices import CENTRE_HZ, TIMES_S, pair

FLAT = np.zeros(len(CENTRE_HZ))
SECOND_HALF = TIMES_S[-1] / 2 < TIMES_S


def hall(scatter_db: np.ndarray, seed: int = 3) -> PairSpectra:
    """Even sound in every band, and every pitch lifted at random, all the time."""
    rng = np.random.default_rng(seed)
    lifted = 10 ** (rng.normal(0, scatter_db, len(CENTRE_HZ)) / 10)
    even = np.ones((len(TIMES_S), len(CENTRE_HZ)))
    return PairSpectra(TIMES_S, CENTRE_HZ, even, even * lifted)


def of_bands(bands: Sequence[int]) -> np.ndarray:
    """Share of an element that has these bands in the second half, and nothing else."""
    share = np.zeros((len(TIMES_S), len(CENTRE_HZ)))
    share[np.ix_(SECOND_HALF, list(bands))] = 1.0
    return share


def told(bands: Sequence[int], scatter_db: float = 3.0) -> tuple[float, float]:
    """Number where nothing is lifted, and deviation, by the middle of many halls."""
    share = of_bands(bands)
    found = [pitches(share, hall(FLAT + scatter_db, seed), FLAT)[1] for seed in range(40)]
    return pitches(share, hall(FLAT), FLAT)[0], float(np.median(found))


def test_a_single_pitch_is_lifted_whole() -> None:
    number, deviation_db = told([40])
    assert number == pytest.approx(1.0)
    assert deviation_db == pytest.approx(3.0, rel=0.15)


def test_pitches_apart_average_what_lifts_them() -> None:
    number, deviation_db = told(range(10, 73, 7))
    assert number == pytest.approx(9.0)
    assert deviation_db == pytest.approx(3.0 / 3, rel=0.15)


def test_neighbouring_semitones_are_hardly_more_than_one_pitch() -> None:
    number, deviation_db = told([40, 41, 42])
    # Sum of 1, 2/3 and 1/3 over all pairs of three: 3 + 4 * 2/3 + 2 * 1/3.
    assert number == pytest.approx(9 / (3 + 8 / 3 + 2 / 3))
    assert deviation_db == pytest.approx(3.0 / np.sqrt(number), rel=0.15)


def test_the_bands_around_it_say_how_much_it_is_lifted() -> None:
    lows = np.where(np.arange(len(CENTRE_HZ)) < 42, 4.0, 0.5)
    low, high = (
        np.median([pitches(of_bands(own), hall(lows, seed), FLAT)[1] for seed in range(20)])
        for own in ([10], [70])
    )
    assert low == pytest.approx(4.0, rel=0.3)
    assert high == pytest.approx(0.5, rel=0.3)


def test_a_tone_is_no_scatter() -> None:
    cells = hall(FLAT)
    slope = np.linspace(-12, 12, len(CENTRE_HZ))
    filtered = PairSpectra(
        TIMES_S, CENTRE_HZ, cells.reference, cells.candidate * 10 ** (slope / 10)
    )
    assert pitches(of_bands([40]), filtered, slope)[1] == pytest.approx(0.0, abs=1e-6)
    assert pitches(of_bands([40]), filtered, FLAT)[1] > 1.0


def test_where_an_element_has_a_register_to_itself_the_nearest_bands_tell() -> None:
    lows = np.where(np.arange(len(CENTRE_HZ)) < 50, 4.0, 0.5)
    share = of_bands([5])
    share[:, :25] = np.maximum(share[:, :25], 0.3)  # no other's cell, and not its own
    _, deviation_db = pitches(share, hall(lows), FLAT)
    assert deviation_db > 1.5


def test_without_cells_of_its_own_nothing_is_known() -> None:
    number, deviation_db = pitches(of_bands([]), hall(FLAT), FLAT)
    assert number == 0.0
    assert np.isnan(deviation_db)
    number, deviation_db = pitches(np.ones((len(TIMES_S), len(CENTRE_HZ))), hall(FLAT), FLAT)
    assert np.isnan(deviation_db)


@pytest.mark.parametrize("number", [1.9, 2.1])
def test_one_pitch_alone_is_no_element(number: float, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(performances, "pitches", lambda *_: (number, 0.0))
    found = split_difference(pair({"melody": 6.0}, other=True), same_take=False).changes
    assert bool(found) == (number > 2.0)


def test_what_lifts_its_pitches_widens_the_interval(monkeypatch: pytest.MonkeyPatch) -> None:
    """In the same measure as the size: cells that hold others read a fifth low."""
    cells, halves = pair({"melody": 6.0}, other=True), []
    for deviation_db in (0.0, 1.0):
        monkeypatch.setattr(performances, "pitches", lambda *_, by=deviation_db: (20.0, by))
        (change,) = split_difference(cells, same_take=False).changes
        halves.append((change.interval[1] - change.interval[0]) / 2)
    # Both directions' sizes differ besides, by the same in both.
    assert 0.5 < halves[1] - halves[0] < 1.22 * 1.96


def test_a_deviation_that_is_not_known_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(performances, "pitches", lambda *_: (20.0, float("nan")))
    split = split_difference(pair({"melody": 6.0}, other=True), same_take=False)
    assert not split.changes
    assert not split.doubtful
