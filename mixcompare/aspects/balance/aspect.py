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
from dataclasses import replace

import numpy as np
import numpy.typing as npt
from scipy import ndimage

from mixcompare.aspects.balance.about import ABOUT
from mixcompare.aspects.balance.course import course_of
from mixcompare.aspects.balance.themes import theme_findings
from mixcompare.aspects.balance.values import (
    OCTAVE_REGISTERS_HZ,
    PART,
    VOICES,
    BalanceDifference,
    BalanceMeasurement,
    Element,
)
from mixcompare.aspects.balance.words import (
    doubtful_words,
    element_finding,
    ended_words,
    local_finding,
    players_named,
    seated,
    untold_words,
)
from mixcompare.elements.audibility import Audibility, audibility, can_be_heard, stands
from mixcompare.elements.change import Change, Split
from mixcompare.elements.describe import Description, describe
from mixcompare.elements.local import local_changes
from mixcompare.elements.take import split_pair
from mixcompare.features import (
    HIGHEST_SEMITONE,
    LOWEST_SEMITONE,
    Features,
)
from mixcompare.findings import (
    Finding,
)
from mixcompare.findings.confidence import evidence
from mixcompare.pair.lines import lone_lines, voice_cells
from mixcompare.pair.match import Match
from mixcompare.pair.pair import Pair
from mixcompare.pair.spectra import PairSpectra
from mixcompare.pair.undo import not_judged
from mixcompare.parts.levels import levels_of
from mixcompare.parts.notevalues import note_value
from mixcompare.parts.percussion import with_percussion
from mixcompare.parts.players import played_by
from mixcompare.parts.values import Players
from mixcompare.standards.iec61260 import THIRD_OCTAVE_CENTRES_HZ, pitch_hz

FloatArray = npt.NDArray[np.float64]
_PICTURE_RATE_HZ = 5.0  # resolution of the figure
_MOMENTS = 5  # every fifth frame of 25 a second tells enough of masking


class BalanceAnalyzer:
    """Registers of one recording; elements and registers of a pair."""

    aspect = "balance"
    about = ABOUT

    def measure(self, features: Features) -> BalanceMeasurement:
        """Level of every octave register against the whole."""
        power = features.band_power.sum(axis=(0, 2), dtype=np.float64)
        usable = features.usable_bands
        total = power[usable].sum() + 1e-30
        levels: list[float | None] = []
        heard: list[Audibility | None] = []
        moments = features.band_power[::_MOMENTS].sum(axis=2, dtype=np.float64) * usable
        for low, high in OCTAVE_REGISTERS_HZ:
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
            OCTAVE_REGISTERS_HZ,
            tuple(levels),
            tuple(found.audible_share if found else None for found in heard),
            shares,
            _evenness([share for share in shares if share is not None]),
            VOICES,
            tuple(voice.audible_share for voice in voices),
            tuple(voice.loudness_share for voice in voices),
            _evenness([voice.loudness_share for voice in voices]),
        )

    def compare(self, pair: Pair) -> BalanceDifference:
        """Find the elements and registers that stand elsewhere."""
        spectra, match = pair.of_elements, pair.match
        split = split_pair(pair)
        written = with_percussion(levels_of(pair, split), pair, split)
        players = written.players if written else tuple(Players() for _ in split.changes)
        split = replace(split, changes=written.changes) if written else split
        elements = []
        for change, who in zip(split.changes, players, strict=True):
            found = played_by(who, describe(change.energy, spectra, change.repeats), match.parts)
            at_levels = stands(change, spectra, split.tone_db)
            # Under one tail what moves little of the sound is no element already; and what is left
            # of one between two tails is too little to judge how it is heard.
            if split.one_tail or can_be_heard(*at_levels):
                element = _element(change, found, match, at_levels, who)
                times_s, course_db = course_of(change, spectra, split.tone_db)
                elements.append(replace(element, course_s=times_s, course_db=course_db))
        asked = spectra if split.hidden is None else not_judged(spectra, split.hidden)
        passages = local_changes(asked, split, match.same_take)
        registers, levels = _registers(pair.spectra)
        reasons = []
        if not np.isfinite(split.scatter_db):
            reasons.append("Too little music sounds in both recordings to tell elements apart.")
        elif not match.same_take and not elements:
            reasons.append(
                f"The two performances differ by {split.scatter_db:.1f} dB from note to note"
                " anyway; smaller changes of one element can't be told from that."
            )
        if not written:
            reasons += [
                doubtful_words(describe(change.energy, spectra), change)
                for change in split.doubtful
            ]
        else:
            reasons += untold_words(written)
        reasons += [ended_words(describe(one.energy, spectra), one) for one in split.ended]
        times, picture = _picture(pair.spectra)
        before, changed = _thirds(spectra, split)
        alone = pair.alone(self)
        heard, loud = (
            tuple(_less(*both) for both in zip(*columns, strict=True))
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
            register_audible_share=heard,
            register_loudness_share=loud,
            evenness=_less(alone[0].evenness, alone[1].evenness),
            voice_audible_share=_minus(*(one.voice_audible_share for one in alone)),
            voice_loudness_share=_minus(*(one.voice_loudness_share for one in alone)),
            blend=_less(alone[0].blend, alone[1].blend),
            parts=written.parts if written else (),
            leads=written.leads if written else (),
            movers=written.movers if written else (),
            reasons=tuple(reasons),
            one_tail=split.one_tail,
            whole_lu=_whole_lu(pair) if pair.same_take and len(elements) == 1 else None,
            explained_tone_db=tuple(_ratio_db(changed.sum(axis=0), before.sum(axis=0)).tolist()),
            explained_moments_db=_moments_db(before, changed, len(times)),
            band_centre_hz=tuple(pair.spectra.centre_hz),
            times_s=times,
            difference_db=picture,
        )

    def findings(self, difference: BalanceDifference, pair: Pair) -> list[Finding]:
        """Elements first, then registers that stand out in places, then themes that are covered."""
        found = [element_finding(element, difference, pair) for element in difference.elements]
        found += [local_finding(passage, difference, pair) for passage in difference.passages]
        found += theme_findings(difference, pair)
        return found


def _whole_lu(pair: Pair) -> float | None:
    """How much louder the candidate is at the same gain, which is told in tenths."""
    loudness = pair.differences.get("loudness")
    change_lu = loudness.integrated_lufs if loudness is not None else None
    return None if change_lu is None else change_lu - round(pair.gain_db, 1)


analyzer = BalanceAnalyzer()


def _element(
    change: Change,
    found: Description,
    match: Match,
    at_levels: tuple[Audibility, Audibility],
    who: Players,
) -> Element:
    playing = [part for part in match.parts if part.name in who.names]
    figure = found.notes_per_s is not None
    value = note_value(playing, found.spans_s, match.bars) if figure else None
    return Element(
        name=", ".join(filter(None, (players_named(who), value)))
        or seated(found.subject, change.seat),
        kind=PART if who.names else found.kind,
        players=who.names,
        difference_db=change.difference_db,
        interval=change.interval,
        confidence=evidence(
            change.difference_db, change.interval, match.same_take, change.agreeing
        ).confidence,
        band_hz=found.band_hz,
        spans_s=found.spans_s,
        notes_per_s=found.notes_per_s,
        motif_notes=found.motif_notes,
        note_value=value,
        agreeing=change.agreeing,
        theme=who.theme,
        against=change.against or _left_alone(change, match),
        reference_audible_share=at_levels[0].audible_share,
        candidate_audible_share=at_levels[1].audible_share,
        reference_loudness_share=at_levels[0].loudness_share,
        candidate_loudness_share=at_levels[1].loudness_share,
    )


def _left_alone(change: Change, match: Match) -> bool:
    """Whether an element has the very level it had, in one take, and all else another one."""
    moved = abs(match.gain_db) > 1.0
    return match.same_take and moved and abs(change.difference_db + match.gain_db) < 0.4


def _voices(features: Features) -> list[Audibility]:
    """How the leading line, the bass line and all else can be heard in the whole."""
    own: list[list[FloatArray]] = [[] for _ in VOICES]
    whole: list[FloatArray] = []
    for stretch in lone_lines(features):
        lead = voice_cells(stretch.lead)
        bass = voice_cells(stretch.bass) & ~lead
        power = features.semitone_power[stretch.frames].astype(np.float64)
        for parts, cells in zip(own, (lead, bass, ~(lead | bass)), strict=True):
            parts.append((power * cells)[::_MOMENTS])
        whole.append(power[::_MOMENTS])
    centre = pitch_hz(np.arange(LOWEST_SEMITONE, HIGHEST_SEMITONE + 1))
    total = np.concatenate(whole)
    return [audibility(part, total - part, centre) for part in map(np.concatenate, own)]


def _less(reference: float | None, candidate: float | None) -> float | None:
    return None if reference is None or candidate is None else candidate - reference


def _minus(reference: Sequence[float], candidate: Sequence[float]) -> tuple[float, ...]:
    return tuple(
        of_candidate - of_reference
        for of_reference, of_candidate in zip(reference, candidate, strict=True)
    )


def _evenness(shares: list[float]) -> float | None:
    total = sum(shares)
    if len(shares) < 2 or total <= 0:
        return None
    parts = np.array([share / total for share in shares if share > 0])
    return float(-(parts * np.log(parts)).sum() / np.log(len(shares)))


def _registers(
    spectra: PairSpectra,
) -> tuple[tuple[tuple[float, float], ...], tuple[float | None, ...]]:
    levels: list[float | None] = []
    for low, high in OCTAVE_REGISTERS_HZ:
        inside = (spectra.centre_hz > low) & (spectra.centre_hz < high)
        of_reference = spectra.reference[:, inside].sum()
        of_candidate = spectra.candidate[:, inside].sum()
        levels.append(
            float(10 * np.log10(of_candidate / of_reference))
            if of_reference > 0 and of_candidate > 0
            else None
        )
    return OCTAVE_REGISTERS_HZ, tuple(levels)


def _picture(spectra: PairSpectra) -> tuple[tuple[float, ...], FloatArray]:
    width = 0.5 / _PICTURE_RATE_HZ * len(spectra.times_s) / max(np.ptp(spectra.times_s), 1e-9)
    of_reference = ndimage.gaussian_filter1d(spectra.reference, width, axis=0)
    of_candidate = ndimage.gaussian_filter1d(spectra.candidate, width, axis=0)
    step = max(
        round(len(spectra.times_s) / max(np.ptp(spectra.times_s), 1e-9) / _PICTURE_RATE_HZ), 1
    )
    floor = 1e-9 * max(of_reference.max(), of_candidate.max(), 1e-30)
    difference = 10 * np.log10((of_candidate + floor) / (of_reference + floor))
    difference[~spectra.audible] = np.nan
    return tuple(spectra.times_s[::step]), difference[::step]


def _moments_db(before: FloatArray, changed: FloatArray, moments: int) -> FloatArray:
    """What elements did to each band around each of the picture's moments, shape (n, 31)."""
    size = max(round(len(before) / max(moments, 1)), 1)
    was, became = (
        ndimage.uniform_filter1d(power, size, axis=0)[::size][:moments]
        for power in (before, changed)
    )
    return _ratio_db(became, was)


def _thirds(spectra: PairSpectra, split: Split) -> tuple[FloatArray, FloatArray]:
    """Power in third octaves before and after the elements changed, shape (n, 31) each."""
    changed = spectra.reference.copy()
    for change in split.changes:
        factor = 10 ** (change.difference_db / 10) - 1
        changed += factor * np.minimum(change.energy, spectra.reference)
    return spectra.in_third_octaves(spectra.reference), spectra.in_third_octaves(changed)


def _ratio_db(power: FloatArray, before: FloatArray) -> FloatArray:
    told = (power > 0) & (before > 0)
    ratio = np.where(told, power, 1.0) / np.where(told, before, 1.0)
    return np.asarray(10 * np.log10(ratio))
