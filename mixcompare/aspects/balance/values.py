"""What balance measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from mixcompare.elements.local import LocalChange
from mixcompare.fields import (
    BARE,
    KEPT,
    MOMENT,
    NOT_IN_REPORT,
    OF_REFERENCE,
    PITCH,
    SHARED,
    SIGNED,
    along,
    exchanged_with,
    labelled,
    stretched,
    within,
)
from mixcompare.pair.thirds import BANDS
from mixcompare.parts.values import Lead, PartLevel, Players, Theme

FloatArray = npt.NDArray[np.float64]
# Edges of octaves after IEC 61260-1:2014, rounded.
_EDGES_HZ = (44.7, 89.1, 177.8, 354.8, 707.9, 1412.5, 2818.4, 5623.4, 11220.2)
OCTAVE_REGISTERS_HZ = tuple(zip(_EDGES_HZ[:-1], _EDGES_HZ[1:], strict=True))
"""Octaves on the IEC 61260-1 grid."""


AGAINST = " against the rest"
"""Ends a subject where either of two groups may be the one that moved."""


PART = "part"
"""Kind of an element whose players the score names."""


VOICES = ("leading line", "bass line", "all else")


@dataclass(frozen=True)
class BalanceMeasurement:
    """Level of every register against the whole, one recording.

    Attributes
    ----------
    register_hz : tuple of (low, high)
    register_level_db, register_audible_share, register_loudness_share : tuple of float or None
        None where the file carries nothing.
    evenness : float or None
        Of the registers' loudness shares, 0 to 1.
    voice_name : tuple of str
        Leading line, bass line (each with its partials), and all else.
    voice_audible_share, voice_loudness_share : tuple of float
        How each can be heard in the whole.
    blend : float or None
        Evenness of the voices' loudness shares, 0 to 1; 1 = none obtrudes.
    """

    register_hz: tuple[tuple[float, float], ...]
    register_level_db: tuple[float | None, ...]
    register_audible_share: tuple[float | None, ...] = field(metadata=SHARED)
    register_loudness_share: tuple[float | None, ...] = field(metadata=SHARED)
    evenness: float | None = field(
        metadata=labelled("Evenness of the registers (1 = all alike)") | BARE
    )
    voice_name: tuple[str, ...] = ()
    voice_audible_share: tuple[float, ...] = field(default=(), metadata=SHARED)
    voice_loudness_share: tuple[float, ...] = field(default=(), metadata=SHARED)
    blend: float | None = field(
        default=None,
        metadata=labelled("Blend: evenness of the voices (1 = none obtrudes)") | BARE,
    )


@dataclass(frozen=True)
class Element:
    """An element that stands elsewhere than in the reference; with a score, who plays it.

    ``note_value`` is the written value of most notes of a figure whose players the score names:
    "semiquavers". It ends the name.
    """

    name: str
    kind: str
    difference_db: float = field(metadata=SIGNED | within(0.1))
    interval: tuple[float, float] = field(metadata=SIGNED | within(0.15))
    confidence: float = field(metadata=SHARED | KEPT | stretched(0.05))
    band_hz: tuple[float, float] = field(metadata=PITCH | within(0.5))
    spans_s: tuple[tuple[float, float], ...] = field(metadata=MOMENT | within(0.1) | stretched(0.7))
    notes_per_s: float | None = field(metadata=KEPT | stretched(0.3))
    motif_notes: int | None = field(metadata=BARE | KEPT)
    against: bool = field(metadata=KEPT)
    reference_audible_share: float = field(
        metadata=SHARED | exchanged_with("candidate_audible_share") | within(0.03) | stretched(0.15)
    )
    candidate_audible_share: float = field(
        metadata=SHARED | exchanged_with("reference_audible_share") | within(0.03) | stretched(0.15)
    )
    reference_loudness_share: float = field(
        metadata=SHARED | exchanged_with("candidate_loudness_share") | within(0.01)
    )
    candidate_loudness_share: float = field(
        metadata=SHARED | exchanged_with("reference_loudness_share") | within(0.01)
    )
    agreeing: float = field(default=1.0, metadata=NOT_IN_REPORT | KEPT | stretched(0.3))
    players: tuple[str, ...] = field(default=(), metadata=NOT_IN_REPORT | BARE | KEPT)
    note_value: str | None = field(default=None, metadata=NOT_IN_REPORT | KEPT)
    course_s: tuple[float, ...] = field(
        default=(), metadata=NOT_IN_REPORT | MOMENT | stretched(0.3)
    )
    course_db: tuple[float | None, ...] = field(
        default=(),
        metadata=NOT_IN_REPORT | SIGNED | along("course_s") | within(1.0) | stretched(3.0),
    )
    theme: Theme | None = field(default=None, metadata=NOT_IN_REPORT | OF_REFERENCE)

    @property
    def who(self) -> str:
        """Its name without how fast it goes."""
        if self.kind == PART:
            return self.name.removesuffix(f", {self.note_value}")
        return self.name.split(",")[0]


@dataclass(frozen=True)
class BalanceDifference:
    """Elements and registers, candidate minus reference.

    Attributes
    ----------
    elements : tuple of Element
    passages : tuple of LocalChange
        Registers that stand out for part of the time only.
    parts : tuple of PartLevel
        Of the score, where there is one.
    leads : tuple of Lead
        Which of its lines leads, in which bars, and how it stands over the rest.
    movers : tuple of Players
        Who plays what was panned elsewhere, for the aspect of placement.
    register_hz, register_level_db : tuple
    register_audible_share, register_loudness_share : tuple of float or None
    scatter_db : float or None
        Difference from cell to cell that neither element nor tone explains.
    one_tail : bool
        Whether the elements were found after another tail had been taken off.
    whole_lu : float or None
        Change of the loudness of the whole at the same gain, in one take of which a single element
        changed: then it is that element's doing.
    explained_tone_db : tuple of float, length 31
        What the elements add to the static third-octave difference.
    explained_moments_db : ndarray, shape (n, 31)
        What they add to it at the picture's moments.
    evenness : float or None
        Change of how evenly the registers share the loudness.
    voice_name, voice_audible_share, voice_loudness_share, blend
        Changes of what :class:`BalanceMeasurement` tells of each recording's voices.
    reasons : tuple of str
    band_centre_hz, times_s, difference_db
        The picture: difference over time and frequency, NaN where nothing sounds.
    """

    elements: tuple[Element, ...]
    passages: tuple[LocalChange, ...]
    register_hz: tuple[tuple[float, float], ...] = field(metadata=KEPT)
    register_level_db: tuple[float | None, ...] = field(metadata=SIGNED | stretched(0.1))
    scatter_db: float | None = field(
        metadata=labelled("Left unexplained, from note to note") | KEPT | within(0.1)
    )
    register_audible_share: tuple[float | None, ...] = field(default=(), metadata=SHARED | SIGNED)
    register_loudness_share: tuple[float | None, ...] = field(default=(), metadata=SHARED | SIGNED)
    evenness: float | None = field(
        default=None,
        metadata=labelled("Evenness of the registers (1 = all alike)") | BARE | SIGNED,
    )
    voice_name: tuple[str, ...] = VOICES
    voice_audible_share: tuple[float, ...] = field(default=(), metadata=SHARED | SIGNED)
    voice_loudness_share: tuple[float, ...] = field(default=(), metadata=SHARED | SIGNED)
    blend: float | None = field(
        default=None,
        metadata=labelled("Blend: evenness of the voices (1 = none obtrudes)") | BARE | SIGNED,
    )
    parts: tuple[PartLevel, ...] = ()
    leads: tuple[Lead, ...] = ()
    movers: tuple[Players, ...] = field(default=(), metadata=NOT_IN_REPORT | KEPT)
    reasons: tuple[str, ...] = ()
    one_tail: bool = field(default=False, metadata=NOT_IN_REPORT | KEPT)
    whole_lu: float | None = field(default=None, metadata=NOT_IN_REPORT | SIGNED)
    explained_tone_db: tuple[float, ...] = field(
        default=(), metadata=NOT_IN_REPORT | SIGNED | within(0.1) | stretched(1.0)
    )
    explained_moments_db: FloatArray = field(
        default_factory=lambda: np.zeros((0, BANDS)),
        metadata=NOT_IN_REPORT | SIGNED | along("times_s") | within(0.8) | stretched(1.0),
    )
    band_centre_hz: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT | KEPT)
    times_s: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT | MOMENT | stretched(0.2))
    difference_db: FloatArray = field(
        default_factory=lambda: np.zeros((0, 0)),
        metadata=NOT_IN_REPORT | SIGNED | along("times_s") | stretched(0.1),
    )
