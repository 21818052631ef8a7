"""Render the sample recordings from the score: ``python -m sample_audio.render``.

Needs the ``fluidsynth`` command and two free soundfonts (see README.md); writes the recordings,
what is true of them (``*.truth.json``), the stems and the score beside this file.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import soundfile

from sample_audio import score
from tests.benchmarks.rendering import (
    FloatArray,
    Part,
    fold,
    mix,
    render_part,
    shift_notes,
    tempo_map,
    write_midi,
)

FOLDER = Path(__file__).resolve().parent
SAMPLE_RATE_HZ = 44100
START_S = 0.5
LAST_CHORD_S = START_S + score.FINAL_CHORD_BEAT * score.SECONDS_PER_BEAT
# Silence of the players after the last note-off: the room is left alone. Strings and drumheads
# are damped by hand: 60 dB in this time.
TAIL_S = 3.2
DAMPING_S = 0.25

LEGATO = 0.97
DETACHED = 0.5
JITTER_MS = 10.0
VELOCITY_DB = 0.8
FIGURE_GAIN_DB = 6.0
TEMPO_RATIO = 1.06
# 440 Hz to 443 Hz is 11.77 cents; the synthesiser plays whole cents.
TUNING_CENTS = 12.0

ARRIVAL_MS = 0.3
ROOM_SEED = 1843
NOISE_DBFS = -85.0
REFERENCE_PEAK_DBFS = -3.0
# More reverberation is more energy: that file is turned down as a whole.
WETTER_FILE_GAIN_DB = -3.0
# Players of a section do not agree to the cent or the millisecond.
DESK_CENTS = (-5.0, 0.0, 5.0)
DESK_JITTER_MS = 6.0
SECTIONS = ("violins", "violas")

FLUID = "FluidR3_GM.sf2"
GENERAL = "MuseScore_General.sf3"


@dataclass(frozen=True)
class Room:
    """Decay time, and energy of the room's sound against the direct sound."""

    rt60_s: float
    wet_db: float


HALL = Room(rt60_s=1.4, wet_db=-4.0)
WETTER_HALL = Room(rt60_s=2.2, wet_db=2.0)


@dataclass(frozen=True)
class Performance:
    """Parts as played, the instruments they are played on, and their dry stems at mix level."""

    parts: tuple[Part, ...]
    stems: dict[str, FloatArray]


# --- playing ------------------------------------------------------------------------------------


def interpret(theme_ratio: float, seed: int) -> tuple[Part, ...]:
    """Play the score: hymn legato, theme as asked, the rest a little short; with scatter.

    The last chord is held by all to the end.
    """
    ratios = dict.fromkeys(score.HYMN, LEGATO) | dict.fromkeys(score.THEME, theme_ratio)
    played = []
    for part in score.parts(START_S):
        notes = []
        for note in part.notes:
            ratio = LEGATO if note.onset_s >= LAST_CHORD_S else ratios.get(part.name, 0.9)
            notes.append(replace(note, duration_s=ratio * note.duration_s))
        played.append(replace(part, notes=tuple(notes)))
    return shift_notes(played, JITTER_MS, VELOCITY_DB, seed)


def perform(
    parts: tuple[Part, ...], soundfonts: Sequence[str], seed: int, tuning_cents: float = 0.0
) -> Performance:
    """Render every part; the first soundfont is the leading one, sections mix both."""
    end_s = max(note.end_s for part in parts for note in part.notes) + TAIL_S
    count = math.ceil(end_s * SAMPLE_RATE_HZ)
    time_after_s = np.maximum(np.arange(count) / SAMPLE_RATE_HZ - (end_s - TAIL_S), 0.0)
    damping = 10.0 ** (-3.0 * time_after_s / DAMPING_S)
    stems = {}
    for index, part in enumerate(parts):
        stem = np.zeros(count)
        desks = DESK_CENTS if part.name in SECTIONS else (0.0,)
        for desk, cents in enumerate(desks):
            desk_seed = seed * 1000 + index * 10 + desk
            desk_jitter_ms = DESK_JITTER_MS if len(desks) > 1 else 0.0
            (desk_part,) = shift_notes([part], desk_jitter_ms, 0.0, desk_seed)
            sound = render_part(
                desk_part,
                soundfonts[desk % len(soundfonts)],
                SAMPLE_RATE_HZ,
                tuning_cents + cents,
                tail_s=TAIL_S,
            )
            usable = min(count, len(sound))
            stem[:usable] += fold(sound[:usable])
        stems[part.name] = stem * damping
    return Performance(parts, stems)


def slower(time_s: float) -> float:
    """Another conductor's clock: 6 % slower, and the beat breathes by some 4 % over it.

    Both waves return to zero at the last chord, so the ratio holds exactly from START_S to there.
    """
    span_s = score.FINAL_CHORD_BEAT * score.SECONDS_PER_BEAT
    phase = 2.0 * math.pi * (time_s - START_S) / span_s
    breath_s = 0.10 * math.sin(2.0 * phase) + 0.03 * math.sin(5.0 * phase)
    return START_S + TEMPO_RATIO * (time_s - START_S) + breath_s


def with_levels_of(performance: Performance, model: Performance) -> Performance:
    """Set each part's fader so that its dry energy per second is that of the model."""
    parts = []
    for part in performance.parts:
        own = _mean_power(performance, part.name)
        gain_db = part.gain_db + 10.0 * math.log10(_mean_power(model, part.name) / own)
        parts.append(replace(part, gain_db=gain_db))
    return Performance(tuple(parts), performance.stems)


def _mean_power(performance: Performance, name: str) -> float:
    part = next(part for part in performance.parts if part.name == name)
    sounding_s = sum(note.duration_s for note in part.notes)
    return float(np.sum(performance.stems[name] ** 2)) / sounding_s


def in_room(
    performance: Performance, room: Room, gains_db: Mapping[str, float] | None = None
) -> FloatArray:
    """Mix a performance in a room."""
    return mix(
        performance.stems,
        performance.parts,
        room.rt60_s,
        room.wet_db,
        ROOM_SEED,
        gains_db,
        sample_rate_hz=SAMPLE_RATE_HZ,
        arrival_ms=ARRIVAL_MS,
    )


# --- writing ------------------------------------------------------------------------------------


def write_flac(path: Path, samples: FloatArray) -> None:
    """Write 16-bit FLAC; the samples must not clip."""
    peak = float(np.max(np.abs(samples)))
    if peak >= 1.0:
        raise ValueError(f"{path.name} would clip at {20.0 * math.log10(peak):+.1f} dBFS")
    path.parent.mkdir(parents=True, exist_ok=True)
    integers = np.round(samples * 32767.0).astype(np.int16)
    soundfile.write(path, integers, SAMPLE_RATE_HZ, format="FLAC", subtype="PCM_16")


def write_recording(name: str, samples: FloatArray, noise_seed: int) -> None:
    """Write a recording with the noise of its microphones, which also serves as dither."""
    noise = np.random.default_rng(noise_seed).standard_normal(samples.shape)
    write_flac(FOLDER / f"{name}.flac", samples + 10.0 ** (NOISE_DBFS / 20.0) * noise)


def write_stems(
    folder: str, performance: Performance, scale: float, gains_db: Mapping[str, float]
) -> None:
    """Write the dry mono stems at the level they have in the mix."""
    for part in performance.parts:
        gain_db = part.gain_db + gains_db.get(part.name, 0.0)
        stem = scale * 10.0 ** (gain_db / 20.0) * performance.stems[part.name]
        write_flac(FOLDER / "stems" / folder / f"{part.name}.flac", stem)


def write_truth(name: str, truth: Mapping[str, Any]) -> None:
    text = json.dumps(truth, indent=2) + "\n"
    (FOLDER / f"{name}.truth.json").write_text(text, encoding="utf-8")


def candidate_truth(
    name: str,
    relation: str,
    differences: Sequence[Mapping[str, Any]],
    *,
    duration_s: float,
    tempo_ratio: float = 1.0,
    tuning_cents: float = 0.0,
    time_map: Sequence[Sequence[float]] | None = None,
    file_gain_db: float = 0.0,
    notes: str,
) -> dict[str, Any]:
    """What is true of a candidate against the reference; differences candidate minus reference."""
    if time_map is None:
        time_map = [[START_S, START_S], [LAST_CHORD_S, LAST_CHORD_S]]
    return {
        "reference": "reference.flac",
        "candidate": f"{name}.flac",
        "sign": "candidate minus reference",
        "relation": relation,
        "candidate_duration_s": round(duration_s, 3),
        "file_gain_db": file_gain_db,
        "alignment": {
            "tempo_ratio": tempo_ratio,
            "tuning_cents": tuning_cents,
            "transposition_semitones": 0,
            "time_map": time_map,
        },
        "differences": list(differences),
        "notes": notes,
    }


def beat_map() -> list[list[float]]:
    """Reference time and time of the other performance at every second beat."""
    points = []
    for beat in range(0, int(score.FINAL_CHORD_BEAT) + 1, 2):
        time_s = START_S + beat * score.SECONDS_PER_BEAT
        points.append([round(time_s, 4), round(slower(time_s), 4)])
    return points


def write_scores() -> None:
    """Write the score as MIDI and, where the library for it is installed, as MusicXML."""
    write_midi(score.parts(), FOLDER / "score.mid", beats_per_minute=score.BEATS_PER_MINUTE)
    try:
        from sample_audio.notation import write_musicxml
    except ImportError:
        print("music21 is not installed: score.musicxml is left as it is")
        return
    write_musicxml(FOLDER / "score.musicxml")


# --- the five recordings ------------------------------------------------------------------------


def main() -> None:
    """Render everything."""
    write_scores()
    figure_gains = dict.fromkeys(score.FIGURE, FIGURE_GAIN_DB)
    take = perform(interpret(LEGATO, seed=1), (FLUID, GENERAL), seed=1)
    detached = perform(interpret(DETACHED, seed=2), (FLUID, GENERAL), seed=2)
    slow_parts = tempo_map(interpret(LEGATO, seed=3), slower)
    other = with_levels_of(perform(slow_parts, (GENERAL, FLUID), 3, TUNING_CENTS), take)

    recordings = {
        "reference": in_room(take, HALL),
        "candidate_figure_louder": in_room(take, HALL, figure_gains),
        "candidate_detached": in_room(detached, HALL),
        "candidate_wetter": 10.0 ** (WETTER_FILE_GAIN_DB / 20.0) * in_room(take, WETTER_HALL),
        "candidate_other_performance": in_room(other, HALL),
    }
    peak = float(np.max(np.abs(recordings["reference"])))
    scale = 10.0 ** (REFERENCE_PEAK_DBFS / 20.0) / peak
    # One take has one noise, whatever was done to its mix afterwards.
    noise_seeds = {"candidate_detached": 2, "candidate_other_performance": 3}
    durations_s = {}
    for name, samples in recordings.items():
        write_recording(name, scale * samples, noise_seeds.get(name, 1))
        durations_s[name] = len(samples) / SAMPLE_RATE_HZ
    write_stems("reference", take, scale, {})
    write_stems("candidate_figure_louder", take, scale, figure_gains)
    write_truths(durations_s, take)


def write_truths(durations_s: Mapping[str, float], take: Performance) -> None:
    """Write what is true of every recording."""
    end_s = max(note.end_s for part in take.parts for note in part.notes)
    music = [[START_S, round(START_S + 35.5 * score.SECONDS_PER_BEAT, 4)]]
    figure_spans = score.bar_spans_s(score.FIGURE_BARS, START_S)
    write_truth(
        "reference",
        {
            "recording": "reference.flac",
            "title": score.TITLE,
            "duration_s": round(durations_s["reference"], 3),
            "last_note_off_s": round(end_s, 3),
            "tuning_hz": 440.0,
            "beats_per_minute": score.BEATS_PER_MINUTE,
            "bar_onsets_s": [
                START_S + bar * score.BEATS_PER_BAR * score.SECONDS_PER_BEAT
                for bar in range(score.BAR_COUNT)
            ],
            "figure": {
                "parts": list(score.FIGURE),
                "notes_per_second": 4.0 / score.SECONDS_PER_BEAT,
                "period_s": 2.0 * score.SECONDS_PER_BEAT,
                "spans_s": figure_spans,
            },
            "theme": {"parts": list(score.THEME), "sounding_ratio": LEGATO},
            "timpani_roll_spans_s": score.bar_spans_s(score.ROLL_BARS, START_S),
            "room": {"rt60_s": HALL.rt60_s, "reverberant_to_direct_db": HALL.wet_db},
            "parts": [
                {"name": part.name, "position": part.pan, "gain_db": part.gain_db}
                for part in take.parts
            ],
        },
    )
    figure_difference = {
        "aspect": "balance",
        "kind": "repeating_figure_louder",
        "subject": "running figure in sixteenths",
        "parts": list(score.FIGURE),
        "difference": FIGURE_GAIN_DB,
        "unit": "dB",
        "spans_s": figure_spans,
        "bars": [list(bars) for bars in score.FIGURE_BARS],
        "cause": "mix",
    }
    name = "candidate_figure_louder"
    write_truth(
        name,
        candidate_truth(
            name,
            "same_take",
            [figure_difference],
            duration_s=durations_s[name],
            notes="The three parts are louder throughout, in the room too; also in the last chord.",
        ),
    )
    detached_difference = {
        "aspect": "articulation",
        "kind": "notes_more_detached",
        "subject": "theme",
        "parts": list(score.THEME),
        "difference": round(DETACHED - LEGATO, 3),
        "unit": "sounding ratio",
        "reference_value": LEGATO,
        "candidate_value": DETACHED,
        "spans_s": [[START_S, LAST_CHORD_S]],
        "bars": [[1, score.BAR_COUNT - 1]],
        "cause": "players",
    }
    name = "candidate_detached"
    write_truth(
        name,
        candidate_truth(
            name,
            "same_passage",
            [detached_difference],
            duration_s=durations_s[name],
            notes=(
                f"Another performance at the same tempo: every note scattered anew by {JITTER_MS} "
                f"ms and {VELOCITY_DB} dB (standard deviations) in both. Shorter notes carry less "
                "energy; the theme's fader and dynamics are unchanged. The last chord is held in "
                "both."
            ),
        ),
    )
    wetter_difference = {
        "aspect": "room",
        "kind": "wetter",
        "subject": "whole recording",
        "parts": [part.name for part in take.parts],
        "difference": round(WETTER_HALL.rt60_s - HALL.rt60_s, 3),
        "unit": "s",
        "reference_value": HALL.rt60_s,
        "candidate_value": WETTER_HALL.rt60_s,
        "reverberant_to_direct_difference_db": WETTER_HALL.wet_db - HALL.wet_db,
        "spans_s": [[0.0, round(durations_s["reference"], 3)]],
        "cause": "room",
    }
    name = "candidate_wetter"
    write_truth(
        name,
        candidate_truth(
            name,
            "same_take",
            [wetter_difference],
            duration_s=durations_s[name],
            file_gain_db=WETTER_FILE_GAIN_DB,
            notes=(
                "Apart from the file's gain the direct sound is the same to the sample; the decay "
                "above 1 kHz is shorter in both rooms."
            ),
        ),
    )
    name = "candidate_other_performance"
    write_truth(
        name,
        candidate_truth(
            name,
            "same_passage",
            [
                {
                    "aspect": "tempo",
                    "kind": "slower",
                    "subject": "whole passage",
                    "difference": round(100.0 * (1.0 / TEMPO_RATIO - 1.0), 2),
                    "unit": "percent of tempo",
                    "spans_s": music,
                    "cause": "players",
                },
                {
                    "aspect": "tuning",
                    "kind": "tuned_higher",
                    "subject": "whole passage",
                    "difference": TUNING_CENTS,
                    "unit": "cents",
                    "spans_s": music,
                    "cause": "players",
                },
            ],
            duration_s=durations_s[name],
            tempo_ratio=TEMPO_RATIO,
            tuning_cents=TUNING_CENTS,
            time_map=beat_map(),
            notes=(
                "Other instruments (the other soundfont leads), slower with rubato, tuned to 443 "
                "Hz. Each part's dry mean power is that of the reference, so no part is meant to "
                "be louder or softer; tone and attacks do differ. The time map holds written "
                "onsets; players scatter about them."
            ),
        ),
    )


if __name__ == "__main__":
    main()
