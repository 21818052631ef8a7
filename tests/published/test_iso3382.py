"""ISO 3382-1:2009 on decays whose parameters are known; just-noticeable differences: Table A.1."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
import soundfile
from pyroomacoustics.experimental import measure_rt60
from scipy import optimize, stats
from scipy.signal import butter, sosfilt

from mixcompare.standards.iso3382 import _likeliest, _Likelihood, decay_of, slopes_of

FloatArray = npt.NDArray[np.float64]
RATE_HZ = 12_000


def exponential(decay_s: float, length_s: float | None = None) -> FloatArray:
    """Amplitude of a decay by 60 dB in ``decay_s``."""
    time = np.arange(int(RATE_HZ * (length_s or 1.3 * decay_s + 0.3))) / RATE_HZ
    return np.asarray(10 ** (-3 * time / decay_s))


# C80 = 10 lg(exp(1.105 / T) - 1): follows from the definition for a pure exponential.
@pytest.mark.parametrize(
    ("decay_s", "c80_db"),
    [(0.3, 15.89), (0.5, 9.10), (1.0, 3.05), (1.5, 0.37), (2.0, -1.32), (2.5, -2.55), (3.0, -3.51)],
)
def test_pure_exponential(decay_s: float, c80_db: float) -> None:
    decay = decay_of(exponential(decay_s), RATE_HZ)
    # A fifth of the just-noticeable differences: 1 % of a decay time, 0.2 dB of C80.
    for time_s in (decay.edt_s, decay.t20_s, decay.t30_s):
        assert time_s == pytest.approx(decay_s, rel=0.01)
    assert decay.c80_db == pytest.approx(c80_db, abs=0.2)


@pytest.mark.parametrize("decay_s", [0.5, 1.0, 2.0, 3.0])
def test_decaying_noise_as_a_reference_library_reads_it(decay_s: float) -> None:
    noise = np.random.default_rng(5).standard_normal(len(exponential(decay_s)))
    response = noise * exponential(decay_s)
    decay = decay_of(response, RATE_HZ)
    assert decay.t30_s == pytest.approx(decay_s, rel=0.05)
    # pyroomacoustics: measure_rt60 fits the Schroeder curve from -5 to -35 dB.
    reference_s = measure_rt60(response, fs=RATE_HZ, decay_db=30)
    assert decay.t30_s == pytest.approx(reference_s, rel=0.02)


def test_two_slopes() -> None:
    # A strong short and a weak long decay: the early one is heard as short (ISO 3382-1, A.2.2).
    length_s = 2.5
    energy = exponential(0.5, length_s) ** 2 + 0.01 * exponential(2.0, length_s) ** 2
    decay = decay_of(np.sqrt(energy), RATE_HZ)
    assert decay.edt_s is not None
    assert decay.t30_s is not None
    assert decay.edt_s < 0.7 < 1.2 < decay.t30_s


def band_powers(energy: FloatArray, bands: int = 8) -> FloatArray:
    """Power of several bands of decaying noise, 50 frames a second; 5 values in each mean."""
    step = RATE_HZ // 50
    mean = energy[: len(energy) // step * step].reshape(-1, step).mean(axis=1)
    chance = np.random.default_rng(6).chisquare(10, (len(mean), bands)) / 10
    return np.asarray(mean[:, None] * chance * np.logspace(0, -1, bands) + 1e-7)


@pytest.mark.parametrize("decay_s", [0.5, 1.5, 3.0])
def test_bands_with_one_slope(decay_s: float) -> None:
    slopes = slopes_of(band_powers(exponential(decay_s) ** 2), 50.0, (0.0, -60.0))
    assert slopes is not None
    assert slopes.single_s == pytest.approx(decay_s, rel=0.03)
    assert slopes.early_s is None
    assert slopes.late_s is None
    assert not slopes.grows_steeper


@pytest.mark.parametrize(("early_s", "late_s"), [(0.4, 1.5), (0.5, 2.0), (0.8, 3.0)])
def test_bands_with_two_slopes(early_s: float, late_s: float) -> None:
    length_s = 1.3 * late_s
    energy = exponential(early_s, length_s) ** 2 + 0.02 * exponential(late_s, length_s) ** 2
    slopes = slopes_of(band_powers(energy), 50.0, (0.0, -60.0))
    assert slopes is not None
    assert slopes.early_s == pytest.approx(early_s, rel=0.15)
    assert slopes.late_s == pytest.approx(late_s, rel=0.05)


def test_bands_that_fall_ever_faster() -> None:
    # A fade, linear in amplitude, falls without end in its last moment.
    slopes = slopes_of(band_powers(np.linspace(1, 0, 3 * RATE_HZ) ** 2), 50.0)
    assert slopes is not None
    assert slopes.grows_steeper


@pytest.mark.parametrize(
    ("noise_db", "t20", "t30"), [(-30.0, False, False), (-40.0, True, False), (-50.0, True, True)]
)
def test_noise_forbids_a_range(noise_db: float, t20: bool, t30: bool) -> None:
    # 5.3.3: the noise lies at least 10 dB below the lower end of the range: 35 dB, 45 dB.
    rng = np.random.default_rng(2)
    decay_s = 1.5
    clean = rng.standard_normal(len(exponential(decay_s))) * exponential(decay_s)
    noisy = clean + 10 ** (noise_db / 20) * rng.standard_normal(len(clean))
    decay = decay_of(noisy, RATE_HZ)
    assert (decay.t20_s is not None) == t20
    assert (decay.t30_s is not None) == t30
    if decay.t20_s is not None:
        # One realisation of decaying noise scatters by a few per cent; the noise adds no bias
        # beyond the just-noticeable 5 %.
        assert decay.t20_s == pytest.approx(decay_of(clean, RATE_HZ).t20_s, rel=0.05)


def test_real_hall(real_audio: Path) -> None:
    response, rate_hz = soundfile.read(real_audio / "room_hall_ccby.wav")
    left = response[int(np.argmax(np.abs(response[:, 0]))) :, 0]
    octave = sosfilt(butter(3, [707, 1414], "bandpass", fs=rate_hz, output="sos"), left[::-1])
    decay = decay_of(octave[::-1], rate_hz)
    reference_s = measure_rt60(octave[::-1], fs=rate_hz, decay_db=30)
    assert decay.t30_s == pytest.approx(reference_s, rel=0.03)


def double(early_s: float, late_s: float, late_share: float) -> FloatArray:
    """Amplitude of two decays together, so long that nothing is cut off."""
    length_s = 1.6 * late_s
    energy = exponential(early_s, length_s) ** 2
    return np.sqrt(energy + late_share * exponential(late_s, length_s) ** 2)


def line_through(
    early_s: float, late_s: float, late_share: float, low: float, high: float
) -> tuple[float, float]:
    """60 dB time of the line through a stretch of the closed form, and its squared correlation."""
    time_s = np.linspace(0, 2 * late_s, 400_001)
    parts = [(1.0, early_s), (late_share, late_s)]
    curve = sum(part * decay_s * np.exp(-13.8155 * time_s / decay_s) for part, decay_s in parts)
    level = 10 * np.log10(curve / curve[0])
    inside = (level <= low) & (level >= high)
    line = stats.linregress(time_s[inside], level[inside])
    return float(-60 / line.slope), float(line.rvalue**2)


@pytest.mark.parametrize(
    ("early_s", "late_s", "late_share"), [(0.5, 2.0, 0.01), (0.4, 1.2, 0.05), (1.0, 3.0, 0.03)]
)
def test_every_range_is_its_own(early_s: float, late_s: float, late_share: float) -> None:
    # ISO 3382-1:2009, 3.4 and Annex A.2.2: EDT from 0 to -10 dB, T20 from -5 to -25 dB, T30 from
    # -5 to -35 dB. On a bent curve each reads something else; a fifth of 5 %, Table A.1's step.
    known = (early_s, late_s, late_share)
    decay = decay_of(double(*known), RATE_HZ)
    assert decay.edt_s == pytest.approx(line_through(*known, 0, -10)[0], rel=0.01)
    assert decay.t30_s == pytest.approx(line_through(*known, -5, -35)[0], rel=0.01)
    t20_s, straightness = line_through(*known, -5, -25)
    assert decay.t20_s == pytest.approx(t20_s, rel=0.01)
    assert decay.straightness == pytest.approx(straightness, abs=0.002)


def test_clarity_takes_the_first_80_ms() -> None:
    # A.2.3: energy from 0 to 80 ms over energy from 80 ms on; here set to 4 : 1 by construction.
    fall = exponential(1.0, 2.0)
    split = int(0.08 * RATE_HZ)
    early, late = (fall[:split] ** 2).sum(), (fall[split:] ** 2).sum()
    fall[:split] *= np.sqrt(4 * late / early)
    assert decay_of(fall, RATE_HZ).c80_db == pytest.approx(10 * np.log10(4), abs=0.05)


@pytest.mark.parametrize("step_db", [1.0, -1.0])
def test_one_just_noticeable_step_of_clarity_is_seen(step_db: float) -> None:
    # Table A.1: 1 dB. The direct sound alone is raised or lowered by what it takes.
    fall = exponential(1.5, 2.5)
    split = int(0.08 * RATE_HZ)
    changed = fall.copy()
    changed[:split] *= 10 ** (step_db / 20)
    before, after = decay_of(fall, RATE_HZ).c80_db, decay_of(changed, RATE_HZ).c80_db
    assert before is not None
    assert after is not None
    assert after - before == pytest.approx(step_db, abs=0.1)


@pytest.mark.parametrize("ratio", [1.05, 1 / 1.05])
def test_one_just_noticeable_step_of_early_decay_is_seen(ratio: float) -> None:
    # Table A.1: 5 % of EDT.
    before, after = (decay_of(exponential(time_s), RATE_HZ).edt_s for time_s in (1.5, 1.5 * ratio))
    assert before is not None
    assert after is not None
    assert after / before == pytest.approx(ratio, abs=0.005)


def test_range_down_to_the_noise() -> None:
    rng = np.random.default_rng(2)
    noise = rng.standard_normal((2, 4 * RATE_HZ))
    response = exponential(1.0, 4.0) * noise[0] + 1e-2 * noise[1]
    decay = decay_of(response, RATE_HZ)
    # -40 dB against the power at the start, whose first 5 ms are the loudest of few values.
    assert decay.range_db == pytest.approx(40, abs=2.5)


@pytest.mark.parametrize("decay_s", [0.8, 2.0])
def test_what_lies_behind_the_noise_is_added(decay_s: float) -> None:
    # 5.3.3: an exponential of the late slope from where the decay meets the noise; without it
    # the curve bends down at its end. Power of the noise 47 dB down, and its mean known.
    length_s = 1.2 * decay_s + 0.5
    energy = exponential(decay_s, length_s) ** 2 + 10**-4.7
    decay = decay_of(np.sqrt(energy), RATE_HZ)
    assert decay.t30_s == pytest.approx(decay_s, rel=0.01)
    assert decay.t20_s == pytest.approx(decay_s, rel=0.01)


def test_one_slope_does_not_look_like_two() -> None:
    # Chance bends a decay of few values a little; 60 of them, one band each.
    for seed in range(60):
        time = np.arange(150) / 50
        chance = np.random.default_rng([seed, 7]).exponential(1.0, (len(time), 1))
        power = 10 ** (-6 * time / 1.5)[:, None] * chance + 1e-7
        slopes = slopes_of(power, 50.0, (0.0, -60.0))
        assert slopes is not None
        assert slopes.early_s is None


DATA = Path(__file__).parent.parent / "data"


@pytest.mark.parametrize("octave_hz", [500, 1000, 2000])
def test_real_living_room(octave_hz: float) -> None:
    # Impulse response of a living room, public domain. Oracle: pyroomacoustics for T20 (its T30
    # doesn't take out the file's noise), the plain ratio of energies for C80.
    response, rate_hz = soundfile.read(DATA / "room_living_pd.wav")
    left = response[int(np.argmax(np.abs(response[:, 0]))) :, 0]
    edges = [octave_hz / np.sqrt(2), octave_hz * np.sqrt(2)]
    sections = butter(3, edges, "bandpass", fs=rate_hz, output="sos")
    octave = sosfilt(sections, left[::-1])[::-1]
    decay = decay_of(octave, rate_hz)
    assert decay.t20_s == pytest.approx(measure_rt60(octave, fs=rate_hz, decay_db=20), rel=0.05)
    split = int(0.08 * rate_hz)
    c80_db = 10 * np.log10((octave[:split] ** 2).sum() / (octave[split:] ** 2).sum())
    assert decay.c80_db == pytest.approx(c80_db, abs=0.5)
    if octave_hz == 1000:
        # About 0.31 s, measured apart from this code, where the noise is cut off.
        quiet = octave[: int(0.35 * rate_hz)]
        assert decay.t30_s == pytest.approx(0.31, rel=0.1)
        assert decay.t30_s == pytest.approx(measure_rt60(quiet, fs=rate_hz, decay_db=30), rel=0.1)
        assert decay.edt_s is not None
        assert decay.edt_s < 0.5 * 0.31  # close to the loudspeaker


def test_nothing_to_measure() -> None:
    for response in (np.zeros(4000), np.zeros(10)):
        decay = decay_of(response, RATE_HZ)
        assert (decay.edt_s, decay.t20_s, decay.t30_s, decay.c80_db) == (None,) * 4


@pytest.mark.parametrize("slopes", [1, 2])
def test_likelihood_of_a_decay_and_its_slope(slopes: int) -> None:
    """Exponentially distributed power, written out by scipy; the slope by finite differences."""
    rng = np.random.default_rng(6)
    time_s = np.arange(30) * 0.05
    seen, noise = rng.exponential(0.1, (30, 4)), np.full(4, 1e-3)
    keep = rng.random((30, 4)) < 0.8
    likelihood = _Likelihood(seen, noise, keep, time_s, slopes)
    logs = np.concatenate([np.log([0.8, 2.5][:slopes]), rng.normal(-1, 1, 4 * slopes)])

    def mean_at(logs: FloatArray) -> FloatArray:
        return noise + sum(
            np.exp(logs[slopes + 4 * part :][:4])
            * 10 ** (-6 * time_s[:, None] / np.exp(logs[part]))
            for part in range(slopes)
        )

    mean = mean_at(logs)
    by_scipy = -stats.expon.logpdf(seen, scale=mean)[keep].sum()
    cost = likelihood.at(logs)
    gradient, information = likelihood.curvature()
    assert cost == pytest.approx(by_scipy)
    assert gradient == pytest.approx(
        optimize.approx_fprime(logs, likelihood.at), rel=1e-4, abs=1e-4
    )
    # Fisher's information of exponential distributions: McCullagh and Nelder 1989, 8.3.
    along = optimize.approx_fprime(logs, lambda at: mean_at(at)[keep])
    expected = along.T @ (along / np.square(mean[keep])[:, None])
    assert information == pytest.approx(expected, rel=1e-4, abs=1e-4)


@pytest.mark.parametrize("slopes", [1, 2])
def test_the_likeliest_decay_is_where_another_search_ends(slopes: int) -> None:
    """Downhill simplexes of scipy, from where the search ended, find nothing likelier."""
    time_s = np.arange(40) * 0.05
    for seed in range(4):
        rng = np.random.default_rng(seed)
        fall = 10 ** (-6 * time_s / 0.7) + (slopes - 1) * 0.03 * 10 ** (-6 * time_s / 2.4)
        noise = np.full(2, 1e-6)
        seen = rng.exponential(fall[:, None] + noise)
        keep = np.ones(seen.shape, bool)
        starts = (0.4, 2.0)[:slopes]
        cost, decays_s, powers = _likeliest(seen, noise, keep, time_s, starts)
        at = np.concatenate([np.log(decays_s), np.log(powers).ravel()])
        likelihood = _Likelihood(seen, noise, keep, time_s, slopes)
        assert likelihood.at(at) == pytest.approx(cost)
        for _ in range(2):
            nearby = optimize.minimize(
                likelihood.at,
                at,
                method="Nelder-Mead",
                options={"maxfev": 2000},
            )
            assert nearby.fun > cost - 1e-3
