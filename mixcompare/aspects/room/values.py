"""What the room measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field

from mixcompare.fields import (
    BARE,
    KEPT,
    NOT_IN_REPORT,
    PERCENT,
    SHARED,
    SIGNED,
    exchanged_with,
    labelled,
    stretched,
    within,
)
from mixcompare.findings import Span
from mixcompare.units import OF_DECAY

Interval = tuple[float, float]

_DECAY = labelled("Decay time (RT60)", OF_DECAY)
_EARLY_DECAY = labelled("Early decay time (EDT)", OF_DECAY)


@dataclass(frozen=True)
class RoomMeasurement:
    """One recording's reverberation, as far as its own pauses tell.

    Attributes
    ----------
    decay_time_s : float or None
        Mid octaves, median over the tails. T30 of an impulse response or where steady noise
        stops; the late part of the fall where music stops.
    decay_time_interval : tuple of float or None
    decay_time_at_most_s : float or None
        Where only an upper bound can be told.
    early_decay_time_s, clarity_c80_db : float or None
        From an impulse response only.
    decay_time_early_s, decay_time_late_s : float or None
        Both decay times of a two-slope decay (a short dense reverberation and a long one
        together), mid octaves, from an impulse response or where steady noise stops. None where
        one slope fits, and where music stops: its first fall is also how the instruments end.
    octave_centre_hz, octave_decay_time_s : tuple
        Decay time per octave; None where that octave shows no clean decay.
    tails_s : tuple of (start, end)
        Where the music stops and the sound dies away.
    reasons : tuple of str
    """

    decay_time_s: float | None = field(metadata=_DECAY)
    decay_time_interval: Interval | None
    decay_time_at_most_s: float | None = field(
        metadata=labelled("Decay time (RT60), at most", OF_DECAY)
    )
    early_decay_time_s: float | None = field(metadata=_EARLY_DECAY)
    clarity_c80_db: float | None = field(metadata=labelled("Clarity C80"))
    decay_time_early_s: float | None = field(
        default=None, metadata=labelled("First of two decay times in a row", OF_DECAY)
    )
    decay_time_late_s: float | None = field(
        default=None, metadata=labelled("Second of two decay times in a row", OF_DECAY)
    )
    octave_centre_hz: tuple[float, ...] = ()
    octave_decay_time_s: tuple[float | None, ...] = field(default=(), metadata=_DECAY)
    tails_s: tuple[Span, ...] = ()
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class RoomDifference:
    """Reverberation of the candidate against the reference.

    Attributes
    ----------
    wetness_db : float or None
        Change of reverberant energy (see the module's table).
    wetness_db_interval : tuple of float or None
        Holds zero where the sign is only the likelier one.
    kernel_time_s : float or None
        Decay time of what the wetter recording has more.
    kernel_time_s_interval : tuple of float or None
        Only where the response between two mixes of one take tells it.
    gaps_db : float or None
        By how much more reverberation fills the gaps and decays of the music, the twentieth of all
        audible moments that it lifts most; one take only, as are those that follow.
    gaps_db_interval : tuple of float or None
    tail_level_db : float or None
        What one mix has more, against the direct sound.
    tail_level_db_interval : tuple of float or None
    tail_predelay_ms : float or None
        When it sets in; None where it can't be told from the direct sound.
    tail_predelay_ms_interval : tuple of float or None
    tail_top_db : float or None
        Its highest register, above 2.8 kHz, against the middle ones: negative = dark.
    tail_top_db_interval : tuple of float or None
    tail_borne_out : float or None
        Energy found in the gaps over what the tail foretells.
    decay_time_s, decay_time_percent : float or None
        Only where both decay times could be measured.
    decay_time_percent_interval : tuple of float or None
    early_decay_time_s, clarity_c80_db : float or None
    register_wetness_db : tuple of float
        Each register by itself: below 280 Hz, to 900 Hz, to 2.8 kHz, above.
    explained : float or None
        Share of the momentary differences that the fit explains.
    reference_decay_time_s, candidate_decay_time_s : float or None
    reasons : tuple of str
    """

    wetness_db: float | None = field(metadata=SIGNED | within(0.05) | stretched(1.0))
    wetness_db_interval: Interval | None
    kernel_time_s: float | None = field(
        metadata=labelled("Decay time of what is added", OF_DECAY)
        | KEPT
        | within(0.05)
        | stretched(1.5)
    )
    decay_time_s: float | None = field(metadata=_DECAY | SIGNED)
    decay_time_percent: float | None = field(metadata=PERCENT | within(4.0))
    decay_time_percent_interval: Interval | None
    early_decay_time_s: float | None = field(metadata=_EARLY_DECAY | SIGNED)
    clarity_c80_db: float | None = field(metadata=labelled("Clarity C80") | SIGNED)
    register_wetness_db: tuple[float, ...] = field(metadata=SIGNED | within(0.05) | stretched(1.0))
    explained: float | None = field(
        metadata=labelled("Share of the differences explained") | SHARED | KEPT | stretched(0.03)
    )
    reference_decay_time_s: float | None = field(
        default=None, metadata=NOT_IN_REPORT | exchanged_with("candidate_decay_time_s")
    )
    candidate_decay_time_s: float | None = field(
        default=None, metadata=NOT_IN_REPORT | exchanged_with("reference_decay_time_s")
    )
    reference_decay_time_at_most_s: float | None = field(
        default=None, metadata=NOT_IN_REPORT | exchanged_with("candidate_decay_time_at_most_s")
    )
    candidate_decay_time_at_most_s: float | None = field(
        default=None, metadata=NOT_IN_REPORT | exchanged_with("reference_decay_time_at_most_s")
    )
    kernel_time_s_interval: Interval | None = None
    gaps_db: float | None = field(
        default=None,
        metadata=labelled("Level of gaps and decays") | SIGNED | within(0.05) | stretched(0.5),
    )
    gaps_db_interval: Interval | None = None
    tail_level_db: float | None = field(
        default=None,
        metadata=labelled("Tail that one has more, re direct sound")
        | KEPT
        | within(0.05)
        | stretched(0.5),
    )
    tail_level_db_interval: Interval | None = None
    tail_predelay_ms: float | None = field(
        default=None, metadata=labelled("Pre-delay of that tail") | KEPT | stretched(5.0)
    )
    tail_predelay_ms_interval: Interval | None = None
    tail_top_db: float | None = field(
        default=None,
        metadata=labelled("That tail above 2.8 kHz, re its middle")
        | KEPT
        | within(0.05)
        | stretched(1.0),
    )
    tail_top_db_interval: Interval | None = None
    tail_borne_out: float | None = field(
        default=None, metadata=NOT_IN_REPORT | BARE | KEPT | within(0.05) | stretched(0.2)
    )
    reasons: tuple[str, ...] = ()
