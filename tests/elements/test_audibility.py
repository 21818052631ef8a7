"""Masking against what textbooks tell of it, and shares of the loudness."""

from __future__ import annotations

import itertools

import numpy as np
import numpy.typing as npt
import pytest
from mosqito.sq_metrics import loudness_zwst
from scipy import stats

from mixcompare.elements.audibility import audibility, erb_hz, spreading, threshold_ratio
from mixcompare.standards.iec61260 import pitch_hz

CENTRE_HZ = pitch_hz(np.arange(28, 112))
RATE_HZ = 48_000
FloatArray = npt.NDArray[np.float64]


def noise(frequency_hz: float, level_db: float = 70.0) -> FloatArray:
    """Noise as wide as the ear's filter, shape (1, bands)."""
    inside = np.abs(CENTRE_HZ - frequency_hz) < erb_hz(frequency_hz) / 2
    return (inside / inside.sum() * 10 ** (level_db / 10))[None]


def tone(frequency_hz: float, level_db: float) -> FloatArray:
    out = np.zeros((1, len(CENTRE_HZ)))
    out[0, np.argmin(np.abs(CENTRE_HZ - frequency_hz))] = 10 ** (level_db / 10)
    return out


def threshold_db(frequency_hz: float, masker: FloatArray) -> float:
    levels = np.arange(-20.0, 90.0, 0.5)
    heard = [audibility(tone(frequency_hz, at), masker, CENTRE_HZ).audible_share for at in levels]
    return float(levels[int(np.argmax(heard))])


@pytest.mark.parametrize(
    ("frequency_hz", "width_hz"), [(100, 35.5), (1000, 132.6), (4000, 456.5), (8000, 888.2)]
)
def test_bandwidths(frequency_hz: float, width_hz: float) -> None:
    # Glasberg and Moore 1990, Equation 3, computed.
    assert erb_hz(frequency_hz) == pytest.approx(width_hz, abs=0.06)


@pytest.mark.parametrize(("frequency_hz", "below_db"), [(250, 2.0), (1000, 3.0), (4000, 5.0)])
def test_tone_in_narrow_noise(frequency_hz: float, below_db: float) -> None:
    # Fastl and Zwicker 2007, Psychoacoustics, 4.1: noise of 70 dB, a critical band wide, masks a
    # tone in its middle up to so much below its level (from memory).
    assert threshold_db(frequency_hz, noise(frequency_hz)) == pytest.approx(70 - below_db, abs=2.5)


def test_low_sound_covers_high_sound_more_than_the_reverse() -> None:
    # The same source, Figures 4.5 and 4.6: masking spreads upwards (from memory).
    masker = noise(1000)
    assert threshold_db(1400, masker) > threshold_db(700, masker) + 15
    assert threshold_db(1400, masker) < 70


def test_a_part_alone_holds_everything() -> None:
    alone = audibility(tone(440, 60), np.zeros((1, len(CENTRE_HZ))), CENTRE_HZ)
    assert alone.audible_share == 1.0
    assert alone.loudness_share == pytest.approx(1.0, abs=0.01)


def test_a_covered_part_holds_nothing() -> None:
    covered = audibility(tone(1000, 45), noise(1000), CENTRE_HZ)
    assert covered.audible_share == 0.0
    assert covered.loudness_share == 0.0


def test_shares_rise_with_level_and_do_not_hang_on_gain() -> None:
    rest = noise(500) + noise(2000)
    shares = [
        audibility(tone(1000, at), rest, CENTRE_HZ).loudness_share for at in (50.0, 60.0, 70.0)
    ]
    assert shares[0] < shares[1] < shares[2] < 1
    again = audibility(1e-6 * tone(1000, 60), 1e-6 * rest, CENTRE_HZ).loudness_share
    assert again == pytest.approx(shares[1])


def test_only_the_time_it_plays_counts() -> None:
    rest = np.concatenate([noise(1000)] * 10)
    part = np.zeros_like(rest)
    part[2:4] = tone(1000, 80)
    part[6] = tone(1000, 66)
    assert audibility(part, rest, CENTRE_HZ).audible_share == pytest.approx(1.0)
    part[6] = tone(1000, 64.5)
    rest[6] *= 10
    assert audibility(part, rest, CENTRE_HZ).audible_share == pytest.approx(2 / 3)


def _sound(low_hz: float, high_hz: float, level_db: float, pink: bool = False) -> FloatArray:
    """One second of noise between two frequencies, in pascals."""
    spectrum = np.fft.rfft(np.random.default_rng(1).standard_normal(RATE_HZ))
    frequency_hz = np.fft.rfftfreq(RATE_HZ, 1 / RATE_HZ)
    if pink:
        spectrum[1:] /= np.sqrt(frequency_hz[1:])
    spectrum[(frequency_hz < low_hz) | (frequency_hz >= high_hz)] = 0
    samples = np.fft.irfft(spectrum, RATE_HZ)
    return np.asarray(samples * 2e-5 * 10 ** (level_db / 20) / np.sqrt(np.mean(samples**2)))


def _band_powers(samples: FloatArray) -> FloatArray:
    power = np.abs(np.fft.rfft(samples)) ** 2
    edges = np.append(CENTRE_HZ * 2 ** (-1 / 24), CENTRE_HZ[-1] * 2 ** (1 / 24))
    inside = np.searchsorted(edges, np.fft.rfftfreq(RATE_HZ, 1 / RATE_HZ))
    sums = np.bincount(inside, power, len(edges) + 1)
    return np.asarray(sums[1 : len(edges)])[None]


def test_share_of_the_loudness_follows_iso_532_1() -> None:
    # Oracle: loudness by ISO 532-1:2017 (Zwicker) as the library mosqito computes it; what a band
    # of noise adds to pink noise, over the whole. Ours leaves out what the outer ear does, takes
    # one level for all, and a partly masked sound counts from its threshold only: so it tells
    # less, by up to 0.17.
    pink = _sound(50, 8000, 65, pink=True)
    alone = loudness_zwst(pink, RATE_HZ)[0]
    theirs, ours = [], []
    for low_hz, high_hz in ((100, 200), (300, 600), (800, 1600), (2000, 4000)):
        for level_db in (50, 60, 65, 70, 75):
            part = _sound(low_hz, high_hz, level_db)
            whole = loudness_zwst(pink + part, RATE_HZ)[0]
            theirs.append((whole - alone) / whole)
            judged = audibility(_band_powers(part), _band_powers(pink), CENTRE_HZ)
            ours.append(judged.loudness_share)
    assert stats.spearmanr(theirs, ours).statistic > 0.95
    below = np.subtract(theirs, ours)
    assert below.min() > 0
    assert below.max() < 0.17


BANDS_HZ = ((100, 200), (400, 800), (1600, 3200))


@pytest.mark.parametrize(("part_hz", "rest_hz"), list(itertools.permutations(BANDS_HZ, 2)))
def test_share_of_the_loudness_by_iso_532_1(
    part_hz: tuple[int, int], rest_hz: tuple[int, int]
) -> None:
    # The same oracle, on noises that lie apart. Within 0.1 above 400 Hz; below, what the outer
    # ear takes away is left out, and the low sound counts for more, by up to 0.15.
    rest = _sound(*rest_hz, 65)
    alone = loudness_zwst(rest, RATE_HZ)[0]
    low = min(part_hz[0], rest_hz[0]) < 400
    for level_db in (50, 60, 70):
        part = _sound(*part_hz, level_db)
        whole = loudness_zwst(rest + part, RATE_HZ)[0]
        judged = audibility(_band_powers(part), _band_powers(rest), CENTRE_HZ)
        told = (whole - alone) / whole
        assert judged.loudness_share == pytest.approx(told, abs=0.15 if low else 0.1)
        assert judged.audible_share == 1.0


def test_the_spacing_of_the_bands_does_not_weigh() -> None:
    # Loudness is summed over equivalent rectangular bandwidths, however many bands there are.
    fine = pitch_hz(np.arange(40, 110, 0.25))
    shares = []
    for centre_hz in (fine, pitch_hz(np.arange(40, 110))):
        width = np.gradient(centre_hz)
        low, high = (
            np.where((centre_hz > a) & (centre_hz < b), width, 0)[None] * 1e6
            for a, b in ((200, 400), (2000, 2400))
        )
        shares.append(audibility(low, high, centre_hz).loudness_share)
    assert shares[0] == pytest.approx(shares[1], abs=0.02)


@pytest.mark.parametrize(("sound_hz", "slope"), [(500.0, 25.26), (1500.0, 30.16)])
def test_both_skirts_of_a_filter(sound_hz: float, slope: float) -> None:
    # Glasberg and Moore 1990: W = (1 + p g) exp(-p g), g = |f - fc| / fc, p = 4 fc / ERB; at 1 kHz
    # 30.16, the lower skirt less by 0.35 for each decibel over 51 dB, here 65 dB: 25.26.
    weight = spreading(np.array([1000.0, sound_hz]))[0, 1]
    assert weight == pytest.approx((1 + slope * 0.5) * np.exp(-slope * 0.5), rel=0.01)


@pytest.mark.parametrize(
    ("frequency_hz", "ratio_db"), [(50, 13), (100, 8), (200, 3), (400, -1), (1000, -3), (4000, -3)]
)
def test_threshold_in_each_filter(frequency_hz: float, ratio_db: float) -> None:
    # Moore, Glasberg and Baer 1997, Figure 9 (from memory): signal to noise at threshold.
    ratio = 10 * np.log10(threshold_ratio(np.array([float(frequency_hz)]))[0])
    assert ratio == pytest.approx(ratio_db, abs=0.1)


def test_what_lies_16_db_under_a_parts_loud_moments_is_no_playing() -> None:
    rest = np.concatenate([noise(1000, 75.0)] * 20)
    part = np.concatenate([tone(1000, 80)] * 20)
    part[10:] = tone(1000, 80 - 15)
    assert audibility(part, rest, CENTRE_HZ).audible_share == pytest.approx(0.5)
    part[10:] = tone(1000, 80 - 17)
    assert audibility(part, rest, CENTRE_HZ).audible_share == pytest.approx(1.0)
