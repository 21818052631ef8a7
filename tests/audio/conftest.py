"""Sound for the tests of recordings."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest

from tests.audio.samples import RATE_HZ

FloatArray = npt.NDArray[np.float64]


@pytest.fixture
def noise(rng: np.random.Generator) -> FloatArray:
    """Two seconds of stereo noise, shape (n, 2)."""
    return 0.1 * rng.standard_normal((2 * RATE_HZ, 2))
