"""Onset, length and decay of a tail that is known to the bin."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.pair.response import STEP_S, Response
from mixcompare.pair.tail_course import decay_time_s, extent, stop_of_fall

REGISTERS, DELAYS = 4, 1200  # three seconds


def response(decay_s: float, predelay_s: float, floor: float) -> Response:
    """An exponential that loses 60 dB in its decay time, over an even floor."""
    since_s = np.arange(DELAYS) * STEP_S - predelay_s
    energy = np.where(since_s >= 0, 1e-3 * 10 ** (-6 * since_s / decay_s), 0.0)
    even = np.full((REGISTERS, DELAYS), floor)
    return Response(even + energy, even, even + energy, even, np.ones((31, 2)))


@pytest.mark.parametrize("decay_s", [0.6, 1.5, 2.4])
@pytest.mark.parametrize("predelay_s", [0.02, 0.1])
def test_onset_and_decay(decay_s: float, predelay_s: float) -> None:
    known = response(decay_s, predelay_s, 1e-7)
    first, behind = extent(known)
    assert first * STEP_S == pytest.approx(predelay_s, abs=2 * STEP_S)
    # Clear of the floor by half of it until the fall has made 43 dB: 10 lg(1e-3 / 0.5e-7).
    assert behind * STEP_S == pytest.approx(min(predelay_s + 43 / 60 * decay_s, 2.0), abs=0.1)
    stop = stop_of_fall(known, first, behind)
    # What lies behind the clear part is added back: within a twentieth.
    assert decay_time_s(known, first, stop) == pytest.approx(decay_s, rel=0.05)


def test_too_little_of_a_fall_has_no_time() -> None:
    known = response(2.0, 0.05, 3e-4)
    first, behind = extent(known)
    assert decay_time_s(known, first, stop_of_fall(known, first, behind)) is None
