"""Made-up music with its own notes as the score."""

from __future__ import annotations

import functools

import numpy as np

from mixcompare.alignment import align
from mixcompare.audio.recording import Recording
from mixcompare.elements.take import split_pair
from mixcompare.features import Features
from mixcompare.knowledge.notes import UNMARKED, PartNotes
from mixcompare.pair.gain import match_level
from mixcompare.pair.pair import Pair, aligned
from mixcompare.parts.levels import levels_of
from mixcompare.parts.values import Levels
from tests import synthetic
from tests.synthetic import RATE_HZ

SEED, BARS = 5, 8
VOICES = ("figure", "melody", "pad", "bass")


def parts() -> tuple[PartNotes, ...]:
    """What the four voices play, by the program that plays it."""
    voices = {
        name: np.array(
            [[tone.start_s, tone.start_s + tone.length_s, tone.pitch, UNMARKED] for tone in tones]
        )
        for name, tones in synthetic.score(SEED, BARS).items()
    }
    return tuple(
        PartNotes(name, notes, np.concatenate([v for n, v in voices.items() if n != name]))
        for name, notes in voices.items()
    )


@functools.cache
def features(**gains_db: float) -> Features:
    """Of one take."""
    played = synthetic.play(SEED, bars=BARS, gains_db=gains_db)
    return Features.of(Recording.from_array(synthetic.in_room(played, 1.0, -9.0), RATE_HZ))


def played_again(**gains_db: float) -> Features:
    """Of another performance, slower and tuned higher."""
    return played_shorter("", 1.0, **gains_db)


@functools.cache
def played_shorter(voice: str, share: float, **gains_db: float) -> Features:
    """The same with one voice's notes held for a share of their length."""
    played = synthetic.play(
        SEED, bars=BARS, gains_db=gains_db, scatter_s=0.012, scatter_db=0.6, performance=3,
        beat_s=0.63, a4_hz=442.0, held={voice: share},
    )  # fmt: skip
    return Features.of(Recording.from_array(synthetic.in_room(played, 1.0, -9.0), RATE_HZ))


def pair_of(candidate: Features, score: tuple[PartNotes, ...] | None = None) -> Pair:
    """The candidate against the plain take, with the score laid over it."""
    pair = aligned(features(), candidate, align(features(), candidate))
    pair = pair.with_parts(parts() if score is None else score)
    return pair.with_gain(match_level(pair).gain_db)


def levels(candidate: Features, score: tuple[PartNotes, ...] | None = None) -> Levels:
    """What the score says of the pair."""
    pair = pair_of(candidate, score)
    found = levels_of(pair, split_pair(pair))
    assert found is not None
    return found
