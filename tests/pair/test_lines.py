"""Lines and their notes on made-up powers: exact where the arithmetic is."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from mixcompare.features import (
    LOWEST_ONSET,
    LOWEST_SEMITONE,
    ONSET_RATE_HZ,
    SEMITONE_RATE_HZ,
)
from mixcompare.pair.lines import (
    LOWEST_COMB,
    _viterbi,
    bass_paths,
    comb_weights,
    grid_shift,
    joint_weights,
    lead_and_bass_notes,
    lead_paths,
    stretches,
    voice_cells,
)
from mixcompare.pair.notes import Note, attack_strength, line_notes, partial_bands, refined_onset

FloatArray = npt.NDArray[np.float64]

PARTIALS = (0, 12, 19, 24, 28, 31, 34, 36)


def sounding(*lines: list[tuple[float, float, int, float]]) -> Any:
    """Both powers of lines of (onset, end, pitch, level in dB); 8 partials, noise far below."""
    seconds = max(end for line in lines for _, end, _, _ in line) + 0.5
    semitone = np.full((int(seconds * SEMITONE_RATE_HZ), 85), 1e-9)
    onset = np.full((int(seconds * ONSET_RATE_HZ), 60), 1e-9)
    for power, rate_hz, lowest in (
        (semitone, SEMITONE_RATE_HZ, LOWEST_SEMITONE),
        (onset, ONSET_RATE_HZ, LOWEST_ONSET),
    ):
        for line in lines:
            for start, end, pitch, level_db in line:
                inside = slice(round(start * rate_hz), round(end * rate_hz))
                for number, step in enumerate(PARTIALS):
                    column = pitch + step - lowest
                    if 0 <= column < power.shape[1]:
                        power[inside, column] += 10 ** ((level_db - 3 * number) / 10)
    return SimpleNamespace(
        semitone_power=semitone.astype(np.float32),
        onset_power=onset.astype(np.float32),
        grid_tuning_cents=0.0,
    )


MELODY = [(0.5 * at, 0.5 * at + 0.5, pitch, -20.0) for at, pitch in enumerate([72, 74, 76, 79] * 3)]
BASS = [(1.0 * at, 1.0 * at + 1.0, pitch, -20.0) for at, pitch in enumerate([43, 48, 41] * 2)]


def times(features: Any) -> FloatArray:
    return np.arange(len(features.semitone_power)) / SEMITONE_RATE_HZ


def test_the_comb_of_a_note_is_the_strongest() -> None:
    for pitch in (45, 60, 72, 84):
        weights = comb_weights(sounding([(0.0, 1.0, pitch, -20.0)]).semitone_power[:40])
        assert set(weights.argmax(axis=1)) == {pitch - LOWEST_COMB}
        assert weights.mean() == pytest.approx(1.0, rel=1e-3)
    assert comb_weights(np.zeros((0, 85))).shape == (0, 69)


def test_both_lines_are_found() -> None:
    both = sounding(MELODY, BASS)
    weights = joint_weights([(both, times(both), 0)])
    for paths, line in ((lead_paths, MELODY), (bass_paths, BASS)):
        (path,) = paths([weights])
        for start, end, pitch, _ in line:
            middle = round((start + end) / 2 * SEMITONE_RATE_HZ)
            assert path[middle] == pitch


def test_a_path_is_the_best_of_all() -> None:
    strength = np.random.default_rng(3).exponential(2.0, (200, 1, 40))
    # Every pair of states by itself: 2.5 for a change, three tenths of that more a semitone.
    distance = np.abs(np.arange(40)[:, None] - np.arange(40))
    price = np.where(distance == 0, 0.0, 2.5 * (1 + 0.3 * np.minimum(distance, 24)))
    best = strength[0, 0]
    for own in strength[1:, 0]:
        best = (best - price).max(axis=1) + own
    (path,) = _viterbi(strength, np.array([200])).T
    along = strength[np.arange(200), 0, path].sum() - price[path[1:], path[:-1]].sum()
    assert along == pytest.approx(best.max())
    assert len(set(path)) > 5


def test_stretches_of_any_length_are_searched_together() -> None:
    parts = [np.random.default_rng(seed).random((80 - 30 * seed, 69)) for seed in range(3)]
    for found, part in zip(lead_paths(parts), parts, strict=True):
        assert found.tolist() == lead_paths([part])[0].tolist()
    assert lead_paths([]) == []
    assert lead_paths([np.zeros((0, 69))])[0].tolist() == []


def test_notes_of_both_lines() -> None:
    both = sounding(MELODY, BASS)
    lead, bass = lead_and_bass_notes([(both, times(both), 0)], times(both))
    for notes, line in ((lead, MELODY), (bass, BASS)):
        found = [(note.pitch, note.next_pitch) for note in notes]
        known = [(one[2], after[2]) for one, after in zip(line[:-1], line[1:], strict=True)]
        assert found == known
        for note, (start, end, _, _) in zip(notes, line, strict=False):
            assert note.onset_s == pytest.approx(start, abs=0.08)
            assert note.interval_s == pytest.approx(end - start, abs=0.1)


@pytest.mark.parametrize("shift", [3, -3])
def test_a_transposed_recording_is_read_at_its_own_pitches(shift: int) -> None:
    here = sounding([(0.0, 2.0, 72, -20.0)])
    there = sounding([(0.0, 2.0, 72 + shift, -20.0)])
    alone = joint_weights([(here, times(here), 0)])
    weights = joint_weights([(here, times(here), 0), (there, times(there), shift)])
    inside = slice(10, 90)
    assert set(weights[inside].argmax(axis=1)) == {72 - LOWEST_COMB}
    assert weights[inside, 72 - LOWEST_COMB].min() > 1.8 * alone[inside, 72 - LOWEST_COMB].min()
    moved = joint_weights([(there, times(there), shift)])
    emptied = moved[:, -shift:] if shift > 0 else moved[:, :-shift]
    assert not emptied.any()


@pytest.mark.parametrize(
    ("grids", "semitones", "cents", "shift"),
    [((0, 0), 5, 0, 5), ((0, 0), -7, 20, -7), ((10, -45), 0, 60, 1), ((0, 40), 0, 40, 0)],
)
def test_semitones_between_the_grids(
    grids: tuple[float, float], semitones: int, cents: float, shift: int
) -> None:
    # A tone 60 cents up on a grid that lies 55 cents lower is 115 cents higher on it.
    reference, candidate = (SimpleNamespace(grid_tuning_cents=grid) for grid in grids)
    assert grid_shift(reference, candidate, semitones, cents) == shift  # type: ignore[arg-type]


def test_cells_of_a_line() -> None:
    cells = voice_cells(np.array([60, 0, 100]), partials=4)
    assert np.flatnonzero(cells[0]).tolist() == [32, 44, 51, 56]
    assert not cells[1].any()
    assert np.flatnonzero(cells[2]).tolist() == [72, 84]
    assert voice_cells(np.array([60])).sum() == 6


def test_partials_clear_of_their_neighbours() -> None:
    # From 300 Hz up, D4 = 62 is 293.7 Hz; the short spectra reach up to pitch 104.
    assert (partial_bands(60) + LOWEST_ONSET).tolist() == [72, 79, 84, 88, 91, 94, 96, 98, 100]
    assert (partial_bands(63) + LOWEST_ONSET).tolist()[0] == 63
    assert (partial_bands(90) + LOWEST_ONSET).tolist() == [90, 102]


def test_rise_at_an_onset() -> None:
    one = sounding([(1.0, 2.0, 72, -20.0)])
    rise = attack_strength(one, 72, np.array([0.7, 1.0, 1.5, 2.0]))
    assert rise.tolist() == [0, 12, 0, -12]
    # 6 dB more in every partial, struck again.
    again = sounding([(0.5, 1.0, 72, -20.0), (1.0, 2.0, 72, -14.0)])
    assert attack_strength(again, 72, np.array([1.0]))[0] == pytest.approx(6.0, abs=0.1)


@pytest.mark.parametrize("off_s", [-0.08, 0.0, 0.08])
def test_onset_near_the_place_where_it_is_expected(off_s: float) -> None:
    one = sounding([(1.0, 2.0, 72, -20.0)])
    # The steepest rise is taken to lie 20 ms behind the onset; a step rises alike for 60 ms, and
    # of those the part nearer to the expected place is taken.
    near = 0.012 if off_s == 0 else 0.032
    assert refined_onset(one, 72, 1.0 + off_s, 0.0) == pytest.approx(0.98, abs=near)
    assert refined_onset(one, 72, 1.06 + off_s, 0.06) == pytest.approx(0.98, abs=near)
    assert refined_onset(one, 72, 1.5, 0.06) == 1.44  # nothing rises there


def runs(*lengths: tuple[int, float]) -> tuple[npt.NDArray[np.int64], FloatArray]:
    path = np.concatenate([np.full(round(s * SEMITONE_RATE_HZ), pitch) for pitch, s in lengths])
    return path, np.arange(len(path)) / SEMITONE_RATE_HZ


def test_a_path_is_cut_where_its_pitch_changes() -> None:
    quiet = sounding([(8.0, 9.0, 100, -20.0)])
    path, frame_s = runs((60, 0.5), (64, 0.2), (62, 1.0), (65, 4.2), (67, 0.5), (69, 0.1))
    found = line_notes(path, frame_s, [(quiet, frame_s, 0)])
    # 0.2 s is too short for a note, 4.2 s too long; what follows 67 is too short to follow it.
    assert [(note.pitch, note.next_pitch) for note in found] == [(60, 64), (62, 65)]
    assert found[1] == Note(62, 65, pytest.approx(0.7), pytest.approx(1.7))  # type: ignore[arg-type]


@pytest.mark.parametrize(("rest_s", "pitches"), [(0.4, [60, 62]), (1.2, [62])])
def test_short_rests_belong_to_the_note_before(rest_s: float, pitches: list[int]) -> None:
    quiet = sounding([(8.0, 9.0, 100, -20.0)])
    path, frame_s = runs((60, 0.5), (0, rest_s), (62, 0.6), (64, 0.6))
    found = line_notes(path, frame_s, [(quiet, frame_s, 0)])
    assert [note.pitch for note in found] == pitches
    if len(found) == 2:
        assert found[0].interval_s == pytest.approx(0.5 + rest_s)


def test_a_pitch_that_is_struck_again_is_two_notes() -> None:
    again = sounding([(0.0, 0.55, 72, -20.0), (0.6, 1.2, 72, -20.0), (1.2, 2.0, 74, -20.0)])
    path, frame_s = runs((72, 1.2), (74, 0.8))
    first, second = line_notes(path, frame_s, [(again, frame_s, 0)])
    assert first.repeated
    assert not second.repeated
    assert first.next_s == second.onset_s == pytest.approx(0.6, abs=0.03)


def test_a_long_piece_is_heard_in_ten_minutes_spread_over_it() -> None:
    minute = round(60 * SEMITONE_RATE_HZ)
    assert stretches(minute) == [slice(0, minute)]
    assert stretches(minute + minute // 5) == [slice(0, minute + minute // 5)]
    assert stretches(2 * minute) == [slice(0, minute), slice(minute, 2 * minute)]
    long = stretches(30 * minute)
    assert len(long) == 10
    assert long[0].start == 0
    assert long[-1] == slice(29 * minute, 30 * minute)
