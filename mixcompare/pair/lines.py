"""Who leads: the leading line of an orchestral passage and its notes, without a score.

Conventions
-----------
Pitches are MIDI numbers on the recording's own semitone grid. A note lasts from its onset to the
next onset in the line; how long of that it sounds is not decided here.

Method
------
Every frame is explained as a sum of harmonic combs, one a pitch, with non-negative weights
(multiplicative updates for the Kullback-Leibler divergence, Lee and Seung 2001, with fixed
templates). The line is the path through these weights with the largest sum, where every change
of pitch has its price (Viterbi 1967). Several recordings of the same passage, brought to one
clock, add up: what one of them masks the other may show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.ndimage import uniform_filter1d

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import (
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    SEMITONE_RATE_HZ,
    Features,
)
from mixcompare.knowledge.notes import PartNotes
from mixcompare.pair.notes import LONGEST_NOTE_S, PARTIALS, REST, Note, Sounding, line_notes

FloatArray = npt.NDArray[np.float64]
LOWEST_COMB, HIGHEST_COMB = 36, 104  # C2 to G sharp 7; our choice
LOWEST_LEAD, HIGHEST_LEAD = 50, 96
"""Range of the leading line: D3 to C7."""

HIGHEST_BASS = 57
"""Of the bass line: A3."""


_COMB_FALL = 0.7  # each partial's share against the one below
_COMPRESSION = 0.33  # power to something like loudness (Stevens 1957: exponent 0.3)
_UPDATES = 20  # cost: multiplicative updates
_SMOOTH_FRAMES = 5  # 0.1 s; resolution of the path; our judgement, not measured
_CHANGE_PRICE = 2.5  # in standard deviations of the weights
_LEAP_PRICE = 0.3  # per semitone, relative
_FURTHEST_LEAP = 24  # semitones; further costs no more; our choice
_REST_SHARE = 0.2  # of the usual strength: softer is a rest; our judgement, not measured
_COLOUR_SEMITONES = 13  # an octave that tells the tone colour; our judgement, not measured
_MIDDLE_PITCH = 66  # F sharp 4, where the weight of height is nil; our judgement, not measured
_HIGH_VOICE = 0.15  # per octave: the ear follows the highest voice (Fujioka et al. 2005)
_LOW_VOICE = 0.3  # per octave, for the bass line; our judgement, not measured
_TOGETHER_S = 0.03  # notes that begin nearer are one chord; our judgement, not measured
_SHORTEST_WRITTEN_S = 0.2  # shorter notes are not judged; our judgement, not measured
_COVERING = 6  # partials of another note that may cover one's own
# Cost: a long recording is factorised by at most ten stretches of a minute.
_STRETCH_S, _MOST_STRETCHES = 60.0, 10


def comb_weights(semitone_power: FloatArray) -> FloatArray:
    """How strongly every pitch sounds, by combs of partials.

    Parameters
    ----------
    semitone_power : ndarray, shape (frames, 85)
        Energy per semitone.

    Returns
    -------
    ndarray, shape (frames, 69)
        From ``LOWEST_COMB`` to ``HIGHEST_COMB``; mean 1.
    """
    combs = _combs().astype(np.float32)
    total = combs.sum(axis=1)
    if len(semitone_power) == 0:
        return np.zeros((0, len(combs)))
    loud = (np.maximum(semitone_power, 1e-16) ** _COMPRESSION).astype(np.float32)
    colour = uniform_filter1d(loud.mean(axis=0), 25, mode="nearest")
    loud /= np.sqrt(colour)
    loud /= loud.mean()
    weights = np.ones((len(loud), len(combs)), np.float32)
    for _ in range(_UPDATES):
        weights *= (loud / (weights @ combs + np.float32(1e-9))) @ combs.T / total
    return np.asarray(weights / (weights.mean() + 1e-9), np.float64)


def _combs() -> FloatArray:
    pitches = np.arange(LOWEST_COMB, HIGHEST_COMB + 1)
    combs = np.zeros((len(pitches), HIGHEST_SEMITONE - LOWEST_SEMITONE + 1))
    for row, pitch in enumerate(pitches):
        for number, partial in enumerate(PARTIALS):
            band = pitch + partial - LOWEST_SEMITONE
            if band < combs.shape[1]:
                combs[row, band] += _COMB_FALL**number
    return np.asarray(combs / combs.sum(axis=1, keepdims=True))


def grid_shift(
    reference: Features, candidate: Features, transposition_semitones: int, tuning_cents: float
) -> int:
    """Semitone bands from a reference pitch to the same note in the candidate."""
    grids = reference.grid_tuning_cents - candidate.grid_tuning_cents
    return round(transposition_semitones + (tuning_cents + grids) / 100)


def joint_weights(
    sources: Sequence[Sounding],
) -> FloatArray:
    """Comb weights of several recordings on one clock, added up.

    Parameters
    ----------
    sources : sequence of Sounding
        Recordings, each with its own times of the common frames.

    Returns
    -------
    ndarray, shape (frames, 69)
    """
    total: FloatArray | None = None
    for features, times_s, shift in sources:
        power = sample_frames(features.semitone_power, SEMITONE_RATE_HZ, times_s)
        weights = comb_weights(power)
        weights = np.roll(weights, -shift, axis=1)
        if shift > 0:
            weights[:, -shift:] = 0
        elif shift < 0:
            weights[:, :-shift] = 0
        total = weights if total is None else total + weights
    if total is None:
        return np.zeros((0, HIGHEST_COMB - LOWEST_COMB + 1))
    return total


@dataclass(frozen=True)
class Stretch:
    """One stretch of one recording by itself.

    Attributes
    ----------
    frames : slice
        Where it lies.
    lead, bass : ndarray, shape (frames,)
        Paths of the leading and the bass line.
    """

    frames: slice
    lead: npt.NDArray[np.int64]
    bass: npt.NDArray[np.int64]


def lone_lines(features: Features) -> tuple[Stretch, ...]:
    """Both lines of one recording, kept with it; of a long one, those of ten minutes."""
    return features.kept("lone lines", _lone_lines)


def _lone_lines(features: Features) -> tuple[Stretch, ...]:
    frame_s = np.arange(len(features.semitone_power)) / SEMITONE_RATE_HZ
    frames = stretches(len(frame_s))
    weights = [joint_weights([(features, frame_s[inside], 0)]) for inside in frames]
    return tuple(map(Stretch, frames, lead_paths(weights), bass_paths(weights)))


def lead_notes(features: Features) -> tuple[Note, ...]:
    """Notes of one recording's leading line."""
    frame_s = np.arange(len(features.semitone_power)) / SEMITONE_RATE_HZ
    notes: list[Note] = []
    for stretch in lone_lines(features):
        own_s = frame_s[stretch.frames]
        notes += line_notes(stretch.lead, own_s, [(features, own_s, 0)])
    return tuple(notes)


def lead_and_bass_notes(
    sources: Sequence[Sounding], frame_s: FloatArray
) -> tuple[tuple[Note, ...], tuple[Note, ...]]:
    """Notes of the leading line and of the bass line, from one search for pitches."""
    frames = stretches(len(frame_s))
    parts = [
        [(features, own_s[inside], shift) for features, own_s, shift in sources]
        for inside in frames
    ]
    weights = list(map(joint_weights, parts))

    def notes(paths: list[npt.NDArray[np.int64]]) -> tuple[Note, ...]:
        found = (
            line_notes(path, frame_s[inside], part)
            for path, inside, part in zip(paths, frames, parts, strict=True)
        )
        return tuple(note for some in found for note in some)

    return notes(lead_paths(weights)), notes(bass_paths(weights))


def part_notes(part: PartNotes) -> tuple[Note, ...]:
    """Notes of a written part, each up to the next or, where a rest is written, up to that.

    Of notes struck together the highest counts.
    """
    first = np.unique(np.round(part.notes[:, 0] / _TOGETHER_S), return_index=True)[1]
    groups = np.split(part.notes, first[1:])
    top = np.array([group[group[:, 2].argmax(), :3] for group in groups]).reshape(-1, 3)
    notes = []
    for (onset_s, end_s, pitch), (next_s, _, following) in zip(top[:-1], top[1:], strict=True):
        if end_s < next_s - 0.3 * (next_s - onset_s):
            next_s, following = end_s, REST
        if not _SHORTEST_WRITTEN_S <= next_s - onset_s <= LONGEST_NOTE_S:
            continue
        near = (part.others[:, 0] < next_s - _TOGETHER_S) & (part.others[:, 1] > onset_s)
        doubling = _doubling(part.others, onset_s, end_s, pitch)
        near &= ~doubling
        partials = part.others[near, 2][:, None] + PARTIALS[None, :_COVERING]
        notes.append(
            Note(
                pitch=round(pitch),
                next_pitch=round(following),
                onset_s=float(onset_s),
                next_s=float(next_s),
                written=True,
                covered=tuple(int(band) for band in np.unique(np.round(partials))),
                doubled=bool(doubling.any()),
            )
        )
    return tuple(notes)


def _doubling(
    others: FloatArray, onset_s: float, end_s: float, pitch: float
) -> npt.NDArray[np.bool_]:
    """Notes in unison or octaves from the same onset to the same end: one voice to the ear."""
    together = np.abs(others[:, 0] - onset_s) < 2 * _TOGETHER_S
    alike = np.abs(others[:, 1] - end_s) < 0.15 * (end_s - onset_s)
    doubling: npt.NDArray[np.bool_] = together & alike & ((others[:, 2] - pitch) % 12 == 0)
    return doubling


def stretches(frames: int) -> list[slice]:
    """A piece cut into minutes; of a long one, ten that are spread over the whole."""
    length = round(_STRETCH_S * SEMITONE_RATE_HZ)
    firsts = np.arange(0, max(frames - length // 4, 1), length)
    if len(firsts) > _MOST_STRETCHES:
        kept = np.linspace(0, len(firsts) - 1, _MOST_STRETCHES).round().astype(int)
        firsts = firsts[kept]
    out = []
    for first in firsts:
        behind = int(first) + length
        out.append(slice(int(first), frames if frames - behind < length // 4 else behind))
    return out


def voice_cells(path: npt.NDArray[np.int64], partials: int = 6) -> npt.NDArray[np.bool_]:
    """Semitone cells of a line and its first partials, shape (frames, 85)."""
    cells = np.zeros((len(path), HIGHEST_SEMITONE - LOWEST_SEMITONE + 1), bool)
    for step in PARTIALS[:partials]:
        band = path + step - LOWEST_SEMITONE
        inside = (path > 0) & (band < cells.shape[1])
        cells[np.flatnonzero(inside), band[inside]] = True
    return cells


def lead_paths(weights: Sequence[FloatArray]) -> list[npt.NDArray[np.int64]]:
    """Pitch of the leading line in every frame of several stretches; 0 where it rests."""
    return _paths(weights, LOWEST_LEAD, HIGHEST_LEAD, _HIGH_VOICE)


def bass_paths(weights: Sequence[FloatArray]) -> list[npt.NDArray[np.int64]]:
    """Pitch of the bass line in every frame of several stretches; 0 where it rests."""
    return _paths(weights, LOWEST_COMB, HIGHEST_BASS, -_LOW_VOICE)


def _paths(
    weights: Sequence[FloatArray], lowest: int, highest: int, per_octave: float
) -> list[npt.NDArray[np.int64]]:
    """Paths through all stretches at once, which takes as many steps as the longest has frames."""
    pitches = slice(lowest - LOWEST_COMB, highest - LOWEST_COMB + 1)
    height = (np.arange(lowest, highest + 1) - _MIDDLE_PITCH) / 12
    strengths = [_strength(each, pitches, 1 + per_octave * height) for each in weights]
    # The shorter ones rest on their last scores.
    together = np.zeros((max(map(len, strengths), default=0), len(weights), len(height)))
    for index, strength in enumerate(strengths):
        together[: len(strength), index] = strength
    found = _viterbi(together, np.array([len(strength) for strength in strengths]))
    return [
        _sounding_of(strength, found[: len(strength), index], lowest)
        for index, strength in enumerate(strengths)
    ]


def _strength(weights: FloatArray, pitches: slice, by_height: FloatArray) -> FloatArray:
    if len(weights) == 0:
        return np.zeros((0, len(by_height)))
    colour = uniform_filter1d(weights.mean(axis=0), _COLOUR_SEMITONES, mode="nearest")
    strength = np.sqrt(weights / np.sqrt(colour + 1e-9))[:, pitches]
    strength = uniform_filter1d(strength, _SMOOTH_FRAMES, axis=0) * by_height
    return np.asarray(strength / (strength.std() + 1e-12))


def _viterbi(strength: FloatArray, lengths: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Best paths through strengths of shape (frames, paths, states), shape (frames, paths).

    A change's price grows evenly with the leap, up to two octaves. So the best that lies below or
    above is found in one go over the states, not for every pair of them.
    """
    frames, paths, states = strength.shape
    out = np.zeros((frames, paths), np.int64)
    if frames == 0:
        return out
    leap = _CHANGE_PRICE * _LEAP_PRICE
    rise = leap * np.arange(states)
    distance = np.abs(np.arange(states)[:, None] - np.arange(states))
    price = _CHANGE_PRICE + leap * np.minimum(distance, _FURTHEST_LEAP)
    price[distance == 0] = 0
    scores, near = np.empty_like(strength), np.empty((2, paths, states))
    scores[0] = strength[0]
    for last, here, own in zip(scores[:-1], scores[1:], strength[1:], strict=True):
        below, above = near
        np.add(last, rise, out=below)
        np.maximum.accumulate(below, axis=1, out=below)
        below -= rise
        np.subtract(last, rise, out=above)
        np.maximum.accumulate(above[:, ::-1], axis=1, out=above[:, ::-1])
        above += rise
        np.maximum(below, above, out=below)
        furthest = last.max(axis=1, keepdims=True) - leap * _FURTHEST_LEAP
        np.maximum(below, furthest, out=below)
        below -= _CHANGE_PRICE
        np.maximum(last, below, out=here)
        here += own
    each = np.arange(paths)
    path = scores[lengths - 1, each].argmax(axis=1)
    out[-1] = path
    for frame in range(frames - 1, 0, -1):
        before = (scores[frame - 1] - price[path]).argmax(axis=1)
        path = np.where(frame < lengths, before, path)
        out[frame - 1] = path
    return out


def _sounding_of(
    strength: FloatArray, path: npt.NDArray[np.int64], lowest: int
) -> npt.NDArray[np.int64]:
    """Pitches of a path, 0 where it rests."""
    if len(path) == 0:
        return path
    on_path = strength[np.arange(len(path)), path] ** 2
    return np.where(on_path > _REST_SHARE * np.median(on_path), path + lowest, 0)
