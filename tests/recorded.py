"""Sound in memory is analysed once, however many tests of a worker ask for it."""

from __future__ import annotations

import hashlib
from collections import OrderedDict

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.features import Features

KEPT = 48
"""Recordings whose features are kept: some megabytes each."""

_known: OrderedDict[tuple[object, ...], Features] = OrderedDict()


def features_of(samples: npt.ArrayLike, rate_hz: int, name: str = "array") -> Features:
    """Features of samples; those of the same samples are the same object."""
    return features(Recording.from_array(samples, rate_hz, name))


def features(recording: Recording) -> Features:
    """Features of a recording, known by its samples."""
    digest = hashlib.sha256()
    for block in recording.raw_blocks():
        digest.update(np.ascontiguousarray(block).data)
    key = (
        digest.digest(), recording.name, recording.sample_rate_hz, recording.channels,
        recording.span_s,
    )  # fmt: skip
    if key not in _known:
        _known[key] = Features.of(recording)
        while len(_known) > KEPT:
            _known.popitem(last=False)
    _known.move_to_end(key)
    return _known[key]
