"""Advice in the names of the stems, for findings and stems written by hand."""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np

from mixcompare.features import Features
from mixcompare.findings import Finding
from mixcompare.stems.advice import in_names_of_stems
from mixcompare.stems.cells import StemCells
from mixcompare.stems.values import Place, Stem
from tests.stems import made
from tests.told import told_of

FLUTES = Stem("Flutes", 20.0, -5.1, (-5.5, -4.7), 0.0, (0.0, 0.0))
HORNS = Stem("Horns", 40.0, 0.0, (-0.3, 0.3), 0.0, (0.0, 0.0))
PAIRS = np.array([(0, 0), (0, 1), (1, 1)])
ADVICE = "Ask the flutes to play softer.", "Bring the spots down."


def cells() -> StemCells:
    """Ten seconds; the flutes play above 1 kHz, the horns below."""
    cross = np.zeros((3, 50, 2), np.float32)
    cross[0, :, 1] = cross[2, :, 0] = 1.0
    rest = np.ones((50, 2), np.float32)
    return StemCells(np.array([300.0, 2000.0]), 5.0, PAIRS, cross, rest, rest, rest, rest)


@functools.cache
def finding() -> Finding:
    parts = made.stems(figure=5.0)
    one, other = made.recorded(made.mixed(made.stems())), made.recorded(made.mixed(parts))
    found = told_of(Features.of(one), Features.of(other), only=("balance",)).findings[0]
    assert found.aspect == "balance"
    return replace(
        found, difference=5.0, interval=(4.5, 5.5), band_hz=(1000.0, 4000.0), advice=ADVICE,
        candidate_spans_s=((2.0, 8.0),),
    )  # fmt: skip


def test_a_finding_that_a_trim_undoes_names_the_stem() -> None:
    told = "Bring the stem Flutes down by 5.1 dB (4.7 to 5.5)."
    high = finding()
    found = in_names_of_stems(high, (FLUTES, HORNS), cells(), same_take=False)
    assert found.advice == (ADVICE[0], told)
    played = replace(high, advice=("Bring the spots down.", "Or, if it was played so: softer."))
    assert in_names_of_stems(played, (FLUTES, HORNS), cells(), same_take=True).advice == (
        told, "Or, if it was played so: softer.",
    )  # fmt: skip
    both = replace(HORNS, trim_db=-4.0, interval=(-4.4, -3.6))
    wide = replace(high, band_hz=None)
    assert in_names_of_stems(wide, (FLUTES, both), cells(), same_take=False).advice[-1] == (
        "Bring the stem Flutes down by 5.1 dB (4.7 to 5.5) and the stem Horns down by 4.0 dB"
        " (3.6 to 4.4)."
    )
    place = Place((3.0, 5.0), (3.0, 5.0), -4.0, (-5.0, -3.0))
    riding = replace(FLUTES, trim_db=0.0, interval=(-0.2, 0.2), places=(place,))
    assert in_names_of_stems(high, (riding, HORNS), cells(), same_take=False).advice[-1] == (
        "Bring the stem Flutes down by 4.0 dB (3.0 to 5.0) there."
    )
    raised = replace(high, difference=-5.0, interval=(-5.5, -4.5))
    lifted = replace(FLUTES, trim_db=5.1, interval=(4.7, 5.5))
    assert "Flutes up by" in in_names_of_stems(raised, (lifted,) * 2, cells(), False).advice[-1]


def test_other_findings_keep_their_advice() -> None:
    high = finding()
    others = [
        replace(high, aspect="tone"),
        replace(high, difference=-5.0, interval=(-5.5, -4.5)),  # the trim would make it worse
        replace(high, difference=9.0, interval=(8.5, 9.5)),  # not of its size
        replace(high, band_hz=(100.0, 500.0)),  # where the flutes don't play
        replace(high, interval=(4.5, np.inf)),
    ]
    for other in others:
        assert in_names_of_stems(other, (FLUTES, HORNS), cells(), False).advice == ADVICE
    slight = replace(high, difference=1.2, interval=(0.9, 1.5))
    worse = replace(FLUTES, trim_db=0.8, interval=(0.5, 1.1))
    assert in_names_of_stems(slight, (worse, HORNS), cells(), False).advice == ADVICE
    little = replace(FLUTES, trim_db=-5.0, interval=(-11.0, 1.0))
    assert in_names_of_stems(high, (little, HORNS), cells(), False).advice == ADVICE
    elsewhere = replace(little, places=(Place((9.0, 9.9), (9.0, 9.9), -5.0, (-6.0, -4.0)),))
    assert in_names_of_stems(high, (elsewhere, HORNS), cells(), False).advice == ADVICE
