"""What is no noise, and where none can be told; see the modules of hiss and hum."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from tests import synthetic
from tests.pair.noisy_music import between, features_of, pair_of, played, reference, white
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]
Change = Callable[[FloatArray], FloatArray]


SILENT: dict[str, Change] = {
    "identical": lambda x: x,
    "louder": lambda x: 2 * x,
    "shelf": lambda x: x + 0.6 * signal.lfilter(*signal.butter(1, 3000, "high", fs=RATE_HZ), x, 0),
    "narrower": lambda x: x.mean(axis=1, keepdims=True) + 0.25 * (x - x[:, ::-1]),
    "hall": lambda x: synthetic.in_room(x, 2.2, -3.0),
    "ride": lambda x: x * np.where(np.arange(len(x)) > len(x) // 2, 1.6, 1.0)[:, None],
}


@pytest.mark.parametrize("name", SILENT)
def test_what_is_no_noise(name: str) -> None:
    assert between(reference(), features_of(SILENT[name](played()))) == ()


@pytest.mark.parametrize("figure_db", [6.0, -6.0])
def test_a_figure_is_no_noise(figure_db: float) -> None:
    assert between(reference(), features_of(played(figure=figure_db))) == ()


def test_another_performance_has_no_noise_to_tell() -> None:
    other = synthetic.play(5, bars=8, scatter_s=0.02, scatter_db=1.5, performance=2)
    pair = pair_of(reference(), features_of(other + white(other, -50.0)))
    assert not pair.same_take
    assert pair.with_noise_shared() is pair
