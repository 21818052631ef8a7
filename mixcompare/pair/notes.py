"""Notes of a line: where they begin, where the next begins, how clear they stand."""

from __future__ import annotations

import functools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import sample_frames
from mixcompare.features import (
    HIGHEST_ONSET,
    LOWEST_ONSET,
    ONSET_RATE_HZ,
    SEMITONE_RATE_HZ,
    Features,
)
from mixcompare.standards.iec61260 import pitch_hz

FloatArray = npt.NDArray[np.float64]

Sounding = tuple[Features, FloatArray, int]
"""A recording, its own times of the common frames, and its pitches against the common ones."""


PARTIALS = np.array([0, 12, 19, 24, 28, 31, 34, 36, 38, 40])
"""Semitones from a note to its partials 1 to 10 (nearest of equal temperament)."""


PATH_LAG_S = 0.06
"""By how much a line's path turns to a note after it began."""


ATTACK_LAG_S = 0.02
"""By how much the steepest rise is taken to follow the onset: half of an orchestral attack."""


REST = 0
"""In place of the pitch of a next note: a score has a rest there."""


_SHORTEST_RUN_S = 0.12  # of the note that follows; our judgement, not measured
_SHORTEST_NOTE_S = 0.24  # shorter ones tell no note-off; our judgement, not measured
LONGEST_NOTE_S = 4.0  # longer ones are left out; our judgement, not measured
_LONGEST_GAP_S = 1.0  # longer rests are not part of the note before; our judgement, not measured
_REATTACK_DB = 4.0  # mean rise of partials of a note struck again; our judgement, not measured
_REACH_S = 0.15  # either side of where a note is expected; our judgement, not measured
_ATTACK_RANGE_DB = 25.0  # below, a window only begins to touch a note; our judgement, not measured
_LOWEST_CLEAR_HZ = 300.0  # below, a semitone is narrower than the short window resolves


@dataclass(frozen=True)
class Note:
    """One note of a line.

    Attributes
    ----------
    pitch, next_pitch : int
        Its pitch and that of the next note; ``REST`` where a rest follows.
    onset_s, next_s : float
        Where the line turns to it and to the next note; or to a rest, where one is written.
    written : bool
        Whether a score tells the onsets; else the line's path does.
    covered : tuple of int
        Pitches at which partials of other written notes sound meanwhile.
    doubled : bool
        Whether another written part plays it too, in unison or octaves.
    """

    pitch: int
    next_pitch: int
    onset_s: float
    next_s: float
    written: bool = False
    covered: tuple[int, ...] = ()
    doubled: bool = False

    @property
    def repeated(self) -> bool:
        """Whether the next note has the same pitch."""
        return self.pitch == self.next_pitch

    @property
    def interval_s(self) -> float:
        """From this onset to the next."""
        return self.next_s - self.onset_s


@functools.cache
def partial_bands(pitch: int) -> npt.NDArray[np.int64]:
    """Columns of ``onset_power`` in which a note's partials lie, clear of their neighbours."""
    bands = pitch + PARTIALS
    bands = bands[(bands >= LOWEST_ONSET) & (bands <= HIGHEST_ONSET)]
    clear = bands[pitch_hz(bands) >= _LOWEST_CLEAR_HZ]
    columns = np.asarray(clear - LOWEST_ONSET, np.int64)
    columns.flags.writeable = False  # all who ask share it
    return columns


def attack_strength(features: Features, pitch: int, times_s: FloatArray) -> FloatArray:
    """Rise of a note's partials around the given times, dB over 60 ms; shape (times,).

    Each partial is limited to 12 dB and the middle half of them is averaged, so that another
    instrument's attack on one shared partial doesn't count.
    """
    power, bands = features.onset_power, partial_bands(pitch)
    around_s = np.concatenate([times_s + 0.03, times_s - 0.03])
    level = _level(sample_frames(power, ONSET_RATE_HZ, around_s, bands))
    # Below this, the window only begins to touch a note after silence.
    after, before = np.split(np.maximum(level, level.max(axis=0) - _ATTACK_RANGE_DB), 2)
    rise = np.sort(np.clip(after - before, -12, 12), axis=1)
    count = rise.shape[1]
    quarter = count // 4
    return np.asarray(rise[:, quarter : count - quarter].mean(axis=1))


def refined_onset(features: Features, pitch: int, around_s: float, lag_s: float) -> float:
    """Onset of a note near the place where it is expected.

    A line's path turns late, by ``PATH_LAG_S``, while the note before still rings; the steepest
    rise of the partials lies behind the onset by half of a soft attack.
    """
    centre = around_s - lag_s
    times = centre + np.arange(-_REACH_S, _REACH_S + 0.005, 0.01)
    nearness = np.exp(-0.5 * ((times - centre) / (0.6 * _REACH_S)) ** 2)
    rise = np.maximum(attack_strength(features, pitch, times), 0) * nearness
    if rise.max() <= 0.5:
        return centre
    steepest = np.flatnonzero(rise > 0.98 * rise.max())
    return float(times[steepest].mean()) - ATTACK_LAG_S


def _level(power: FloatArray) -> FloatArray:
    return np.asarray(10 * np.log10(np.maximum(power, 1e-14)))


def line_notes(
    path: npt.NDArray[np.int64],
    frame_s: FloatArray,
    sources: Sequence[Sounding],
) -> tuple[Note, ...]:
    """Cut a line's path into notes: where the pitch changes, and where it is struck again.

    Parameters
    ----------
    path : ndarray, shape (frames,)
        From :func:`~mixcompare.pair.lines.lead_paths`.
    frame_s : ndarray, shape (frames,)
        Times of the frames on the common clock.
    sources
        As for :func:`joint_weights`.

    Returns
    -------
    tuple of Note
        On the common clock; only notes of 0.24 to 4 s that another note follows at once.
    """
    path = _bridged(path)
    changes = np.flatnonzero(np.diff(path)) + 1
    bounds = np.concatenate([[0], changes, [len(path)]])
    pieces: list[tuple[int, float, float]] = []
    for first, behind in zip(bounds[:-1], bounds[1:], strict=True):
        start, end = float(frame_s[first]), float(frame_s[behind - 1]) + 1 / SEMITONE_RATE_HZ
        pitch = int(path[first])
        cuts = _reattacks(pitch, start, end, frame_s, sources) if pitch else []
        edges = [start, *cuts, end]
        pieces += [(pitch, a, b) for a, b in zip(edges[:-1], edges[1:], strict=True)]
    notes = []
    for (pitch, start, end), (following, _, after) in zip(pieces[:-1], pieces[1:], strict=True):
        if pitch == 0 or following == 0 or after - end < _SHORTEST_RUN_S:
            continue
        if _SHORTEST_NOTE_S <= end - start <= LONGEST_NOTE_S:
            notes.append(Note(pitch, following, start, end))
    return tuple(notes)


def _bridged(path: npt.NDArray[np.int64]) -> npt.NDArray[np.int64]:
    """Give short rests to the note before: the gaps of detached playing are part of its notes."""
    longest = round(_LONGEST_GAP_S * SEMITONE_RATE_HZ)
    out = path.copy()
    edges = np.flatnonzero(np.diff(np.concatenate([[1], path != 0, [1]]).astype(np.int64)))
    for first, behind in zip(edges[::2], edges[1::2], strict=True):
        if first > 0 and behind - first <= longest:
            out[first:behind] = out[first - 1]
    return out


def _reattacks(
    pitch: int,
    start: float,
    end: float,
    frame_s: FloatArray,
    sources: Sequence[Sounding],
) -> list[float]:
    """Times inside a run of one pitch at which it is struck again in the mean of the sources."""
    times = np.arange(start + _SHORTEST_NOTE_S, end - _SHORTEST_RUN_S, 0.01)
    if len(times) < 3:
        return []
    rise = np.zeros(len(times))
    for features, source_s, shift in sources:
        own = np.interp(times, frame_s, source_s)
        rise += attack_strength(features, pitch + shift, own) / len(sources)
    cuts: list[float] = []
    while rise.max() >= _REATTACK_DB:
        best = int(rise.argmax())
        cuts.append(float(times[best]))
        rise[np.abs(times - times[best]) < _SHORTEST_NOTE_S] = 0
    return sorted(cuts)
