"""One take with something cut out or put in, on real music: the truth is where the scissors went.

The clip is a string orchestra's (tests/data); what is done to the sound besides comes from scipy.
"""

from __future__ import annotations

import functools

import numpy as np
import pytest
from scipy import signal

from mixcompare.alignment import align, edits
from mixcompare.alignment.result import Alignment
from mixcompare.audio.recording import Recording
from mixcompare.features import AlignmentFeatures
from tests import operations
from tests.operations import RATE_HZ, FloatArray

SECONDS = 30.0
EVENT_S = 0.1
"""The moment of an edit is found within this; a short-time correlation looks over 0.2 s."""


@functools.cache
def take() -> FloatArray:
    return operations.strings(SECONDS)


def spliced(*spans_s: tuple[float, float]) -> FloatArray:
    return np.concatenate([take()[round(a * RATE_HZ) : round(b * RATE_HZ)] for a, b in spans_s])


def remixed(sound: FloatArray) -> FloatArray:
    """Softer, darker, narrower, in a small room: the same take in another mix."""
    dark = signal.sosfilt(signal.butter(1, 2500, fs=RATE_HZ, output="sos"), 0.4 * sound, axis=0)
    middle = dark.mean(axis=1, keepdims=True)
    narrow = middle + 0.6 * (dark - middle)
    rng = np.random.default_rng(1)
    tail = rng.normal(size=(RATE_HZ // 2, 1)) * np.exp(-np.arange(RATE_HZ // 2) / 4000.0)[:, None]
    return narrow + 0.02 * signal.fftconvolve(narrow, tail, axes=0)[: len(narrow)]


@functools.cache
def reference() -> AlignmentFeatures:
    return AlignmentFeatures.of(Recording.from_array(take(), RATE_HZ))


def aligned(candidate: FloatArray) -> Alignment:
    return align(reference(), Recording.from_array(candidate, RATE_HZ))


def as_it_was(sound: FloatArray) -> FloatArray:
    return sound


@pytest.mark.parametrize(
    ("change", "spans_s", "told"),
    [
        (remixed, ((0, 9), (13, 30)), [("cut", 4.0, (9.0, 9.0), (13.0, 13.0))]),
        (as_it_was, ((0, 15), (15.4, 30)), [("cut", 0.4, (15.0, 15.0), (15.4, 15.4))]),
        (remixed, ((0, 17), (13, 30)), [("repeat", 4.0, (13.0, 17.0), (13.0, 17.0))]),
        (
            as_it_was,
            ((0, 6), (8, 19), (21, 30)),
            [("cut", 2.0, (6.0, 6.0), (8.0, 8.0)), ("cut", 2.0, (19.0, 19.0), (21.0, 21.0))],
        ),
    ],
    ids=["cut", "short cut", "repeat", "two cuts"],
)
def test_what_the_scissors_did_is_told_where_they_did_it(change, spans_s, told) -> None:
    alignment = aligned(change(spliced(*spans_s)))
    assert alignment.relation == "same_take"
    assert not alignment.warnings
    assert [event.kind for event in alignment.events] == [kind for kind, *_ in told]
    for event, (kind, length_s, starts_s, ends_s) in zip(alignment.events, told, strict=True):
        assert starts_s[0] - EVENT_S < event.reference_s[0] < starts_s[1] + EVENT_S
        assert ends_s[0] - EVENT_S < event.reference_s[1] < ends_s[1] + EVENT_S
        missing_s = np.ptp(event.reference_s) - np.ptp(event.candidate_s)
        assert missing_s == pytest.approx(length_s if kind == "cut" else -length_s, abs=0.001)
        assert f"{length_s:.1f} s" in event.text
    # What is left lies where it was put, to the sample; what was cut has no place.
    at_s = 0.0
    for start_s, end_s in spans_s:
        inside_s = np.arange(start_s + 0.5, end_s - 0.5, 0.5)
        if told[0][0] != "repeat":
            np.testing.assert_allclose(
                alignment.time_map.to_candidate(inside_s), inside_s - start_s + at_s, atol=5e-5
            )
            assert alignment.time_map.covers(inside_s).all()
        at_s += end_s - start_s
    for kind, _, starts_s, ends_s in told:
        if kind == "cut" and ends_s[0] - starts_s[0] > 1:
            assert not alignment.time_map.covers((starts_s[0] + ends_s[0]) / 2)


def test_material_put_over_some_seconds_is_told_and_leaves_the_rest_in_place() -> None:
    noise = np.random.default_rng(0).normal(0, 0.05, (3 * RATE_HZ, 2))
    alignment = aligned(np.concatenate([spliced((0, 10)), noise, spliced((12, 30))]))
    assert alignment.relation == "same_take"
    (event,) = alignment.events
    assert event.reference_s == pytest.approx((10.0, 12.0), abs=EVENT_S)
    assert event.candidate_s == pytest.approx((10.0, 13.0), abs=EVENT_S)


def test_some_seconds_in_common_are_not_one_edited_take() -> None:
    """Twelve seconds of thirty, at two offsets, in between something else."""
    noise = np.random.default_rng(0).normal(0, 0.05, (17 * RATE_HZ, 2))
    mixture = np.concatenate([spliced((0, 6)), noise, spliced((20, 26))])
    assert aligned(mixture).relation != "same_take"


def test_neighbours_at_one_offset_are_one_stretch() -> None:
    chain = [edits.Stretch(0, 4, 1.0), edits.Stretch(6, 9, 1.001), edits.Stretch(10, 12, 1.5)]
    assert edits._merged(chain) == [edits.Stretch(0, 9, 1.0), edits.Stretch(10, 12, 1.5)]
    assert edits.longest(chain) == (0, 4)
