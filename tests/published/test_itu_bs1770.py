"""ITU-R BS.1770-5 (2023): filters, anchors, true peak, and two independent meters."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pyebur128
import pyloudnorm
import pytest
import soundfile
from scipy import signal

from mixcompare.aspects.loudness import analyzer
from mixcompare.audio.recording import Recording
from mixcompare.features import Features
from mixcompare.standards import bs1770, tech3342
from tests.operations import HALL, STRINGS

FloatArray = npt.NDArray[np.float64]

REAL_MUSIC = Path(__file__).parent.parent / "data" / "string_orchestra_brahms_hd5_pd.ogg"
"""The opening of Brahms's Hungarian Dance no. 5 by a string orchestra, in the public domain."""

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 192_000)

# BS.1770-5 Annex 1, Table 1 (shelf) and Table 2 (high pass), 48 kHz: b0 b1 b2 a0 a1 a2.
TABLES_1_AND_2 = [
    [1.53512485958697, -2.69169618940638, 1.19839281085285, 1, -1.69065929318241, 0.73248077421585],
    [1.0, -2.0, 1.0, 1, -1.99004745483398, 0.99007225036621],
]

# Gain of both stages at 48 kHz, from the coefficients above: frequency in Hz, gain in dB.
GAIN_DB = {
    20: -13.28, 25: -10.39, 31.5: -7.79, 40: -5.57, 50: -3.93, 63: -2.66, 100: -1.13, 200: -0.27,
    500: 0.04, 997: 0.691, 1000: 0.698, 1500: 2.04, 2000: 3.07, 4000: 3.97, 8000: 4.04,
    16000: 4.04,
}  # fmt: skip


def steps(samples: npt.ArrayLike, rate_hz: int, block: int | None = None) -> FloatArray:
    """K-weighted steps of samples of shape (n, 2), fed in blocks."""
    data = np.asarray(samples, np.float32)
    meter = bs1770.KWeightedPower(rate_hz)
    size = block or len(data)
    for first in range(0, len(data), size):
        meter.push(data[first : first + size])
    return meter.result()


def tone(
    level_dbfs: float, seconds: float, rate_hz: int = 48_000, frequency_hz: float = 997.0
) -> FloatArray:
    wave = np.sin(2 * np.pi * frequency_hz * np.arange(round(seconds * rate_hz)) / rate_hz)
    return np.repeat((10 ** (level_dbfs / 20) * wave)[:, np.newaxis], 2, axis=1)


def gain_db(rate_hz: float, frequencies_hz: list[float]) -> FloatArray:
    sos = bs1770.k_weighting_sos(rate_hz)
    _, response = signal.sosfreqz(sos, worN=frequencies_hz, fs=rate_hz)
    return np.asarray(20 * np.log10(np.abs(response)))


def test_coefficients_are_those_of_tables_1_and_2() -> None:
    assert np.allclose(bs1770.k_weighting_sos(48_000), TABLES_1_AND_2, rtol=0, atol=1e-9)


def test_gain_curve_at_48_khz() -> None:
    expected = np.array(list(GAIN_DB.values()))
    assert np.allclose(gain_db(48_000, list(GAIN_DB)), expected, rtol=0, atol=0.01)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_gain_curve_at_other_rates(rate_hz: int) -> None:
    # Annex 1 gives coefficients for 48 kHz and asks for the same response at other rates.
    expected = np.array(list(GAIN_DB.values()))
    assert np.allclose(gain_db(rate_hz, list(GAIN_DB)), expected, rtol=0, atol=0.01)


@pytest.mark.parametrize("rate_hz", RATES_HZ)
def test_full_scale_sine_in_one_channel_reads_minus_3_01(rate_hz: int) -> None:
    # Annex 1: a 0 dB FS, 997 Hz sine at the left, centre or right input gives -3.01 LKFS.
    samples = tone(0.0, 3.0, rate_hz) * [1.0, 0.0]
    assert bs1770.integrated_lufs(steps(samples, rate_hz)) == pytest.approx(-3.01, abs=0.01)


def test_the_same_in_both_channels_reads_zero() -> None:
    assert bs1770.integrated_lufs(steps(tone(0.0, 3.0), 48_000)) == pytest.approx(0.0, abs=0.005)


def test_independent_channels_add_their_energies(rng: np.random.Generator) -> None:
    # Annex 1 sums energies: there is no term for correlation between channels.
    one, other = 0.1 * rng.standard_normal((2, 5 * 48_000))
    same = bs1770.integrated_lufs(steps(np.column_stack([one, one]), 48_000))
    apart = bs1770.integrated_lufs(steps(np.column_stack([one, other]), 48_000))
    assert apart == pytest.approx(same, abs=0.05)


def test_silence_has_no_loudness() -> None:
    assert bs1770.integrated_lufs(steps(np.zeros((48_000, 2)), 48_000)) == -np.inf


def test_absolute_gate() -> None:
    # Annex 1: blocks at or under -70 LKFS never count.
    quiet, loud = tone(-71.0, 10.0), tone(-69.5, 10.0)
    assert bs1770.integrated_lufs(steps(quiet, 48_000)) == -np.inf
    assert bs1770.integrated_lufs(steps(loud, 48_000)) == pytest.approx(-69.5, abs=0.02)


def test_a_short_tone_reads_like_a_long_one() -> None:
    # Annex 1: an incomplete last block is not used.
    short = bs1770.integrated_lufs(steps(tone(-23.0, 0.46), 48_000))
    long = bs1770.integrated_lufs(steps(tone(-23.0, 10.0), 48_000))
    assert short == pytest.approx(long, abs=0.01)


def varied(name: str, rng: np.random.Generator) -> tuple[FloatArray, int]:
    """Small stereo signals that differ in spectrum, dynamics, rate and gating."""
    rate_hz = {"noise 44.1": 44_100, "noise 96": 96_000}.get(name, 48_000)
    count = 8 * rate_hz
    noise = 0.1 * rng.standard_normal((count, 2))
    seconds = np.arange(count)[:, np.newaxis] / rate_hz
    if name == "steps":
        return noise * 10 ** (-np.floor(seconds) / 2), rate_hz
    if name == "pulses":
        return noise * (seconds % 0.9 < 0.13), rate_hz
    if name == "rumble":
        low = signal.butter(2, 60, fs=rate_hz, output="sos")
        return signal.sosfilt(low, noise, axis=0), rate_hz
    if name == "hiss":
        high = signal.butter(2, 6000, "high", fs=rate_hz, output="sos")
        return signal.sosfilt(high, noise, axis=0), rate_hz
    if name == "crescendo":
        return noise * 10 ** ((seconds - 8) * 6 / 20), rate_hz
    if name == "one side":
        return noise * [1.0, 0.02], rate_hz
    if name == "opposite":
        return noise[:, :1] * [1.0, -1.0], rate_hz
    return noise, rate_hz


NAMES = (
    "noise", "noise 44.1", "noise 96", "steps", "pulses", "rumble", "hiss", "crescendo",
    "one side", "opposite",
)  # fmt: skip


@pytest.mark.parametrize("name", NAMES)
def test_agrees_with_libebur128(name: str, rng: np.random.Generator) -> None:
    samples, rate_hz = varied(name, rng)
    data = np.ascontiguousarray(samples, np.float32)
    power = steps(data, rate_hz)
    integrated, loudness_range, short_term, momentary = libebur128(data, rate_hz)
    # libebur128 leaves its high pass unscaled at every rate: 0.021 dB low at 96 kHz.
    tolerance = 0.01 if rate_hz <= 48_000 else 0.025
    assert bs1770.integrated_lufs(power) == pytest.approx(integrated, abs=tolerance)
    assert coarse_range_lu(power) == pytest.approx(loudness_range, abs=0.02)
    assert largest(power, bs1770.SHORT_TERM_STEPS) == pytest.approx(short_term, abs=tolerance)
    assert largest(power, bs1770.MOMENTARY_STEPS) == pytest.approx(momentary, abs=tolerance)


def test_agrees_with_libebur128_on_a_real_take() -> None:
    agrees_with_libebur128(STRINGS)


def test_agrees_with_libebur128_on_a_real_hall(real_audio: Path) -> None:
    agrees_with_libebur128(real_audio / HALL)


def agrees_with_libebur128(path: Path) -> None:
    data, rate_hz = soundfile.read(path, dtype="float32", always_2d=True)
    power = steps(data, rate_hz)
    integrated, loudness_range, short_term, momentary = libebur128(data, rate_hz, every=10)
    assert bs1770.integrated_lufs(power) == pytest.approx(integrated, abs=0.02)
    assert coarse_range_lu(power) == pytest.approx(loudness_range, abs=0.02)
    assert largest(power, bs1770.SHORT_TERM_STEPS, 10) == pytest.approx(short_term, abs=0.02)
    assert largest(power, bs1770.MOMENTARY_STEPS, 10) == pytest.approx(momentary, abs=0.02)


def libebur128(
    data: npt.NDArray[np.float32], rate_hz: int, every: int = 1
) -> tuple[float, float, float, float]:
    """Integrated, range, and the largest short-term and momentary of an independent meter.

    The maxima are sought ``every`` so many steps of 10 ms.
    """
    mode = pyebur128.MeasurementMode
    meter = pyebur128.R128State(
        data.shape[1], rate_hz, mode.MODE_I | mode.MODE_LRA | mode.MODE_S | mode.MODE_M
    )
    hop = every * rate_hz // 100
    short_term, momentary = [], []
    for first in range(0, len(data), hop):
        chunk = data[first : first + hop]
        meter.add_frames(np.ascontiguousarray(chunk).reshape(-1), len(chunk))
        if first + hop > len(data):
            break
        if first + hop >= 3 * rate_hz:
            short_term.append(pyebur128.get_loudness_shortterm(meter))
        if first + hop >= 0.4 * rate_hz:
            momentary.append(pyebur128.get_loudness_momentary(meter))
    return (
        pyebur128.get_loudness_global(meter),
        pyebur128.get_loudness_range(meter),
        max(short_term, default=-np.inf),
        max(momentary, default=-np.inf),
    )


def coarse_range_lu(power: FloatArray) -> float:
    """Loudness range as libebur128 takes it: windows a second apart, percentiles by rank.

    Tech 3342 v4 asks for ten windows a second, which on music of a minute changes the range by up
    to some LU; so the windows and the gates are compared here, and the range itself by its cases.
    """
    windows = bs1770.window_powers(power, bs1770.SHORT_TERM_STEPS, hop=100)
    windows = windows[bs1770.to_lufs(windows) > bs1770.ABSOLUTE_GATE_LUFS]
    gate = bs1770.to_lufs(windows.mean()) + tech3342.GATE_LU
    kept = np.sort(bs1770.to_lufs(windows)[bs1770.to_lufs(windows) >= gate])
    low, high = (int((len(kept) - 1) * share + 0.5) for share in (0.10, 0.95))
    return float(kept[high] - kept[low])


def largest(power: FloatArray, window: int, every: int = 1) -> float:
    return float(bs1770.to_lufs(bs1770.window_powers(power, window, every).max()))


@pytest.mark.parametrize("name", ["noise", "noise 44.1", "hiss", "one side", "rumble"])
def test_agrees_with_pyloudnorm(name: str, rng: np.random.Generator) -> None:
    # Its "DeMan" filters are those of the standard; its default ones read 0.04 LU low.
    # It counts an incomplete last block, so the length is a whole number of steps.
    samples, rate_hz = varied(name, rng)
    meter = pyloudnorm.Meter(rate_hz, filter_class="DeMan")
    assert bs1770.integrated_lufs(steps(samples, rate_hz)) == pytest.approx(
        meter.integrated_loudness(samples), abs=0.01
    )


def true_peak_db(samples: FloatArray, rate_hz: int = 48_000, block: int = 4_800) -> float:
    meter = bs1770.TruePeak(rate_hz)
    data = np.asarray(samples, np.float32)
    for first in range(0, len(data), block):
        meter.push(data[first : first + block])
    meter.push(np.zeros((0, 2), np.float32), last=True)
    return float(20 * np.log10(meter.peak))


@pytest.mark.parametrize("rate_hz", RATES_HZ)
@pytest.mark.parametrize("frequency_hz", [997.0, 19_997.0])
def test_true_peak_of_a_sine_is_its_amplitude(rate_hz: int, frequency_hz: float) -> None:
    # Annex 2: the worst under-read of n-fold oversampling is 20 log10 cos(pi f / n), f in parts
    # of the sample rate; twice at 96 kHz and above, four or five times below.
    samples = tone(-6.0, 1.0, rate_hz, frequency_hz)
    fade = np.sin(0.5 * np.pi * np.minimum(np.arange(len(samples)) / (0.05 * rate_hz), 1)) ** 2
    samples *= (fade * fade[::-1])[:, np.newaxis]
    factor = max(int(np.ceil(192_000 / rate_hz)), 2)
    under = 20 * np.log10(np.cos(np.pi * frequency_hz / rate_hz / factor))
    assert -6.0 + under - 0.02 < true_peak_db(samples, rate_hz) < -6.0 + 0.05


def test_true_peak_agrees_with_a_sixteenfold_fourier_interpolation(
    rng: np.random.Generator,
) -> None:
    low = signal.butter(6, 15_000, fs=48_000, output="sos")
    samples = signal.sosfiltfilt(low, 0.2 * rng.standard_normal((48_000, 2)), axis=0)
    samples *= np.hanning(len(samples))[:, np.newaxis] ** 0.25
    exact = 20 * np.log10(np.abs(signal.resample(samples, 16 * len(samples))).max())
    assert true_peak_db(samples) == pytest.approx(exact, abs=0.25)
    assert true_peak_db(samples) < exact + 0.05


# Loudness of a 997 Hz sine at -20 dBFS in one channel alone: -23.01 at weight 1 (Annex 1), 1.49 dB
# more at weight 1.41; nothing from the low-frequency effects. Order of the WAVE channel mask.
# Eight channels: Annex 3, where 1.41 holds between 60 and 120 degrees only (from memory).
FRONT, SURROUND, NONE = -23.01, -21.52, None
LAYOUTS: dict[int, tuple[float | None, ...]] = {
    1: (FRONT,),
    2: (FRONT, FRONT),
    3: (FRONT, FRONT, FRONT),
    4: (FRONT, FRONT, SURROUND, SURROUND),
    5: (FRONT, FRONT, FRONT, SURROUND, SURROUND),
    6: (FRONT, FRONT, FRONT, NONE, SURROUND, SURROUND),
    8: (FRONT, FRONT, FRONT, NONE, FRONT, FRONT, SURROUND, SURROUND),
}


@pytest.mark.parametrize("channels", LAYOUTS)
def test_every_channel_of_a_file_weighs_what_annex_1_says(channels: int, tmp_path: Path) -> None:
    path = tmp_path / "a.wav"
    wave = tone(-20.0, 1.0)[:, 0]
    for channel, expected in enumerate(LAYOUTS[channels]):
        samples = np.zeros((len(wave), channels))
        samples[:, channel] = wave
        soundfile.write(path, samples, 48_000, subtype="FLOAT")
        power = _power_of(path)
        assert power.shape == (100, channels)
        assert np.delete(power, channel, axis=1).max(initial=0.0) == 0.0
        told = bs1770.integrated_lufs(power)
        if expected is None:
            assert told == -np.inf
        else:
            assert told == pytest.approx(expected, abs=0.01)


def _power_of(path: Path) -> FloatArray:
    """K-weighted steps of a file as the analysis reads it."""
    recording = Recording.open(path)
    meter = bs1770.KWeightedPower(recording.sample_rate_hz, recording.channels)
    for block in recording.raw_blocks():
        meter.push(block)
    return meter.result()


@pytest.mark.parametrize("channels", [4, 5, 6])
def test_surround_agrees_with_libebur128(channels: int, rng: np.random.Generator) -> None:
    # Other noise at another level in each channel; libebur128's own layouts (L R C LFE Ls Rs).
    level = 10 ** (np.array([-30.0, -34, -28, -20, -26, -32])[:channels] / 20)
    data = (level * rng.standard_normal((4 * 48_000, channels))).astype(np.float32)
    meter = bs1770.KWeightedPower(48_000, channels)
    meter.push(data)
    integrated, *_ = libebur128(data, 48_000, every=100)
    assert bs1770.integrated_lufs(meter.result()) == pytest.approx(integrated, abs=0.01)


@pytest.mark.parametrize(
    ("levels_db", "rate_hz"), [((-20, -26, -32, -26), 44_100), ((-38, -20, -29, -22), 48_000)]
)
def test_analysis_of_stepped_noise_agrees_with_libebur128(
    levels_db: tuple[float, ...], rate_hz: int, rng: np.random.Generator
) -> None:
    gain = np.repeat(10 ** (np.array(levels_db) / 20), 5 * rate_hz)[:, np.newaxis]
    # Interpolation filters differ near half the sample rate, where white noise has its peaks.
    check_against_libebur128(gain * rng.standard_normal((len(gain), 2)), rate_hz, peak_db=0.3)


def test_analysis_of_real_music_agrees_with_libebur128() -> None:
    data, rate_hz = soundfile.read(REAL_MUSIC, dtype="float32", always_2d=True, frames=24 * 44_100)
    check_against_libebur128(data, rate_hz, peak_db=0.05)


def check_against_libebur128(samples: npt.ArrayLike, rate_hz: int, peak_db: float) -> None:
    """All that the analyzer tells of one recording, against an independent meter."""
    data = np.ascontiguousarray(samples, np.float32)
    measured = analyzer.measure(Features.of(Recording.from_array(data, rate_hz)))
    mode = pyebur128.MeasurementMode
    meter = pyebur128.R128State(
        2, rate_hz, mode.MODE_I | mode.MODE_S | mode.MODE_M | mode.MODE_TRUE_PEAK
    )
    hop = rate_hz // 100
    short_term, momentary = [], []
    for first in range(0, len(data), hop):
        meter.add_frames(data[first : first + hop].reshape(-1), len(data[first : first + hop]))
        short_term.append(pyebur128.get_loudness_shortterm(meter))
        momentary.append(pyebur128.get_loudness_momentary(meter))
    integrated = pyebur128.get_loudness_global(meter)
    assert measured.integrated_lufs == pytest.approx(integrated, abs=0.02)
    assert measured.max_short_term_lufs == pytest.approx(max(short_term[299:]), abs=0.02)
    assert measured.max_momentary_lufs == pytest.approx(max(momentary[39:]), abs=0.02)
    # Tech 3342, clause 3, on that meter's own windows, ten a second.
    windows = np.array(short_term[299::10])
    gate = 10 * np.log10(np.mean(10 ** (windows[windows > -70] / 10))) - 20
    low, high = np.percentile(windows[windows >= gate], [10, 95])
    assert measured.loudness_range_lu == pytest.approx(high - low, abs=0.05)
    # The same windows against time: the one that ends with step 300 lies around 1.5 s.
    shown = dict(zip(measured.series_s, measured.short_term_lufs, strict=True))
    assert shown[1.5] == pytest.approx(short_term[299], abs=0.02)
    assert shown[10.0] == pytest.approx(short_term[1149], abs=0.02)
    shown = dict(zip(measured.series_s, measured.momentary_lufs, strict=True))
    assert shown[10.0] == pytest.approx(momentary[1019], abs=0.02)
    peak = max(pyebur128.get_true_peak(meter, channel) for channel in range(2))
    assert measured.true_peak_dbtp == pytest.approx(20 * np.log10(peak), abs=peak_db)
    assert measured.peak_to_loudness_db == pytest.approx(
        20 * np.log10(peak) - integrated, abs=peak_db
    )


@pytest.mark.parametrize(
    ("divisor", "phase_deg", "over_db"),
    # The largest sample of a sine of fs/n lies under its peak by 20 log10 of cos(180 / n) at
    # most: half way between two samples.
    [(4, 45.0, 3.01), (4, 0.0, 0.0), (6, 60.0, 1.25), (8, 67.5, 0.69), (3, 60.0, 1.25)],
)
def test_true_peak_between_samples(divisor: int, phase_deg: float, over_db: float) -> None:
    phase = 2 * np.pi * np.arange(24_000) / divisor + np.deg2rad(phase_deg)
    wave = 0.25 * np.sin(phase) * np.minimum(1, np.arange(24_000) / 2_400)
    wave *= np.minimum(1, np.arange(24_000)[::-1] / 2_400)
    samples = np.column_stack([0 * wave, wave])
    sample_peak_db = 20 * np.log10(np.abs(samples).max())
    assert sample_peak_db == pytest.approx(20 * np.log10(0.25) - over_db, abs=0.01)
    assert true_peak_db(samples) == pytest.approx(20 * np.log10(0.25), abs=0.05)
