"""A compressor on the bus is told by the gain that follows the level; a fader is none."""

from __future__ import annotations

import numpy as np
import pytest

from mixcompare.stems.bus import gain_slope, pressed_note
from mixcompare.stems.cells import StemCells

RATE_HZ, SECONDS = 5.0, 60
HZ = np.geomspace(100, 5000, 12)


def cells(gain_db: np.ndarray, level_db: np.ndarray) -> StemCells:
    """Stems of a level, and the mix with a gain on them: 0.3 dB of scatter, and a hall besides."""
    rng = np.random.default_rng(0)
    power = 10 ** (level_db / 10)[:, None] / HZ
    amplitude = 10 ** ((gain_db + 0.3 * rng.standard_normal(len(gain_db))) / 20)[:, None]
    hall = 0.2 * power.mean(axis=0)
    pairs = np.zeros((1, 2), np.int64)
    mix = amplitude**2 * power + hall
    return StemCells(HZ, RATE_HZ, pairs, power[None], mix, hall + 0 * power, power,
                     amplitude * power)  # fmt: skip


def music() -> np.ndarray:
    """Level in dB: phrases of six seconds, and notes."""
    time_s = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    notes = np.random.default_rng(1).standard_normal(len(time_s))
    return 5 * np.sin(2 * np.pi * time_s / 6) + 4 * notes


@pytest.mark.parametrize(("ratio", "told"), [(2.0, "5 to 8 dB"), (4.0, "8 to 10 dB")])
def test_a_compressor_is_told_with_what_it_takes(ratio: float, told: str) -> None:
    """By definition a ratio of R leaves 1/R of every change: 10 dB more lose 10 - 10/R."""
    level = music()
    pressed = cells(-(1 - 1 / ratio) * level, level)
    assert gain_slope(pressed) == pytest.approx(-(1 - 1 / ratio), abs=0.05)
    (note,) = pressed_note(pressed)
    assert f"its gain falls by {told}" in note


@pytest.mark.parametrize("ratio", [2.0, 4.0])
def test_below_its_threshold_a_compressor_does_nothing(ratio: float) -> None:
    """What it takes above it is told, not what that comes to over all levels."""
    level = music()
    pressed = cells(-(1 - 1 / ratio) * np.maximum(level + 2.0, 0.0), level)
    assert gain_slope(pressed) == pytest.approx(-(1 - 1 / ratio), abs=0.06)


def test_a_fader_that_comes_down_as_the_music_swells_is_no_compressor() -> None:
    time_s = np.arange(int(SECONDS * RATE_HZ)) / RATE_HZ
    swelling = music() + 0.2 * time_s
    assert pressed_note(cells(-0.1 * time_s, swelling)) == ()
    assert pressed_note(cells(np.where(time_s > 20, 4.0, 0.0), music())) == ()
    assert pressed_note(cells(0 * time_s, music())) == ()


def test_what_holds_in_part_of_the_time_only_is_not_told() -> None:
    level = music()
    half = np.arange(len(level)) < len(level) // 2
    assert pressed_note(cells(np.where(half, -0.6 * level, 0.0), level)) == ()


def test_moments_in_which_something_else_plays_are_left_out() -> None:
    level = music()
    one = cells(0 * level, level)
    along = one.along.copy()
    along[level > 5] *= 0.05  # the loudest of the stems are not in the mix at all
    silenced = StemCells(HZ, RATE_HZ, one.pairs, one.cross, one.mix, one.left, one.made, along)
    assert gain_slope(silenced) is None


def test_short_passages_say_nothing() -> None:
    level = music()[:40]
    assert gain_slope(cells(-0.5 * level, level)) is None
