"""Where a recording dies away, and whether decay times and their intervals are right."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.aspects.room import freedecay
from mixcompare.aspects.room.aspect import analyzer
from mixcompare.aspects.room.freedecay import (
    fall_of,
    free_falls,
    impulse_start,
    in_octave,
    octave_decays,
)
from mixcompare.audio.recording import Recording
from mixcompare.features import ANALYSIS_RATE_HZ, BAND_RATE_HZ, WAVEFORM_SCALE, Features

FloatArray = npt.NDArray[np.float64]

RATE_HZ = 24_000


@pytest.fixture(scope="module")
def plain() -> Features:
    noise = np.random.default_rng(1).standard_normal((RATE_HZ, 2))
    return Features.of(Recording.from_array(0.1 * noise, RATE_HZ))


def with_level(plain: Features, level_db: FloatArray) -> Features:
    """Features whose mid bands follow a level, 25 frames a second."""
    power = np.zeros((len(level_db), 31, 2), np.float32)
    power[:, 13:22] = (10 ** (level_db / 10) / 18)[:, None, None]
    return replace(plain, band_power=power)


def course(*points: tuple[float, float]) -> FloatArray:
    """Level through points of (second, dB)."""
    time_s, level_db = np.array(points).T
    return np.interp(np.arange(0, time_s[-1], 1 / BAND_RATE_HZ), time_s, level_db)


def test_a_fall_is_found_where_it_lies(plain: Features) -> None:
    level = course(
        (0, -20), (4, -20), (6, -70), (8, -70), (8.04, -20), (10, -20), (11, -28), (12, -28)
    )
    ((start_s, end_s),) = free_falls(with_level(plain, level))
    # 4 dB under the last loud moment; until the music comes back.
    assert start_s == pytest.approx(4.12, abs=0.06)
    assert end_s == pytest.approx(8.0, abs=0.06)


def test_two_stops_are_two_falls(plain: Features) -> None:
    level = course((0, -20), (3, -20), (5, -60), (5.04, -20), (9, -20), (11, -60), (12, -60))
    found = free_falls(with_level(plain, level))
    assert [round(start_s) for start_s, _ in found] == [3, 9]


@pytest.mark.parametrize(("depth_db", "count"), [(30, 0), (34, 0), (37, 1), (45, 1)])
def test_a_fall_goes_down_by_35_db(plain: Features, depth_db: float, count: int) -> None:
    level = course((0, -20), (4, -20), (6, -20 - depth_db), (8, -20 - depth_db))
    assert len(free_falls(with_level(plain, level))) == count


def test_a_held_note_that_fades_is_not_yet_the_fall(plain: Features) -> None:
    level = course((0, -20), (2, -20), (4, -25.5), (5, -60), (7, -75), (8, -75))
    ((start_s, _),) = free_falls(with_level(plain, level))
    assert start_s == pytest.approx(4.0, abs=0.1)


def test_sound_that_comes_back_by_more_than_3_db_ends_the_fall(plain: Features) -> None:
    hump = course((0, -20), (4, -20), (5, -45), (5.2, -40), (7, -75), (8, -75))
    assert free_falls(with_level(plain, hump)) == []
    ripple = course((0, -20), (4, -20), (5, -45), (5.2, -43), (7, -75), (8, -75))
    assert len(free_falls(with_level(plain, ripple))) == 1


def test_a_fall_may_be_short_and_the_next_sound_louder(plain: Features) -> None:
    level = course((0, -20), (4, -20), (4.3, -70), (4.4, -70), (4.44, -10), (6, -10))
    ((start_s, end_s),) = free_falls(with_level(plain, level))
    assert (start_s, end_s) == pytest.approx((4.04, 4.44), abs=0.06)


def response(decay_s: float, before_s: float, seed: int = 1) -> Features:
    rng = np.random.default_rng(seed)
    time = np.arange(int(1.4 * decay_s * RATE_HZ)) / RATE_HZ
    samples = rng.standard_normal((len(time), 2)) * 10 ** (-3 * time / decay_s)[:, None]
    quiet = np.zeros((int(before_s * RATE_HZ), 2))
    whole = np.concatenate([quiet, samples])
    return Features.of(Recording.from_array(0.5 * whole / np.abs(whole).max(), RATE_HZ))


def test_the_direct_sound_of_an_impulse_response() -> None:
    for before_s in (0.25, 0.6):
        assert impulse_start(response(1.0, before_s)) == pytest.approx(before_s, abs=0.005)


def test_music_and_steady_sound_are_no_impulse_response(plain: Features) -> None:
    assert impulse_start(plain) is None
    twice = response(0.8, 0.25)
    power = np.concatenate([twice.k_power, 0.1 * twice.k_power])
    assert impulse_start(replace(twice, k_power=power)) is None
    assert impulse_start(replace(twice, k_power=np.zeros((400, 2)))) is None


def test_octaves_pass_their_own_octave_only() -> None:
    # Butterworth's -3 dB at the edges, whose ratio is 2 (IEC 61260-1:2014, 5.2: an octave).
    time = np.arange(2 * ANALYSIS_RATE_HZ) / ANALYSIS_RATE_HZ
    for frequency_hz, level_db in ((1000, 0), (1000 * 2**0.5, -3.01), (1000 / 2**0.5, -3.01)):
        wave = np.sqrt(2) * np.sin(2 * np.pi * frequency_hz * time)
        passed = in_octave(wave, 1000.0)[ANALYSIS_RATE_HZ // 2 : -ANALYSIS_RATE_HZ // 2]
        assert 10 * np.log10(np.mean(passed**2)) == pytest.approx(level_db, abs=0.1)


def _octaves_of_their_own(seed: int, times_s: tuple[float, ...], length_s: float) -> FloatArray:
    """Decaying noise in which every octave from 125 Hz has its own decay time."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(length_s * ANALYSIS_RATE_HZ)) / ANALYSIS_RATE_HZ
    total = np.zeros(len(time))
    for octave_hz, decay_s in zip((125, 250, 500, 1000, 2000, 4000), times_s, strict=True):
        edges = [octave_hz / np.sqrt(2), octave_hz * np.sqrt(2)]
        sections = signal.butter(6, edges, "bandpass", fs=ANALYSIS_RATE_HZ, output="sos")
        band = signal.sosfiltfilt(sections, rng.standard_normal(len(time)))
        total += band / band.std() * 10 ** (-3 * time / decay_s)
    return total


def test_every_octave_has_its_own_decay_time() -> None:
    times_s = (1.2, 1.4, 1.7, 1.5, 1.2, 1.0)
    samples = _octaves_of_their_own(1, times_s, 3.0)
    told = [decay.t30_s for decay in octave_decays(samples)]
    # 10 %: the scatter of one realisation in the octaves with the fewest values.
    for ours, truth, near in zip(told, times_s, (0.15, 0.1, 0.08, 0.06, 0.05, 0.05), strict=True):
        assert ours == pytest.approx(truth, rel=near)
    assert freedecay.mid_time(octave_decays(samples)) == pytest.approx((1.7 + 1.5) / 2, rel=0.05)


def stopped(seed: int, decay_s: float) -> FloatArray:
    """Steady noise that stops in a diffuse room, at 12 kHz, from the stop on."""
    rng = np.random.default_rng([seed, 3])
    count = int(1.5 * decay_s * ANALYSIS_RATE_HZ)
    room = rng.standard_normal(count) * 10 ** (-3 * np.arange(count) / ANALYSIS_RATE_HZ / decay_s)
    source = rng.standard_normal(2 * count)
    source[count:] *= 1e-6
    heard = signal.fftconvolve(source, room)[count : 2 * count]
    return np.asarray(0.1 * heard / np.abs(heard).max())


def test_the_95_percent_interval_of_a_decay_time_holds_the_truth(
    plain: Features, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 80 rooms of 0.7 to 2.5 s, one stop of noise in each.
    monkeypatch.setattr("mixcompare.aspects.room.freedecay._is_noise", lambda *_: True)
    monkeypatch.setattr("mixcompare.aspects.room.aspect.impulse_start", lambda _: None)
    monkeypatch.setattr("mixcompare.aspects.room.freedecay.bent", lambda _: None)
    held = []
    for seed in range(80):
        decay_s = float(np.random.default_rng(seed).uniform(0.7, 2.5))
        samples = stopped(seed, decay_s)
        end_s = len(samples) / ANALYSIS_RATE_HZ
        monkeypatch.setattr(
            "mixcompare.aspects.room.aspect.free_falls", lambda _, end_s=end_s: [(0.0, end_s)]
        )
        waveform = (samples * WAVEFORM_SCALE).astype(np.float16)
        measured = analyzer.measure(replace(plain, waveform=waveform))
        assert measured.decay_time_s == pytest.approx(decay_s, rel=0.12)
        assert measured.decay_time_interval is not None
        low, high = measured.decay_time_interval
        held.append(low <= decay_s <= high)
    assert 0.92 <= np.mean(held) <= 0.99


def test_one_decay_that_bends(plain: Features) -> None:
    energy = 10 ** (-6 * np.arange(3 * ANALYSIS_RATE_HZ) / ANALYSIS_RATE_HZ / 2.0)
    early = 10 ** (-6 * np.arange(3 * ANALYSIS_RATE_HZ) / ANALYSIS_RATE_HZ / 0.5)
    noise = np.random.default_rng(3).standard_normal(len(energy))
    found = freedecay.bent(noise * np.sqrt(early + 0.02 * energy))
    assert found == (pytest.approx(0.5, rel=0.25), pytest.approx(2.0, rel=0.08))
    assert freedecay.bent(noise * np.sqrt(energy)) is None


OCTAVE_BANDS = np.arange(7, 25)
OCTAVE_SHARES = np.repeat([1.375, 1.225, 1.075, 0.925, 0.775, 0.625], 3)
"""Decay time of each octave from 125 Hz over that of the middle, and its third octaves."""


def of_music(plain: Features, decay_s: float, length_s: float, seed: int = 1) -> Features:
    """A second of tones, then every octave falls by itself, the higher the faster."""
    rng = np.random.default_rng(seed)
    time_s = np.arange(int((1 + length_s) * BAND_RATE_HZ)) / BAND_RATE_HZ - 1
    times_s = decay_s * np.interp(np.arange(31), OCTAVE_BANDS, OCTAVE_SHARES)
    fall = 10 ** (-6 * np.maximum(time_s, 0)[:, None] / times_s) + 1e-8
    chance = rng.chisquare(16, (len(time_s), 31, 2)) / 16
    power = (1e-3 * fall[:, :, None] * chance).astype(np.float32)
    tone = np.sin(2 * np.pi * 500 * np.arange(2 * ANALYSIS_RATE_HZ) / ANALYSIS_RATE_HZ)
    return replace(
        plain, band_power=power, waveform=(0.2 * tone * WAVEFORM_SCALE).astype(np.float16)
    )


@pytest.mark.parametrize("decay_s", [1.6, 2.4])
def test_the_end_of_music(plain: Features, decay_s: float) -> None:
    found = fall_of(of_music(plain, decay_s, 1.5 * decay_s), (1.0, 1 + 1.5 * decay_s))
    assert found is not None
    assert not found.is_noise
    assert not found.is_bound
    assert found.time_s == pytest.approx(decay_s, rel=0.05)
    assert [time_s is not None for time_s in found.octave_s] == [True] * 6
    for time_s, share in zip(found.octave_s, OCTAVE_SHARES[::3], strict=True):
        assert time_s == pytest.approx(share * decay_s, rel=0.08)


def test_a_fall_that_is_cut_short_tells_nothing(plain: Features) -> None:
    # T30's 30 dB take half of the decay time, after 0.3 s in which music stops.
    features = of_music(plain, 2.4, 3.6)
    assert fall_of(features, (1.0, 1.0 + 0.3 + 1.0)) is None
    assert fall_of(features, (1.0, 1.0 + 0.3 + 1.6)) is not None
