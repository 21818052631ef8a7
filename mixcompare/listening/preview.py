"""The candidate with other levels of its stems, as a desk would give them: to be heard and judged.

Every stem is taken out of the mix as it sounds there (through a filter with its arrival, its place
and its early reflections up to 5 kHz, and with arrival, place and gain alone above) and put back
with its trim. What is left of the mix is a hall's late part: it follows, band by band and moment by
moment, the stems that feed it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt
import soundfile
from scipy import fft

from mixcompare.alignment.timemap import sample_frames
from mixcompare.audio.recording import Recording
from mixcompare.audio.resampled import resampled
from mixcompare.listening.excerpts import CEILING_DBTP, METER_MARGIN_DB
from mixcompare.listening.writing import new_sound
from mixcompare.standards.bs1770 import TruePeak

FloatArray = npt.NDArray[np.float64]
Samples = npt.NDArray[np.float32]

_BLOCK_S = 5.0  # cost
_CROSS_HZ = (4000.0, 5500.0)  # from the filter to its plain gain
_RAMP_S = 0.2  # of a fader from one trim to another; our choice
_TAPS_S = 0.18  # of the filters at the mix's own rate
_WINDOW = 4096  # samples, for the late part; resolution


@dataclass(frozen=True)
class Trimmed:
    """One stem and how it gets into the mix.

    Attributes
    ----------
    stem : Recording
    start_s : float
        Where the mix begins in it.
    filters : ndarray, shape (2, taps)
        To either channel.
    first_tap : int
        By how many samples the first of them lies before time 0 (negative).
    rate_hz : int
        Of the filters.
    trim_db : callable
        Trims in dB at moments of the mix, in s.
    """

    stem: Recording
    start_s: float
    filters: FloatArray
    first_tap: int
    rate_hz: int
    trim_db: Callable[[FloatArray], FloatArray]


@dataclass(frozen=True)
class Late:
    """By how much a hall's late part rises with the trims.

    Attributes
    ----------
    gain : ndarray, shape (n, bands)
        Of amplitude.
    rate_hz : float
        Rows a second, the first one centred on half a row.
    centre_hz : ndarray, shape (bands,)
    """

    gain: FloatArray
    rate_hz: float
    centre_hz: FloatArray


def write_preview(path: Path, mix: Recording, trimmed: Sequence[Trimmed], late: Late) -> float:
    """Write the mix with the trims as FLAC, below -1 dBTP; by how many dB it was lowered for that.

    Parameters
    ----------
    path : Path
        To be written.
    mix : Recording
        Of the stems.
    trimmed : sequence of Trimmed
        All its stems.
    late : Late
        What becomes of the rest.

    Raises
    ------
    OSError
        If the file cannot be written.
    """
    meter = TruePeak(mix.sample_rate_hz)
    # How far it must be lowered shows at its end: it waits beside its place, in floating point.
    waiting = path.with_suffix(".part")
    rate_hz = mix.sample_rate_hz
    try:
        with new_sound(waiting, rate_hz, 2, ("RF64", "FLOAT")) as file:
            for block in _mixed(mix, trimmed, late):
                meter.push(block)
                file.write(block)
        peak_db = 20 * np.log10(max(float(np.max(meter.peak)), 1e-9)) + METER_MARGIN_DB
        lowered_db = max(peak_db - CEILING_DBTP, 0.0)
        gain = np.float32(10 ** (-lowered_db / 20))
        with (
            soundfile.SoundFile(waiting) as made,
            new_sound(path, rate_hz, 2, ("FLAC", "PCM_24")) as file,
        ):
            for block in made.blocks(round(_BLOCK_S * rate_hz), dtype="float32"):
                file.write(gain * block)
    finally:
        waiting.unlink(missing_ok=True)
    return float(lowered_db)


def _mixed(mix: Recording, trimmed: Sequence[Trimmed], late: Late) -> Iterator[Samples]:
    """The mix with the trims, block by block."""
    size = round(_BLOCK_S * mix.sample_rate_hz)
    at_s = np.arange(0.0, mix.duration_s, _RAMP_S / 2)
    steady: list[tuple[Trimmed, float]] = []
    moving: list[tuple[Trimmed, float]] = []
    for one in trimmed:
        trims_db = one.trim_db(at_s)
        (steady if np.ptp(trims_db) == 0 else moving).append((one, float(trims_db[0])))
    together = _Made(steady, mix.sample_rate_hz, size)
    apart = [(one, _Made([(one, 0.0)], mix.sample_rate_hz, size)) for one, _ in moving]
    rest = _Shaped(late, mix.sample_rate_hz)
    held: FloatArray = np.zeros((0, 2))
    ramp = np.hanning(round(_RAMP_S * mix.sample_rate_hz) | 1)
    ramp /= ramp.sum()
    begun = 0
    for block in mix.blocks(_BLOCK_S):
        sound, anew = (each[: len(block)] for each in together.next())
        left = block - sound
        for one, stream in apart:
            sound = stream.next()[0][: len(block)]
            left -= sound
            anew += _gain(one, begun, len(block), ramp, mix.sample_rate_hz)[:, None] * sound
        begun += len(block)
        held = np.concatenate([held, anew])
        shaped = rest.push(left)
        yield (held[: len(shaped)] + shaped).astype(np.float32)
        held = held[len(shaped) :]
    shaped = rest.push(np.zeros((_WINDOW, 2)))[: len(held)]
    yield (held + shaped).astype(np.float32)


def _gain(one: Trimmed, begun: int, count: int, ramp: FloatArray, rate_hz: int) -> FloatArray:
    """Of one stem, from sample to sample; faders move over a moment."""
    around = len(ramp) // 2
    at_s = np.arange(begun - around, begun + count + around) / rate_hz
    gain = 10 ** (one.trim_db(at_s) / 20)
    return np.convolve(gain, ramp, "valid")


class _Shaped:
    """A stream with a gain for every band and moment (weighted overlap-add, Crochiere 1980)."""

    def __init__(self, late: Late, rate_hz: int) -> None:
        self._late, self._rate_hz = late, rate_hz
        self._window = np.hanning(_WINDOW + 1)[:-1, None]
        self._hop = _WINDOW // 4
        self._input: FloatArray = np.zeros((_WINDOW - self._hop, 2))
        self._output: FloatArray = np.zeros((_WINDOW, 2))
        self._frame = 0
        self._skip = _WINDOW - self._hop
        bins_hz = np.maximum(fft.rfftfreq(_WINDOW, 1 / rate_hz), 1.0)
        self._place = np.interp(
            np.log(bins_hz), np.log(late.centre_hz), np.arange(len(late.centre_hz))
        )

    def push(self, samples: FloatArray) -> FloatArray:
        """What is finished of it."""
        self._input = np.concatenate([self._input, samples])
        out = []
        while len(self._input) >= _WINDOW:
            spectrum = fft.rfft(self._input[:_WINDOW] * self._window, axis=0)
            shaped = fft.irfft(spectrum * self._gain()[:, None], _WINDOW, axis=0) * self._window
            self._output += shaped / 1.5  # the sum of the squared windows
            out.append(self._output[: self._hop].copy())
            self._output = np.concatenate([self._output[self._hop :], np.zeros((self._hop, 2))])
            self._input = self._input[self._hop :]
            self._frame += 1
        joined = np.concatenate([*out, np.zeros((0, 2))])
        skipped = min(self._skip, len(joined))
        self._skip -= skipped
        return joined[skipped:]

    def _gain(self) -> FloatArray:
        """Of all bins at the middle of the present window."""
        start = (self._frame + 1) * self._hop - _WINDOW
        middle_s = (start + _WINDOW / 2) / self._rate_hz
        late = self._late
        levels = sample_frames(late.gain, late.rate_hz, [middle_s - 0.5 / late.rate_hz])[0]
        return np.asarray(np.interp(self._place, np.arange(len(levels)), levels))


class _Made:
    """Some stems as they sound in the mix, all together, in blocks of one size."""

    def __init__(self, trimmed: Sequence[tuple[Trimmed, float]], rate_hz: int, size: int) -> None:
        """Begin; each stem comes with the trim that it has all the time."""
        self._size, self._taps = size, _taps(rate_hz)
        self._length = fft.next_fast_len(size + self._taps - 1, real=True)
        self._stems = []
        for one, trim_db in trimmed:
            response, before = _at_rate(one, rate_hz)
            through = fft.rfft(response.T.astype(np.float32), self._length)
            # The filter begins before time 0: it is fed from so much further on.
            stream = _blocks(one.stem, one.start_s, rate_hz, size, before)
            self._stems.append((stream, through, np.float32(10 ** (trim_db / 20))))
        self._tail = np.zeros((2, 2, self._taps - 1), np.float32)

    def next(self) -> FloatArray:
        """The next block without and with the trims, shape (2, size, 2)."""
        both = np.zeros((2, 2, self._length // 2 + 1), np.complex64)
        for stream, response, gain in self._stems:
            through = fft.rfft(next(stream).T, self._length) * response
            both[0] += through
            both[1] += gain * through
        sound = fft.irfft(both, self._length)
        sound[..., : self._taps - 1] += self._tail
        self._tail = sound[..., self._size : self._size + self._taps - 1]
        return np.asarray(sound[..., : self._size].swapaxes(1, 2), np.float64)


def _taps(rate_hz: int) -> int:
    return 2 * round(_TAPS_S * rate_hz / 2)


def _at_rate(one: Trimmed, rate_hz: int) -> tuple[FloatArray, int]:
    """A stem's filters at another rate, shape (taps, 2), and by how many samples they are early."""
    count = _taps(rate_hz)
    bins_hz = fft.rfftfreq(count, 1 / rate_hz)
    taps_s = (np.arange(one.filters.shape[1]) + one.first_tap) / one.rate_hz
    # Above the crossing nothing of the filter is left.
    kept = bins_hz < _CROSS_HZ[1]
    low = np.zeros((2, len(bins_hz)), np.complex128)
    low[:, kept] = one.filters @ np.exp(-2j * np.pi * np.outer(taps_s, bins_hz[kept]))
    arrival_s = float(taps_s[np.abs(one.filters).max(axis=0).argmax()])
    inside = (bins_hz > _CROSS_HZ[0] / 2) & (bins_hz < _CROSS_HZ[0])
    turned = low[:, inside] * np.exp(2j * np.pi * bins_hz[inside] * arrival_s)
    plain = turned.real.mean(axis=1, keepdims=True) * np.exp(-2j * np.pi * bins_hz * arrival_s)
    above = np.clip((bins_hz - _CROSS_HZ[0]) / (_CROSS_HZ[1] - _CROSS_HZ[0]), 0, 1)
    before = max(round(-float(taps_s[0]) * rate_hz), 0)
    later = np.exp(-2j * np.pi * bins_hz * before / rate_hz)
    return fft.irfft(((1 - above) * low + above * plain) * later, count, axis=1).T, before


def _blocks(
    stem: Recording, start_s: float, rate_hz: int, size: int, skip: int
) -> Iterator[Samples]:
    """A stem at the mix's rate in blocks, from so many samples after the start on; then silence."""
    left = skip
    held: list[Samples] = []
    for samples in resampled(stem, rate_hz, start_s, _BLOCK_S):
        held.append(samples[left:])
        left -= min(left, len(samples))
        while sum(map(len, held)) >= size:
            joined = np.concatenate(held)
            yield joined[:size]
            held = [joined[size:]]
    yield np.concatenate([*held, np.zeros((size, 2), np.float32)])[:size]
    while True:
        yield np.zeros((size, 2), np.float32)
