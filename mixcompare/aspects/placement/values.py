"""What placement measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare.fields import (
    BARE,
    KEPT,
    MOMENT,
    NOT_IN_REPORT,
    PITCH,
    RATIO,
    SIGNED,
    exchanged_with,
    labelled,
    moved_by,
    scaled_by,
    stretched,
    within,
)
from mixcompare.pair.thirds import BANDS, NOTHING, BandIntervals, BandValues

SILENT_DB = 30.0  # one channel is as good as missing; our judgement, not measured
LOWEST_PLACED_HZ = 90.0
"""Below, level differences between loudspeakers give no direction (common practice, no source)."""


@dataclass(frozen=True)
class PlacementMeasurement:
    """Where each third-octave band lies; None throughout for mono."""

    band_centre_hz: tuple[float, ...]
    position: BandValues = field(metadata=BARE)
    overall_position: float | None = field(metadata=BARE)
    time_difference_us: BandValues = field(
        default=NOTHING, metadata=labelled("Later on the right by")
    )
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class MovedElement:
    """An element of a take that lies elsewhere than in the reference."""

    name: str
    band_hz: tuple[float, float] = field(metadata=PITCH | within(0.5))
    spans_s: tuple[tuple[float, float], ...] = field(metadata=MOMENT | within(0.3) | stretched(0.7))
    reference_position: float = field(
        metadata=BARE | exchanged_with("candidate_position") | within(0.05)
    )
    candidate_position: float = field(
        metadata=BARE | exchanged_with("reference_position") | within(0.05)
    )
    position: float = field(metadata=labelled("Moved by") | BARE | SIGNED | within(0.05))
    position_interval: tuple[float, float] = field(metadata=SIGNED | within(0.1))
    level_db: float = field(
        default=0.0, metadata=labelled("Raised by") | SIGNED | within(0.1) | stretched(0.5)
    )
    players: tuple[str, ...] = field(default=(), metadata=NOT_IN_REPORT | BARE | KEPT)


@dataclass(frozen=True)
class PlacementDifference:
    """Moves between left and right; candidate minus reference.

    Attributes
    ----------
    band_centre_hz, position, position_interval
        Per third-octave band, channels put right if they were exchanged.
    reference_position : tuple
        Where the band lies in the reference, most of the time.
    turn_db, turn_db_interval
        How much louder the right channel is throughout, against the left.
    image_scale : float or None
        Factor common to all positions: below 1 = narrower.
    own_position, own_position_interval
        What is left of each band's move after turn and scale.
    consistency : tuple
        Share of the time in which the band lies on the side its own move says.
    channels_swapped : bool
    time_difference_us, time_difference_us_interval
        Change of the time by which each band comes later on the right.
    elements : tuple of MovedElement
        What was panned elsewhere, in one take.
    """

    band_centre_hz: tuple[float, ...] = field(metadata=KEPT)
    position: BandValues = field(metadata=BARE | SIGNED | within(0.03))
    position_interval: BandIntervals
    reference_position: BandValues = field(metadata=BARE | moved_by("position") | within(0.3))
    turn_db: float | None = field(
        metadata=labelled("Right channel against left, throughout")
        | SIGNED
        | scaled_by("image_scale")
        | within(0.2)
    )
    turn_db_interval: tuple[float, float] | None
    image_scale: float | None = field(
        metadata=labelled("Breadth of the image, factor") | BARE | RATIO | within(0.12)
    )
    own_position: BandValues = field(
        metadata=BARE | SIGNED | scaled_by("image_scale") | within(0.1)
    )
    own_position_interval: BandIntervals
    consistency: BandValues = field(metadata=BARE | KEPT | within(0.8))  # any, where nothing moved
    channels_swapped: bool = field(default=False, metadata=KEPT)
    time_difference_us: BandValues = field(
        default=NOTHING, metadata=labelled("Later on the right by") | SIGNED | within(2)
    )
    time_difference_us_interval: BandIntervals = NOTHING
    elements: tuple[MovedElement, ...] = ()
    reasons: tuple[str, ...] = ()
    weight: tuple[float, ...] = field(
        default=(0.0,) * BANDS, metadata=NOT_IN_REPORT | KEPT | stretched(0.001)
    )
    whole_turn_db: float | None = field(default=None, metadata=NOT_IN_REPORT | SIGNED | within(0.3))
    whole_later_us: float | None = field(default=None, metadata=NOT_IN_REPORT | SIGNED | within(30))
    whole_later_us_interval: tuple[float, float] | None = field(
        default=None, metadata=NOT_IN_REPORT | SIGNED | within(60)
    )
