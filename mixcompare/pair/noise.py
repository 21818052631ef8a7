"""Steady noise that one recording of a take has and the other has not: hiss, and the mains' hum.

Noise adds its power to whatever plays. Per band ``noisy = h * clean + noise``, so that two levels
of the music, the loud and the quiet quarter of its moments, tell gain and noise apart; what is
steady lies over every quiet moment alike and is never undercut, which neither an element that rests
now and then nor reverberation can do. Nothing is said of two performances: there the quiet moments
of one are not those of the other.

What is found is then given to the recording that lacks it: both are equally noisy, and nothing that
is measured afterwards tells them apart by the noise.

Conventions
-----------
Powers as in :mod:`mixcompare.features`; levels re full scale, where a full-scale sine has 0 dBFS
(AES17).
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy import fft, ndimage

from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.features.grid import ANALYSIS_RATE_HZ, LOW_FFT, WAVEFORM_SCALE
from mixcompare.pair.channels import smoothed
from mixcompare.pair.match import Match
from mixcompare.standards.iec61260 import (
    THIRD_OCTAVE_CENTRES_HZ,
    THIRD_OCTAVE_EDGES_HZ,
)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

BANDS = len(THIRD_OCTAVE_CENTRES_HZ)
_SMOOTH_S = 0.44  # eleven frames of 40 ms; resolution of the levels
_SHORTEST_S = 8.0  # for quiet and loud moments; our judgement, not measured
_QUARTER = 25.0  # percentile: the loud and the quiet quarter
_FURTHEST_DB = 15.0  # a band's gain from that of the whole
_MOVES = 2.0  # loud moments against quiet ones, for their ratio to tell the gain
_LEAST_OVER_DB = 3.0  # noise as strong as the quiet moments (10 lg 2)
_STEADY_DB = 1.0
"""The quiet moments lie so near to the noise, besides what noise scatters by itself. Chosen on the
sample score (rendered): noise from -60 to -48 dBFS stays within 0.5 dB where it shows, a hall or a
roll of the cymbal within 7 dB at best."""
_PERCEPTIBLE_DB = 1.0  # over the quiet moments; our judgement, not measured
_FEWEST_BANDS, _FEWEST_SHOWN = 5, 3  # side by side; of them over the other by so much
_FADING_DB = 0.2  # a band beside those that show counts as far down as this
HISS_FROM_HZ = 2000.0
"""Noise that reaches above it is called hiss, else rumble (our words)."""
_MAINS_HZ = (50.0, 60.0)  # the mains' nominal frequencies
_OFF_MAINS = 0.006  # a network is held within 1 % for 99.5 % of the year (EN 50160, from memory)
_MOST_LINES = 10  # cost: multiples that are looked for
_LINE_S, _LINE_HOP_S = 4.0, 0.5  # resolution: a quarter hertz, every half second
_BESIDE_HZ = (0.75, 3.0)  # from and to, what lies beside a line; our judgement, not measured
_LINE_OVER_DB = 10.0  # over what lies beside it
_LINE_FREE = 6.0
"""A line as steady as noise of so few values: music at the same place now and then turns against it
(by 5.6 dB for a moment in the sample score)."""
_LINE_LEAST_OVER_DB = 8.0
"""A note that is held may be raised by 6 dB, a ride may raise several (made-up music, a ride of
4 dB); hum stands over quiet moments by far more."""
_FEWEST_LOUD = 4  # bands, for a moment's level
_RIDDEN_DB = 1.0  # from the 5th to the 95th percentile: less is left alone
_ALONE_DB = 15.0  # one line alone may be a note that is held


@dataclass(frozen=True)
class Steady:
    """Noise in one recording, read band by band against the other.

    Attributes
    ----------
    gain : ndarray, shape (columns,)
        Power of the noisy recording for that of the other, without the noise.
    noise, quiet : ndarray, shape (columns,)
        Power of the noise, and of the other's quiet moments at this gain.
    told : ndarray of bool, shape (columns,)
        Whether what lies over the quiet moments is steady.
    """

    gain: FloatArray
    noise: FloatArray
    quiet: FloatArray
    told: BoolArray

    @property
    def over_db(self) -> FloatArray:
        """Level of the quiet moments with the noise against those without."""
        return np.asarray(10 * np.log10(1 + self.noise / np.maximum(self.quiet, 1e-20)))


@dataclass(frozen=True)
class Hiss:
    """Broadband noise.

    Attributes
    ----------
    in_candidate : bool
        Which recording has it.
    bands : ndarray of bool, shape (31,)
        Third octaves in which it shows in quiet moments.
    over_db : float
        There, quiet moments against those of the other recording.
    level_dbfs, below_music_db : float
        Level in those bands, of the mean of the channels; and how far the whole music lies above.
    power : ndarray, shape (31,)
        Of both channels, where it could be read.
    """

    in_candidate: bool
    bands: BoolArray
    over_db: float
    level_dbfs: float
    below_music_db: float
    power: FloatArray = field(repr=False)

    @property
    def band_hz(self) -> tuple[float, float]:
        """Lowest and highest frequency at which it shows."""
        shown = np.flatnonzero(self.bands)
        return (
            float(THIRD_OCTAVE_EDGES_HZ[shown[0]]),
            float(THIRD_OCTAVE_EDGES_HZ[shown[-1] + 1]),
        )


@dataclass(frozen=True)
class Hum:
    """Lines at multiples of the mains' frequency.

    Attributes
    ----------
    in_candidate : bool
    mains_hz : float
        As measured.
    lines : tuple of int
        Which multiples.
    over_db, level_dbfs, below_music_db : float
        As of hiss, of all lines together.
    power : ndarray, shape (lines,)
        Of every line, in both channels together.
    """

    in_candidate: bool
    mains_hz: float
    lines: tuple[int, ...]
    over_db: float
    level_dbfs: float
    below_music_db: float
    power: FloatArray = field(repr=False)

    @property
    def lines_hz(self) -> FloatArray:
        """Frequencies of the lines."""
        return self.mains_hz * np.array(self.lines, np.float64)


Noise = tuple[Hiss | Hum, ...]


def noise_between(reference: Features, candidate: Features, match: Match) -> Noise:
    """Hiss and hum that one recording of a take has and the other has not.

    Parameters
    ----------
    reference : Features
        One recording.
    candidate : Features
        The other.
    match : Match
        How they lie against each other; the gain is not needed.
    """
    if not match.same_take or match.time_map.span_s[1] - match.time_map.span_s[0] < _SHORTEST_S:
        return ()
    found: list[Hiss | Hum | None] = []
    for ordered in (Ordered(reference, candidate, match, True),
                    Ordered(candidate, reference, match.mirrored(), False)):  # fmt: skip
        hum = _hum(ordered)
        found += [_hiss(ordered, hum), hum]
    return tuple(one for one in found if one is not None)


@dataclass(frozen=True)
class Ordered:
    """A pair by which of the two is asked for noise; times are the clean recording's.

    Attributes
    ----------
    clean, noisy : Features
    match : Match
        Of the noisy one against the clean one.
    noisy_is_candidate : bool
    """

    clean: Features
    noisy: Features
    match: Match
    noisy_is_candidate: bool

    def powers(self, name: str, rate_hz: float) -> tuple[FloatArray, FloatArray]:
        """A feature of both at the same moments, smoothed, channels and columns as one axis.

        Where the noisy one's level was ridden, so is the clean one's.
        """
        clean, noisy = self._powers(name, rate_hz)
        return clean * self.ridden[:, None], noisy

    def _powers(self, name: str, rate_hz: float) -> tuple[FloatArray, FloatArray]:
        times_s = self.match.grid_s(BAND_RATE_HZ)
        size = round(_SMOOTH_S * rate_hz) | 1
        clean, noisy = (
            smoothed(getattr(features, name).real, rate_hz, at_s, size).reshape(len(times_s), -1)
            for features, at_s in (
                (self.clean, times_s),
                (self.noisy, self.match.time_map.to_candidate(times_s)),
            )
        )
        return clean, noisy

    @cached_property
    def ridden(self) -> FloatArray:
        """Power of every moment of the music in the noisy recording, for that of the clean one.

        Against the median moment; by the bands that are loud then, which noise does not reach.
        One throughout where the level stays.
        """
        clean, noisy = (
            power.reshape(len(power), -1, 2).sum(axis=2)
            for power in self._powers("band_power", BAND_RATE_HZ)
        )
        loud = (clean > np.median(clean, axis=0)) & (clean > 0) & (noisy > 0)
        moved = np.full(clean.shape, np.nan)
        moved[loud] = 10 * np.log10(noisy[loud] / clean[loud])
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", RuntimeWarning)  # a band or a moment without any
            moved -= np.nanmedian(moved, axis=0)
            level_db = np.nanmedian(moved, axis=1)
        known = (loud.sum(axis=1) >= _FEWEST_LOUD) & np.isfinite(level_db)
        still = np.ones(len(clean))
        if known.sum() < 2:
            return still
        moments = np.arange(len(clean))
        level_db = np.interp(moments, moments[known], level_db[known])
        if np.ptp(np.percentile(level_db, [5, 95])) < _RIDDEN_DB:
            return still
        return np.asarray(10 ** (level_db / 10))

    def ridden_at(self, times_s: FloatArray) -> FloatArray:
        """The same at other times of the clean recording."""
        return np.interp(times_s, self.match.grid_s(BAND_RATE_HZ), self.ridden)


def steady_noise(clean: FloatArray, noisy: FloatArray, free: npt.ArrayLike = np.inf) -> Steady:
    """Read gain and noise of every column from its loud and its quiet moments.

    Parameters
    ----------
    clean, noisy : ndarray, shape (moments, columns)
        Powers at the same moments.
    free : array_like, shape (columns,)
        Independent values in one smoothed power: noise scatters the less the more there are.
    """
    quiet = clean <= np.percentile(clean, _QUARTER, axis=0)
    loud = clean >= np.percentile(clean, 100 - _QUARTER, axis=0)
    quiet_clean, quiet_noisy = (_median(power, quiet) for power in (clean, noisy))
    loud_clean, loud_noisy = (_median(power, loud) for power in (clean, noisy))
    whole = float(loud_noisy.sum() / max(loud_clean.sum(), 1e-20))
    gain = (loud_noisy - quiet_noisy) / np.maximum(loud_clean - quiet_clean, 1e-20)
    furthest = 10 ** (_FURTHEST_DB / 10)
    gain = np.clip(gain, whole / furthest, whole * furthest)
    moves = loud_noisy > _MOVES * quiet_noisy
    if moves.any() and not moves.all():
        # Noise that rules the loud moments too hides the gain: that of the nearest that move.
        column = np.arange(len(gain))
        gain = np.where(moves, gain, np.interp(column, column[moves], gain[moves]))
    elif not moves.any():
        gain = np.full_like(gain, whole)
    noise = np.maximum(quiet_noisy - gain * quiet_clean, 0.0)
    over = np.where(quiet, noisy - gain * clean, np.nan)
    least, most = np.nanpercentile(over, [10, 90], axis=0)
    floor = np.percentile(noisy, 2, axis=0)
    # Power of noise in `free` independent values scatters by 4.34 sqrt(2 / free) dB; 90 % of it
    # within 1.28 times that, its lowest fiftieth 2.05 times.
    scatter_db = 4.34 * np.sqrt(2 / np.asarray(free, np.float64))
    near = 10 ** ((_STEADY_DB + 1.28 * scatter_db) / 10)
    far = 10 ** (-(_STEADY_DB + 2.05 * scatter_db) / 10)
    told = (noise > 0) & (most < near * noise) & (least > noise / near) & (floor > far * noise)
    return Steady(gain, noise, gain * quiet_clean, np.asarray(told))


def _median(power: FloatArray, chosen: BoolArray) -> FloatArray:
    return np.asarray(np.nanmedian(np.where(chosen, power, np.nan), axis=0))


def _free(width_hz: npt.ArrayLike) -> FloatArray:
    """Independent values of noise so wide, over the time of smoothing; of one channel, at least."""
    return np.maximum(2 * np.asarray(width_hz) * _SMOOTH_S, 1.0)


# --- hiss ----------------------------------------------------------------------------------------


def _hiss(pair: Ordered, hum: Hum | None) -> Hiss | None:
    """Noise beside the lines of a hum."""
    clean, noisy = (
        power.reshape(len(power), -1, 2).sum(axis=2)
        for power in pair.powers("band_power", BAND_RATE_HZ)
    )
    found = steady_noise(clean, noisy, _free(np.diff(THIRD_OCTAVE_EDGES_HZ)))
    nyquist_hz = min(pair.clean.sample_rate_hz, pair.noisy.sample_rate_hz) / 2
    carried = 0.95 * nyquist_hz >= THIRD_OCTAVE_CENTRES_HZ
    if hum is not None:
        carried &= ~reached(THIRD_OCTAVE_EDGES_HZ, hum.lines_hz, LOW_FFT)
    clear = found.over_db >= _LEAST_OVER_DB
    runs = [
        run & clear
        for run in _runs(found.told & carried & (found.over_db >= _PERCEPTIBLE_DB))
        if run.sum() >= _FEWEST_BANDS and (run & clear).sum() >= _FEWEST_SHOWN
    ]
    if not runs:
        return None
    # Music may hide the middle of one broad noise: it is told where it is strongest.
    shown = max(runs, key=lambda run: float(found.noise[run].sum()))
    fading = ndimage.binary_propagation(
        np.any(runs, axis=0), mask=carried & (found.over_db > _FADING_DB) & (found.noise > 0)
    )
    power = np.where(fading, found.noise, 0.0)
    level = float(power[shown].sum())
    return Hiss(
        in_candidate=pair.noisy_is_candidate,
        bands=shown,
        over_db=float(10 * np.log10(1 + level / max(found.quiet[shown].sum(), 1e-20))),
        level_dbfs=_dbfs(level),
        below_music_db=_below_music_db(pair, level),
        power=power,
    )


def reached(edges_hz: FloatArray, lines_hz: FloatArray, size: int) -> BoolArray:
    """Bands into which a line falls, seen through a Hann window's main lobe.

    Parameters
    ----------
    edges_hz : ndarray, shape (bands + 1,)
        Of the bands.
    lines_hz : ndarray, shape (lines,)
        Frequencies.
    size : int
        Of the window, at the analysis rate.
    """
    reach_hz = 2 * ANALYSIS_RATE_HZ / size
    low, high = edges_hz[:-1, None] - reach_hz, edges_hz[1:, None] + reach_hz
    return np.asarray(((lines_hz > low) & (lines_hz < high)).any(axis=1))


def _runs(shown: BoolArray) -> list[BoolArray]:
    """Bands that show, each run of neighbours for itself."""
    labels, count = ndimage.label(shown)
    return [labels == index for index in range(1, count + 1)]


def _dbfs(power: float) -> float:
    """Level of the mean of both channels; a full-scale sine has a power of 0.5."""
    return float(10 * np.log10(max(power, 1e-20)))


def _below_music_db(pair: Ordered, power: float) -> float:
    whole = float(pair.noisy.band_power.sum(axis=(1, 2), dtype=np.float64).mean())
    return float(10 * np.log10(max(whole - power, 1e-20) / max(power, 1e-20)))


# --- hum -----------------------------------------------------------------------------------------


def _hum(pair: Ordered) -> Hum | None:
    times_s = pair.match.grid_s(1 / _LINE_HOP_S)
    inside = slice(round(_LINE_S / _LINE_HOP_S / 2), -round(_LINE_S / _LINE_HOP_S / 2))
    times_s = times_s[inside]
    if len(times_s) < _SHORTEST_S / _LINE_HOP_S / 2:
        return None
    clean = _fine_spectra(pair.clean, times_s) * pair.ridden_at(times_s)[:, None]
    noisy = _fine_spectra(pair.noisy, pair.match.time_map.to_candidate(times_s))
    found: tuple[int, float, float, list[tuple[int, float, float]]] = (0, 0.0, 0.0, [])
    for mains_hz in _MAINS_HZ:
        for hz in mains_hz * (1 + np.arange(-_OFF_MAINS, _OFF_MAINS + 1e-9, 0.0005)):
            lines = _lines(clean, noisy, float(hz), pair.match)
            strength = sum(line[1] for line in lines)
            if (len(lines), strength) > found[:2]:
                found = len(lines), strength, float(hz), lines
    lines = found[3]
    if not lines:
        return None
    power = np.array([line[1] for line in lines])
    over_db = float(10 * np.log10(1 + power.sum() / max(sum(line[2] for line in lines), 1e-20)))
    if len(lines) < 2 and over_db < _ALONE_DB:
        return None
    return Hum(
        in_candidate=pair.noisy_is_candidate,
        mains_hz=_mains_hz(noisy, found[2], lines),
        lines=tuple(line[0] for line in lines),
        over_db=over_db,
        level_dbfs=_dbfs(float(power.sum())),
        below_music_db=_below_music_db(pair, float(power.sum())),
        power=power,
    )


def _mains_hz(noisy: FloatArray, about_hz: float, lines: list[tuple[int, float, float]]) -> float:
    """Frequency of the mains by where the lines' power lies between the bins."""
    beside = np.arange(-2, 3)
    powers, frequencies = [], []
    for number, power, _ in lines:
        middle = round(number * about_hz * _LINE_S)
        lobe = np.median(noisy[:, middle + beside], axis=0)
        frequencies.append((middle + float(lobe @ beside / lobe.sum())) / _LINE_S / number)
        powers.append(power)
    return float(np.average(frequencies, weights=powers))


def _fine_spectra(features: Features, times_s: FloatArray) -> FloatArray:
    """Power of the middle signal, lines 0.25 Hz apart, up to the highest line that is sought.

    Scaled so that a sine in both channels has in its three highest bins the power of both.
    """
    size = round(_LINE_S * ANALYSIS_RATE_HZ)
    bins = round((_MOST_LINES + 0.5) * _MAINS_HZ[1] * _LINE_S)
    window = np.hanning(size + 1)[:-1].astype(np.float32)
    out = np.zeros((len(times_s), bins))
    waveform = features.waveform
    for row, time_s in enumerate(times_s):
        first = round(time_s * ANALYSIS_RATE_HZ) - size // 2
        part = waveform[max(first, 0) : max(first + size, 0)].astype(np.float32) / WAVEFORM_SCALE
        if len(part) == size:
            out[row] = np.abs(fft.rfft(part * window)[:bins]) ** 2
    return out * 4.0 / (size * float(np.square(window, dtype=np.float64).sum()))


def _lines(
    clean: FloatArray, noisy: FloatArray, mains_hz: float, match: Match
) -> list[tuple[int, float, float]]:
    """Multiples at which a steady line stands: number, power, and the other's quiet power there."""
    speed = 2 ** ((100 * match.transposition_semitones + match.tuning_cents) / 1200)
    multiples = np.arange(1, _MOST_LINES + 1)
    bins = np.round(multiples * mains_hz * _LINE_S).astype(int)
    there = noisy[:, bins[:, None] + np.arange(-1, 2)].sum(axis=2)
    # Played at another speed, a line of the one lies elsewhere in the other.
    moved = np.round(bins / speed).astype(int)
    here = np.maximum(*(
        clean[:, np.minimum(place, clean.shape[1] - 2)[:, None] + np.arange(-1, 2)].sum(axis=2)
        for place in (bins, moved)
    ))  # fmt: skip
    near, far = (round(hz * _LINE_S) for hz in _BESIDE_HZ)
    beside = np.concatenate([np.arange(-far, -near + 1), np.arange(near, far + 1)])
    around = 3 * np.median(noisy[:, bins[:, None] + beside], axis=2)
    found = steady_noise(here, there, _LINE_FREE)
    stands = np.percentile(there, 10, axis=0) > 10 ** (_LINE_OVER_DB / 10) * np.percentile(
        around, 10, axis=0
    )
    shown = found.told & stands & (found.over_db >= _LINE_LEAST_OVER_DB)
    return [
        (int(multiples[index]), float(found.noise[index]), float(found.quiet[index]))
        for index in np.flatnonzero(shown)
    ]
