"""What dynamics measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare.fields import (
    BARE,
    CHANGE,
    KEPT,
    MOMENT,
    NOT_IN_REPORT,
    OF_REFERENCE,
    RATIO,
    SIGNED,
    along,
    labelled,
    stretched,
    within,
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
    clipped_percent : float
        Of the time, in which its tops are cut off.
    reasons : tuple of str
    """

    crest_db: float = field(metadata=labelled("Crest (peak against mean)"))
    loudness_range_lu: float | None = field(metadata=labelled("Loudness range (LRA)"))
    peak_to_short_term_db: float | None = field(
        metadata=labelled("True peak above the loudest 3 s")
    )
    loudest_lufs: float | None = field(metadata=labelled("Loudest 3 s"))
    loudest_s: Span | None = field(metadata=labelled("Loudest 3 s"))
    softest_lufs: float | None = field(metadata=labelled("Softest 3 s"))
    softest_s: Span | None = field(metadata=labelled("Softest 3 s"))
    contour_s: tuple[float, ...]
    contour_db: Contour
    clipped_percent: float = field(default=0.0, metadata=labelled("Time with clipped tops"))
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class Move:
    """The whole louder or softer than before, for a while or more and more.

    Attributes
    ----------
    level_db : float
        Of the candidate against the reference; of a fade, what it comes to from start to end.
    spans_s : tuple of (start, end)
    is_fade : bool
    within_db : float
        Half of its 95 % interval.
    """

    level_db: float = field(metadata=SIGNED | within(0.3))
    spans_s: tuple[Span, ...] = field(metadata=MOMENT | within(0.5))
    is_fade: bool = field(metadata=BARE | KEPT)
    within_db: float = field(default=0.4, metadata=KEPT | within(0.3) | stretched(0.6))


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
    clipped_percent : float
        Time with clipped tops of the candidate, less that of the reference; where both are clipped
        alike, neither counts.
    clipped_spans_s : tuple of (start, end)
        Where one of them is.
    spans_s, loud_spans_s : tuple of (start, end)
        All of the music in common, and its part above the knee, on either clock.
    of_the_whole : bool
        Whether a gain that follows the music moved all of one take by such swings, whatever played.
    reasons : tuple of str
    """

    crest_db: float = field(metadata=labelled("Crest (peak against mean)") | SIGNED)
    peak_to_short_term_db: float | None = field(
        metadata=labelled("True peak above the loudest 3 s") | SIGNED
    )
    loudness_range_lu: float | None = field(
        metadata=labelled("Loudness range (LRA)") | SIGNED | stretched(0.2)
    )
    loudness_range_lu_interval: tuple[float, float] | None
    swing_db_per_db: float | None = field(
        metadata=labelled("Swing against the reference's (1 = alike)") | RATIO
    )
    swing_db_per_db_interval: tuple[float, float] | None
    level_range_db: float | None = field(
        metadata=labelled("Range from soft to loud") | KEPT | stretched(0.5)
    )
    knee_lufs: float | None = field(
        metadata=labelled("Level above which the swings differ") | OF_REFERENCE
    )
    above_knee_db_per_db: float | None = field(
        metadata=labelled("The same in the loud places alone") | RATIO
    )
    above_knee_db_per_db_interval: tuple[float, float] | None
    loudest_s: Span | None = field(metadata=labelled("Loudest 3 s") | OF_REFERENCE)
    loudest_difference_db: float | None = field(
        metadata=CHANGE | labelled("Difference where the reference is loudest") | OF_REFERENCE
    )
    softest_s: Span | None = field(metadata=labelled("Softest 3 s") | OF_REFERENCE)
    softest_difference_db: float | None = field(
        metadata=CHANGE | labelled("Difference where the reference is softest") | OF_REFERENCE
    )
    contour_s: tuple[float, ...] = field(metadata=MOMENT | stretched(0.25))
    contour_db: Contour = field(metadata=SIGNED | along("contour_s") | stretched(0.05))
    spans_s: tuple[Span, ...] = field(default=(), metadata=NOT_IN_REPORT | MOMENT | stretched(0.25))
    loud_spans_s: tuple[Span, ...] = field(default=(), metadata=NOT_IN_REPORT | OF_REFERENCE)
    reasons: tuple[str, ...] = ()
    clipped_percent: float = field(
        default=0.0, metadata=labelled("Time with clipped tops") | SIGNED | stretched(0.5)
    )
    clipped_spans_s: tuple[Span, ...] = field(
        default=(), metadata=NOT_IN_REPORT | MOMENT | within(0.1) | stretched(0.25)
    )
    moves: tuple[Move, ...] = field(default=(), metadata=NOT_IN_REPORT)
    of_the_whole: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)
