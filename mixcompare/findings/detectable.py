"""The smallest change that would have been a finding."""

from __future__ import annotations

from dataclasses import dataclass

Band = tuple[float, float]


@dataclass(frozen=True)
class Detectable:
    """The smallest change of an element of one register that would have been listed.

    Attributes
    ----------
    band_hz : tuple of float
        The register.
    element_share : float
        Of the register's energy.
    level_db : float or None
        None where it can't be told: nothing would have been found, or too little sounds there.
    """

    band_hz: Band
    element_share: float
    level_db: float | None
