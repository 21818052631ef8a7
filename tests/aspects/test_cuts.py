"""Low- and high-cut filters against scipy's Butterworth filters."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.aspects.tone import cuts
from mixcompare.aspects.tone.cuts import HIGH_CUT, LOW_CUT, Cut
from mixcompare.aspects.tone.filters import HIGH_SHELF, LOW_SHELF, Filter
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 44_100
CENTRES = THIRD_OCTAVE_CENTRES_HZ[3:29]  # 40 Hz to 12.5 kHz
NOISE_DB = 0.2


def butterworth_db(order: int, corner_hz: float, kind: str) -> FloatArray:
    side = {LOW_CUT: "high", HIGH_CUT: "low"}[kind]
    sections = signal.butter(order, corner_hz, side, fs=RATE_HZ, output="sos")
    _, response = signal.sosfreqz(sections, CENTRES, fs=RATE_HZ)
    return np.asarray(20 * np.log10(np.abs(response)))


def fitted(curve: FloatArray) -> tuple[Cut, ...]:
    noise = np.random.default_rng(1).normal(0, NOISE_DB, len(CENTRES))
    return cuts.fit(CENTRES, curve + noise, np.full(len(CENTRES), NOISE_DB), RATE_HZ)


FILTERS = [
    (1, 150.0, LOW_CUT), (2, 60.0, LOW_CUT), (2, 120.0, LOW_CUT), (4, 80.0, LOW_CUT),
    (1, 4000.0, HIGH_CUT), (2, 6000.0, HIGH_CUT), (3, 9000.0, HIGH_CUT),
]  # fmt: skip


@pytest.mark.parametrize(("order", "corner_hz", "kind"), FILTERS)
@pytest.mark.parametrize("sign", [1, -1])
def test_corner_and_slope(order: int, corner_hz: float, kind: str, sign: int) -> None:
    (cut,) = fitted(sign * butterworth_db(order, corner_hz, kind))
    assert cut.kind == kind
    assert cut.in_candidate == (sign > 0)
    # An order falls by 20 lg 2 dB an octave (Butterworth 1930, from memory).
    assert abs(cut.slope_db_per_octave) == pytest.approx(6.02 * order, rel=0.15)
    assert np.sign(cut.slope_db_per_octave) == -sign
    assert cut.corner_hz == pytest.approx(corner_hz, rel=0.05)
    low, high = cut.corner_hz_interval
    assert low < corner_hz < high


@pytest.mark.parametrize("kind", [LOW_CUT, HIGH_CUT])
def test_beside_a_shelf_at_the_other_end(kind: str) -> None:
    corner_hz = 120.0 if kind == LOW_CUT else 6000.0
    shelf = Filter(HIGH_SHELF, 4000, 4, 0.7) if kind == LOW_CUT else Filter(LOW_SHELF, 150, 4, 0.7)
    (cut,) = fitted(butterworth_db(2, corner_hz, kind) + shelf.response_db(CENTRES))
    assert cut.kind == kind
    assert cut.corner_hz == pytest.approx(corner_hz, rel=0.1)


@pytest.mark.parametrize("gain_db", [4.0, -4.0, 8.0, -8.0])
@pytest.mark.parametrize(("kind", "frequency_hz"), [(LOW_SHELF, 150.0), (HIGH_SHELF, 4000.0)])
def test_a_shelf_is_no_cut(kind: str, frequency_hz: float, gain_db: float) -> None:
    assert fitted(Filter(kind, frequency_hz, gain_db, 0.71).response_db(CENTRES)) == ()


def test_nothing_is_no_cut() -> None:
    assert fitted(np.zeros(len(CENTRES))) == ()


@pytest.mark.parametrize(("order", "corner_hz", "kind"), FILTERS)
def test_response(order: int, corner_hz: float, kind: str) -> None:
    bent = Cut(kind, corner_hz, -6.0206 * order, rate_hz=RATE_HZ)
    expected = butterworth_db(order, corner_hz, kind)
    assert bent.response_db(CENTRES) == pytest.approx(expected, abs=0.02)
    side = {LOW_CUT: "high", HIGH_CUT: "low"}[kind]
    prototype = signal.butter(order, corner_hz, side, analog=True)
    _, response = signal.freqs(*prototype, worN=CENTRES)
    plain = Cut(kind, corner_hz, -6.0206 * order)
    assert plain.response_db(CENTRES) == pytest.approx(20 * np.log10(np.abs(response)), abs=0.02)


def test_bands_that_never_stay_still_are_left_out_at_the_ends_only() -> None:
    # A codec's noise in the place of what a cut had left: the difference wanders from moment to
    # moment there. Inside the music one such band hangs on its neighbours.
    wander = np.array([4.0, 2.0, 0.1, 0.2, 3.0, 0.1, 0.5, 0.9])
    expected = [False, False, True, True, True, True, False, False]
    assert cuts.steady_bands(wander).tolist() == expected
    assert not cuts.steady_bands(np.full(4, 2.0)).any()


def test_where_no_music_is_a_codec_s_noise_stands_still_again_and_is_left_out_too() -> None:
    # Two scores through a second-order low cut at 120 Hz and a lossy codec: 20 Hz to 200 Hz.
    first = np.array([0.38, 0.3, 0.44, 1.04, 1.43, 0.46, 0.02, 0.19, 0.16, 0.14, 0.01])
    second = np.array([0.43, 0.98, 0.54, 1.25, 2.9, 1.74, 0.01, 0.02, 0.48, 0.01, 0.02])
    assert cuts.steady_bands(first).tolist() == [False] * 6 + [True] * 5
    assert cuts.steady_bands(second).tolist() == [False] * 6 + [True] * 5


def test_where_no_band_stays_still_there_is_no_cut() -> None:
    """Under another tail and a ride every band may wander."""
    inside = cuts.steady_bands(np.full(len(CENTRES), 3.0))
    assert not inside.any()
    assert cuts.fit(CENTRES[inside], np.zeros(0), np.zeros(0)) == ()
