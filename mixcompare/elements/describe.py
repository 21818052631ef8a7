"""What an element is, in the trade's words: repeating figure, leading line, bass, percussion.

Judged from the element's own spectrogram: where it lies, whether one pitch or many sound at
a time, how regular its attacks are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage, signal

from mixcompare.elements.change import share_of
from mixcompare.pair.notes import PARTIALS
from mixcompare.pair.spectra import RATE_HZ, PairSpectra

FloatArray = npt.NDArray[np.float64]

FIGURE, LINE, BASS, PERCUSSION, REGISTER = (
    "repeating_figure",
    "leading_line",
    "bass",
    "percussion",
    "register",
)

# Semitones to partials 1 to 6 (nearest of equal temperament).
_PARTIALS = PARTIALS[:6]
_SHORTEST_SPAN_S = 0.6  # our judgement, not measured
_OWN_SHARE = 0.4  # of a cell: mostly the element's; chosen on the benchmark's tuning set
_LONGEST_MOTIF = 24  # notes
_LEAST_ALIKE = 0.4  # of the steps that recur one motif later; our judgement, not measured
_STRAY = 0.1  # of the amount of the largest stretch
_LARGEST_GAP_S = 1.6  # shorter rests stay within one stretch; our judgement, not measured
_EVEN = 0.4  # comb contrast: figures reach 0.5 to 1.3, singing lines 0.05 to 0.3
_CLOCKWORK = 0.8  # comb contrast of no line or bass; our judgement, not measured
_SLOWEST_FIGURE = 1.8  # notes a second
_HIGHEST_BASS_HZ = 700.0  # for the lowest pitches; chosen on the benchmark's tuning set
_FASTEST = 9.0  # the spectrogram's clock has 20 frames a second


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
    motif_notes : int or None
        After how many notes its pattern comes again; None where that can't be told.
    """

    kind: str
    subject: str
    band_hz: tuple[float, float]
    spans_s: tuple[tuple[float, float], ...]
    notes_per_s: float | None
    motif_notes: int | None = None


def describe(energy: FloatArray, spectra: PairSpectra, repeats: bool = False) -> Description:
    """Describe an element from its power per cell.

    Parameters
    ----------
    energy : ndarray, shape (n, bands)
        Of the element, per cell.
    spectra : PairSpectra
        Of which ``energy`` is a part.
    repeats : bool
        Whether the element is known to be a repeating figure.
    """
    own = own_cells(energy, spectra)
    band = _band(own, spectra.centre_hz)
    spans = active_spans(own.sum(axis=1), spectra.times_s)
    monophony = _monophony(energy, spectra.centre_hz)
    rate, evenness = attack_rhythm(energy, spectra.times_s, spans)
    tonal = _tonality(energy, spectra.centre_hz)
    where = _where(band)
    centre = float(np.sqrt(band[0] * band[1]))
    even = rate is not None and evenness > _EVEN and rate >= _SLOWEST_FIGURE
    figure = Description(FIGURE, f"repeating {where} figure", band, spans, None)
    if rate is not None and even:
        motif = motif_notes(energy, spectra, rate, spans)
        subject = f"{figure.subject}, {rate:.1f} notes a second"
        figure = replace(figure, subject=subject, notes_per_s=rate, motif_notes=motif)
    if repeats:
        return figure
    # A drum's overtones follow no harmonic series; a bass line's do, but plucked ones die away
    # before many of them are heard.
    drummed = tonal < 0.5 or (monophony < 0.5 and tonal < 0.95)
    if centre < 400 and drummed:
        subject = "low drums" if tonal < 0.5 else "low drums or plucked basses"
        return Description(PERCUSSION, subject, band, spans, None)
    lowest = centre < 160 or (centre < 500 and carries(own, spectra) > 0.5)
    if lowest and evenness < _CLOCKWORK:
        return Description(BASS, "bass line", band, spans, None)
    leading = monophony > 0.6 and leads(energy, spectra) > 0.45
    if leading and evenness < _CLOCKWORK:
        return Description(LINE, "leading line", band, spans, None)
    if even:
        return figure
    if leading:
        return Description(LINE, "leading line", band, spans, None)
    if lowest:
        return Description(BASS, "bass line", band, spans, None)
    if tonal < 0.3:
        return Description(PERCUSSION, f"{where} percussion", band, spans, None)
    subject = f"{where} register, {_hertz(band[0])} to {_hertz(band[1])}"
    return Description(REGISTER, subject, band, spans, None)


def _hertz(frequency: float) -> str:
    if frequency >= 1000:
        return f"{frequency / 1000:.1f} kHz"
    return f"{round(frequency, -1):.0f} Hz"


def _where(band: tuple[float, float]) -> str:
    """By the middle of the range, which lies an octave or so above the fundamentals."""
    centre = np.sqrt(band[0] * band[1])
    if centre < 200:
        return "low"
    return "middle" if centre < 650 else "high"


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
    active = ndimage.binary_closing(np.pad(active, 40), np.ones(int(_LARGEST_GAP_S * RATE_HZ)))[
        40:-40
    ]
    labels, count = ndimage.label(active)
    amounts = ndimage.sum_labels(np.sqrt(level), labels, np.arange(1, count + 1))
    spans = []
    for index in range(1, count + 1):
        frames = np.flatnonzero(labels == index)
        start, end = float(times_s[frames[0]]), float(times_s[frames[-1]] + 1 / RATE_HZ)
        stray = amounts[index - 1] < _STRAY * amounts.max()
        if end - start >= _SHORTEST_SPAN_S and not stray:
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


def leads(energy: FloatArray, spectra: PairSpectra) -> float:
    """How much of the whole's most salient line is an element's while it plays, 0 to 1.

    The line is, at each moment, the pitch from G3 up whose partials together are loudest; its
    three strongest partials are looked up in the element's share.
    """
    semitones = np.flatnonzero((spectra.centre_hz > 190) & (spectra.centre_hz < 5_500))
    power = ndimage.gaussian_filter1d(spectra.reference, 2.0, axis=0)
    # Ears weigh the upper middle more; a rising weight keeps a loud bass from leading.
    loud = np.sqrt(power[:, semitones] * spectra.centre_hz[semitones])
    salience = _salience(loud, (1.0, 0.8, 0.6, 0.4))
    salience[:, np.flatnonzero(spectra.centre_hz[semitones] > 2_200)] = 0
    best = salience.argmax(axis=1)
    rows = np.arange(len(best))
    weight = salience[rows, best] * _playing(energy)
    share = share_of(energy, spectra)[:, semitones]
    return float((share[rows, best] * weight).sum() / (weight.sum() + 1e-20))


def _salience(amplitude: FloatArray, weights: tuple[float, ...]) -> FloatArray:
    """Of every pitch, by what sounds at its first partials; same shape, (n, semitones)."""
    count = amplitude.shape[1]
    salience = np.zeros_like(amplitude)
    for partial, weight in zip(_PARTIALS, weights, strict=False):
        salience[:, : count - partial] += weight * amplitude[:, partial:]
    return salience


def carries(energy: FloatArray, spectra: PairSpectra) -> float:
    """How much of the lowest pitches that sound belongs to an element while it plays, 0 to 1."""
    low = np.flatnonzero(spectra.centre_hz < _HIGHEST_BASS_HZ)
    power = ndimage.gaussian_filter1d(spectra.reference, 2.0, axis=0)
    top = power.max(axis=1, keepdims=True)
    power = power[:, low]
    sounds = power > 0.01 * np.maximum(top, 0.05 * np.percentile(top, 90))
    sounds &= power >= ndimage.maximum_filter1d(power, 3, axis=1)
    rows, first = np.arange(len(power)), sounds.argmax(axis=1)
    weight = np.sqrt(power[rows, first]) * sounds.any(axis=1) * _playing(energy)
    share = share_of(energy, spectra)[:, low]
    return float((share[rows, first] * weight).sum() / (weight.sum() + 1e-20))


def own_cells(energy: FloatArray, spectra: PairSpectra) -> FloatArray:
    """The cells that are mostly the element's; all if there are hardly any."""
    mostly = np.where(energy > _OWN_SHARE * spectra.reference, energy, 0.0)
    return mostly if mostly.sum() > 0.1 * energy.sum() else energy


def _playing(energy: FloatArray) -> npt.NDArray[np.bool_]:
    level = ndimage.maximum_filter1d(energy.sum(axis=1), 11)
    playing: npt.NDArray[np.bool_] = level > 0.025 * np.percentile(level, 98)
    return playing


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
    energy: FloatArray, times_s: FloatArray, spans_s: tuple[tuple[float, float], ...]
) -> tuple[float | None, float]:
    """Attacks per second of an element, and how evenly they come.

    Sudden rises of the element's own amplitude are summed over its bands, and the rhythm's
    autocorrelation is read with a comb: at an even pulse of period T it is high at every
    multiple of T and low half way between, which also settles the octave.

    Returns
    -------
    notes_per_s : float or None
    evenness : float
        Mean autocorrelation at the comb's teeth minus that between them; about 0 for none,
        above 1 for a clockwork.
    """
    rise = np.maximum(np.diff(np.sqrt(energy), axis=0), 0)
    rise = np.maximum(rise - 1.5 * ndimage.uniform_filter1d(rise, 12, axis=0), 0).sum(axis=1)
    playing = np.zeros(len(rise), bool)
    for start, end in spans_s:
        playing |= (times_s[:-1] >= start) & (times_s[:-1] <= end)
    rise = rise[playing]
    if len(rise) < 3 * RATE_HZ:
        return None, 0.0
    rise = rise - ndimage.uniform_filter1d(rise, int(RATE_HZ))
    correlation = signal.correlate(rise, rise, "full", method="fft")[len(rise) - 1 :]
    correlation = correlation[: int(4 * RATE_HZ)] / (correlation[0] + 1e-20)
    lags = np.arange(len(correlation)) / RATE_HZ
    periods = 1 / np.geomspace(_FASTEST, 1.2, 600)
    teeth = np.arange(1, 9)
    contrast = np.array(
        [
            np.interp(teeth * period, lags, correlation, right=0.0).mean()
            - np.interp((teeth - 0.5) * period, lags, correlation, right=0.0).mean()
            for period in periods
        ]
    )
    best = int(contrast.argmax())
    return float(1 / periods[best]), float(contrast[best])


def motif_notes(
    energy: FloatArray,
    spectra: PairSpectra,
    notes_per_s: float,
    spans_s: tuple[tuple[float, float], ...],
) -> int | None:
    """After how many notes a figure's pattern comes again.

    The steps from note to note are compared with themselves some notes later; a semitone's
    difference is let pass, for a pattern moves through the scale. Told where one lag and its
    multiples stand clear of all others.
    """
    step = RATE_HZ / notes_per_s
    amplitude = np.sqrt(energy)
    rise = np.maximum(np.diff(amplitude, axis=0), 0).sum(axis=1)
    frames = np.arange(len(rise))
    phases = np.arange(0, step, 0.25)
    struck = [np.interp(np.arange(at, len(rise), step), frames, rise).sum() for at in phases]
    onsets = np.arange(phases[int(np.argmax(struck))], len(rise), step)
    tones = amplitude[:, spectra.centre_hz < 5_500]
    salience = _salience(tones, (1.0, 0.7, 0.5, 0.35))
    pitch, playing = [], []
    for onset in onsets:
        first, last = round(onset + 0.15 * step), round(onset + 0.85 * step) + 1
        pitch.append(int(salience[first:last].mean(axis=0).argmax()) if first < len(tones) else 0)
        at_s = float(spectra.times_s[min(int(onset), len(rise))])
        playing.append(any(start <= at_s <= end for start, end in spans_s))
    steps, sounds = np.diff(pitch), np.array(playing[1:]) & np.array(playing[:-1])
    alike: dict[int, float] = {}
    for lag in range(2, _LONGEST_MOTIF + 1):
        both = sounds[:-lag] & sounds[lag:]
        if both.sum() < 2 * lag:
            break
        alike[lag] = float((np.abs(steps[:-lag] - steps[lag:])[both] <= 1).mean())
    if len(alike) < 3:
        return None
    best = max(alike.values())
    motif = next(lag for lag, share in alike.items() if share >= 0.75 * best)
    others = [share for lag, share in alike.items() if lag % motif]
    clear = best >= _LEAST_ALIKE and (not others or best >= 1.6 * max(others))
    return motif if clear else None
