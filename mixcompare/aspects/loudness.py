"""Loudness: how loud a recording is as a whole, at its loudest, and how wide its range is.

Conventions
-----------
What is heard: the level a listener would set the volume by. Overall loudness is a matter of
gain, so it is measured here and never a finding; swings in level belong to ``dynamics``.

Units: LUFS for loudness, LU for differences and ranges, dBTP for true peak (dB re full scale).
Maxima are searched in steps of 10 ms. A mono recording counts as one channel.

Sign: candidate minus reference, over the music that both have. The true peak alone is that of
the whole recordings.

Sources: ITU-R BS.1770-5 (2023), EBU Tech 3341 v4 and Tech 3342 v4 (2023).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from mixcompare.features import Features
from mixcompare.fields import NOT_IN_REPORT, SIGNED, WITH_GAIN, labelled, stretched
from mixcompare.findings import Finding
from mixcompare.findings.description import Description
from mixcompare.pair import levels
from mixcompare.pair.pair import Pair
from mixcompare.standards import bs1770, tech3342

SERIES_RATE_HZ = 10.0
"""Rate of the momentary and short-term series (EBU Tech 3341: at least 10 Hz)."""

Series = tuple[float | None, ...]


@dataclass(frozen=True)
class LoudnessMeasurement:
    """Loudness of one recording.

    Attributes
    ----------
    integrated_lufs : float or None
        Gated loudness of the whole; None where all of it lies under the gate at -70 LUFS.
    loudness_range_lu : float or None
    max_momentary_lufs, max_short_term_lufs : float or None
        Loudest 0.4 s and 3 s; None where the recording is shorter, or silent throughout.
    true_peak_dbtp : float
    peak_to_loudness_db : float or None
        True peak above integrated loudness.
    series_s, momentary_lufs, short_term_lufs : tuple
        Loudness against time; None where the window is incomplete or digitally silent.
    reasons : tuple of str
    """

    integrated_lufs: float | None
    loudness_range_lu: float | None = field(metadata=labelled("Loudness range (LRA)"))
    max_momentary_lufs: float | None = field(metadata=labelled("Loudest 0.4 s (momentary)"))
    max_short_term_lufs: float | None = field(metadata=labelled("Loudest 3 s (short-term)"))
    true_peak_dbtp: float
    peak_to_loudness_db: float | None = field(metadata=labelled("True peak above loudness"))
    series_s: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT)
    momentary_lufs: Series = field(default=(), metadata=NOT_IN_REPORT)
    short_term_lufs: Series = field(default=(), metadata=NOT_IN_REPORT)
    reasons: tuple[str, ...] = ()


@dataclass(frozen=True)
class LoudnessDifference:
    """Candidate minus reference, in LU and dB; the fields are those of the measurement.

    Only the loudness range is an estimate: its interval tells how far it hangs on single moments.
    """

    integrated_lufs: float | None = field(metadata=SIGNED | WITH_GAIN)
    loudness_range_lu: float | None = field(
        metadata=labelled("Loudness range (LRA)") | SIGNED | stretched(0.2)
    )
    loudness_range_lu_interval: tuple[float, float] | None
    max_momentary_lufs: float | None = field(
        metadata=labelled("Loudest 0.4 s (momentary)") | SIGNED | WITH_GAIN
    )
    max_short_term_lufs: float | None = field(
        metadata=labelled("Loudest 3 s (short-term)") | SIGNED | WITH_GAIN
    )
    true_peak_dbtp: float = field(metadata=SIGNED | WITH_GAIN)
    peak_to_loudness_db: float | None = field(
        metadata=labelled("True peak above loudness") | SIGNED
    )
    reasons: tuple[str, ...] = ()


ABOUT = Description(
    title="Loudness",
    meaning="How loud each recording is as it was delivered. The overall difference is a matter of"
    " gain, so it is shown here and taken out of everything else.",
    method="Loudness and true peak after ITU-R BS.1770-5 (2023), momentary and short-term values"
    " after EBU Tech 3341, loudness range after EBU Tech 3342.",
    figure="mixcompare.plots.loudness:draw",
    key=("integrated_lufs",),
)


class LoudnessAnalyzer:
    """Loudness after BS.1770, Tech 3341 and Tech 3342."""

    aspect = "loudness"
    about = ABOUT

    def measure(self, features: Features) -> LoudnessMeasurement:
        """Measure one recording alone."""
        values = _values(features.k_power)
        peak_dbtp = _true_peak_dbtp(features)
        times_s = np.arange(0.0, features.duration_s, 1 / SERIES_RATE_HZ)
        return LoudnessMeasurement(
            **values,
            true_peak_dbtp=peak_dbtp,
            peak_to_loudness_db=_difference(values["integrated_lufs"], peak_dbtp),
            series_s=tuple(times_s.tolist()),
            momentary_lufs=_series(levels.momentary_lufs(features, times_s)),
            short_term_lufs=_series(levels.short_term_lufs(features, times_s)),
            reasons=_reasons(values),
        )

    def compare(self, pair: Pair) -> LoudnessDifference:
        """Compare the music that both recordings have."""
        reference, candidate, match = pair.reference, pair.candidate, pair.match
        kept_reference, kept_candidate = levels.matched_steps(reference, candidate, match)
        of_reference, of_candidate = _values(kept_reference), _values(kept_candidate)
        peak_db = _true_peak_dbtp(candidate) - _true_peak_dbtp(reference)
        integrated = _difference(of_reference["integrated_lufs"], of_candidate["integrated_lufs"])
        range_difference = pair.loudness_range
        return LoudnessDifference(
            integrated_lufs=integrated,
            loudness_range_lu=None if range_difference is None else range_difference[0],
            loudness_range_lu_interval=None if range_difference is None else range_difference[1],
            max_momentary_lufs=_difference(
                of_reference["max_momentary_lufs"], of_candidate["max_momentary_lufs"]
            ),
            max_short_term_lufs=_difference(
                of_reference["max_short_term_lufs"], of_candidate["max_short_term_lufs"]
            ),
            true_peak_dbtp=peak_db,
            peak_to_loudness_db=_difference(integrated, peak_db),
            reasons=tuple(dict.fromkeys(_reasons(of_reference) + _reasons(of_candidate))),
        )

    def findings(self, difference: LoudnessDifference, pair: Pair) -> list[Finding]:
        """Nothing: overall level is taken out before anything is compared."""
        return []


def _values(step_power: npt.NDArray[np.float64]) -> dict[str, float | None]:
    momentary = bs1770.window_powers(step_power, bs1770.MOMENTARY_STEPS)
    short_term = bs1770.window_powers(step_power, bs1770.SHORT_TERM_STEPS)
    return {
        "integrated_lufs": _finite(bs1770.integrated_lufs(step_power)),
        "loudness_range_lu": tech3342.loudness_range_lu(step_power),
        "max_momentary_lufs": _finite(float(bs1770.to_lufs(momentary.max(initial=0.0)))),
        "max_short_term_lufs": _finite(float(bs1770.to_lufs(short_term.max(initial=0.0)))),
    }


def _reasons(values: dict[str, float | None]) -> tuple[str, ...]:
    reasons = []
    if values["max_short_term_lufs"] is None:
        reasons.append("Short-term loudness and loudness range need at least 3 s of music.")
    elif values["loudness_range_lu"] is None:
        reasons.append("The loudness range cannot be told: no 3 s rise above -70 LUFS.")
    if values["integrated_lufs"] is None:
        reasons.append("The integrated loudness cannot be told: nothing rises above -70 LUFS.")
    return tuple(reasons)


def _true_peak_dbtp(features: Features) -> float:
    """True peak in dBTP; the recording is not silent, so there is one."""
    return float(20 * np.log10(features.true_peak))


def _difference(reference: float | None, candidate: float | None) -> float | None:
    return None if reference is None or candidate is None else candidate - reference


def _finite(value: float) -> float | None:
    return value if np.isfinite(value) else None


def _series(values: npt.NDArray[np.float64]) -> Series:
    return tuple(_finite(value) for value in values.tolist())


analyzer = LoudnessAnalyzer()
