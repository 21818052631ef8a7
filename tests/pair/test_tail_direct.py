"""What came before the tail: its level and the filter on it, against filters put on by scipy."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.alignment import align
from mixcompare.audio.recording import Recording
from mixcompare.features import ANALYSIS_RATE_HZ, Features
from mixcompare.pair.pair import Pair, aligned
from mixcompare.pair.spectra import RATE_HZ as CELLS_RATE_HZ
from mixcompare.pair.tail_direct import Direct, direct_level
from mixcompare.pair.tail_frames import HIGHEST_BIN, WINDOW, Changed, Take
from tests import operations, synthetic
from tests.pair.test_tail import OTHER, OWN, pair_of, played, tail
from tests.synthetic import RATE_HZ

FloatArray = npt.NDArray[np.float64]

_BINS_HZ = np.arange(WINDOW // 2 + 1) * ANALYSIS_RATE_HZ / WINDOW


def bin_of(frequency_hz: float) -> int:
    return round(frequency_hz * WINDOW / ANALYSIS_RATE_HZ)


def take_of(pair: Pair) -> Take:
    return Take((pair.reference, pair.candidate), pair.match, pair.spectra.times_s, pair.ride)


def filtered(change: operations.Filter | operations.Cut | None) -> tuple[Pair, Direct]:
    """The piece in its own room, and in another behind a filter."""
    wet = signal.fftconvolve(synthetic.play(5, bars=10).mean(axis=1), tail(*OTHER))
    stereo = np.stack(2 * [wet[: round(25 * RATE_HZ)]], axis=1)
    changed = stereo if change is None else change(stereo)
    candidate = Features.of(Recording.from_array(0.5 * changed.mean(axis=1), RATE_HZ))
    reference = played(OWN)
    pair = aligned(reference, candidate, align(reference, candidate))
    return pair, direct_level(take_of(pair), None)


def test_with_no_filter_no_register_stands_elsewhere() -> None:
    _, direct = filtered(None)
    assert direct.level_db == pytest.approx(0.0, abs=0.3)
    heard = slice(bin_of(150), HIGHEST_BIN)
    assert np.abs(direct.bin_db[heard]).max() < 0.6
    assert not direct.filter_db.any()
    assert direct.shelf_db == 0.0


@pytest.mark.parametrize("gain_db", [4.0, -6.0])
def test_a_shelf_is_read_under_another_tail(gain_db: float) -> None:
    shelf = operations.high_shelf(2000, gain_db)
    _, direct = filtered(shelf)
    expected = shelf.response_db(_BINS_HZ[1:])
    for frequency_hz in (300, 1000, 2000, 3500):
        at = bin_of(frequency_hz)
        assert direct.bin_db[at] == pytest.approx(expected[at - 1], abs=0.7)
    assert direct.level_db == pytest.approx(0.0, abs=0.6)
    top = HIGHEST_BIN - 1
    assert direct.shelf_db == direct.filter_db[top]
    assert direct.shelf_db == pytest.approx(expected[top - 1], abs=0.7)
    assert not direct.filter_db[: bin_of(200)].any()


def test_a_low_cut_is_read_and_taken_off_where_a_deep_element_is_not() -> None:
    _, cut = filtered(operations.Cut(2, 150, "high"))
    assert cut.filter_db[bin_of(85)] < cut.filter_db[bin_of(120)] - 2 < -4
    assert cut.filter_db[bin_of(85)] == cut.bin_db[bin_of(85)] - cut.level_db
    assert not cut.filter_db[bin_of(1000) :].any()
    pair = pair_of(played(OWN), played(OTHER, bass=-8.0))
    assert not direct_level(take_of(pair), None).filter_db.any()


def test_what_is_known_to_have_changed_is_no_filter() -> None:
    # Everything above 1 kHz is known to have risen by 6 dB: attacks are told against that.
    pair, plain = filtered(None)
    times_s = pair.spectra.times_s
    column = (_BINS_HZ > 1000).astype(np.int64)
    amplitude = np.tile([1.0, 10 ** (6 / 20)], (len(times_s), 1))
    direct = direct_level(take_of(pair), Changed(0.0, amplitude, times_s, column))
    assert np.diff(times_s).mean() == pytest.approx(1 / CELLS_RATE_HZ)
    assert direct.bin_db[bin_of(300)] == pytest.approx(plain.bin_db[bin_of(300)], abs=0.1)
    assert direct.bin_db[bin_of(3000)] == pytest.approx(plain.bin_db[bin_of(3000)] - 6, abs=0.3)


def test_where_little_begins_nothing_is_read() -> None:
    held = np.sin(2 * np.pi * 350 * np.arange(20 * RATE_HZ) / RATE_HZ)
    features = Features.of(Recording.from_array(0.1 * held, RATE_HZ))
    direct = direct_level(take_of(pair_of(features, features)), None)
    assert direct.level_db == 0.0
    assert not direct.bin_db.any()
