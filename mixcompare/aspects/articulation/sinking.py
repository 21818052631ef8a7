"""Whether a line's notes sink sooner in one recording, asked of all of them together.

Conventions
-----------
Late means from 60 to 95 % of the time to the next onset, early from 15 to 45 %. Values are the
level of a note's partials late against early, in dB, candidate minus reference: negative where the
candidate's notes end sooner.

A single note's end is often hidden by what others play, and then tells nothing of its length. Its
late level still sinks a little where it ends sooner, and over all notes of a line that adds up. So
it is no length, but the proof of one that a few clear notes tell. A drier room lets all notes sink
further, by so much for every decibel that it is drier.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from mixcompare.alignment.timemap import sample_frames
from mixcompare.aspects.articulation.noteoff import MOST_RISE_DB, note_span
from mixcompare.features import ONSET_RATE_HZ
from mixcompare.pair.notes import Note, Sounding, partial_bands

FloatArray = npt.NDArray[np.float64]

_SHARES = np.arange(0.125, 0.96, 0.05)  # of a note's length: resolution
_EARLY, _LATE = (_SHARES > 0.15) & (_SHARES < 0.45), _SHARES > 0.6
_HEARD_DB = 35.0  # under the note's loudest partial; our judgement, not measured
_MOST_DB = 12.0  # of a partial; what sinks further is silence. Our judgement, not measured
_MOST_OF_A_NOTE_DB = 8.0  # so that none speaks for all; our judgement, not measured
_PER_ROOM_DB = 0.3
"""By how much a line's notes sink less, late against early, for every decibel of wetness: 0.25 on
average where the room changed and nothing else (half minutes of three scores, 24 pairs)."""
_BLOCK_NOTES = 2  # neighbours hang together; our judgement, not measured
_DRAWS = 4000  # cost: of signs


def sinks_db(
    notes: Sequence[Note], sounding: tuple[Sounding, Sounding], frame_s: FloatArray
) -> FloatArray:
    """By how much more every note sinks, of those whose onsets are found in both recordings."""
    found = []
    for note in notes:
        ours, theirs = (_course(note, source, frame_s) for source in sounding)
        if ours is None or theirs is None:
            continue
        partials = min(ours.shape[1], theirs.shape[1])
        ours, theirs = ours[:, :partials], theirs[:, :partials]
        own = _own(ours) & _own(theirs)
        if own.any():
            more = (_late(theirs) - _late(ours))[own]
            found.append(float(np.clip(more, -_MOST_DB, _MOST_DB).mean()))
    return np.array(found)


def by_chance(sinks: FloatArray, sign: float, room_db: float) -> float:
    """How seldom notes of which none ends elsewhere would sink so much to that side, either way.

    Signs of neighbours are drawn together. With another room and without, whichever is likelier.
    """
    return max(_by_chance(sinks - _PER_ROOM_DB * room, sign) for room in {0.0, room_db})


def _by_chance(sinks: FloatArray, sign: float) -> float:
    if not len(sinks):
        return 1.0
    limited = np.clip(sinks, -_MOST_OF_A_NOTE_DB, _MOST_OF_A_NOTE_DB)
    sums = np.add.reduceat(limited, np.arange(0, len(limited), _BLOCK_NOTES))
    total = float(sums.sum())
    if total * sign <= 0:
        return 1.0
    signs = np.random.default_rng(0).choice((-1.0, 1.0), (_DRAWS, len(sums)))
    as_far = np.abs(signs @ sums) >= abs(total) - 1e-9
    return float((as_far.sum() + 1) / (_DRAWS + 1))


def _course(note: Note, source: Sounding, frame_s: FloatArray) -> FloatArray | None:
    """Level of a note's partials, in dB; shape (shares, partials)."""
    span = note_span(note, source, frame_s)
    features, _, shift = source
    bands = partial_bands(note.pitch + shift)
    if span is None or len(bands) == 0:
        return None
    onset_s, length_s = span
    times_s = onset_s + length_s * _SHARES
    power = sample_frames(features.onset_power, ONSET_RATE_HZ, times_s, bands)
    return np.asarray(10 * np.log10(np.maximum(power, 1e-14)))


def _own(level: FloatArray) -> npt.NDArray[np.bool_]:
    """Partials that are heard and don't grow within the note."""
    early = np.median(level[_EARLY], axis=0)
    heard = early > early.max() - _HEARD_DB
    own: npt.NDArray[np.bool_] = heard & ((level - early).max(axis=0) < MOST_RISE_DB)
    return own


def _late(level: FloatArray) -> FloatArray:
    return np.asarray(level[_LATE].mean(axis=0) - np.median(level[_EARLY], axis=0))
