"""What was panned elsewhere in one take, made by the law of constant power from the sample's stems.

A source g_L = cos a, g_R = sin a has the position (g_R - g_L) / (g_R + g_L); other sound in its
cells draws what is read towards that of the others (Bennett, Barker and Edeko 1985, JAES 33,
314-321, from memory, for the law).
"""

from __future__ import annotations

import functools
from types import SimpleNamespace
from typing import cast

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from scipy import signal

from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
from mixcompare.audio.recording import Recording
from mixcompare.elements.panned import _panned, find_panned, find_panned_and_raised, touched
from mixcompare.features import Features
from mixcompare.pair.pair import Pair, aligned
from mixcompare.pair.spectra import PairSpectra
from mixcompare.results import Results
from tests import samples
from tests.benchmarks.rendering import room_response
from tests.operations import sides
from tests.told import told_of

FloatArray = npt.NDArray[np.float64]

SECONDS = 15
PLACES = {"violins": -0.5, "clarinets": -0.6, "horns": 0.3, "violas": 0.2, "basses": 0.5,
          "flute": 0.1}  # fmt: skip


@functools.cache
def stem(name: str) -> tuple[FloatArray, int]:
    sound, rate_hz = soundfile.read(samples.FOLDER / "stems" / "reference" / f"{name}.flac")
    return np.asarray(sound[: SECONDS * rate_hz]).reshape(-1), rate_hz


def gains(position: float) -> FloatArray:
    """Of left and right, for a position of -1 to 1, with constant power."""
    ratio = (1 + position) / (1 - position)
    return np.array([1, ratio]) / np.hypot(1, ratio)


def mixed(
    moved: dict[str, float] | None = None, level_db: dict[str, float] | None = None
) -> Features:
    return Features.of(Recording.from_array(mix(moved, level_db), stem("violins")[1]))


def mix(
    moved: dict[str, float] | None = None, level_db: dict[str, float] | None = None
) -> FloatArray:
    places = PLACES | (moved or {})
    levels = {name: 10 ** ((level_db or {}).get(name, 0.0) / 20) for name in places}
    return np.asarray(
        sum(
            levels[name] * stem(name)[0][:, None] * gains(position)
            for name, position in places.items()
        )
    )


@functools.cache
def reference() -> Features:
    return mixed()


@functools.cache
def one_clock() -> Alignment:
    """Of every candidate: nothing here is moved in time."""
    return align(reference(), reference())


def pair_of(candidate: Features) -> Pair:
    return aligned(reference(), candidate, one_clock())


def told(candidate: Features) -> Results:
    return told_of(reference(), candidate)


@pytest.mark.parametrize("to", [0.6, 0.1])
def test_an_instrument_panned_elsewhere_is_told_with_its_places(to: float) -> None:
    (finding,) = told(mixed({"clarinets": to})).findings
    assert finding.kind == "moved_right"
    assert finding.interval[0] <= to - PLACES["clarinets"] <= finding.interval[1]
    assert finding.difference == pytest.approx(to - PLACES["clarinets"], abs=0.15)
    assert "its level stayed" in finding.text
    assert finding.band_hz is not None
    assert 200 < finding.band_hz[0] < finding.band_hz[1] < 5000


def test_two_that_change_places_go_both_ways() -> None:
    candidate = mixed({"clarinets": PLACES["horns"], "horns": PLACES["clarinets"]})
    right, left = find_panned(pair_of(candidate))
    assert right.to_position - right.from_position == pytest.approx(0.9, abs=0.25)
    assert left.to_position - left.from_position == pytest.approx(-0.9, abs=0.25)


def test_where_it_stood_and_where_it_stands() -> None:
    (one,) = find_panned(pair_of(mixed({"clarinets": 0.6})))
    assert one.from_position == pytest.approx(-0.6, abs=0.15)
    assert one.to_position == pytest.approx(0.6, abs=0.15)


@pytest.mark.parametrize("level_db", [5.0, -5.0])
def test_an_instrument_panned_and_raised_is_told_with_both(level_db: float) -> None:
    results = told(mixed({"clarinets": 0.6}, level_db={"clarinets": level_db}))
    moved = next(one for one in results.findings if one.aspect == "placement")
    raised = next(one for one in results.findings if one.aspect == "balance")
    assert len(results.findings) == 2
    assert moved.kind == "moved_right"
    assert moved.difference == pytest.approx(1.2, abs=0.2)
    assert moved.interval[0] <= 1.2 <= moved.interval[1] + 0.1
    assert "its level changed by" in moved.text
    assert raised.difference == pytest.approx(level_db, abs=0.7)


@pytest.mark.parametrize(
    ("name", "level_db"), list(zip(sorted(PLACES), 3 * (5.0, -5.0), strict=True))
)
def test_what_only_changed_its_level_was_not_panned(name: str, level_db: float) -> None:
    pair = pair_of(mixed(level_db={name: level_db}))
    assert find_panned(pair) == ()
    assert find_panned_and_raised(pair) == ()


# Both play the same pitches far apart: the louder one draws the cells they share to its own side.
@pytest.mark.parametrize("level_db", [5.0, -8.0])
def test_one_of_two_across_the_image_that_changed_its_level_was_not_panned(level_db: float) -> None:
    apart = {"violas": -0.8, "horns": 0.8}
    candidate = mixed(apart, level_db={"horns": level_db})
    pair = aligned(mixed(apart), candidate, one_clock())
    assert find_panned(pair) == ()
    assert find_panned_and_raised(pair) == ()


@pytest.mark.parametrize(
    ("raised_db", "staying", "panned"), [(5.0, 0.0, 0), (5.0, 0.3, 0), (5.0, 0.5, 1), (0.0, 0.0, 1)]
)
def test_what_hardly_rests_and_came_up_was_not_panned(
    raised_db: float, staying: float, panned: int
) -> None:
    # It has three quarters of the bands in three of five moments, and draws half of them aside; of
    # these a share stays as loud as it was, by how it adds up with the rest.
    rng = np.random.default_rng(1)
    reference = rng.uniform(0.5, 1.0, (400, 80))
    plays = np.zeros(reference.shape, bool)
    plays[(np.arange(400) // 8) % 5 < 3, :60] = True
    aside = plays & (np.arange(400) % 2 == 0)[:, None]
    raised = plays & ~(aside & (rng.random(plays.shape) < staying))
    candidate = np.where(raised, reference * 10 ** (raised_db / 10), reference)
    cells = PairSpectra(np.arange(400) / 20, np.geomspace(100, 4000, 80), reference, candidate)
    shares = np.zeros(reference.shape), np.where(aside, 0.35, 0.0)
    found = _panned(cells, shares)
    assert len(found) == panned
    told = SimpleNamespace(of_elements=cells, right_less_left=shares)
    left = touched(found, cast(Pair, told))
    assert not left[:, 65:].any()  # where it never plays, two bands on
    assert left[aside].all() == bool(panned)
    for one in found:
        assert (one.energy > 0).sum() == aside.sum()
        # Powers of 0.675 and 0.325 right and left are amplitudes of 0.822 and 0.570.
        assert (one.from_position, one.to_position) == (0.0, pytest.approx(0.181, abs=1e-3))


def test_a_narrower_image_moves_nobody_by_himself() -> None:
    narrow = Recording.from_array(sides(mix(), 0.5), stem("violins")[1])
    assert find_panned(pair_of(Features.of(narrow))) == ()


def test_it_is_told_beside_a_narrower_image() -> None:
    narrow = Recording.from_array(sides(mix({"clarinets": 0.6}), 0.6), stem("violins")[1])
    found = {finding.kind: finding for finding in told(Features.of(narrow)).findings}
    assert set(found) == {"moved_right", "narrower"}
    assert found["moved_right"].difference == pytest.approx(1.2, abs=0.2)


def in_a_hall(moved: dict[str, float] | None = None) -> Features:
    """The same with a hall's own sound, which comes from where it came before."""
    rate_hz = stem("violins")[1]
    whole = sum(stem(name)[0] for name in PLACES)
    hall = room_response(1.6, rate_hz, seed=3)
    late = signal.fftconvolve(np.asarray(whole)[:, None], hall, axes=0)[: SECONDS * rate_hz]
    return Features.of(Recording.from_array(0.5 * (mix(moved) + 0.5 * late), rate_hz))


# Held, a note lies where the hall and the player together put it: that is told as a shorter way.
@pytest.mark.parametrize(("name", "to"), [("clarinets", 0.6), ("horns", -0.6)])
def test_what_is_panned_in_a_hall_is_told_with_its_whole_way(name: str, to: float) -> None:
    found = find_panned(aligned(in_a_hall(), in_a_hall({name: to}), one_clock()))
    (one,) = (each for each in found if (each.to_position - each.from_position) * to > 0)
    way = to - PLACES[name]
    assert one.to_position - one.from_position == pytest.approx(way, rel=0.15)
    assert one.interval[0] <= way <= one.interval[1]
