"""A bell or a shelf: its response, exact at a frequency and averaged over third-octave bands.

Conventions
-----------
A filter has a frequency, a gain in dB and a Q, with the analogue prototypes that are in general
use (Bristow-Johnson, "Cookbook formulae for audio EQ biquad filter coefficients", 1994, also
published as a W3C note, 2021): a bell reaches its gain at its frequency, a shelf half its gain.
The opposite gain is the exact inverse. Responses are power averages over third-octave bands.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ

FloatArray = npt.NDArray[np.float64]

BELL, LOW_SHELF, HIGH_SHELF = "bell", "low_shelf", "high_shelf"
KINDS = BELL, LOW_SHELF, HIGH_SHELF
# Resolution: three points within a third octave.
IN_BAND = 10 ** (0.1 * np.array([-0.35, 0.0, 0.35]))


@dataclass(frozen=True)
class Filter:
    """One bell or shelf.

    Attributes
    ----------
    kind : str
        ``"bell"``, ``"low_shelf"`` or ``"high_shelf"``.
    frequency_hz, gain_db, q : float
    """

    kind: str
    frequency_hz: float
    gain_db: float
    q: float

    @property
    def logs(self) -> FloatArray:
        """Logarithm of the frequency, gain, logarithm of Q."""
        return np.array([np.log(self.frequency_hz), self.gain_db, np.log(self.q)])

    def response_db(self, frequency_hz: npt.ArrayLike) -> FloatArray:
        """Gain at the given frequencies."""
        power = _power_response(self.kind, self.logs, np.asarray(frequency_hz, np.float64))
        return np.asarray(10 * np.log10(power))

    def band_response_db(self, centre_hz: npt.ArrayLike = THIRD_OCTAVE_CENTRES_HZ) -> FloatArray:
        """Gain in third-octave bands, averaged as power."""
        return band_response_db(self.kind, self.logs, np.asarray(centre_hz, np.float64))


def _power_response(kind: str, values: FloatArray, frequency_hz: FloatArray) -> FloatArray:
    """Squared magnitude of the analogue prototype.

    ``values`` holds log frequency, gain and log Q along its last axis; the others are broadcast
    against the frequencies.
    """
    log_frequency, gain_db, log_q = (values[..., column, None] for column in range(3))
    x = frequency_hz * np.exp(-log_frequency)
    a = 10 ** (gain_db / 40)
    square = x**2
    if kind == BELL:
        across = x * np.exp(-log_q)
        above, below = a * across, across / a
        return np.asarray(((1 - square) ** 2 + above**2) / ((1 - square) ** 2 + below**2))
    side = a * square * np.exp(-2 * log_q)
    rising = (1 - a * square) ** 2 + side
    falling = (a - square) ** 2 + side
    if kind == LOW_SHELF:
        return np.asarray(a**2 * falling / rising)
    return np.asarray(a**2 * rising / falling)


def band_response_db(kinds: npt.ArrayLike, values: FloatArray, centre_hz: FloatArray) -> FloatArray:
    """Gain in third-octave bands, averaged as power, shape (..., bands).

    ``kinds`` are those of the first axes of ``values``.
    """
    inside = (centre_hz[:, None] * IN_BAND).ravel()
    power = np.empty((*values.shape[:-1], len(inside)))
    for kind in KINDS:
        mine = np.asarray(kinds) == kind
        power[mine] = _power_response(kind, values[mine], inside)
    mean = power.reshape(*power.shape[:-1], len(centre_hz), len(IN_BAND)).mean(axis=-1)
    return np.asarray(10 * np.log10(mean))
