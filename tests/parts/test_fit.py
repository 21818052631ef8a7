"""The joint fit, on cells that are sums of templates with known gains."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.parts.fit import cells_of, fit, hats, separate
from mixcompare.parts.templates import templates
from mixcompare.standards.bs1770 import k_weighting_power
from mixcompare.standards.iec61260 import pitch_hz
from tests.parts.written import VOICES, parts

CENTRE_HZ = pitch_hz(np.arange(28, 113))
RATE_HZ = 20 / 3
TIMES_S = np.arange(0, 19, 0.05)
GAINS_DB = np.array([-6.0, 0.0, -3.0, -8.0])


def made() -> np.ndarray:
    return templates(parts(), TIMES_S, CENTRE_HZ)[..., ::3]


def mixed(gains_db: np.ndarray, tone_db: float = 0.0) -> np.ndarray:
    """Cells with a floor, and a tone that rises from the lowest band to the highest."""
    power = np.tensordot(10 ** (gains_db / 10), made(), 1)
    slope = np.linspace(-tone_db / 2, tone_db / 2, len(CENTRE_HZ))
    return np.asarray((power + 1e-7 * power.max()) * 10 ** (slope / 10)[:, None])


@pytest.mark.parametrize("part", range(4))
@pytest.mark.parametrize("by_db", [4.0, -4.0])
def test_a_part_that_moved_is_found_with_its_size(part: int, by_db: float) -> None:
    change = by_db * (np.arange(4) == part)
    found = fit(
        cells_of(mixed(GAINS_DB), mixed(GAINS_DB + change), (made(), made()), CENTRE_HZ, RATE_HZ)
    )
    against = found.difference_db - np.delete(found.difference_db, part).mean()
    assert against[part] == pytest.approx(by_db, abs=0.8)
    assert np.abs(np.delete(against, part)).max() < 0.4
    assert np.all(np.diag(found.covariance) > 0)


def test_tone_is_nobodys_level() -> None:
    found = fit(
        cells_of(mixed(GAINS_DB), mixed(GAINS_DB, 4.0), (made(), made()), CENTRE_HZ, RATE_HZ)
    )
    assert np.ptp(found.difference_db) < 1.5


def test_shares_and_energies_are_those_of_the_mixture() -> None:
    found = fit(cells_of(mixed(GAINS_DB), mixed(GAINS_DB), (made(), made()), CENTRE_HZ, RATE_HZ))
    weighted = np.einsum("f,pft->p", k_weighting_power(CENTRE_HZ), made()) * 10 ** (GAINS_DB / 10)
    true = weighted / weighted.sum()
    np.testing.assert_allclose(found.energy, true, atol=0.08)
    sounding = mixed(GAINS_DB) > 1e-2 * mixed(GAINS_DB).max()
    np.testing.assert_allclose(found.shares.sum(axis=0)[sounding], 1.0, atol=0.02)
    assert found.scatter_db < 0.1
    assert len(found.difference_db) == len(VOICES)


def test_one_recording_alone_gives_the_gains_of_its_parts() -> None:
    gains = separate(mixed(GAINS_DB), made(), CENTRE_HZ, 200)
    level_db = 10 * np.log10(gains.max(axis=1))
    np.testing.assert_allclose(level_db, GAINS_DB, atol=1.5)


def test_cells_that_are_not_judged_or_not_heard_do_not_count() -> None:
    judged = np.ones(mixed(GAINS_DB).shape, bool)
    judged[:, :50] = False
    cells = cells_of(mixed(GAINS_DB), mixed(GAINS_DB), (made(), made()), CENTRE_HZ, RATE_HZ, judged)
    assert not cells.heard[:, :50].any()
    floor = cells.reference < 10**-5.2 * cells.reference.max()
    assert not (cells.heard & floor).any()


def test_octaves_add_up_to_one() -> None:
    np.testing.assert_allclose(hats(CENTRE_HZ).sum(axis=1), 1.0)
