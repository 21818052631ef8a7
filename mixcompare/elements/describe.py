"""What an element is, in the trade's words: repeating figure, leading line, bass, percussion.

Judged from the element's own spectrogram: where it lies, whether one pitch or many sound at
a time, how regular its attacks are.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy import ndimage, signal

from mixcompare.features import ONSET_RATE_HZ, LOWEST_ONSET, Features
from mixcompare.bands import hz_to_pitch
from mixcompare.spectra import RATE_HZ, PairSpectra

FloatArray = npt.NDArray[np.float64]

FIGURE, LINE, BASS, PERCUSSION, REGISTER = (
    "repeating_figure",
    "leading_line",
    "bass",
    "percussion",
    "register",
)

_PARTIALS = np.array([0, 12, 19, 24, 28, 31])
_SHORTEST_SPAN_S = 0.6
_LARGEST_GAP_S = 1.6


@dataclass(frozen=True)
class Description:
    """What an element is.

    Attributes
    ----------
    kind : str
        One of ``repeating_figure``, ``leading_line``, ``bass``, ``percussion``, ``register``.
    subject : str
        In plain words.
    band_hz : (low, high)
        Range that holds seven eighths of its energy.
    spans_s : tuple of (start, end)
        Where it plays.
    notes_per_s : float or None
        Rate of a repeating figure.
    """

    kind: str
    subject: str
    band_hz: tuple[float, float]
    spans_s: tuple[tuple[float, float], ...]
    notes_per_s: float | None


def describe(energy: FloatArray, pair: PairSpectra, reference: Features) -> Description:
    """Describe an element from its power per cell.

    Parameters
    ----------
    energy : ndarray, shape (n, bands)
    pair : PairSpectra
        Of which ``energy`` is a part.
    reference : Features
        For the attacks on a finer clock.
    """
    band = _band(energy, pair.centre_hz)
    spans = active_spans(energy.sum(axis=1), pair.times_s)
    monophony = _monophony(energy, pair.centre_hz)
    rate, regularity = attack_rhythm(energy, pair, reference, spans)
    tonal = _tonality(energy, pair.centre_hz)
    where = _where(band)
    centre = float(np.sqrt(band[0] * band[1]))
    if _single_low_pitch(energy, pair.centre_hz):
        return Description(PERCUSSION, "low drums", band, spans, None)
    if rate is not None and regularity > 0.55 and rate >= 1.5 and centre > 160:
        subject = f"repeating {where} figure, {rate:.1f} notes a second"
        return Description(FIGURE, subject, band, spans, rate)
    if centre < 160:
        if tonal < 0.35:
            return Description(PERCUSSION, "low drums", band, spans, None)
        return Description(BASS, "bass line", band, spans, None)
    if tonal < 0.3:
        return Description(PERCUSSION, f"{where} percussion", band, spans, None)
    if monophony > 0.6 and leads(energy, pair) > 0.5:
        return Description(LINE, "leading line", band, spans, None)
    subject = f"{where} register, {_hertz(band[0])} to {_hertz(band[1])}"
    return Description(REGISTER, subject, band, spans, None)


def _hertz(frequency: float) -> str:
    if frequency >= 1000:
        return f"{frequency / 1000:.1f} kHz"
    return f"{round(frequency, -1):.0f} Hz"


def _where(band: tuple[float, float]) -> str:
    centre = np.sqrt(band[0] * band[1])
    if centre < 200:
        return "low"
    return "middle" if centre < 500 else "high"


def _band(energy: FloatArray, centre_hz: FloatArray) -> tuple[float, float]:
    profile = energy.sum(axis=0)
    total = np.cumsum(profile) / (profile.sum() + 1e-30)
    low = int(np.searchsorted(total, 0.06))
    high = int(np.searchsorted(total, 0.94))
    return float(centre_hz[low] * 2 ** (-1 / 24)), float(
        centre_hz[min(high, len(centre_hz) - 1)] * 2 ** (1 / 24)
    )


def active_spans(level: FloatArray, times_s: FloatArray) -> tuple[tuple[float, float], ...]:
    """Stretches in which a level lies within 16 dB of its loud moments."""
    loud = np.percentile(level, 95)
    active = ndimage.maximum_filter1d(level, 5) > 0.025 * loud
    active = ndimage.binary_closing(
        np.pad(active, 40), np.ones(int(_LARGEST_GAP_S * RATE_HZ))
    )[40:-40]
    labels, count = ndimage.label(active)
    spans = []
    for index in range(1, count + 1):
        frames = np.flatnonzero(labels == index)
        start, end = float(times_s[frames[0]]), float(times_s[frames[-1]] + 1 / RATE_HZ)
        if end - start >= _SHORTEST_SPAN_S:
            spans.append((start, end))
    if not spans and len(times_s):
        spans = [(float(times_s[0]), float(times_s[-1]))]
    return tuple(spans)


def _monophony(energy: FloatArray, centre_hz: FloatArray) -> float:
    """Share of the energy that one harmonic series at a time explains, 0 to 1."""
    semitones = centre_hz < 5_500
    power = energy[:, semitones]
    count = power.shape[1]
    comb = np.zeros((count, count))
    for pitch in range(count):
        partials = pitch + _PARTIALS
        comb[partials[partials < count], pitch] = 1.0
    explained = (power @ comb).max(axis=1)
    return float(explained.sum() / (power.sum() + 1e-30))


def leads(energy: FloatArray, pair: PairSpectra) -> float:
    """How much of the whole's most salient line belongs to an element, 0 to 1.

    The line is, at each moment, the pitch from G3 up whose partials together are loudest; its
    three strongest partials are looked up in the element's share.
    """
    semitones = np.flatnonzero((pair.centre_hz > 190) & (pair.centre_hz < 5_500))
    power = ndimage.gaussian_filter1d(pair.reference, 2.0, axis=0)
    # Ears weigh the upper middle more; a rising weight keeps a loud bass from leading.
    loud = np.sqrt(power[:, semitones] * pair.centre_hz[semitones])
    count = len(semitones)
    salience = np.zeros((len(loud), count))
    for partial, weight in zip(_PARTIALS[:4], (1.0, 0.8, 0.6, 0.4), strict=True):
        salience[:, : count - partial] += weight * loud[:, partial:]
    salience[:, np.flatnonzero(pair.centre_hz[semitones] > 2_200)] = 0
    best = salience.argmax(axis=1)
    rows = np.arange(len(best))
    weight = salience[rows, best]
    share = np.clip(energy / (pair.reference + 1e-20), 0, 1)[:, semitones]
    return float((share[rows, best] * weight).sum() / (weight.sum() + 1e-20))


def _single_low_pitch(energy: FloatArray, centre_hz: FloatArray) -> bool:
    """Whether one low pitch and its neighbours hold most of the energy, as a drum's does."""
    profile = ndimage.uniform_filter1d(energy.sum(axis=0), 3) * 3
    top = int(profile.argmax())
    return bool(centre_hz[top] < 180 and profile[top] > 0.6 * energy.sum())


def _tonality(energy: FloatArray, centre_hz: FloatArray) -> float:
    """How much the energy gathers in single semitones: 0 for noise, near 1 for clear pitches."""
    semitones = centre_hz < 5_500
    power = energy[:, semitones]
    share_high = 1 - power.sum() / (energy.sum() + 1e-30)
    local = ndimage.uniform_filter1d(power, 7, axis=1) + 1e-30
    peaked = np.maximum(power / local - 1, 0) / 6
    weight = power.sum(axis=1, keepdims=True)
    average = float((peaked * power / (weight + 1e-30)).sum(axis=1) @ weight[:, 0]) / float(
        weight.sum() + 1e-30
    )
    return float(np.clip(2.5 * average, 0, 1) * (1 - share_high))


def attack_rhythm(
    energy: FloatArray,
    pair: PairSpectra,
    features: Features,
    spans_s: tuple[tuple[float, float], ...],
) -> tuple[float | None, float]:
    """Attacks per second of an element and how regular they are.

    The element's spectrum, moment by moment, weighs the rise of the recording's onset bands;
    the rate is the fundamental of that rhythm's autocorrelation.

    Returns
    -------
    notes_per_s : float or None
    regularity : float in [0, 1]
        Height of the autocorrelation's peak at one note.
    """
    semitones = pair.centre_hz < 5_500
    columns = np.round(hz_to_pitch(pair.centre_hz[semitones])).astype(np.int64) - LOWEST_ONSET
    inside = (columns >= 0) & (columns < features.onset_power.shape[1])
    if not inside.any():
        return None, 0.0
    share = energy / (pair.reference + 1e-20)
    share = np.clip(share[:, semitones][:, inside], 0, 1)
    times = np.arange(pair.times_s[0], pair.times_s[-1], 1 / ONSET_RATE_HZ)
    frames = np.clip(np.round(times * ONSET_RATE_HZ).astype(int), 0, len(features.onset_power) - 1)
    power = features.onset_power[frames][:, columns[inside]].astype(np.float64)
    weight = share[np.clip(np.searchsorted(pair.times_s, times), 0, len(share) - 1)]
    masked = power * ndimage.maximum_filter1d(weight, 9, axis=0)
    level = np.log1p(100 * masked / (np.percentile(masked.max(axis=1), 95) + 1e-20))
    rise = np.maximum(np.diff(ndimage.gaussian_filter1d(level, 1.5, axis=0), axis=0), 0).sum(axis=1)
    playing = np.zeros(len(rise), bool)
    for start, end in spans_s:
        playing |= (times[:-1] >= start) & (times[:-1] <= end)
    rise = rise[playing]
    if len(rise) < 2 * ONSET_RATE_HZ:
        return None, 0.0
    rise = rise - ndimage.uniform_filter1d(rise, 100)
    correlation = signal.correlate(rise, rise, "full", method="fft")[len(rise) - 1 :]
    correlation = correlation / (correlation[0] + 1e-20)
    correlation *= len(rise) / np.maximum(len(rise) - np.arange(len(correlation)), 1)
    lags = np.arange(len(correlation)) / ONSET_RATE_HZ
    usable = (lags > 0.07) & (lags < 1.2)
    peaks, _ = signal.find_peaks(correlation[: int(1.3 * ONSET_RATE_HZ)])
    peaks = np.array([peak for peak in peaks if usable[peak]], int)
    if len(peaks) == 0:
        return None, 0.0
    highest = correlation[peaks].max()
    first = peaks[correlation[peaks] > 0.7 * highest][0]
    left, top, right = correlation[first - 1 : first + 2]
    refined = first + 0.5 * (left - right) / min(left - 2 * top + right, -1e-12)
    return float(ONSET_RATE_HZ / refined), float(np.clip(correlation[first], 0, 1))
