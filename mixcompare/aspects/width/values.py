"""What width measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare.fields import (
    BARE,
    KEPT,
    NOT_IN_REPORT,
    PAIR,
    SHARED,
    SIGNED,
    labelled,
    stretched,
    within,
)
from mixcompare.pair.thirds import BandIntervals, BandValues

AGREEING_SHARE = 0.6  # least share that agrees on a change; our judgement, not measured
LOW_HZ = (60.0, 500.0)  # bands that tell a reversed polarity; our judgement, not measured


@dataclass(frozen=True)
class WidthMeasurement:
    """Width of one recording; None throughout for mono."""

    side_to_mid_db: float | None = field(metadata=labelled("Side against mid"))
    correlation: float | None = field(metadata=BARE)
    mono_fold_down_loss_db: float | None = field(metadata=labelled("Loss when folded to mono"))
    band_centre_hz: tuple[float, ...]
    band_side_to_mid_db: BandValues = field(metadata=labelled("Side against mid"))
    band_correlation: BandValues = field(metadata=BARE)
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class WidthDifference:
    """Difference in width; candidate minus reference.

    Attributes
    ----------
    side_to_mid_db, correlation, mono_fold_down_loss_db
        Of the whole, each with its interval.
    band_centre_hz, band_side_to_mid_db, band_correlation
        Per third-octave band.
    side_to_mid_direct_db, side_to_mid_decay_db : float or None
        The first one from loud moments and attacks, and from moments that die away.
    agreeing_share : float or None
        Share of the bands (by the root of their power) that differ in the same direction.
    low_correlation : tuple of float or None
        Correlation from 60 to 500 Hz in the reference and in the candidate.
    mono : tuple of bool
        Whether the reference is mono, and the candidate.
    """

    side_to_mid_db: float | None = field(
        metadata=labelled("Side against mid") | SIGNED | stretched(0.02)
    )
    side_to_mid_db_interval: tuple[float, float] | None
    correlation: float | None = field(metadata=BARE | SIGNED | stretched(0.01))
    correlation_interval: tuple[float, float] | None
    mono_fold_down_loss_db: float | None = field(
        metadata=labelled("Loss when folded to mono") | SIGNED
    )
    band_centre_hz: tuple[float, ...] = field(metadata=KEPT)
    band_side_to_mid_db: BandValues = field(
        metadata=labelled("Side against mid") | SIGNED | stretched(0.2)
    )
    band_side_to_mid_db_interval: BandIntervals
    band_correlation: BandValues = field(metadata=BARE | SIGNED | stretched(0.01))
    side_to_mid_direct_db: float | None = field(
        default=None,
        metadata=labelled("Side against mid in attacks, difference") | SIGNED | stretched(0.02),
    )
    side_to_mid_decay_db: float | None = field(
        default=None,
        metadata=labelled("Side against mid in decays, difference") | SIGNED | stretched(0.02),
    )
    agreeing_share: float | None = field(
        default=None,
        metadata=labelled("Share of the bands that differ this way")
        | SHARED
        | KEPT
        | stretched(0.05),
    )
    low_correlation: tuple[float, float] | None = field(
        default=None, metadata=BARE | PAIR | stretched(0.001)
    )
    mono: tuple[bool, bool] = field(default=(False, False), metadata=PAIR)
    reasons: tuple[str, ...] = ()
    whole_correlation: tuple[float, float] | None = field(
        default=None, metadata=NOT_IN_REPORT | PAIR
    )
    whole_side_db: float | None = field(default=None, metadata=NOT_IN_REPORT | SIGNED | within(0.3))
