"""A repeating figure between two performances, on made-up spectrograms.

Invented data: a level set is a level found, and what another performance does to it besides (each
note's level, tone, a longer reverberation, a tempo that breathes) is none. How far it goes with
real scores and rooms tells ``tests.benchmarks.repeating``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.elements import change as changes
from mixcompare.elements.changes import split_difference
from mixcompare.elements.describe import describe
from mixcompare.elements.repeating import repeating_change
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from tests.elements.voices import CENTRE_HZ, LOWEST, PARTIALS, VOICES, voice

FloatArray = npt.NDArray[np.float64]

DURATION_S = 28.0
TIMES_S = np.arange(int(DURATION_S * RATE_HZ)) / RATE_HZ
MOTIF = (79, 84, 88, 83, 91)
STEP_S = 0.25
BREATH = 0.03  # of the tempo


def figure(rng: np.random.Generator, rings_on: bool = False) -> FloatArray:
    """Power of a high ostinato whose tempo breathes, shape (n, bands).

    Each note lasts until the next one begins, or until it comes again.
    """
    lasts_s, falls_s = (len(MOTIF) * STEP_S, 0.4) if rings_on else (STEP_S, 0.15)
    power = np.zeros((len(TIMES_S), len(CENTRE_HZ)))
    for number in range(int(DURATION_S / STEP_S) - 4):
        even_s = 0.4 + number * STEP_S
        at_s = even_s + BREATH * 10 / (2 * np.pi) * np.sin(2 * np.pi * even_s / 10)
        since = TIMES_S - at_s
        inside = (since >= 0) & (since < lasts_s)
        course = np.exp(-since[inside] / falls_s)
        for step, level_db in PARTIALS[:3]:
            band = MOTIF[number % len(MOTIF)] + step - LOWEST
            if band < power.shape[1]:
                level = 10 ** ((level_db + rng.normal(0, 1.0)) / 10)
                power[inside, band] += course * level
    return power


def performances(
    figure_db: float = 0.0,
    melody_db: float = 0.0,
    seed: int = 1,
    lasts_s: float = DURATION_S,
    rings_on: bool = False,
) -> PairSpectra:
    """Two performances of an ostinato over four voices; every note and cell scatters.

    One that rings on is 10 dB louder, so that nothing else is heard in its bands.
    """
    rng = np.random.default_rng(seed)
    gains_db = {"melody": melody_db}
    played = []
    for candidate in (False, True):
        power = figure(rng, rings_on) * 10 ** ((figure_db * candidate + 10 * rings_on) / 10)
        for name in VOICES:
            gain_db = gains_db.get(name, 0.0) * candidate
            power = power + 3 * voice(name, rng, TIMES_S) * 10 ** (gain_db / 10)
        power = power + 1e-5
        played.append(power * 10 ** (rng.normal(0, 0.8, power.shape) / 10))
    frames = int(lasts_s * RATE_HZ)
    return PairSpectra(TIMES_S[:frames], CENTRE_HZ, *(power[:frames] for power in played))


def found(cells: PairSpectra) -> float:
    """The figure's level change, nought where none is told."""
    change = repeating_change(cells)
    return 0.0 if change is None else change.difference_db


@pytest.mark.parametrize("size_db", [5.0, -5.0])
def test_a_figure_is_found_with_its_size_wherever_it_moved(size_db: float) -> None:
    cells = performances(size_db)
    change = repeating_change(cells)
    assert change is not None
    assert change.difference_db == pytest.approx(size_db, abs=1.0)
    low, high = change.interval
    assert low < size_db < high
    assert min(change.difference_db - low, high - change.difference_db) > 0.8
    assert high - low < 1.1 * abs(size_db)
    assert 0.6 < change.agreeing < 1.0
    # Its energy lies on the motif's pitches and their partials.
    pitches = {pitch + step - LOWEST for pitch in MOTIF for step, _ in PARTIALS[:3]}
    own = np.isin(np.arange(len(CENTRE_HZ)), list(pitches))
    assert change.energy[:, own].sum() > 0.9 * change.energy.sum()
    told = describe(change.energy, cells, change.repeats)
    assert told.kind == "repeating_figure"
    assert told.subject.startswith("repeating high figure")


def test_a_figure_that_never_rests_is_found_by_what_it_foretells() -> None:
    # Hardly a moment of its bands is without it, to say how it stands beside the others there. Of
    # other draws of chance some tell nothing, none another size.
    change = repeating_change(performances(-5.0, rings_on=True))
    assert change is not None
    assert change.difference_db == pytest.approx(-5.0, abs=1.0)
    assert change.interval[0] < -5.0 < change.interval[1]
    assert repeating_change(performances(rings_on=True)) is None


def test_roles_exchanged_give_the_opposite() -> None:
    cells = performances(5.0)
    there, back = repeating_change(cells), repeating_change(cells.mirrored())
    assert there is not None
    assert back is not None
    assert back.difference_db == pytest.approx(-there.difference_db, abs=1e-6)
    assert -back.interval[1] == pytest.approx(there.interval[0], abs=1e-6)
    assert -back.interval[0] == pytest.approx(there.interval[1], abs=1e-6)
    assert back.agreeing == pytest.approx(there.agreeing, abs=1e-6)


def test_what_only_one_direction_says_is_not_told(monkeypatch: pytest.MonkeyPatch) -> None:
    cells = performances(5.0)
    monkeypatch.setattr("mixcompare.elements.repeating.opposite", lambda *those: False)
    assert repeating_change(cells) is None


@pytest.mark.parametrize("seed", range(4))
def test_scatter_alone_moves_no_figure(seed: int) -> None:
    assert repeating_change(performances(seed=seed)) is None


@pytest.mark.parametrize("melody_db", [6.0, -6.0])
def test_another_voice_that_moved_is_not_the_figure(melody_db: float) -> None:
    assert repeating_change(performances(melody_db=melody_db)) is None


@pytest.mark.parametrize("figure_db", [0.0, 5.0])
def test_tone_is_not_the_figures_level(figure_db: float) -> None:
    shelf = np.where(CENTRE_HZ > 1000, 10**0.4, 1.0)  # 4 dB, over all partials of the figure
    cells = performances(figure_db)
    shelved = replace(cells, candidate=cells.candidate * shelf)
    # Silence is an answer: what lies between figure and tone can't be told.
    assert found(shelved) in (0.0, pytest.approx(figure_db, abs=2.0))


@pytest.mark.parametrize("figure_db", [0.0, 5.0])
def test_a_longer_reverberation_is_not_the_figures_level(figure_db: float) -> None:
    cells = performances(figure_db)
    fall = np.exp(-6.9 * 2 * TIMES_S[: int(RATE_HZ)] / 2.0)  # 2 s
    fall *= 0.5 / fall.sum()
    tail = signal.lfilter(fall, 1.0, cells.candidate, axis=0)
    assert found(replace(cells, candidate=cells.candidate + tail)) == pytest.approx(
        figure_db, abs=2.0
    )


def test_nothing_is_told_of_a_passage_in_which_little_comes_again() -> None:
    assert repeating_change(performances(6.0, lasts_s=19.9)) is None
    assert repeating_change(performances(6.0, lasts_s=24.0)) is not None


def test_the_figure_comes_first_and_is_not_told_twice() -> None:
    cells = performances(6.0)
    first, *others = split_difference(cells, same_take=False).changes
    assert first.repeats
    assert first.difference_db == pytest.approx(6.0, abs=1.0)
    assert not any(change.repeats for change in others)
    assert all(min(map(abs, change.interval)) < 1.0 for change in others)


def test_one_take_has_ways_of_its_own() -> None:
    changes = split_difference(performances(6.0), same_take=True).changes
    assert not any(change.repeats for change in changes)


def test_pitches_that_a_hall_lifts_are_no_figure_that_came_up() -> None:
    cells = performances()
    pitches = {pitch + step - LOWEST for pitch in MOTIF for step, _ in PARTIALS[:3]}
    lifted = np.where(np.isin(np.arange(len(CENTRE_HZ)), list(pitches)), 10**0.5, 1.0)
    # Whoever plays there is 5 dB louder, and the bands beside them are not.
    assert repeating_change(replace(cells, candidate=cells.candidate * lifted)) is None


@pytest.mark.parametrize("beyond_db", [-0.1, 0.1])
def test_an_interval_that_comes_near_nothing_claims_nothing(
    beyond_db: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    cells = performances(-5.0)
    told = repeating_change(cells)
    assert told is not None
    monkeypatch.setattr(changes, "_CLEAR_DB", min(map(abs, told.interval)) + beyond_db)
    assert (repeating_change(cells) is None) == (beyond_db > 0)
