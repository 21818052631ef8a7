"""An element beside the others in its own bands, on made-up cells.

Invented data: levels that are set are the levels to be found, exactly where a cell is one
player's alone.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.elements.beside import Beside
from mixcompare.pair.spectra import PairSpectra

FloatArray = npt.NDArray[np.float64]

FRAMES, BANDS = 600, 24
CENTRE_HZ = 440 * 2 ** (np.arange(BANDS) / 12)
PLAYS = (np.arange(FRAMES) // 40 % 3 == 0).astype(np.float64)[:, None] * np.ones(BANDS)
"""The element: two seconds of six, in every band."""


def cells(
    element_db: float, others_db: float, tone_db: FloatArray, scatter_db: float = 0.0
) -> PairSpectra:
    """Others with an element that is 20 dB louder while it plays; bands moved by a tone."""
    rng = np.random.default_rng(3)
    own, others = PLAYS, 0.01 * np.ones((FRAMES, BANDS))
    moved = own * 10 ** (element_db / 10) + others * 10 ** (others_db / 10)
    moved = moved * 10 ** ((tone_db + rng.normal(0, scatter_db, (FRAMES, BANDS))) / 10)
    times_s = np.arange(FRAMES) / 20
    return PairSpectra(times_s, CENTRE_HZ, own + others, moved)


@pytest.mark.parametrize(
    ("element_db", "others_db"), [(5.0, 0.0), (-5.0, 0.0), (0.0, 6.0), (3.0, 3.0)]
)
def test_what_moves_whole_bands_is_not_the_elements(element_db: float, others_db: float) -> None:
    tone_db = np.linspace(-8, 8, BANDS)
    spectra = cells(element_db, others_db, tone_db)
    level_db, deviation_db = Beside(spectra).level_db(PLAYS)
    # While the element plays, the others hold a hundredth of a cell.
    assert level_db == pytest.approx(element_db - others_db, abs=0.15)
    assert deviation_db == pytest.approx(0.3, abs=0.02)
    back_db, _ = Beside(spectra.mirrored()).level_db(PLAYS)
    assert back_db == pytest.approx(-level_db, abs=1e-6)


def test_bands_that_differ_make_it_unsure() -> None:
    rng = np.random.default_rng(5)
    own_db = rng.normal(0, 3, BANDS)
    spectra = cells(0.0, 0.0, np.zeros(BANDS))
    moved = np.where(PLAYS > 0, spectra.candidate * 10 ** (own_db / 10), spectra.candidate)
    spectra = PairSpectra(spectra.times_s, CENTRE_HZ, spectra.reference, moved)
    _, deviation_db = Beside(spectra).level_db(PLAYS)
    # The spread over the root of the number of bands, with what pairs without a change have.
    assert deviation_db == pytest.approx(np.hypot(3 / np.sqrt(BANDS), 0.3), rel=0.4)


def test_shares_between_are_neither() -> None:
    spectra = cells(5.0, 0.0, np.zeros(BANDS))
    shares = np.where(PLAYS > 0, 0.3, 0.0)
    shares[:40] = 1.0
    level_db, _ = Beside(spectra).level_db(shares)
    assert level_db == pytest.approx(5.0, abs=0.1)
    assert np.isnan(Beside(spectra).level_db(np.where(PLAYS > 0, 0.3, 0.0))[0])
    assert np.isnan(Beside(spectra).level_db(np.where(PLAYS > 0, 1.0, 0.3))[0])


def test_where_too_few_bands_have_both_nothing_is_said() -> None:
    spectra = cells(5.0, 0.0, np.zeros(BANDS))
    few = PLAYS.copy()
    few[:, 2:] = 0.3
    assert np.isnan(Beside(spectra).level_db(few)[0])
    few = PLAYS.copy()
    few[:, 3:] = 0.3
    assert Beside(spectra).level_db(few)[0] == pytest.approx(5.0, abs=0.1)
