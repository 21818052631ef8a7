"""Make music whose every detail is known: render notes, place them, put them in a room.

Notes are played by the ``fluidsynth`` command from a General MIDI soundfont, one dry stem a part;
panning, balance and a synthetic room are added here. Nothing in this module knows the package
under test, so what it makes can serve as ground truth.
"""

from __future__ import annotations

import math
import shutil
import subprocess
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import mido
import numpy as np
import numpy.typing as npt
from scipy import signal

FloatArray = npt.NDArray[np.float64]
StemArray = npt.NDArray[np.float32]

SOUNDFONT_FOLDERS = (
    Path("/usr/share/sounds/sf2"),
    Path("/usr/share/sounds/sf3"),
    Path("/usr/share/soundfonts"),
)
TICKS_PER_BEAT = 9600
PERCUSSION_CHANNEL = 9

# The synthesiser's master gain. Output is floating point, so it cannot clip.
_SYNTH_GAIN = 0.5
# The synthesiser acts on events once a block of this length, one block late, on a clock of whole
# milliseconds: on average a block and a half and half a millisecond late.
_BLOCK_SAMPLES = 64
_CLOCK_STEP_S = 0.001
# It rounds pitches down to whole cents.
_CENTS_TO_NEAREST = 0.5
# Silence before time zero, so that a note at zero (or scattered before it) keeps its attack.
_LEAD_IN_S = 0.5
# Players in unison begin a note within this.
_TOGETHER_S = 0.05


@dataclass(frozen=True)
class Note:
    """One note; ``pitch`` is a MIDI number (69 = A4), ``velocity`` runs from 1 to 127."""

    onset_s: float
    duration_s: float
    pitch: int
    velocity: int

    @property
    def end_s(self) -> float:
        """Time of the note-off."""
        return self.onset_s + self.duration_s


@dataclass(frozen=True)
class Part:
    """What one desk or section plays, and where it sits.

    ``program`` is the General MIDI program from 0; ``pan`` runs from -1 (left) to +1 (right).
    """

    name: str
    program: int
    notes: tuple[Note, ...]
    percussion: bool = False
    pan: float = 0.0
    gain_db: float = 0.0


def find_soundfont(name: str) -> Path:
    """Find a soundfont file such as ``FluidR3_GM.sf2`` in the usual folders, or by its path.

    Raises
    ------
    FileNotFoundError
        If there is no such file.
    """
    candidates = [Path(name), *(folder / name for folder in SOUNDFONT_FOLDERS)]
    for candidate in candidates:
        if candidate.is_file():
            return candidate
    folders = ", ".join(str(folder) for folder in SOUNDFONT_FOLDERS)
    raise FileNotFoundError(f"no soundfont {name!r} in {folders}")


def can_render(soundfont: str = "FluidR3_GM.sf2") -> bool:
    """Tell whether the synthesiser and this soundfont are installed (for skipping tests)."""
    if shutil.which("fluidsynth") is None:
        return False
    try:
        find_soundfont(soundfont)
    except FileNotFoundError:
        return False
    return True


# --- notes -> MIDI ------------------------------------------------------------------------------


def write_midi(
    parts: Sequence[Part],
    path: str | Path,
    *,
    beats_per_minute: float = 120.0,
    beats_per_bar: int = 4,
    tuning_cents: float = 0.0,
    delay_s: float = 0.0,
    end_s: float | None = None,
) -> None:
    """Write the parts as a type 1 MIDI file, a track each, exact to a tenth of a millisecond.

    Parameters
    ----------
    parts
        Each that is no percussion has a channel of its own; beyond 15 on a further port.
    path
        File to write.
    beats_per_minute, beats_per_bar
        Tempo and metre written into the file. The notes keep their times in seconds.
    tuning_cents
        Deviation from A4 = 440 Hz, written as channel fine tuning (registered parameter 1,
        MIDI 1.0 Detailed Specification), -100 to +100.
    delay_s
        Added to every onset.
    end_s
        End of the tracks (after the delay); by default the last note-off.

    Raises
    ------
    ValueError
        If the tuning is out of range.
    """
    if not -100.0 <= tuning_cents < 100.0:
        raise ValueError(f"tuning must lie within 100 cents, not {tuning_cents}")

    last_s = max((note.end_s for part in parts for note in part.notes), default=0.0) + delay_s
    last_s = last_s if end_s is None else end_s
    ticks_per_second = TICKS_PER_BEAT * beats_per_minute / 60.0

    midi_file = mido.MidiFile(type=1, ticks_per_beat=TICKS_PER_BEAT)
    conductor = mido.MidiTrack()
    conductor.append(mido.MetaMessage("set_tempo", tempo=mido.bpm2tempo(beats_per_minute)))
    conductor.append(mido.MetaMessage("time_signature", numerator=beats_per_bar, denominator=4))
    midi_file.tracks.append(conductor)

    melodic = [channel for channel in range(16) if channel != PERCUSSION_CHANNEL]
    free = iter(divmod(index, len(melodic)) for index in range(len(parts)))
    for part in parts:
        port, place = (0, 0) if part.percussion else next(free)
        channel = PERCUSSION_CHANNEL if part.percussion else melodic[place]
        track = mido.MidiTrack()
        track.append(mido.MetaMessage("track_name", name=part.name))
        if port:
            track.append(mido.MetaMessage("midi_port", port=port))
        for message in _channel_setup(part, channel, tuning_cents):
            track.append(message)
        previous_tick = 0
        for time_s, message in _note_messages(part, channel):
            tick = round((time_s + delay_s) * ticks_per_second)
            track.append(message.copy(time=max(tick - previous_tick, 0)))
            previous_tick = max(tick, previous_tick)
        last_tick = max(round(last_s * ticks_per_second), previous_tick)
        track.append(mido.MetaMessage("end_of_track", time=last_tick - previous_tick))
        midi_file.tracks.append(track)
    midi_file.save(str(path))


def _channel_setup(part: Part, channel: int, tuning_cents: float) -> list[mido.Message]:
    """Messages at the start of a track: program, pan, tuning."""
    pan_value = min(max(round(64 + 63 * part.pan), 0), 127)
    messages = [
        mido.Message("program_change", channel=channel, program=part.program),
        mido.Message("control_change", channel=channel, control=10, value=pan_value),
    ]
    if tuning_cents != 0.0 and not part.percussion:
        value = min(max(round(8192 + 8192 * tuning_cents / 100.0), 0), 16383)
        # Select registered parameter 1, set it, deselect. Some players act on the coarse value
        # (6) with the fine one (38) that they already have, others on each: send fine twice.
        coarse, fine = value >> 7, value & 127
        controls = [(101, 0), (100, 1), (38, fine), (6, coarse), (38, fine), (101, 127), (100, 127)]
        for control, setting in controls:
            message = mido.Message(
                "control_change", channel=channel, control=control, value=setting
            )
            messages.append(message)
    return messages


def _note_messages(part: Part, channel: int) -> list[tuple[float, mido.Message]]:
    """Note-ons and note-offs in order of time; at equal times the note-offs come first."""
    events: list[tuple[float, int, mido.Message]] = []
    for note, end_s in zip(part.notes, _unison_ends(part.notes), strict=True):
        on = mido.Message("note_on", channel=channel, note=note.pitch, velocity=note.velocity)
        off = mido.Message("note_off", channel=channel, note=note.pitch, velocity=64)
        events.append((note.onset_s, 1, on))
        events.append((end_s, 0, off))
    events.sort(key=lambda event: (event[0], event[1]))
    return [(time_s, message) for time_s, _, message in events]


def _unison_ends(notes: Sequence[Note]) -> list[float]:
    """Ends of the notes, cut where the same pitch starts again (MIDI can't overlap a pitch)."""
    ends = [note.end_s for note in notes]
    latest_of_pitch: dict[int, int] = {}
    for index in sorted(range(len(notes)), key=lambda i: notes[i].onset_s):
        pitch = notes[index].pitch
        if pitch in latest_of_pitch:
            before = latest_of_pitch[pitch]
            ends[before] = min(ends[before], notes[index].onset_s)
        latest_of_pitch[pitch] = index
    return ends


# --- MIDI -> sound ------------------------------------------------------------------------------


def render_part(
    part: Part,
    soundfont: str | Path,
    sample_rate_hz: int = 44100,
    tuning_cents: float = 0.0,
    *,
    tail_s: float = 3.0,
) -> StemArray:
    """Play one part: a dry stem, centred, without reverb or chorus.

    Parameters
    ----------
    part
        Its ``pan`` and ``gain_db`` are left for `mix`.
    soundfont
        File name (see `find_soundfont`) or path.
    sample_rate_hz
        At most 96000.
    tuning_cents
        Deviation from A4 = 440 Hz; played to the nearest cent.
    tail_s
        Kept after the last note-off.

    Returns
    -------
    ndarray, shape (samples, 2), float32
        Sample 0 is time 0 of the notes. Onsets fall within 1.3 ms of their time (the
        synthesiser's block and clock), without bias.

    Raises
    ------
    FileNotFoundError
        If the synthesiser or the soundfont is missing.
    RuntimeError
        If the synthesiser fails.
    """
    if shutil.which("fluidsynth") is None:
        raise FileNotFoundError("the command fluidsynth is not installed")
    soundfont_path = find_soundfont(str(soundfont))
    end_s = max((note.end_s for note in part.notes), default=0.0) + tail_s
    with tempfile.TemporaryDirectory() as folder:
        midi_path = Path(folder) / "part.mid"
        raw_path = Path(folder) / "part.raw"
        write_midi(
            [replace(part, pan=0.0)],
            midi_path,
            tuning_cents=tuning_cents + _CENTS_TO_NEAREST,
            delay_s=_LEAD_IN_S,
            end_s=end_s + 2.0 * _LEAD_IN_S,
        )
        _run_synthesiser(midi_path, raw_path, soundfont_path, sample_rate_hz)
        samples = np.fromfile(raw_path, dtype="<f4").reshape(-1, 2)
    late_s = 0.5 * _CLOCK_STEP_S
    first = round((_LEAD_IN_S + late_s) * sample_rate_hz + 1.5 * _BLOCK_SAMPLES)
    stem = np.zeros((math.ceil(end_s * sample_rate_hz), 2), dtype=np.float32)
    kept = samples[first : first + len(stem)]
    stem[: len(kept)] = kept
    return stem


def _run_synthesiser(
    midi_path: Path, raw_path: Path, soundfont_path: Path, sample_rate_hz: int
) -> None:
    """Render a MIDI file to raw 32-bit floats, two channels."""
    command = ["fluidsynth", "-n", "-i", "-q", "-R", "no", "-C", "no"]
    command += ["-g", str(_SYNTH_GAIN), "-r", str(sample_rate_hz)]
    command += ["-T", "raw", "-O", "float", "-E", "little"]
    # One voice of a big chord must never be stolen by another: that would change the balance.
    command += ["-o", "synth.polyphony=1024"]
    command += ["-F", str(raw_path), str(soundfont_path), str(midi_path)]
    finished = subprocess.run(command, capture_output=True, text=True, check=False)
    if finished.returncode != 0 or not raw_path.is_file():
        raise RuntimeError(f"fluidsynth failed: {finished.stderr.strip()}")


# --- room and mix -------------------------------------------------------------------------------


def room_response(
    rt60_s: float,
    sample_rate_hz: int,
    seed: int,
    *,
    predelay_ms: float = 18.0,
    high_frequency_damping: float = 0.5,
) -> FloatArray:
    """Make a hall's impulse response without the direct sound: some reflections, then diffuse.

    Parameters
    ----------
    rt60_s
        Time to decay by 60 dB, up to 1 kHz.
    sample_rate_hz
    seed
        The same seed gives the same reflections and the same noise, whatever the decay time.
    predelay_ms
        From the direct sound to the first reflection.
    high_frequency_damping
        The decay time shrinks from 1 kHz on, to ``rt60_s * (1 - damping)`` at 8 kHz and above.

    Returns
    -------
    ndarray, shape (samples, 2)
        The two channels are independent; their energies add up to 1.
    """
    predelay = round(predelay_ms * 1e-3 * sample_rate_hz)
    diffuse_count = round(1.3 * rt60_s * sample_rate_hz)
    reflection_rng, noise_rng = np.random.default_rng(seed).spawn(2)

    noise = noise_rng.standard_normal((diffuse_count, 2))
    time_s = np.arange(diffuse_count)[:, np.newaxis] / sample_rate_hz
    diffuse = np.zeros_like(noise)
    for centre_hz, band in _octave_bands(noise, sample_rate_hz):
        octaves_above = min(max(math.log2(centre_hz / 1000.0), 0.0), 3.0)
        band_rt60_s = rt60_s * (1.0 - high_frequency_damping * octaves_above / 3.0)
        diffuse += band * 10.0 ** (-3.0 * time_s / band_rt60_s)
    # The density of reflections builds up over the first hundredths of a second.
    diffuse *= 1.0 - np.exp(-time_s / 0.012)
    diffuse /= math.sqrt(float(np.sum(diffuse**2)))

    response = np.zeros((predelay + diffuse_count, 2))
    response[predelay:] = diffuse
    for _ in range(8):
        delay_s = reflection_rng.uniform(0.0, 0.06)
        angle = reflection_rng.uniform(0.0, math.pi / 2.0)
        level = 0.16 * 10.0 ** (-delay_s / 0.08) * reflection_rng.choice([-1.0, 1.0])
        index = predelay + round(delay_s * sample_rate_hz)
        if index < len(response):
            response[index] += level * np.array([math.cos(angle), math.sin(angle)])
    return response / math.sqrt(float(np.sum(response**2)))


def _octave_bands(noise: FloatArray, sample_rate_hz: int) -> list[tuple[float, FloatArray]]:
    """Split into octave bands from 63 Hz up that add up to the input (raised-cosine edges)."""
    centres_hz = [62.5 * 2.0**octave for octave in range(9)]
    spectrum = np.fft.rfft(noise, axis=0)
    frequency_hz = np.fft.rfftfreq(len(noise), 1.0 / sample_rate_hz)
    octave_of_bin = np.log2(np.maximum(frequency_hz, 1.0) / centres_hz[0])
    octave_of_bin = np.clip(octave_of_bin, 0.0, len(centres_hz) - 1.0)
    bands = []
    for index, centre_hz in enumerate(centres_hz):
        distance = np.clip(np.abs(octave_of_bin - index), 0.0, 1.0)
        weight = 0.5 + 0.5 * np.cos(math.pi * distance)
        band = np.fft.irfft(spectrum * weight[:, np.newaxis], n=len(noise), axis=0)
        bands.append((centre_hz, band))
    return bands


def place(
    stem: StemArray | FloatArray, pan: float, sample_rate_hz: int, arrival_ms: float = 0.0
) -> FloatArray:
    """Pan a stem, folded to mono, with constant power.

    Parameters
    ----------
    stem
        Shape (samples, 2) or (samples,).
    pan
        -1 left to +1 right.
    sample_rate_hz
    arrival_ms
        How much later a source at one side reaches the other channel (0 = by level alone).

    Returns
    -------
    ndarray, shape (samples, 2)
        A centred source keeps its energy: each channel is 3 dB down.
    """
    mono = fold(stem)
    angle = (pan + 1.0) * math.pi / 4.0
    delay = round(abs(pan) * arrival_ms * 1e-3 * sample_rate_hz)
    late = np.concatenate([np.zeros(delay), mono[: len(mono) - delay]])
    left = late if pan > 0.0 else mono
    right = late if pan < 0.0 else mono
    return np.column_stack([left * math.cos(angle), right * math.sin(angle)])


def fold(stem: StemArray | FloatArray) -> FloatArray:
    """Mean of the channels of a stem, in double precision."""
    samples = np.asarray(stem, dtype=np.float64)
    return samples if samples.ndim == 1 else samples.mean(axis=1)


def mix(
    stems: Mapping[str, StemArray | FloatArray],
    parts: Sequence[Part],
    rt60_s: float,
    wet_db: float,
    seed: int,
    gains_db: Mapping[str, float] | None = None,
    *,
    sample_rate_hz: int = 44100,
    arrival_ms: float = 0.0,
    predelay_ms: float = 18.0,
    high_frequency_damping: float = 0.5,
) -> FloatArray:
    """Mix dry stems in a room: panned, summed, with the room's sound added.

    The whole is linear in the stems: a part's gain never changes what the others sound like.

    Parameters
    ----------
    stems
        Dry, by part name. Shorter ones are continued with silence.
    parts
        Where each stem sits (``pan``) and how loud (``gain_db``).
    rt60_s, seed, predelay_ms, high_frequency_damping
        The room, see `room_response`.
    wet_db
        Energy of the room's response against that of the direct sound. ``-inf`` = no room.
    gains_db
        Added to the parts' own gains, by name.
    sample_rate_hz
    arrival_ms
        Delay between the channels for a source at one side, see `place`.

    Returns
    -------
    ndarray, shape (samples, 2)
        As long as the longest stem. Not normalised.

    Raises
    ------
    ValueError
        If a stem or a gain belongs to no part.
    """
    placed = {part.name: part for part in parts}
    unknown = (set(stems) | set(gains_db or {})) - set(placed)
    if unknown:
        raise ValueError(f"no such part: {', '.join(sorted(unknown))}")
    count = max(len(stem) for stem in stems.values())
    direct = np.zeros((count, 2))
    send = np.zeros(count)
    for name, stem in stems.items():
        part = placed[name]
        gain = 10.0 ** ((part.gain_db + (gains_db or {}).get(name, 0.0)) / 20.0)
        direct[: len(stem)] += gain * place(stem, part.pan, sample_rate_hz, arrival_ms)
        send[: len(stem)] += gain * fold(stem)
    if wet_db == -math.inf:
        return direct
    room = room_response(
        rt60_s,
        sample_rate_hz,
        seed,
        predelay_ms=predelay_ms,
        high_frequency_damping=high_frequency_damping,
    )
    wet = signal.fftconvolve(send[:, np.newaxis], room, axes=0)[:count]
    return np.asarray(direct + 10.0 ** (wet_db / 20.0) * wet, dtype=np.float64)


# --- another way of playing ---------------------------------------------------------------------


def shift_notes(
    parts: Sequence[Part], jitter_ms: float, velocity_db: float, seed: int
) -> tuple[Part, ...]:
    """Scatter onsets and levels as players do: each note by itself, normally distributed.

    Parameters
    ----------
    parts
    jitter_ms, velocity_db
        Standard deviations; nothing strays by more than 2.5 of them.
    seed

    Returns
    -------
    tuple of Part
        Durations stay as they are; no onset falls before zero. Levels follow the default
        velocity curve of soundfonts, 40 dB per decade (SoundFont 2.04, section 8.4.1).
    """
    rng = np.random.default_rng(seed)
    shifted = []
    for part in parts:
        scatter = np.clip(rng.standard_normal((len(part.notes), 2)), -2.5, 2.5)
        notes = []
        for note, (lateness, loudness) in zip(part.notes, scatter, strict=True):
            onset_s = max(note.onset_s + float(lateness) * jitter_ms * 1e-3, 0.0)
            velocity = round(note.velocity * 10.0 ** (float(loudness) * velocity_db / 40.0))
            velocity = min(max(velocity, 1), 127)
            notes.append(replace(note, onset_s=onset_s, velocity=velocity))
        shifted.append(replace(part, notes=tuple(notes)))
    return tuple(shifted)


def unisons_joined(parts: Sequence[Part]) -> tuple[Part, ...]:
    """Notes of one pitch that overlap in a part as one, as long as the longest is held.

    A synthesiser plays a pitch once: where two players in unison are scattered, the one that comes
    later would end the other, and a short note of the one a long one of the other.
    """
    joined = []
    for part in parts:
        notes: list[Note] = []
        last: dict[int, int] = {}
        for note in sorted(part.notes, key=lambda each: each.onset_s):
            before = notes[last[note.pitch]] if note.pitch in last else None
            until_s = min(before.end_s, before.onset_s + _TOGETHER_S) if before else -math.inf
            if before and note.onset_s < until_s:
                longer_s = max(before.duration_s, note.end_s - before.onset_s)
                louder = max(before.velocity, note.velocity)
                notes[last[note.pitch]] = replace(before, duration_s=longer_s, velocity=louder)
            else:
                last[note.pitch] = len(notes)
                notes.append(note)
        joined.append(replace(part, notes=tuple(notes)))
    return tuple(joined)


def scale_durations(part: Part, sounding_ratio: float, *, keep_rests: bool = False) -> Part:
    """Play a part more legato or more detached.

    Parameters
    ----------
    part
    sounding_ratio
        Share of the time until the part's next onset in which each note sounds. Onsets within
        30 ms of each other are one chord. The last notes take the share of their own duration.
    keep_rests
        Take the share of the written duration where that ends earlier (a rest follows).
    """
    onsets_s = np.sort([note.onset_s for note in part.notes])
    notes = []
    for note in part.notes:
        later = int(np.searchsorted(onsets_s, note.onset_s + 0.03, side="right"))
        available_s = note.duration_s
        if later < len(onsets_s):
            interval_s = float(onsets_s[later]) - note.onset_s
            available_s = min(interval_s, note.duration_s) if keep_rests else interval_s
        notes.append(replace(note, duration_s=sounding_ratio * available_s))
    return replace(part, notes=tuple(notes))


def transpose(parts: Sequence[Part], semitones: int) -> tuple[Part, ...]:
    """Move every pitch, except on percussion."""
    moved = []
    for part in parts:
        step = 0 if part.percussion else semitones
        notes = tuple(replace(note, pitch=note.pitch + step) for note in part.notes)
        moved.append(replace(part, notes=notes))
    return tuple(moved)


def tempo_map(parts: Sequence[Part], function: Callable[[float], float]) -> tuple[Part, ...]:
    """Send the start and the end of every note through a function of time, seconds to seconds."""
    mapped = []
    for part in parts:
        notes = []
        for note in part.notes:
            onset_s = function(note.onset_s)
            duration_s = function(note.end_s) - onset_s
            notes.append(replace(note, onset_s=onset_s, duration_s=duration_s))
        mapped.append(replace(part, notes=tuple(notes)))
    return tuple(mapped)
