"""A line whose notes fall after a share of their length, as a pair of recordings would hold it."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np

from mixcompare.features import HIGHEST_ONSET, LOWEST_ONSET, ONSET_RATE_HZ
from mixcompare.pair.notes import Note, partial_bands

PITCH, LENGTH_S, COUNT = 72, 0.5, 12
LAST_S = 0.5 + COUNT * LENGTH_S


def line() -> tuple[Note, ...]:
    """Notes of half a second, each a tone above the one before, that follow at once."""
    onsets = 0.5 + LENGTH_S * np.arange(COUNT)
    pitches = PITCH + 2 * (np.arange(COUNT + 1) % 3)
    return tuple(
        Note(int(pitch), int(following), float(onset), float(onset + LENGTH_S), written=True)
        for pitch, following, onset in zip(pitches, pitches[1:], onsets, strict=False)
    )


def playing(ratio: float, *, falls_db: float = 20.0, held: int = 0, louder_db: float = 0.0) -> Any:
    """A recording in which every note falls at once after a share of its length.

    Of its partials the ``held`` highest are held by others throughout.
    """
    frame_s = np.arange(int((LAST_S + 1.0) * ONSET_RATE_HZ)) / ONSET_RATE_HZ
    power = np.full((len(frame_s), HIGHEST_ONSET - LOWEST_ONSET + 1), 1e-9)
    for note in line():
        bands = partial_bands(note.pitch)
        sounds = (frame_s >= note.onset_s) & (frame_s < note.next_s)
        late = sounds & (frame_s >= note.onset_s + ratio * LENGTH_S)
        loud = 10 ** (louder_db / 10) * 1e-3
        power[np.ix_(sounds, bands)] = loud
        power[np.ix_(late, bands[: len(bands) - held])] = loud * 10 ** (-falls_db / 10)
    return SimpleNamespace(onset_power=power), frame_s, 0
