"""Elements of one take under another tail: the changed one alone, with its size."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mixcompare.aspects.balance import analyzer
from mixcompare.elements import take
from mixcompare.elements.change import Change
from mixcompare.elements.take import proven_split, split_pair
from mixcompare.pair.spectra import PairSpectra
from mixcompare.standards.iec61260 import pitch_hz
from mixcompare.statistics import effective_number
from tests.elements.voices import CENTRE_HZ, TIMES_S, pair, voice
from tests.pair.test_tail import OTHER, OWN, pair_of, played, under_other_tail


# The gain is the one the voice was played with; 1 dB is the just-noticeable difference.
@pytest.mark.parametrize(("who", "gain_db"), [("melody", 6.0), ("melody", -6.0), ("figure", 6.0)])
def test_a_changed_voice_is_found_under_another_tail(who: str, gain_db: float) -> None:
    split = split_pair(under_other_tail(**{who: gain_db}))
    assert split.one_tail
    (change,) = split.changes
    assert change.difference_db == pytest.approx(gain_db, abs=1.0)
    assert change.interval[0] <= gain_db <= change.interval[1]


def test_under_another_tail_lines_go_down_to_their_lowest_notes(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # Which notes these are is asked in ``test_lowest``.
    asked = []

    def told(change: Change, spectra: PairSpectra, level_db: float) -> Change:
        asked.append(level_db)
        return change

    monkeypatch.setattr(take, "down_to_its_lowest", told)
    under = under_other_tail(melody=6.0)
    # What is kept of the pair from another test would ask nothing.
    assert len(take._split_pair(under, under.of_elements).changes) == 1
    assert under.under_one_tail is not None
    assert asked == [under.under_one_tail.level_db]


def test_another_tail_alone_is_no_element() -> None:
    split = split_pair(under_other_tail())
    assert split.one_tail
    assert split.changes == ()


def test_one_room_needs_no_tail_taken_off() -> None:
    pair = pair_of(played(OWN), played(OWN, figure=6.0))
    split = split_pair(pair)
    assert not split.one_tail
    assert "under_one_tail" not in pair.__dict__
    same = split_pair(pair_of(played(OTHER), played(OTHER)))
    assert same.changes == ()
    assert same.scatter_db < 0.1


def test_the_room_does_not_explain_what_was_found_with_its_tail_taken_off() -> None:
    pair = under_other_tail(figure=6.0)
    (finding, *_) = analyzer.findings(analyzer.compare(pair), pair)
    assert "room" in finding.apart


@pytest.mark.parametrize("change_db", [5.0, -5.0])
@pytest.mark.parametrize("name", ["melody", "bass"])
def test_what_moves_enough_of_the_sound_is_an_element_beside_scatter(
    name: str, change_db: float
) -> None:
    (change,) = proven_split(scattered({name: change_db})).changes
    assert change.difference_db == pytest.approx(change_db, abs=1.0)
    assert effective_number(change.energy.sum(axis=0)) > 5


# A soloist with few partials: next to nothing but the pitches of one line moves.
@pytest.mark.parametrize("change_db", [5.0, -5.0])
def test_a_line_of_few_cells_is_an_element_beside_scatter(change_db: float) -> None:
    spectra = scattered({})
    own = np.clip(voice("melody") / spectra.reference, 0.0, 1.0)
    own[:, pitch_hz(84.5) < CENTRE_HZ] = 0.0  # its highest written pitch
    own[TIMES_S > 8.0] = 0.0
    factor = 1 + own * (10 ** (change_db / 10) - 1)
    (change,) = proven_split(replace(spectra, candidate=spectra.candidate * factor)).changes
    assert change.difference_db == pytest.approx(change_db, abs=1.0)


@pytest.mark.parametrize("seed", range(4))
def test_scatter_alone_is_no_element(seed: int) -> None:
    assert proven_split(scattered({}, seed)).changes == ()


def scattered(gains_db: dict[str, float], seed: int = 1) -> PairSpectra:
    """One take whose cells were not all learnt right: half a decibel, few of them by far more."""
    cells = pair(gains_db, other=False)
    rng = np.random.default_rng(seed)
    away_db = rng.normal(0, 0.3, cells.candidate.shape)
    # Now and then a pitch is off for half a second.
    for _ in range(40):
        row, band = rng.integers(cells.candidate.shape[0]), rng.integers(cells.candidate.shape[1])
        away_db[row : row + 10, band] += rng.normal(0, 3)
    return replace(cells, candidate=cells.candidate * 10 ** (away_db / 10))


def test_what_rose_and_what_fell_keep_their_own_sizes() -> None:
    changes = proven_split(scattered({"middle": 6.0, "tenor": -6.0})).changes
    sizes = [change.difference_db for change in changes]
    assert sorted(sizes) == pytest.approx([-6.0, 6.0], abs=1.0)
