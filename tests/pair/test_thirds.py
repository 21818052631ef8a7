"""Values per band as tuples, and frequencies in words."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.pair import thirds


def test_there_are_31_bands_from_20_hz_to_20_khz() -> None:
    assert thirds.BANDS == len(thirds.CENTRES_HZ) == len(thirds.NOTHING) == 31
    assert thirds.CENTRES_HZ[0] == pytest.approx(19.953, abs=5e-4)
    assert thirds.CENTRES_HZ[17] == pytest.approx(1000.0)
    assert thirds.CENTRES_HZ[30] == pytest.approx(19952.62, abs=0.01)
    assert set(thirds.NOTHING) == {None}


def test_unknown_bands_are_none_and_what_follows_the_bands_is_left_out() -> None:
    array = np.arange(32.0)
    known = array % 2 == 1
    found = thirds.values(array, known)
    assert found == tuple(float(band) if band % 2 else None for band in range(31))
    assert {type(value) for value in found} == {float, type(None)}


def test_pairs_run_from_low_to_high() -> None:
    low, high = np.arange(32.0) - 0.5, np.arange(32.0) + 0.25
    found = thirds.pairs(low, high, np.arange(32) != 4)
    assert found[3] == (2.5, 3.25)
    assert found[4] is None
    assert found[30] == (29.5, 30.25)
    assert len(found) == 31


@pytest.mark.parametrize(
    ("frequency_hz", "words"),
    [
        (17.78, "18 Hz"),
        (56.2, "56 Hz"),
        (398.1, "400 Hz"),
        (994.0, "990 Hz"),
        (996.0, "1 kHz"),
        (1412.5, "1.4 kHz"),
        (2511.9, "2.5 kHz"),
        (9960.0, "10 kHz"),
        (17_783.0, "18 kHz"),
    ],
)
def test_a_frequency_in_words_has_two_digits(frequency_hz: float, words: str) -> None:
    assert thirds.spoken_hz(frequency_hz) == words
