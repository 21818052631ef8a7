"""Registers that stand out for part of the time only.

What tone and elements explain is taken out first. Then every register's level difference over
time is held against its own median: tone, room and other instruments cancel, what is left is a
swell or a hole of limited length.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.elements.change import Split
from mixcompare.elements.one_take import EXACT_SCATTER_DB
from mixcompare.fields import KEPT, MOMENT, NOT_IN_REPORT, SHARED, SIGNED
from mixcompare.findings.confidence import evidence
from mixcompare.pair.spectra import RATE_HZ, PairSpectra
from mixcompare.statistics import weighted_quantile

FloatArray = npt.NDArray[np.float64]
IntArray = npt.NDArray[np.int64]

# Octaves, the lowest one wider; our choice.
_REGISTERS_HZ = ((45, 125), (125, 250), (250, 500), (500, 1000), (1000, 2000), (2000, 4000))
_SHORTEST_S = 1.5  # our judgement, not measured
# A change, and times the register's own scatter. Our judgement, not measured.
_LEAST_DB, _LEAST_TIMES = 2.0, 3.5
_SMOOTH_S = 0.8  # resolution of a span in time; our judgement, not measured
_FEWEST_PITCHES = 5  # that share a change; chosen on the elements benchmark's tuning set
_AGREEING = 0.75  # of the weight, in the change's direction; chosen on the benchmark's tuning set
_LARGEST_SHARE = 0.5  # of the passage: longer is not "in places"


@dataclass(frozen=True)
class LocalChange:
    """A register that stands elsewhere in one span only."""

    name: str
    band_hz: tuple[float, float] = field(metadata=KEPT)
    span_s: tuple[float, float] = field(metadata=MOMENT)
    difference_db: float = field(metadata=SIGNED)
    interval: tuple[float, float] = field(metadata=SIGNED)
    confidence: float = field(metadata=SHARED | KEPT)
    explained: float = field(default=1.0, metadata=NOT_IN_REPORT | KEPT)


def local_changes(spectra: PairSpectra, split: Split, same_take: bool) -> tuple[LocalChange, ...]:
    """Find spans in which one register stands out against its own rest.

    A span counts when it reaches 2 dB and three and a half times the register's own scatter for at
    least 1.5 s. Only one take in one room is that even: between rooms or performances a register
    wanders by itself, and whole elements have to tell (see :mod:`mixcompare.elements.one_take`).
    """
    exact = same_take and split.scatter_db < EXACT_SCATTER_DB and not split.one_tail
    if len(spectra.times_s) < 6 * RATE_HZ or not exact:
        return ()
    expected = spectra.reference
    for change in split.changes:
        factor = 10 ** (change.difference_db / 10) - 1
        expected = np.maximum(expected + factor * change.energy, 0.05 * expected)
    expected = expected * 10 ** (split.tone_db / 10)
    if spectra.judged is not None:
        spectra = replace(spectra, candidate=np.where(spectra.judged, spectra.candidate, expected))
    found: list[LocalChange] = []
    for low, high in _REGISTERS_HZ:
        inside = (spectra.centre_hz >= low) & (spectra.centre_hz < high)
        if inside.sum() < 6:
            continue
        found += _in_register(spectra, expected, inside, (float(low), float(high)), same_take)
    return tuple(_widest(found))


def _in_register(
    spectra: PairSpectra,
    expected: FloatArray,
    inside: npt.NDArray[np.bool_],
    band_hz: tuple[float, float],
    same_take: bool,
) -> list[LocalChange]:
    width = _SMOOTH_S * RATE_HZ / 2
    a = ndimage.gaussian_filter1d(expected[:, inside].sum(axis=1), width)
    b = ndimage.gaussian_filter1d(spectra.candidate[:, inside].sum(axis=1), width)
    whole = ndimage.gaussian_filter1d(spectra.reference.sum(axis=1), width)
    heard = np.maximum(a, b) > np.maximum(1e-3 * whole, 1e-3 * np.percentile(whole, 90))
    heard &= np.minimum(a, b) > 0.05 * np.percentile(np.minimum(a, b), 90)
    if heard.mean() < 0.2:
        return []
    difference = 10 * np.log10((b + 1e-20) / (a + 1e-20))
    weight = np.where(heard, np.minimum(a, b) ** 0.3, 0.0)
    middle = weighted_quantile(difference, weight, 0.5)
    difference = np.where(heard, difference - middle, 0.0)
    scatter = 1.4826 * weighted_quantile(np.abs(difference), weight, 0.5)
    limit = max(_LEAST_DB, _LEAST_TIMES * scatter)
    out = []
    for frames, clear in _stretches(difference, limit):
        size = float(np.median(difference[frames]))
        length = (clear[-1] - clear[0] + 1) / RATE_HZ
        if length < _SHORTEST_S or length > _LARGEST_SHARE * np.ptp(spectra.times_s):
            continue
        if not _shared(spectra, expected, inside, frames, middle, size):
            continue
        deviation = float(np.hypot(scatter, np.std(difference[frames])))
        half = max(0.3, 1.96 * deviation / float(np.sqrt(max(length / 1.0, 1.0))))
        share = abs(size) / (4 * limit)
        proof = evidence(size, (size - half, size + half), same_take, explained=share)
        out.append(
            LocalChange(
                name=f"register from {band_hz[0]:.0f} to {band_hz[1]:.0f} Hz",
                band_hz=band_hz,
                span_s=(float(spectra.times_s[clear[0]]), float(spectra.times_s[clear[-1]])),
                difference_db=size,
                interval=(size - half, size + half),
                confidence=proof.confidence,
                explained=proof.explained,
            )
        )
    return out


def _stretches(difference: FloatArray, limit: float) -> Iterator[tuple[IntArray, IntArray]]:
    """Frames that go together beyond the limit, and those of them that are no mere edge."""
    for sign in (1.0, -1.0):
        over = sign * difference > limit
        near = ndimage.binary_propagation(over, mask=sign * difference > 0.5 * limit)
        labels, count = ndimage.label(near)
        for index in range(1, count + 1):
            frames = np.flatnonzero(labels == index)
            values = difference[frames]
            # Smoothing spreads a change over its neighbourhood: half of the size is its edge.
            yield frames, frames[sign * values > 0.5 * abs(float(np.median(values)))]


def _shared(
    spectra: PairSpectra,
    expected: FloatArray,
    inside: npt.NDArray[np.bool_],
    frames: IntArray,
    middle_db: float,
    size_db: float,
) -> bool:
    """Whether the register's pitches agree: standing waves and one long note move few of them."""
    a = expected[frames][:, inside].sum(axis=0)
    b = spectra.candidate[frames][:, inside].sum(axis=0)
    weight = np.sqrt(np.maximum(np.minimum(a, b), 0))
    total = float(weight.sum())
    if total <= 0 or total**2 < _FEWEST_PITCHES * float((weight**2).sum()):
        return False
    moved = 10 * np.log10((b + 1e-20) / (a + 1e-20)) - middle_db
    return bool(weight[moved * np.sign(size_db) > 0.4 * abs(size_db)].sum() > _AGREEING * total)


def _widest(found: list[LocalChange]) -> list[LocalChange]:
    """Join neighbouring registers that stand out at the same time and in the same sense."""
    left = sorted(found, key=lambda change: change.band_hz)
    out: list[LocalChange] = []
    for change in left:
        for index, other in enumerate(out):
            touches = abs(other.band_hz[1] - change.band_hz[0]) < 1
            together = min(other.span_s[1], change.span_s[1]) - max(
                other.span_s[0], change.span_s[0]
            )
            shorter = min(other.span_s[1] - other.span_s[0], change.span_s[1] - change.span_s[0])
            same_sign = other.difference_db * change.difference_db > 0
            if touches and same_sign and together > 0.5 * shorter:
                out[index] = _joined(other, change)
                break
        else:
            out.append(change)
    return out


def _joined(lower: LocalChange, upper: LocalChange) -> LocalChange:
    stronger = max((lower, upper), key=lambda change: abs(change.difference_db))
    band = (lower.band_hz[0], upper.band_hz[1])
    return LocalChange(
        name=f"register from {band[0]:.0f} to {band[1]:.0f} Hz",
        band_hz=band,
        span_s=(min(lower.span_s[0], upper.span_s[0]), max(lower.span_s[1], upper.span_s[1])),
        difference_db=stronger.difference_db,
        interval=stronger.interval,
        confidence=stronger.confidence,
        explained=stronger.explained,
    )
