"""Who is the likely cause: players, room or mix, weighed from what is seen.

Each thing that is seen makes every one of the three more or less likely; the products, scaled to a
sum of one, are the weights. How likely each cause is to change what differs, and what each
observation is worth, is our judgement (common practice, no source); nothing is ever certain, so no
possible cause falls under a few per cent. Two mixes of one take have the same players: their weight
is none.
"""

from __future__ import annotations

from enum import Enum

from mixcompare.findings.finding import Cause


class Differs(Enum):
    """What differs, with the odds that players, room or mix change such a thing."""

    LEVEL_OF_A_PART = (2.2, 0.2, 1.5)
    TONE = (0.5, 1.5, 2.5)
    WIDTH = (0.2, 1.5, 2.0)
    PLACE = (0.4, 0.5, 2.5)
    REVERBERATION = (0.2, 3.0, 1.5)
    SWING = (2.5, 0.2, 1.5)
    NOTE_LENGTH = (5.0, 0.3, 0.3)
    TEMPO = (8.0, 0.05, 0.2)
    TUNING = (8.0, 0.05, 0.3)


class Seen(Enum):
    """What else is seen, with what it is worth for players, room and mix."""

    ONE_TAKE = (0.0, 0.2, 1.0)  # one performance, and one room while it was recorded
    IN_ONE_PART_ONLY = (2.0, 0.4, 1.0)
    IN_DECAYS_ONLY = (0.3, 6.0, 0.5)
    ON_ONE_CHANNEL = (0.05, 0.05, 3.0)
    ABOVE_A_LEVEL_ONLY = (0.4, 0.5, 3.0)
    PITCH_GOES_WITH_THE_CLOCK = (0.02, 0.3, 4.0)
    OTHER_INSTRUMENTS = (3.0, 1.0, 0.8)
    A_TAIL_AGREES = (0.5, 2.0, 0.7)


_LEAST = 0.03
"""Of any cause that is possible at all."""


def weighed(differs: Differs, *seen: Seen, same_take: bool) -> Cause:
    """Weigh players, room and mix.

    Parameters
    ----------
    differs : Differs
        What differs.
    *seen : Seen
        What else is seen.
    same_take : bool
        Whether both recordings are one performance.

    Returns
    -------
    Cause
        The weights sum to one; none of a possible cause is under 3 %.
    """
    odds: list[float] = list(differs.value)
    for one in (*seen, *([Seen.ONE_TAKE] if same_take else [])):
        odds = [before * factor for before, factor in zip(odds, one.value, strict=True)]
    total = sum(odds)
    weights = [share / total for share in odds]
    held = [max(share, _LEAST) if share > 0 else 0.0 for share in weights]
    return Cause.weighing(*held)
