"""How sure it is that a finding is real, from named evidence; one function for all aspects."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class Evidence:
    """What speaks for a finding.

    Attributes
    ----------
    deviations : float
        How many standard deviations the size lies from nothing, by its interval.
    same_take : bool
        Whether both recordings are one performance: then little else may differ.
    agreeing : float in [0, 1]
        Share of the parts that say the same (notes, bands, starts of a fit); 1 where there is but
        one.
    explained : float in [0, 1]
        How much of what differs the finding accounts for, against what pairs without a change
        give; 1 where nothing of the kind is asked.
    """

    deviations: float
    same_take: bool
    agreeing: float = 1.0
    explained: float = 1.0

    @property
    def confidence(self) -> float:
        """Share of such findings that are right, 0 to 1.

        A logistic curve through findings on made-up pairs with known changes
        (``tests.benchmarks.confidence``, seeds under 1000; reported on others).
        """
        score = _START[self.same_take] + _PER_DEVIATION * min(self.deviations, _MOST_DEVIATIONS)
        score += _PER_AGREEING * (self.agreeing - 1) + _PER_EXPLAINED * (self.explained - 1)
        return 1 / (1 + math.exp(-score))


# Chosen on made-up pairs with known changes (``tests.benchmarks.confidence``, seeds under 1000).
_START = {True: 1.0, False: 0.0}
_PER_DEVIATION, _MOST_DEVIATIONS = 0.5, 6.0
_PER_AGREEING, _PER_EXPLAINED = 3.0, 3.0


def evidence(
    value: float,
    interval: tuple[float, float],
    same_take: bool,
    agreeing: float = 1.0,
    explained: float = 1.0,
) -> Evidence:
    """Evidence of a difference with its 95 % interval, taken as normal.

    Parameters
    ----------
    value : float
        The difference.
    interval : tuple of float
        Of 95 %; the side towards zero counts.
    same_take : bool
        Whether both recordings are one performance.
    agreeing, explained : float
        As in :class:`Evidence`.
    """
    near = value - interval[0] if value > 0 else interval[1] - value
    deviation = max(near / 1.96, 1e-9)
    return Evidence(
        min(abs(value) / deviation, 99.0),
        same_take,
        min(max(agreeing, 0.0), 1.0),
        min(max(explained, 0.0), 1.0),
    )
