"""Noise that one recording has, told beside what else changed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.aspects import tone
from tests import operations
from tests.pair.noisy_music import (
    features_of,
    pair_of,
    take,
    take_features,
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


def test_what_a_low_cut_left_under_hiss_does_not_hide_it() -> None:
    """Butterworth's high-pass by scipy, and white noise: deep down only the noise is left."""
    sections = signal.butter(4, 200, "high", fs=operations.RATE_HZ, output="sos")
    left = signal.sosfilt(sections, take(), axis=0)
    noisy = features_of(left + white(left, -50.0), operations.RATE_HZ)
    difference = tone.analyzer.compare(pair_of(take_features(), noisy).with_noise_shared())
    (cut,) = difference.cuts
    assert cut.corner_hz == pytest.approx(200, rel=0.05)
    assert cut.slope_db_per_octave == pytest.approx(-24, abs=1.5)
    assert difference.band_level_db[:5] == (None,) * 5
