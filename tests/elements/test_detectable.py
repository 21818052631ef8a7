"""What could not have been found: held against what is found when it is really there."""

from __future__ import annotations

import functools
from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage

from mixcompare.aspects.balance.about import LEVEL
from mixcompare.aspects.balance.unseen import unseen_words
from mixcompare.aspects.balance.values import OCTAVE_REGISTERS_HZ
from mixcompare.elements.detectable import ELEMENT_SHARES, _element, detectable
from mixcompare.elements.one_take import exact_split
from mixcompare.findings.detectable import Detectable
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from tests.pair.test_tail import under_other_tail

FloatArray = npt.NDArray[np.float64]

FRAMES = round(20 * RATE_HZ)
CENTRE_HZ = 440 * 2 ** (np.arange(-36, 44) / 12)
TIMES_S = np.arange(FRAMES) / RATE_HZ


@functools.cache
def music() -> FloatArray:
    """Notes of half a second, six at a time, of a seed."""
    rng = np.random.default_rng(1)
    power = np.full((FRAMES, len(CENTRE_HZ)), 1e-6)
    for start in range(0, FRAMES, 10):
        for band in rng.choice(len(CENTRE_HZ), 12, replace=False):
            decay = np.exp(-np.arange(10) / 20)
            power[start : start + 10, band] += rng.uniform(0.1, 1.0) * decay
    return power


def scattered(scatter_db: float) -> PairSpectra:
    """The music against itself, every cell moved by chance, slowly."""
    rng = np.random.default_rng(2)
    noise = ndimage.gaussian_filter1d(rng.standard_normal(music().shape), 4, axis=0)
    noise *= scatter_db / noise.std()
    return PairSpectra(TIMES_S, CENTRE_HZ, music(), music() * 10 ** (noise / 10))


def least_db(spectra: PairSpectra, same_take: bool = True) -> list[float | None]:
    return [one.level_db for one in told(spectra, same_take)]


@dataclass(frozen=True)
class Cells:
    """A pair of which only the cells are known."""

    of_elements: PairSpectra
    same_take: bool
    under_one_tail: None = None


def told(spectra: PairSpectra, same_take: bool = True) -> tuple[Detectable, ...]:
    return detectable(cast(Pair, Cells(spectra, same_take)), OCTAVE_REGISTERS_HZ, LEVEL.size)


def test_an_equal_pair_hides_hardly_anything_where_something_sounds() -> None:
    found = told(scattered(0.0))
    assert {one.element_share for one in found} == set(ELEMENT_SHARES) == {0.1, 0.3}
    # The music reaches from 55 Hz to 5 kHz: seven octaves, and none above.
    assert sorted({one.band_hz for one in found}) == list(OCTAVE_REGISTERS_HZ[:7])
    assert max(one.level_db or np.inf for one in found) <= 1.5


# By definition: of a register's energy, a tenth and a third; in a cell beside it others sound.
@pytest.mark.parametrize("share", ELEMENT_SHARES)
def test_the_element_that_is_raised_has_its_share_of_the_register(share: float) -> None:
    spectra = scattered(0.0)
    band_hz = OCTAVE_REGISTERS_HZ[4]
    own = _element(spectra, band_hz, share)
    assert own is not None
    inside = (band_hz[0] <= CENTRE_HZ) & (band_hz[1] > CENTRE_HZ)
    assert not own[:, ~inside].any()
    power = np.where(spectra.audible, spectra.reference, 0.0)
    assert (own * power).sum() == pytest.approx(share * power[:, inside].sum(), rel=0.1)
    assert 0.3 < own[own > 0].min() < own.max() < 1.0


def test_scatter_hides_more() -> None:
    little, much = (np.array(least_db(scattered(db)), float) for db in (0.1, 0.6))
    assert (much >= little).all()
    assert np.median(much) > np.median(little)


def test_two_performances_and_cells_that_all_scatter_tell_nothing() -> None:
    assert set(least_db(scattered(0.0), same_take=False)) == {None}
    assert set(least_db(scattered(3.0))) == {None}


@pytest.mark.parametrize("scatter_db", [0.1, 0.4])
def test_a_change_of_one_voice_is_found_from_the_told_size_on(scatter_db: float) -> None:
    # Every fourth pitch of the middle is one voice, raised by its power: the truth is the factor.
    spectra = scattered(scatter_db)
    levels = [
        one.level_db
        for one in told(spectra)
        if one.band_hz[0] in (354.8, 707.9) and one.element_share == 0.3
    ]
    least = max(level or np.inf for level in levels)
    voice = (CENTRE_HZ > 355) & (CENTRE_HZ < 1412) & (np.arange(len(CENTRE_HZ)) % 4 == 0)

    def found_db(level_db: float) -> list[float]:
        raised = spectra.candidate * np.where(voice, 10 ** (level_db / 10), 1.0)
        changes = exact_split(PairSpectra(TIMES_S, CENTRE_HZ, spectra.reference, raised)).changes
        return [change.difference_db for change in changes]

    (size,) = found_db(1.5 * least)
    assert size == pytest.approx(1.5 * least, abs=0.5)
    assert found_db(0.4 * least) == []


def test_it_is_said_where_much_could_have_gone_unnoticed_and_only_there() -> None:
    def words(*levels: float | None, same_take: bool = True) -> str:
        least = [
            Detectable(band_hz, share, level)
            for band_hz, level in zip(OCTAVE_REGISTERS_HZ, levels, strict=False)
            for share in ELEMENT_SHARES
        ]
        return unseen_words(least, same_take)

    assert words(1.25, 1.5, 1.25) == ""
    assert words(4.0, 2.5, 1.25, 3.0) == (
        "A single instrument that carries a tenth of the energy of one octave could have changed"
        " by up to 4 dB between 45 Hz and 180 Hz or between 350 Hz and 710 Hz unnoticed."
    )
    # What can't be found at all does not make more of what can.
    assert words(2.0, None) == (
        "A single instrument that carries a tenth of the energy of one octave could have changed"
        " by up to 2 dB between 45 Hz and 89 Hz, by more than 12 dB between 89 Hz and 180 Hz"
        " unnoticed."
    )
    assert "can't be judged" in words(None, None)
    assert "two performances" in words(None, None, same_take=False)


def test_under_another_tail_no_more_is_promised_than_its_filter_leaves() -> None:
    # Of an element the tail's filter learns a part: what moves its cells by 1 dB is 2 dB at least.
    told = [one.level_db for one in detectable(under_other_tail(), OCTAVE_REGISTERS_HZ, 1.0)]
    assert any(level is not None for level in told)
    assert min(level for level in told if level is not None) >= 2.0
