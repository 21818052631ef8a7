"""mixcompare: two recordings of one orchestral passage, and what sticks out.

>>> import mixcompare
>>> comparison = mixcompare.compare("reference.flac", "candidate.flac")  # doctest: +SKIP
>>> for finding in comparison.findings:  # doctest: +SKIP
...     print(finding.rank, finding.text)
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

from mixcompare.errors import (
    AlignmentError,
    AudioFileError,
    ClusterError,
    MixcompareError,
    OutputError,
    ParameterError,
)

if TYPE_CHECKING:
    from mixcompare.alignment import align
    from mixcompare.alignment.result import Alignment
    from mixcompare.alignment.timemap import TimeMap
    from mixcompare.audio.recording import Recording
    from mixcompare.comparison import Comparison, compare, load
    from mixcompare.features import Features
    from mixcompare.findings import Finding
    from mixcompare.takes.run import compare_all

__version__ = "0.1.0"

# Names that bring heavy imports with them are fetched when first used.
_HOMES = {
    "align": "mixcompare.alignment",
    "compare": "mixcompare.comparison",
    "compare_all": "mixcompare.takes.run",
    "load": "mixcompare.comparison",
    "Comparison": "mixcompare.comparison",
    "Features": "mixcompare.features",
    "Finding": "mixcompare.findings",
    "Alignment": "mixcompare.alignment",
    "Recording": "mixcompare.audio.recording",
    "TimeMap": "mixcompare.alignment",
}

__all__ = [
    "Alignment",
    "AlignmentError",
    "AudioFileError",
    "ClusterError",
    "Comparison",
    "Features",
    "Finding",
    "MixcompareError",
    "OutputError",
    "ParameterError",
    "Recording",
    "TimeMap",
    "align",
    "compare",
    "compare_all",
    "load",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module 'mixcompare' has no attribute '{name}'")
    return getattr(importlib.import_module(_HOMES[name]), name)


def __dir__() -> list[str]:
    return sorted([*globals(), *_HOMES])
