"""Registers that stand elsewhere for a while, on made-up spectrograms."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.elements.change import Change, Split
from mixcompare.elements.local import local_changes
from mixcompare.pair.spectra import PairSpectra
from tests.elements.voices import CENTRE_HZ, TIMES_S, pair


def _raised(
    bands: npt.NDArray[np.bool_], change_db: float = 6.0, span_s: tuple[float, float] = (8, 14)
) -> PairSpectra:
    """One take in which some bands stand higher or lower for a while."""
    cells = pair({}, other=False)
    candidate = cells.candidate.copy()
    while_s = (span_s[0] <= TIMES_S) & (span_s[1] > TIMES_S)
    candidate[np.ix_(while_s, bands)] *= 10 ** (change_db / 10)
    return replace(cells, candidate=candidate)


NO_ELEMENT = Split((), np.zeros(len(CENTRE_HZ)), 0.1)


@pytest.mark.parametrize("change_db", [6.0, -6.0])
def test_a_register_for_a_while(change_db: float) -> None:
    cells = _raised((CENTRE_HZ >= 500) & (CENTRE_HZ < 1000), change_db)
    (found,) = local_changes(cells, NO_ELEMENT, same_take=True)
    assert found.difference_db == pytest.approx(change_db, abs=0.3)
    assert found.interval[0] <= change_db <= found.interval[1]
    assert found.band_hz == (500.0, 1000.0)
    assert found.name == "register from 500 to 1000 Hz"
    assert found.span_s == (pytest.approx(8, abs=0.5), pytest.approx(14, abs=0.5))
    assert found.confidence > 0.6
    assert local_changes(cells, NO_ELEMENT, same_take=False) == ()
    between_rooms = replace(NO_ELEMENT, scatter_db=0.9)
    assert local_changes(cells, between_rooms, same_take=True) == ()


@pytest.mark.parametrize("change_db", [5.0, -5.0])
def test_neighbouring_registers_are_one(change_db: float) -> None:
    cells = _raised((CENTRE_HZ >= 500) & (CENTRE_HZ < 2000), change_db)
    (found,) = local_changes(cells, NO_ELEMENT, same_take=True)
    assert found.band_hz == (500.0, 2000.0)
    assert found.name == "register from 500 to 2000 Hz"
    assert found.difference_db == pytest.approx(change_db, abs=0.4)
    apart = _raised((CENTRE_HZ >= 250) & (CENTRE_HZ < 500), change_db)
    other = _raised((CENTRE_HZ >= 1000) & (CENTRE_HZ < 2000), change_db)
    both = replace(apart, candidate=apart.candidate * other.candidate / other.reference)
    found_bands = [one.band_hz for one in local_changes(both, NO_ELEMENT, same_take=True)]
    assert found_bands == [(250.0, 500.0), (1000.0, 2000.0)]


@pytest.mark.parametrize(
    ("change_db", "seconds", "count"),
    [(6.0, 0.5, 0), (6.0, 3.0, 1), (1.5, 6.0, 0), (3.0, 6.0, 1), (-6.0, 3.0, 1)],
)
def test_how_much_for_how_long(change_db: float, seconds: float, count: int) -> None:
    # 2 dB for 1.5 s, seen through a window of 0.8 s.
    cells = _raised((CENTRE_HZ >= 500) & (CENTRE_HZ < 1000), change_db, (8, 8 + seconds))
    assert len(local_changes(cells, NO_ELEMENT, same_take=True)) == count


def test_what_elements_and_tone_explain_is_no_register() -> None:
    raised = (CENTRE_HZ >= 500) & (CENTRE_HZ < 1000)
    cells = _raised(raised)
    energy = np.where(cells.candidate > cells.reference, cells.reference, 0.0)
    explained = Split((Change(6.0, (5.9, 6.1), 0.9, energy),), np.zeros(len(CENTRE_HZ)), 0.1)
    assert local_changes(cells, explained, same_take=True) == ()
    # Tone moves a register's level where other pitches of it play.
    upper = (CENTRE_HZ >= 720) & (CENTRE_HZ < 1000)
    tone = np.where(upper, 8.0, 0.0)
    inside = ((TIMES_S >= 8) & (TIMES_S < 14))[:, None]
    outside = ((TIMES_S < 6) | (TIMES_S >= 16))[:, None]
    reference = cells.reference + 100.0 * (inside & upper | outside & raised & ~upper)
    toned = replace(cells, reference=reference, candidate=reference * 10 ** (tone / 10))
    assert len(local_changes(toned, NO_ELEMENT, same_take=True)) == 1
    assert local_changes(toned, Split((), tone, 0.1), same_take=True) == ()


def test_one_pitch_is_no_register() -> None:
    # Standing waves of another room move single pitches for as long as they sound.
    cells = _raised(np.arange(len(CENTRE_HZ)) == int(np.argmin(np.abs(CENTRE_HZ - 740))))
    assert local_changes(cells, NO_ELEMENT, same_take=True) == ()
