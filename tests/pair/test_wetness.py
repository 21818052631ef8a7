"""Relative wetness on third-octave powers to which a known reverberation was added.

The smear is made by convolution with an exponential of which the first frame is left out; the
module's own is a recursive filter. Powers, not sounds: what is checked is the arithmetic.
"""

from __future__ import annotations

import functools
from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.features import BAND_RATE_HZ
from mixcompare.pair.wetness import MOST_DB, Wetness, relative_wetness
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

FloatArray = npt.NDArray[np.float64]

ALL = np.ones(31, bool)
REGISTER_OF_BAND = np.searchsorted([280.0, 900.0, 2800.0], THIRD_OCTAVE_CENTRES_HZ)


@functools.cache
def dry(seed: int, seconds: float = 20.0) -> FloatArray:
    """Notes of many lengths in every third octave, each band by itself."""
    rng = np.random.default_rng([seed, 1])
    frames = int(seconds * BAND_RATE_HZ)
    power = np.full((frames, 31), 1e-7)
    for band in range(31):
        first = 0
        while first < frames:
            length = int(rng.integers(6, 25))
            held = int(length * rng.uniform(0.5, 1))
            course = 10 ** (-0.2 * np.maximum(np.arange(length) - held, 0))
            level = 10 ** (rng.normal(0, 4) / 10) * (rng.random() < 0.8)
            power[first : first + length, band] += level * course[: frames - first]
            first += length
    power.setflags(write=False)
    return power


def reverberation(power: FloatArray, decay_s: float) -> FloatArray:
    """As much energy as the power has, spread over what comes after."""
    kernel = 10 ** (-6 * np.arange(1, int(2 * decay_s * BAND_RATE_HZ)) / BAND_RATE_HZ / decay_s)
    kernel = np.concatenate([[0.0], kernel / kernel.sum()])
    return np.stack([np.convolve(band, kernel)[: len(power)] for band in power.T], axis=1)


def added(wetness_db: npt.ArrayLike) -> FloatArray:
    """Energy added to the drier recording's total, by the definition of the module."""
    return np.asarray((10 ** (np.asarray(wetness_db) / 10) - 1) / 2)


def fit(reference: FloatArray, candidate: FloatArray) -> Wetness:
    found = relative_wetness(reference, candidate, ALL)
    assert found is not None
    return found


# 0.3 dB: a fifth of the just-noticeable 1.5 dB.
@pytest.mark.parametrize(
    ("wetness_db", "decay_s"), [(1.5, 0.8), (3.0, 1.8), (5.0, 1.2), (7.0, 2.7)]
)
def test_known_reverberation_is_told_in_both_directions(wetness_db: float, decay_s: float) -> None:
    plain = dry(1)
    wet = plain + added(wetness_db) * reverberation(plain, decay_s)
    there, back = fit(plain, wet), fit(wet, plain)
    assert there.wetness_db == pytest.approx(wetness_db, abs=0.3)
    assert back.wetness_db == pytest.approx(-there.wetness_db, abs=1e-9)
    for found in (there, back):
        assert found.kernel_time_s == decay_s
        assert found.is_told
        assert found.everywhere
        assert found.gain > 0.9
        assert found.even_db == pytest.approx(found.wetness_db, abs=0.1)
        for value, share in zip(found.register_db, found.register_gain, strict=True):
            assert value == pytest.approx(found.wetness_db, abs=0.1)
            assert share > 0.9


def test_every_register_is_asked_by_itself() -> None:
    plain = dry(2)
    known = np.array([3.0, 1.5, 4.0, 2.25])
    wet = plain + added(known[REGISTER_OF_BAND]) * reverberation(plain, 1.2)
    found = fit(plain, wet)
    np.testing.assert_allclose(found.register_db, known, atol=0.3)
    # Nothing of one register is counted to another.
    assert min(found.register_gain) > 0.9
    # The middle one of the three below 2.8 kHz.
    assert found.wetness_db == pytest.approx(3.0, abs=0.3)


def test_level_tone_and_slow_swells_cancel() -> None:
    plain = dry(3)
    wet = plain + added(3.0) * reverberation(plain, 1.2)
    tone = 10 ** (np.linspace(-6, 6, 31) / 10)
    swell = 10 ** (0.3 * np.sin(np.arange(len(wet)) * 2 * np.pi / 450))[:, None]
    assert fit(plain, wet * tone * swell).wetness_db == pytest.approx(3.0, abs=0.3)


def test_beyond_what_is_tried_the_end_is_told() -> None:
    plain = dry(4)
    wet = plain + added(16.0) * reverberation(plain, 1.2)
    assert fit(plain, wet).wetness_db == MOST_DB
    assert fit(wet, plain).wetness_db == -MOST_DB


def test_longer_notes_are_held_and_not_smeared() -> None:
    plain = dry(5)
    held = np.max([np.roll(plain, shift, axis=0) for shift in range(7)], axis=0)
    assert fit(plain, held).may_be_note_lengths
    assert fit(held, plain).may_be_note_lengths
    wet = plain + added(2.0) * reverberation(plain, 1.8)
    assert not fit(plain, wet).may_be_note_lengths


def test_a_compressor_goes_with_the_common_level() -> None:
    plain = dry(6)
    common = plain[:, 7:27].sum(axis=1)
    common /= np.median(common)
    squeezed = plain * (np.maximum(common, 0.02) ** -0.4)[:, None]
    found = fit(plain, squeezed)
    assert abs(found.even_db) < 0.1


def test_frames_without_their_past_are_not_judged() -> None:
    plain = dry(7)
    wet = plain + added(3.0) * reverberation(plain, 1.2)
    spoilt = wet.copy()
    spoilt[:300] = plain[:300]
    settled = np.arange(len(plain)) >= 300
    found = relative_wetness(plain, spoilt, ALL, settled)
    assert found is not None
    assert found.wetness_db == pytest.approx(3.0, abs=0.3)


def test_less_than_eight_seconds_or_a_register_missing_tell_nothing() -> None:
    plain = dry(1)
    assert relative_wetness(plain[:199], plain[:199], ALL) is None
    assert relative_wetness(plain[:200], plain[:200], ALL) is not None
    assert relative_wetness(plain, plain, THIRD_OCTAVE_CENTRES_HZ > 300) is None
    assert relative_wetness(plain, plain, THIRD_OCTAVE_CENTRES_HZ < 880) is None


def test_without_the_highest_register_it_is_not_told() -> None:
    plain = dry(1)
    wet = plain + added(3.0) * reverberation(plain, 1.2)
    found = relative_wetness(plain, wet, THIRD_OCTAVE_CENTRES_HZ < 2500)
    assert found is not None
    assert np.isnan(found.register_db[3])
    assert found.wetness_db == pytest.approx(3.0, abs=0.3)
    assert found.everywhere


MADE_UP = Wetness(3.0, (2.5, 3.5), 1.2, 0.3, 3.0, (3.0, 3.0, 3.0, 3.0), (0.3,) * 4, 0.2)


@pytest.mark.parametrize(
    ("registers", "everywhere"),
    [
        ((3.0, 3.0, 3.0, 3.0), True),
        ((3.0, 3.0, 3.0, 0.5), True),  # rooms absorb the highest
        ((3.0, 3.0, 3.0, 7.6), True),
        ((3.0, 3.0, 3.0, 8.0), False),  # 2.6 times the middle
        ((1.0, 3.0, 4.4, 3.0), True),
        ((1.0, 3.0, 4.6, 3.0), False),  # 4.5 times the least
        ((-1.0, 3.0, 3.0, 3.0), False),
        ((3.0, 0.0, 3.0, 3.0), False),
    ],
)
def test_a_room_moves_all_registers_about_alike(
    registers: tuple[float, ...], everywhere: bool
) -> None:
    assert replace(MADE_UP, register_db=registers).everywhere is everywhere
    turned = tuple(-value for value in registers)
    mirrored = replace(MADE_UP, wetness_db=-3.0, register_db=turned)
    assert mirrored.everywhere is everywhere


@pytest.mark.parametrize(("share", "held"), [(0.49, False), (0.51, True)])
def test_half_of_what_the_smear_explains_may_be_note_lengths(share: float, held: bool) -> None:
    assert replace(MADE_UP, held_share=share).may_be_note_lengths is held


@pytest.mark.parametrize(("gain", "told"), [(0.044, False), (0.046, True)])
def test_share_from_which_on_a_fit_counts(gain: float, told: bool) -> None:
    # Chosen on unchanged pairs, which stay below.
    assert replace(MADE_UP, gain=gain).is_told is told


@pytest.mark.parametrize(("lowest_gain", "everywhere"), [(0.3, True), (0.02, False)])
def test_the_lowest_register_moves_or_tells(lowest_gain: float, everywhere: bool) -> None:
    quiet = replace(
        MADE_UP, register_db=(1.0, 3.0, 3.0, 3.0), register_gain=(lowest_gain, 0.3, 0.3, 0.3)
    )
    assert quiet.everywhere is everywhere
