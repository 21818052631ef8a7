"""What the tests of recordings share."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.audio.recording import Recording
from mixcompare.errors import AudioFileError
from mixcompare.features import Features

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 44_100


def whole(recording: Recording, block_s: float = 10.0) -> npt.NDArray[np.float32]:
    return np.concatenate(list(recording.blocks(block_s)))


def refusal(path: Path) -> str:
    """The sentence with which a file is refused, by opening, analysing or reading it."""
    with pytest.raises(AudioFileError) as caught:
        Features.of(Recording.open(path))
    return str(caught.value)


def check_sentence(sentence: str, path: Path, words: str) -> None:
    """One line that names the file, then says what is wrong."""
    assert sentence.startswith(f"{path}: ")
    assert sentence.endswith(".")
    assert "\n" not in sentence
    assert re.search(words, sentence)
