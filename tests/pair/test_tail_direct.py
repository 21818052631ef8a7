"""What came before the tail: its level and the filter on it, against filters put on by scipy."""

from __future__ import annotations

import functools

import numpy as np
import numpy.typing as npt
import pytest
from scipy import ndimage, signal

from mixcompare.audio.recording import Recording
from mixcompare.features import ANALYSIS_RATE_HZ, Features
from mixcompare.pair.pair import Pair
from mixcompare.pair.tail_direct import (
    Direct,
    bell_in,
    direct_level,
    following_in_attacks,
    low_cut_in,
    shelf_in,
)
from mixcompare.pair.tail_frames import HIGHEST_BIN, WINDOW, Changed, Take
from tests import operations
from tests.pair.test_tail import OTHER, OWN, pair_of, tail
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]

ONLY = 1.0
_BINS_HZ = np.arange(WINDOW // 2 + 1) * ANALYSIS_RATE_HZ / WINDOW
REGISTERS_HZ = 47 * 2 ** (np.arange(21) / 3)


def bin_of(frequency_hz: float) -> int:
    return round(frequency_hz * WINDOW / ANALYSIS_RATE_HZ)


def take_of(pair: Pair) -> Take:
    return Take((pair.reference, pair.candidate), pair.match, pair.spectra.times_s, pair.ride)


@functools.cache
def strokes(deep_db: float = 0.0, high_db: float = 0.0) -> FloatArray:
    """Notes that begin at random over six octaves and ring for a third of a second.

    Those below 200 Hz, and above 2 kHz, may be louder or softer.
    """
    rng = np.random.default_rng(3)
    out = np.zeros(24 * RATE_HZ)
    time_s = np.arange(RATE_HZ) / RATE_HZ
    for start, octave in zip(
        rng.integers(0, 23 * RATE_HZ, 1500), rng.uniform(0, 6.3, 1500), strict=True
    ):
        frequency_hz = 55 * 2**octave
        by_db = deep_db if frequency_hz < 200 else high_db if frequency_hz > 2000 else 0.0
        level = 10 ** (by_db / 20)
        note = np.sin(2 * np.pi * frequency_hz * time_s) * np.exp(-9 * time_s)
        out[start : start + RATE_HZ] += level * note
    return 0.1 * out


def swelling() -> FloatArray:
    """The strokes, 12 dB louder and softer again every six seconds."""
    level_db = 12 * np.sin(2 * np.pi * np.arange(len(strokes())) / RATE_HZ / 6)
    return np.asarray(strokes() * 10 ** (level_db / 20))


def features_of(dry: FloatArray, response: tuple[int, float, float]) -> Features:
    wet = signal.fftconvolve(dry, tail(*response))[: len(dry)]
    return Features.of(Recording.from_array(0.5 * wet, RATE_HZ))


@functools.cache
def reference() -> Features:
    return features_of(strokes(), OWN)


def direct_of(dry: FloatArray, changed: Changed | None = None) -> Direct:
    """Of the strokes in their own room against others in another one."""
    return direct_level(take_of(pair_of(reference(), features_of(dry, OTHER))), changed)


def filtered(order: int, corner_hz: float, added: float) -> tuple[Direct, FloatArray]:
    """Strokes with what scipy's high-pass lets through added to them; and what that does."""
    sections = signal.butter(order, corner_hz, "high", fs=RATE_HZ, output="sos")
    kept = 0.0 if added == ONLY else 1.0
    dry = kept * strokes() + added * signal.sosfilt(sections, strokes())
    _, response = signal.sosfreqz(sections, np.maximum(_BINS_HZ, 1.0), fs=RATE_HZ)
    return direct_of(dry), 20 * np.log10(np.abs(kept + added * response))


def test_with_no_filter_no_register_stands_elsewhere() -> None:
    direct = direct_of(strokes())
    heard = slice(bin_of(80), HIGHEST_BIN)
    assert np.abs(direct.bin_db[heard] - direct.level_db).max() < 0.6
    assert not direct.filter_db.any()
    assert direct.shelf_db == 0.0


@pytest.mark.parametrize("gain_db", [4.0, -6.0])
def test_a_shelf_is_read_under_another_tail(gain_db: float) -> None:
    direct, expected_db = filtered(1, 2000, 10 ** (gain_db / 20) - 1)
    beside_db = direct.bin_db - direct.level_db
    for frequency_hz in (150, 300, 1000, 2000, 3500):
        at = bin_of(frequency_hz)
        assert beside_db[at] == pytest.approx(expected_db[at], abs=0.9)
    top = HIGHEST_BIN - 1
    assert direct.shelf_db == direct.filter_db[top]
    assert direct.shelf_db == pytest.approx(expected_db[top], abs=0.9)
    assert not direct.filter_db[: bin_of(200)].any()


def test_a_low_cut_is_read_and_taken_off_where_a_deep_element_is_not() -> None:
    direct, expected_db = filtered(2, 150, ONLY)
    for frequency_hz in (85, 120, 170):
        at = bin_of(frequency_hz)
        assert direct.filter_db[at] == pytest.approx(expected_db[at], abs=1.5)
    assert not direct.filter_db[bin_of(1000) :].any()
    deep = direct_of(strokes(-8.0))
    assert deep.bin_db[bin_of(100)] - deep.level_db == pytest.approx(-8.0, abs=1.0)
    assert not deep.filter_db.any()


@pytest.mark.parametrize(
    ("low_db", "taken_off"),
    [
        ((-8.0, -3.0, -1.0), True),
        ((8.0, 3.0, 1.0), True),  # the reference has the cut
        ((-6.3, -6.0, -3.0), False),  # a bass line: one amount
        ((-4.0, -3.0, 0.0), False),
        ((-2.4, -1.0, -0.5), False),  # too little
    ],
)
def test_only_what_falls_the_steeper_the_lower_it_comes_is_a_cut(
    low_db: tuple[float, float, float], taken_off: bool
) -> None:
    places = [bin_of(hz) for hz in (85, 120, 170, 250)]
    beside_db = np.interp(np.arange(len(_BINS_HZ)), places, [*low_db, 0.0])
    cut_db = low_cut_in(beside_db)
    assert cut_db.any() == taken_off
    if taken_off:
        assert cut_db[: places[2]] == pytest.approx(beside_db[: places[2]])
        assert not cut_db[places[3] :].any()


@pytest.mark.parametrize(
    ("top_db", "held_db", "taken_off"),
    [
        (3.0, 2.0, True),
        (-3.0, -2.0, True),
        (3.0, 1.0, False),  # an element that is alone in beginning up there
        (3.0, -2.0, False),
        (0.8, 0.8, False),
    ],
)
def test_a_shelf_moves_what_sounds_on_as_well(
    top_db: float, held_db: float, taken_off: bool
) -> None:
    places = [bin_of(1000), bin_of(2000)]
    beside_db = np.interp(np.arange(len(_BINS_HZ)), places, [0.0, top_db])
    assert (shelf_in(beside_db, held_db) == (beside_db if taken_off else 0.0)).all()


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
    scatter_db = np.random.default_rng(3).normal(0, 0.1, len(REGISTERS_HZ))
    bell = bell_in(REGISTERS_HZ, peaking_db(gain_db, middle_hz, sharpness) + scatter_db)
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
    curve_db = np.zeros(len(REGISTERS_HZ))
    for hz, by_db in beside_db.items():
        curve_db[np.abs(REGISTERS_HZ / hz - 1).argmin()] = by_db
    assert bell_in(REGISTERS_HZ, curve_db) is None


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


@pytest.mark.parametrize("gain_db", [5.0, -5.0])
def test_a_bell_is_read_under_another_tail(gain_db: float) -> None:
    louder = operations.Filter(signal.butter(1, (500, 1500), "band", fs=RATE_HZ), gain_db)
    added = 10 ** (gain_db / 20) - 1
    dry = strokes() + added * signal.lfilter(*louder.part, strokes())
    direct = direct_of(dry)
    _, part = signal.freqz(*louder.part, np.maximum(_BINS_HZ, 1.0), fs=RATE_HZ)
    expected_db = 20 * np.log10(np.abs(1 + added * part))
    for frequency_hz in (150, 400, 900, 2000, 4000):
        at = bin_of(frequency_hz)
        assert direct.filter_db[at] == pytest.approx(expected_db[at], abs=1.0)
    in_thirds = direct.filter_at_db(np.array([900.0, 12_000.0]))
    assert in_thirds[0] == pytest.approx(direct.filter_db[bin_of(900)], abs=0.1)
    assert in_thirds[1] == pytest.approx(direct.shelf_db, abs=0.1)


def test_what_is_alone_in_beginning_up_there_is_no_shelf() -> None:
    # A chord from 2.4 to 4.6 kHz sounds on, as it did.
    time_s = np.arange(24 * RATE_HZ) / RATE_HZ
    chord = 0.01 * np.sin(2 * np.pi * np.arange(2400, 4600, 100)[:, None] * time_s).sum(axis=0)
    before, after = (strokes(high_db=by_db) + chord for by_db in (0.0, 6.0))
    direct = direct_level(
        take_of(pair_of(features_of(before, OWN), features_of(after, OTHER))), None
    )
    beside_db = direct.bin_db - direct.bin_db[bin_of(500)]
    assert beside_db[bin_of(3500)] > 3.0
    assert not direct.filter_db.any()


def test_what_is_known_to_have_changed_is_no_filter() -> None:
    # Everything above 1 kHz is known to have risen by 6 dB: attacks are told against that.
    take = take_of(pair_of(reference(), features_of(strokes(), OTHER)))
    column = (_BINS_HZ > 1000).astype(np.int64)
    amplitude = np.tile([1.0, 10 ** (6 / 20)], (len(take.times_s), 1))
    plain = direct_level(take, None)
    direct = direct_level(take, Changed(0.0, amplitude, take.times_s, column))
    assert direct.bin_db[bin_of(300)] == pytest.approx(plain.bin_db[bin_of(300)], abs=0.1)
    assert direct.bin_db[bin_of(3000)] == pytest.approx(plain.bin_db[bin_of(3000)] - 6, abs=0.3)


@pytest.mark.parametrize("ratio", [1.0, 2.0, 4.0])
def test_a_gain_that_follows_the_music_is_read_under_another_tail(ratio: float) -> None:
    """Over 50 ms, smoothed over 100 ms: what falls by a decibel there falls by less behind it."""
    dry = swelling()
    power = ndimage.uniform_filter1d(dry**2, RATE_HZ // 20)
    level_db = ndimage.uniform_filter1d(10 * np.log10(power + 1e-7), RATE_HZ // 10)
    less_db = -(1 - 1 / ratio) * level_db
    other = features_of(dry * 10 ** (less_db / 20), OTHER)
    found = following_in_attacks(take_of(pair_of(features_of(dry, OWN), other)))
    assert found == pytest.approx(-(1 - 1 / ratio), abs=0.02 if ratio == 1.0 else 0.12)


def test_no_element_follows_the_music() -> None:
    take = take_of(pair_of(reference(), features_of(strokes(8.0), OTHER)))
    assert following_in_attacks(take) == pytest.approx(0.0, abs=0.1)


def test_where_little_begins_nothing_is_read() -> None:
    held = np.sin(2 * np.pi * 350 * np.arange(24 * RATE_HZ) / RATE_HZ)
    features = Features.of(Recording.from_array(0.1 * held, RATE_HZ))
    pair = pair_of(reference(), reference())
    take = Take((features, features), pair.match, pair.spectra.times_s, pair.ride)
    direct = direct_level(take, None)
    assert direct.level_db == 0.0
    assert not direct.bin_db.any()
    assert following_in_attacks(take) == 0.0
