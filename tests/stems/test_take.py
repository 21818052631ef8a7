"""Trims of one take from gains written by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mixcompare.stems.explained import BLOCKS, EDGES_HZ, Making
from mixcompare.stems.take import trims_of

STEMS, BANDS = 5, len(EDGES_HZ) - 1
TRIMS_DB = np.array([0.0, 0.0, -4.0, 0.0, 2.0])


def making(gain_db: np.ndarray) -> Making:
    """Direct gains by stem and band, in every block alike."""
    direct = np.broadcast_to(10 ** (gain_db / 20), (1 + BLOCKS, STEMS, BANDS)).copy()
    zeros = np.zeros(STEMS)
    return Making(
        filters=np.zeros((STEMS, 2, 1)), first_tap=0, direct=direct,
        weight=np.full((STEMS, BANDS), 1 / BANDS), in_block=np.full((BLOCKS, STEMS), 1 / BLOCKS),
        delay_s=zeros, delay_deviation_s=zeros, is_inverted=zeros > 0, sounds=zeros + 1,
        alike=np.eye(STEMS), with_mix=zeros,
            between=np.zeros((4, 2, 3, STEMS, STEMS), np.complex64), frames=1,
    )  # fmt: skip


def test_tone_that_all_have_in_common_is_no_trim() -> None:
    shelf = np.where(np.arange(BANDS) > BANDS // 2, 3.0, 0.0)
    found = trims_of(making(TRIMS_DB[:, None] + shelf), making(np.zeros((STEMS, BANDS))))
    np.testing.assert_allclose(found.trim_db - found.trim_db[0], TRIMS_DB, atol=0.1)
    np.testing.assert_allclose(found.tone_db - found.tone_db[0], shelf, atol=0.1)
    assert np.all(found.deviation_db < 0.3)


def in_own_range(lowest: int) -> np.ndarray:
    """Shares of bands: the last stem is alone in its lowest ones, and the others share the rest."""
    shares = np.zeros((STEMS, BANDS))
    shares[:-1, lowest:] = 1 / (BANDS - lowest)
    shares[-1, : lowest + 3] = [0.9 / lowest] * lowest + [0.1 / 3] * 3
    return shares


def test_a_low_shelf_is_no_trim_of_the_stem_that_is_alone_down_there() -> None:
    """Tone goes on from the bands that it shares with others."""
    shelf = np.where(np.arange(BANDS) < 9, -4.0, 0.0)
    shares = in_own_range(5)
    one = replace(making(np.zeros((STEMS, BANDS)) + shelf), weight=shares)
    found = trims_of(one, replace(making(np.zeros((STEMS, BANDS))), weight=shares))
    np.testing.assert_allclose(found.trim_db - found.trim_db[0], 0.0, atol=0.2)


def test_a_stem_that_is_alone_in_its_bands_has_its_trim() -> None:
    """It is no tone: that would step where the others are."""
    moved = np.zeros((STEMS, BANDS))
    moved[-1] = -4.0
    shares = in_own_range(5)
    found = trims_of(
        replace(making(moved), weight=shares),
        replace(making(np.zeros((STEMS, BANDS))), weight=shares),
    )
    assert found.trim_db[-1] - found.trim_db[0] == pytest.approx(-4.0, abs=0.2)
    assert found.deviation_db[-1] < 0.3


def test_few_bands_that_agree_are_not_taken_for_sure() -> None:
    """A stem in two bands, beside others whose bands scatter by 2 dB."""
    rng = np.random.default_rng(1)
    noisy = 2 * rng.standard_normal((STEMS, BANDS))
    noisy[1] = 0.0
    shares = np.full((STEMS, BANDS), 1 / BANDS)
    shares[1] = 0.0
    shares[1, 4:6] = 0.5
    found = trims_of(
        replace(making(noisy), weight=shares),
        replace(making(np.zeros((STEMS, BANDS))), weight=shares),
    )
    assert found.deviation_db[1] > found.deviation_db[0]


@pytest.mark.parametrize("level_db", [-30.0, 20.0])
def test_how_loud_one_of_the_mixes_is_changes_nothing(level_db: float) -> None:
    """Each stem is nearly alone in its bands: three share four bands only."""
    gains = np.repeat(TRIMS_DB[:, None], BANDS, axis=1)
    one, other = making(gains + level_db), making(np.zeros((STEMS, BANDS)))
    alone = np.kron(np.eye(STEMS), np.ones(BANDS // STEMS)) + 1e-4
    alone[:3, 4:8] += 0.3
    found = trims_of(replace(one, weight=alone), replace(other, weight=alone))
    np.testing.assert_allclose(found.trim_db - found.trim_db[0], TRIMS_DB, atol=0.2)


def test_blocks_in_which_a_stem_rests_say_nothing_of_it() -> None:
    plain = making(np.zeros((STEMS, BANDS)))
    direct = making(np.repeat(TRIMS_DB[:, None], BANDS, axis=1)).direct
    direct[1:3, 2] *= 100  # noise where it rests
    resting = np.full((BLOCKS, STEMS), 1 / BLOCKS)
    resting[:2, 2], resting[2:, 2] = 0.0, 0.5
    found = trims_of(replace(plain, direct=direct), replace(plain, in_block=resting))
    assert found.deviation_db[2] < 0.3
    playing = trims_of(replace(plain, direct=direct), plain)
    assert playing.deviation_db[2] > 5


def test_bands_that_disagree_are_doubt() -> None:
    rng = np.random.default_rng(0)
    noisy = np.zeros((STEMS, BANDS))
    noisy[1] = 4 * rng.standard_normal(BANDS)
    found = trims_of(making(noisy), making(np.zeros((STEMS, BANDS))))
    assert found.deviation_db[1] > 3 * found.deviation_db[0]
    assert abs(found.trim_db[1] - found.trim_db[0]) < 2 * found.deviation_db[1]


def test_a_stem_that_sounds_in_one_mix_only_has_no_trim() -> None:
    silent = making(np.zeros((STEMS, BANDS)))
    weight = silent.weight.copy()
    weight[3] = 0.0
    found = trims_of(silent, replace(silent, weight=weight))
    assert np.isnan(found.trim_db[3])
    assert found.trim_db[0] == pytest.approx(0.0, abs=1e-6)
