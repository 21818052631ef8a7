"""Steady power that one of two recordings has besides the music, read column by column.

Noise adds its power to whatever plays. Per band ``noisy = h * clean + noise``, so that two levels
of the music, the loud and the quiet quarter of its moments, tell gain and noise apart; what is
steady lies over every quiet moment alike and is never undercut, which neither an element that rests
now and then nor reverberation can do.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.statistics import chosen_quantiles

FloatArray = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]

SHORTEST_S = 8.0  # for quiet and loud moments; our judgement, not measured
_QUARTER = 25.0  # percentile: the loud and the quiet quarter
_FURTHEST_DB = 15.0  # a band's gain from that of the whole
_MOVES = 2.0  # loud moments against quiet ones, for their ratio to tell the gain
_STEADY_DB = 1.0
"""The quiet moments lie so near to the noise, besides what noise scatters by itself. Chosen on the
sample score (rendered): noise from -60 to -48 dBFS stays within 0.5 dB where it shows, a hall or a
roll of the cymbal within 7 dB at best."""


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
    least, most = chosen_quantiles(noisy - gain * clean, quiet, (0.1, 0.9))
    floor = np.percentile(noisy, 2, axis=0)
    # Power of noise in `free` independent values scatters by 4.34 sqrt(2 / free) dB; 90 % of it
    # within 1.28 times that, its lowest fiftieth 2.05 times.
    scatter_db = 4.34 * np.sqrt(2 / np.asarray(free, np.float64))
    near = 10 ** ((_STEADY_DB + 1.28 * scatter_db) / 10)
    far = 10 ** (-(_STEADY_DB + 2.05 * scatter_db) / 10)
    told = (noise > 0) & (most < near * noise) & (least > noise / near) & (floor > far * noise)
    return Steady(gain, noise, gain * quiet_clean, np.asarray(told))


def _median(power: FloatArray, chosen: BoolArray) -> FloatArray:
    return np.asarray(chosen_quantiles(power, chosen, (0.5,))[0])
