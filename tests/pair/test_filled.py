"""Cells that a lossy codec filled: held against Ogg Vorbis and MP3 themselves (libsndfile's)."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
import pytest
import soxr

from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.pair.filled import filled_cells
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from tests import operations, recorded, synthetic
from tests.operations import RATE_HZ
from tests.pair.test_tail import under_other_tail
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]


@functools.cache
def take(**gains_db: float) -> FloatArray:
    samples = synthetic.in_room(synthetic.play(5, bars=8, gains_db=gains_db), 1.0, -9.0)
    return np.asarray(soxr.resample(samples, synthetic.RATE_HZ, RATE_HZ))


def features_of(samples: FloatArray) -> Features:
    return recorded.features_of(samples, RATE_HZ)


@functools.cache
def reference() -> Features:
    return features_of(take())


@functools.cache
def one_clock() -> Alignment:
    return align(reference(), reference())


def against_reference(candidate: FloatArray) -> Pair:
    pair = aligned(reference(), features_of(candidate), one_clock())
    return pair.with_gain(match_level(pair).gain_db)


@pytest.mark.parametrize("kind", ["OGG", "MP3"])
@pytest.mark.parametrize("coded_last", [True, False])
def test_what_a_codec_moves_by_much_is_not_judged(kind: str, coded_last: bool) -> None:
    pair = against_reference(operations.coded(take(), kind))
    pair = pair if coded_last else pair.mirrored()
    spectra = pair.straightened
    moved_db = np.abs(spectra.difference_db)[spectra.audible]
    assert (moved_db > 12).mean() > 0.005  # common practice, no source: it is no level of anybody
    left = pair.of_elements
    judged = np.abs(left.difference_db)[left.audible]
    assert (judged > 3).mean() < 0.005
    assert len(judged) > 0.3 * len(moved_db)
    assert split_pair(pair).changes == split_pair(pair).ended == ()


@pytest.mark.parametrize("gain_db", [2.0, 5.0, -5.0])
def test_behind_a_codec_an_element_is_found_as_if_there_was_none(gain_db: float) -> None:
    pair = against_reference(operations.coded(take(figure=gain_db), "OGG"))
    split = split_pair(pair)
    assert [one.difference_db for one in split.changes] == [pytest.approx(gain_db, abs=0.5)]
    assert split.ended == ()


# 4 dB of shelf, first order: what it leaves of that in its bands is the filter's own formula.
@pytest.mark.parametrize(("gain_db", "figure_db"), [(4.0, 5.0), (4.0, -5.0), (-4.0, -5.0)])
def test_a_filter_is_told_beside_an_element_and_a_codec(gain_db: float, figure_db: float) -> None:
    shelf = operations.high_shelf(3000, gain_db)
    candidate = features_of(operations.coded(shelf(take(figure=figure_db)), "OGG"))
    findings = told_of(reference(), candidate, one_clock()).findings
    assert {finding.aspect for finding in findings} == {"balance", "tone"}
    (tone,) = [finding for finding in findings if finding.aspect == "tone"]
    due_db = shelf.response_db(operations.third_octaves(tone)).mean()
    assert tone.difference == pytest.approx(due_db, abs=0.5)


def test_what_is_no_codec_fills_no_cell() -> None:
    cut = operations.Cut(4, 200, "high")
    for samples in (take(), take(figure=6.0), operations.sides(take(), 0.5), cut(take())):
        assert filled_cells(against_reference(samples).straightened) is None
    assert filled_cells(under_other_tail().straightened) is None
