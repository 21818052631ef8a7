"""Notes that end sooner or later, whoever plays them, in made-up music with known lengths."""

from __future__ import annotations

import functools
import math
from types import SimpleNamespace

import numpy as np
import pytest

from mixcompare.alignment import align
from mixcompare.aspects.articulation import anyone, aspect, words
from mixcompare.aspects.articulation.courses import BEFORE, SHARES
from mixcompare.aspects.articulation.values import LEAD, SOME, ArticulationDifference
from mixcompare.features import Features
from mixcompare.pair.pair import Pair, aligned
from tests import synthetic
from tests.recorded import features_of
from tests.told import told_of

HELD = 0.5


@functools.cache
def played(seed: int, performance: int, voice: str = "", melody_db: float = 0.0) -> Features:
    """One performance; the notes of a voice are held for half their length."""
    samples = synthetic.play(
        seed,
        bars=8,
        scatter_s=0.01,
        scatter_db=0.8,
        performance=performance,
        held={voice: HELD} if voice else None,
        gains_db={"melody": melody_db},
    )
    return features_of(samples, synthetic.RATE_HZ)


def paired(reference: Features, candidate: Features) -> Pair:
    return aligned(reference, candidate, align(reference, candidate))


@pytest.mark.parametrize("seed", [3, 5])
def test_notes_held_for_half_their_length_are_told_either_way(seed: int) -> None:
    whole, short = played(seed, 1), played(seed, 2, "melody")
    sooner, later = (anyone.of_any_part(paired(*both)) for both in ((whole, short), (short, whole)))
    assert sooner is not None
    assert later is not None
    for found, sign in ((sooner, -1), (later, 1)):
        low, high = found.sounding_ratio_interval
        assert low < sign * (1 - HELD) < high
        assert found.agreement > 0.9
        assert found.spans_s[0][0] < 1.0
        assert found.spans_s[-1][1] > 18.0
    assert sooner.candidate_ratio == pytest.approx(HELD, abs=0.12)
    assert later.reference_ratio == pytest.approx(HELD, abs=0.12)


@pytest.mark.parametrize("melody_db", [0.0, 6.0, -6.0])
def test_notes_held_alike_are_not_told_whatever_their_balance(melody_db: float) -> None:
    pair = paired(played(3, 1), played(3, 2, melody_db=melody_db))
    assert anyone.of_any_part(pair) is None


@pytest.mark.parametrize(
    ("most", "least", "expected"),
    [
        # (most - least) over their sum, over the root of one in so many and 0.15 squared, by hand.
        (90, 10, 0.8 / math.sqrt(0.01 + 0.0225)),
        (9, 1, 0.8 / math.sqrt(0.1 + 0.0225)),
        (50, 50, 0.0),
        (0, 0, 0.0),
    ],
)
def test_how_surely_one_side_outweighs_the_other(most: int, least: int, expected: float) -> None:
    assert anyone.sureness(most, least) == pytest.approx(expected)


def test_it_is_told_where_no_voice_tells_it_and_leaves_the_line_open(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    nothing = ArticulationDifference.untold("Nobody knows.", 9, 0)
    monkeypatch.setattr(aspect, "_followed", lambda *_: nothing)
    results = told_of(played(3, 1), played(3, 2, "melody"), only=("articulation",))
    difference = results.measurements["articulation"].difference
    (found,) = results.findings
    assert (found.kind, found.subject) == ("notes_more_detached", SOME)
    assert found.text.startswith("Some notes, of which it can't be told who plays them, are held")
    assert found.text.endswith(": more detached.")
    assert "those whom you hear" in found.advice[0]
    assert found.advice[1].endswith("over the phrases.")
    lead = next(voice for voice in difference.voices if voice.name == LEAD)
    assert lead.sounding_ratio is None
    assert difference.sounding_ratio is None
    (why,) = words.untold(difference, same_take=False)
    assert "whether they are the line's own can't be told" in why


def test_what_goes_another_room_s_way_may_be_its_own() -> None:
    pair = paired(played(3, 1), played(3, 2, "melody"))
    voices = {LEAD: ArticulationDifference.untold("", 9, 0)}
    for room_db in (4.0, 0.0, -2.0):
        assert set(aspect._whoever_plays(voices, pair, room_db)) == {SOME, LEAD}
    assert aspect._whoever_plays(voices, pair, -4.0) == {}


@pytest.mark.parametrize("wetter", [True, False])
def test_in_another_room_nothing_is_told(wetter: bool) -> None:
    dry = synthetic.play(3, bars=8, scatter_s=0.01, scatter_db=0.8, performance=1)
    wet = synthetic.play(3, bars=8, scatter_s=0.01, scatter_db=0.8, performance=2)
    wet = synthetic.in_room(wet, 1.8, 0.0)
    both = [features_of(one, synthetic.RATE_HZ) for one in (dry, wet)]
    assert anyone.of_any_part(paired(*(both if wetter else both[::-1]))) is None


def told_by(
    moved: tuple[int, int],
    count: int,
    monkeypatch: pytest.MonkeyPatch,
    all_db: float = 0.0,
    before_db: float = 0.0,
) -> bool:
    """Whether notes are told of which so many sink by 10 dB from their middle on, or rise so.

    All others differ by up to 5 dB either way, and by ``all_db``; before them the other performance
    is softer by ``before_db``.
    """
    sinks_db = np.linspace(-5, 5, count) - all_db
    sinks_db[:: count // sum(moved)][: sum(moved)] = np.repeat([-10.0, 10.0], moved)
    reference = np.zeros((count, len(SHARES)))
    fallen = np.where(SHARES > 0.55, sinks_db[:, None], 0.0)
    courses = np.stack([reference - np.maximum(fallen, 0), reference + np.minimum(fallen, 0)])
    courses[1][:, BEFORE] -= before_db
    begin_s = np.random.default_rng(1).permutation(np.linspace(0.0, 30.0, count))
    monkeypatch.setattr(anyone, "_levels", lambda *_: None)
    monkeypatch.setattr(anyone, "_courses", lambda *_: (begin_s, begin_s + 0.5, courses))
    pair = SimpleNamespace(note_frames_s=np.array([0.0, 1.0]), sounding=(None, None))
    return anyone.of_any_part(pair) is not None


# 30 against 2 is as sure with 600 notes as with 1500; a share of 0.047 and of 0.019, by hand.
def test_some_notes_are_a_share_of_all(monkeypatch: pytest.MonkeyPatch) -> None:
    assert told_by((30, 2), 600, monkeypatch)
    assert not told_by((30, 2), 1500, monkeypatch)


# Quartiles 5 dB apart: 0.23 of that is 1.15 dB.
@pytest.mark.parametrize(("all_db", "told"), [(0.0, True), (0.9, True), (1.4, False)])
def test_where_all_notes_sink_it_is_a_room(
    all_db: float, told: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert told_by((40, 2), 600, monkeypatch, all_db) is told


# Beside 40 against 2 a room that takes 2 dB from what lies before notes explains too much.
@pytest.mark.parametrize(("before_db", "told"), [(-2.0, True), (0.5, True), (2.0, False)])
def test_what_lies_before_notes_tells_of_a_room(
    before_db: float, told: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert told_by((300, 2), 1200, monkeypatch, before_db=before_db) is told
