"""What tone measures of one recording, and of two."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from mixcompare.aspects.tone.cuts import Cut
from mixcompare.fields import BARE, KEPT, NOT_IN_REPORT, SIGNED, labelled, stretched, within
from mixcompare.pair.thirds import BANDS, BandIntervals, BandValues


@dataclass(frozen=True)
class ToneMeasurement:
    """Tone of one recording: mean third-octave levels against the broadband level."""

    band_centre_hz: tuple[float, ...]
    band_level_db: BandValues
    tilt_db_per_octave: float | None
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class SteadyNoise:
    """Noise that one recording has throughout and the other has not.

    Attributes
    ----------
    kind : str
        ``"hiss"``, ``"rumble"`` or ``"hum"``.
    over_db : float
        Quiet moments against those of the other recording, where it shows; negative where the
        reference has it.
    level_dbfs : float
        A full-scale sine has 0.
    below_music_db : float
        How far it lies under the mean of the music.
    band_hz : (low, high)
        Where it shows.
    lines_hz : tuple of float
        Of hum.
    heard : bool
        Whether it is above the threshold of hearing.
    """

    kind: str
    over_db: float = field(
        metadata=labelled("Over the other's quiet moments") | SIGNED | within(0.2)
    )
    level_dbfs: float = field(metadata=labelled("Level", "dBFS") | KEPT | within(0.2))
    below_music_db: float = field(metadata=KEPT | within(0.2))
    band_hz: tuple[float, float] = field(metadata=KEPT | within(0.4))
    lines_hz: tuple[float, ...] = field(metadata=KEPT | within(0.02))
    heard: bool = field(default=True, metadata=NOT_IN_REPORT | KEPT)


@dataclass(frozen=True)
class ToneDifference:
    """Static spectral difference, level-matched; candidate minus reference.

    Attributes
    ----------
    band_centre_hz, band_level_db, band_level_db_interval
        Per third-octave band, None where it can't be told.
    tilt_db_per_octave, tilt_db_per_octave_interval
    shaping_kind, shaping_frequency_hz, shaping_gain_db, shaping_q
        Filters from the reference's tone to the candidate's.
    cuts : tuple of Cut
        Low-cut and high-cut filters; the filters before lead from the rest of the curve.
    noise : tuple of SteadyNoise
    residual_db : float or None
        Root mean square over the bands of what they leave.
    scatter_db : float or None
        How far a band above 450 Hz typically lies from what its neighbours lead to expect.
    explained_db : tuple of float, shape (31,)
        How much of each band another finding explains (see :meth:`explained_by`).
    audible : tuple of bool, shape (31,)
        Whether the band is above the threshold of hearing in either recording.
    moments_spread_db : tuple of float, shape (31,)
        Beside elements of one take: how far single moments lie from what they agree on.
    filter_db : tuple of float, shape (31,)
        What filters of usual shapes do, as one take's cells show it beside elements, or attacks
        under another tail.
    attacks_db : tuple of float or None, shape (31,)
        Under another tail: what attacks show, whoever made it.
    """

    band_centre_hz: tuple[float, ...] = field(metadata=KEPT)
    band_level_db: BandValues = field(metadata=SIGNED | within(0.15) | stretched(0.2))
    band_level_db_interval: BandIntervals
    tilt_db_per_octave: float | None = field(metadata=SIGNED | within(0.02))
    tilt_db_per_octave_interval: tuple[float, float] | None
    shaping_kind: tuple[str, ...] = field(metadata=KEPT)
    shaping_frequency_hz: tuple[float, ...] = field(metadata=KEPT | within(0.05))
    shaping_gain_db: tuple[float, ...] = field(metadata=SIGNED | within(0.05))
    shaping_q: tuple[float, ...] = field(metadata=BARE | KEPT | within(0.05))
    residual_db: float | None = field(
        metadata=labelled("Left over by these filters") | KEPT | within(0.02)
    )
    scatter_db: float | None = field(
        default=None,
        metadata=labelled("Left unexplained, from moment to moment")
        | KEPT
        | within(0.001)
        | stretched(0.03),
    )
    explained_db: tuple[float, ...] = field(
        default=(0.0,) * BANDS,
        metadata=labelled("Difference that single elements explain", "dB") | SIGNED,
    )
    cuts: tuple[Cut, ...] = ()
    noise: tuple[SteadyNoise, ...] = ()
    reasons: tuple[str, ...] = ()
    audible: tuple[bool, ...] = field(default=(True,) * BANDS, metadata=NOT_IN_REPORT | KEPT)
    moments_spread_db: tuple[float, ...] = field(
        default=(0.0,) * BANDS, metadata=NOT_IN_REPORT | KEPT | within(0.1) | stretched(1.0)
    )
    filter_db: tuple[float, ...] = field(
        default=(0.0,) * BANDS, metadata=NOT_IN_REPORT | SIGNED | within(0.3) | stretched(0.3)
    )
    attacks_db: BandValues = field(
        default=(None,) * BANDS, metadata=NOT_IN_REPORT | SIGNED | within(0.3) | stretched(0.3)
    )

    def explained_by(self, band_db: npt.ArrayLike, reason: str) -> ToneDifference:
        """The same difference, part of which is known to be something else.

        Parameters
        ----------
        band_db : array_like, shape (31,)
            What the other finding contributes to each band.
        reason : str
            One sentence, added to ``reasons``.
        """
        total = np.asarray(self.explained_db) + np.asarray(band_db, np.float64)
        explained = tuple(float(value) for value in total)
        return replace(self, explained_db=explained, reasons=(*self.reasons, reason))
