"""A pair of which one recording is asked for noise: its powers at the same moments, and levels."""

from __future__ import annotations

import warnings
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from mixcompare.features import BAND_RATE_HZ, Features
from mixcompare.pair.channels import smoothed
from mixcompare.pair.match import Match

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SMOOTH_S = 0.44  # eleven frames of 40 ms; resolution of the levels
_FEWEST_LOUD = 4  # bands, for a moment's level
_RIDDEN_DB = 1.0  # from the 5th to the 95th percentile: less is left alone


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
        size = round(SMOOTH_S * rate_hz) | 1
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

    def below_music_db(self, power: float) -> float:
        """How far the whole of the noisy recording lies above noise of this power."""
        whole = float(self.noisy.band_power.sum(axis=(1, 2), dtype=np.float64).mean())
        return float(10 * np.log10(max(whole - power, 1e-20) / max(power, 1e-20)))


def dbfs(power: float) -> float:
    """Level of the channels' mean, by the power of both; a full-scale sine has a power of 0.5."""
    return float(10 * np.log10(max(power, 1e-20)))
