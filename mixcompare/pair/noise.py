"""Steady noise that one recording of a take has and the other has not: hiss, and the mains' hum.

How it is read beside the music: :mod:`mixcompare.pair.steady_power`. Nothing is said of two
performances: there the quiet moments of one are not those of the other.

What is found is then given to the recording that lacks it: both are equally noisy, and nothing that
is measured afterwards tells them apart by the noise.

Conventions
-----------
Powers as in :mod:`mixcompare.features`; levels re full scale, where a full-scale sine has 0 dBFS
(AES17).
"""

from __future__ import annotations

from mixcompare.features import Features
from mixcompare.pair.clean_and_noisy import Ordered
from mixcompare.pair.hiss import Hiss, hiss_of
from mixcompare.pair.hum import Hum, hum_of
from mixcompare.pair.match import Match
from mixcompare.pair.steady_power import SHORTEST_S

Noise = tuple[Hiss | Hum, ...]


def noise_between(reference: Features, candidate: Features, match: Match) -> Noise:
    """Hiss and hum that one recording of a take has and the other has not.

    Parameters
    ----------
    reference : Features
        One recording.
    candidate : Features
        The other.
    match : Match
        How they lie against each other; the gain is not needed.
    """
    if not match.same_take or match.time_map.span_s[1] - match.time_map.span_s[0] < SHORTEST_S:
        return ()
    found: list[Hiss | Hum | None] = []
    for ordered in (Ordered(reference, candidate, match, True),
                    Ordered(candidate, reference, match.mirrored(), False)):  # fmt: skip
        hum = hum_of(ordered)
        found += [hiss_of(ordered, hum), hum]
    return tuple(one for one in found if one is not None)
