"""A comparison with stems from end to end, on made-up music."""

from __future__ import annotations

from dataclasses import replace

import pytest

import mixcompare
from mixcompare import trimmed
from mixcompare.features import Features
from mixcompare.stems.judge import judged
from tests.by_hand import finding
from tests.stems import made
from tests.told import nothing_unseen


@nothing_unseen()
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


@nothing_unseen()
def test_trims_that_make_it_worse_are_not_left_uncommented() -> None:
    """Both recordings are one; the trim is made up."""
    parts = made.stems()
    one = made.recorded(0.4 * made.mixed(parts), "one")
    stems = made.files({name: 0.4 * sound for name, sound in parts.items()})
    results = mixcompare.compare(one, one, stems=stems).results
    assert results.stems is not None
    assert not results.stems.due
    found = judged(made.pair_of(one, one), one, one, stems)
    wrong = tuple(
        replace(stem, trim_db=7.0, interval=(6.0, 8.0)) if stem.name == "figure" else stem
        for stem in found.told.stems
    )
    found = replace(found, told=replace(found.told, stems=wrong))
    brighter = finding(aspect="tone", difference=9.0, interval=(8.5, 9.5))
    results = replace(results, findings=(brighter,))
    told, _ = trimmed.with_stems(results, Features.of(one), one, stems, found, lambda words: None)
    assert told.stems is not None
    assert told.stems.preview is not None
    # Trims are judged by the balance alone: that it is brighter hides nothing.
    assert told.stems.preview.largest_before == 0.0
    assert told.stems.preview.largest_after > 1.0
    assert told.stems.preview.is_worse
    assert told.warnings[-1].startswith("With the trims the balance stands further from the")
