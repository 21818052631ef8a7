"""Made-up results and recordings: what a comparison of two rehearsal takes might look like."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from mixcompare.alignment.result import SAME_PASSAGE, SAME_TAKE, UNRELATED, Alignment, Event
from mixcompare.alignment.timemap import TimeMap
from mixcompare.aspects import ANALYZERS, JUST_NOTICEABLE
from mixcompare.aspects.articulation.values import (
    BASS,
    LEAD,
    ArticulationDifference,
    ArticulationMeasurement,
    NoteShape,
    Stretch,
    VoiceArticulation,
)
from mixcompare.aspects.balance.values import BalanceDifference, BalanceMeasurement, Element
from mixcompare.aspects.dynamics.values import DynamicsDifference, DynamicsMeasurement
from mixcompare.aspects.loudness import LoudnessDifference, LoudnessMeasurement
from mixcompare.aspects.placement.values import PlacementDifference, PlacementMeasurement
from mixcompare.aspects.room.values import RoomDifference, RoomMeasurement
from mixcompare.aspects.tempo.values import TempoDifference, TempoMeasurement
from mixcompare.aspects.tone.values import ToneDifference, ToneMeasurement
from mixcompare.aspects.tuning import TuningDifference, TuningMeasurement
from mixcompare.aspects.width.values import WidthDifference, WidthMeasurement
from mixcompare.audio.recording import Recording
from mixcompare.elements.local import LocalChange
from mixcompare.findings import Cause, Finding
from mixcompare.listening.excerpts import AlignedSound
from mixcompare.results import Level, Measured, Results, Source
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ
from tests.by_hand import said

LENGTH_S = 48.0
RATE_HZ = 44_100
CENTRES_HZ = tuple(THIRD_OCTAVE_CENTRES_HZ.tolist())
OCTAVES_HZ = (125.0, 250.0, 500.0, 1000.0, 2000.0)
REGISTERS_HZ = ((45.0, 178.0), (178.0, 708.0), (708.0, 2800.0))


def measured(aspect: str, reference: Any, candidate: Any, difference: Any) -> Measured:
    """What an aspect found, with what it says of itself."""
    about = next(one.about for one in ANALYZERS if one.aspect == aspect)
    return Measured(aspect, reference, candidate, difference, about)


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
    told = (
        Finding(
            "balance", "repeating_figure_louder", "repeating high figure, 4.0 notes a second",
            5.8, (4.9, 6.7), "dB", 5.7, said(0.96), motor, (2000.0, 5000.0), Cause(0.55, 0.05, 0.4),
            "The repeating high figure is 5.8 dB louder against the rest at 0:08-0:20 and"
            " 0:31-0:40.",
            ("Ask clarinets and xylophone to play about one dynamic softer.",
             "Bring the xylophone spot down by about 4 dB."),
            on_candidate(motor), 1, ((5, 12), (20, 25)), None,
            ("It also makes the highs read 0.8 dB brighter.",),
        ),
        Finding(
            "articulation", "notes_more_detached", "leading line", -0.21, (-0.27, -0.15), "",
            2.5, said(0.9), line, (400.0, 1600.0), Cause(0.9, 0.1, 0.0),
            "Notes of the leading line sound for 62 % of their time, not 83 %: 21 points less.",
            ("Ask for longer notes: tenuto instead of staccato.",),
            on_candidate(line), 2,
        ),
        Finding(
            "room", "wetter", "the whole sound", 2.6, (1.9, 3.2), "dB", 1.7, said(0.85), whole,
            None, Cause(0.0, 0.6, 0.4), "The candidate is wetter by 2.6 dB of reverberation.",
            ("Less of the ambience pair, or a shorter reverb.",), on_candidate(whole), 3,
        ),
        Finding(
            "tempo", "slower", "tempo", -3.8, (-4.1, -3.5), "%", 1.9, said(0.99), whole, None,
            Cause(1.0, 0.0, 0.0), "The candidate is 3.8 % slower.", (), on_candidate(whole), 4,
        ),
    )  # fmt: skip
    measures = (JUST_NOTICEABLE[name] for name in ("balance", "articulation", "wetness", "tempo"))
    return tuple(
        replace(one, noticeable=measure) for one, measure in zip(told, measures, strict=True)
    )


def _measurements(time_map, length_s, rng):
    octaves = np.log2(THIRD_OCTAVE_CENTRES_HZ / 1000)
    slope = -2.0 * octaves - 0.4 * octaves**2
    shelf = 2.2 / (1 + np.exp(-3 * (octaves - 1.5))) + rng.normal(0, 0.2, len(octaves))
    return {
        "loudness": _loudness(time_map, length_s, rng),
        "balance": _balance(length_s, rng),
        "tone": _tone(slope, shelf),
        "articulation": _articulation(length_s, rng),
        "width": _width(octaves),
        "placement": _placement(octaves),
        "room": _room(length_s),
        "dynamics": _dynamics(time_map, length_s),
        "tempo": measured(
            "tempo",
            TempoMeasurement(236.0, (230.0, 242.0)),
            TempoMeasurement(227.0, (222.0, 232.0)),
            _tempo(time_map, length_s),
        ),
        "tuning": measured(
            "tuning",
            TuningMeasurement(441.0, 4.1, (2.5, 5.7)),
            TuningMeasurement(441.9, 7.5, (5.0, 10.0)),
            TuningDifference(3.4, (0.8, 6.0), 0, 3.4, a4_hz=(441.0, 441.9)),
        ),
    }


def _tone(slope, shelf):
    known = [None, *shelf[1:].tolist()]
    around = [None, *((value - 0.6, value + 0.7) for value in shelf[1:].tolist())]
    return measured(
        "tone",
        ToneMeasurement(CENTRES_HZ, tuple(slope.tolist()), -2.1),
        ToneMeasurement(CENTRES_HZ, tuple((slope + shelf).tolist()), -1.7),
        ToneDifference(
            band_centre_hz=CENTRES_HZ,
            band_level_db=tuple(known),
            band_level_db_interval=tuple(around),
            tilt_db_per_octave=0.4,
            tilt_db_per_octave_interval=(0.2, 0.6),
            shaping_kind=("high_shelf", "bell"),
            shaping_frequency_hz=(3200.0, 410.0),
            shaping_gain_db=(2.2, -0.8),
            shaping_q=(0.7, 1.2),
            residual_db=0.3,
            scatter_db=0.2,
            explained_db=(0.5,) * len(CENTRES_HZ),
        ),
    )


def _articulation(length_s, rng):
    notes = 24
    note_s = np.linspace(0.05 * length_s, 0.9 * length_s, notes).tolist()
    leading = VoiceArticulation(
        name=LEAD, reference_ratio=0.83, candidate_ratio=0.62, sounding_ratio=-0.21,
        sounding_ratio_interval=(-0.27, -0.15), manner="legato, then staccato",
        gap_depth_db=-5.5, accent_db=1.4, attack_ms=-4.0, release_ms=12.0,
        notes=notes, notes_left_out=3, written=False,
    )  # fmt: skip
    untold = replace(
        leading, name=BASS, reference_ratio=None, candidate_ratio=None, sounding_ratio=None,
        sounding_ratio_interval=None, manner="", gap_depth_db=None, accent_db=None,
        attack_ms=None, release_ms=None, notes=2, notes_left_out=5,
    )  # fmt: skip
    horns = replace(
        leading, name="Horns", reference_ratio=0.5, candidate_ratio=0.9, sounding_ratio=0.4,
        sounding_ratio_interval=(0.3, 0.5), written=True,
    )  # fmt: skip
    line = ((0.25 * length_s, 0.54 * length_s),)
    return measured(
        "articulation",
        ArticulationMeasurement(0.83, (0.8, 0.86), -14.0, 22.0, 31),
        ArticulationMeasurement(0.62, (0.57, 0.67), -19.5, 18.0, 28),
        ArticulationDifference(
            sounding_ratio=-0.21,
            sounding_ratio_interval=(-0.27, -0.15),
            reference_ratio=0.83,
            candidate_ratio=0.62,
            gap_depth_db=-5.5,
            attack_ms=-4.0,
            agreement=0.92,
            notes=notes,
            notes_left_out=3,
            accent_db=1.4,
            release_ms=12.0,
            band_hz=(400.0, 1600.0),
            voices=(leading, untold, horns),
            stretch=Stretch(-0.21, (-0.27, -0.15), 0.83, 0.62, 0.92, notes, line),
            shown=LEAD,
            note_s=tuple(note_s),
            note_pitch=(67,) * notes,
            note_reference_ratio=tuple(rng.normal(0.83, 0.05, notes).tolist()),
            note_candidate_ratio=tuple(rng.normal(0.62, 0.07, notes).tolist()),
            examples=(_note(note_s[4]), _note(note_s[9], 0.8)),
        ),
    )


def _width(octaves):
    side = -12 + 3 * np.tanh(octaves)
    return measured(
        "width",
        WidthMeasurement(-11.2, 0.81, 0.3, CENTRES_HZ, tuple(side), tuple(0.7 - 0.1 * octaves)),
        WidthMeasurement(-9.0, 0.72, 0.5, CENTRES_HZ, tuple(side + 2), tuple(0.6 - 0.12 * octaves)),
        WidthDifference(
            side_to_mid_db=2.2,
            side_to_mid_db_interval=(1.4, 3.0),
            correlation=-0.09,
            correlation_interval=(-0.13, -0.05),
            mono_fold_down_loss_db=0.2,
            band_centre_hz=CENTRES_HZ,
            band_side_to_mid_db=(2.0,) * 31,
            band_side_to_mid_db_interval=((1.0, 3.0),) * 31,
            band_correlation=(-0.1,) * 31,
            side_to_mid_direct_db=1.1,
            side_to_mid_decay_db=2.6,
            agreeing_share=0.88,
            low_correlation=(0.9, 0.8),
        ),
    )


def _placement(octaves):
    ours = 0.3 * np.sin(octaves)
    return measured(
        "placement",
        PlacementMeasurement(CENTRES_HZ, tuple(ours.tolist()), 0.02, (40.0,) * 31),
        PlacementMeasurement(CENTRES_HZ, tuple((ours + 0.12).tolist()), 0.14, (70.0,) * 31),
        PlacementDifference(
            band_centre_hz=CENTRES_HZ,
            position=(0.12,) * 31,
            position_interval=((0.1, 0.14),) * 31,
            reference_position=tuple(ours.tolist()),
            turn_db=1.0,
            turn_db_interval=(0.8, 1.2),
            image_scale=0.97,
            own_position=(0.01,) * 31,
            own_position_interval=((-0.01, 0.03),) * 31,
            consistency=(0.75,) * 31,
            time_difference_us=(30.0,) * 31,
            time_difference_us_interval=((10.0, 50.0),) * 31,
        ),
    )


def _room(length_s):
    return measured(
        "room",
        RoomMeasurement(
            1.8, (1.6, 2.0), None, None, None,
            octave_centre_hz=OCTAVES_HZ, octave_decay_time_s=(None, 2.0, 1.9, 1.7, 1.4),
        ),
        RoomMeasurement(
            2.3, (2.0, 2.6), None, None, None,
            octave_centre_hz=OCTAVES_HZ, octave_decay_time_s=(2.9, 2.6, 2.4, 2.2, 1.8),
        ),
        RoomDifference(
            wetness_db=2.6,
            wetness_db_interval=(1.9, 3.2),
            kernel_time_s=2.1,
            decay_time_s=0.5,
            decay_time_percent=27.8,
            decay_time_percent_interval=(10.0, 48.0),
            early_decay_time_s=None,
            clarity_c80_db=None,
            register_wetness_db=(2.1, 2.5, 3.0, -2.4),
            explained=0.41,
            reasons=("Clarity cannot be told from music without a free onset.",),
        ),
    )  # fmt: skip


def _dynamics(time_map, length_s):
    reference_s = np.arange(0, length_s, 0.1)
    candidate_s = np.arange(0, candidate_length_s(length_s), 0.1)
    ours = -24 + 6 * np.sin(2 * np.pi * reference_s / 16)
    theirs = -22 + 4.8 * np.sin(2 * np.pi * time_map.to_reference(candidate_s) / 16)
    difference = 2 - 1.2 * np.sin(2 * np.pi * reference_s / 16)
    return measured(
        "dynamics",
        DynamicsMeasurement(
            14.2, 9.3, 12.0, -17.0, (8.0, 11.0), -30.0, (2.0, 5.0),
            tuple(reference_s.tolist()), (None, *ours[1:].tolist()),
        ),
        DynamicsMeasurement(
            12.9, 7.9, 10.5, -16.0, (8.0, 11.0), -27.0, (2.0, 5.0),
            tuple(candidate_s.tolist()), tuple(theirs.tolist()),
        ),
        DynamicsDifference(
            crest_db=-1.3,
            peak_to_short_term_db=-1.5,
            loudness_range_lu=-1.4,
            loudness_range_lu_interval=(-2.6, 0.4),
            swing_db_per_db=0.8,
            swing_db_per_db_interval=(0.74, 0.86),
            level_range_db=11.5,
            knee_lufs=None,
            above_knee_db_per_db=None,
            above_knee_db_per_db_interval=None,
            loudest_s=(8.0, 11.0),
            loudest_difference_db=-1.1,
            softest_s=(2.0, 5.0),
            softest_difference_db=0.9,
            contour_s=tuple(reference_s.tolist()),
            contour_db=tuple(difference.tolist()),
        ),
    )  # fmt: skip


def _tempo(time_map, length_s):
    times = np.arange(1.0, length_s - 1.0, 0.2)
    curve = 100 * 0.35 * 2 * np.pi / 24 * np.cos(2 * np.pi * times / 24) / 1.04
    half = np.full(len(times), 2.0)
    return TempoDifference(
        ratio=1.04,
        ratio_interval=(1.037, 1.043),
        percent=4.0,
        percent_interval=(3.7, 4.3),
        tempo_percent=-100 * 4 / 104,
        tempo_percent_interval=(-100 * 4.3 / 104.3, -100 * 3.7 / 103.7),
        spread_percent=6.1,
        own_spread_percent=(5.0, 7.5),
        own_spread_difference_percent=2.5,
        own_spread_difference_percent_interval=(1.0, 4.0),
        curve_s=tuple(times.tolist()),
        curve_percent=tuple(curve.tolist()),
        curve_half_width_percent=tuple(half.tolist()),
        time_map=time_map,
    )


def _note(onset_s, scale=1.0):
    """One note whose levels fall from where it ends; the candidate's ends earlier."""
    times = np.arange(0, 0.62, 0.01)
    sides = {}
    for role, held_s, interval_s in (
        ("reference", 0.41 * scale, 0.5 * scale), ("candidate", 0.33 * scale, 0.53 * scale),
    ):  # fmt: skip
        levels = np.minimum(0, 900 * (times - 0.02)) - np.maximum(0, 90 * (times - held_s))
        sides |= {
            f"{role}_time_s": tuple(times.tolist()),
            f"{role}_level_db": tuple(levels.tolist()),
            f"{role}_held_s": held_s,
            f"{role}_interval_s": interval_s,
        }
    return NoteShape(pitch=67, onset_s=onset_s, **sides)


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
    return measured(
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
    spans = motor_spans_s(length_s)
    figure = Element(
        name="repeating high figure", kind="repeating_figure", difference_db=5.8,
        interval=(4.9, 6.7), confidence=0.96, band_hz=(2000.0, 5000.0), spans_s=spans,
        notes_per_s=4.0, motif_notes=8, against=False,
        reference_audible_share=0.7, candidate_audible_share=0.98,
        reference_loudness_share=0.05, candidate_loudness_share=0.2,
    )  # fmt: skip
    line = replace(
        figure, name="leading line", kind="leading_line", difference_db=-0.4, interval=(-1.3, 0.5),
        band_hz=(400.0, 1600.0), spans_s=((0.04 * length_s, 0.6 * length_s),), notes_per_s=None,
        motif_notes=None,
    )  # fmt: skip
    bass = LocalChange("bass", (60.0, 250.0), (0.0, length_s), -1.9, (-3.1, -0.7), 0.8)
    return measured(
        "balance",
        BalanceMeasurement(
            REGISTERS_HZ, (-9.0, -3.0, -12.0), (0.9, 1.0, 0.6), (0.3, 0.5, 0.2), 0.94,
            (LEAD, BASS), (1.0, 0.9), (0.4, 0.2), 0.81,
        ),
        BalanceMeasurement(
            REGISTERS_HZ, (-9.5, -3.2, -8.0), (0.85, 1.0, 0.9), (0.25, 0.45, 0.3), 0.97,
            (LEAD, BASS), (0.9, 0.9), (0.3, 0.2), 0.75,
        ),
        BalanceDifference(
            elements=(figure, line),
            passages=(bass,),
            register_hz=REGISTERS_HZ,
            register_level_db=(-0.5, -0.2, 4.0),
            scatter_db=1.3,
            register_audible_share=(-0.05, 0.0, 0.3),
            register_loudness_share=(-0.05, -0.05, 0.1),
            evenness=0.03,
            voice_name=(LEAD, BASS),
            voice_audible_share=(-0.1, 0.0),
            voice_loudness_share=(-0.1, 0.0),
            blend=-0.06,
            band_centre_hz=tuple(centres.tolist()),
            times_s=tuple(times.tolist()),
            difference_db=levels,
        ),
    )  # fmt: skip


def gliding_pair(
    results: Results, length_s: float = LENGTH_S, rate_hz: int = RATE_HZ
) -> AlignedSound:
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
        sounds.append(_gliding(places, partner, level, rate_hz))
    return AlignedSound(
        Recording.from_array(sounds[0], rate_hz, "reference"),
        Recording.from_array(sounds[1], rate_hz, "candidate"),
        time_map,
        2.1,
    )


def with_preview(pair: AlignedSound, path: Path) -> AlignedSound:
    """The same with a preview, written to a path: its own tone two octaves and a fifth above."""
    rate_hz = pair.candidate.sample_rate_hz
    there = pair.time_map.to_reference(np.arange(pair.candidate.frames) / rate_hz)
    soundfile.write(path, _gliding(there, 6.0, 0.2 * 10 ** (-1.5 / 20), rate_hz), rate_hz)
    return replace(pair, preview=Recording.open(path), preview_gain_db=-1.5)


def _gliding(places_s, partner, level, rate_hz):
    phase = 2 * np.pi * np.cumsum(glide_hz(places_s)) / rate_hz
    wave = level * (np.sin(phase) + 0.3 * np.sin(partner * phase))
    return np.stack([wave, 0.9 * wave], axis=1).astype(np.float32)


def glide_hz(places_s):
    """Pitch of the made-up tone at places of the reference."""
    return 400.0 + 25.0 * np.asarray(places_s)
