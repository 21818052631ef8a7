"""One take: notes that end elsewhere are a voice's articulation where it can be followed."""

from __future__ import annotations

import functools
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from mixcompare.aspects import articulation
from mixcompare.aspects.articulation.told import is_told
from mixcompare.aspects.articulation.values import BASS, LEAD, ArticulationDifference
from mixcompare.aspects.balance.unseen import unseen
from mixcompare.pair.pair import Pair
from tests import synthetic
from tests.pair.test_tail import OTHER, OWN, pair_of, played
from tests.pairs import pair_of as two_takes

SHARE = 0.75


@functools.cache
def cut_short(response: tuple[int, float, float]) -> Pair:
    """A melody held for three quarters of its notes' length in the candidate."""
    legato, written = played(OWN), synthetic.score

    def shorter(*asked: Any) -> dict[str, list[synthetic.Tone]]:
        voices = written(*asked)
        cut = [replace(tone, length_s=SHARE * tone.length_s) for tone in voices["melody"]]
        return voices | {"melody": cut}

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(synthetic, "score", shorter)
        return pair_of(legato, played.__wrapped__(response))


@functools.cache
def told(response: tuple[int, float, float]) -> ArticulationDifference:
    return articulation.analyzer.compare(cut_short(response))


@pytest.mark.parametrize("response", [OWN, OTHER])
def test_a_melody_cut_a_little_short_is_its_articulation(
    response: tuple[int, float, float],
) -> None:
    """Truth: what was cut off of every note."""
    pair = cut_short(response)
    assert " end sooner " in unseen(pair)[1]
    difference = told(response)
    (finding,) = articulation.analyzer.findings(difference, pair)
    assert finding.kind == "notes_more_detached"
    reference = difference.reference_ratio or np.nan
    truth = (SHARE - 1) * reference
    assert finding.interval[0] <= truth <= finding.interval[1]
    assert finding.difference == pytest.approx(truth, abs=0.08)  # just noticed
    pair.differences["articulation"] = difference
    assert difference.ends_told == (True,)
    assert " end sooner " not in unseen(pair)[1]


def test_cells_speak_for_voices_of_their_own_range_and_direction() -> None:
    pair, difference = cut_short(OWN), told(OWN)
    lead = next(voice for voice in difference.voices if voice.name == LEAD)
    assert is_told(lead, pair)
    assert lead.stretch is not None
    assert not is_told(replace(lead, band_hz=(40.0, 90.0)), pair)
    longer = replace(lead.stretch, sounding_ratio=-lead.stretch.sounding_ratio)
    assert not is_told(replace(lead, stretch=longer), pair)
    large = replace(lead.stretch, sounding_ratio=0.3)
    assert is_told(replace(lead, stretch=large), pair)
    assert not is_told(replace(lead, stretch=None), pair)


@pytest.mark.parametrize(
    ("name", "ratio", "expected"),
    [(BASS, -0.19, False), (BASS, 0.37, True), (LEAD, -0.19, True), ("violins", 0.1, True)],
)
def test_a_bass_line_that_is_only_heard_must_differ_clearly(
    name: str, ratio: float, expected: bool
) -> None:
    voice = told(OWN).voices[0]
    assert voice.stretch is not None
    voice = replace(voice, name=name, stretch=replace(voice.stretch, sounding_ratio=ratio))
    assert is_told(voice, two_takes(same_take=False)) is expected
