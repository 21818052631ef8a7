"""The mains' hum: steady lines that one recording has and the other has not."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import fft

from mixcompare.features import Features
from mixcompare.features.grid import ANALYSIS_RATE_HZ, WAVEFORM_SCALE
from mixcompare.pair.clean_and_noisy import Ordered, dbfs
from mixcompare.pair.match import Match
from mixcompare.pair.steady_power import SHORTEST_S, steady_noise

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_MAINS_HZ = (50.0, 60.0)  # the mains' nominal frequencies
_OFF_MAINS = 0.006  # a network is held within 1 % for 99.5 % of the year (EN 50160, from memory)
_MOST_LINES = 10  # cost: multiples that are looked for
_TOGETHER = 4  # cost: spectra at a time, which take a third of the time of single ones
_LINE_S, _LINE_HOP_S = 4.0, 0.5  # resolution: a quarter hertz, every half second
_BESIDE_HZ = (0.75, 3.0)  # from and to, what lies beside a line; our judgement, not measured
_LINE_OVER_DB = 10.0  # over what lies beside it
_LINE_FREE = 6.0
"""A line as steady as noise of so few values: music at the same place now and then turns against it
(by 5.6 dB for a moment in the sample score)."""
_LINE_LEAST_OVER_DB = 8.0
"""A note that is held may be raised by 6 dB, a ride may raise several (made-up music, a ride of
4 dB); hum stands over quiet moments by far more."""
_ALONE_DB, _ALONE_MULTIPLE = 15.0, 3
"""One line alone may be a note that is held, and another room's interference takes 16 dB from such
a one; the strongest lines of hum are its lowest (common practice, no source)."""


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


def hum_of(pair: Ordered) -> Hum | None:
    """The mains' frequency at whose multiples most steady lines stand, and they."""
    times_s = pair.match.grid_s(1 / _LINE_HOP_S)
    inside = slice(round(_LINE_S / _LINE_HOP_S / 2), -round(_LINE_S / _LINE_HOP_S / 2))
    times_s = times_s[inside]
    if len(times_s) < SHORTEST_S / _LINE_HOP_S / 2:
        return None
    clean = _fine_spectra(pair.clean, times_s) * pair.ridden_at(times_s)[:, None]
    noisy = _fine_spectra(pair.noisy, pair.match.time_map.to_candidate(times_s))
    found: tuple[int, float, float, list[tuple[int, float, float]]] = (0, 0.0, 0.0, [])
    mains_hz = np.outer(_MAINS_HZ, 1 + np.arange(-_OFF_MAINS, _OFF_MAINS + 1e-9, 0.0005)).ravel()
    bins = np.round(np.outer(mains_hz, np.arange(1, _MOST_LINES + 1)) * _LINE_S).astype(int)
    bins, first = np.unique(bins, axis=0, return_index=True)
    stands = _stands(noisy, bins)
    for row in np.argsort(-stands.sum(axis=1), kind="stable").tolist():
        if stands[row].sum() < max(found[0], 1):  # no more lines are told than stand
            break
        lines = _lines(clean, noisy, bins[row], stands[row], pair.match)
        strength = sum(line[1] for line in lines)
        if (len(lines), strength) > found[:2]:
            found = len(lines), strength, float(mains_hz[first[row]]), lines
    lines = found[3]
    if not lines:
        return None
    power = np.array([line[1] for line in lines])
    over_db = float(10 * np.log10(1 + power.sum() / max(sum(line[2] for line in lines), 1e-20)))
    if len(lines) < 2 and (over_db < _ALONE_DB or lines[0][0] > _ALONE_MULTIPLE):
        return None
    return Hum(
        in_candidate=pair.noisy_is_candidate,
        mains_hz=_mains_hz(noisy, found[2], lines),
        lines=tuple(line[0] for line in lines),
        over_db=over_db,
        level_dbfs=dbfs(float(power.sum())),
        below_music_db=pair.below_music_db(float(power.sum())),
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
    firsts = np.round(times_s * ANALYSIS_RATE_HZ).astype(int) - size // 2
    rows = np.flatnonzero((firsts >= 0) & (firsts + size <= len(waveform)))
    for at in range(0, len(rows), _TOGETHER):
        some = rows[at : at + _TOGETHER]
        parts = np.stack([waveform[first : first + size] for first in firsts[some]])
        windowed = parts.astype(np.float32) / WAVEFORM_SCALE * window
        out[some] = np.abs(fft.rfft(windowed, axis=-1)[:, :bins]) ** 2
    return out * 4.0 / (size * float(np.square(window, dtype=np.float64).sum()))


def _stands(noisy: FloatArray, bins: npt.NDArray[np.int64]) -> BoolArray:
    """Whether quiet moments of a bin and its neighbours lie over those beside them."""
    places, where = np.unique(bins, return_inverse=True)
    near, far = (round(hz * _LINE_S) for hz in _BESIDE_HZ)
    beside = np.concatenate([np.arange(-far, -near + 1), np.arange(near, far + 1)])
    there = noisy[:, places[:, None] + np.arange(-1, 2)].sum(axis=2)
    around = np.stack([3 * np.median(noisy[:, at + beside], axis=1) for at in places], axis=1)
    quiet, quiet_around = (np.percentile(power, 10, axis=0) for power in (there, around))
    return np.asarray(
        (quiet > 10 ** (_LINE_OVER_DB / 10) * quiet_around)[where.reshape(bins.shape)]
    )


def _lines(
    clean: FloatArray,
    noisy: FloatArray,
    bins: npt.NDArray[np.int64],
    stands: BoolArray,
    match: Match,
) -> list[tuple[int, float, float]]:
    """Multiples at which a steady line stands: number, power, and the other's quiet power there."""
    speed = 2 ** ((100 * match.transposition_semitones + match.tuning_cents) / 1200)
    there = noisy[:, bins[:, None] + np.arange(-1, 2)].sum(axis=2)
    # Played at another speed, a line of the one lies elsewhere in the other.
    moved = np.round(bins / speed).astype(int)
    here = np.maximum(*(
        clean[:, np.minimum(place, clean.shape[1] - 2)[:, None] + np.arange(-1, 2)].sum(axis=2)
        for place in (bins, moved)
    ))  # fmt: skip
    found = steady_noise(here, there, _LINE_FREE)
    shown = found.told & stands & (found.over_db >= _LINE_LEAST_OVER_DB)
    return [
        (int(index) + 1, float(found.noise[index]), float(found.quiet[index]))
        for index in np.flatnonzero(shown)
    ]


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
