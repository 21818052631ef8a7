"""A measurement that the comparison needs as well is made once per recording."""

from __future__ import annotations

import gc
import weakref

from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from tests.aspects.stereo_music import RATE_HZ, music


class Counting:
    """Counts how often it measures."""

    def __init__(self) -> None:
        self.times = 0

    aspect = "counting"

    def measure(self, features: Features) -> float:
        self.times += 1
        return features.duration_s


def test_measured_once_and_let_go_with_the_recording() -> None:
    # Nobody else keeps these.
    first, second = (
        Features.of(Recording.from_array(level * music(), RATE_HZ)) for level in (1.0, 0.5)
    )
    counting = Counting()
    for features in (first, second, first):
        assert features.kept(counting.aspect, counting.measure) == features.duration_s
    assert counting.times == 2
    gone = weakref.ref(first)
    del first, features
    gc.collect()
    assert gone() is None
