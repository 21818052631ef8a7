"""What dynamics measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare.aspects.base import NOT_IN_REPORT
from mixcompare.fields import (
    KEPT,
    MOMENT,
    OF_REFERENCE,
    RATIO,
    SIGNED,
    along,
    stretched,
)
from mixcompare.findings import Span

Contour = tuple[float | None, ...]


@dataclass(frozen=True)
class DynamicsMeasurement:
    """Dynamics of one recording.

    Attributes
    ----------
    crest_db : float
        True peak above the mean power of the stronger channel (a sine has 3.0).
    loudness_range_lu : float or None
    peak_to_short_term_db : float or None
        True peak above the loudest 3 s.
    loudest_lufs, softest_lufs : float or None
        Loudest and softest 3 s of music; rests, more than 25 LU under the mean, do not count.
    loudest_s, softest_s : (start, end) or None
    contour_s, contour_db : tuple
        Times, and the K-weighted level smoothed over a second, in LUFS; None under -70.
    reasons : tuple of str
    """

    crest_db: float
    loudness_range_lu: float | None
    peak_to_short_term_db: float | None
    loudest_lufs: float | None
    loudest_s: Span | None
    softest_lufs: float | None
    softest_s: Span | None
    contour_s: tuple[float, ...]
    contour_db: Contour
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class DynamicsDifference:
    """Dynamics of the candidate against the reference, over the music in common.

    Attributes
    ----------
    crest_db, peak_to_short_term_db : float or None
    loudness_range_lu, loudness_range_lu_interval
    swing_db_per_db, swing_db_per_db_interval
        Decibels of the candidate per decibel of the reference; None with a reason where the
        passage is short or its level hardly moves.
    level_range_db : float or None
        Between the softest and the loudest twentieth, mean of both recordings.
    knee_lufs : float or None
        Level of the reference above which alone the swings differ, where there is one.
    above_knee_db_per_db, above_knee_db_per_db_interval
    loudest_s, softest_s : (start, end) or None
        Where the reference is loudest and softest.
    loudest_difference_db, softest_difference_db : float or None
        Level-matched difference there.
    contour_s, contour_db : tuple
        Level-matched difference against time; None in rests.
    spans_s, loud_spans_s : tuple of (start, end)
        All of the music in common, and its part above the knee, on either clock.
    reasons : tuple of str
    """

    crest_db: float = field(metadata=SIGNED)
    peak_to_short_term_db: float | None = field(metadata=SIGNED)
    loudness_range_lu: float | None = field(metadata=SIGNED | stretched(0.2))
    loudness_range_lu_interval: tuple[float, float] | None
    swing_db_per_db: float | None = field(metadata=RATIO)
    swing_db_per_db_interval: tuple[float, float] | None
    level_range_db: float | None = field(metadata=KEPT | stretched(0.5))
    knee_lufs: float | None = field(metadata=OF_REFERENCE)
    above_knee_db_per_db: float | None = field(metadata=RATIO)
    above_knee_db_per_db_interval: tuple[float, float] | None
    loudest_s: Span | None = field(metadata=OF_REFERENCE)
    loudest_difference_db: float | None = field(metadata=OF_REFERENCE)
    softest_s: Span | None = field(metadata=OF_REFERENCE)
    softest_difference_db: float | None = field(metadata=OF_REFERENCE)
    contour_s: tuple[float, ...] = field(metadata=MOMENT | stretched(0.25))
    contour_db: Contour = field(metadata=SIGNED | along("contour_s") | stretched(0.05))
    spans_s: tuple[Span, ...] = field(default=(), metadata=NOT_IN_REPORT | MOMENT | stretched(0.25))
    loud_spans_s: tuple[Span, ...] = field(default=(), metadata=NOT_IN_REPORT | OF_REFERENCE)
    reasons: tuple[str, ...] = ()
