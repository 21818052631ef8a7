"""Noise that one recording has, told beside what else changed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from tests import operations
from tests.pair.noisy_music import (
    features_of,
    take,
    white,
)
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]
Change = Callable[[FloatArray], FloatArray]


FIGURE = ("clarinets", "harp", "xylophone")
BESIDE: dict[str, Change] = {
    "hiss_added": lambda x: x + white(x, -50.0),
    "hum_added": lambda x: x + 0.01 * np.sin(0.1 * np.pi / 44.1 * np.arange(len(x)))[:, None],
}


@pytest.mark.parametrize("kind", BESIDE)
def test_noise_is_told_beside_a_figure(kind: str) -> None:
    (before, rate_hz), (after, _) = operations.with_parts(take(), FIGURE, 11.0, 5.0)
    one, other = features_of(before, rate_hz), features_of(BESIDE[kind](after), rate_hz)
    results = told_of(one, other)
    told = {finding.kind: finding for finding in results.findings}
    noise = told.pop(kind)
    assert noise.aspect == "tone"
    assert noise.difference > 3
    assert "dBFS" in noise.text
    (element,) = told.values()
    assert element.aspect == "balance"
    # Half of 1 dB, ISO 3382-1:2009, Table A.1.
    assert element.difference == pytest.approx(5.0, abs=0.5)
