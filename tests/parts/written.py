"""Made-up music with its own notes as the score."""

from __future__ import annotations

import functools

import numpy as np

from mixcompare.alignment import align
from mixcompare.alignment.result import Alignment
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
ONE_TAKE = "one take"


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
    roomy = synthetic.in_room(played, 1.0, -9.0)
    return Features.of(Recording.from_array(roomy, RATE_HZ, ONE_TAKE))


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


@functools.cache
def laid(candidate: Features) -> Alignment:
    """The alignment with the plain take; what was made of that lies on its clock."""
    if candidate.name == ONE_TAKE and candidate is not features():
        return laid(features())
    return align(features(), candidate)


def pair_of(candidate: Features, score: tuple[PartNotes, ...] | None = None) -> Pair:
    """The candidate against the plain take, with the score laid over it."""
    pair = aligned(features(), candidate, laid(candidate))
    pair = pair.with_parts(parts() if score is None else score)
    return pair.with_gain(match_level(pair).gain_db)


def levels(candidate: Features, score: tuple[PartNotes, ...] | None = None) -> Levels:
    """What the score says of the pair."""
    return told_by_score(candidate) if score is None else told_of(pair_of(candidate, score))


@functools.cache
def told_by_score(candidate: Features) -> Levels:
    """The same, once for all tests that ask for it."""
    return told_of(pair_of(candidate))


def told_of(pair: Pair) -> Levels:
    found = levels_of(pair, split_pair(pair))
    assert found is not None
    return found
