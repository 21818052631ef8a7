"""Which bands a recording carries, and what its content warns of."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from mixcompare.audio.recording import Recording
from mixcompare.standards.iec61260 import THIRD_OCTAVE_EDGES_HZ

Float32Array = npt.NDArray[np.float32]

FloatArray = npt.NDArray[np.float64]


def usable_band_hz(
    spectrum: FloatArray, sample_rate_hz: int, band_power: Float32Array
) -> tuple[float, float]:
    """Lowest and highest frequency at which a file carries music.

    A codec's low-pass or a lower original sample rate shows as a cliff: within a sixth of an
    octave the mean spectrum falls by more than 20 dB and never comes back. Old recordings and
    noisy ones end where a band no longer moves: its loudest and softest moments differ by less
    than 4 dB although the whole does, or it lies more than 90 dB under the whole.

    Parameters
    ----------
    spectrum : ndarray, shape (bins,)
        Mean power per bin up to half the sample rate.
    sample_rate_hz : int
        Of the samples.
    band_power : ndarray, shape (frames, 31, 2)
        Third-octave power.

    Returns
    -------
    tuple of float
    """
    nyquist = sample_rate_hz / 2
    bins = len(spectrum)
    level = 10 * np.log10(np.maximum(spectrum, 1e-20))
    centre = np.arange(bins) * nyquist / (bins - 1)
    top = 0.97 * nyquist
    # Highest level from each bin up; a cliff falls 20 dB below what lies just under it for good.
    highest_above = np.maximum.accumulate(level[::-1])[::-1]
    upper = np.flatnonzero(centre >= 2000)
    starts = (upper * 2 ** (-1 / 6)).astype(np.int64)
    ends = np.minimum(upper + np.maximum((upper - starts) // 2, 2), bins - 1)
    # No median exceeds the highest level: few bins are left to look at.
    deep = highest_above[starts] - highest_above[ends] > 20
    for index, below, beyond in zip(upper[deep], starts[deep], ends[deep], strict=True):
        inside = float(np.median(level[below : index + 1]))
        if inside > -130 and inside - highest_above[beyond] > 20:
            top = min(top, float(centre[index]))
            break
    whole = band_power.sum(axis=(1, 2), dtype=np.float64)
    power = band_power.sum(axis=2, dtype=np.float64)
    loud = np.percentile(power, 95, axis=0)
    soft = np.percentile(power, 5, axis=0)
    moves = loud > 10**0.4 * soft
    if np.percentile(whole, 95) < 10**0.6 * max(np.percentile(whole, 5), 1e-20):
        moves[:] = True
    carried = (loud > 1e-9 * np.percentile(whole, 95)) & (loud > 1e-13) & moves
    good = np.flatnonzero(carried)
    if len(good) == 0:
        return 0.0, top
    edges = THIRD_OCTAVE_EDGES_HZ
    low = 0.0 if good[0] == 0 else float(edges[good[0]])
    return low, min(top, float(edges[good[-1] + 1]))


def content_warnings(
    recording: Recording, clipped: int, usable: tuple[float, float]
) -> tuple[str, ...]:
    """Sentences on what the content warns of: clipping, a narrow band, a short recording."""
    warnings = []
    if clipped:
        places = "place" if clipped == 1 else "places"
        warnings.append(f"{recording.name} is clipped in {clipped} {places}.")
    if usable[1] < min(0.9 * recording.sample_rate_hz / 2, 15_000):
        warnings.append(
            f"{recording.name} carries nothing usable above {usable[1] / 1000:.1f} kHz;"
            " bands above are left out."
        )
    if usable[0] > 60:
        warnings.append(
            f"{recording.name} carries nothing usable below {usable[0]:.0f} Hz;"
            " bands below are left out."
        )
    if recording.duration_s < 8:
        warnings.append(
            f"{recording.name} is only {recording.duration_s:.1f} s long: estimates are rough."
        )
    return tuple(warnings)
