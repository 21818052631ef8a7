"""Features: known powers in the right band, channel and frame, at the right time; kept and read."""

from __future__ import annotations

from dataclasses import fields
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from scipy import signal

from mixcompare.audio.recording import Recording
from mixcompare.features import (
    ANALYSIS_RATE_HZ,
    BAND_RATE_HZ,
    HIGHEST_SEMITONE,
    LOWEST_ONSET,
    LOWEST_SEMITONE,
    ONSET_RATE_HZ,
    SEMITONE_RATE_HZ,
    WAVEFORM_SCALE,
    AlignmentFeatures,
    Features,
    usable_band_hz,
)
from mixcompare.features.frames import Rows
from mixcompare.features.model import common_bands
from mixcompare.standards import iec61260

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 44_100


def features_of(samples: npt.ArrayLike, rate_hz: int = RATE_HZ) -> Features:
    return Features.of(Recording.from_array(samples, rate_hz))


def sine(frequency_hz: float, seconds: float = 3.0, phase: float = 0.0) -> FloatArray:
    """At -20 dBFS."""
    time_s = np.arange(round(seconds * RATE_HZ)) / RATE_HZ
    return np.asarray(0.1 * np.sin(2 * np.pi * frequency_hz * time_s + phase))


@pytest.mark.parametrize("frequency_hz", [63.1, 500.0, 794.3, 1000.0, 3981.0, 12_590.0])
@pytest.mark.parametrize("channel", [0, 1])
def test_a_tone_lies_in_its_band_and_channel(frequency_hz: float, channel: int) -> None:
    # Mid-bands of IEC 61260-1:2014, clause 5.2; a sine of amplitude 0.1 has 0.005.
    wave = np.zeros((3 * RATE_HZ, 2))
    wave[:, channel] = sine(frequency_hz)
    power = features_of(wave).band_power
    assert power.shape == (76, 31, 2)
    band = int(np.argmin(np.abs(np.log(iec61260.THIRD_OCTAVE_CENTRES_HZ / frequency_hz))))
    middle = power[10:-10].mean(axis=0)
    assert 10 * np.log10(middle[band, channel] / 0.005) == pytest.approx(0.0, abs=0.05)
    assert np.delete(middle[:, channel], band).max() < 1e-3 * middle[band, channel]
    assert middle[:, 1 - channel].max() < 1e-9


def test_white_noise_has_equal_power_per_hertz(rng: np.random.Generator) -> None:
    deviation = 0.1
    noise = deviation * rng.standard_normal((6 * RATE_HZ, 2))
    power = features_of(noise).band_power.mean(axis=(0, 2))
    edges = iec61260.THIRD_OCTAVE_EDGES_HZ
    expected = deviation**2 * np.diff(edges) / (RATE_HZ / 2)
    away_db = 10 * np.log10(power / expected)
    assert np.abs(away_db[10:30]).max() < 0.35  # the last band reaches beyond half the rate
    assert np.abs(away_db[3:10]).max() < 1.5
    assert away_db[10:30].mean() == pytest.approx(0.0, abs=0.06)


@pytest.mark.parametrize("frequency_hz", [250.0, 2000.0])
@pytest.mark.parametrize(
    ("shift_deg", "expected"),
    [(0.0, 1.0), (90.0, -1.0j), (-90.0, 1.0j), (180.0, -1.0), (60.0, 0.5 - 0.866j)],
)
def test_cross_power_tells_which_channel_leads(
    frequency_hz: float, shift_deg: float, expected: complex
) -> None:
    # Left times conj(right): a right channel that leads by 90 degrees gives -i.
    shift = np.deg2rad(shift_deg)
    wave = np.column_stack([sine(frequency_hz), sine(frequency_hz, phase=shift)])
    features = features_of(wave)
    band = int(np.argmin(np.abs(np.log(iec61260.THIRD_OCTAVE_CENTRES_HZ / frequency_hz))))
    cross = features.band_cross[10:-10, band].mean()
    assert cross / 0.005 == pytest.approx(expected, abs=0.01)


@pytest.mark.parametrize("pitch", [45, 69])  # of the long window and of the middle one
@pytest.mark.parametrize(("left", "right"), [(1.0, 0.0), (0.5, 1.0), (1.0, -1.0), (-0.2, 0.7)])
def test_the_image_of_a_semitone_is_that_of_its_tone(pitch: int, left: float, right: float) -> None:
    # By definition: right squared less left squared, and twice left times right.
    tone = sine(440 * 2 ** ((pitch - 69) / 12))
    features = features_of(np.column_stack([left * tone, right * tone]))
    column = pitch - LOWEST_SEMITONE
    total = features.semitone_power[20:-20, column]
    image = features.semitone_image[20:-20, column] / total[:, None]
    whole = left**2 + right**2
    assert features.semitone_image.shape == (*features.semitone_power.shape, 3)
    assert image[:, 0] == pytest.approx((right**2 - left**2) / whole, abs=1e-4)
    assert image[:, 1] == pytest.approx(2 * left * right / whole, abs=1e-4)
    assert image[:, 2] == pytest.approx(0.0, abs=1e-4)


@pytest.mark.parametrize("pitch", [45, 69])
def test_the_image_of_a_late_channel_turns_the_cross_power(pitch: int) -> None:
    # Left times the conjugate of right, which comes an eighth of a cycle later: cos and sin of 45
    # degrees.
    frequency_hz = 440 * 2 ** ((pitch - 69) / 12)
    time_s = np.arange(3 * RATE_HZ) / RATE_HZ
    left, right = (np.sin(2 * np.pi * frequency_hz * time_s - turn) for turn in (0, np.pi / 4))
    features = features_of(0.1 * np.column_stack([left, right]))
    column = pitch - LOWEST_SEMITONE
    image = features.semitone_image[20:-20, column] / features.semitone_power[20:-20, column, None]
    assert image[:, 1] == pytest.approx(np.cos(np.pi / 4), abs=1e-3)
    assert image[:, 2] == pytest.approx(np.sin(np.pi / 4), abs=1e-3)


def test_onsets_fall_on_their_frames() -> None:
    # Silence, then from 2.0 s on a tone: half of the power stands at the frame of 2.0 s itself.
    wave = np.concatenate([np.zeros(2 * RATE_HZ), sine(1046.5, 2.0)])
    features = features_of(np.column_stack([wave, wave]))
    band = iec61260.NOMINAL_HZ.index(1000)
    pitch = 84
    rows = (
        (features.band_power[:, band].sum(axis=1), BAND_RATE_HZ),
        (features.semitone_power[:, pitch - LOWEST_SEMITONE], SEMITONE_RATE_HZ),
        (features.onset_power[:, pitch - LOWEST_ONSET], ONSET_RATE_HZ),
    )
    for power, rate_hz in rows:
        level = power / np.median(power[round(3 * rate_hz) :])
        assert level[round(1.8 * rate_hz)] < 1e-6
        assert level[round(2.2 * rate_hz)] == pytest.approx(1.0, abs=0.01)
        crossing = np.flatnonzero(level > 0.5)[0]
        # Amplitude 0.5 (power 0.25) at the edge of a symmetric window, 0.5 a little later.
        assert crossing / rate_hz == pytest.approx(2.01, abs=0.6 / rate_hz + 0.012)
    step = features.k_power[:, 0] / features.k_power[350, 0]
    assert np.flatnonzero(step > 0.3)[0] == 200
    assert np.abs(features.waveform[: round(1.99 * ANALYSIS_RATE_HZ)]).max() < 1.0


@pytest.mark.parametrize("pitch", [40, 56, 57, 69, 88, 104])
def test_a_pitch_lies_in_its_semitone(pitch: int) -> None:
    wave = sine(440 * 2 ** ((pitch - 69) / 12))
    features = features_of(np.column_stack([wave, 0 * wave]))
    assert features.semitone_power.shape == (151, HIGHEST_SEMITONE - LOWEST_SEMITONE + 1)
    middle = features.semitone_power[20:-20].mean(axis=0)
    assert int(np.argmax(middle)) == pitch - LOWEST_SEMITONE
    # The neighbouring semitones take their part of the window's main lobe, three bins either way.
    near = middle[max(pitch - LOWEST_SEMITONE - 3, 0) : pitch - LOWEST_SEMITONE + 4].sum()
    assert 10 * np.log10(near / 0.005) == pytest.approx(0.0, abs=0.3)
    if pitch >= LOWEST_ONSET:
        onset = features.onset_power[40:-40].mean(axis=0)
        assert int(np.argmax(onset)) == pitch - LOWEST_ONSET


@pytest.mark.parametrize("cents", [-40.0, -12.0, 0.0, 20.0])
def test_the_grid_follows_the_tuning(cents: float) -> None:
    wave = sum(sine(440 * 2 ** ((12 * octave + cents / 100) / 12)) for octave in range(-1, 3))
    features = features_of(np.column_stack([wave, wave]))
    assert features.grid_tuning_cents == pytest.approx(cents, abs=1.5)
    angle = np.angle(features.tuning_phasor[1]) / (2 * np.pi) * 100
    assert angle == pytest.approx(cents, abs=1.5)


def test_peaks_and_waveform() -> None:
    wave = np.column_stack([0.3 * sine(200.0) / 0.1, 0.2 * sine(200.0) / 0.1])
    features = features_of(wave)
    assert features.sample_peak == pytest.approx(0.3, abs=1e-3)
    assert features.true_peak == pytest.approx(0.3, abs=3e-3)
    assert len(features.waveform) == 3 * ANALYSIS_RATE_HZ
    middle = features.waveform[6000:-6000].astype(np.float64) / WAVEFORM_SCALE
    assert np.abs(middle).max() == pytest.approx(0.25, abs=2e-3)
    assert not features.is_mono
    assert features_of(wave[:, 0]).is_mono
    assert features_of(np.repeat(wave[:, :1], 2, axis=1)).is_mono


@pytest.mark.parametrize(
    ("runs", "places"), [((2,), 0), ((3,), 1), ((4, 3, 2), 2), ((12, 12, 12), 3)]
)
def test_three_samples_at_full_scale_are_clipped(runs: tuple[int, ...], places: int) -> None:
    wave = sine(100.0)
    for number, run in enumerate(runs):
        wave[5000 * (number + 1) :][:run] = (-1.0) ** number
    features = features_of(np.column_stack([0 * wave, wave]))
    assert features.clipped_places == places
    assert any("clipped" in text for text in features.warnings) == (places > 0)


@pytest.mark.parametrize("cutoff_hz", [6000.0, 11_000.0])
def test_a_low_pass_ends_the_usable_band(cutoff_hz: float, rng: np.random.Generator) -> None:
    noise = 0.1 * rng.standard_normal((4 * RATE_HZ, 2))
    swell = 1 + 0.9 * np.sin(2 * np.pi * np.arange(len(noise)) / RATE_HZ)[:, np.newaxis]
    sos = signal.ellip(12, 0.1, 90, cutoff_hz, fs=RATE_HZ, output="sos")
    limited = features_of(signal.sosfilt(sos, noise * swell, axis=0))
    assert limited.usable_band_hz[1] == pytest.approx(cutoff_hz, rel=0.05)
    assert limited.usable_band_hz[0] == 0.0
    assert (iec61260.THIRD_OCTAVE_EDGES_HZ[1:][limited.usable_bands] <= 1.02 * cutoff_hz).all()
    assert limited.usable_bands.sum() >= np.sum(
        iec61260.THIRD_OCTAVE_EDGES_HZ[1:] < 0.95 * cutoff_hz
    )
    assert any("kHz" in text for text in limited.warnings)
    whole = features_of(noise * swell)
    assert whole.usable_band_hz == pytest.approx((0.0, 0.97 * RATE_HZ / 2), rel=0.1)
    for both in ((limited, whole), (whole, limited)):
        assert common_bands(*both).tolist() == limited.usable_bands.tolist()


def test_bands_that_do_not_move_carry_no_music(rng: np.random.Generator) -> None:
    # Below 100 Hz and above 5 kHz a steady hum and hiss of 40 and 45 dB under the music.
    frames, band = 400, np.arange(31)
    swell = 10 ** (2 * np.sin(np.arange(frames) / 20))[:, np.newaxis]
    power = 1e-3 * np.where((band >= 7) & (band <= 24), swell, 1e-2)[:, :, np.newaxis]
    power = np.repeat(power, 2, axis=2).astype(np.float32)
    flat = np.full(1025, 1e-6)
    low, high = usable_band_hz(flat, RATE_HZ, power)
    edges = iec61260.THIRD_OCTAVE_EDGES_HZ
    assert (low, high) == pytest.approx((edges[7], edges[25]))
    # Where nothing moves, steadiness tells nothing.
    steady = np.full_like(power, 1e-3)
    assert usable_band_hz(flat, RATE_HZ, steady)[0] == 0.0


def test_what_was_saved_is_read(tmp_path: Path, rng: np.random.Generator) -> None:
    features = features_of(0.1 * rng.standard_normal((2 * RATE_HZ, 2)))
    path = tmp_path / "features.npz"
    features.save(path)
    read = Features.load(path)
    for entry in fields(Features):
        kept, again = getattr(features, entry.name), getattr(read, entry.name)
        assert type(again) is type(kept) or isinstance(kept, np.floating), entry.name
        assert np.array_equal(kept, again), entry.name


def test_rows_outgrow_their_room_and_end_with_the_last_that_is_wanted(
    rng: np.random.Generator,
) -> None:
    """Room for the first rows alone; what comes beyond the length that is claimed is left."""
    values = rng.standard_normal((13, 4))
    rows = Rows(np.zeros((2, 4)), most=11)
    for block in np.array_split(values, [1, 4, 9]):
        rows.add(block)
    assert np.array_equal(rows.filled, values[:11])
    rows.add(values)
    assert np.array_equal(rows.filled, values[:11])


def test_the_light_pass_finds_the_same(rng: np.random.Generator) -> None:
    samples = 0.1 * rng.standard_normal((2 * RATE_HZ, 2))
    light = AlignmentFeatures.of(Recording.from_array(samples, RATE_HZ))
    full = features_of(samples)
    assert np.array_equal(light.band_power, full.band_power[:, :16])
    assert np.array_equal(light.semitone_power, full.semitone_power)
    assert np.array_equal(light.onset_power, full.onset_power)
    assert light.grid_tuning_cents == full.grid_tuning_cents
