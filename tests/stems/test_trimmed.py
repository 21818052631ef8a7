"""A comparison with stems from end to end, on made-up music."""

from __future__ import annotations

import pytest

import mixcompare
from tests.stems import made


def test_a_preview_that_had_to_be_lowered_is_matched_in_level_again() -> None:
    """A stem that is brought up by 9 dB passes full scale."""
    parts = made.stems(bass=-9.0)
    scale = 0.98 / abs(made.mixed(parts)).max()
    candidate = made.recorded(scale * made.mixed(parts), "candidate")
    reference = made.recorded(0.4 * made.mixed(made.stems()), "reference")
    stems = made.files({name: scale * sound for name, sound in parts.items()})
    found = mixcompare.compare(reference, candidate, stems=stems).results
    assert found.stems is not None
    preview, level = found.stems.preview, found.level
    assert preview is not None
    assert level is not None
    assert {stem.name for stem in found.stems.due} == {"bass"}
    assert preview.lowered_db > 0.5
    assert preview.level_db == pytest.approx(level.gain_db - preview.lowered_db, abs=0.2)
