"""Gain and noise of plain numbers."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.pair.steady_power import steady_noise


def test_steady_noise_of_plain_numbers() -> None:
    # noisy = 4 clean + noise, by construction.
    rng = np.random.default_rng(0)
    clean = 10 ** rng.uniform(-6, -2, (800, 3))
    noise = np.array([0.0, 1e-5, 1e-5])
    noisy = 4 * clean + noise
    noisy[:100, 2] = 4 * clean[:100, 2]  # it rests now and then
    found = steady_noise(clean, noisy)
    assert found.gain == pytest.approx([4.0, 4.0, 4.0], rel=0.02)
    assert found.noise[1] == pytest.approx(1e-5, rel=0.05)
    assert found.told.tolist() == [False, True, False]
