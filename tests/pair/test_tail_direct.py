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
    direct_level,
    following_in_attacks,
)
from mixcompare.pair.tail_frames import HIGHEST_BIN, WINDOW, Changed, Take
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests import operations
from tests.pair.test_tail import OTHER, OWN, pair_of, tail
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]

ONLY = 1.0
_BINS_HZ = np.arange(WINDOW // 2 + 1) * ANALYSIS_RATE_HZ / WINDOW
THIRDS_HZ = THIRD_OCTAVE_CENTRES_HZ


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
    assert np.abs(direct.filter_db[: bin_of(200)]).max() < 0.2


def test_a_low_cut_is_read_and_taken_off_where_a_deep_element_is_not() -> None:
    direct, expected_db = filtered(2, 150, ONLY)
    for frequency_hz in (85, 120, 170):
        at = bin_of(frequency_hz)
        assert direct.filter_db[at] == pytest.approx(expected_db[at], abs=1.5)
    assert np.abs(direct.filter_db[bin_of(1000) :]).max() < 0.1
    assert direct.low_cut is not None
    assert direct.low_cut.corner_hz == pytest.approx(150, rel=0.12)
    assert direct.low_cut.slope_db_per_octave == pytest.approx(-12, abs=3.3)
    deep = direct_of(strokes(-8.0))
    assert deep.bin_db[bin_of(100)] - deep.level_db == pytest.approx(-8.0, abs=1.0)
    assert not deep.filter_db.any()


def test_under_one_tail_a_low_cut_leaves_no_cell_elsewhere() -> None:
    sections = signal.butter(2, 150, "high", fs=RATE_HZ, output="sos")
    pair = pair_of(reference(), features_of(signal.sosfilt(sections, strokes()), OTHER))
    one = pair.under_one_tail
    assert one is not None
    assert one.low_cut is not None
    assert one.attacks_db[THIRDS_HZ == 100] == pytest.approx(-7.8, abs=1.5)
    low = one.spectra.audible & (one.spectra.centre_hz < 250)
    assert low.sum() > 100
    assert abs(np.median(one.spectra.difference_db[low])) < 0.5


@pytest.mark.parametrize("recursive", [True, False])
def test_a_filter_s_turn_of_phase_is_read(recursive: bool) -> None:
    """Against scipy's phase; put on forwards and backwards, a filter turns nothing."""
    sections = signal.butter(2 if recursive else 1, 150, "high", fs=RATE_HZ, output="sos")
    put_on = signal.sosfilt if recursive else signal.sosfiltfilt
    direct = direct_of(put_on(sections, strokes()))
    assert direct.low_cut is not None
    _, response = signal.sosfreqz(sections, np.maximum(_BINS_HZ, 1.0), fs=RATE_HZ)
    at = [bin_of(hz) for hz in (120, 150, 200, 400)]
    expected = np.angle(response[at]) if recursive else 0.0
    assert direct.turn[at] == pytest.approx(expected, abs=0.35 if recursive else 0.0)


@pytest.mark.parametrize("gain_db", [4.0, -4.0])
def test_a_low_shelf_is_read_under_another_tail(gain_db: float) -> None:
    sections = signal.butter(1, 150, "low", fs=RATE_HZ, output="sos")
    added = 10 ** (gain_db / 20) - 1
    direct = direct_of(strokes() + added * signal.sosfilt(sections, strokes()))
    _, response = signal.sosfreqz(sections, np.maximum(_BINS_HZ, 1.0), fs=RATE_HZ)
    expected_db = 20 * np.log10(np.abs(1 + added * response))
    for frequency_hz in (80, 120, 200, 500):
        at = bin_of(frequency_hz)
        assert direct.filter_db[at] == pytest.approx(expected_db[at], abs=0.8)
    assert direct.low_cut is None


def test_third_octaves_say_what_begins_whoever_made_it() -> None:
    direct = direct_of(strokes(-8.0))
    assert direct.thirds_db[THIRDS_HZ == 100] == pytest.approx(-8.0, abs=1.0)
    heard = (THIRDS_HZ > 300) & (THIRDS_HZ < 3000)
    assert np.abs(direct.thirds_db[heard]).max() < 0.6
    assert np.isnan(direct.thirds_db[THIRDS_HZ > 6000]).all()


@pytest.mark.parametrize(
    ("gain_db", "edges_hz"), [(5.0, (500, 1500)), (-5.0, (500, 1500)), (5.0, (300, 600))]
)
def test_a_bell_is_read_under_another_tail(gain_db: float, edges_hz: tuple[int, int]) -> None:
    louder = operations.Filter(signal.butter(1, edges_hz, "band", fs=RATE_HZ), gain_db)
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
    # Where all is known to have risen, registers stand beside each other as they did.
    all_of_it = np.full((len(take.times_s), 1), 10 ** (6 / 20))
    risen = direct_level(take, Changed(0.0, all_of_it, take.times_s, np.zeros_like(column)))
    assert risen.bin_db[bin_of(1000)] == pytest.approx(plain.bin_db[bin_of(1000)] - 6, abs=0.3)
    heard = (THIRDS_HZ > 100) & (THIRDS_HZ < 4000)
    assert risen.thirds_db[heard] == pytest.approx(plain.thirds_db[heard], abs=0.3)


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
    assert not direct.turn.any()
    assert np.isnan(direct.thirds_db).all()
    assert following_in_attacks(take) == 0.0
