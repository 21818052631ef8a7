"""Elements between two mixes of one take, on made-up spectrograms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.elements.changes import split_difference
from mixcompare.elements.describe import describe
from mixcompare.elements.one_take import exact_split
from mixcompare.pair.spectra import PairSpectra
from tests.elements.voices import CENTRE_HZ, LOWEST, PARTIALS, TIMES_S, VOICES, pair, voice


def test_a_bass_that_never_rests_is_no_tone() -> None:
    split = split_difference(pair({"bass": 5.0}, other=False), same_take=True)
    assert np.abs(split.tone_db).max() < 1.0


def test_a_line_that_has_most_of_its_register_is_no_tone() -> None:
    # Two lines by turns through the same pitches, the one for three fifths of the time, and 8 dB
    # louder. No filter: a tenth of a decibel of tone is a tenth of what is just noticed.
    rng = np.random.default_rng(3)
    pitches: list[list[int]] = [[], []]
    lines = np.zeros((2, *pair({}, other=False).reference.shape))
    for note in range(80):
        own = pitches[note % 5 // 3]
        if not own:
            own += rng.permutation(np.arange(57, 81)).tolist()
        since = TIMES_S - note / 5
        inside = (since >= 0) & (since < 1 / 5)
        pitch = own.pop() - LOWEST
        for step, level_db in PARTIALS[:3]:
            lines[note % 5 // 3, inside, pitch + step] += 10 ** (level_db / 10)
    rest = voice("tenor") + voice("bass") + 1e-5
    after = rest + lines[1] + 10 ** (8.0 / 10) * lines[0]
    cells = PairSpectra(TIMES_S, CENTRE_HZ, rest + lines.sum(axis=0), after)
    split = split_difference(cells, same_take=True)
    (change,) = split.changes
    assert change.difference_db == pytest.approx(8.0, abs=0.4)
    assert np.abs(split.tone_db).max() < 0.1


def test_a_low_cut_beside_a_codec_is_no_element() -> None:
    # A second-order cut at 120 Hz (Butterworth's magnitude); at its foot a codec puts its own noise
    # in the place of what is left, so that every other band wanders there.
    lost_db = -10 * np.log10(1 + (120 / CENTRE_HZ) ** 4)
    cells = pair({}, other=False, tone_db=lost_db)
    rng = np.random.default_rng(2)
    wanders = (CENTRE_HZ < 80) & (np.arange(len(CENTRE_HZ)) % 2 == 0)
    away_db = np.where(wanders, rng.normal(0, 5, cells.candidate.shape), 0.0)
    cells = replace(cells, candidate=cells.candidate * 10 ** (away_db / 10))
    split = split_difference(cells, same_take=True)
    assert [change for change in split.changes if change.strength > 0.01] == []
    still = ~wanders & (CENTRE_HZ > 70) & (CENTRE_HZ < 120)
    assert split.tone_db[still] == pytest.approx(lost_db[still], abs=1.0)


@pytest.mark.parametrize("order", [2, 3])
def test_a_high_cut_is_no_element(order: int) -> None:
    # Butterworth's magnitude; at its foot cells scatter as the sound lies within their bands.
    lost_db = -10 * np.log10(1 + (CENTRE_HZ / 1500) ** (2 * order))
    cells = pair({}, other=False, tone_db=lost_db)
    away_db = np.random.default_rng(2).normal(0, 0.03, cells.candidate.shape) * lost_db
    cells = replace(cells, candidate=cells.candidate * 10 ** (away_db / 10))
    split = split_difference(cells, same_take=True)
    assert [change for change in split.changes if change.strength > 0.0003] == []
    inside = cells.audible.any(axis=0) & (CENTRE_HZ > 1000) & (lost_db > -14)
    assert split.tone_db[inside] == pytest.approx(lost_db[inside], abs=1.0)


@pytest.mark.parametrize("change_db", [6.0, -6.0])
def test_a_change_for_a_while_is_told_with_its_place(change_db: float) -> None:
    cells = pair({}, other=False)
    moved = voice("melody") * ((TIMES_S >= 8) & (TIMES_S < 14))[:, None]
    cells = replace(cells, candidate=cells.candidate + (10 ** (change_db / 10) - 1) * moved)
    (change,) = split_difference(cells, same_take=True).changes
    assert change.difference_db == pytest.approx(change_db, abs=0.4)
    ((start_s, end_s),) = describe(change.energy, cells).spans_s
    assert start_s == pytest.approx(8, abs=0.5)
    assert end_s == pytest.approx(14, abs=0.5)


@pytest.mark.parametrize(("change_db", "seconds", "told"), [
    (-1.5, 0.25, False), (-3.0, 0.25, True), (-1.5, 0.6, True),
])  # fmt: skip
def test_a_little_in_next_to_no_cells_is_no_element(
    change_db: float, seconds: float, told: bool
) -> None:
    # A quarter of a second of one of five voices, out of twenty: 1.5 dB there is a filter's rest.
    cells = pair({}, other=False)
    moved = voice("melody") * ((TIMES_S >= 8) & (8 + seconds > TIMES_S))[:, None]
    cells = replace(cells, candidate=cells.candidate + (10 ** (change_db / 10) - 1) * moved)
    changes = split_difference(cells, same_take=True).changes
    assert [change.difference_db for change in changes] == pytest.approx(
        [change_db] * told, abs=0.1
    )


@pytest.mark.parametrize("change_db", [5.0, -5.0])
def test_an_elements_own_power(change_db: float) -> None:
    # What the element has in the reference, to the cell: a tenth is 0.4 dB.
    cells = pair({"melody": change_db}, other=False)
    (change,) = split_difference(cells, same_take=True).changes
    assert change.energy.sum() == pytest.approx(voice("melody").sum(), rel=0.1)
    assert np.corrcoef(change.energy.ravel(), voice("melody").ravel())[0, 1] > 0.99
    assert change.agreeing > 0.8


def _interfering(seed: int) -> tuple[PairSpectra, float]:
    """One take, one voice moved by 2 to 9 dB, over a noise 25 to 50 dB down.

    Amplitudes are added, with phases of chance: where partials meet they beat.
    """
    rng = np.random.default_rng([seed, 2])
    names = list(VOICES)
    moved = seed % len(names)
    gain_db = float(rng.choice([-1, 1]) * rng.uniform(2, 9))

    def phase() -> npt.NDArray[np.complex128]:
        return np.exp(2j * np.pi * rng.random(len(CENTRE_HZ)))[None]

    parts = [
        np.sqrt(voice(name, np.random.default_rng([seed, index]))) * phase()
        for index, name in enumerate(names)
    ]
    chance = rng.chisquare(2, (len(TIMES_S), len(CENTRE_HZ))) / 2
    noise = np.sqrt(10 ** rng.uniform(-5, -2.5) * chance) * phase()
    reference = noise + sum(parts)
    candidate = reference + (10 ** (gain_db / 20) - 1) * parts[moved]
    return PairSpectra(TIMES_S, CENTRE_HZ, np.abs(reference) ** 2, np.abs(candidate) ** 2), gain_db


def test_the_95_percent_interval_of_an_elements_size_holds_the_truth() -> None:
    # 60 pairs; of every one the element is found, with its sign. Sections of an orchestra double
    # each other, these voices do not: their intervals hold more often than they need to, and so
    # they may not be wide.
    held, widths, further_db = [], [], []
    for seed in range(60):
        cells, gain_db = _interfering(seed)
        change = split_difference(cells, same_take=True).changes[0]
        assert change.difference_db * gain_db > 0
        assert change.difference_db == pytest.approx(gain_db, abs=0.7)
        held.append(change.interval[0] <= gain_db <= change.interval[1])
        widths.append(np.ptp(change.interval))
        further_db.append(abs(change.difference_db) - abs(gain_db))
    # Where partials beat, typical cells hold less than the whole of it: sizes are read above them.
    assert -0.05 < np.mean(further_db) < 0.2
    assert np.mean(held) >= 0.92
    assert np.median(widths) <= 1.5


def test_the_same_cells_are_taken_apart_once() -> None:
    """Several ask for it: whether there are two rooms, the elements, what would be missed."""
    power = np.random.default_rng(0).exponential(size=(80, 20))
    spectra = PairSpectra(np.arange(80) / 20, np.geomspace(100, 2000, 20), power, 2 * power)
    assert exact_split(spectra) is exact_split(spectra)
    assert exact_split(spectra.raised(1.0)) is not exact_split(spectra)
