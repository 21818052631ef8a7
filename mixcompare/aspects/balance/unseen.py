"""What a single instrument could have done without being listed."""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from mixcompare.aspects.balance.about import LEVEL
from mixcompare.aspects.balance.values import OCTAVE_REGISTERS_HZ
from mixcompare.aspects.balance.words import ended_words
from mixcompare.elements.describe import describe
from mixcompare.elements.detectable import ELEMENT_SHARES, detectable
from mixcompare.elements.take import split_pair
from mixcompare.findings.detectable import Detectable
from mixcompare.pair.pair import Pair
from mixcompare.pair.thirds import spoken_hz

_USUAL_DB = 1.5  # smaller changes of one instrument nobody expects to be told


def unseen(pair: Pair) -> tuple[tuple[Detectable, ...], str]:
    """The smallest changes that would have been listed, and the same in a sentence.

    The sentence is empty where no more than is usual could have gone unnoticed. It begins with
    what was noticed and is no level, where no voice's articulation tells it.
    """
    least = detectable(pair, OCTAVE_REGISTERS_HZ, LEVEL.size)
    ended = split_pair(pair).ended
    articulation = pair.differences.get("articulation")
    told = articulation.ends_told if articulation is not None else ()
    left = itertools.compress(ended, [not one for one in told] or [True] * len(ended))
    words = [ended_words(describe(one.energy, pair.of_elements), one) for one in left]
    return least, " ".join([*words, unseen_words(least, pair.same_take)]).rstrip()


def unseen_words(least: Sequence[Detectable], same_take: bool) -> str:
    """What a single instrument could have done unnoticed, in one sentence; empty for next to none.

    Parameters
    ----------
    least : sequence of Detectable
        The smallest changes that would have been listed.
    same_take : bool
        Whether both recordings are one performance.
    """
    if not same_take:
        return (
            "Between two performances every note differs anyway: a single instrument could stand"
            " several dB elsewhere unnoticed."
        )
    levels = [one for one in least if one.element_share == min(ELEMENT_SHARES)]
    if levels and all(one.level_db is None for one in levels):
        return (
            "Single instruments can't be judged here: every note differs between the two mixes by"
            " more than one instrument's change would make."
        )
    much = [one for one in levels if one.level_db is None or one.level_db > _USUAL_DB]
    if not much:
        return ""
    some = [one for one in much if one.level_db is not None]
    any_size = [one for one in much if one.level_db is None]
    parts = []
    if some:
        most_db = max(one.level_db for one in some if one.level_db is not None)
        parts.append(f"by up to {most_db:g} dB {_where(some)}")
    if any_size:
        parts.append(f"by more than 12 dB {_where(any_size)}")
    return (
        "A single instrument that carries a tenth of the energy of one octave could have changed"
        f" {', '.join(parts)} unnoticed."
    )


def _where(least: Sequence[Detectable]) -> str:
    return " or ".join(
        f"between {spoken_hz(low)} and {spoken_hz(high)}" for low, high in _joined(least)
    )


def _joined(least: Sequence[Detectable]) -> list[tuple[float, float]]:
    """Neighbouring registers as one."""
    bands: list[tuple[float, float]] = []
    for low, high in (one.band_hz for one in least):
        if bands and bands[-1][1] == low:
            bands[-1] = (bands[-1][0], high)
        else:
            bands.append((low, high))
    return bands
