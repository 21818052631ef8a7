"""What is told of a voice's notes, in one take only beside what its cells say by themselves."""

from __future__ import annotations

from collections.abc import Sequence

from mixcompare.aspects.articulation.values import BASS, VoiceArticulation
from mixcompare.elements.change import Change
from mixcompare.elements.ended import in_range_of
from mixcompare.elements.take import split_pair
from mixcompare.pair.pair import Pair

_LEAST_SAME_TAKE = 0.25  # one take has one articulation; only editing could change it
_LEAST_BASS = 0.25
"""Low notes ring on as their instruments and room let them: between performances that differed in
nothing, or in the theme alone, the bass line read up to 0.19 (eight scores); detached, 0.37."""


def is_told(voice: VoiceArticulation, pair: Pair) -> bool:
    """Whether a voice's articulation clearly differs.

    In one take only an edit, a gate or an instrument played anew changes it. That must be large,
    unless the cells say by themselves that notes there end sooner or later. Of two performances a
    bass line that is only heard must differ by as much.

    Parameters
    ----------
    voice : VoiceArticulation
        The same notes in both.
    pair : Pair
        The recordings.
    """
    if voice.stretch is None:
        return False
    size = abs(voice.stretch.sounding_ratio)
    if not pair.same_take:
        return voice.name != BASS or size >= _LEAST_BASS
    if size >= _LEAST_SAME_TAKE:
        return True
    return any(_agree(voice, one, pair) for one in split_pair(pair).ended)


def ends_told(voices: Sequence[VoiceArticulation], pair: Pair) -> tuple[bool, ...]:
    """Of notes that end elsewhere in one take: which of them some voice's articulation tells."""
    if not pair.same_take:
        return ()
    told = [voice for voice in voices if is_told(voice, pair)]
    return tuple(any(_agree(voice, one, pair) for voice in told) for one in split_pair(pair).ended)


def _agree(voice: VoiceArticulation, ended: Change, pair: Pair) -> bool:
    """Whether cells in the voice's own range say that notes end sooner, or later, as it does."""
    if voice.stretch is None or voice.band_hz is None:
        return False
    same_sign = voice.stretch.sounding_ratio * ended.difference_db > 0
    return same_sign and in_range_of(voice.band_hz, ended, pair.of_elements)
