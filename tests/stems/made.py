"""Made-up music voice by voice: stems that add up to their mix by definition."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt

from mixcompare.alignment import align
from mixcompare.audio.recording import Recording
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from tests import synthetic
from tests.recorded import features

FloatArray = npt.NDArray[np.float64]

RATE_HZ = synthetic.RATE_HZ
VOICES = ("figure", "melody", "pad", "bass")
SEED, BARS = 5, 6
AGAIN: dict[str, Any] = {
    "scatter_s": 0.012, "scatter_db": 0.6, "performance": 3, "beat_s": 0.63, "a4_hz": 442.0,
}  # fmt: skip


@functools.cache
def voice(name: str, again: bool = False) -> FloatArray:
    """One voice of the piece alone, in one take or played again."""
    others = {other: -200.0 for other in VOICES if other != name}
    return synthetic.play(SEED, bars=BARS, gains_db=others, **(AGAIN if again else {}))


def stems(again: bool = False, **gains_db: float) -> dict[str, FloatArray]:
    """All voices, some of them louder or softer."""
    return {name: voice(name, again) * 10 ** (gains_db.get(name, 0.0) / 20) for name in VOICES}


def mixed(parts: Mapping[str, FloatArray]) -> FloatArray:
    return np.sum(list(parts.values()), axis=0)


def recorded(samples: npt.ArrayLike, name: str = "array") -> Recording:
    return Recording.from_array(samples, RATE_HZ, name=name)


def files(parts: Mapping[str, FloatArray]) -> dict[str, Recording]:
    return {name: recorded(samples, name) for name, samples in parts.items()}


laid = functools.cache(align)


def pair_of(reference: Recording, candidate: Recording) -> Pair:
    first, second = features(reference), features(candidate)
    pair = aligned(first, second, laid(first, second)).with_noise_shared()
    return pair.with_gain(match_level(pair).gain_db)
