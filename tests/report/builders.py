"""Made-up results and recordings: what a comparison of two rehearsal takes might look like."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from mixcompare.analyzers.loudness import LoudnessDifference, LoudnessMeasurement
from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ
from mixcompare.findings import Cause, Finding
from mixcompare.listening import Pair
from mixcompare.match import SAME_PASSAGE, SAME_TAKE, UNRELATED, Alignment, Event
from mixcompare.recording import Recording
from mixcompare.results import Level, Measured, Results, Source
from mixcompare.timemap import TimeMap

LENGTH_S = 48.0
RATE_HZ = 44_100
NOT_IN_REPORT = {"report": False}


@dataclass(frozen=True)
class Element:
    name: str
    difference_db: float
    interval: tuple[float, float]
    band_hz: tuple[float, float]
    spans_s: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class BalanceDifference:
    elements: tuple[Element, ...]
    band_centre_hz: tuple[float, ...] = field(metadata=NOT_IN_REPORT)
    times_s: np.ndarray = field(metadata=NOT_IN_REPORT)
    difference_db: np.ndarray = field(metadata=NOT_IN_REPORT)
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Values:
    """One recording's made-up measurement of several aspects."""

    band_centre_hz: tuple[float, ...] = ()
    band_level_db: tuple[float | None, ...] = ()
    tilt_db_per_octave: float | None = None


@dataclass(frozen=True)
class ToneDifference:
    band_centre_hz: tuple[float, ...]
    band_level_db: tuple[float | None, ...]
    band_level_db_interval: tuple[tuple[float, float] | None, ...]
    tilt_db_per_octave: float | None
    tilt_db_per_octave_interval: tuple[float, float] | None
    shaping_kind: tuple[str, ...]
    shaping_frequency_hz: tuple[float, ...]
    shaping_gain_db: tuple[float, ...]
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Stereo:
    side_to_mid_db: float
    correlation: float
    band_centre_hz: tuple[float, ...]
    band_side_to_mid_db: tuple[float | None, ...]
    band_correlation: tuple[float | None, ...]


@dataclass(frozen=True)
class Position:
    band_centre_hz: tuple[float, ...]
    position: tuple[float | None, ...]


@dataclass(frozen=True)
class Articulation:
    sounding_ratio: float | None
    gap_depth_db: float | None
    attack_ms: float | None
    sounding_ratio_interval: tuple[float, float] | None = None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class NoteShape:
    reference_time_s: tuple[float, ...]
    reference_level_db: tuple[float, ...]
    reference_held_s: float
    reference_interval_s: float
    candidate_time_s: tuple[float, ...]
    candidate_level_db: tuple[float, ...]
    candidate_held_s: float
    candidate_interval_s: float


@dataclass(frozen=True)
class ArticulationDifference:
    sounding_ratio: float | None
    sounding_ratio_interval: tuple[float, float] | None
    gap_depth_db: float | None
    notes: int
    note_reference_ratio: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT)
    note_candidate_ratio: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT)
    examples: tuple[NoteShape, ...] = field(default=(), metadata=NOT_IN_REPORT)
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Room:
    decay_time_s: float | None
    early_decay_time_s: float | None
    clarity_c80_db: float | None
    octave_centre_hz: tuple[float, ...] = ()
    octave_decay_time_s: tuple[float | None, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class RoomDifference:
    wetness_db: float | None
    wetness_db_interval: tuple[float, float] | None
    register_wetness_db: tuple[float, ...]
    decay_time_s: float | None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Dynamics:
    crest_db: float
    loudness_range_lu: float
    contour_db: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT)


@dataclass(frozen=True)
class Tempo:
    events_per_minute: float | None


@dataclass(frozen=True)
class TempoDifference:
    ratio: float
    ratio_interval: tuple[float, float]
    spread_percent: float | None
    curve_s: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT)
    curve_percent: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT)
    curve_half_width_percent: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT)


@dataclass(frozen=True)
class Tuning:
    cents_against_440: float
    cents_against_440_interval: tuple[float, float] | None = None


@dataclass(frozen=True)
class TuningDifference:
    tuning_cents: float
    tuning_cents_interval: tuple[float, float] | None = None


def candidate_length_s(length_s: float) -> float:
    """Length of the made-up candidate, which has some music more at both ends."""
    return round(1.04 * length_s + 2.4, 1)


def motor_spans_s(length_s: float) -> tuple[tuple[float, float], ...]:
    """Where the repeating figure plays."""
    return ((length_s / 6, length_s / 2.4), (0.64 * length_s, 0.82 * length_s))


def rubato_map(length_s: float = LENGTH_S) -> TimeMap:
    """Four per cent slower on the whole, ahead and behind by turns."""
    reference = np.arange(0, length_s + 0.01, 0.05)
    candidate = 0.7 + 1.04 * reference + 0.35 * np.sin(2 * np.pi * reference / 24)
    width = 25 + 20 * np.sin(2 * np.pi * reference / 17) ** 2
    return TimeMap(reference, candidate, width)


def made_up_results(
    relation: str = SAME_PASSAGE, name: str = "terraces reference.wav", length_s: float = LENGTH_S
) -> Results:
    """Results with every aspect, or those of unrelated recordings."""
    rng = np.random.default_rng(3)
    time_map = rubato_map(length_s)
    if relation == SAME_TAKE:
        time_map = TimeMap.linear(0.012, 1.0, 0.0, length_s, 0.1)
    related = relation != UNRELATED
    length = candidate_length_s(length_s)
    alignment = Alignment(
        relation=relation,
        confidence=0.97,
        time_map=time_map,
        offset_s=float(time_map.candidate_s[0]),
        drift_ppm=12.0 if relation == SAME_TAKE else None,
        polarity=1 if relation == SAME_TAKE else None,
        channels_swapped=False,
        transposition_semitones=0,
        tuning_cents=3.4,
        tempo_ratio=1.04 if relation == SAME_PASSAGE else 1.0,
        uncertainty_ms=22.0,
        events=(
            Event(
                "tail",
                (length_s, length_s),
                (length - 1.4, length),
                "The candidate goes on for 1.4 s.",
            ),
        ),
    )
    source = Source(name, RATE_HZ, 2, length_s, (0.0, length_s), "WAV PCM 24", (20.0, 20_000.0))
    candidate = replace(
        source,
        path="terraces, evening take.mp3",
        duration_s=length,
        span_s=(0.0, length),
        format="MPEG LAYER III",
        usable_band_hz=(20.0, 16e3),
    )
    return Results(
        reference=source,
        candidate=candidate,
        alignment=alignment,
        level=Level(2.1, (1.8, 2.4), "mode of the level differences of all audible cells")
        if related
        else None,
        measurements=_measurements(time_map, length_s, rng) if related else {},
        findings=_findings(time_map, length_s) if related else (),
        verdict="The repeating high figure stands far out, and its notes are shorter."
        if related
        else "These are not recordings of the same passage.",
        warnings=("terraces, evening take.mp3 is lossy: nothing is compared above 16 kHz.",),
        settings={"threshold_jnd": 1.0, "reference_span": None, "seed": 0},
    )


def _findings(time_map: TimeMap, length_s: float) -> tuple[Finding, ...]:
    def on_candidate(spans):
        return tuple(tuple(float(t) for t in time_map.to_candidate(span)) for span in spans)

    motor = motor_spans_s(length_s)
    line = ((0.25 * length_s, 0.54 * length_s),)
    whole = ((0.0, length_s),)
    return (
        Finding(
            "balance", "repeating_figure_louder", "repeating high figure, 4.0 notes a second",
            5.8, (4.9, 6.7), "dB", 5.7, 0.96, motor, (2000.0, 5000.0), Cause(0.55, 0.05, 0.4),
            "The repeating high figure is 5.8 dB louder against the rest at 0:08-0:20 and"
            " 0:31-0:40.",
            ("Ask clarinets and xylophone for one dynamic less.",
             "Bring the xylophone spot down by about 4 dB."),
            on_candidate(motor), 1, ((5, 12), (20, 25)), None,
            ("It also makes the highs read 0.8 dB brighter.",),
        ),
        Finding(
            "articulation", "notes_more_detached", "leading line", -0.21, (-0.27, -0.15), "",
            2.5, 0.9, line, (400.0, 1600.0), Cause(0.9, 0.1, 0.0),
            "Notes of the leading line sound for 62 % of their time instead of 83 %.",
            ("Ask for longer notes: tenuto instead of staccato.",),
            on_candidate(line), 2,
        ),
        Finding(
            "room", "wetter", "the whole sound", 2.6, (1.9, 3.2), "dB", 1.7, 0.85, whole, None,
            Cause(0.0, 0.6, 0.4), "The candidate is wetter by 2.6 dB of reverberation.",
            ("Less of the ambience pair, or a shorter reverb.",), on_candidate(whole), 3,
        ),
        Finding(
            "tempo", "slower", "tempo", -3.8, (-4.1, -3.5), "%", 1.9, 0.99, whole, None,
            Cause(1.0, 0.0, 0.0), "The candidate is 3.8 % slower.", (), on_candidate(whole), 4,
        ),
    )  # fmt: skip


def _measurements(time_map, length_s, rng):
    centres = tuple(THIRD_OCTAVE_CENTRES_HZ.tolist())
    octaves = np.log2(THIRD_OCTAVE_CENTRES_HZ / 1000)
    slope = -2.0 * octaves - 0.4 * octaves**2
    shelf = 2.2 / (1 + np.exp(-3 * (octaves - 1.5))) + rng.normal(0, 0.2, len(octaves))
    known = [None, *shelf[1:].tolist()]
    around = [None, *((value - 0.6, value + 0.6) for value in shelf[1:].tolist())]
    side = -12 + 3 * np.tanh(octaves)
    return {
        "loudness": _loudness(time_map, length_s, rng),
        "balance": _balance(length_s, rng),
        "tone": Measured(
            "tone",
            Values(centres, tuple(slope.tolist()), -2.1),
            Values(centres, tuple((slope + shelf).tolist()), -1.7),
            ToneDifference(
                centres, tuple(known), tuple(around), 0.4, (0.2, 0.6),
                ("high_shelf", "bell"), (3200.0, 410.0), (2.2, -0.8),
            ),
        ),
        "articulation": Measured(
            "articulation",
            Articulation(0.83, -14.0, 22.0, (0.8, 0.86)),
            Articulation(0.62, -19.5, 18.0, (0.57, 0.67)),
            ArticulationDifference(
                -0.21, (-0.27, -0.15), -5.5, 24,
                tuple(rng.normal(0.83, 0.05, 24).tolist()),
                tuple(rng.normal(0.62, 0.07, 24).tolist()),
                (_note(),),
            ),
        ),
        "width": Measured(
            "width",
            Stereo(-11.2, 0.81, centres, tuple(side), tuple(0.7 - 0.1 * octaves)),
            Stereo(-9.0, 0.72, centres, tuple(side + 2), tuple(0.6 - 0.12 * octaves)),
            Stereo(2.2, -0.09, centres, (2.0,) * 31, (-0.1,) * 31),
        ),
        "placement": Measured(
            "placement",
            Position(centres, tuple((0.3 * np.sin(octaves)).tolist())),
            Position(centres, tuple((0.3 * np.sin(octaves) + 0.12).tolist())),
            Position(centres, (0.12,) * 31),
        ),
        "room": Measured(
            "room",
            Room(1.8, None, None, (125.0, 250.0, 500.0, 1000.0, 2000.0), (None, 2, 1.9, 1.7, 1.4)),
            Room(2.3, None, None, (125.0, 250.0, 500.0, 1000.0, 2000.0), (2.9, 2.6, 2.4, 2.2, 1.8)),
            RoomDifference(2.6, (1.9, 3.2), (2.1, 2.5, 3.0, 2.4), 0.5,
                           ("Clarity cannot be told from music without a free onset.",)),
        ),
        "dynamics": Measured(
            "dynamics", Dynamics(14.2, 9.3), Dynamics(12.9, 7.9), Dynamics(-1.3, -1.4)
        ),
        "tempo": Measured("tempo", Tempo(236.0), Tempo(227.0), _tempo(length_s)),
        "tuning": Measured(
            "tuning",
            Tuning(4.1, (2.5, 5.7)),
            Tuning(7.5, (5.0, 10.0)),
            TuningDifference(3.4, (0.8, 6.0)),
        ),
    }  # fmt: skip


def _tempo(length_s):
    times = np.arange(1.0, length_s - 1.0, 0.2)
    curve = 100 * 0.35 * 2 * np.pi / 24 * np.cos(2 * np.pi * times / 24) / 1.04
    half = np.full(len(times), 2.0)
    return TempoDifference(
        1.04, (1.037, 1.043), 6.1, tuple(times), tuple(curve.tolist()), tuple(half.tolist())
    )


def _note():
    times = np.arange(0, 0.62, 0.01)
    shapes = []
    for held, interval in ((0.41, 0.5), (0.33, 0.53)):
        levels = np.minimum(0, 900 * (times - 0.02)) - np.maximum(0, 90 * (times - held))
        shapes += [tuple(times.tolist()), tuple(levels.tolist()), held, interval]
    return NoteShape(*shapes)


def _loudness(time_map, length_s, rng):
    reference_s = np.arange(0, length_s, 0.1)
    phrase = -24 + 7 * np.sin(2 * np.pi * reference_s / 16) + rng.normal(0, 1.2, len(reference_s))
    candidate_s = np.arange(0, candidate_length_s(length_s), 0.1)
    theirs = np.interp(time_map.to_reference(candidate_s), reference_s, phrase) * 0.9 - 0.2
    motor = np.zeros(len(candidate_s))
    for start, end in motor_spans_s(length_s):
        inside = (time_map.to_reference(candidate_s) > start) & (
            time_map.to_reference(candidate_s) < end
        )
        motor[inside] = 2.0
    smooth = np.convolve(phrase, np.ones(26) / 26, mode="same")
    both = [
        LoudnessMeasurement(
            -22.4 + shift, 9.3, -14.2 + shift, -17.0 + shift, -3.2 + shift, 19.2,
            tuple(times.tolist()), (None, *levels[1:].tolist()), tuple(short.tolist()),
        )
        for shift, times, levels, short in (
            (0.0, reference_s, phrase, smooth),
            (2.3, candidate_s, theirs + 2.1 + motor,
             np.convolve(theirs + motor, np.ones(26) / 26, mode="same") + 2.1),
        )
    ]  # fmt: skip
    return Measured(
        "loudness", *both, LoudnessDifference(2.3, -1.4, (-2.6, 0.4), 2.0, 2.2, 1.1, -1.2)
    )


def _balance(length_s, rng):
    times = np.arange(0, length_s, 0.1)
    centres = THIRD_OCTAVE_CENTRES_HZ[5:28]
    levels = rng.normal(0, 1.0, (len(times), len(centres)))
    high = (centres > 2000) & (centres < 5000)
    for start, end in motor_spans_s(length_s):
        inside = (times > start) & (times < end)
        pulse = 5.8 + 1.5 * np.sin(2 * np.pi * 4 * times[inside])
        levels[np.ix_(inside, high)] += pulse[:, None]
    low = centres < 250
    levels[np.ix_((times > 0.45 * length_s) & (times < 0.58 * length_s), low)] -= 5.0
    levels[(times > 0.59 * length_s) & (times < 0.61 * length_s)] = np.nan
    levels[:, -3:] = np.where(rng.random((len(times), 3)) < 0.5, np.nan, levels[:, -3:])
    elements = (
        Element(
            "repeating high figure", 5.8, (4.9, 6.7), (2000.0, 5000.0), motor_spans_s(length_s)
        ),
        Element(
            "leading line", -0.4, (-1.3, 0.5), (400.0, 1600.0), ((0.04 * length_s, 0.6 * length_s),)
        ),
        Element("bass", -1.9, (-3.1, -0.7), (60.0, 250.0), ((0.0, length_s),)),
    )
    nothing = BalanceDifference((), (), np.zeros(0), np.zeros((0, 0)))
    difference = BalanceDifference(elements, tuple(centres.tolist()), times, levels)
    return Measured("balance", nothing, nothing, difference)


def gliding_pair(results: Results, length_s: float = LENGTH_S, rate_hz: int = RATE_HZ) -> Pair:
    """Two recordings that lie as the results say; their pitch names the place in the music.

    A tone glides up by 25 Hz a second of the reference; the reference has another one an octave
    below, the candidate an octave and a fifth above, so that one can tell which of them sounds.
    """
    time_map = results.alignment.time_map
    count = int(length_s * rate_hz)
    reference_s = np.arange(count) / rate_hz
    candidate_s = np.arange(int(candidate_length_s(length_s) * rate_hz)) / rate_hz
    sounds = []
    for places, partner, level in (
        (reference_s, 0.5, 0.2),
        (time_map.to_reference(candidate_s), 3.0, 0.2 * 10 ** (2.1 / 20)),
    ):
        phase = 2 * np.pi * np.cumsum(glide_hz(places)) / rate_hz
        wave = level * (np.sin(phase) + 0.3 * np.sin(partner * phase))
        sounds.append(np.stack([wave, 0.9 * wave], axis=1).astype(np.float32))
    return Pair(
        Recording.from_array(sounds[0], rate_hz, "reference"),
        Recording.from_array(sounds[1], rate_hz, "candidate"),
        time_map,
        2.1,
    )


def glide_hz(places_s):
    """Pitch of the made-up tone at places of the reference."""
    return 400.0 + 25.0 * np.asarray(places_s)
