"""Hiss and rumble: steady broadband noise that one recording has and the other has not."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.features import BAND_RATE_HZ
from mixcompare.features.grid import LOW_FFT
from mixcompare.pair.clean_and_noisy import SMOOTH_S, Ordered, dbfs
from mixcompare.pair.hum import Hum, reached
from mixcompare.pair.steady_power import Steady, steady_noise
from mixcompare.standards.iec61260 import (
    THIRD_OCTAVE_CENTRES_HZ,
    THIRD_OCTAVE_EDGES_HZ,
)

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

_LEAST_OVER_DB = 3.0  # noise as strong as the quiet moments (10 lg 2)
_PERCEPTIBLE_DB = 1.0  # over the quiet moments; our judgement, not measured
_FEWEST_BANDS, _FEWEST_SHOWN = 5, 3  # side by side; of them over the other by so much
_FAR_OVER_DB, _AUDIBLE_DB = 20.0, 50.0
"""Over quiet moments that hold next to nothing, as above a codec's end; and how far under the music
noise that shows there alone may lie (dither does so by 70 dB and more): our judgement."""
_NOTHING = 10 ** (-96.3 / 10)  # power; a step of 16 bits against full scale
_FADING_DB = 0.2  # a band beside those that show counts as far down as this
HISS_FROM_HZ = 2000.0
"""Noise that reaches above it is called hiss, else rumble (our words)."""


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


def _free(width_hz: npt.ArrayLike) -> FloatArray:
    """Independent values of noise so wide, over the time of smoothing; of one channel, at least."""
    return np.maximum(2 * np.asarray(width_hz) * SMOOTH_S, 1.0)


def hiss_of(pair: Ordered, hum: Hum | None) -> Hiss | None:
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
        if (run & clear).sum() >= _FEWEST_SHOWN
        and (run.sum() >= _FEWEST_BANDS or _fills_nothing(run, found, pair))
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
        over_db=float(10 * np.log10(1 + level / max(found.quiet[shown].sum(), _NOTHING))),
        level_dbfs=dbfs(level),
        below_music_db=pair.below_music_db(level),
        power=power,
    )


def _fills_nothing(run: BoolArray, found: Steady, pair: Ordered) -> bool:
    """Whether bands in which there was nothing hold it, loud enough to be heard there alone."""
    empty = run & (found.over_db >= _FAR_OVER_DB)
    below_db = pair.below_music_db(float(found.noise[empty].sum()))
    return bool(empty.sum() >= _FEWEST_SHOWN and below_db < _AUDIBLE_DB)


def _runs(shown: BoolArray) -> list[BoolArray]:
    """Bands that show, each run of neighbours for itself."""
    labels, count = ndimage.label(shown)
    return [labels == index for index in range(1, count + 1)]
