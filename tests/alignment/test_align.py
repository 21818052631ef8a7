"""Alignment on made-up music with known maps.

The tolerances for another performance follow the published state of the art: a median of
20 ms with under 1 % failures (Dixon and Widmer, ISMIR 2005); scores by mir_eval's alignment
measures. Same take: cross-correlation finds the sample (check by construction).
"""

from __future__ import annotations

import mir_eval
import numpy as np
import pytest
import soundfile
import soxr

import mixcompare
from mixcompare.recording import Recording
from mixcompare.timemap import TimeMap
from tests import synthetic
from tests.operations import STRINGS
from tests.synthetic import RATE_HZ


def recording(samples: np.ndarray, rate_hz: int = RATE_HZ) -> Recording:
    return Recording.from_array(samples, rate_hz)


@pytest.fixture(scope="module")
def piece() -> np.ndarray:
    return synthetic.play(3)


def delayed(samples: np.ndarray, delay_s: float) -> np.ndarray:
    """Shift by any part of a sample, exactly, in the spectrum."""
    count = len(samples) + int(delay_s * RATE_HZ) + 2048
    spectrum = np.fft.rfft(samples, count, axis=0)
    frequency = np.fft.rfftfreq(count, 1 / RATE_HZ)
    return np.fft.irfft(
        spectrum * np.exp(-2j * np.pi * frequency * delay_s)[:, None], count, axis=0
    )


@pytest.mark.parametrize("delay_s", [0.0, 0.3512345, 2.0000071])
def test_same_take_offset_to_five_microseconds(piece: np.ndarray, delay_s: float) -> None:
    alignment = mixcompare.align(recording(piece), recording(delayed(piece, delay_s)))
    assert alignment.relation == "same_take"
    assert alignment.offset_s == pytest.approx(delay_s, abs=5e-6)
    assert alignment.drift_ppm == pytest.approx(0.0, abs=0.05)
    assert alignment.polarity == 1


def test_same_take_drift_and_polarity(piece: np.ndarray) -> None:
    drift_ppm = 80.0
    slower = soxr.resample(piece, 1e6, 1e6 * (1 + drift_ppm * 1e-6), quality="VHQ")
    alignment = mixcompare.align(recording(piece), recording(-slower))
    assert alignment.relation == "same_take"
    assert alignment.drift_ppm == pytest.approx(drift_ppm, abs=0.5)
    assert alignment.polarity == -1


def test_exchanged_channels_are_said(piece: np.ndarray) -> None:
    alignment = mixcompare.align(recording(piece), recording(piece[:, ::-1]))
    assert alignment.relation == "same_take"
    assert alignment.channels_swapped is True


def test_same_take_in_another_room_and_balance(piece: np.ndarray) -> None:
    other = synthetic.in_room(synthetic.play(3, gains_db={"melody": 5, "bass": -4}), 2.0, -3)
    alignment = mixcompare.align(recording(piece), recording(delayed(other, 0.1234567)))
    assert alignment.relation == "same_take"
    assert alignment.offset_s == pytest.approx(0.1234567, abs=30e-6)


@pytest.mark.parametrize("moved", [("melody",), ("pad", "bass")])
@pytest.mark.parametrize("later_ms", [3.0, 12.0])
def test_moved_stem_is_said_with_its_delay(moved: tuple[str, ...], later_ms: float) -> None:
    names = list(synthetic.score(5))
    stems = {
        name: synthetic.play(5, gains_db={other: -120.0 for other in names if other != name})
        for name in names
    }
    delay = round(later_ms * 1e-3 * RATE_HZ)
    whole = np.sum(list(stems.values()), axis=0)
    part = np.sum([stems[name] for name in moved], axis=0)
    shifted = np.concatenate([np.zeros((delay, 2)), part])[: len(part)]
    alignment = mixcompare.align(recording(whole), recording(whole - part + shifted))
    assert alignment.relation == "same_take"
    assert alignment.offset_s == pytest.approx(0.0, abs=2e-5)
    (warning,) = alignment.warnings
    assert f"{later_ms:.1f} ms later" in warning
    assert alignment.uncertainty_ms >= later_ms


def test_another_room_or_balance_is_not_several_arrivals(piece: np.ndarray) -> None:
    other = synthetic.in_room(synthetic.play(3, gains_db={"melody": 5, "bass": -4}), 2.0, -3)
    assert mixcompare.align(recording(piece), recording(other)).warnings == ()


def test_band_is_wider_where_a_note_is_held() -> None:
    """A held note: the candidate stands still for two seconds in the middle."""
    first = synthetic.play(3, performance=1)
    second = synthetic.play(3, performance=2, scatter_s=0.006)
    at = int(7.2 * RATE_HZ)
    rng = np.random.default_rng(0)
    piece_of = second[at - int(0.3 * RATE_HZ) : at]
    held = np.concatenate([piece_of * rng.uniform(0.9, 1.0) for _ in range(7)])
    long = np.concatenate([second[:at], held, second[at:]])
    alignment = mixcompare.align(recording(first), recording(long))
    assert alignment.relation == "same_passage"
    near = alignment.time_map.uncertainty_ms(np.array([7.2]))[0]
    far = np.median(alignment.time_map.uncertainty_ms(np.arange(1.0, 5.0, 0.5)))
    assert near > 2 * far


@pytest.mark.parametrize("beat_s", [0.54, 0.66])
def test_other_performance_below_twenty_milliseconds(beat_s: float) -> None:
    first = synthetic.play(3, performance=1, scatter_s=0.008, scatter_db=0.8)
    second = synthetic.play(
        3, performance=2, scatter_s=0.008, scatter_db=0.8, beat_s=beat_s, a4_hz=443
    )
    alignment = mixcompare.align(recording(first), recording(second))
    assert alignment.relation == "same_passage"
    assert alignment.transposition_semitones == 0
    assert alignment.tuning_cents == pytest.approx(11.76, abs=2.5)
    onsets = np.array(sorted({tone.start_s for tone in synthetic.score(3)["figure"]}))
    played = np.array(
        sorted({tone.start_s for tone in synthetic.score(3, beat_s=beat_s)["figure"]})
    )
    mapped = alignment.time_map.to_candidate(onsets)
    median_s, mean_s = mir_eval.alignment.absolute_error(played, mapped)
    assert median_s < 0.02
    assert mean_s < 0.03
    assert alignment.tempo_ratio == pytest.approx(beat_s / 0.6, rel=0.02)


def test_transposition_is_found() -> None:
    first = synthetic.play(4, performance=1)
    second = synthetic.play(4, performance=2, a4_hz=440 * 2 ** (-3 / 12), beat_s=0.57)
    alignment = mixcompare.align(recording(first), recording(second))
    assert alignment.relation == "same_passage"
    assert alignment.transposition_semitones == -3


def test_excerpt_is_placed() -> None:
    whole = synthetic.play(5, bars=12, performance=1)
    part = synthetic.play(5, bars=12, performance=2, scatter_s=0.006)
    begin_s = 10.0
    cut = part[int(begin_s * RATE_HZ) : int((begin_s + 11) * RATE_HZ)]
    alignment = mixcompare.align(recording(whole), recording(cut))
    assert alignment.relation == "same_passage"
    middle = float(alignment.time_map.to_reference(5.0))
    assert middle == pytest.approx(begin_s + 5.0, abs=0.05)


def test_other_music_is_refused() -> None:
    refused = [
        mixcompare.align(
            recording(synthetic.play(seed)), recording(synthetic.play(seed + 20, beat_s=0.55))
        ).relation
        for seed in range(6)
    ]
    assert refused == ["unrelated"] * 6


def test_map_of_the_users_own_is_taken(piece: np.ndarray) -> None:
    given = TimeMap(np.array([0.0, 5.0, 10.0]), np.array([1.0, 6.5, 11.0]))
    alignment = mixcompare.align(recording(piece), recording(piece), time_map=given)
    assert alignment.time_map is given


def test_real_take_with_known_offset() -> None:
    samples, rate_hz = soundfile.read(STRINGS)
    shift = 12345
    alignment = mixcompare.align(
        recording(samples, rate_hz), recording(0.5 * samples[shift:], rate_hz)
    )
    assert alignment.relation == "same_take"
    assert alignment.offset_s == pytest.approx(-shift / rate_hz, abs=5e-6)
