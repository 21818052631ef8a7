"""Both recordings' spectrograms on one clock: level, time, pitch and bands, from made-up cells."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from mixcompare.alignment.timemap import TimeMap
from mixcompare.features import LOWEST_SEMITONE, Features
from mixcompare.pair.match import Match
from mixcompare.pair.spectra import PairSpectra, images, pair_spectra
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ, pitch_hz
from tests.aspects import stereo_music

SEMITONES = 85


def features(**changes: object) -> Features:
    """Features of 12 s whose cells are replaced."""
    whole = {"usable_band_hz": (0.0, 23_000.0), "grid_tuning_cents": 0.0}
    return replace(stereo_music.features(), **(whole | changes))


def chord(pitch: int, level: float = 1.0, rate: float = 1.0) -> np.ndarray:
    """Semitone powers: silence but for one pitch, whose level rises evenly along the time."""
    frames = len(stereo_music.features().semitone_power)
    power = np.zeros((frames, SEMITONES), np.float32)
    power[:, pitch - LOWEST_SEMITONE] = level * (1 + np.arange(frames) / 50 * rate)
    return power


def column(pair: PairSpectra, pitch: int) -> int:
    return int(np.argmin(np.abs(pair.centre_hz - float(pitch_hz(pitch)))))


def test_the_gain_is_taken_out_of_the_candidate() -> None:
    reference = features(semitone_power=chord(69))
    candidate = features(semitone_power=chord(69, level=10**0.9))
    match = replace(stereo_music.same_clock(reference), gain_db=6.0)
    pair = pair_spectra(reference, candidate, match)
    found = pair.difference_db[20:-20, column(pair, 69)]
    assert found == pytest.approx(3.0, abs=0.01)
    back = pair_spectra(candidate, reference, match.mirrored())
    assert back.difference_db[20:-20, column(back, 69)] == pytest.approx(-3.0, abs=0.01)
    assert pair.mirrored().difference_db == pytest.approx(-pair.difference_db, abs=1e-9)


def test_upper_bands_carry_the_gain_too() -> None:
    whole = stereo_music.features().band_power
    power = np.full_like(whole, 1e-4)
    reference, candidate = features(band_power=power), features(band_power=4 * power)
    match = replace(stereo_music.same_clock(reference), gain_db=4.0)
    pair = pair_spectra(reference, candidate, match)
    upper = pair.centre_hz > 5600
    # Third octaves from 6.3 to 20 kHz, both channels together.
    assert pair.centre_hz[upper] == pytest.approx(THIRD_OCTAVE_CENTRES_HZ[25:])
    assert pair.reference[:, upper] == pytest.approx(2e-4, rel=1e-5)
    ratio = pair.candidate[:, upper] / pair.reference[:, upper]
    assert 10 * np.log10(ratio) == pytest.approx(6.02 - 4.0, abs=0.01)


def test_moments_meet_where_the_map_says() -> None:
    # Levels rise by 1 a second: the candidate's clock runs 1.06 times as long, 0.5 s late.
    rising = np.ones_like(stereo_music.features().band_power)
    rising *= (0.5 + np.arange(len(rising)) / 50)[:, None, None]
    reference = candidate = features(semitone_power=chord(60), band_power=rising)
    match = Match(TimeMap.linear(0.5, 1.06, 1.0, 9.0))
    pair = pair_spectra(reference, candidate, match)
    here = [column(pair, 60), -1]  # a semitone, and a third octave of both channels
    assert pair.times_s[[0, -1]] == pytest.approx([1.0, 9.0])
    assert np.diff(pair.times_s) == pytest.approx(0.05)
    assert pair.reference[:, here] == pytest.approx(
        np.column_stack(2 * [1 + pair.times_s]), abs=0.02
    )
    assert pair.candidate[:, here] == pytest.approx(
        np.column_stack(2 * [1 + 0.5 + 1.06 * pair.times_s]), abs=0.02
    )


@pytest.mark.parametrize("semitones", [-5, -1, 1, 5, 7])
def test_a_transposed_candidate_is_read_at_its_own_pitches(semitones: int) -> None:
    both = (69, 69 + semitones)
    reference, candidate = (
        features(
            semitone_power=chord(pitch), semitone_image=np.repeat(chord(pitch)[..., None], 3, 2)
        )
        for pitch in both
    )
    match = replace(stereo_music.same_clock(reference), transposition_semitones=semitones)
    pair = pair_spectra(reference, candidate, match)
    for cells in images(reference, candidate, match):
        assert cells[100, :, 0][pair.centre_hz < 5000].argmax() == column(pair, 69)
    assert pair.reference[100].argmax() == column(pair, 69)
    assert pair.candidate[100].argmax() == column(pair, 69)
    assert pair.centre_hz[column(pair, 69)] == pytest.approx(440.0)


@pytest.mark.parametrize(
    ("tuning", "grids", "columns"),
    # 60 cents sharp are a semitone column up, unless the candidate's grid took them already.
    [(60.0, (0.0, 0.0), 1), (-60.0, (0.0, 0.0), -1), (60.0, (0.0, 40.0), 0), (40.0, (0.0, -40), 1),
     (-40.0, (-30.0, 0.0), -1), (40.0, (0.0, 0.0), 0)],
)  # fmt: skip
def test_tuning_and_grids_decide_which_columns_meet(
    tuning: float, grids: tuple[float, float], columns: int
) -> None:
    reference = features(semitone_power=chord(69), grid_tuning_cents=grids[0])
    candidate = features(semitone_power=chord(69 + columns), grid_tuning_cents=grids[1])
    match = replace(stereo_music.same_clock(reference), tuning_cents=tuning)
    pair = pair_spectra(reference, candidate, match)
    assert pair.reference[100].argmax() == pair.candidate[100].argmax() == column(pair, 69)


def test_only_what_both_files_carry_is_compared() -> None:
    reference = features(usable_band_hz=(0.0, 23_000.0))
    candidate = features(usable_band_hz=(100.0, 9_000.0))
    pair = pair_spectra(reference, candidate, stereo_music.same_clock(reference))
    # The third octave at 125 Hz begins at 112.2 Hz, that at 8 kHz ends at 8.91 kHz.
    assert pair.centre_hz.min() == pytest.approx(float(pitch_hz(46)))  # 116.5 Hz
    assert pair.centre_hz.max() == pytest.approx(7943.28, abs=0.01)
    whole = pair_spectra(reference, reference, stereo_music.same_clock(reference))
    assert whole.centre_hz.min() == pytest.approx(41.203, abs=0.001)  # first semitone over 40 Hz
    semitones = whole.centre_hz[whole.centre_hz < 5600]
    assert semitones.max() == pytest.approx(5274.04, abs=0.01)  # the highest, pitch 112


def test_audible_cells_by_hand() -> None:
    # Three bands: loud; 45 dB under the first; 55 dB under it.
    cells = np.ones((100, 3)) * [1.0, 10**-4.5, 10**-5.5]
    cells[7, 0] = 0.9e-3  # 30 dB under its band's loud moments
    cells[8, 0] = 1.1e-3
    cells[9:11, :2] = 1e-4
    cells[9, 2] = 10**-7.5  # 75 dB under the loudest of all
    cells[10, 2] = 10**-6.5
    pair = PairSpectra(np.arange(100) / 20, np.array([100.0, 1000.0, 5000.0]), cells, 0.5 * cells)
    assert pair.audible[0].tolist() == [True, True, False]
    assert pair.audible[7:9, 0].tolist() == [False, True]
    assert pair.audible[9:11, 2].tolist() == [False, True]
    assert (pair.mirrored().audible == pair.audible).all()


def test_silence_on_both_sides_is_no_difference_and_on_one_side_is_bounded() -> None:
    before, after = np.array([[1.0, 0.0, 0.0]]), np.array([[2.0, 0.0, 1.0]])
    pair = PairSpectra(np.zeros(1), np.array([1.0, 2.0, 3.0]), before, after)
    # The floor is 90 dB under the loudest cell (2): 10 log10(1 / 2e-9) = 87 dB.
    assert pair.difference_db[0] == pytest.approx([3.01, 0.0, 86.99], abs=0.01)
