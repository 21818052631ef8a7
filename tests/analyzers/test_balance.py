"""Balance of one recording: registers and voices."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.analyzers.balance import VOICES, analyzer
from mixcompare.features import Features
from mixcompare.recording import Recording
from tests.synthetic import RATE_HZ, in_room, play


def measured(**gains_db: float) -> dict[str, float]:
    """Loudness share by voice; invented music of a melody, a bass, a figure and chords."""
    samples = in_room(play(1, gains_db=dict(gains_db)), 1.0, -10.0)
    features = Features.of(Recording.from_array(0.3 * samples / np.abs(samples).max(), RATE_HZ))
    found = analyzer.measure(features)
    assert found.voice_name == VOICES
    assert all(0 <= share <= 1 for share in found.voice_audible_share)
    assert found.blend is not None
    return dict(zip(found.voice_name, found.voice_loudness_share, strict=True)) | {
        "blend": found.blend
    }


def test_a_line_brought_up_takes_more_of_the_loudness() -> None:
    usual, forward = measured(melody=0.0), measured(melody=9.0)
    assert forward["leading line"] > 1.3 * usual["leading line"]
    assert forward["all else"] < usual["all else"]


def test_one_register_alone_holds_all_the_loudness() -> None:
    # What nothing masks is heard all the time and is the whole loudness: a definition.
    time = np.arange(4 * RATE_HZ) / RATE_HZ
    tone = 0.1 * np.sin(2 * np.pi * 1000 * time)
    found = analyzer.measure(Features.of(Recording.from_array(tone, RATE_HZ)))
    place = next(i for i, (low, high) in enumerate(found.register_hz) if low < 1000 < high)
    assert found.register_loudness_share[place] == pytest.approx(1.0, abs=0.1)
    assert found.register_audible_share[place] == pytest.approx(1.0, abs=0.05)
