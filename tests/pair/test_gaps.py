"""Gaps of notes with rests, lifted by a tail of known energy."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.features import BAND_RATE_HZ
from mixcompare.pair.gaps import gaps_of
from mixcompare.pair.response import STEP_S

FRAMES, REGISTERS = 600, 4
DELAY_S = (np.arange(400) + 0.5) * STEP_S
EXCESS = np.tile(1e-3 * 10 ** (-6 * DELAY_S / 1.5), (REGISTERS, 1))


def notes() -> npt.NDArray[np.float64]:
    """Half a second of sound, half a second 40 dB below it."""
    plays = np.arange(FRAMES) / BAND_RATE_HZ % 1 < 0.5
    return np.where(plays, 1.0, 1e-4)[:, None] * np.ones(31)


def with_tail(direct: npt.NDArray[np.float64], share: float) -> npt.NDArray[np.float64]:
    frame = np.round(DELAY_S * BAND_RATE_HZ).astype(int)
    by_frame = np.bincount(frame, share * EXCESS[0])
    return direct + signal.convolve(direct, by_frame[:, None])[: len(direct)]


@pytest.mark.parametrize("share", [1.0, 0.1])
def test_a_tail_that_is_there_is_borne_out(share: float) -> None:
    gaps = gaps_of(share * EXCESS, notes(), with_tail(notes(), share))
    assert gaps.borne_out == pytest.approx(1.0, abs=0.01)
    assert gaps.bear_it_out
    assert not gaps.outdo_it
    lift_db = 10 * np.log10(with_tail(notes(), share) / notes())
    assert gaps.lift_db == pytest.approx(np.percentile(lift_db, 95), abs=0.5)


def test_a_tail_that_is_not_there_is_not() -> None:
    assert gaps_of(EXCESS, notes(), notes()).borne_out == pytest.approx(0.0, abs=0.01)
    assert gaps_of(0.1 * EXCESS, notes(), with_tail(notes(), 1.0)).outdo_it


def test_what_lifts_everything_alike_is_put_to_no_test() -> None:
    even = np.ones((FRAMES, 31))
    assert not gaps_of(EXCESS, even, with_tail(even, 1.0)).are_put_to_test
