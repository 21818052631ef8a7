"""One take in two rooms: trims are those that were made, and none where nothing was."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.audio.recording import Recording
from mixcompare.stems.explained import Laid, makings_of
from mixcompare.stems.judge import judged
from mixcompare.stems.take import trims_of
from mixcompare.stems.values import Stems
from mixcompare.stems.worn import wearing, wearing_moved
from tests.benchmarks.rendering import room_response
from tests.stems import made
from tests.stems.made import files, mixed, pair_of, recorded

FloatArray = npt.NDArray[np.float64]
LATE_S = 0.5


@functools.cache
def in_room(seed: int, wet_db: float, late_s: float = 0.0, **gains_db: float) -> Recording:
    """All voices with a hall's sound, of two seconds."""
    dry = mixed(made.stems(**gains_db))
    room = room_response(2.0, made.RATE_HZ, seed)
    wet = signal.fftconvolve(dry.mean(axis=1)[:, None], room, axes=0)[: len(dry)]
    silence = np.zeros((round(late_s * made.RATE_HZ), 2))
    return recorded(0.5 * np.vstack([silence, dry + 10 ** (wet_db / 20) * wet]))


def told(candidate: Recording) -> Stems:
    reference = in_room(1, -6.0)
    pair = pair_of(reference, candidate)
    return judged(pair, reference, candidate, files(made.stems())).told


def test_another_room_is_no_trim_and_no_place() -> None:
    found = told(in_room(2, -2.0))
    assert found.told == len(made.VOICES)
    assert not found.due
    assert not any(stem.places for stem in found.stems)
    # By their own halls' standing waves they would be off by decibels, and unsure by as much.
    for stem in found.stems:
        assert stem.trim_db == pytest.approx(0.0, abs=0.5)
        assert stem.interval is not None
        assert stem.interval[1] - stem.interval[0] < 3.0


@pytest.mark.parametrize(("voice", "by_db"), [("bass", -6.0), ("melody", 5.0)])
def test_a_stem_that_moved_as_well_is_told_with_its_size(voice: str, by_db: float) -> None:
    """What moved is not learnt as tail, which is lowest and longest for a bass."""
    found = told(in_room(2, -2.0, **{voice: by_db}))
    assert [stem.name for stem in found.due] == [voice]
    assert found.due[0].trim_db == pytest.approx(-by_db, abs=0.8)
    assert found.due[0].interval is not None
    assert found.due[0].interval[0] <= -by_db <= found.due[0].interval[1]


def test_one_tail_is_worn_where_there_are_two() -> None:
    reference, candidate = in_room(1, -6.0), in_room(2, -2.0, LATE_S)
    pair = pair_of(reference, candidate)
    laid = Laid.of(reference, -LATE_S, candidate.duration_s)
    worn = wearing(pair, laid)
    assert worn is not None
    # On the common clock it sounds when the candidate does.
    stems = list(files(made.stems()).values())
    starts = [-LATE_S] * len(stems)
    mixes = [Laid.of(candidate), laid, worn]
    own, plain, one = makings_of(mixes, stems, starts)
    np.testing.assert_allclose(one.delay_s, own.delay_s, atol=2e-4)
    apart = [trims_of(other, own).deviation_db.max() for other in (plain, one)]
    assert apart[1] < 0.6 * apart[0]
    assert wearing(pair_of(reference, in_room(1, -6.0, 0.1)), laid) is None


def test_what_moved_is_moved_before_the_tail_is_learnt() -> None:
    """The reference's own tail goes on top of what is learnt: the filter is of the moved one."""
    reference, candidate = in_room(1, -6.0), in_room(2, -2.0, bass=-6.0)
    pair = pair_of(reference, candidate)
    stems = files(made.stems())
    starts = [0.0] * len(stems)
    laid = Laid.of(reference)
    making = makings_of([laid], list(stems.values()), starts)[0]
    own = makings_of([Laid.of(candidate)], list(stems.values()), starts)[0]
    bass = list(stems).index("bass")
    moved_db = np.zeros(len(stems))
    moved_db[bass] = 6.0
    sizes = []
    for trims_db in (0 * moved_db, moved_db, -moved_db):
        worn = wearing_moved(pair, laid, making, trims_db, list(stems.values()), starts)
        assert worn is not None
        trims = trims_of(makings_of([worn], list(stems.values()), starts)[0], own).trim_db
        sizes.append(trims[bass] - np.median(trims))
    assert abs(sizes[1] - 6) < abs(sizes[0] - 6)
    assert abs(sizes[1] - 6) < abs(sizes[2] - 6)
