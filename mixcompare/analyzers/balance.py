"""Balance: how loud elements and registers stand against everything else, over time.

Conventions
-----------
Level differences are candidate minus reference in dB, with the pair's overall gain taken out.
An element (repeating figure, leading line, bass, percussion, register) is found without a
score, from what changed together: see :mod:`mixcompare.elements`. What is present whatever
plays is tone, not balance, and is left to the tone analyzer. Registers are octaves, named by
their range; their level is measured against the whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.analyzers.base import NOT_IN_REPORT, once
from mixcompare.bands import THIRD_OCTAVE_CENTRES_HZ, THIRD_OCTAVE_EDGES_HZ, pitch_hz
from mixcompare.elements.audibility import Audibility, audibility
from mixcompare.elements.changes import Change, Split, split_difference
from mixcompare.elements.describe import FIGURE, Description, describe, own_cells
from mixcompare.elements.local import LocalChange, local_changes
from mixcompare.features import (
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    SEMITONE_RATE_HZ,
    Features,
)
from mixcompare.findings import (
    JUST_NOTICEABLE,
    Cause,
    Finding,
    places,
    size_in_jnd,
)
from mixcompare.match import Match
from mixcompare.mirror import KEPT, MOMENT, PITCH, SIGNED, along, exchanged_with, stretched, within
from mixcompare.spectra import PairSpectra, pair_spectra
from mixcompare.voices import bass_path, joint_weights, lead_path, stretches, voice_cells

FloatArray = npt.NDArray[np.float64]

REGISTER_EDGES_HZ = (44.7, 89.1, 177.8, 354.8, 707.9, 1412.5, 2818.4, 5623.4, 11220.2)
"""Octaves on the IEC 61260-1 grid."""

AGAINST = " against the rest"
"""Ends a subject where either of two groups may be the one that moved."""

VOICES = ("leading line", "bass line", "all else")

_PICTURE_RATE_HZ = 5.0
_MOMENTS = 5  # every fifth frame of 25 a second tells enough of masking
_LEAST_AUDIBLE = 0.1
_LEAST_LOUD = 0.002  # of the loudness: under it a change goes unnoticed
_NOTEWORTHY_SHARE = 0.15


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
    register_audible_share: tuple[float | None, ...]
    register_loudness_share: tuple[float | None, ...]
    evenness: float | None
    voice_name: tuple[str, ...] = ()
    voice_audible_share: tuple[float, ...] = ()
    voice_loudness_share: tuple[float, ...] = ()
    blend: float | None = None


@dataclass(frozen=True)
class Element:
    """An element that stands elsewhere than in the reference."""

    name: str
    kind: str
    difference_db: float = field(metadata=SIGNED | within(0.1))
    interval: tuple[float, float] = field(metadata=SIGNED | within(0.15))
    confidence: float = field(metadata=KEPT | stretched(0.05))
    band_hz: tuple[float, float] = field(metadata=PITCH | within(0.5))
    spans_s: tuple[tuple[float, float], ...] = field(metadata=MOMENT | within(0.1) | stretched(0.7))
    notes_per_s: float | None = field(metadata=KEPT | stretched(0.3))
    motif_notes: int | None = field(metadata=KEPT)
    against: bool = field(metadata=KEPT)
    reference_audible_share: float = field(
        metadata=exchanged_with("candidate_audible_share") | within(0.03) | stretched(0.15)
    )
    candidate_audible_share: float = field(
        metadata=exchanged_with("reference_audible_share") | within(0.03) | stretched(0.15)
    )
    reference_loudness_share: float = field(
        metadata=exchanged_with("candidate_loudness_share") | within(0.01)
    )
    candidate_loudness_share: float = field(
        metadata=exchanged_with("reference_loudness_share") | within(0.01)
    )


@dataclass(frozen=True)
class BalanceDifference:
    """Elements and registers, candidate minus reference.

    Attributes
    ----------
    elements : tuple of Element
    passages : tuple of LocalChange
        Registers that stand out for part of the time only.
    register_hz, register_level_db : tuple
    register_audible_share, register_loudness_share : tuple of float or None
    scatter_db : float or None
        Difference from cell to cell that neither element nor tone explains.
    same_take : bool
    explained_tone_db : tuple of float, length 31
        What the elements add to the static third-octave difference.
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
    scatter_db: float | None = field(metadata=KEPT | within(0.1))
    same_take: bool = field(metadata=KEPT)
    register_audible_share: tuple[float | None, ...] = field(default=(), metadata=SIGNED)
    register_loudness_share: tuple[float | None, ...] = field(default=(), metadata=SIGNED)
    evenness: float | None = field(default=None, metadata=SIGNED)
    voice_name: tuple[str, ...] = VOICES
    voice_audible_share: tuple[float, ...] = field(default=(), metadata=SIGNED)
    voice_loudness_share: tuple[float, ...] = field(default=(), metadata=SIGNED)
    blend: float | None = field(default=None, metadata=SIGNED)
    reasons: tuple[str, ...] = ()
    explained_tone_db: tuple[float, ...] = field(
        default=(), metadata=NOT_IN_REPORT | SIGNED | within(0.1) | stretched(1.0)
    )
    band_centre_hz: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT | KEPT)
    times_s: tuple[float, ...] = field(default=(), metadata=NOT_IN_REPORT | MOMENT | stretched(0.2))
    difference_db: FloatArray = field(
        default_factory=lambda: np.zeros((0, 0)),
        metadata=NOT_IN_REPORT | SIGNED | along("times_s") | stretched(0.1),
    )


class BalanceAnalyzer:
    """Registers of one recording; elements and registers of a pair."""

    aspect = "balance"

    @once
    def measure(self, features: Features) -> BalanceMeasurement:
        """Level of every octave register against the whole."""
        power = features.band_power.sum(axis=(0, 2), dtype=np.float64)
        usable = features.usable_bands
        total = power[usable].sum() + 1e-30
        ranges = tuple(zip(REGISTER_EDGES_HZ[:-1], REGISTER_EDGES_HZ[1:], strict=True))
        levels: list[float | None] = []
        heard: list[Audibility | None] = []
        moments = features.band_power[::_MOMENTS].sum(axis=2, dtype=np.float64) * usable
        for low, high in ranges:
            centre = THIRD_OCTAVE_CENTRES_HZ
            inside = (centre > low) & (centre < high)
            carried = inside & usable
            enough = carried.sum() == inside.sum() and power[carried].sum() > 0
            levels.append(float(10 * np.log10(power[carried].sum() / total)) if enough else None)
            found = audibility(moments * inside, moments * ~inside, centre) if enough else None
            heard.append(found)
        shares = tuple(found.loudness_share if found else None for found in heard)
        voices = _voices(features)
        return BalanceMeasurement(
            ranges,
            tuple(levels),
            tuple(found.audible_share if found else None for found in heard),
            shares,
            _evenness([share for share in shares if share is not None]),
            VOICES,
            tuple(voice.audible_share for voice in voices),
            tuple(voice.loudness_share for voice in voices),
            _evenness([voice.loudness_share for voice in voices]),
        )

    def compare(self, reference: Features, candidate: Features, match: Match) -> BalanceDifference:
        """Find the elements and registers that stand elsewhere."""
        pair = pair_spectra(reference, candidate, match)
        split = split_difference(pair, match.same_take)
        elements = []
        for change in split.changes:
            found = describe(change.energy, pair)
            element = _element(change, found, pair, match, split.tone_db)
            if _can_be_heard(element):
                elements.append(element)
        passages = local_changes(pair, split, match.same_take)
        registers, levels = _registers(pair)
        reasons = []
        if not np.isfinite(split.scatter_db):
            reasons.append("Too little music sounds in both recordings to tell elements apart.")
        elif not match.same_take and not elements:
            reasons.append(
                f"The two performances differ by {split.scatter_db:.1f} dB from note to note"
                " anyway; smaller changes of one element can't be told from that."
            )
        times, picture = _picture(pair)
        alone = self.measure(reference), self.measure(candidate)
        heard, loud = (
            tuple(_less(*pair) for pair in zip(*columns, strict=True))
            for columns in (
                [one.register_audible_share for one in alone],
                [one.register_loudness_share for one in alone],
            )
        )
        return BalanceDifference(
            elements=tuple(elements),
            passages=passages,
            register_hz=registers,
            register_level_db=levels,
            scatter_db=float(split.scatter_db) if np.isfinite(split.scatter_db) else None,
            same_take=match.same_take,
            register_audible_share=heard,
            register_loudness_share=loud,
            evenness=_less(alone[0].evenness, alone[1].evenness),
            voice_audible_share=_minus(*(one.voice_audible_share for one in alone)),
            voice_loudness_share=_minus(*(one.voice_loudness_share for one in alone)),
            blend=_less(alone[0].blend, alone[1].blend),
            reasons=tuple(reasons),
            explained_tone_db=_explained(pair, split),
            band_centre_hz=tuple(pair.centre_hz),
            times_s=times,
            difference_db=picture,
        )

    def findings(self, difference: BalanceDifference) -> list[Finding]:
        """Elements first, then registers that stand out in places."""
        found = [_element_finding(element, difference) for element in difference.elements]
        found += [_local_finding(passage, difference) for passage in difference.passages]
        return found


analyzer = BalanceAnalyzer()


def _element(
    change: Change, found: Description, pair: PairSpectra, match: Match, tone_db: FloatArray
) -> Element:
    gain = 10 ** ((change.difference_db + tone_db) / 10)
    before = np.minimum(own_cells(change.energy, pair), pair.reference)
    after = np.minimum(gain * before, pair.candidate)
    stands = [
        audibility(part, whole - part, pair.centre_hz)
        for part, whole in ((before, pair.reference), (after, pair.candidate))
    ]
    return Element(
        name=found.subject,
        kind=found.kind,
        difference_db=change.difference_db,
        interval=change.interval,
        confidence=change.confidence,
        band_hz=found.band_hz,
        spans_s=found.spans_s,
        notes_per_s=found.notes_per_s,
        motif_notes=found.motif_notes,
        against=change.against or _left_alone(change, match),
        reference_audible_share=stands[0].audible_share,
        candidate_audible_share=stands[1].audible_share,
        reference_loudness_share=stands[0].loudness_share,
        candidate_loudness_share=stands[1].loudness_share,
    )


def _left_alone(change: Change, match: Match) -> bool:
    """Whether an element has the very level it had, in one take, and all else another one."""
    moved = abs(match.gain_db) > 1.0
    return match.same_take and moved and abs(change.difference_db + match.gain_db) < 0.4


def _can_be_heard(element: Element) -> bool:
    shares = (element.reference_audible_share, element.candidate_audible_share)
    loudness = (element.reference_loudness_share, element.candidate_loudness_share)
    return max(shares) >= _LEAST_AUDIBLE and max(loudness) >= _LEAST_LOUD


def _voices(features: Features) -> list[Audibility]:
    """How the leading line, the bass line and all else can be heard in the whole."""
    own: list[list[FloatArray]] = [[] for _ in VOICES]
    whole: list[FloatArray] = []
    frame_s = np.arange(len(features.semitone_power)) / SEMITONE_RATE_HZ
    for inside in stretches(len(frame_s)):
        weights = joint_weights([(features, frame_s[inside], 0)])
        lead = voice_cells(lead_path(weights))
        bass = voice_cells(bass_path(weights)) & ~lead
        power = features.semitone_power[inside].astype(np.float64)
        for parts, cells in zip(own, (lead, bass, ~(lead | bass)), strict=True):
            parts.append((power * cells)[::_MOMENTS])
        whole.append(power[::_MOMENTS])
    centre = pitch_hz(np.arange(LOWEST_SEMITONE, HIGHEST_SEMITONE + 1))
    total = np.concatenate(whole)
    return [audibility(part, total - part, centre) for part in map(np.concatenate, own)]


def _less(reference: float | None, candidate: float | None) -> float | None:
    return None if reference is None or candidate is None else candidate - reference


def _minus(reference: Sequence[float], candidate: Sequence[float]) -> tuple[float, ...]:
    return tuple(after - before for before, after in zip(reference, candidate, strict=True))


def _evenness(shares: list[float]) -> float | None:
    total = sum(shares)
    if len(shares) < 2 or total <= 0:
        return None
    parts = np.array([share / total for share in shares if share > 0])
    return float(-(parts * np.log(parts)).sum() / np.log(len(shares)))


def _registers(
    pair: PairSpectra,
) -> tuple[tuple[tuple[float, float], ...], tuple[float | None, ...]]:
    ranges = tuple(zip(REGISTER_EDGES_HZ[:-1], REGISTER_EDGES_HZ[1:], strict=True))
    levels: list[float | None] = []
    for low, high in ranges:
        inside = (pair.centre_hz > low) & (pair.centre_hz < high)
        a = pair.reference[:, inside].sum()
        b = pair.candidate[:, inside].sum()
        levels.append(float(10 * np.log10(b / a)) if a > 0 and b > 0 else None)
    return ranges, tuple(levels)


def _picture(pair: PairSpectra) -> tuple[tuple[float, ...], FloatArray]:
    width = 0.5 / _PICTURE_RATE_HZ * len(pair.times_s) / max(np.ptp(pair.times_s), 1e-9)
    a = ndimage.gaussian_filter1d(pair.reference, width, axis=0)
    b = ndimage.gaussian_filter1d(pair.candidate, width, axis=0)
    step = max(round(len(pair.times_s) / max(np.ptp(pair.times_s), 1e-9) / _PICTURE_RATE_HZ), 1)
    floor = 1e-9 * max(a.max(), b.max(), 1e-30)
    difference = 10 * np.log10((b + floor) / (a + floor))
    difference[~pair.audible] = np.nan
    return tuple(pair.times_s[::step]), difference[::step]


def _explained(pair: PairSpectra, split: Split) -> tuple[float, ...]:
    """Change of the long-term third-octave levels that the elements alone would make."""
    changed = pair.reference.copy()
    for change in split.changes:
        factor = 10 ** (change.difference_db / 10) - 1
        changed += factor * np.minimum(change.energy, pair.reference)
    out = []
    for low, high in zip(THIRD_OCTAVE_EDGES_HZ[:-1], THIRD_OCTAVE_EDGES_HZ[1:], strict=True):
        inside = (pair.centre_hz >= low) & (pair.centre_hz < high)
        before, after = pair.reference[:, inside].sum(), changed[:, inside].sum()
        out.append(float(10 * np.log10(after / before)) if before > 0 and after > 0 else 0.0)
    return tuple(out)


def _cause(same_take: bool) -> Cause:
    # Only while the element plays: the players or its own microphone; one take: the mix.
    return Cause.weighing(0.0, 0.0, 1.0) if same_take else Cause.weighing(0.65, 0.05, 0.3)


def _size_text(difference_db: float, interval: tuple[float, float]) -> str:
    low, high = sorted(abs(edge) for edge in interval)
    if interval[0] < 0 < interval[1]:
        low = 0.0
    decimals = 1 if high - low < 3 else 0
    between = f"between {low:.{decimals}f} and {high:.{decimals}f}"
    return f"{abs(difference_db):.{decimals}f} dB ({between})"


def _element_finding(element: Element, difference: BalanceDifference) -> Finding:
    louder = element.difference_db > 0
    direction = "further forward" if louder else "further back"
    size = _size_text(element.difference_db, element.interval)
    name = element.name if element.kind != "register" else f"{element.name},"
    text = f"The {name} stands {direction} than in the reference, by {size}."
    if element.kind == FIGURE:
        rate = f"{element.notes_per_s:.1f} notes a second"
        if element.motif_notes is not None:
            rate += f", the same pattern every {element.motif_notes} notes"
        text = (
            f"The {element.name.split(',')[0]} (about {rate}) stands {direction} than in the"
            f" reference, by {size}."
        )
    if element.against:
        other = "further back" if louder else "further forward"
        text += (
            f" Or else what plays besides it stands {other}: which of the two moved can't be"
            " told, for they weigh about the same."
        )
    heard = element.reference_audible_share, element.candidate_audible_share
    if abs(heard[1] - heard[0]) >= _NOTEWORTHY_SHARE:
        text += (
            f" It can be heard through the rest {_percent(heard[1])} of the time it plays,"
            f" against {_percent(heard[0])} in the reference."
        )
    else:
        shares = element.reference_loudness_share, element.candidate_loudness_share
        if round(100 * shares[0]) != round(100 * shares[1]):
            text += (
                f" It takes {_percent(shares[1])} of the loudness while it plays, against"
                f" {_percent(shares[0])} in the reference."
            )
    return Finding(
        aspect="balance",
        kind=f"{element.kind}_{'louder' if louder else 'weaker'}",
        subject=f"{element.name}{AGAINST}" if element.against else element.name,
        difference=element.difference_db,
        interval=element.interval,
        unit="dB",
        jnd=size_in_jnd(element.difference_db, element.interval, JUST_NOTICEABLE["balance"].size),
        confidence=element.confidence,
        spans_s=element.spans_s,
        band_hz=element.band_hz,
        cause=_cause(difference.same_take),
        text=text,
        advice=_advice(element, difference.same_take),
    )


def _percent(share: float) -> str:
    return f"{100 * share:.1f} %" if share < 0.095 else f"{100 * share:.0f} %"


def _advice(element: Element, same_take: bool) -> tuple[str, ...]:
    size = round(abs(element.difference_db))
    what = element.name.split(",")[0]
    down = element.difference_db > 0
    desk = f"Bring the spots that carry the {what} {'down' if down else 'up'} by about {size} dB."
    if element.against:
        other = "up" if down else "down"
        desk += f" Or bring the rest {other}: let the ear say which of them is out of place."
    if same_take:
        return (desk,)
    # A step of the written dynamics is some 4 to 6 dB (common practice, no source).
    steps = "half a dynamic" if size < 4 else "one dynamic" if size < 8 else "one to two dynamics"
    podium = f"Ask the {what} for {steps} {'less' if down else 'more'}."
    return podium, desk


def _local_finding(passage: LocalChange, difference: BalanceDifference) -> Finding:
    louder = passage.difference_db > 0
    size = _size_text(passage.difference_db, passage.interval)
    where = places((passage.span_s,))
    text = (
        f"From {where.replace('-', ' to ')} the {passage.name} stands"
        f" {'further forward' if louder else 'further back'} than in the reference, by {size}."
    )
    what = f"{round(abs(passage.difference_db))} dB {'down' if louder else 'up'}"
    desk = f"Ride the faders of what plays in the {passage.name} there about {what}."
    podium = f"Ask for {'less' if louder else 'more'} in the {passage.name} there."
    return Finding(
        aspect="balance",
        kind=f"register_{'louder' if louder else 'weaker'}",
        subject=passage.name,
        difference=passage.difference_db,
        interval=passage.interval,
        unit="dB",
        jnd=size_in_jnd(passage.difference_db, passage.interval, JUST_NOTICEABLE["balance"].size),
        confidence=passage.confidence,
        spans_s=(passage.span_s,),
        band_hz=passage.band_hz,
        cause=_cause(difference.same_take),
        text=text,
        advice=(desk,) if difference.same_take else (podium, desk),
    )
