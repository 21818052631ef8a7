"""How a mix is made of its stems: for each a gain, an arrival, a polarity and a short filter.

Conventions
-----------
Each channel of the mix is taken as the sum of the stems' same channels (a mono stem feeds both),
each through a filter of its own: the least-squares solution for every bin of the spectrum (Bendat
and Piersol, *Random Data*, 4th edition, 2010, chapter 7: many inputs, one output). The filter's
impulse response gives arrival, polarity and direct gain of every stem; what it does not explain is
a hall's late part, or something that no stem holds. Gains and arrivals are told from the sum of
both channels, which neither width nor panning changes much.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import fft

from mixcompare.audio.recording import Recording
from mixcompare.features.grid import ANALYSIS_RATE_HZ, SEMITONE_FFT
from mixcompare.features.together import BATCH, RATE_HZ, frames_together

FloatArray = npt.NDArray[np.float64]
ComplexArray = npt.NDArray[np.complex128]

BLOCKS = 4  # of time; their spread is the doubt
EDGES_HZ = np.geomspace(56.0, 5600.0, 21)
"""Of the bands in which direct gains are told: thirds of an octave, about."""
_BEFORE_S, _AFTER_S = 0.03, 0.06  # of the filters that are kept, about the common arrival
_DIRECT_S = 0.004
"""Half width of the direct sound about its arrival. Of 18 pairs of one take under two tails 3 ms
and 8 ms do as well, all 171 ms twice as badly (median error 0.2, 0.2 and 0.45 dB)."""
_LEAST_SAID = 0.25  # what is damped more is not given back in full: there is little but noise
_FINER = 16  # times: resolution of the arrival
_LEFT, _RIGHT, _MID = range(3)
SOUNDS = 0.03  # of what a stem at the usual gain explains: less does not sound in the mix


@dataclass(frozen=True)
class Making:
    """How a mix is made of stems.

    Attributes
    ----------
    filters : ndarray, shape (stems, 2, taps)
        From each stem's channels to the mix's, at ``ANALYSIS_RATE_HZ``.
    first_tap : int
        Samples by which the first of them lies before time 0 (negative).
    direct : ndarray, shape (1 + BLOCKS, stems, bands)
        Amplitude of the direct sound in the mix over the stem's, of all time and of each block.
    weight : ndarray, shape (stems, bands)
        Share of the stem's energy that says so.
    in_block : ndarray, shape (BLOCKS, stems)
        Share of the stem's energy that lies in each block.
    delay_s, delay_deviation_s : ndarray, shape (stems,)
        Later than the stem, and its standard deviation.
    is_inverted : ndarray of bool, shape (stems,)
    sounds : ndarray, shape (stems,)
        Energy that the stem explains in the mix, of its own energy at the usual gain.
    alike : ndarray, shape (stems, stems)
        Correlation of the stems' sums of channels, 0 to 1: 1 where one is a copy of the other.
    with_mix : ndarray, shape (stems,)
        The same between each stem and the mix.
    between : ndarray, shape (BLOCKS, 2, bins, stems, stems)
        Cross powers of the stems by block of time and channel.
    frames : int
        That all this is of.
    """

    filters: FloatArray
    first_tap: int
    direct: FloatArray
    weight: FloatArray
    in_block: FloatArray
    delay_s: FloatArray
    delay_deviation_s: FloatArray
    is_inverted: npt.NDArray[np.bool_]
    sounds: FloatArray
    alike: FloatArray
    with_mix: FloatArray
    between: npt.NDArray[np.complex64]
    frames: int

    def of(self, places: Sequence[int]) -> Making:
        """The same of some stems only, in this order."""
        some = np.asarray(places, np.intp)
        return replace(
            self,
            filters=self.filters[some],
            direct=self.direct[:, some],
            weight=self.weight[some],
            in_block=self.in_block[:, some],
            delay_s=self.delay_s[some],
            delay_deviation_s=self.delay_deviation_s[some],
            is_inverted=self.is_inverted[some],
            sounds=self.sounds[some],
            alike=self.alike[np.ix_(some, some)],
            with_mix=self.with_mix[some],
            between=self.between[..., some, :][..., some],
        )

    def near(self, within_s: float) -> Making:
        """The same with nothing of the filters but what comes about each stem's arrival."""
        taps_s = (np.arange(self.filters.shape[2]) + self.first_tap) / ANALYSIS_RATE_HZ
        away = np.abs(taps_s - self.delay_s[:, None]) / within_s
        return replace(self, filters=self.filters * np.clip(1.5 - away, 0, 1)[:, None])

    def responses(self, size: int) -> npt.NDArray[np.complex64]:
        """Filters in the bins of a window of so many samples, shape (stems, 2, bins)."""
        padded = np.zeros((*self.filters.shape[:2], size))
        taps = np.arange(self.filters.shape[2]) + self.first_tap
        padded[..., taps % size] = self.filters
        return np.asarray(fft.rfft(padded, axis=-1), np.complex64)

    @property
    def gain_db(self) -> FloatArray:
        """Direct sound in the mix against the stem, shape (stems,)."""
        power = (np.square(self.direct[0]) * self.weight).sum(axis=1)
        return np.asarray(10 * np.log10((power + 1e-12) / (self.weight.sum(axis=1) + 1e-12)))


@dataclass(frozen=True)
class Laid:
    """A mix on the common clock.

    Attributes
    ----------
    mix : Recording
    start_s : float
        Where the common clock begins in it.
    gain : ndarray, shape (frames,)
        Amplitude that it is given from frame to frame; 0 where nothing of it counts.
    """

    mix: Recording
    start_s: float
    gain: FloatArray

    @classmethod
    def of(cls, mix: Recording, start_s: float = 0.0, duration_s: float | None = None) -> Laid:
        """A mix as it is, from a moment on."""
        lasts_s = mix.duration_s if duration_s is None else duration_s
        at_s = np.arange(int(lasts_s * RATE_HZ)) / RATE_HZ
        return cls(mix, start_s, wholly_inside(at_s, 0.0, lasts_s).astype(np.float64))


def wholly_inside(at_s: FloatArray, start_s: float, end_s: float) -> npt.NDArray[np.bool_]:
    """Frames whose windows pass neither end: there stems may go on where a mix is silent."""
    half_s = SEMITONE_FFT / (2 * ANALYSIS_RATE_HZ)
    return np.asarray((at_s >= start_s + half_s) & (at_s <= end_s - half_s))


def making_of(
    mix: Recording, stems: Sequence[Recording], starts_s: Sequence[float], duration_s: float
) -> Making:
    """Solve for the filters from every stem to a mix.

    Parameters
    ----------
    mix : Recording
        Of which they are stems.
    stems : sequence of Recording
        Mono or stereo.
    starts_s : sequence of float
        Where the common clock begins in the mix, and in each stem.
    duration_s : float
        From there on.
    """
    return makings_of([Laid.of(mix, starts_s[0], duration_s)], stems, starts_s[1:])[0]


def makings_of(
    mixes: Sequence[Laid], stems: Sequence[Recording], starts_s: Sequence[float]
) -> list[Making]:
    """Solve for the filters from every stem to each of several mixes of one take.

    Parameters
    ----------
    mixes : sequence of Laid
        On one clock, with as many frames each.
    stems : sequence of Recording
        Mono or stereo; read once.
    starts_s : sequence of float
        Where the common clock begins in each of them.
    """
    frames = [int((laid.gain > 0).sum()) for laid in mixes]
    sums = zip(_statistics(mixes, stems, starts_s), frames, strict=True)
    return [_made_of(products, max(count, 1)) for products, count in sums]


def _made_of(products: ComplexArray, count: int) -> Making:
    """A mix's making from the products of mix and stems by block, channel and bin."""
    cross, towards = products[..., 1:, 1:], products[..., 1:, 0]
    power = products[..., 0, 0].real.sum(axis=0)
    own = np.einsum("bcfii->cif", cross).real
    usual = float(power[_MID].sum() / max(float(own[_MID].sum()), 1e-30))
    ridge = power / count / max(usual, 1e-12)
    whole = least_squares(cross.sum(axis=0), towards.sum(axis=0), ridge)
    delay_s, peak = peaks(whole[_MID])
    said = own[_MID] / (own[_MID] + ridge[_MID] + 1e-30)
    blocks = [least_squares(*one, ridge / BLOCKS)[_MID] for one in zip(cross, towards, strict=True)]
    own_of = [np.einsum("fii->if", one[_MID]).real for one in cross]
    directs = [_direct(whole[_MID], delay_s, own[_MID], said)] + [
        _direct(response, delay_s, part, part / (part + ridge[_MID] / BLOCKS + 1e-30))
        for response, part in zip(blocks, own_of, strict=True)
    ]
    heard = (np.square(np.abs(whole[_MID])) * own[_MID]).sum(axis=1)
    alike, with_mix = _coherence(cross, towards, power)
    both = own[:_MID] / (own[:_MID] + ridge[:_MID, None] + 1e-30)
    undamped = whole[:_MID] / np.maximum(both, _LEAST_SAID)
    filters, first = _kept(undamped, float(np.median(delay_s)))
    return Making(
        filters=filters,
        first_tap=first,
        direct=np.array(directs),
        weight=_in_bands(said * own[_MID]) / np.maximum(own[_MID].sum(axis=1), 1e-30)[:, None],
        in_block=np.array([part.sum(axis=1) for part in own_of])
        / np.maximum(own[_MID].sum(axis=1), 1e-30),
        delay_s=delay_s,
        delay_deviation_s=_spread(np.array([peaks(response)[0] for response in blocks])),
        is_inverted=peak < 0,
        sounds=heard / np.maximum(own[_MID].sum(axis=1) * usual, 1e-30),
        alike=alike,
        with_mix=with_mix,
        between=cross[:, :_MID].astype(np.complex64),
        frames=count,
    )


def _statistics(
    mixes: Sequence[Laid], stems: Sequence[Recording], starts_s: Sequence[float]
) -> list[ComplexArray]:
    """Products of each mix and the stems by block of time, channel and bin; the mix comes first."""
    bins, number, count = SEMITONE_FFT // 2 + 1, len(stems), len(mixes[0].gain)
    out = [np.zeros((BLOCKS, 3, bins, number + 1, number + 1), np.complex128) for _ in mixes]
    files = [*(laid.mix for laid in mixes), *stems]
    begins_s = [*(laid.start_s for laid in mixes), *starts_s]
    batches = frames_together(files, (SEMITONE_FFT,), count, begins_s)
    for index, (spectra,) in enumerate(batches):
        first = index * BATCH
        block = min(first * BLOCKS // count, BLOCKS - 1)
        last = first + spectra.shape[2]
        for laid, mix in zip(mixes, spectra, strict=False):
            mix *= laid.gain[first:last, None]
        channels = np.concatenate([spectra, spectra.sum(axis=1, keepdims=True) / 2], axis=1)
        by_bin = np.ascontiguousarray(channels.transpose(1, 3, 0, 2))  # channel, bin, file, frame
        known: dict[bytes, ComplexArray] = {}
        for place, laid in enumerate(mixes):
            inside = laid.gain[first:last] > 0
            if inside.any():
                key = inside.tobytes()
                if key not in known:
                    known[key] = _products(by_bin if inside.all() else by_bin[..., inside])
                rows = [place, *range(len(mixes), len(files))]
                out[place][block] += known[key][..., rows, :][..., rows]
    return out


def _products(by_bin: npt.NDArray[np.complex64]) -> ComplexArray:
    """Of every file with every other one, over the frames."""
    return np.asarray(by_bin.conj() @ by_bin.swapaxes(2, 3))


def least_squares(cross: ComplexArray, towards: ComplexArray, ridge: FloatArray) -> ComplexArray:
    """Least-squares responses, shape (channels, stems, bins), small where a stem says nothing.

    The ridge is the mix's own power in the bin over the squared gain that is expected: so much a
    response costs that explains nothing (the mean of a Gaussian posterior).
    """
    damped = cross + (ridge[..., None, None] + 1e-20) * np.eye(cross.shape[-1])
    solved = np.linalg.solve(damped, towards[..., None])[..., 0]
    return np.asarray(solved.swapaxes(1, 2), np.complex128)


def peaks(responses: ComplexArray) -> tuple[FloatArray, FloatArray]:
    """When every stem's direct sound comes, in s, and its height there with its sign."""
    taps = 2 * (responses.shape[1] - 1)
    finer = fft.irfft(responses, taps * _FINER, axis=1) * _FINER
    place = np.abs(finer).argmax(axis=1)
    late = np.where(place > taps * _FINER // 2, place - taps * _FINER, place)
    return late / (_FINER * ANALYSIS_RATE_HZ), finer[np.arange(len(finer)), place]


def _direct(
    responses: ComplexArray, delay_s: FloatArray, own: FloatArray, said: FloatArray
) -> FloatArray:
    """Amplitude of the direct sound in bands, its sign kept; what was damped is given back."""
    taps = 2 * (responses.shape[1] - 1)
    time_s = fft.fftfreq(taps) * taps / ANALYSIS_RATE_HZ
    away = np.abs(time_s - delay_s[:, None]) / _DIRECT_S
    near = fft.rfft(fft.irfft(responses, axis=1) * np.clip(1.5 - away, 0, 1), axis=1)
    turned = np.exp(2j * np.pi * fft.rfftfreq(taps, 1 / ANALYSIS_RATE_HZ) * delay_s[:, None])
    amplitude = _in_bands((near * turned).real * own)
    return np.asarray(amplitude / np.maximum(_in_bands(said * own), 1e-30))


def _in_bands(values: FloatArray) -> FloatArray:
    """Sums over the bins of every band."""
    bins_hz = fft.rfftfreq(2 * (values.shape[1] - 1), 1 / ANALYSIS_RATE_HZ)
    inside = (bins_hz >= EDGES_HZ[:-1, None]) & (bins_hz < EDGES_HZ[1:, None])
    return np.asarray(values @ inside.T)


def _spread(delay_s: FloatArray) -> FloatArray:
    """Standard deviation of the arrivals, by the middle half of the blocks of time."""
    away = np.median(np.abs(delay_s - np.median(delay_s, axis=0)), axis=0)
    return np.maximum(1.4826 * away, 0.5 / (_FINER * ANALYSIS_RATE_HZ))


def _kept(responses: ComplexArray, about_s: float) -> tuple[FloatArray, int]:
    """The filters about the common arrival; the rest of them is noise."""
    filters = fft.irfft(responses, axis=-1)
    first = round((about_s - _BEFORE_S) * ANALYSIS_RATE_HZ)
    last = round((about_s + _AFTER_S) * ANALYSIS_RATE_HZ)
    taps = np.arange(first, last)
    fade = np.minimum(1.0, np.minimum(taps - first + 1, last - taps) / (0.005 * ANALYSIS_RATE_HZ))
    return (filters[..., taps % filters.shape[-1]] * fade).swapaxes(0, 1), first


def _coherence(
    cross: ComplexArray, towards: ComplexArray, power: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Correlation at lag zero, between stems and between each and the mix."""
    between = cross[:, _MID].sum(axis=(0, 1))
    own = np.maximum(np.diag(between).real, 1e-30)
    whole = max(float(power[_MID].sum()), 1e-30)
    mixed = np.abs(towards[:, _MID].sum(axis=(0, 1))) / np.sqrt(own * whole)
    return np.asarray(np.abs(between) / np.sqrt(np.outer(own, own))), np.asarray(mixed)
