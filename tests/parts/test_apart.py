"""A second opinion where other instruments play, on mixtures of templates with known gains."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mixcompare.parts.apart import levels_apart, with_second_opinion
from mixcompare.parts.fit import Cells, Fitted, cells_of, fit
from tests.parts.test_fit import CENTRE_HZ, GAINS_DB, RATE_HZ, made, mixed


def pair(change_db: np.ndarray) -> Cells:
    return cells_of(
        mixed(GAINS_DB), mixed(GAINS_DB + change_db), (made(), made()), CENTRE_HZ, RATE_HZ
    )


@pytest.mark.parametrize("part", range(4))
def test_each_recording_alone_gives_the_difference_of_its_parts(part: int) -> None:
    change = 4.0 * (np.arange(4) == part)
    found = levels_apart(pair(change))
    against = found - np.delete(found, part).mean()
    assert against[part] == pytest.approx(4.0, abs=1.0)
    assert np.abs(np.delete(against, part)).max() < 1.0


def test_the_same_players_need_no_second_opinion() -> None:
    cells = pair(np.array([4.0, 0.0, 0.0, 0.0]))
    fitted = fit(cells)
    assert fitted.scatter_db < 3.0
    assert with_second_opinion(cells, fitted) is fitted


def test_where_other_instruments_play_it_is_the_mean_of_both_and_their_gap_is_doubt() -> None:
    change = np.array([4.0, 0.0, 0.0, 0.0])
    cells = pair(change)
    joint = replace(
        fit(cells),
        difference_db=np.zeros(4),  # read far too small
        covariance=np.eye(4),
        scatter_db=4.5,
    )
    found = with_second_opinion(cells, joint)
    gap = found.difference_db[0] - found.difference_db[1:].mean()
    assert gap == pytest.approx(2.0, abs=0.5)
    # Of the joint fit's variance 0.64 is kept, and a tenth of the squared gap comes besides.
    away = levels_apart(cells)
    away = away - away.mean()
    np.testing.assert_allclose(np.diag(found.covariance), 0.64 + 0.1 * away**2)
    unlike: Fitted = with_second_opinion(cells, replace(joint, difference_db=40 * np.eye(4)[1]))
    assert np.diag(unlike.covariance).max() == pytest.approx(0.64 + 0.1 * 64)


def test_the_lowest_bands_that_one_recording_lacks_say_nothing() -> None:
    whole = cells_of(mixed(GAINS_DB), mixed(GAINS_DB), (made(), made()), CENTRE_HZ, RATE_HZ)
    lowest = int(np.flatnonzero(whole.heard.sum(axis=1) > 20)[3])
    candidate = mixed(GAINS_DB)
    candidate[:lowest] *= 10**-1.8
    loud = lowest + 10 + int(whole.heard[lowest + 10 :].sum(axis=1).argmax())
    candidate[loud] *= 10**-1.8  # a single band further up is somebody's doing
    cells = cells_of(mixed(GAINS_DB), candidate, (made(), made()), CENTRE_HZ, RATE_HZ)
    assert not cells.heard[:lowest].any()
    assert whole.heard[:lowest].sum() > 60
    assert cells.heard[loud].any()
