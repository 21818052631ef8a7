"""What can be done to a recorded passage with general libraries, and what is to be told of it.

A real take goes in, a pair comes out whose difference is known by construction: filters of scipy,
resampling of soxr, stretching of librosa, coding of libsndfile, convolution, gains.
"""

from __future__ import annotations

import functools
import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from math import log2
from pathlib import Path

import librosa
import numpy as np
import numpy.typing as npt
import soundfile
import soxr
from scipy import ndimage, signal

from mixcompare.aspects import JUST_NOTICEABLE
from mixcompare.findings import Finding, Span, signed
from mixcompare.results import Results
from tests import samples

FloatArray = npt.NDArray[np.float64]
Sound = tuple[FloatArray, int]
Pair = tuple[Sound, Sound]

DATA = Path(__file__).parent / "data"
STRINGS = DATA / "string_orchestra_brahms_hd5_pd.ogg"
LIVING_ROOM = DATA / "room_living_pd.wav"
SHORT_CLIP, HALL = "orchestra_short_ccby.wav", "room_hall_ccby.wav"
RATE_HZ = 44_100

SHARPEST = 0.05
"""Of a just-noticeable difference: what a machine did everywhere alike has an interval of nearly
nothing, while a side that was halved is one size by energy and another by moments."""

EDGE_S = 0.5

CENTRES_HZ = 1000 * 10 ** (np.arange(-17, 14) / 10)
"""Exact mid-band frequencies, IEC 61260-1:2014, 5.2.1, base ten."""
_CELLS_HZ = CENTRES_HZ[(CENTRES_HZ > 75) & (CENTRES_HZ < 5100)]


@dataclass(frozen=True)
class Told:
    """One finding that is to be there.

    Attributes
    ----------
    kind : str
        Regular expression for the whole of its kind.
    size : float or callable or None
        In the finding's unit, from the finding (a filter's size depends on the band that is
        named) and the pair where it takes both to know. None: no size is known.
    aspect : str
        Whose just-noticeable difference the size is held against.
    spans_s : tuple of float pairs
        Where, if not everywhere.
    """

    kind: str
    size: float | Callable[[Finding, Pair], float] | None
    aspect: str
    spans_s: tuple[Span, ...] = ()


@dataclass(frozen=True)
class Operation:
    """Something done to a take.

    Attributes
    ----------
    name, done : str
    pair : callable
        Reference and candidate, made of the take.
    told : tuple of Told
        All that is to be told, and nothing else; in whatever order, but these fill the first
        places.
    gain_db : float
        Of everything alike, besides. Tone is judged against the level that is taken out: what
        of this gain was not taken out stays in the bands.
    warned : str
        Regular expression for warnings that are in order.
    """

    name: str
    done: str
    pair: Callable[[FloatArray], Pair]
    told: tuple[Told, ...] = ()
    gain_db: float = 0.0
    warned: str = ""


def strings(seconds: float = 24.0) -> FloatArray:
    """The opening of the string orchestra's take, shape (n, 2), with room for more level."""
    return 0.5 * soundfile.read(STRINGS, stop=round(seconds * RATE_HZ))[0]


# --- what is done -------------------------------------------------------------------------------


def gain(take: FloatArray, level_db: float) -> FloatArray:
    return take * 10 ** (level_db / 20)


@dataclass(frozen=True)
class Filter:
    """A part of the sound, cut out by a filter of scipy's, made louder or softer by ``gain_db``."""

    part: tuple[FloatArray, FloatArray]
    gain_db: float

    @property
    def _added(self) -> float:
        return float(10 ** (self.gain_db / 20)) - 1

    def __call__(self, take: FloatArray) -> FloatArray:
        return take + self._added * signal.lfilter(*self.part, take, axis=0)

    def response_db(self, frequency_hz: npt.ArrayLike) -> FloatArray:
        _, part = signal.freqz(*self.part, np.atleast_1d(frequency_hz), fs=RATE_HZ)
        return np.asarray(20 * np.log10(np.abs(1 + self._added * part)))

    def in_band(self, finding: Finding, pair: Pair) -> float:
        """Mean over the third octaves of the band that a finding names."""
        return float(self.response_db(third_octaves(finding)).mean())


@dataclass(frozen=True)
class Cut:
    """A Butterworth filter of scipy's that takes one end of the spectrum away."""

    order: int
    corner_hz: float
    side: str

    @property
    def _sections(self) -> FloatArray:
        return np.asarray(
            signal.butter(self.order, self.corner_hz, self.side, fs=RATE_HZ, output="sos")
        )

    def __call__(self, take: FloatArray) -> FloatArray:
        return np.asarray(signal.sosfilt(self._sections, take, axis=0))

    def in_band(self, finding: Finding, pair: Pair) -> float:
        """Mean over the third octaves of the band that a finding names."""
        _, response = signal.sosfreqz(self._sections, third_octaves(finding), fs=RATE_HZ)
        return float(np.mean(20 * np.log10(np.abs(response))))


def third_octaves(finding: Finding) -> FloatArray:
    low, high = finding.band_hz or (0.0, np.inf)
    return CENTRES_HZ[(low < CENTRES_HZ) & (high > CENTRES_HZ)]


def measured_in_band(finding: Finding, pair: Pair) -> float:
    """The same where no formula says it: power in third octaves by Welch's method."""
    (before, rate_hz), (after, _) = pair
    frequency_hz, power = signal.welch(np.stack([before, after]), rate_hz, nperseg=16_384, axis=1)
    before, after = power.sum(axis=2)
    changes = []
    for centre_hz in third_octaves(finding):
        inside = np.abs(np.log10(np.maximum(frequency_hz, 1) / centre_hz)) < 0.05
        changes.append(10 * np.log10(after[inside].sum() / before[inside].sum()))
    return float(np.mean(changes))


def bell(centre_hz: float, gain_db: float, q: float = 1.0) -> Filter:
    return Filter(signal.iirpeak(centre_hz, q, fs=RATE_HZ), gain_db)


def high_shelf(corner_hz: float, gain_db: float) -> Filter:
    return Filter(signal.butter(1, corner_hz, "high", fs=RATE_HZ), gain_db)


def low_shelf(corner_hz: float, gain_db: float) -> Filter:
    return Filter(signal.butter(1, corner_hz, "low", fs=RATE_HZ), gain_db)


def coded(take: FloatArray, kind: str) -> FloatArray:
    """Through a lossy codec and back, to the sample where it was."""
    buffer = io.BytesIO()
    subtype = {"OGG": "VORBIS", "MP3": "MPEG_LAYER_III"}[kind]
    soundfile.write(buffer, take, RATE_HZ, format=kind, subtype=subtype)
    buffer.seek(0)
    return np.asarray(soundfile.read(buffer)[0])


def sides(take: FloatArray, factor: float) -> FloatArray:
    """The side signal scaled, the mid left alone."""
    mid, side = take.mean(axis=1), factor * (take[:, 0] - take[:, 1]) / 2
    return np.column_stack([mid + side, mid - side])


def turned(take: FloatArray, level_db: float) -> FloatArray:
    """The balance knob: right against left by so much."""
    return take * 10 ** (np.array([-level_db, level_db]) / 40)


def played_at(take: FloatArray, speed: float) -> FloatArray:
    """Tape at another speed: tempo and pitch."""
    return np.asarray(soxr.resample(take, speed, 1.0, quality="VHQ"))


def stretched(take: FloatArray, tempo: float) -> FloatArray:
    return _mid_and_side(take, librosa.effects.time_stretch, rate=tempo, n_fft=4096)


def shifted(take: FloatArray, cents: float) -> FloatArray:
    step = cents / 100
    return _mid_and_side(take, librosa.effects.pitch_shift, sr=RATE_HZ, n_steps=step, n_fft=4096)


def _mid_and_side(
    take: FloatArray, change: Callable[..., FloatArray], **settings: float
) -> FloatArray:
    """A phase vocoder on left and right would scatter their phases and so widen the image."""
    mid, side = change(np.stack([take.mean(axis=1), (take[:, 0] - take[:, 1]) / 2]), **settings)
    return np.column_stack([mid + side, mid - side])


@functools.cache
def diffuse(decay_s: float, seed: int) -> FloatArray:
    """Noise that falls by 60 dB in ``decay_s``, from 15 ms on: a hall without its direct sound."""
    time_s = np.arange(int(1.2 * decay_s * RATE_HZ)) / RATE_HZ
    noise = np.random.default_rng(seed).standard_normal((len(time_s), 2))
    return np.asarray(noise * (10 ** (-3 * time_s / decay_s) * (time_s > 0.015))[:, None])


def reverberated(take: FloatArray, response: FloatArray, level_db: float) -> FloatArray:
    """The take with its convolution at so much of its own energy."""
    wet = signal.fftconvolve(take, response, axes=0)[: len(take)]
    return take + gain(wet * np.sqrt((take**2).mean() / (wet**2).mean()), level_db)


def in_hall(take: FloatArray, level_db: float, decay_s: float = 2.2) -> FloatArray:
    return reverberated(take, diffuse(decay_s, 3), level_db)


def filled_gaps_db(
    response: FloatArray, before: Callable[[FloatArray], FloatArray] = lambda x: x
) -> Callable[[Finding, Pair], float]:
    """By how much a tail lifts the twentieth of all audible cells that it lifts most.

    Third octave by 40 ms from 80 Hz to 5 kHz, through a window of 0.19 s; a cell is heard within
    45 dB of its band's loud moments and 50 dB of its moment's loudest band, as the program defines
    it. The spectra are librosa's; the tail's energy is the response's, laid behind every moment.

    Parameters
    ----------
    response : ndarray
        Of the room.
    before : callable
        What was done to the drier one besides.
    """

    def size(finding: Finding, pair: Pair) -> float:
        sign = 1 if finding.difference > 0 else -1
        drier, wetter = (samples for samples, _ in pair[::sign])
        direct, added = (_in_cells(one) for one in (before(drier), wetter - before(drier)))
        gain = _in_cells(response) / _CELLS_HZ[:, None]  # of a band, whatever its width
        tail = signal.fftconvolve(direct, gain, axes=1)[:, : direct.shape[1]]
        tail = np.maximum(tail, 0) * added.sum() / tail.sum()
        heard = direct + tail
        audible = (heard > 10**-4.5 * np.percentile(heard, 95, axis=1, keepdims=True)) & (
            heard > 1e-5 * heard.max(axis=0)
        )
        return sign * float(np.percentile(10 * np.log10(1 + tail / direct)[audible], 95))

    return size


def _in_cells(take: FloatArray) -> FloatArray:
    """Power in third octaves of both channels, shape (bands, moments)."""
    power = sum(
        np.abs(librosa.stft(one, n_fft=8192, hop_length=RATE_HZ // 25)) ** 2 for one in take.T
    )
    frequency_hz = librosa.fft_frequencies(sr=RATE_HZ, n_fft=8192)
    inside = np.abs(np.log2(np.maximum(frequency_hz, 1) / _CELLS_HZ[:, None])) < 1 / 6
    return np.asarray(inside @ power + 1e-14)


def squeezed(take: FloatArray, ratio: float, above_dbfs: float) -> FloatArray:
    """A compressor: level over 50 ms, gain smoothed over 100 ms."""
    power = ndimage.uniform_filter1d((take**2).mean(axis=1), RATE_HZ // 20)
    level_db = 10 * np.log10(np.maximum(power, 1e-9))
    over_db = np.maximum(level_db - above_dbfs, 0)
    return gain(take, -(1 - 1 / ratio) * ndimage.uniform_filter1d(over_db, RATE_HZ // 10)[:, None])


def ridden(take: FloatArray, times_s: Sequence[float], levels_db: Sequence[float]) -> FloatArray:
    """A fader moved through the given points."""
    level_db = np.interp(np.arange(len(take)) / RATE_HZ, times_s, levels_db)
    return gain(take, level_db[:, None])


def late(take: FloatArray, delay_s: float) -> FloatArray:
    """The right channel later."""
    count = round(delay_s * RATE_HZ)
    return np.column_stack([take[count:, 0], take[: len(take) - count, 1]])


def stems(names: Sequence[str], length: int) -> FloatArray:
    """Parts of the sample score, dry, in the centre, as long as the take."""
    folder = samples.FOLDER / "stems" / "reference"
    mono = sum(soundfile.read(folder / f"{name}.flac", stop=length)[0] for name in names)
    out = np.zeros((length, 2))
    out[: len(mono)] = mono[:, None]
    return out


def with_parts(take: FloatArray, names: Sequence[str], below_db: float, change_db: float) -> Pair:
    """Parts of another piece laid over the take, louder in the candidate.

    Their level, while they play, lies ``below_db`` under the take's.
    """
    part = stems(names, len(take))
    playing = ndimage.maximum_filter1d(np.abs(part[:, 0]), RATE_HZ // 4) > 0.01
    part = gain(part * np.sqrt((take**2).mean() / (part[playing] ** 2).mean()), -below_db)
    return (take + part, RATE_HZ), (take + gain(part, change_db), RATE_HZ)


PLACES_S = (2.0, 11.0, 20.0, 29.0, 38.0)


def with_clip(take: FloatArray, clip: FloatArray, below_db: float, change_db: float) -> Pair:
    """Another orchestra's clip laid over the take in places."""
    clip = gain(clip * np.sqrt((take**2).mean() / (clip**2).mean()), -below_db)
    part = np.zeros_like(take)
    for start_s in PLACES_S:
        place = part[round(start_s * RATE_HZ) :][: len(clip)]
        place += clip[: len(place), None]
    return (take + part, RATE_HZ), (take + gain(part, change_db), RATE_HZ)


def noise_before(take: FloatArray, seconds: float) -> FloatArray:
    """A soft room before the music starts."""
    rng = np.random.default_rng(1)
    hush = 1e-3 * rng.standard_normal((round(seconds * RATE_HZ), take.shape[1]))
    return np.concatenate([hush, take])


def without(take: FloatArray, start_s: float, end_s: float) -> FloatArray:
    """Cut, with a crossfade of 10 ms."""
    first, last, fade = round(start_s * RATE_HZ), round(end_s * RATE_HZ), RATE_HZ // 100
    ramp = np.linspace(0, 1, fade)[:, None]
    joint = take[first : first + fade] * (1 - ramp) + take[last : last + fade] * ramp
    return np.concatenate([take[:first], joint, take[last + fade :]])


# --- the table ----------------------------------------------------------------------------------


def _alone(change: Callable[[FloatArray], FloatArray]) -> Callable[[FloatArray], Pair]:
    return lambda take: ((take, RATE_HZ), (change(take), RATE_HZ))


def _filter(name: str, done: str, chosen: Filter, kind: str) -> Operation:
    return Operation(name, done, _alone(chosen), (Told(kind, chosen.in_band, "tone"),))


def _parts(
    name: str,
    done: str,
    parts: Sequence[str],
    change_db: float,
    kind: str,
    spans_s: tuple[Span, ...] = (),
) -> Operation:
    def pair(take: FloatArray) -> Pair:
        soft, loud = with_parts(take, parts, below_db=11.0, change_db=abs(change_db))
        return (soft, loud) if change_db > 0 else (loud, soft)

    return Operation(name, done, pair, (Told(kind, change_db, "balance", spans_s),))


def _after(
    name: str, done: str, change: Callable[[FloatArray], FloatArray], told: Told, warned: str = ""
) -> Operation:
    """A figure 5 dB louder, and something done to the whole."""

    def pair(take: FloatArray) -> Pair:
        before, (after, rate_hz) = with_parts(take, _FIGURE, below_db=11.0, change_db=5.0)
        return before, (change(after), rate_hz)

    figure = Told("(repeating_figure|register)_louder", 5.0, "balance")
    return Operation(name, done, pair, (figure, told), warned=warned)


def _hall(name: str, decay_s: float, level_db: float) -> Operation:
    return Operation(
        name, f"a hall of {decay_s} s added at {level_db:+.0f} dB of the take",
        _alone(lambda take: in_hall(take, level_db, decay_s)),
        (Told("wetter", filled_gaps_db(diffuse(decay_s, 3)), "reverberation in gaps"),),
    )  # fmt: skip


def _without_hall(name: str, decay_s: float, level_db: float) -> Operation:
    return Operation(
        name, f"a hall of {decay_s} s at {level_db:+.0f} dB of the take left out",
        lambda take: ((in_hall(take, level_db, decay_s), RATE_HZ), (take, RATE_HZ)),
        (Told("drier", filled_gaps_db(diffuse(decay_s, 3)), "reverberation in gaps"),),
    )  # fmt: skip


def _hiss(take: FloatArray) -> FloatArray:
    return take + 0.002 * np.random.default_rng(0).standard_normal(take.shape)


def hum(take: FloatArray) -> FloatArray:
    time_s = np.arange(len(take))[:, None] / RATE_HZ
    return np.asarray(
        take + 0.005 * np.sin(2 * np.pi * 50 * time_s) + 0.003 * np.sin(2 * np.pi * 150 * time_s)
    )


def _resampled(take: FloatArray) -> Pair:
    return (take, RATE_HZ), (soxr.resample(take, RATE_HZ, 48_000, quality="VHQ"), 48_000)


def _living_room(take: FloatArray, level_db: float = 0.0) -> FloatArray:
    return reverberated(take, soundfile.read(LIVING_ROOM)[0], level_db)


def _width_db(finding: Finding, pair: Pair) -> float:
    """Side against mid, over the whole length."""
    ratios = [np.sum((x[:, 0] - x[:, 1]) ** 2) / np.sum((x[:, 0] + x[:, 1]) ** 2) for x, _ in pair]
    return float(10 * np.log10(ratios[1] / ratios[0]))


_TURN = (10 ** (3 / 20) - 1) / (10 ** (3 / 20) + 1)  # (R - L) / (R + L); both were alike
_CENTS = 1200 * log2(1.03)
_LOWCUT, _HIGHCUT = Cut(2, 120, "high"), Cut(2, 5000, "low")
_BRIGHT = high_shelf(3000, 4)
_BRIGHTER = Told("tone_brighter", _BRIGHT.in_band, "tone")
_FASTER = Told("tuned_higher", _CENTS, "tuning")
_FIGURE = ("clarinets", "harp", "xylophone")
_FIGURE_S = ((3.5, 15.5), (18.5, 24.5))  # bars 2-5 and 7-8 at 80 beats a minute
_HALVED = Told("dynamics_smaller", -0.5, "dynamics")

UNCHANGED: tuple[Operation, ...] = (
    Operation("gain", "-7 dB", _alone(lambda x: gain(x, -7))),
    Operation("resampled", "44.1 to 48 kHz", _resampled),
    Operation("vorbis", "Ogg Vorbis and back", _alone(lambda x: coded(x, "OGG"))),
    Operation("mp3", "MP3 and back", _alone(lambda x: coded(x, "MP3"))),
    Operation("mp3_gain", "+5 dB, MP3 and back", _alone(lambda x: coded(gain(x, 5), "MP3"))),
    Operation("inverted", "polarity of both channels inverted", _alone(lambda x: -x)),
    Operation(
        "offset",
        "1.234 s of soft noise before",
        _alone(lambda x: noise_before(x, 1.234)),
        warned="The first 1.2 s of the candidate have no counterpart",
    ),
)
TONE: tuple[Operation, ...] = (
    _filter("bell", "bell +4 dB at 1 kHz", bell(1000, 4), "tone_band_louder"),
    _filter("bell_cut", "bell -4 dB at 500 Hz", bell(500, -4), "tone_band_weaker"),
    _filter("bright", "high shelf +4 dB at 3 kHz", _BRIGHT, "tone_brighter"),
    _filter("dark", "high shelf -4 dB at 3 kHz", high_shelf(3000, -4), "tone_darker"),
    _filter("heavy", "low shelf +4 dB at 200 Hz", low_shelf(200, 4), "tone_band_louder"),
    _filter("thin", "low shelf -4 dB at 200 Hz", low_shelf(200, -4), "tone_band_weaker"),
    Operation("lowcut", "high-pass 120 Hz, 12 dB an octave", _alone(_LOWCUT),
              (Told("low_cut_added", _LOWCUT.in_band, "tone"),)),
    Operation("lowcut_out", "the same taken out", lambda x: _alone(_LOWCUT)(x)[::-1],
              (Told("low_cut_removed", lambda f, p: -_LOWCUT.in_band(f, p), "tone"),)),
    Operation("highcut", "low-pass 5 kHz, 12 dB an octave", _alone(_HIGHCUT),
              (Told("high_cut_added", _HIGHCUT.in_band, "tone"),)),
    Operation("lowcut_narrow", "side x 0.5, high-pass 120 Hz",
              _alone(lambda x: _LOWCUT(sides(x, 0.5))),
              (Told("low_cut_added", None, "tone"), Told("narrower", None, "width"))),
    Operation("mp3_bright", "-4 dB, high shelf +4 dB, MP3 and back",
              _alone(lambda x: coded(gain(_BRIGHT(x), -4), "MP3")), (_BRIGHTER,), gain_db=-4.0),
)  # fmt: skip
IMAGE: tuple[Operation, ...] = (
    Operation("narrow", "side x 0.5", _alone(lambda x: sides(x, 0.5)),
              (Told("narrower", -6.02, "width"),)),
    Operation("wide", "side x 1.6", _alone(lambda x: sides(x, 1.6)),
              (Told("wider", 4.08, "width"),)),
    Operation("turned_right", "right +3 dB against left", _alone(lambda x: turned(x, 3)),
              (Told("moved_right", _TURN, "placement"),)),
    Operation("turned_left", "left +3 dB against right", _alone(lambda x: turned(x, -3)),
              (Told("moved_left", -_TURN, "placement"),)),
    Operation("exchanged", "left and right exchanged", _alone(lambda x: x[:, ::-1]),
              (Told("channels_swapped", None, "placement"),)),
    Operation("one_inverted", "polarity of one channel inverted", _alone(lambda x: x * [1, -1]),
              (Told("polarity_inverted", None, "width"),)),
    Operation("narrow_bright", "side x 0.5, high shelf +4 dB",
              _alone(lambda x: _BRIGHT(sides(x, 0.5))),
              (Told("narrower", _width_db, "width"),
               Told("tone_brighter", measured_in_band, "tone"))),
    Operation("late", "right channel 0.6 ms late", _alone(lambda x: late(x, 0.0006)),
              (Told("right_later", 600.0, "time between channels"),)),
)  # fmt: skip
TIME: tuple[Operation, ...] = (
    Operation("fast", "3 % faster, pitch with it", _alone(lambda x: played_at(x, 1.03)),
              (_FASTER,)),
    Operation("slow", "3 % slower, pitch with it", _alone(lambda x: played_at(x, 1 / 1.03)),
              (Told("tuned_lower", -_CENTS, "tuning"),)),
    Operation("slower", "tempo -6 %, pitch kept", _alone(lambda x: stretched(x, 0.94)),
              (Told("slower", -6.0, "tempo"),)),
    Operation("slower_softer", "-5 dB, 0:08-0:14; then tempo -6 %, pitch kept",
              _alone(lambda x: stretched(ridden(x, [8, 8.3, 14, 14.3], [0, -5, -5, 0]), 0.94)),
              (Told("slower", -6.0, "tempo"),
               Told("passage_softer", -5.0, "level of a passage", ((8.1, 14.1),)))),
    Operation("faster", "tempo +6 %, pitch kept", _alone(lambda x: stretched(x, 1.06)),
              (Told("faster", 6.0, "tempo"),)),
    Operation("higher", "30 cents higher, tempo kept", _alone(lambda x: shifted(x, 30)),
              (Told("tuned_higher", 30.0, "tuning"),)),
    Operation("lower", "200 cents lower, tempo kept", _alone(lambda x: shifted(x, -200)),
              (Told("tuned_lower", -200.0, "tuning"),), warned="nothing usable above"),
    Operation("fast_bright", "3 % faster, high shelf +4 dB",
              _alone(lambda x: _BRIGHT(played_at(x, 1.03))), (_FASTER, _BRIGHTER)),
)  # fmt: skip
ELEMENTS: tuple[Operation, ...] = (
    _parts("figure", "clarinets, harp and xylophone of another piece +5 dB", _FIGURE, 5,
           "repeating_figure_louder", _FIGURE_S),
    _parts("figure_softer", "the same -5 dB", _FIGURE, -5, "repeating_figure_weaker", _FIGURE_S),
    _parts("violins", "violins of another piece +5 dB", ("violins",), 5,
           "(leading_line|register)_louder"),
    _parts("horns", "horns of another piece +5 dB", ("horns",), 5, "register_louder"),
    _parts("horns_softer", "horns of another piece -5 dB", ("horns",), -5, "register_weaker"),
    _parts("basses", "plucked basses of another piece +5 dB", ("basses",), 5, "bass_louder"),
)  # fmt: skip
ROOM: tuple[Operation, ...] = (
    _hall("hall_soft", 2.2, -6),
    _hall("hall_medium", 2.2, -3),
    _hall("hall", 2.2, 0),
    _hall("short_hall_soft", 1.4, -6),
    _hall("short_hall", 1.4, 0),
    _without_hall("drier_soft", 2.2, -6),
    _without_hall("drier", 2.2, 0),
    Operation("living_room", "a measured living room at the take's level", _alone(_living_room),
              (Told("tone_band_louder", measured_in_band, "tone"),)),
    Operation("living_room_soft", "the same room 6 dB softer: its reflections comb the spectrum",
              _alone(lambda x: _living_room(x, -6)),
              (Told("tone_band_louder", measured_in_band, "tone"),)),
    Operation("late_hall", "a hall of 1.7 s at -3 dB, right channel 1.4 ms late",
              _alone(lambda x: late(in_hall(x, -3, 1.7), 0.0014)),
              (Told("right_later", 1406.0, "time between channels"),
               Told("wetter", None, "reverberation in gaps")), warned="Several arrival times"),
    Operation("narrow_hall", "side x 0.5, a hall of 2.2 s at -6 dB",
              _alone(lambda x: in_hall(sides(x, 0.5), -6)),
              # Of the direct sound: the hall's own width covers it.
              (Told("narrower", -6.02, "width"),
               Told("wetter", filled_gaps_db(diffuse(2.2, 3), lambda x: sides(x, 0.5)),
                    "reverberation in gaps"))),
)  # fmt: skip
LEVEL: tuple[Operation, ...] = (
    Operation("squeezed", "compressor, 2:1 above -34 dBFS", _alone(lambda x: squeezed(x, 2, -34)),
              (Told("dynamics_smaller", None, "dynamics"),)),
    Operation("squeezed_loud", "compressor, 2:1 above -29.6 dBFS",
              _alone(lambda x: squeezed(x, 2, -29.6)),
              (Told("dynamics_smaller", None, "dynamics"),)),
    Operation("squeezed_whole", "compressor, 2:1 throughout", _alone(lambda x: squeezed(x, 2, -90)),
              (_HALVED,)),
    Operation("squeezed_ride", "compressor, 2:1 throughout; then +4 dB, 0:10-0:16",
              _alone(lambda x: ridden(squeezed(x, 2, -90), [10, 10.3, 16, 16.3], [0, 4, 4, 0])),
              (_HALVED, Told("whole_louder", 4.0, "level of the whole", ((10.0, 16.3),)))),
    Operation("hiss_fade", "it falls by 6 dB from start to end, white noise at -54 dBFS",
              _alone(lambda x: _hiss(ridden(x, [0, len(x) / RATE_HZ], [0, -6]))),
              (Told("hiss_added", None, "noise"),
               Told("whole_fades", -6.0, "level of the whole")), warned="nothing usable above"),
    Operation("ride", "all of it +4 dB, 0:10-0:15",
              _alone(lambda x: ridden(x, [10, 10.3, 15, 15.3], [0, 4, 4, 0])),
              (Told("whole_louder", 4.0, "level of the whole", ((10.0, 15.3),)),)),
    Operation("fade", "all of it falls by 6 dB from start to end",
              _alone(lambda x: ridden(x, [0, len(x) / RATE_HZ], [0, -6])),
              (Told("whole_fades", -6.0, "level of the whole"),)),
    Operation("hiss", "white noise at -54 dBFS", _alone(_hiss),
              (Told("hiss_added", None, "noise"),), warned="nothing usable above"),
    Operation("hiss_out", "the same taken off", lambda x: _alone(_hiss)(x)[::-1],
              (Told("hiss_removed", None, "noise"),), warned="nothing usable above"),
    Operation("hum", "hum of 50 and 150 Hz, -46 dBFS", _alone(hum),
              (Told("hum_added", None, "noise"),)),
    Operation("hum_narrow_bright", "side x 0.5, high shelf +4 dB, hum",
              _alone(lambda x: hum(_BRIGHT(sides(x, 0.5)))),
              (Told("hum_added", None, "noise"), Told("narrower", None, "width"),
               Told("tone_brighter", None, "tone"))),
    Operation("hiss_narrow_bright", "side x 0.5, high shelf +4 dB, white noise",
              _alone(lambda x: _hiss(_BRIGHT(sides(x, 0.5)))),
              (Told("hiss_added", None, "noise"), Told("narrower", None, "width"),
               Told("tone_brighter", None, "tone")), warned="nothing usable above"),
    Operation("lowcut_hiss", "high-pass 120 Hz, white noise", _alone(lambda x: _hiss(_LOWCUT(x))),
              (Told("hiss_added", None, "noise"), Told("low_cut_added", _LOWCUT.in_band, "tone")),
              warned="nothing usable above"),
    Operation("highcut_wide", "low-pass 5 kHz, 12 dB an octave, side x 1.65",
              _alone(lambda x: sides(Cut(2, 5000, "low")(x), 1.65)),
              (Told("high_cut_added", None, "tone"), Told("wider", 4.35, "width"))),
    Operation("clipped", "six times the level, cut at full scale",
              _alone(lambda x: np.clip(6 * x, -1, 1)),
              (Told("clipping_added", None, "clipping"),), warned="is clipped in"),
    Operation("clipped_lower", "the same, then lowered",
              _alone(lambda x: np.clip(6 * x, -1, 1) / 4),
              (Told("clipping_added", None, "clipping"),)),
    Operation("clipped_lightly", "highest peaks 2.3 dB over full scale, cut",
              _alone(lambda x: np.clip(1.3 * x / np.abs(x).max(), -1, 1)),
              (Told("clipping_added", None, "clipping"),), warned="is clipped in"),
    _after("hiss_figure", "clarinets, harp and xylophone +5 dB, white noise", _hiss,
           Told("hiss_added", None, "noise"), "nothing usable above"),
    _after("hum_figure", "the same, hum", hum, Told("hum_added", None, "noise")),
    _after("lowcut_figure", "the same, high-pass 120 Hz", _LOWCUT,
           Told("low_cut_added", None, "tone")),
    _after("clipped_figure", "the same, half as loud again, cut at full scale",
           lambda x: np.clip(1.5 * x, -1, 1), Told("clipping_added", None, "clipping"),
           "is clipped in"),
    Operation("narrow_bright_squeezed", "side x 0.63, high shelf +4 dB, compressor 2:1",
              _alone(lambda x: squeezed(_BRIGHT(sides(x, 0.63)), 2, -90)),
              (Told("narrower", -4.01, "width"),
               Told("tone_brighter", measured_in_band, "tone"), _HALVED)),
)  # fmt: skip

OPERATIONS = {
    operation.name: operation
    for operation in (*UNCHANGED, *TONE, *IMAGE, *TIME, *ELEMENTS, *ROOM, *LEVEL)
}


def further(folder: Path) -> dict[str, Operation]:
    """Operations that take recordings which are not shipped."""
    clip, _ = soundfile.read(folder / SHORT_CLIP)
    response, _ = soundfile.read(folder / HALL)
    spans_s = tuple((start_s, start_s + len(clip) / RATE_HZ) for start_s in PLACES_S)
    louder = Told(".*_louder", 4.0, "balance", spans_s)  # what plays in it is not written down
    operations = (
        Operation("clip", "another orchestra's clip in places +4 dB",
                  lambda take: with_clip(take, clip, 6, 4), (louder,)),
        Operation("real_hall_soft", "a measured hall of 2.6 s at -6 dB",
                  _alone(lambda take: reverberated(take, response, -6)),
                  (Told("wetter", filled_gaps_db(response), "reverberation in gaps"),)),
        Operation("real_hall", "a measured hall of 2.6 s at the take's level",
                  _alone(lambda take: reverberated(take, response, 0)),
                  (Told("wetter", filled_gaps_db(response), "reverberation in gaps"),)),
    )  # fmt: skip
    return {operation.name: operation for operation in operations}


# --- the judge ----------------------------------------------------------------------------------


def complaints(operation: Operation, pair: Pair, results: Results) -> list[str]:
    """What is wrong in what was told; empty where everything is right."""
    out = [f"warns: {text}" for text in results.warnings if not _expected(operation, text)]
    level = results.level
    if level is None:
        return [*out, "refused"]
    if not operation.told:
        known_db = level_change_db(pair)
        if abs(level.gain_db - known_db) > 0.05:
            out.append(f"gain {level.gain_db:+.2f} dB for {known_db:+.2f}")
    left = list(results.findings)
    for told in operation.told:
        finding = next((each for each in left if re.fullmatch(told.kind, each.kind)), None)
        if finding is None:
            out.append(f"no {told.kind}")
            continue
        left.remove(finding)
        out += _faults(told, finding, pair, operation.gain_db - level.gain_db)
    return out + [f"also {spoken(finding)}" for finding in left]


def _expected(operation: Operation, warning: str) -> bool:
    return bool(operation.warned and re.search(operation.warned, warning))


def _faults(told: Told, finding: Finding, pair: Pair, left_in_db: float) -> list[str]:
    jnd = JUST_NOTICEABLE[told.aspect]
    words = spoken(finding)
    out = []
    size = told.size(finding, pair) if callable(told.size) else told.size
    if size is not None and finding.unit != jnd.unit:
        out.append(f"{words} for {size:+.2f} {jnd.unit}")
    elif size is not None:
        if told.aspect == "tone":
            size += left_in_db
        low, high = finding.interval
        if abs(finding.difference - size) > jnd.size / 2:
            out.append(f"{words} for {size:+.2f}")
        elif not low - SHARPEST * jnd.size <= size <= high + SHARPEST * jnd.size:
            out.append(f"{words}: {size:+.2f} outside {low:+.2f} to {high:+.2f}")
    samples, rate_hz = pair[0]
    end_s = len(samples) / rate_hz
    known = [(start, min(end, end_s)) for start, end in told.spans_s if start < end_s]
    if known and not (
        len(known) == len(finding.spans_s)
        and np.abs(np.subtract(finding.spans_s, known)).max() < EDGE_S
    ):
        out.append(f"{words} at {finding.spans_s} for {known}")
    return out


def level_change_db(pair: Pair) -> float:
    """Energy of the candidate against the reference's."""
    energy = [(samples**2).sum() / rate_hz for samples, rate_hz in pair]
    return float(10 * np.log10(energy[1] / energy[0]))


def spoken(finding: Finding) -> str:
    return f"{finding.kind} {signed(finding.difference, finding.unit, 2)}"
