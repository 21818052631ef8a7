"""Shapes of filters in curves over registers, against filters' prototypes by scipy."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.pair.shapes import low_shelf_db
from mixcompare.pair.tail_filters import (
    Cells,
    Shelf,
    alike,
    bell_in,
    low_cut_in,
    low_shelf_in,
    shelf_in,
)
from mixcompare.pair.tail_frames import minimum_phase, taking_off

FloatArray = npt.NDArray[np.float64]

REGISTERS_HZ = 47 * 2 ** (np.arange(21) / 3)
RNG = np.random.default_rng(3)
SCATTER_DB = RNG.normal(0, 0.1, len(REGISTERS_HZ))


def at(curve_db: dict[float, float]) -> FloatArray:
    """Registers that stand elsewhere."""
    out = np.zeros(len(REGISTERS_HZ))
    for hz, by_db in curve_db.items():
        out[np.abs(REGISTERS_HZ / hz - 1).argmin()] = by_db
    return out


def high_passed_db(order: int, corner_hz: float, hz: FloatArray = REGISTERS_HZ) -> FloatArray:
    """What Butterworth's high-pass leaves."""
    b, a = signal.butter(order, 2 * np.pi * corner_hz, "high", analog=True)
    _, response = signal.freqs(b, a, 2 * np.pi * hz)
    return np.asarray(20 * np.log10(np.abs(response)))


def shelved_db(kind: str, gain_db: float, corner_hz: float, hz: FloatArray) -> FloatArray:
    """A first-order shelf: pole and zero as far below the corner as above it, by hand."""
    root = 10 ** (gain_db / 40)
    along = 1j * hz / corner_hz
    response = (1 + along * root) / (1 + along / root)
    if kind == "low":
        response = (along + root) / (along + 1 / root)
    return np.asarray(20 * np.log10(np.abs(response)))


def cells_that(moved: Callable[[FloatArray], FloatArray], own: float | None = None) -> Cells:
    """Cells that a filter moved; or of an instrument to which so many of the lowest belong."""
    rng = np.random.default_rng(5)
    hz = 47 * 2 ** rng.uniform(0, 4, 4000)
    scatter_db = 0.7 * rng.standard_t(2, len(hz))
    moved_db = moved(hz)
    if own is not None:
        furthest_db = moved_db[np.abs(moved_db).argmax()]
        its = rng.uniform(size=len(hz)) < np.clip(own * moved_db / furthest_db, 0, 1)
        moved_db = np.where(its, furthest_db, 0.0)
    return hz, moved_db + scatter_db, np.ones(len(hz))


def cells_of(gain_db: float, own: float | None) -> Cells:
    """The same, of a low shelf."""
    return cells_that(lambda hz: shelved_db("low", gain_db, 200.0, hz), own)


def peaking_db(gain_db: float, middle_hz: float, sharpness: float) -> FloatArray:
    """The second-order peaking filter's prototype (W3C Audio EQ Cookbook, from memory)."""
    root, turn = 10 ** (gain_db / 40), 2 * np.pi * middle_hz
    across = turn / sharpness
    b, a = [1, across * root, turn**2], [1, across / root, turn**2]
    _, response = signal.freqs(b, a, 2 * np.pi * REGISTERS_HZ)
    return np.asarray(20 * np.log10(np.abs(response)))


@pytest.mark.parametrize(
    ("gain_db", "middle_hz", "sharpness"),
    [(4.0, 1000.0, 1.2), (-5.0, 600.0, 0.7), (8.0, 2500.0, 1.0)],
)
def test_a_bell_goes_through_all_registers(
    gain_db: float, middle_hz: float, sharpness: float
) -> None:
    bell = bell_in(REGISTERS_HZ, peaking_db(gain_db, middle_hz, sharpness) + SCATTER_DB)
    assert bell is not None
    assert bell.gain_db == pytest.approx(gain_db, abs=0.3)
    assert bell.middle_hz == pytest.approx(middle_hz, rel=0.05)
    assert bell.sharpness == pytest.approx(sharpness, rel=0.15)
    shown = bell.level_db(REGISTERS_HZ)
    assert shown == pytest.approx(peaking_db(gain_db, middle_hz, sharpness), abs=0.3)


@pytest.mark.parametrize(
    "beside_db",
    [
        {},
        {470: 2.6, 380: 0.5, 590: 1.1},  # a section alone in beginning there
        {950: 5.0},
        {950: 4.0, 1200: 4.0, 2400: 4.0},  # and its partials
        {950: 1.2, 1200: 1.0, 750: 1.0},  # too little
        {75: 5.0, 95: 5.0, 120: 4.0},  # a bass line
        {3800: 3.0, 4800: 4.0},  # a shelf's foot
        {950: 14.0, 750: 7.0, 1200: 7.0},  # more than anybody turns a bell
    ],
)
def test_what_stands_by_itself_is_no_bell(beside_db: dict[int, float]) -> None:
    assert bell_in(REGISTERS_HZ, at(beside_db)) is None


def test_a_bell_goes_through_every_register_or_is_none() -> None:
    beside_it = peaking_db(4.0, 1000.0, 1.2) + at({2400: 2.5})
    assert bell_in(REGISTERS_HZ, beside_it) is None


def test_a_bell_of_little_more_than_a_decibel_is_left() -> None:
    assert bell_in(REGISTERS_HZ, peaking_db(1.3, 1000.0, 1.0)) is None


def test_a_bell_beside_a_bass_line_is_told() -> None:
    curve_db = peaking_db(4.0, 1000.0, 1.2) + np.where(REGISTERS_HZ < 160, 5.0, 0.0)
    bell = bell_in(REGISTERS_HZ, curve_db)
    assert bell is not None
    assert bell.gain_db == pytest.approx(4.0, abs=0.2)


def test_registers_of_which_nothing_begins_are_not_asked() -> None:
    curve_db = peaking_db(4.0, 1000.0, 1.2)
    curve_db[[3, 9]] = np.nan
    bell = bell_in(REGISTERS_HZ, curve_db)
    assert bell is not None
    assert bell.gain_db == pytest.approx(4.0, abs=0.1)
    assert bell_in(REGISTERS_HZ[:3], curve_db[:3]) is None


# --- low cuts --------------------------------------------------------------------------------


@pytest.mark.parametrize("sign", [1, -1])
@pytest.mark.parametrize(("order", "corner_hz"), [(1, 200.0), (2, 80.0), (2, 120.0), (4, 150.0)])
def test_every_lower_register_has_lost_more_under_a_low_cut(
    order: int, corner_hz: float, sign: int
) -> None:
    cells = cells_that(lambda hz: sign * high_passed_db(order, corner_hz, hz))
    cut = low_cut_in(REGISTERS_HZ, sign * high_passed_db(order, corner_hz) + SCATTER_DB, cells)
    assert cut is not None
    assert cut.corner_hz == pytest.approx(corner_hz, rel=0.08)
    assert cut.slope_db_per_octave == pytest.approx(-sign * 6.02 * order, rel=0.12)
    shown = sign * cut.level_db(REGISTERS_HZ)
    assert shown[3:] == pytest.approx(high_passed_db(order, corner_hz)[3:], abs=0.5)


def test_what_is_left_far_below_a_low_cut_came_through_its_edge() -> None:
    curve_db = high_passed_db(4, 150.0) + SCATTER_DB
    curve_db[:3] += 5.0, 4.0, 2.5
    cut = low_cut_in(REGISTERS_HZ, curve_db, cells_that(lambda hz: high_passed_db(4, 150.0, hz)))
    assert cut is not None
    assert cut.corner_hz == pytest.approx(150, rel=0.05)
    assert cut.slope_db_per_octave == pytest.approx(-24, abs=3.0)


def test_registers_with_too_few_attacks_do_not_hide_a_low_cut() -> None:
    curve_db = high_passed_db(2, 120.0) + SCATTER_DB
    curve_db[[2, 9]] = np.nan
    cells = cells_that(lambda hz: high_passed_db(2, 120.0, hz))
    cut = low_cut_in(REGISTERS_HZ, curve_db, cells)
    assert cut is not None
    assert cut.corner_hz == pytest.approx(120, rel=0.08)
    assert low_cut_in(REGISTERS_HZ[:3], curve_db[:3], cells) is None


def test_what_moves_some_cells_by_one_amount_is_no_low_cut() -> None:
    """A bass line of which registers show ever less the higher they are."""
    curve_db = high_passed_db(2, 120.0)
    cells = cells_that(lambda hz: high_passed_db(2, 120.0, hz), own=1.0)
    assert low_cut_in(REGISTERS_HZ, curve_db, cells) is None


@pytest.mark.parametrize(
    "beside_db",
    [
        {},
        {47: -6.3, 59: -6.3, 75: -6.2, 94: -6, 118: -5.8, 150: -5.5, 190: -0.5},  # a bass line
        {47: 6.3, 59: 6.3, 75: 6.2, 94: 6, 118: 5.8, 150: 3, 190: 1.5, 240: 0.5},
        {47: -10.2, 59: -9.8, 75: -10, 94: -9.9, 118: -9.5, 150: -7, 190: -3, 240: -1},
        {47: -4.5, 59: -3.2, 75: -1.6, 94: -0.6},  # too little
        {47: -8.0},
        {47: -8.0, 59: -2.0},
    ],
)
def test_what_moves_all_low_registers_by_one_amount_is_no_low_cut(
    beside_db: dict[float, float],
) -> None:
    # As if cells told nothing against it.
    cells = cells_that(lambda hz: high_passed_db(2, 120.0, hz))
    assert low_cut_in(REGISTERS_HZ, at(beside_db) + SCATTER_DB, cells) is None


# --- shelves ---------------------------------------------------------------------------------


@pytest.mark.parametrize(("gain_db", "corner_hz"), [(4.0, 3000.0), (-6.0, 2000.0)])
def test_a_high_shelf_moves_what_sounds_on_as_well(gain_db: float, corner_hz: float) -> None:
    expected_db = shelved_db("high", gain_db, corner_hz, REGISTERS_HZ)
    beside_db = expected_db + SCATTER_DB
    top_db = float(beside_db[-1])
    shelf = shelf_in(REGISTERS_HZ, beside_db, 0.7 * top_db)
    assert shelf is not None
    assert shelf.level_db(REGISTERS_HZ) == pytest.approx(expected_db, abs=0.3)
    # A melody that is alone in beginning in two registers is passed by.
    melody_db = beside_db + at({600: 5.0, 750: 5.0})
    beside_melody = shelf_in(REGISTERS_HZ, melody_db, 0.7 * top_db)
    assert beside_melody is not None
    assert beside_melody.level_db(REGISTERS_HZ) == pytest.approx(expected_db, abs=0.3)
    assert shelf_in(REGISTERS_HZ, beside_db, 0.3 * top_db) is None
    assert shelf_in(REGISTERS_HZ, beside_db, -top_db) is None


def test_no_high_shelf_where_the_highest_notes_stay_or_nothing_lies_on_it() -> None:
    assert shelf_in(REGISTERS_HZ, at({4800: 0.9}), 0.9) is None
    zigzag = np.where(np.arange(len(REGISTERS_HZ)) % 2, 3.0, -3.0)
    assert shelf_in(REGISTERS_HZ, -zigzag, 3.0) is None


@pytest.mark.parametrize("gain_db", [4.0, -4.0])
def test_a_low_shelf_moves_all_cells_of_a_register_alike(gain_db: float) -> None:
    curve_db = shelved_db("low", gain_db, 200.0, REGISTERS_HZ) + SCATTER_DB
    shelf = low_shelf_in(REGISTERS_HZ, curve_db, cells_of(gain_db, None))
    assert shelf is not None
    expected_db = shelved_db("low", gain_db, 200.0, REGISTERS_HZ)
    assert shelf.level_db(REGISTERS_HZ) == pytest.approx(expected_db, abs=0.4)
    assert low_shelf_in(REGISTERS_HZ, curve_db, cells_of(gain_db, 1.0)) is None


@pytest.mark.parametrize(
    "curve_db",
    [
        np.zeros(len(REGISTERS_HZ)),
        shelved_db("low", 1.2, 200.0, REGISTERS_HZ),
        at({47: 4.0, 59: 4.0, 75: 0.2, 94: 4.0, 118: 4.0}),
        shelved_db("low", 4.0, 200.0, REGISTERS_HZ) + at({300: -2.5}),
    ],
)
def test_no_low_shelf_where_registers_do_not_lie_on_one(curve_db: FloatArray) -> None:
    assert low_shelf_in(REGISTERS_HZ, curve_db, cells_of(4.0, None)) is None


def test_the_lowest_register_may_read_too_far_down_and_never_too_near() -> None:
    """Few notes begin there: 1.4 dB low where nothing changed. No element does as much."""
    curve_db = shelved_db("low", -4.0, 200.0, REGISTERS_HZ) + SCATTER_DB
    cells = cells_of(-4.0, None)
    shelf = low_shelf_in(REGISTERS_HZ, curve_db + at({47: -2.0}), cells)
    assert shelf is not None
    assert shelf.gain_db == pytest.approx(-4.0, abs=0.5)
    assert low_shelf_in(REGISTERS_HZ, curve_db + at({47: 1.6}), cells) is None
    assert low_shelf_in(REGISTERS_HZ, curve_db + at({60: -2.0}), cells) is None


@pytest.mark.parametrize(
    ("slope", "of_an_instrument", "told"), [(1.0, 0.68, True), (2.4, 0.6, False)]
)
def test_cells_speak_louder_against_a_steep_shelf(
    slope: float, of_an_instrument: float, told: bool
) -> None:
    """A contrabass moves registers as a steep shelf does, and never as a gradual one."""

    def moved(hz: FloatArray) -> FloatArray:
        return low_shelf_db(hz, -4.0, 200.0, slope)

    number = int(of_an_instrument * 4000)
    cells = tuple(
        np.concatenate([own[:number], filtered[number:]])
        for own, filtered in zip(cells_that(moved, own=1.0), cells_that(moved), strict=True)
    )
    shelf = Shelf(low_shelf_db, 200.0, -4.0, slope)
    assert -0.012 < alike(cells, shelf) < -0.003  # type: ignore[arg-type]
    found = low_shelf_in(REGISTERS_HZ, moved(REGISTERS_HZ) + SCATTER_DB, cells)  # type: ignore[arg-type]
    assert (found is not None) == told


def test_likelihood_tells_a_shelf_from_an_instrument() -> None:
    shelf = Shelf(low_shelf_db, 200.0, 4.0, 1.0)
    assert alike(cells_of(4.0, None), shelf) > 0.005
    assert alike(cells_of(4.0, 1.0), shelf) < -0.02
    few = tuple(values[:30] for values in cells_of(4.0, None))
    assert alike(few, shelf) == 0.0  # type: ignore[arg-type]


# --- phase -----------------------------------------------------------------------------------


@pytest.mark.parametrize(("order", "corner_hz"), [(1, 300.0), (2, 120.0)])
def test_minimum_phase_is_that_of_the_prototype(order: int, corner_hz: float) -> None:
    hz = np.maximum(np.arange(513) * 12_000 / 1024, 1.0)
    b, a = signal.butter(order, 2 * np.pi * corner_hz, "high", analog=True)
    _, response = signal.freqs(b, a, 2 * np.pi * hz)
    phase = minimum_phase(20 * np.log10(np.abs(response)))
    assert phase[4:200] == pytest.approx(np.angle(response)[4:200], abs=0.12)
    back = response * taking_off(20 * np.log10(np.abs(response)), phase)
    assert back[4:200] == pytest.approx(1.0, abs=0.12)
